//! `[stream.gyro]`, `[stream.accel]`, `[stream.accel_hi]`.

use super::DescriptorError;
use super::LONGEST_PACKET;
use super::layout::{Channel, Field, Kind};
use super::table::{Table, count, number};
use crate::engine::geometry::G_MPS2;
use toml::de::DeValue;

pub(super) const KEYS: [&str; 10] =
    ["at", "type", "endian", "unit", "scale", "counts_per_unit", "offset", "axes", "range", "bandwidth_hz"];

/// What a channel measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    AngularRate,
    SpecificForce,
}

/// Units by name, with what one of them is in rad/s or m/s².
pub(super) const GYRO_UNITS: [(&str, f64); 3] =
    [("dps", std::f64::consts::PI / 180.0), ("mdps", std::f64::consts::PI / 180_000.0), ("radps", 1.0)];
pub(super) const ACCEL_UNITS: [(&str, f64); 3] = [("g", G_MPS2), ("mg", G_MPS2 / 1000.0), ("mps2", 1.0)];

/// No gyro ends below the one or above the other, rad/s (57 °/s and 57,000 °/s).
const GYRO_RANGES: (f64, f64) = (1.0, 1000.0);
/// No accelerometer ends below the one or above the other, m/s² (0.5 g and 1,000 g).
const ACCEL_RANGES: (f64, f64) = (0.5 * G_MPS2, 1000.0 * G_MPS2);

/// A range in fewer steps than that is a mistake in the scale: eight bits have 127.
const FEWEST_STEPS: f64 = 50.0;
/// A reading counts as clipped within one step of 16 bits of the range: the greatest count has to get there.
const CLIPPED_FROM: f64 = (1.0 - 1.0 / 32768.0) * (1.0 - 1e-9);

impl Quantity {
    fn units(self) -> &'static [(&'static str, f64)] {
        match self {
            Self::AngularRate => &GYRO_UNITS,
            Self::SpecificForce => &ACCEL_UNITS,
        }
    }

    fn ranges(self) -> (f64, f64) {
        match self {
            Self::AngularRate => GYRO_RANGES,
            Self::SpecificForce => ACCEL_RANGES,
        }
    }
}

/// A channel whose place in a reading is `at`, or else its own key `at`.
pub(super) fn channel(
    table: &Table<'_>,
    quantity: Quantity,
    default_big_endian: bool,
    at: Option<usize>,
) -> Result<Channel, DescriptorError> {
    let kind = kind(table)?;
    let is_big_endian = endian(table, default_big_endian)?;
    let unit = table.required("unit", &names(quantity.units()), |value| named(value, quantity.units()))?;
    let scale = scale(table, kind)? * unit;
    let offset = table
        .optional("offset", "units at count 0, -1e9 to 1e9", |value| {
            number(value).filter(|offset| offset.abs() <= 1e9)
        })?
        .unwrap_or(0.0)
        * unit;
    let (low, high) = quantity.ranges();
    let expected =
        format!("the end of the sensor's range in the channel's unit, from {:.4} to {:.6}", low / unit, high / unit);
    let range = table.required("range", &expected, |value| {
        number(value).map(|range| range * unit).filter(|range| (low..=high).contains(range))
    })?;
    check_scale(table, kind, (scale, offset, range), unit)?;
    let bandwidth_hz = table.optional("bandwidth_hz", "a frequency above 0 up to 1e5 Hz", |value| {
        number(value).filter(|hz| *hz > 0.0 && *hz <= 1e5)
    })?;
    let field = |at: usize| Field { at, kind, is_big_endian };
    let fields = places(table, kind, at)?.map(field);
    Ok(Channel { fields, scale, offset, axes: axes(table)?, range, bandwidth_hz })
}

/// The key `type`.
pub(super) fn kind(table: &Table<'_>) -> Result<Kind, DescriptorError> {
    table.required("type", &names(&Kind::NAMES), |value| named(value, &Kind::NAMES))
}

/// The key `endian`, or what the stream says.
pub(super) fn endian(table: &Table<'_>, default_big_endian: bool) -> Result<bool, DescriptorError> {
    const NAMES: [(&str, bool); 2] = [("little", false), ("big", true)];
    Ok(table.optional("endian", &names(&NAMES), |value| named(value, &NAMES))?.unwrap_or(default_big_endian))
}

/// The value that goes by the name in the text.
pub(super) fn named<T: Copy>(value: &DeValue<'_>, names: &[(&str, T)]) -> Option<T> {
    let text = value.as_str()?;
    names.iter().find(|(name, _)| *name == text).map(|(_, value)| *value)
}

/// Names as an error lists them.
pub(super) fn names<T>(names: &[(&str, T)]) -> String {
    let quoted: Vec<String> = names.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    format!("one of {}", quoted.join(", "))
}

/// Units per count.
fn scale(table: &Table<'_>, kind: Kind) -> Result<f64, DescriptorError> {
    let positive = |value: &DeValue<'_>| number(value).filter(|number| *number >= 1e-12 && *number <= 1e12);
    let scale = table.optional("scale", "units per count, a number above 0 (signs go into `axes`)", positive)?;
    let counts = table.optional("counts_per_unit", "counts per unit, a number above 0", positive)?;
    match (scale, counts) {
        (Some(scale), None) => Ok(scale),
        (None, Some(counts)) => Ok(1.0 / counts),
        (None, None) if kind == Kind::Float => Ok(1.0),
        (None, None) => Err(table.error("scale", "missing", "`scale`, units per count, or `counts_per_unit`")),
        (Some(_), Some(_)) => Err(table.error("counts_per_unit", "beside `scale`", "one of the two")),
    }
}

/// The range has to fit what can be sent, and what can be sent has to resolve the range.
fn check_scale(
    table: &Table<'_>,
    kind: Kind,
    (scale, offset, range): (f64, f64, f64),
    unit: f64,
) -> Result<(), DescriptorError> {
    let key = if table.has("counts_per_unit") { "counts_per_unit" } else { "scale" };
    let Some((low, high)) = kind.ends() else {
        return match scale / unit {
            1e-6..=1e6 => Ok(()),
            absurd => Err(table.error(key, format!("{absurd:e} units per count"), "1e-6 to 1e6 units per count")),
        };
    };
    // To both ends: what never gets to −range, such as an unsigned number without offset, is a mistake too.
    let ends = (low * scale + offset, high * scale + offset);
    let reach = (-ends.0).min(ends.1);
    let steps = range / scale;
    if reach < range * CLIPPED_FROM {
        let found = format!("such that counts go from {:.6} to {:.6}", ends.0 / unit, ends.1 / unit);
        Err(table.error(key, found, format!("at least ±{:.6}, the range", range / unit)))
    } else if steps < FEWEST_STEPS {
        let found = format!("such that the range, {:.6}, has {steps:.1} counts", range / unit);
        Err(table.error(key, found, format!("at least {FEWEST_STEPS} counts")))
    } else {
        Ok(())
    }
}

/// Where the three numbers stand in a reading.
fn places(table: &Table<'_>, kind: Kind, at: Option<usize>) -> Result<[usize; 3], DescriptorError> {
    let one = |value: &DeValue<'_>| count(value, 0, LONGEST_PACKET);
    let in_a_row = |at: usize| [at, at + kind.size(), at + 2 * kind.size()];
    let expected = "a byte offset from the start of a reading, or a list of three";
    match at {
        Some(_) if table.has("at") => Err(table.error("at", "beside the running order `sample`", "one of the two")),
        Some(at) => Ok(in_a_row(at)),
        None => table.required("at", expected, |value| match value.as_array() {
            None => one(value).map(in_a_row),
            Some(list) => {
                let places: Option<Vec<usize>> = list.iter().map(|value| one(value.get_ref())).collect();
                places?.try_into().ok()
            }
        }),
    }
}

/// How x, y and z of S are made of the first, second and third number sent, which `axes` calls x, y and z.
fn axes(table: &Table<'_>) -> Result<[(usize, f64); 3], DescriptorError> {
    const AXES: [(&str, (usize, f64)); 6] =
        [("x", (0, 1.0)), ("y", (1, 1.0)), ("z", (2, 1.0)), ("-x", (0, -1.0)), ("-y", (1, -1.0)), ("-z", (2, -1.0))];
    let read = |value: &DeValue<'_>| -> Option<[(usize, f64); 3]> {
        let axes: Option<Vec<_>> = value.as_array()?.iter().map(|axis| named(axis.get_ref(), &AXES)).collect();
        let axes: [(usize, f64); 3] = axes?.try_into().ok()?;
        (0..3).all(|k| axes.iter().any(|(which, _)| *which == k)).then_some(axes)
    };
    let expected = "a list such as [\"-y\", \"x\", \"z\"]: each of x, y and z once, with or without a minus";
    Ok(table.optional("axes", expected, read)?.unwrap_or([(0, 1.0), (1, 1.0), (2, 1.0)]))
}
