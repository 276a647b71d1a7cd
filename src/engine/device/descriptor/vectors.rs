//! `[[test]]`: packets with what they hold, checked whenever a descriptor is read.

use nalgebra::Vector3;
use toml::de::DeValue;

use super::channel::{ACCEL_UNITS, GYRO_UNITS};
use super::table::{Table, hex, integer, number, uuid, words};
use super::{Descriptor, DescriptorError, LONGEST_PACKET};
use crate::engine::device::{Decoded, RawReading, Readings};

pub(super) const KEYS: [&str; 12] = [
    "characteristic",
    "hex",
    "from",
    "outcome",
    "counter",
    "tick",
    "gyro_dps",
    "gyro_radps",
    "accel_g",
    "accel_mps2",
    "accel_hi_g",
    "accel_hi_mps2",
];

const MOST_TESTS: usize = 50;

/// How far a decoded value may be from the expected one, which is written with some digits: relative, and absolute in
/// rad/s or m/s².
const TOLERANCE: f64 = 1e-6;

type Result<T> = std::result::Result<T, DescriptorError>;

/// Decodes every test packet and compares.
pub(super) fn check(root: &Table<'_>, descriptor: &Descriptor) -> Result<()> {
    root.tables("test", MOST_TESTS, &KEYS)?.iter().try_for_each(|table| check_one(table, descriptor))
}

fn check_one(table: &Table<'_>, descriptor: &Descriptor) -> Result<()> {
    let characteristic = table.required("characteristic", "a UUID", uuid)?;
    let bytes = table.required("hex", &format!("at most {LONGEST_PACKET} bytes in hexadecimal"), hex)?;
    table.required("from", "where the packet comes from, a text", words)?;
    let expected = "\"readings\", \"ignored\" or \"refused\"";
    let outcome = table.optional("outcome", expected, |value| {
        value.as_str().filter(|text| ["readings", "ignored", "refused"].contains(text)).map(str::to_owned)
    })?;
    let outcome = outcome.as_deref().unwrap_or("readings");
    match descriptor.decode(&characteristic, &bytes) {
        Ok(Decoded::Readings(found)) if outcome == "readings" => check_readings(table, &found),
        Ok(Decoded::Readings(found)) => {
            Err(table.error("outcome", format!("{} readings", found.readings.len()), outcome))
        }
        Ok(_) if outcome == "ignored" => Ok(()),
        Ok(_) => Err(table.error("hex", "ignored by this descriptor", outcome)),
        Err(_) if outcome == "refused" => Ok(()),
        Err(error) => Err(table.error("hex", format!("refused by this descriptor: {error}"), outcome)),
    }
}

fn check_readings(table: &Table<'_>, found: &Readings) -> Result<()> {
    for (key, found) in [("counter", found.sequence), ("tick", found.tick)] {
        let expected = table.optional(key, "a whole number from 0", |value| u64::try_from(integer(value)?).ok())?;
        if let Some(expected) = expected.filter(|expected| Some(*expected) != found) {
            let decoded = found.map_or("nothing".to_owned(), |number| number.to_string());
            return Err(table.error(key, expected.to_string(), format!("{decoded}, as this descriptor decodes")));
        }
    }
    let (gyro, accel) = (&GYRO_UNITS, &ACCEL_UNITS);
    check_channel(table, found, "gyro", gyro, |it| it.gyro_s_radps)?;
    check_channel(table, found, "accel", accel, |it| it.accel_s_mps2)?;
    check_channel(table, found, "accel_hi", accel, |it| it.accel_hi_s_mps2)
}

/// A channel that the packet holds has to be expected, in one of its units, and no other.
fn check_channel(
    table: &Table<'_>,
    found: &Readings,
    name: &str,
    units: &[(&str, f64)],
    of: fn(&RawReading) -> Option<Vector3<f64>>,
) -> Result<()> {
    let keys = units.iter().map(|(unit, scale)| (format!("{name}_{unit}"), *scale));
    let given: Vec<(String, f64)> = keys.filter(|(key, _)| table.has(key)).collect();
    let found: Option<Vec<Vector3<f64>>> = found.readings.iter().map(of).collect();
    let expected = "a list of readings, each a list of three numbers";
    match (found, given.as_slice()) {
        (None, []) => Ok(()),
        (Some(_), []) => {
            let unit = units.first().map_or("", |(unit, _)| *unit);
            Err(table.error(&format!("{name}_{unit}"), "missing", expected))
        }
        (None, [(key, _), ..]) => Err(table.error(key, "there", "no such channel in this packet")),
        (Some(found), [(key, scale)]) => {
            let wanted = table.required(key, expected, rows)?;
            let is_near = |wanted: &[f64; 3], found: &Vector3<f64>| {
                wanted.iter().zip(found.iter()).all(|(wanted, found)| {
                    let wanted = wanted * scale;
                    (wanted - found).abs() <= TOLERANCE * wanted.abs().max(1.0)
                })
            };
            let is_equal = wanted.len() == found.len() && wanted.iter().zip(&found).all(|(w, f)| is_near(w, f));
            let decoded: Vec<[f64; 3]> = found.iter().map(|it| [it.x / scale, it.y / scale, it.z / scale]).collect();
            match is_equal {
                true => Ok(()),
                false => {
                    Err(table.error(key, format!("{wanted:?}"), format!("{decoded:?}, as this descriptor decodes")))
                }
            }
        }
        (Some(_), [_, (key, _), ..]) => Err(table.error(key, "there in a second unit", "one unit")),
    }
}

fn rows(value: &DeValue<'_>) -> Option<Vec<[f64; 3]>> {
    let row = |value: &DeValue<'_>| -> Option<[f64; 3]> {
        let numbers: Option<Vec<f64>> = value.as_array()?.iter().map(|value| number(value.get_ref())).collect();
        numbers?.try_into().ok()
    };
    value.as_array()?.iter().map(|value| row(value.get_ref())).collect()
}
