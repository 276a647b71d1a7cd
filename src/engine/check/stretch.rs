//! Stretches in which a sensor hardly moved.

use crate::engine::sample::Sample;
use nalgebra::Vector3;

/// Quietness is judged by pieces of this length, s.
const PIECE_S: f64 = 0.1;
/// A piece with fewer samples says nothing.
const LEAST_SAMPLES: usize = 4;

/// What counts as hardly moving.
#[derive(Clone, Copy, Debug)]
pub struct Quiet {
    /// The greatest mean rate, rad/s, the sensor's bias in it.
    pub rate_radps: f64,
    /// The greatest root mean square about the mean, all axes together, rad/s.
    pub gyro_radps: f64,
    /// The same of the specific force, m/s².
    pub accel_mps2: f64,
    /// The mean force of a piece differs from that of the stretch by no more, m/s².
    pub moved_mps2: f64,
}

/// A stretch in which the sensor hardly moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Its first sample, s on the sensor's clock.
    pub from_s: f64,
    /// Its last one.
    pub to_s: f64,
    /// Samples in it.
    pub count: usize,
    /// Mean of the gyro's readings, rad/s, in S.
    pub gyro_s_radps: Vector3<f64>,
    /// Mean of the accelerometer's readings, m/s², in S.
    pub accel_s_mps2: Vector3<f64>,
}

impl Stretch {
    /// How long it lasted, s.
    pub fn lasted_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    fn joined(&self, other: &Self) -> Self {
        let count = self.count + other.count;
        let part = other.count as f64 / count as f64;
        Self {
            from_s: self.from_s,
            to_s: other.to_s,
            count,
            gyro_s_radps: self.gyro_s_radps.lerp(&other.gyro_s_radps, part),
            accel_s_mps2: self.accel_s_mps2.lerp(&other.accel_s_mps2, part),
        }
    }
}

/// The stretches among usable samples, in order. A gap ends one.
pub fn stretches(samples: &[Sample], quiet: &Quiet) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut may_go_on = false;
    for piece in pieces(samples) {
        let Some(piece) = quiet.of(piece) else {
            may_go_on = false;
            continue;
        };
        match found.last_mut() {
            Some(last) if may_go_on && quiet.goes_on(last, &piece) => *last = last.joined(&piece),
            _ => found.push(piece),
        }
        may_go_on = true;
    }
    found
}

/// Samples cut into pieces of [`PIECE_S`].
fn pieces(samples: &[Sample]) -> impl Iterator<Item = &[Sample]> {
    let mut left = samples;
    std::iter::from_fn(move || {
        let first = left.first()?;
        let until_s = first.time.0 + PIECE_S;
        let count = left.partition_point(|sample| sample.time.0 < until_s).max(1);
        let (piece, rest) = left.split_at(count.min(left.len()));
        left = rest;
        Some(piece)
    })
}

impl Quiet {
    fn of(&self, piece: &[Sample]) -> Option<Stretch> {
        let (first, last) = (piece.first()?, piece.last()?);
        let count = piece.len();
        if count < LEAST_SAMPLES || last.time.0 - first.time.0 < 0.5 * PIECE_S {
            return None;
        }
        let n = count as f64;
        let gyro = piece.iter().map(|sample| sample.gyro_s_radps).sum::<Vector3<f64>>() / n;
        let accel = piece.iter().map(|sample| sample.accel_s_mps2).sum::<Vector3<f64>>() / n;
        let spread =
            |of: &dyn Fn(&Sample) -> Vector3<f64>| (piece.iter().map(|s| of(s).norm_squared()).sum::<f64>() / n).sqrt();
        let is_quiet = gyro.norm() <= self.rate_radps
            && spread(&|sample| sample.gyro_s_radps - gyro) <= self.gyro_radps
            && spread(&|sample| sample.accel_s_mps2 - accel) <= self.accel_mps2;
        is_quiet.then_some(Stretch {
            from_s: first.time.0,
            to_s: last.time.0,
            count,
            gyro_s_radps: gyro,
            accel_s_mps2: accel,
        })
    }

    fn goes_on(&self, before: &Stretch, piece: &Stretch) -> bool {
        piece.from_s - before.to_s < PIECE_S && (piece.accel_s_mps2 - before.accel_s_mps2).norm() <= self.moved_mps2
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::sample::SensorTime;

    const QUIET: Quiet = Quiet { rate_radps: 0.1, gyro_radps: 0.1, accel_mps2: 0.2, moved_mps2: 0.5 };

    fn at(times_s: impl Iterator<Item = f64>, force: f64) -> Vec<Sample> {
        let sample = |time_s| Sample {
            time: SensorTime(time_s),
            gyro_s_radps: Vector3::new(0.01, 0.02, 0.0),
            accel_s_mps2: Vector3::z() * force,
            accel_hi_s_mps2: None,
        };
        times_s.map(sample).collect()
    }

    #[test]
    fn what_rests_is_one_stretch_and_a_gap_or_another_pose_ends_it() {
        let steps = |from: i32, to: i32| (from..to).map(|k| f64::from(k) / 400.0);
        let one = stretches(&at(steps(0, 1600), 9.8), &QUIET);
        assert_eq!(one.len(), 1, "{one:?}");
        assert!(one[0].lasted_s() > 3.85 && (one[0].gyro_s_radps.y - 0.02).abs() < 1e-12, "{one:?}");
        let torn = [at(steps(0, 800), 9.8), at(steps(1000, 1600), 9.8)].concat();
        assert_eq!(stretches(&torn, &QUIET).len(), 2);
        let moved = [at(steps(0, 800), 9.8), at(steps(800, 1600), 8.0)].concat();
        assert_eq!(stretches(&moved, &QUIET).len(), 2);
    }
}
