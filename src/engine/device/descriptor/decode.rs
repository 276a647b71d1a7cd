//! Bytes of a notification to readings, by a layout.

use nalgebra::Vector3;

use super::layout::{Channel, Field, Fixed, Samples, Stream, Time};
use crate::engine::device::{Decoded, PacketError, RawReading, Readings};

/// What a notification of `stream`, the `index`th, holds.
pub(super) fn decode(index: usize, stream: &Stream, bytes: &[u8]) -> Result<Decoded, PacketError> {
    let (ignoring, refusing): (Vec<&Fixed>, Vec<&Fixed>) = stream.fixed.iter().partition(|fixed| fixed.else_ignored);
    if ignoring.iter().any(|fixed| mismatch(fixed, bytes).is_some()) {
        return Ok(Decoded::Other);
    }
    check_length(bytes, stream.least_length, stream.most_length)?;
    if let Some(found) = refusing.iter().find_map(|fixed| mismatch(fixed, bytes)) {
        return Err(PacketError::Field { field: "fixed byte", found, expected: "the descriptor's `match`" });
    }
    let samples = samples_of(stream, bytes)?;
    let counter = stream.counter.map(|it| below_modulus("counter", it.field, it.modulus, bytes)).transpose()?;
    let sequence = match (stream.counter, stream.fixed_samples()) {
        (Some(it), Some(per_packet)) if it.counts_samples => counter.map(|number| number / per_packet as u64),
        (Some(it), None) if it.counts_samples => None,
        _ => counter,
    };
    let tick = match stream.time {
        Some(time) => Some(tick_of_first(&time, samples, stream.sample_rate_hz, bytes)?),
        None => stream.ticks().and(counter),
    };
    let readings = (0..samples).map(|k| reading(stream, bytes, stream.samples_at + k * stream.sample_length));
    let readings = readings
        .collect::<Option<Vec<RawReading>>>()
        .ok_or(PacketError::TooShort { found: bytes.len(), expected: stream.packet_length(samples) })?;
    Ok(Decoded::Readings(Readings { stream: index, sequence, tick, readings, ..Readings::default() }))
}

fn check_length(bytes: &[u8], least: usize, most: usize) -> Result<(), PacketError> {
    match bytes.len() {
        found if found < least => Err(PacketError::TooShort { found, expected: least }),
        found if found > most => Err(PacketError::TooLong { found, expected: most }),
        _ => Ok(()),
    }
}

/// The first byte that is not as it has to be; none where the packet ends before, as its length is told of then.
fn mismatch(fixed: &Fixed, bytes: &[u8]) -> Option<u64> {
    let found = bytes.get(fixed.at..)?;
    fixed.bytes.iter().zip(found).find(|(expected, found)| expected != found).map(|(_, &found)| u64::from(found))
}

fn samples_of(stream: &Stream, bytes: &[u8]) -> Result<usize, PacketError> {
    let too_short = |expected| PacketError::TooShort { found: bytes.len(), expected };
    let samples = match stream.samples {
        Samples::Fixed(samples) => return Ok(samples),
        Samples::FromLength => {
            let room = bytes.len().saturating_sub(stream.samples_at + stream.trailer);
            (room / stream.sample_length.max(1)).max(1)
        }
        Samples::Counted { field, most } => {
            let found = field.unsigned(bytes).ok_or(too_short(field.end()))?;
            let possible = usize::try_from(found).ok().filter(|samples| (1..=most).contains(samples));
            possible.ok_or(PacketError::Field {
                field: "samples",
                found,
                expected: "from 1 to the descriptor's `most`",
            })?
        }
    };
    let exact = stream.packet_length(samples);
    check_length(bytes, exact, exact)?;
    Ok(samples)
}

fn below_modulus(name: &'static str, field: Field, modulus: u64, bytes: &[u8]) -> Result<u64, PacketError> {
    let too_short = PacketError::TooShort { found: bytes.len(), expected: field.end() };
    match field.unsigned(bytes).ok_or(too_short)? {
        found if found >= modulus => {
            Err(PacketError::Field { field: name, found, expected: "below the descriptor's `modulus`" })
        }
        found => Ok(found),
    }
}

/// The tick of the first reading. One that belongs to the last is taken back by the nominal interval, to half a tick.
fn tick_of_first(time: &Time, samples: usize, sample_rate_hz: f64, bytes: &[u8]) -> Result<u64, PacketError> {
    let tick = below_modulus("time", time.field, time.modulus, bytes)?;
    if !time.is_of_last {
        return Ok(tick);
    }
    let back = ((samples.saturating_sub(1)) as f64 * time.tick_hz / sample_rate_hz).round() as u64 % time.modulus;
    Ok((tick + time.modulus - back) % time.modulus)
}

fn reading(stream: &Stream, bytes: &[u8], at: usize) -> Option<RawReading> {
    let own = bytes.get(at..at + stream.sample_length)?;
    let vector = |channel: &Option<Channel>| match channel {
        Some(channel) => vector(channel, own).map(Some),
        None => Some(None),
    };
    Some(RawReading {
        gyro_s_radps: vector(&stream.gyro)?,
        accel_s_mps2: vector(&stream.accel)?,
        accel_hi_s_mps2: vector(&stream.accel_hi)?,
    })
}

/// A channel's vector in S; what is sent as no number is NaN, a missing component.
fn vector(channel: &Channel, own: &[u8]) -> Option<Vector3<f64>> {
    let [first, second, third] = channel.fields.map(|field| field.number(own));
    let sent = [first?, second?, third?].map(|count| count * channel.scale + channel.offset);
    let component = |(which, sign): (usize, f64)| {
        sent.get(which).map(|value| sign * value).filter(|value| value.is_finite()).unwrap_or(f64::NAN)
    };
    Some(Vector3::from(channel.axes.map(component)))
}
