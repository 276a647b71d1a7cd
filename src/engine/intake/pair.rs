//! Angular rate and specific force that come in packets of their own, put together into samples.
//!
//! Both streams are on the sensor's clock. A reading of the one takes the nearest of the other within half a step; what
//! has none within [`LONGEST_WAIT`] readings stands alone, with the other channel missing.

use crate::engine::sample::{Sample, SensorTime};
use nalgebra::Vector3;
use std::collections::VecDeque;

/// So many readings of one stream wait for the other. Some boards send the one up to a packet later; a quarter of a
/// second at 200 Hz is more than any of them.
const LONGEST_WAIT: usize = 50;

#[derive(Debug, Default)]
pub(super) struct Pairing {
    gyro: VecDeque<(f64, Vector3<f64>)>,
    accel: VecDeque<(f64, Vector3<f64>)>,
    half_step_s: f64,
}

/// Components that are not there.
pub(super) const MISSING: Vector3<f64> = Vector3::new(f64::NAN, f64::NAN, f64::NAN);

impl Pairing {
    pub(super) fn new(step_s: f64) -> Self {
        Self { half_step_s: 0.5 * step_s, ..Self::default() }
    }

    pub(super) fn gyro(&mut self, time_s: f64, gyro_s_radps: Vector3<f64>) {
        self.gyro.push_back((time_s, gyro_s_radps));
    }

    pub(super) fn accel(&mut self, time_s: f64, accel_s_mps2: Vector3<f64>) {
        self.accel.push_back((time_s, accel_s_mps2));
    }

    /// The samples that are whole by now, or that have waited for long enough.
    pub(super) fn ready(&mut self, samples: &mut Vec<Sample>) {
        while let Some(sample) = self.next(LONGEST_WAIT) {
            samples.push(sample);
        }
    }

    /// Everything that is left.
    pub(super) fn flush(&mut self, samples: &mut Vec<Sample>) {
        while let Some(sample) = self.next(0) {
            samples.push(sample);
        }
    }

    fn next(&mut self, wait: usize) -> Option<Sample> {
        let (gyro_s, accel_s) = (self.gyro.front().map(|r| r.0), self.accel.front().map(|r| r.0));
        let (take_gyro, take_accel) = match (gyro_s, accel_s) {
            (Some(gyro_s), Some(accel_s)) if (gyro_s - accel_s).abs() <= self.half_step_s => (true, true),
            (Some(gyro_s), Some(accel_s)) => (gyro_s < accel_s, gyro_s >= accel_s),
            (Some(_), None) if self.gyro.len() > wait => (true, false),
            (None, Some(_)) if self.accel.len() > wait => (false, true),
            _ => return None,
        };
        let gyro = if take_gyro { self.gyro.pop_front() } else { None };
        let accel = if take_accel { self.accel.pop_front() } else { None };
        Some(Sample {
            time: SensorTime(gyro.or(accel)?.0),
            gyro_s_radps: gyro.map_or(MISSING, |r| r.1),
            accel_s_mps2: accel.map_or(MISSING, |r| r.1),
            accel_hi_s_mps2: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(k: usize) -> Vector3<f64> {
        Vector3::new(k as f64, 0.0, 0.0)
    }

    #[test]
    fn readings_of_the_same_time_make_one_sample_and_lone_ones_stand_alone() {
        let mut pairing = Pairing::new(0.01);
        for k in 0..8 {
            pairing.gyro(k as f64 * 0.01, value(k));
        }
        let mut samples = Vec::new();
        pairing.ready(&mut samples);
        assert!(samples.is_empty(), "they wait for the other stream");
        for k in (0..8).filter(|k| *k != 3) {
            pairing.accel(k as f64 * 0.01 + 0.004, value(k));
        }
        pairing.ready(&mut samples);
        assert_eq!(samples.len(), 8);
        for (k, sample) in samples.iter().enumerate() {
            assert_eq!(sample.gyro_s_radps, value(k));
            assert_eq!(sample.is_whole(), k != 3, "{k}");
        }
    }

    #[test]
    fn a_silent_stream_does_not_stop_the_other_or_fill_the_memory() {
        let mut pairing = Pairing::new(0.01);
        let mut samples = Vec::new();
        for k in 0..500 {
            pairing.accel(k as f64 * 0.01, value(k));
            pairing.ready(&mut samples);
            assert!(pairing.accel.len() <= LONGEST_WAIT);
        }
        assert_eq!(samples.len(), 500 - LONGEST_WAIT);
        pairing.flush(&mut samples);
        assert_eq!(samples.len(), 500);
    }
}
