//! What a live sensor's notifications mean: bytes to readings with counters and ticks as sent.
//!
//! Enters: a [`Packet`](super::wire::mcap::Packet)'s characteristic and bytes. Leaves: [`Decoded`]. Two kinds of device:
//! those that speak the project's own profile ([`own`], specified in proto-docs/gatt-profile.md), and those that a
//! [`descriptor`] describes (proto-docs/descriptors.md). Order, loss and the clock are not looked at here.

pub mod descriptor;
pub mod own;

use super::profile::SensorProfile;
use descriptor::{Descriptor, DescriptorError};
use nalgebra::Vector3;
use own::{Information, InformationError};

/// How to read one sensor's notifications.
#[derive(Clone, Debug, PartialEq)]
pub enum Device {
    /// It speaks the project's own profile.
    Own(Information),
    /// It is described by a descriptor.
    Described(Box<Descriptor>),
}

/// What one notification holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Decoded {
    /// Readings of the sensor.
    Readings(Readings),
    /// The answer to an exchange of times.
    Exchange(Exchange),
    /// Nothing to compute with: the answer to another command, a battery level.
    Other,
}

/// The readings of one notification.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    /// Which of [`Device::streams`] they belong to.
    pub stream: usize,
    /// The packet's number as sent, below the stream's modulus.
    pub sequence: Option<u64>,
    /// The tick of the first reading as sent, below the stream's modulus.
    pub tick: Option<u64>,
    /// Ticks from one reading to the next, where the packet says so.
    pub step_ticks: Option<f64>,
    /// Oldest first; at least one.
    pub readings: Vec<RawReading>,
    /// The sensor says that they cannot be trusted.
    pub is_faulty: bool,
    /// The sensor says that it lost readings of its own before these.
    pub lost_before: bool,
    /// Channels of which a reading was at the end of its range, as the sensor says.
    pub clipped: ClippedChannels,
}

/// One reading in S: rad/s and m/s². What the stream does not carry is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RawReading {
    /// Angular rate, rad/s.
    pub gyro_s_radps: Option<Vector3<f64>>,
    /// Specific force, m/s².
    pub accel_s_mps2: Option<Vector3<f64>>,
    /// Specific force by a second, high-range accelerometer, m/s².
    pub accel_hi_s_mps2: Option<Vector3<f64>>,
}

/// Channels that were at the end of their range.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ClippedChannels {
    /// Angular rate.
    pub gyro: bool,
    /// Specific force.
    pub accel: bool,
    /// Specific force, second accelerometer.
    pub accel_hi: bool,
}

/// One exchange of times: the sensor gives back what the host sent, with its own tick. The host's receive time is the
/// packet's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exchange {
    /// When the host sent its request, ns since 1970 UTC.
    pub sent_utc_ns: i64,
    /// The sensor's tick on receiving it, below the first stream's modulus.
    pub tick: u64,
}

/// How one stream of a device counts and keeps time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StreamLayout {
    /// Packet numbers run from 0 to this less one; `None`: packets are not numbered.
    pub sequence_modulus: Option<u64>,
    /// Ticks run from 0 to this less one; `None`: the packets carry no time.
    pub tick_modulus: Option<u64>,
    /// Ticks a second; 0 without ticks.
    pub tick_hz: f64,
    /// Nominal sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Whether it carries angular rate.
    pub has_gyro: bool,
}

/// A notification that does not fit the layout. It is kept in the recording and counted by its cause.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
pub enum PacketError {
    /// It has fewer bytes than the layout needs.
    #[error("packet of {found} bytes; expected at least {expected}")]
    TooShort {
        /// Bytes received.
        found: usize,
        /// Bytes the layout needs.
        expected: usize,
    },
    /// It has more bytes than the layout allows.
    #[error("packet of {found} bytes; expected at most {expected}")]
    TooLong {
        /// Bytes received.
        found: usize,
        /// Bytes the layout allows.
        expected: usize,
    },
    /// It is of another version of the profile.
    #[error("packet of version {found}; expected version {expected}")]
    Version {
        /// As received.
        found: u8,
        /// The version that is read.
        expected: u8,
    },
    /// A field holds what it cannot.
    #[error("packet with {field} {found}; expected {expected}")]
    Field {
        /// The field's name.
        field: &'static str,
        /// As received.
        found: u64,
        /// What it may be.
        expected: &'static str,
    },
    /// It came from a characteristic that the layout does not know.
    #[error("packet from a characteristic that the layout does not know")]
    UnknownCharacteristic,
}

impl PacketError {
    /// The cause in one word, for counting.
    pub fn key(&self) -> &'static str {
        match self {
            Self::TooShort { .. } => "too_short",
            Self::TooLong { .. } => "too_long",
            Self::Version { .. } => "version",
            Self::Field { .. } => "field",
            Self::UnknownCharacteristic => "unknown_characteristic",
        }
    }
}

/// What a recording says of its device cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DeviceError {
    /// Its descriptor cannot be used.
    #[error("descriptor: {0}")]
    Descriptor(DescriptorError),
    /// Its information cannot be read.
    #[error("information characteristic: {0}")]
    Information(InformationError),
    /// Neither descriptor nor information is there.
    #[error("neither a descriptor nor the information characteristic is there; expected one of them")]
    Nothing,
}

impl Device {
    /// From the bytes of the information characteristic, or the text of a descriptor; with both, the descriptor counts.
    pub fn new(information: Option<&[u8]>, descriptor_toml: Option<&str>) -> Result<Self, DeviceError> {
        match (descriptor_toml, information) {
            (Some(text), _) => {
                Descriptor::parse(text).map(|it| Self::Described(Box::new(it))).map_err(DeviceError::Descriptor)
            }
            (None, Some(bytes)) => Information::parse(bytes).map(Self::Own).map_err(DeviceError::Information),
            (None, None) => Err(DeviceError::Nothing),
        }
    }

    /// What a notification of `characteristic` (UUID, 8-4-4-4-12, lower case) holds.
    pub fn decode(&self, characteristic: &str, bytes: &[u8]) -> Result<Decoded, PacketError> {
        match self {
            Self::Own(information) => own::decode(information, characteristic, bytes),
            Self::Described(descriptor) => descriptor.decode(characteristic, bytes),
        }
    }

    /// The streams of readings it sends: one, or one for the gyro and one for the accelerometer.
    pub fn streams(&self) -> Vec<StreamLayout> {
        match self {
            Self::Own(information) => vec![information.layout()],
            Self::Described(descriptor) => descriptor.streams(),
        }
    }

    /// `sensor` with what the device says of itself in place of what was assumed.
    pub fn described_in(&self, sensor: &SensorProfile) -> SensorProfile {
        match self {
            Self::Own(information) => information.described_in(sensor),
            Self::Described(descriptor) => descriptor.described_in(sensor),
        }
    }
}
