//! What the sensor's own chain does to time: delay, and the shape in which a blow shows.

use crate::engine::profile::SensorProfile;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Q_BUTTERWORTH_F64, Type};

/// A sensor with a low-pass reads its channels as means over a short time, which delays them by half of it: seconds.
/// Data sheets seldom give it; a fifth of a millisecond is taken, with the doubt of [`DELAY_SIGMA_S`]. An assumption.
const AVERAGED_S: f64 = 2e-4;
/// 1 σ of the delay that is left unknown, s: the averaging, and 3 % of the low-pass's own.
const AVERAGED_SIGMA_S: f64 = 3e-5;
const BANDWIDTH_SIGMA: f64 = 0.03;
/// Above this a low-pass is as good as none, Hz.
const OPEN_HZ: f64 = 2e4;

/// Times of the sensor's chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chain {
    /// −3 dB of the low-pass, Hz; `None`: open.
    pub gyro_bandwidth_hz: Option<f64>,
    /// The same for the accelerometer.
    pub accel_bandwidth_hz: Option<f64>,
}

impl Chain {
    /// Of a sensor.
    pub fn new(sensor: &SensorProfile) -> Self {
        let some = |hz: f64| (hz < OPEN_HZ).then_some(hz);
        Self { gyro_bandwidth_hz: some(sensor.gyro_bandwidth_hz), accel_bandwidth_hz: some(sensor.accel_bandwidth_hz) }
    }

    /// By how much the gyro tells of a slow change late, s.
    pub fn gyro_delay_s(&self) -> f64 {
        delay_s(self.gyro_bandwidth_hz)
    }

    /// By how much the accelerometer tells of a slow change late, s.
    pub fn accel_delay_s(&self) -> f64 {
        delay_s(self.accel_bandwidth_hz)
    }

    /// 1 σ of either, s.
    pub fn delay_sigma_s(&self) -> f64 {
        self.gyro_bandwidth_hz.map_or(0.0, |hz| AVERAGED_SIGMA_S.hypot(BANDWIDTH_SIGMA * low_pass_delay_s(hz)))
    }
}

/// Group delay at low frequencies of a second-order Butterworth low-pass: √2/ω_c. Its next term is of the third order in
/// frequency, so a swing passes it as if through a pure delay.
fn low_pass_delay_s(bandwidth_hz: f64) -> f64 {
    std::f64::consts::SQRT_2 / (std::f64::consts::TAU * bandwidth_hz)
}

fn delay_s(bandwidth_hz: Option<f64>) -> f64 {
    bandwidth_hz.map_or(0.0, |hz| low_pass_delay_s(hz) + 0.5 * AVERAGED_S)
}

/// Step of the templates, s.
const STEP_S: f64 = 1e-5;
/// Length of the templates in units of their own rise, at the least 4 ms.
const LEAST_LENGTH_S: f64 = 0.004;

/// How the force of a blow shows in a channel: against time since contact, for one length of the blow.
#[derive(Clone, Debug)]
pub struct Template {
    /// The force's length, s.
    pub blow_s: f64,
    /// Response to a unit impulse in the quantity itself, 1/s: an accelerometer's.
    rate: Vec<f64>,
    /// Its integral: a gyro's.
    sum: Vec<f64>,
}

impl Template {
    /// A half-sine force of this length (bat–ball contacts last about 1 ms: R. K. Adair, *The Physics of Baseball*, from
    /// memory) through a low-pass and a short mean.
    pub fn new(blow_s: f64, bandwidth_hz: Option<f64>) -> Self {
        let length_s = LEAST_LENGTH_S.max(bandwidth_hz.map_or(0.0, |hz| 2.0 / hz));
        let count = (length_s / STEP_S) as usize;
        let area = 2.0 * blow_s / std::f64::consts::PI;
        let force = |k: usize| {
            let t = k as f64 * STEP_S;
            if t < blow_s { (std::f64::consts::PI * t / blow_s).sin() / area } else { 0.0 }
        };
        let mut rate: Vec<f64> = (0..count).map(force).collect();
        if let Some(hz) = bandwidth_hz {
            low_pass(&mut rate, hz);
            rate = averaged(&rate, (AVERAGED_S / STEP_S).round() as usize);
        }
        let sum = rate.iter().scan(0.0, |sum, r| { *sum += r * STEP_S; Some(*sum) }).collect();
        Self { blow_s, rate, sum }
    }

    /// The accelerometer's response, 1/s.
    pub fn rate(&self, since_s: f64) -> f64 {
        at(&self.rate, since_s, 0.0)
    }

    /// The gyro's response.
    pub fn sum(&self, since_s: f64) -> f64 {
        at(&self.sum, since_s, 1.0)
    }
}

fn at(list: &[f64], since_s: f64, after: f64) -> f64 {
    if since_s <= 0.0 {
        return 0.0;
    }
    let place = since_s / STEP_S;
    let i = place as usize;
    match (list.get(i), list.get(i + 1)) {
        (Some(a), Some(b)) => a + (b - a) * (place - i as f64),
        _ => after,
    }
}

fn low_pass(signal: &mut [f64], bandwidth_hz: f64) {
    let hertz = |hz: f64| Hertz::<f64>::from_hz(hz).ok();
    let Some((rate, cut)) = hertz(1.0 / STEP_S).zip(hertz(bandwidth_hz)) else { return };
    let Ok(coefficients) = Coefficients::<f64>::from_params(Type::LowPass, rate, cut, Q_BUTTERWORTH_F64) else { return };
    let mut filter = DirectForm2Transposed::<f64>::new(coefficients);
    for value in signal {
        *value = filter.run(*value);
    }
}

fn averaged(signal: &[f64], length: usize) -> Vec<f64> {
    let mut sum = 0.0;
    (0..signal.len())
        .map(|k| {
            sum += signal[k] - if k >= length { signal[k - length] } else { 0.0 };
            sum / length as f64
        })
        .collect()
}
