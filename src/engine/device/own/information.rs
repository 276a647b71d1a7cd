//! The information characteristic: what a sensor is, and how its packets are to be read.

use super::super::StreamLayout;
use super::{VERSION, part, u16_at, u32_at};
use crate::engine::geometry::G_MPS2;
use crate::engine::profile::SensorProfile;

/// The longest firmware text, bytes: with it the value still fits one read of an ATT MTU of 100.
pub const LONGEST_FIRMWARE_BYTES: usize = 64;

/// Bytes before the firmware text.
const FIXED_BYTES: usize = 35;

const HAS_ACCEL_HI: u8 = 1;
const EXCHANGES_TIMES: u8 = 1 << 1;
const SETS_RATE: u8 = 1 << 2;
const SETS_RANGE: u8 = 1 << 3;

/// What the information characteristic says, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Information {
    /// What it can be asked for.
    pub capabilities: Capabilities,
    /// Nominal sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Ticks a second.
    pub tick_hz: f64,
    /// What 32768 counts of the gyro are, rad/s.
    pub gyro_range_radps: f64,
    /// What 32768 counts of the accelerometer are, m/s².
    pub accel_range_mps2: f64,
    /// What 32768 counts of the high-range accelerometer are, m/s²; `None`: it has none.
    pub accel_hi_range_mps2: Option<f64>,
    /// −3 dB of the gyro's low-pass, Hz, where it is known.
    pub gyro_bandwidth_hz: Option<f64>,
    /// −3 dB of the accelerometer's low-pass, Hz, where it is known.
    pub accel_bandwidth_hz: Option<f64>,
    /// White noise density of the gyro, rad/s/√Hz, where it is known.
    pub gyro_noise_radps_rthz: Option<f64>,
    /// White noise density of the accelerometer, m/s²/√Hz, where it is known.
    pub accel_noise_mps2_rthz: Option<f64>,
    /// Another number at every power-on: tells a sensor that was restarted from one that was out of reach.
    pub boot_number: u32,
    /// The firmware's name and version, for people; at most [`LONGEST_FIRMWARE_BYTES`] as sent.
    pub firmware: String,
}

/// What a sensor can be asked for, besides start and stop.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Capabilities {
    /// It answers an exchange of times.
    pub exchanges_times: bool,
    /// Its sample rate can be set.
    pub sets_rate: bool,
    /// Its ranges can be set.
    pub sets_range: bool,
}

/// Bytes that are no information.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum InformationError {
    /// Too few bytes.
    #[error("{found} bytes; expected at least {expected}")]
    TooShort {
        /// Bytes read.
        found: usize,
        /// Bytes needed.
        expected: usize,
    },
    /// Another version of the profile.
    #[error("version {found} of the profile; expected version {expected}")]
    Version {
        /// As read.
        found: u8,
        /// The version that is read here.
        expected: u8,
    },
    /// A field holds what it cannot.
    #[error("{field} {found}; expected {expected}")]
    Field {
        /// The field's name and unit.
        field: &'static str,
        /// As read.
        found: u32,
        /// What it may be.
        expected: &'static str,
    },
}

impl Information {
    /// From the characteristic's bytes. Bytes after the firmware text, and capabilities that are not known here, are
    /// passed over: a later firmware of the same version may have them.
    pub fn parse(bytes: &[u8]) -> Result<Self, InformationError> {
        let long_enough = |expected: usize| {
            let found = bytes.len();
            if found < expected { Err(InformationError::TooShort { found, expected }) } else { Ok(()) }
        };
        long_enough(1)?;
        let [version] = part(bytes, 0);
        if version != VERSION {
            return Err(InformationError::Version { found: version, expected: VERSION });
        }
        long_enough(FIXED_BYTES)?;
        let [capabilities] = part(bytes, 1);
        let [firmware_bytes] = part(bytes, 34);
        let firmware_bytes = usize::from(firmware_bytes);
        if firmware_bytes > LONGEST_FIRMWARE_BYTES {
            return Err(wrong("firmware text's length", firmware_bytes as u32, "0 to 64 bytes"));
        }
        long_enough(FIXED_BYTES + firmware_bytes)?;
        let firmware = bytes.get(FIXED_BYTES..FIXED_BYTES + firmware_bytes).unwrap_or_default();
        Self::from_fields(bytes, capabilities, firmware)
    }

    fn from_fields(bytes: &[u8], capabilities: u8, firmware: &[u8]) -> Result<Self, InformationError> {
        let accel_hi_range_mps2 = match u32_at(bytes, 14) {
            0 if capabilities & HAS_ACCEL_HI == 0 => None,
            mg if capabilities & HAS_ACCEL_HI != 0 => Some(range_mg("high-range accelerometer's range, mg", mg)?),
            mg => {
                return Err(wrong("high-range accelerometer's range, mg", mg, "0, as the capability is not there"));
            }
        };
        let rate_mhz = u32_at(bytes, 18);
        if !(1_000..=10_000_000).contains(&rate_mhz) {
            return Err(wrong("rate, mHz", rate_mhz, "1000 to 10000000"));
        }
        let tick_hz = u32_at(bytes, 22);
        if !(1_000..=100_000_000).contains(&tick_hz) {
            return Err(wrong("tick frequency, Hz", tick_hz, "1000 to 100000000"));
        }
        Ok(Self {
            capabilities: Capabilities {
                exchanges_times: capabilities & EXCHANGES_TIMES != 0,
                sets_rate: capabilities & SETS_RATE != 0,
                sets_range: capabilities & SETS_RANGE != 0,
            },
            sample_rate_hz: f64::from(rate_mhz) / 1e3,
            tick_hz: f64::from(tick_hz),
            gyro_range_radps: range_mdps(u32_at(bytes, 6))?,
            accel_range_mps2: range_mg("accelerometer's range, mg", u32_at(bytes, 10))?,
            accel_hi_range_mps2,
            gyro_bandwidth_hz: known(u16_at(bytes, 2)),
            accel_bandwidth_hz: known(u16_at(bytes, 4)),
            gyro_noise_radps_rthz: known(u16_at(bytes, 26)).map(|udps| (udps / 1e6).to_radians()),
            accel_noise_mps2_rthz: known(u16_at(bytes, 28)).map(|tenths_ug| tenths_ug / 1e7 * G_MPS2),
            boot_number: u32_at(bytes, 30),
            firmware: shown(firmware),
        })
    }

    /// The characteristic's bytes: every number rounded to the layout's step and held within its bounds, the text cut
    /// to [`LONGEST_FIRMWARE_BYTES`].
    pub fn encode(&self) -> Vec<u8> {
        let capability = |has: bool, bit: u8| if has { bit } else { 0 };
        let Capabilities { exchanges_times, sets_rate, sets_range } = self.capabilities;
        let capabilities = capability(self.accel_hi_range_mps2.is_some(), HAS_ACCEL_HI)
            | capability(exchanges_times, EXCHANGES_TIMES)
            | capability(sets_rate, SETS_RATE)
            | capability(sets_range, SETS_RANGE);
        let hertz = |bandwidth_hz: Option<f64>| bandwidth_hz.unwrap_or(0.0).round() as u16;
        let firmware = cut(&self.firmware);
        let mut bytes = vec![VERSION, capabilities];
        bytes.extend(hertz(self.gyro_bandwidth_hz).to_le_bytes());
        bytes.extend(hertz(self.accel_bandwidth_hz).to_le_bytes());
        bytes.extend(mdps(self.gyro_range_radps).to_le_bytes());
        bytes.extend(mg(self.accel_range_mps2).to_le_bytes());
        bytes.extend(self.accel_hi_range_mps2.map_or(0, mg).to_le_bytes());
        bytes.extend(((self.sample_rate_hz * 1e3).round() as u32).to_le_bytes());
        bytes.extend((self.tick_hz.round() as u32).to_le_bytes());
        let gyro_noise_udps = self.gyro_noise_radps_rthz.unwrap_or(0.0).to_degrees() * 1e6;
        let accel_noise_tenths_ug = self.accel_noise_mps2_rthz.unwrap_or(0.0) / G_MPS2 * 1e7;
        bytes.extend((gyro_noise_udps.round() as u16).to_le_bytes());
        bytes.extend((accel_noise_tenths_ug.round() as u16).to_le_bytes());
        bytes.extend(self.boot_number.to_le_bytes());
        bytes.push(firmware.len() as u8);
        bytes.extend(firmware.as_bytes());
        bytes
    }

    /// What a sensor of this profile says of itself: one accelerometer, a tick a microsecond, its first boot, nothing that
    /// it can be asked for.
    pub fn of(sensor: &SensorProfile, sample_rate_hz: f64) -> Self {
        Self {
            capabilities: Capabilities::default(),
            sample_rate_hz,
            tick_hz: 1e6,
            gyro_range_radps: sensor.gyro_range_radps,
            accel_range_mps2: sensor.accel_range_mps2,
            accel_hi_range_mps2: None,
            gyro_bandwidth_hz: Some(sensor.gyro_bandwidth_hz),
            accel_bandwidth_hz: Some(sensor.accel_bandwidth_hz),
            gyro_noise_radps_rthz: Some(sensor.gyro_noise_radps_rthz),
            accel_noise_mps2_rthz: Some(sensor.accel_noise_mps2_rthz),
            boot_number: 1,
            firmware: String::new(),
        }
    }

    /// How its one stream counts.
    pub fn layout(&self) -> StreamLayout {
        StreamLayout {
            sequence_modulus: Some(1 << 16),
            tick_modulus: Some(1 << 32),
            tick_hz: self.tick_hz,
            sample_rate_hz: self.sample_rate_hz,
            has_gyro: true,
        }
    }

    /// `sensor` with ranges, rate, bandwidths and noise as they stand here; what is not known here stays.
    pub fn described_in(&self, sensor: &SensorProfile) -> SensorProfile {
        SensorProfile {
            sample_rate_hz: Some(self.sample_rate_hz),
            gyro_range_radps: self.gyro_range_radps,
            accel_range_mps2: self.accel_range_mps2,
            accel_hi_range_mps2: self.accel_hi_range_mps2.unwrap_or(sensor.accel_hi_range_mps2),
            gyro_bandwidth_hz: self.gyro_bandwidth_hz.unwrap_or(sensor.gyro_bandwidth_hz),
            accel_bandwidth_hz: self.accel_bandwidth_hz.unwrap_or(sensor.accel_bandwidth_hz),
            gyro_noise_radps_rthz: self.gyro_noise_radps_rthz.unwrap_or(sensor.gyro_noise_radps_rthz),
            accel_noise_mps2_rthz: self.accel_noise_mps2_rthz.unwrap_or(sensor.accel_noise_mps2_rthz),
            ..sensor.clone()
        }
    }
}

/// A range of the gyro in m°/s, as it is sent.
pub(super) fn mdps(range_radps: f64) -> u32 {
    (range_radps.to_degrees() * 1e3).round() as u32
}

/// A range of an accelerometer in mg, as it is sent.
pub(super) fn mg(range_mps2: f64) -> u32 {
    (range_mps2 / G_MPS2 * 1e3).round() as u32
}

fn range_mdps(mdps: u32) -> Result<f64, InformationError> {
    // Up to 100,000 °/s: no bat turns a tenth as fast.
    match mdps {
        1..=100_000_000 => Ok((f64::from(mdps) / 1e3).to_radians()),
        _ => Err(wrong("gyro's range, m°/s", mdps, "1 to 100000000")),
    }
}

fn range_mg(field: &'static str, mg: u32) -> Result<f64, InformationError> {
    match mg {
        1..=100_000_000 => Ok(f64::from(mg) / 1e3 * G_MPS2),
        _ => Err(wrong(field, mg, "1 to 100000000")),
    }
}

fn wrong(field: &'static str, found: u32, expected: &'static str) -> InformationError {
    InformationError::Field { field, found, expected }
}

fn known(sent: u16) -> Option<f64> {
    (sent != 0).then(|| f64::from(sent))
}

/// Text of a stranger, fit to be shown: what is not UTF-8 and what steers a terminal become U+FFFD.
fn shown(text: &[u8]) -> String {
    let shown = |letter: char| if letter.is_control() { char::REPLACEMENT_CHARACTER } else { letter };
    String::from_utf8_lossy(text).chars().map(shown).collect()
}

/// The longest beginning of whole letters that may be sent.
fn cut(text: &str) -> &str {
    let ends = text.char_indices().map(|(at, letter)| at + letter.len_utf8());
    let end = ends.take_while(|&end| end <= LONGEST_FIRMWARE_BYTES).last().unwrap_or(0);
    text.get(..end).unwrap_or_default()
}
