//! What the sensor's own chain does to time: delay, and the shape in which a blow shows.

use crate::engine::profile::SensorProfile;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Q_BUTTERWORTH_F64, Type};

/// A sensor with a low-pass reads its channels as means over a short time, which delays them by half of it: seconds.
/// Data sheets seldom give it; a fifth of a millisecond is taken, with the doubt of [`AVERAGED_SIGMA_S`]. An assumption.
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
/// Length of the templates, s; more where the low-pass is slow.
const LEAST_LENGTH_S: f64 = 0.004;
/// However slow the low-pass, s.
const MOST_LENGTH_S: f64 = 0.25;

/// Bending modes of a bat that a blow excites, Hz: the first, and two choices for the second (R. Cross, *Physics of
/// Baseball & Softball*, 2011; D. Russell's modal tests of bats: 150–220 and 500–700 Hz).
const FIRST_MODE_HZ: f64 = 195.0;
const SECOND_MODES_HZ: [f64; 2] = [540.0, 680.0];

/// How a blow of one length shows, against time since contact, through the sensor's chain: of a unit impulse, as the bat
/// would answer if it were rigid, and as two of its bending modes do.
#[derive(Clone, Debug)]
pub struct Template {
    /// The force's length, s.
    pub blow_s: f64,
    /// An accelerometer's: rigid, first mode, second mode; 1/s.
    accel: [Response; 3],
    /// A gyro's.
    gyro: [Response; 3],
}

/// A sampled response, and where it goes after its end.
#[derive(Clone, Debug)]
struct Response {
    values: Vec<f64>,
    after: f64,
}

impl Template {
    /// All pairs of this length of the force and a second mode. The force is a half sine (bat–ball contacts last about
    /// 1 ms: R. K. Adair, *The Physics of Baseball*, from memory).
    pub fn all(blow_s: f64, chain: &Chain) -> Vec<Template> {
        SECOND_MODES_HZ.iter().map(|second_hz| Self::new(blow_s, *second_hz, chain)).collect()
    }

    fn new(blow_s: f64, second_hz: f64, chain: &Chain) -> Self {
        let lowest_hz = chain.gyro_bandwidth_hz.into_iter().chain(chain.accel_bandwidth_hz).fold(1e3, f64::min);
        let count = ((2.0 / lowest_hz).clamp(LEAST_LENGTH_S, MOST_LENGTH_S) / STEP_S) as usize;
        let area = 2.0 * blow_s / std::f64::consts::PI;
        let force: Vec<f64> = (0..count)
            .map(|k| k as f64 * STEP_S)
            .map(|t| if t < blow_s { (std::f64::consts::PI * t / blow_s).sin() / area } else { 0.0 })
            .collect();
        let sum = force
            .iter()
            .scan(0.0, |sum, f| {
                *sum += f * STEP_S;
                Some(*sum)
            })
            .collect();
        let (first_rate, first_acceleration) = mode(&force, FIRST_MODE_HZ);
        let (second_rate, second_acceleration) = mode(&force, second_hz);
        let accel = |values, after| Response::new(values, after, chain.accel_bandwidth_hz);
        let gyro = |values, after| Response::new(values, after, chain.gyro_bandwidth_hz);
        Self {
            blow_s,
            accel: [accel(force, 0.0), accel(first_acceleration, 0.0), accel(second_acceleration, 0.0)],
            gyro: [gyro(sum, 1.0), gyro(first_rate, 0.0), gyro(second_rate, 0.0)],
        }
    }

    /// A channel's responses a while after contact: rigid, first mode, second mode.
    pub fn at(&self, is_gyro: bool, since_s: f64) -> [f64; 3] {
        let responses = if is_gyro { &self.gyro } else { &self.accel };
        [0, 1, 2].map(|i| responses[i].at(since_s))
    }
}

impl Response {
    fn new(mut values: Vec<f64>, after: f64, bandwidth_hz: Option<f64>) -> Self {
        if let Some(hz) = bandwidth_hz {
            low_pass(&mut values, hz);
            values = averaged(&values, (AVERAGED_S / STEP_S).round() as usize);
        }
        Self { values, after }
    }

    fn at(&self, since_s: f64) -> f64 {
        if since_s <= 0.0 {
            return 0.0;
        }
        let place = since_s / STEP_S;
        let i = place as usize;
        match (self.values.get(i), self.values.get(i + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (place - i as f64),
            _ => self.after,
        }
    }
}

/// Velocity and acceleration of an undamped oscillator of unit mass under a force.
fn mode(force: &[f64], hz: f64) -> (Vec<f64>, Vec<f64>) {
    let omega = std::f64::consts::TAU * hz;
    let (sine, cosine) = (omega * STEP_S).sin_cos();
    let (mut place, mut rate) = (0.0, 0.0);
    force
        .iter()
        .map(|f| {
            // Turned through one step of free oscillation, pushed by the force.
            (place, rate) = (place * cosine + rate / omega * sine, rate * cosine - place * omega * sine + f * STEP_S);
            (rate, f - omega * omega * place)
        })
        .unzip()
}

fn low_pass(signal: &mut [f64], bandwidth_hz: f64) {
    let hertz = |hz: f64| Hertz::<f64>::from_hz(hz).ok();
    let Some((rate, cut)) = hertz(1.0 / STEP_S).zip(hertz(bandwidth_hz)) else { return };
    let Ok(coefficients) = Coefficients::<f64>::from_params(Type::LowPass, rate, cut, Q_BUTTERWORTH_F64) else {
        return;
    };
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

#[cfg(test)]
mod tests;
