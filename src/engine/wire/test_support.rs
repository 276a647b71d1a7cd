//! Samples for the property tests of the formats.

use nalgebra::Vector3;
use proptest::prelude::*;

use crate::engine::sample::{Sample, SensorTime};

fn component() -> impl Strategy<Value = f64> {
    let any_bits = any::<u64>().prop_map(f64::from_bits);
    prop_oneof![8 => -100.0..100.0, 4 => any_bits, 1 => Just(f64::NAN), 1 => Just(-0.0)]
        .prop_map(|value: f64| if value.is_finite() { value } else { f64::NAN })
}

fn vector() -> impl Strategy<Value = Vector3<f64>> {
    [component(), component(), component()].prop_map(Vector3::from)
}

/// Samples with increasing times, missing components and, all or none, a second accelerometer.
pub(super) fn any_samples(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Sample>> {
    let rows = proptest::collection::vec((1e-6..1.0, vector(), vector(), vector()), count);
    (rows, any::<bool>(), -1e4..1e4).prop_map(|(rows, with_hi, mut time_s)| {
        let sample = |(step_s, gyro_s_radps, accel_s_mps2, hi): (f64, _, _, _)| {
            time_s += step_s;
            Sample { time: SensorTime(time_s), gyro_s_radps, accel_s_mps2, accel_hi_s_mps2: with_hi.then_some(hi) }
        };
        rows.into_iter().map(sample).collect()
    })
}

/// All numbers as bits, so that −0 is not 0 and NaN equals itself.
pub(super) fn bits_of(samples: &[Sample]) -> Vec<Vec<u64>> {
    let bits = |sample: &Sample| {
        let hi = sample.accel_hi_s_mps2;
        let vectors = [Some(sample.gyro_s_radps), Some(sample.accel_s_mps2), hi].into_iter().flatten();
        let numbers = vectors.flat_map(<[f64; 3]>::from);
        std::iter::once(sample.time.0).chain(numbers).map(f64::to_bits).collect()
    };
    samples.iter().map(bits).collect()
}
