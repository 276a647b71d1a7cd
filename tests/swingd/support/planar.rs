//! A swing in closed form: the bat turns in the horizontal plane about a pivot that stands still.
//!
//! Sensor and bat frame are one: z along the bat and away from the pivot, y up, x along the motion. With the angular
//! rate ω about y and the radius r of the sensor from the pivot, the gyro reads (0, ω, 0) and the accelerometer
//! (ω̇·r, g, −ω²·r). Before contact ω = Ω·sin²(π·t/2T), t from the start of the turn; after it, the same the other way
//! round, but slower. A ball takes a tenth of it by a force that is half a sine and lasts 1 ms (about as long as
//! contacts of bat and ball do: R. K. Adair, *The Physics of Baseball*; from memory).

use nalgebra::Vector3;
use std::f64::consts::{FRAC_PI_2, PI};
use swingd::engine::sample::{Sample, SensorTime};

/// Ω, rad/s.
pub const FASTEST_RADPS: f64 = 36.0;
/// T, s.
pub const RISE_S: f64 = 0.16;
/// When the turn begins, s.
pub const BEGINS_S: f64 = 1.6003;
/// When the bat meets the ball, s: when it is fastest.
pub const CONTACT_S: f64 = BEGINS_S + RISE_S;
/// From the pivot to the knob's end, m.
pub const KNOB_RADIUS_M: f64 = 0.2;
/// Of [`PROFILE`].
pub const SWEET_SPOT_M: f64 = 0.686;
/// From the knob end to the hands, m (6 in, ASTM F2398).
pub const HANDS_M: f64 = 0.1524;
const G_MPS2: f64 = 9.80665;
const STEP_S: f64 = 1e-3;
const BLOW_S: f64 = 1e-3;
const SLOWING_S: f64 = 0.4;
const LENGTH_S: f64 = 3.6;

/// An almost perfect sensor at the knob's end, and a bat whose sweet spot is [`SWEET_SPOT_M`] from it.
pub const PROFILE: &str = "[sensor]\ngyro_range_radps = 69.8\naccel_range_mps2 = 4000.0\ngyro_noise_radps_rthz = 1e-6\n\
    accel_noise_mps2_rthz = 1e-5\ngyro_scale_error = 1e-5\naccel_scale_error = 1e-5\ngyro_bias_radps = 1e-5\n\
    accel_bias_mps2 = 1e-4\nmisalignment_rad = 1e-5\n[mount]\noffset_m = [0.0, 0.0, 0.0]\n\
    quaternion_wxyz = [1.0, 0.0, 0.0, 0.0]\ntilt_error_rad = 1e-5\n[bat]\nlength_m = 0.838\nsweet_spot_m = 0.686\n";

/// Speed of a point on the bat at contact, m/s.
pub fn speed_at_contact_mps(from_knob_m: f64) -> f64 {
    FASTEST_RADPS * (KNOB_RADIUS_M + from_knob_m)
}

/// From the last instant at which ω was below a tenth of Ω until contact, s.
pub fn time_to_contact_s() -> f64 {
    RISE_S * (1.0 - 0.1_f64.sqrt().asin() / FRAC_PI_2)
}

/// Rest, a swing that hits, rest.
pub fn samples() -> Vec<Sample> {
    swing(0.1 * FASTEST_RADPS)
}

/// Rest, a swing that meets nothing, rest.
pub fn dry() -> Vec<Sample> {
    swing(0.0)
}

fn swing(ball_takes_radps: f64) -> Vec<Sample> {
    let count = (LENGTH_S / STEP_S) as u32;
    let sample = |k| sample(f64::from(k) * STEP_S, ball_takes_radps);
    (0..count).map(sample).collect()
}

fn sample(time_s: f64, ball_takes_radps: f64) -> Sample {
    let (swing, blow) = (turn(time_s), blow(time_s - CONTACT_S));
    let left = (1.0 - (time_s - CONTACT_S) / SLOWING_S).clamp(0.0, 1.0);
    let omega = swing.0 - ball_takes_radps * blow.0 * left;
    let omega_dot = swing.1 - ball_takes_radps * (blow.1 * left - blow.0 * slope(left));
    Sample {
        time: SensorTime((time_s * 1e6).round() / 1e6),
        gyro_s_radps: Vector3::new(0.0, omega, 0.0),
        accel_s_mps2: Vector3::new(omega_dot * KNOB_RADIUS_M, G_MPS2, -omega * omega * KNOB_RADIUS_M),
        accel_hi_s_mps2: None,
    }
}

/// How quickly what the ball took fades as the bat slows down, 1/s.
fn slope(left: f64) -> f64 {
    if left > 0.0 && left < 1.0 { 1.0 / SLOWING_S } else { 0.0 }
}

/// ω of a swing that meets nothing, and its derivative.
fn turn(time_s: f64) -> (f64, f64) {
    if !(BEGINS_S..CONTACT_S + SLOWING_S).contains(&time_s) {
        return (0.0, 0.0);
    }
    let (phase, phase_dot) = if time_s < CONTACT_S {
        (FRAC_PI_2 * (time_s - BEGINS_S) / RISE_S, FRAC_PI_2 / RISE_S)
    } else {
        let left = 1.0 - (time_s - CONTACT_S) / SLOWING_S;
        (FRAC_PI_2 * left, -FRAC_PI_2 / SLOWING_S)
    };
    let (sin, cos) = phase.sin_cos();
    let omega_dot = FASTEST_RADPS * 2.0 * sin * cos * phase_dot;
    (FASTEST_RADPS * sin * sin, omega_dot)
}

/// Which part of its impulse the blow has given this long after it began, and the derivative.
fn blow(since_s: f64) -> (f64, f64) {
    if since_s <= 0.0 {
        return (0.0, 0.0);
    }
    if since_s >= BLOW_S {
        return (1.0, 0.0);
    }
    let (sin, cos) = (PI * since_s / BLOW_S).sin_cos();
    (0.5 * (1.0 - cos), 0.5 * PI / BLOW_S * sin)
}
