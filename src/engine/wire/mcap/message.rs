//! What stands in the messages of a recording, and their bytes.

use nalgebra::Vector3;
use serde::{Deserialize, Serialize};

use crate::engine::sample::{Sample, SensorTime};
use crate::engine::wire::cdr::{CdrError, CdrReader, CdrWriter};

/// One notification of a live sensor, verbatim.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packet {
    /// When the host received it, ns since 1970 UTC.
    pub received_utc_ns: i64,
    /// Which sensor sent it.
    pub sensor: String,
    /// The UUID of the characteristic it came from.
    pub characteristic: String,
    /// The bytes as received.
    pub bytes: Vec<u8>,
}

/// Who and what the swings from here on belong to. Names are for people, ids for the store that the recording was made with.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct AtThePlate {
    /// The athlete, by a name of their choice.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nickname: Option<String>,
    /// The batter's side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<AtThePlateSide>,
    /// The bat's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bat: Option<String>,
    /// What is being practised.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drill: Option<String>,
    /// The group of swings these belong to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub round: Option<String>,
    /// The athlete's id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub athlete_id: Option<String>,
    /// The lesson's or practice's id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lesson_id: Option<String>,
    /// The round's id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub round_id: Option<String>,
    /// The bat's id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bat_id: Option<String>,
    /// Where the ball comes from: one word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ball_source: Option<String>,
    /// The ball's speed at the plate, m/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pitch_speed_mps: Option<f64>,
}

/// The batter's side as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AtThePlateSide {
    /// Bats right-handed.
    Right,
    /// Bats left-handed.
    Left,
}

/// How the packets from here on are to be read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DeviceRecord {
    /// The name the sensor advertises.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The bytes of the information characteristic of the project's own profile, in hexadecimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub information_hex: Option<String>,
    /// The text of the descriptor; with both, this counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub descriptor_toml: Option<String>,
    /// Manufacturer, model and firmware as the Device Information service tells them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hardware: Option<String>,
}

/// What became of the connection.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkRecord {
    /// What it is from here on.
    pub state: LinkState,
    /// Why, in words for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
}

/// A connection's state as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LinkState {
    /// Notifications are on.
    Connected,
    /// Nothing comes any more.
    Lost,
}

impl DeviceRecord {
    /// With the bytes of the information characteristic.
    pub fn with_information(mut self, bytes: &[u8]) -> Self {
        self.information_hex = Some(bytes.iter().map(|byte| format!("{byte:02x}")).collect());
        self
    }

    /// The bytes of the information characteristic; `None` if they are not there or not hexadecimal.
    pub fn information(&self) -> Option<Vec<u8>> {
        let hex = self.information_hex.as_deref()?.as_bytes();
        let digit = |digit: &u8| (*digit as char).to_digit(16).map(|value| value as u8);
        let (pairs, rest) = hex.as_chunks::<2>();
        if !rest.is_empty() {
            return None;
        }
        pairs.iter().map(|[high, low]| Some(digit(high)? << 4 | digit(low)?)).collect()
    }
}

impl Packet {
    pub(super) fn to_bytes(&self) -> Vec<u8> {
        let mut writer = CdrWriter::new();
        writer.i64(self.received_utc_ns);
        writer.string(&self.sensor);
        writer.string(&self.characteristic);
        writer.bytes(&self.bytes);
        writer.finish()
    }

    pub(super) fn from_bytes(message: &[u8]) -> Result<Self, CdrError> {
        let mut reader = CdrReader::new(message)?;
        Ok(Self {
            received_utc_ns: reader.i64()?,
            sensor: reader.string()?.to_owned(),
            characteristic: reader.string()?.to_owned(),
            bytes: reader.bytes()?.to_vec(),
        })
    }
}

/// Samples as one message. Either all of them have a second accelerometer or none; see [`runs`].
pub(super) fn samples_to_bytes(samples: &[Sample]) -> Vec<u8> {
    let mut writer = CdrWriter::new();
    writer.numbers(samples.iter().map(|sample| sample.time.0));
    for axis in 0..3 {
        writer.numbers(samples.iter().map(|sample| sample.gyro_s_radps[axis]));
    }
    for axis in 0..3 {
        writer.numbers(samples.iter().map(|sample| sample.accel_s_mps2[axis]));
    }
    let with_hi = if has_hi(samples.first()) { samples } else { &[] };
    for axis in 0..3 {
        writer.numbers(with_hi.iter().map(|sample| sample.accel_hi_s_mps2.map_or(f64::NAN, |hi| hi[axis])));
    }
    writer.finish()
}

/// Samples cut where the second accelerometer comes or goes, and into at most `most` each.
pub(super) fn runs(samples: &[Sample], most: usize) -> impl Iterator<Item = &[Sample]> {
    let same = |a: &Sample, b: &Sample| has_hi(Some(a)) == has_hi(Some(b));
    samples.chunk_by(same).flat_map(move |run| run.chunks(most))
}

fn has_hi(sample: Option<&Sample>) -> bool {
    sample.is_some_and(|sample| sample.accel_hi_s_mps2.is_some())
}

/// The samples of a message, behind those in `samples`; a message that is not as its schema says adds none.
pub(super) fn samples_from_bytes(message: &[u8], samples: &mut Vec<Sample>) -> Result<(), CdrError> {
    let mut reader = CdrReader::new(message)?;
    let mut times_s = reader.numbers()?;
    let count = times_s.len();
    let mut gyro = vector_columns(&mut reader, count)?;
    let mut accel = vector_columns(&mut reader, count)?;
    let mut hi = match reader.numbers()? {
        x if x.len() == 0 => None,
        x => Some(columns(x, &mut reader, count)?),
    };
    samples.extend(std::iter::from_fn(|| {
        Some(Sample {
            time: SensorTime(times_s.next()?),
            gyro_s_radps: gyro.next()?,
            accel_s_mps2: accel.next()?,
            accel_hi_s_mps2: hi.as_mut().and_then(Iterator::next),
        })
    }));
    Ok(())
}

fn vector_columns<'a>(
    reader: &mut CdrReader<'a>,
    count: usize,
) -> Result<impl Iterator<Item = Vector3<f64>> + use<'a>, CdrError> {
    let x = reader.numbers()?;
    columns(x, reader, count)
}

fn columns<'a, X: ExactSizeIterator<Item = f64>>(
    x: X,
    reader: &mut CdrReader<'a>,
    count: usize,
) -> Result<impl Iterator<Item = Vector3<f64>> + use<'a, X>, CdrError> {
    let (y, z) = (reader.numbers()?, reader.numbers()?);
    if [x.len(), y.len(), z.len()] != [count; 3] {
        return Err(CdrError("its lists differ in length"));
    }
    Ok(x.zip(y).zip(z).map(|((x, y), z)| Vector3::new(x, y, z)))
}
