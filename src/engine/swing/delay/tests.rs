use super::*;

const BLOW_S: f64 = 9.5e-4;

fn chain(hz: f64) -> Chain {
    Chain::new(&SensorProfile { gyro_bandwidth_hz: hz, accel_bandwidth_hz: hz, ..SensorProfile::default() })
}

fn template(hz: f64) -> Template {
    Template::new(BLOW_S, 600.0, &chain(hz))
}

/// ∫ by the trapezium over the template's own steps, to far beyond its end.
fn integral(of: impl Fn(f64) -> f64) -> f64 {
    (0..6000).map(|k| f64::from(k) * STEP_S).map(|t| 0.5 * STEP_S * (of(t) + of(t + STEP_S))).sum()
}

/// What a unit step through a chain still lacks, summed over time, is the chain's delay at low frequencies (the first
/// moment of its impulse response); the force itself is late by half its length. A Butterworth low-pass of the second
/// order delays by √2/ω_c (Oppenheim & Schafer, *Discrete-Time Signal Processing*, group delay at zero frequency; from
/// memory), the averaging by half its length. The template's two running sums each lead by half of its step.
#[test]
fn a_gyro_is_late_by_the_low_pass_and_half_the_averaging() {
    for hz in [100.0, 300.0, 400.0] {
        let template = template(hz);
        let delay_s = integral(|t| 1.0 - template.at(true, t)[0]) - 0.5 * BLOW_S + STEP_S;
        let expected_s = std::f64::consts::SQRT_2 / (std::f64::consts::TAU * hz) + 1e-4;
        assert!((delay_s / expected_s - 1.0).abs() < 0.01, "{hz} Hz: {delay_s} s, expected {expected_s} s");
        assert!((chain(hz).gyro_delay_s() - expected_s).abs() < 1e-15);
        assert_eq!(chain(hz).accel_delay_s(), chain(hz).gyro_delay_s());
    }
}

#[test]
fn a_gyro_ends_at_the_whole_impulse_and_an_accelerometer_has_its_area() {
    for hz in [100.0, 300.0, 2e4] {
        let template = template(hz);
        assert_eq!(template.at(true, 0.1), [1.0, 0.0, 0.0]);
        // Before the end of the table what the low-pass still lacks fades with exp(−ω_c·t/√2), never below e⁻⁷ there.
        let end_s = (template.gyro[0].values.len() - 2) as f64 * STEP_S;
        assert!((template.at(true, end_s)[0] - 1.0).abs() < 2e-3, "{hz} Hz: {}", template.at(true, end_s)[0]);
        let area = integral(|t| template.at(false, t)[0]);
        assert!((area - 1.0).abs() < 2e-3, "{hz} Hz: {area}");
    }
}

#[test]
fn nothing_shows_before_contact() {
    for since_s in [-1.0, -1e-9, 0.0] {
        assert_eq!(template(300.0).at(true, since_s), [0.0; 3]);
        assert_eq!(template(300.0).at(false, since_s), [0.0; 3]);
    }
}

/// Without a low-pass the gyro follows the impulse so far, ½(1 − cos(π·t/T)).
#[test]
fn an_open_gyro_follows_the_half_sine_without_delay() {
    let open = chain(2e4);
    assert_eq!((open.gyro_bandwidth_hz, open.gyro_delay_s(), open.delay_sigma_s()), (None, 0.0, 0.0));
    let template = template(2e4);
    for t in [1e-4, 3.3e-4, 4.75e-4, 9e-4] {
        let expected = 0.5 * (1.0 - (std::f64::consts::PI * t / BLOW_S).cos());
        // The running sum leads by half a step at a slope of at most π/2T.
        let bound = 0.5 * STEP_S * std::f64::consts::FRAC_PI_2 / BLOW_S;
        assert!((template.at(true, t)[0] - expected).abs() < bound * 1.01, "{t}");
    }
}

/// A mode that was struck goes on at its own frequency: between two zeros of its rate half a period passes.
#[test]
fn a_struck_mode_rings_at_its_own_frequency() {
    let force: Vec<f64> = (0..3000).map(|k| if k < 50 { 1.0 } else { 0.0 }).collect();
    for hz in [FIRST_MODE_HZ, 600.0] {
        let (rate, _) = mode(&force, hz);
        let zeros: Vec<usize> = (51..rate.len()).filter(|&k| rate[k - 1] * rate[k] < 0.0).collect();
        let (first, last) = (zeros[0], zeros[zeros.len() - 1]);
        let half_s = (last - first) as f64 * STEP_S / (zeros.len() - 1) as f64;
        assert!((half_s - 0.5 / hz).abs() <= STEP_S, "{hz} Hz: {half_s}");
    }
}

#[test]
fn the_delay_is_in_doubt_by_the_averaging_and_a_part_of_the_low_pass() {
    let expected_s = 3e-5_f64.hypot(0.03 * std::f64::consts::SQRT_2 / (std::f64::consts::TAU * 300.0));
    assert!((chain(300.0).delay_sigma_s() - expected_s).abs() < 1e-15);
}
