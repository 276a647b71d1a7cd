//! What a sensor makes of a motion: low-pass, averaging, errors, noise, steps, range, lost rows.
//!
//! The motion is followed at 8 kHz or more, so that a blow of a millisecond and its ringing go through the sensor's own
//! second-order Butterworth low-pass (coefficients and filter from `biquad`) before they are sampled, and alias as they
//! would. Where nothing is quick the motion is computed every 2 ms and interpolated by cubics: for a tremor of 12 Hz that
//! errs by 3/128·(2π·12·0.002)⁴ = 1.2e-5 of it. Noise is white before the low-pass: it is drawn at the sample rate
//! and sent through the same low-pass there.

use super::pose::Trajectory;
use super::preset::Drawn;
use super::random::Random;
use crate::engine::profile::SensorProfile;
use crate::engine::sample::{Sample, SensorTime};
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};
use nalgebra::Vector3;
use std::collections::VecDeque;

/// The least rate at which a motion is followed where it is quick, Hz.
const FINE_HZ: f64 = 8000.0;

/// How far apart points are computed where nothing is quick, s.
const COARSE_S: f64 = 2.0e-3;

/// Angular rate and specific force in S.
type Reading = [Vector3<f64>; 2];

/// What else may happen to a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mishaps {
    /// Share of rows lost, in groups of 5 to 20.
    pub lost_share: f64,
    /// From when, on the true clock, and for how long all rows are missing, s.
    pub gap_s: Option<(f64, f64)>,
}

/// A stream of samples, and how many were lost.
#[derive(Clone, Debug, PartialEq)]
pub struct Stream {
    /// The samples that are left.
    pub samples: Vec<Sample>,
    /// How many are missing.
    pub lost: usize,
}

/// Records a trajectory from time 0 for `duration_s` on the true clock.
pub fn record(
    trajectory: &impl Trajectory,
    duration_s: f64,
    profile: &SensorProfile,
    drawn: &Drawn,
    mishaps: Mishaps,
    random: &mut Random,
) -> Stream {
    let rate_hz = profile.sample_rate_hz.unwrap_or(1000.0);
    let mut spoiler = Spoiler::new(profile, drawn, rate_hz, random);
    let mut losses = Losses { mishaps, left: 0, random: random.branch() };
    let mut stream = Stream { samples: Vec::with_capacity((duration_s * rate_hz) as usize + 1), lost: 0 };
    let follow = Follow::new(trajectory, duration_s, profile, drawn, rate_hz);
    follow.each(|index, reading| {
        let since_start_s = index as f64 / rate_hz;
        let time = SensorTime(drawn.clock_start_s + since_start_s);
        let sample = spoiler.sample(time, reading);
        if losses.loses(drawn.true_time_s(since_start_s)) {
            stream.lost += 1;
        } else {
            stream.samples.push(sample);
        }
    });
    stream
}

struct Losses {
    mishaps: Mishaps,
    left: usize,
    random: Random,
}

impl Losses {
    fn loses(&mut self, true_s: f64) -> bool {
        if self.mishaps.gap_s.is_some_and(|(start_s, lasting_s)| (start_s..start_s + lasting_s).contains(&true_s)) {
            return true;
        }
        if self.left > 0 {
            self.left -= 1;
            return true;
        }
        // Groups of 12.5 rows on average: the share lost is p·12.5 / (1 + p·12.5) for a start with probability p a row.
        let share = self.mishaps.lost_share.clamp(0.0, 0.9);
        let starts = self.random.chance(share / (12.5 * (1.0 - share)));
        if starts {
            self.left = 4 + self.random.index(16);
        }
        starts
    }
}

fn low_pass(rate_hz: f64, bandwidth_hz: f64) -> Option<Coefficients<f64>> {
    let wanted = bandwidth_hz < 0.45 * rate_hz;
    let coefficients =
        || Coefficients::from_params(Type::LowPass, rate_hz.hz(), bandwidth_hz.hz(), Q_BUTTERWORTH_F64).ok();
    wanted.then(coefficients).flatten()
}

/// Six channels through one kind of low-pass, started at rest on their first input; without one they pass.
struct SixFilters {
    coefficients: Option<Coefficients<f64>>,
    filters: Option<[DirectForm2Transposed<f64>; 6]>,
}

impl SixFilters {
    fn new(rate_hz: f64, bandwidth_hz: f64) -> Self {
        Self { coefficients: low_pass(rate_hz, bandwidth_hz), filters: None }
    }

    /// A filter that has been fed `input` forever: its states are the fixed point of its recursion.
    fn settled(c: Coefficients<f64>, input: f64) -> DirectForm2Transposed<f64> {
        let mut filter = DirectForm2Transposed::<f64>::new(c);
        filter.s2 = (c.b2 - c.a2) * input;
        filter.s1 = (c.b1 - c.a1) * input + filter.s2;
        filter
    }

    fn run(&mut self, [a, b]: Reading) -> Reading {
        let Some(c) = self.coefficients else {
            return [a, b];
        };
        let input = [a.x, a.y, a.z, b.x, b.y, b.z];
        let filters = self.filters.get_or_insert_with(|| input.map(|x| Self::settled(c, x)));
        let mut out = [0.0; 6];
        for ((out, filter), x) in out.iter_mut().zip(filters.iter_mut()).zip(input) {
            *out = filter.run(x);
        }
        [Vector3::new(out[0], out[1], out[2]), Vector3::new(out[3], out[4], out[5])]
    }
}

/// The motion followed finely, filtered and averaged: exact readings at the sample instants.
struct Follow<'a, T> {
    trajectory: &'a T,
    /// Fine steps a sample.
    fine: usize,
    /// Fine steps on either side of a sample's instant that are averaged with it.
    averaged: usize,
    /// Fine steps a coarse one.
    coarse: usize,
    /// A fine step on the true clock, s.
    step_s: f64,
    samples: usize,
    filters: SixFilters,
}

impl<'a, T: Trajectory> Follow<'a, T> {
    fn new(trajectory: &'a T, duration_s: f64, profile: &SensorProfile, drawn: &Drawn, rate_hz: f64) -> Self {
        let is_exact = profile.gyro_bandwidth_hz > 10.0 * rate_hz;
        let fine = if is_exact { 1 } else { (FINE_HZ / rate_hz).ceil().max(4.0) as usize };
        let fine_hz = rate_hz * fine as f64;
        Self {
            trajectory,
            fine,
            averaged: if is_exact { 0 } else { 1.min((fine - 1) / 2) },
            coarse: if is_exact { 1 } else { (COARSE_S * fine_hz).floor().max(1.0) as usize },
            step_s: drawn.true_time_s(1.0 / fine_hz),
            samples: (duration_s * rate_hz) as usize,
            filters: SixFilters::new(fine_hz, drawn.bandwidth_hz),
        }
    }

    fn reading(&self, step: i64) -> Reading {
        let imu = self.trajectory.at(step as f64 * self.step_s);
        [imu.omega_s_radps, imu.specific_force_s_mps2]
    }

    /// Calls `emit` with each sample's index and reading.
    fn each(mut self, mut emit: impl FnMut(usize, Reading)) {
        let mut average = Average { fine: self.fine, around: self.averaged, sum: [Vector3::zeros(); 2] };
        let mut nodes: VecDeque<(i64, Reading)> = VecDeque::with_capacity(8);
        let blocks = (self.samples * self.fine).div_ceil(self.coarse) as i64 + 1;
        let mut emitted = 0;
        for block in 0..blocks {
            let first = block * self.coarse as i64;
            let (from_s, to_s) = (first as f64 * self.step_s, (first + self.coarse as i64) as f64 * self.step_s);
            let margin_s = to_s - from_s;
            let is_brisk = self.coarse == 1 || self.trajectory.is_brisk(from_s - margin_s, to_s + margin_s);
            let around = (!is_brisk).then(|| self.nodes_around(block, &mut nodes));
            for step in 0..self.coarse as i64 {
                let exact = match &around {
                    Some(nodes) => interpolated(nodes, step as f64 / self.coarse as f64),
                    None => self.reading(first + step),
                };
                let filtered = self.filters.run(exact);
                if let Some(reading) = average.push(first + step, filtered)
                    && emitted < self.samples
                {
                    emit(emitted, reading);
                    emitted += 1;
                }
            }
        }
    }

    /// The four nodes that a block lies in the middle of, those known already taken over.
    fn nodes_around(&self, block: i64, known: &mut VecDeque<(i64, Reading)>) -> [Reading; 4] {
        std::array::from_fn(|i| {
            let node = block - 1 + i as i64;
            if let Some(&(_, reading)) = known.iter().find(|(at, _)| *at == node) {
                return reading;
            }
            let reading = self.reading(node * self.coarse as i64);
            if known.len() == 8 {
                known.pop_front();
            }
            known.push_back((node, reading));
            reading
        })
    }
}

/// The cubic through four points one apart, `share` of the way from the second to the third (Lagrange).
fn interpolated(nodes: &[Reading; 4], share: f64) -> Reading {
    let u = share;
    let weights = [
        -u * (u - 1.0) * (u - 2.0) / 6.0,
        (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0,
        -(u + 1.0) * u * (u - 2.0) / 2.0,
        (u + 1.0) * u * (u - 1.0) / 6.0,
    ];
    std::array::from_fn(|channel| {
        nodes.iter().zip(weights).fold(Vector3::zeros(), |sum, (node, weight)| sum + node[channel] * weight)
    })
}

/// Means of the fine steps about each sample's instant; the sensor stamps the middle, so that averaging delays nothing.
struct Average {
    fine: usize,
    around: usize,
    sum: Reading,
}

impl Average {
    fn push(&mut self, step: i64, [a, b]: Reading) -> Option<Reading> {
        let fine = self.fine as i64;
        let nearest = (step + fine / 2).div_euclid(fine);
        let (off, around) = (step - nearest * fine, self.around as i64);
        if off.abs() > around {
            return None;
        }
        self.sum = [self.sum[0] + a, self.sum[1] + b];
        if off < around {
            return None;
        }
        // The first sample's window begins before the recording does.
        let count = if nearest == 0 { around + 1 } else { 2 * around + 1 };
        let mean = self.sum.map(|sum| sum / count as f64);
        self.sum = [Vector3::zeros(); 2];
        Some(mean)
    }
}

/// White noise of a density before a low-pass.
struct Noise {
    sigma: f64,
    filters: SixFilters,
}

impl Noise {
    /// σ² is the density squared times half the rate where the low-pass follows; without one below the Nyquist rate
    /// all the power up to the sensor's noise bandwidth, π/(2√2) of its −3 dB frequency, folds into the stream.
    fn new(rate_hz: f64, bandwidth_hz: f64) -> Self {
        let filters = SixFilters::new(rate_hz, bandwidth_hz);
        let noise_bandwidth_hz = std::f64::consts::PI / 8f64.sqrt() * bandwidth_hz;
        let white_hz = if filters.coefficients.is_some() { 0.5 * rate_hz } else { noise_bandwidth_hz };
        Self { sigma: white_hz.sqrt(), filters }
    }

    /// Two vectors of density one.
    fn next(&mut self, random: &mut Random) -> Reading {
        let white = [random.normal_vector(self.sigma), random.normal_vector(self.sigma)];
        self.filters.run(white)
    }
}

/// From exact readings to what is sent.
struct Spoiler<'a> {
    profile: &'a SensorProfile,
    drawn: &'a Drawn,
    noise: Noise,
    noise_hi: Noise,
    random: Random,
}

impl<'a> Spoiler<'a> {
    fn new(profile: &'a SensorProfile, drawn: &'a Drawn, rate_hz: f64, random: &mut Random) -> Self {
        let noise = || Noise::new(rate_hz, drawn.bandwidth_hz);
        Self { profile, drawn, noise: noise(), noise_hi: noise(), random: random.branch() }
    }

    fn sample(&mut self, time: SensorTime, [omega_s, force_s]: Reading) -> Sample {
        let (profile, drawn) = (self.profile, self.drawn);
        let is_exact = profile.gyro_noise_radps_rthz == 0.0 && profile.accel_noise_mps2_rthz == 0.0;
        let unit = if is_exact { [Vector3::zeros(); 2] } else { self.noise.next(&mut self.random) };
        let step = |range: f64| if is_exact { 0.0 } else { range / 32768.0 };
        let gyro = drawn.gyro_matrix * omega_s + drawn.gyro_bias_radps + unit[0] * profile.gyro_noise_radps_rthz;
        let accel = drawn.accel_matrix * force_s + drawn.accel_bias_mps2 + unit[1] * profile.accel_noise_mps2_rthz;
        let accel_hi_s_mps2 = drawn.accel_hi.as_ref().map(|hi| {
            let noise = self.noise_hi.next(&mut self.random)[0] * hi.noise_mps2_rthz;
            digitised(hi.matrix * force_s + hi.bias_mps2 + noise, hi.step_mps2, profile.accel_hi_range_mps2)
        });
        Sample {
            time,
            gyro_s_radps: digitised(gyro, step(profile.gyro_range_radps), profile.gyro_range_radps),
            accel_s_mps2: digitised(accel, step(profile.accel_range_mps2), profile.accel_range_mps2),
            accel_hi_s_mps2,
        }
    }
}

/// Rounded to whole steps (a step of zero: not at all) and kept within the range as two's complement keeps it.
fn digitised(v: Vector3<f64>, step: f64, range: f64) -> Vector3<f64> {
    v.map(|x| {
        let rounded = if step > 0.0 { (x / step).round() * step } else { x };
        rounded.clamp(-range, range - step)
    })
}

#[cfg(test)]
mod tests;
