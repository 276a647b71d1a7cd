//! The project's own GATT profile (proto-docs/gatt-profile.md): bytes of its characteristics, read and written.
//!
//! [`Information`] says how a sensor's packets are to be read, [`decode`] reads what it sends, [`Request`] is what it is
//! asked. Each has its way back to bytes, as a reference for who writes firmware and for simulated sensors.

mod control;
mod information;
mod packet;
#[cfg(test)]
mod tests;

pub use control::{Answer, Request, Status};
pub use information::{Capabilities, Information, InformationError, LONGEST_FIRMWARE_BYTES};
pub use packet::{EncodeError, MOST_READINGS, PacketHeader, encode_packet, readings_that_fit};

use super::{Decoded, PacketError};

/// The version of the profile that is read and written here.
pub const VERSION: u8 = 1;

/// The service.
pub const SERVICE: &str = "4ab30001-4d29-4926-b899-39d03c1aeffc";
/// The data characteristic (notify).
pub const DATA: &str = "4ab30002-4d29-4926-b899-39d03c1aeffc";
/// The information characteristic (read).
pub const INFORMATION: &str = "4ab30003-4d29-4926-b899-39d03c1aeffc";
/// The control characteristic (write, indicate).
pub const CONTROL: &str = "4ab30004-4d29-4926-b899-39d03c1aeffc";

/// The standard Battery Service (Bluetooth SIG, Assigned Numbers: 0x180F on the Bluetooth base UUID).
pub const BATTERY_SERVICE: &str = "0000180f-0000-1000-8000-00805f9b34fb";
/// Its Battery Level characteristic, 0x2A19 (read, notify).
pub const BATTERY_LEVEL: &str = "00002a19-0000-1000-8000-00805f9b34fb";
/// The standard Device Information Service, 0x180A.
pub const DEVICE_INFORMATION_SERVICE: &str = "0000180a-0000-1000-8000-00805f9b34fb";
/// Its Manufacturer Name String, 0x2A29 (read).
pub const MANUFACTURER_NAME: &str = "00002a29-0000-1000-8000-00805f9b34fb";
/// Its Model Number String, 0x2A24 (read).
pub const MODEL_NUMBER: &str = "00002a24-0000-1000-8000-00805f9b34fb";
/// Its Firmware Revision String, 0x2A26 (read).
pub const FIRMWARE_REVISION: &str = "00002a26-0000-1000-8000-00805f9b34fb";

/// What a notification or indication of `characteristic` (UUID, 8-4-4-4-12, lower case) holds.
pub fn decode(information: &Information, characteristic: &str, bytes: &[u8]) -> Result<Decoded, PacketError> {
    match characteristic {
        DATA => packet::decode(information, bytes).map(Decoded::Readings),
        CONTROL => Answer::parse(bytes).map(|answer| match answer {
            Answer::Exchanged(exchange) => Decoded::Exchange(exchange),
            Answer::Told { .. } => Decoded::Other,
        }),
        BATTERY_LEVEL => checked_battery_percent(bytes).map(|_| Decoded::Other),
        _ => Err(PacketError::UnknownCharacteristic),
    }
}

/// The battery's charge, from the value of [`BATTERY_LEVEL`]: one byte from 0 to 100. `None` if it is not that.
pub fn battery_percent(bytes: &[u8]) -> Option<u8> {
    checked_battery_percent(bytes).ok()
}

fn checked_battery_percent(bytes: &[u8]) -> Result<u8, PacketError> {
    exact_length(bytes, 1)?;
    match bytes.first() {
        Some(&percent) if percent <= 100 => Ok(percent),
        other => Err(field("battery level", other.copied().unwrap_or_default(), "0 to 100")),
    }
}

fn field(field: &'static str, found: impl Into<u64>, expected: &'static str) -> PacketError {
    PacketError::Field { field, found: found.into(), expected }
}

fn least_length(bytes: &[u8], expected: usize) -> Result<(), PacketError> {
    let found = bytes.len();
    if found < expected { Err(PacketError::TooShort { found, expected }) } else { Ok(()) }
}

fn exact_length(bytes: &[u8], expected: usize) -> Result<(), PacketError> {
    least_length(bytes, expected)?;
    let found = bytes.len();
    if found > expected { Err(PacketError::TooLong { found, expected }) } else { Ok(()) }
}

/// `N` bytes from `at` on; zeros where there are fewer, so lengths are checked before.
fn part<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    bytes.get(at..).and_then(|rest| rest.first_chunk()).copied().unwrap_or([0; N])
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(part(bytes, at))
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(part(bytes, at))
}
