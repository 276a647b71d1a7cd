//! The data characteristic: several readings in a packet.

use super::super::{ClippedChannels, PacketError, RawReading, Readings};
use super::{Information, VERSION, exact_length, field, least_length, part, u16_at, u32_at};
use nalgebra::Vector3;

/// The most readings in a packet: what an ATT MTU of 247 holds without high-range readings.
pub const MOST_READINGS: usize = 19;

const HEADER_BYTES: usize = 12;
const THREE_AXES_BYTES: usize = 6;

/// ATT's opcode and handle stand before the value in a notification (Bluetooth Core Specification, Vol 3, Part F, 3.4.7.1;
/// from memory).
const ATT_HEADER_BYTES: usize = 3;

/// One end of the range in counts; the other is one count short of it.
const FULL_SCALE: f64 = 32768.0;

const HAS_ACCEL_HI: u8 = 1;
const GYRO_CLIPPED: u8 = 1 << 1;
const ACCEL_CLIPPED: u8 = 1 << 2;
const ACCEL_HI_CLIPPED: u8 = 1 << 3;
const LOST_BEFORE: u8 = 1 << 4;
const FAULTY: u8 = 1 << 5;
const RESERVED: u8 = 0b1100_0000;

const LONGEST_SPAN_TICKS: u32 = (1 << 24) - 1;

/// What a packet says of its readings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PacketHeader {
    /// One more than the packet made before it; after 65535 comes 0.
    pub sequence: u16,
    /// The tick of the first reading.
    pub tick: u32,
    /// Ticks from the first reading to the last, below 2²⁴; 0 for one reading.
    pub span_ticks: u32,
    /// Channels that were at the end of their range. Those that a reading shows to be there are added.
    pub clipped: ClippedChannels,
    /// The sensor lost readings of its own just before these.
    pub lost_before: bool,
    /// The readings cannot be trusted.
    pub is_faulty: bool,
}

/// What cannot be put into a packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EncodeError {
    /// Too many readings or none.
    #[error("{0} readings; expected 1 to 19")]
    Count(usize),
    /// The span does not fit the number of readings.
    #[error(
        "{span_ticks} ticks from the first to the last of {readings} readings; expected at least one tick a step, and fewer than 2^24"
    )]
    Span {
        /// The span, ticks.
        span_ticks: u32,
        /// The number of readings.
        readings: usize,
    },
    /// A channel is missing, not a number, or has no range to be scaled by.
    #[error("reading {reading} has no {channel} that can be sent")]
    Channel {
        /// Which reading, from 0.
        reading: usize,
        /// The channel.
        channel: &'static str,
    },
}

/// How many readings a notification holds at an ATT MTU, at most [`MOST_READINGS`].
pub fn readings_that_fit(att_mtu_bytes: usize, has_accel_hi: bool) -> usize {
    let room = att_mtu_bytes.saturating_sub(ATT_HEADER_BYTES + HEADER_BYTES);
    (room / reading_bytes(has_accel_hi)).min(MOST_READINGS)
}

fn reading_bytes(has_accel_hi: bool) -> usize {
    if has_accel_hi { 3 * THREE_AXES_BYTES } else { 2 * THREE_AXES_BYTES }
}

pub(super) fn decode(information: &Information, bytes: &[u8]) -> Result<Readings, PacketError> {
    least_length(bytes, 1)?;
    let [version] = part(bytes, 0);
    if version != VERSION {
        return Err(PacketError::Version { found: version, expected: VERSION });
    }
    least_length(bytes, HEADER_BYTES)?;
    let [flags] = part(bytes, 1);
    let [count] = part(bytes, 8);
    let has = |bit: u8| flags & bit != 0;
    if has(RESERVED) {
        return Err(field("flags", flags, "bits 6 and 7 zero"));
    }
    let hi_range_mps2 = match (has(HAS_ACCEL_HI), information.accel_hi_range_mps2) {
        (false, _) => None,
        (true, None) => return Err(field("flags", flags, "bit 0 zero, as the information tells of no high range")),
        (true, range) => range,
    };
    let readings = usize::from(count);
    if !(1..=MOST_READINGS).contains(&readings) {
        return Err(field("number of readings", count, "1 to 19"));
    }
    let one_bytes = reading_bytes(hi_range_mps2.is_some());
    exact_length(bytes, HEADER_BYTES + readings * one_bytes)?;
    let body = bytes.get(HEADER_BYTES..).unwrap_or_default();
    Ok(Readings {
        stream: 0,
        sequence: Some(u64::from(u16_at(bytes, 2))),
        tick: Some(u64::from(u32_at(bytes, 4))),
        step_ticks: step_ticks(bytes, readings)?,
        readings: body.chunks_exact(one_bytes).map(|one| reading(information, hi_range_mps2, one)).collect(),
        is_faulty: has(FAULTY),
        lost_before: has(LOST_BEFORE),
        clipped: ClippedChannels {
            gyro: has(GYRO_CLIPPED),
            accel: has(ACCEL_CLIPPED),
            accel_hi: has(ACCEL_HI_CLIPPED),
        },
    })
}

fn step_ticks(bytes: &[u8], readings: usize) -> Result<Option<f64>, PacketError> {
    let [low, middle, high] = part(bytes, 9);
    let span_ticks = u32::from_le_bytes([low, middle, high, 0]);
    match readings as u32 - 1 {
        0 if span_ticks == 0 => Ok(None),
        0 => Err(field("span", span_ticks, "0 ticks for one reading")),
        steps if span_ticks >= steps => Ok(Some(f64::from(span_ticks) / f64::from(steps))),
        _ => Err(field("span", span_ticks, "at least one tick a step")),
    }
}

fn reading(information: &Information, hi_range_mps2: Option<f64>, bytes: &[u8]) -> RawReading {
    let axes = |at: usize, range: f64| {
        Vector3::from_fn(|axis, _| f64::from(u16_at(bytes, at + 2 * axis).cast_signed()) * (range / FULL_SCALE))
    };
    RawReading {
        gyro_s_radps: Some(axes(0, information.gyro_range_radps)),
        accel_s_mps2: Some(axes(THREE_AXES_BYTES, information.accel_range_mps2)),
        accel_hi_s_mps2: hi_range_mps2.map(|range_mps2| axes(2 * THREE_AXES_BYTES, range_mps2)),
    }
}

/// A packet's bytes: values rounded to counts, those beyond the range sent as its end and marked as clipped. High-range
/// readings are sent if the first reading has them.
pub fn encode_packet(
    information: &Information,
    header: &PacketHeader,
    readings: &[RawReading],
) -> Result<Vec<u8>, EncodeError> {
    if !(1..=MOST_READINGS).contains(&readings.len()) {
        return Err(EncodeError::Count(readings.len()));
    }
    let span_ticks = header.span_ticks;
    let steps = readings.len() as u32 - 1;
    if span_ticks < steps || span_ticks > LONGEST_SPAN_TICKS || (steps == 0 && span_ticks != 0) {
        return Err(EncodeError::Span { span_ticks, readings: readings.len() });
    }
    let has_accel_hi = readings.first().is_some_and(|first| first.accel_hi_s_mps2.is_some());
    let mut clipped = header.clipped;
    let mut body = Vec::with_capacity(readings.len() * reading_bytes(has_accel_hi));
    for (reading, one) in readings.iter().enumerate() {
        let missing = |channel| EncodeError::Channel { reading, channel };
        let mut put = |value, range| put_axes(&mut body, value, range);
        clipped.gyro |= put(one.gyro_s_radps, Some(information.gyro_range_radps)).ok_or(missing("angular rate"))?;
        clipped.accel |= put(one.accel_s_mps2, Some(information.accel_range_mps2)).ok_or(missing("specific force"))?;
        if has_accel_hi {
            let clips = put(one.accel_hi_s_mps2, information.accel_hi_range_mps2);
            clipped.accel_hi |= clips.ok_or(missing("high-range specific force"))?;
        }
    }
    let mut bytes = vec![VERSION, flags(header, clipped, has_accel_hi)];
    bytes.extend(header.sequence.to_le_bytes());
    bytes.extend(header.tick.to_le_bytes());
    bytes.push(readings.len() as u8);
    bytes.extend(span_ticks.to_le_bytes().iter().take(3));
    bytes.extend(body);
    Ok(bytes)
}

fn flags(header: &PacketHeader, clipped: ClippedChannels, has_accel_hi: bool) -> u8 {
    let cases = [
        (has_accel_hi, HAS_ACCEL_HI),
        (clipped.gyro, GYRO_CLIPPED),
        (clipped.accel, ACCEL_CLIPPED),
        (clipped.accel_hi, ACCEL_HI_CLIPPED),
        (header.lost_before, LOST_BEFORE),
        (header.is_faulty, FAULTY),
    ];
    cases.iter().filter(|case| case.0).fold(0, |flags, case| flags | case.1)
}

/// Puts three axes; whether one of them is at an end of the range, `None` if they cannot be put.
fn put_axes(body: &mut Vec<u8>, value: Option<Vector3<f64>>, range: Option<f64>) -> Option<bool> {
    let counts = value?.map(|value| value / range.unwrap_or(f64::NAN) * FULL_SCALE).map(f64::round);
    if counts.iter().any(|count| count.is_nan()) {
        return None;
    }
    // Beyond the range `as` stays at its end.
    let sent: [i16; 3] = [counts.x as i16, counts.y as i16, counts.z as i16];
    sent.iter().for_each(|count| body.extend(count.to_le_bytes()));
    Some(sent.iter().any(|&count| count == i16::MIN || count == i16::MAX))
}
