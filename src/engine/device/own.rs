//! The project's own GATT profile: bytes of its characteristics.

use super::{Decoded, PacketError, StreamLayout};
use crate::engine::profile::SensorProfile;

/// The service.
pub const SERVICE: &str = "4ab30001-4d29-4926-b899-39d03c1aeffc";
/// The data characteristic (notify).
pub const DATA: &str = "4ab30002-4d29-4926-b899-39d03c1aeffc";
/// The information characteristic (read).
pub const INFORMATION: &str = "4ab30003-4d29-4926-b899-39d03c1aeffc";
/// The control characteristic (write, indicate).
pub const CONTROL: &str = "4ab30004-4d29-4926-b899-39d03c1aeffc";

/// What the information characteristic says.
#[derive(Clone, Debug, PartialEq)]
pub struct Information {
    /// Nominal sample rate, Hz.
    pub sample_rate_hz: f64,
}

/// Bytes that are no information.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct InformationError(String);

impl Information {
    /// From the characteristic's bytes.
    pub fn parse(_bytes: &[u8]) -> Result<Self, InformationError> {
        Err(InformationError("not yet".into()))
    }

    /// How its one stream counts.
    pub fn layout(&self) -> StreamLayout {
        StreamLayout {
            sequence_modulus: Some(1 << 16),
            tick_modulus: Some(1 << 32),
            tick_hz: 1e6,
            sample_rate_hz: self.sample_rate_hz,
            per_packet: None,
            has_gyro: true,
            has_accel: true,
        }
    }

    /// `sensor` with ranges, rate and bandwidths as they stand here.
    pub fn described_in(&self, sensor: &SensorProfile) -> SensorProfile {
        sensor.clone()
    }
}

/// What a notification holds.
pub fn decode(_information: &Information, _characteristic: &str, _bytes: &[u8]) -> Result<Decoded, PacketError> {
    Ok(Decoded::Other)
}
