//! Bluetooth Low Energy through `btleplug`.
