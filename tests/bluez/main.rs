//! The radio through the real btleplug, against a fake of BlueZ on a socket of its own: no hardware, no dbus-daemon.
//!
//! The program under test, or the library in a child process ([`child`]), has `DBUS_SYSTEM_BUS_ADDRESS` set.

#![cfg(target_os = "linux")]

mod child;
mod fake;
mod radio;
mod scan;
mod serve;
