use super::*;
use crate::engine::motion::conditioning::Faults;
use crate::engine::profile::SensorProfile;

const STEP_S: f64 = 1e-3;
const CONTACT_S: f64 = 0.3004;

fn chain() -> Chain {
    Chain::new(&SensorProfile { gyro_bandwidth_hz: 300.0, accel_bandwidth_hz: 200.0, ..SensorProfile::default() })
}

/// Readings every millisecond of signals that arrive late by the chain's delay.
fn readings(signal: &dyn Fn(f64) -> Signal) -> Vec<Reading> {
    let reading = |k: u32| {
        let time_s = f64::from(k) * STEP_S;
        Reading {
            time_s,
            gyro_s_radps: signal(time_s - chain().gyro_delay_s()).gyro_s_radps,
            accel_s_mps2: signal(time_s - chain().accel_delay_s()).accel_s_mps2,
            rough: false,
            faults: Faults::default(),
            inserted: false,
            gyro_sigma_radps: 0.0,
            accel_sigma_mps2: 0.0,
        }
    };
    (0..=300).map(reading).collect()
}

/// The window of a swing whose last clean reading is the last of all, 0.4 ms before contact.
fn window(readings: &[Reading], step_s: f64) -> Window {
    let last = readings.len() - 1;
    Source { readings, last_clean: last, node: last, chain: &chain() }
        .window(CONTACT_S, 0.0, step_s)
        .expect("enough readings")
}

fn cubic(t: f64) -> Signal {
    let y = |a: f64| a + 20.0 * t - 300.0 * t * t + 900.0 * a * t * t * t;
    Signal { gyro_s_radps: Vector3::new(y(1.0), y(2.0), y(3.0)), accel_s_mps2: Vector3::new(y(-1.0), y(-2.0), y(9.0)) }
}

/// The accelerometer on a circle of 0.2 m at ω = 30 + 4·sin(25 t).
fn circle(t: f64) -> Signal {
    let (omega, omega_dot) = (30.0 + 4.0 * (25.0 * t).sin(), 100.0 * (25.0 * t).cos());
    Signal {
        gyro_s_radps: Vector3::new(0.0, omega, 0.0),
        accel_s_mps2: Vector3::new(omega_dot * 0.2, 9.80665, -omega * omega * 0.2),
    }
}

/// Greatest errors of gyro and accelerometer over part of the window, which is told by seconds from contact.
fn errors(window: &Window, truth: &dyn Fn(f64) -> Signal, part: impl Fn(f64) -> bool) -> (f64, f64) {
    let place = |k: usize| (k as f64 - window.contact as f64) * window.step_s;
    (0..window.signals.len()).filter(|&k| part(place(k))).fold((0.0, 0.0), |(gyro, accel), k| {
        let (is, truth) = (&window.signals[k], truth(CONTACT_S + place(k)));
        (
            f64::max(gyro, (is.gyro_s_radps - truth.gyro_s_radps).norm()),
            f64::max(accel, (is.accel_s_mps2 - truth.accel_s_mps2).norm()),
        )
    })
}

#[test]
fn a_cubic_is_exact_on_the_grid_at_the_node_and_carried_on_to_contact() {
    let list = readings(&cubic);
    let window = window(&list, 5e-4);
    assert_eq!(window.contact, window.signals.len() - 1);
    // Readings over 0.3 s, less three steps at the beginning.
    assert!((window.contact as f64 * 5e-4 - 0.299).abs() < 1e-3, "{}", window.contact);
    let (gyro, accel) = errors(&window, &cubic, |_| true);
    assert!(gyro < 1e-9 && accel < 1e-9, "{gyro} {accel}");
    let node = cubic(CONTACT_S + window.node_s);
    assert!((window.node.gyro_s_radps - node.gyro_s_radps).norm() < 1e-9);
    assert!((window.node.accel_s_mps2 - node.accel_s_mps2).norm() < 1e-9);
    assert!((CONTACT_S + window.node_s - (0.3 - chain().gyro_delay_s())).abs() < 1e-12);
}

/// Between four readings Lagrange's cubic errs by up to (9/16)/24·h⁴·y⁗, between the last three and the first three by
/// up to 1/24·h⁴·y⁗ (Abramowitz & Stegun 25.2, their products at the worst place). Carried on, a cubic through 12 ms by
/// least squares errs by what a monic polynomial of degree 4 that is orthogonal to cubics there is worth, y⁗/24 times:
/// (8/35)·P₄(u)·(6 ms)⁴, P₄ Legendre's; 2 ms beyond the end, u = 4/3.
#[test]
fn on_a_circle_signals_err_by_the_fourth_order_of_the_step() {
    let list = readings(&circle);
    let window = window(&list, STEP_S);
    let fourth = 25_f64.powi(4);
    let gyro_fourth = 4.0 * fourth;
    // ω̇·r: 100·0.2; ω²·r: 2·30·4·0.2, and 8·0.2 at twice the frequency.
    let accel_fourth = (20.0_f64.hypot(48.0) + 1.6 * 16.0) * fourth;
    let (gyro, accel) = errors(&window, &circle, |t| t < -chain().accel_delay_s());
    let between = STEP_S.powi(4) / 24.0;
    assert!(gyro < between * gyro_fourth && accel < between * accel_fourth, "{gyro} {accel}");
    let u: f64 = 4.0 / 3.0;
    let legendre = (35.0 * u.powi(4) - 30.0 * u * u + 3.0) / 8.0;
    let beyond = 8.0 / 35.0 * legendre * 6e-3_f64.powi(4) / 24.0;
    let (gyro, accel) = errors(&window, &circle, |t| t >= -chain().accel_delay_s());
    assert!(gyro > between * gyro_fourth, "nothing was carried on: {gyro}");
    assert!(gyro < beyond * gyro_fourth && accel < beyond * accel_fourth, "{gyro} {accel}");
}

#[test]
fn what_is_carried_on_is_in_doubt_and_nothing_else() {
    let list = readings(&circle);
    let window = window(&list, 2e-4);
    let firsts: Vec<(bool, f64)> = window
        .doubts
        .iter()
        .map(|doubt| {
            assert_eq!(doubt.first + doubt.sigma.len(), window.signals.len());
            (doubt.is_gyro, CONTACT_S + (doubt.first as f64 - window.contact as f64) * 2e-4)
        })
        .collect();
    let [(true, gyro_s), (false, accel_s)] = firsts[..] else { panic!("{firsts:?}") };
    for (first_s, delay_s) in [(gyro_s, chain().gyro_delay_s()), (accel_s, chain().accel_delay_s())] {
        assert!((0.0..=2e-4 + 1e-12).contains(&(first_s + delay_s - 0.3)), "{first_s}");
    }
}

#[test]
fn a_bridged_reading_casts_doubt_between_its_neighbours() {
    let mut list = readings(&circle);
    list[200].accel_sigma_mps2 = 3.0;
    let window = window(&list, STEP_S);
    let doubt = &window.doubts[1];
    assert!(!doubt.is_gyro && doubt.sigma.iter().all(|s| *s == 3.0) && doubt.sigma.len() == 2, "{doubt:?}");
    let at_s = CONTACT_S + (doubt.first as f64 - window.contact as f64) * STEP_S + chain().accel_delay_s();
    assert!((0.199..0.2).contains(&at_s), "{at_s}");
    let moved = window.moved(doubt, 2);
    for (k, (is, was)) in moved.signals.iter().zip(&window.signals).enumerate() {
        let by = if (doubt.first..doubt.first + 2).contains(&k) { 3.0 } else { 0.0 };
        assert_eq!(is.accel_s_mps2 - was.accel_s_mps2, Vector3::new(0.0, 0.0, is.accel_s_mps2.z - was.accel_s_mps2.z));
        assert!((is.accel_s_mps2.z - was.accel_s_mps2.z - by).abs() < 1e-12, "{k}");
        assert_eq!(is.gyro_s_radps, was.gyro_s_radps);
    }
}

#[test]
fn without_readings_before_contact_there_is_no_window() {
    let list = readings(&circle);
    let has_window = |n: usize, contact_s: f64| {
        let source = Source { readings: &list[..n], last_clean: n.saturating_sub(1), node: 0, chain: &chain() };
        source.window(contact_s, 0.0, STEP_S).is_some()
    };
    // None at all, too few for a course, fewer than ten grid points after the first three readings.
    assert!(!has_window(0, 0.02) && !has_window(3, 0.02) && !has_window(20, 0.012));
    assert!(has_window(20, 0.02));
}
