//! Descriptors of other sensors: documented notify layouts in TOML.

use super::{Decoded, PacketError, StreamLayout};
use crate::engine::profile::SensorProfile;

/// How one kind of sensor is found, started and read.
#[derive(Clone, Debug, PartialEq)]
pub struct Descriptor {
    /// The kind's name.
    pub name: String,
}

/// Text that is no descriptor.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("line {line}: {found}")]
pub struct DescriptorError {
    /// The line, from 1.
    pub line: u64,
    /// What was wrong.
    pub found: String,
}

impl Descriptor {
    /// From the text of a TOML file.
    pub fn parse(_text: &str) -> Result<Self, DescriptorError> {
        Err(DescriptorError { line: 1, found: "not yet".into() })
    }

    /// What a notification holds.
    pub fn decode(&self, _characteristic: &str, _bytes: &[u8]) -> Result<Decoded, PacketError> {
        Ok(Decoded::Other)
    }

    /// How its streams count.
    pub fn streams(&self) -> Vec<StreamLayout> {
        Vec::new()
    }

    /// `sensor` with ranges, rate and bandwidths as they stand here.
    pub fn described_in(&self, sensor: &SensorProfile) -> SensorProfile {
        sensor.clone()
    }
}
