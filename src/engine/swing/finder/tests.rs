use super::*;
use std::f64::consts::FRAC_PI_2;

/// A turn about y that begins at 0.1 s: Ω·sin² up to its peak, and the same, slower, after it.
#[derive(Clone, Copy)]
struct Turned {
    peak_radps: f64,
    rise_s: f64,
    fall_s: f64,
    /// What a blow takes at the peak, at once, rad/s.
    blow_radps: f64,
}

const SWING: Turned = Turned { peak_radps: 36.0, rise_s: 0.16, fall_s: 0.3, blow_radps: 0.0 };

impl Turned {
    fn peak_s(self) -> f64 {
        0.1 + self.rise_s
    }

    fn omega_radps(self, time_s: f64) -> f64 {
        let since_s = time_s - self.peak_s();
        if since_s < -self.rise_s || since_s > self.fall_s {
            return 0.0;
        }
        let length_s = if since_s < 0.0 { self.rise_s } else { self.fall_s };
        let phase = FRAC_PI_2 * (1.0 - since_s.abs() / length_s);
        let blow = if since_s >= 0.0 { self.blow_radps } else { 0.0 };
        (self.peak_radps - blow) * phase.sin().powi(2)
    }

    fn found(self, rate_hz: f64) -> Vec<Found> {
        found(rate_hz, 1.0, |t| self.omega_radps(t))
    }
}

fn found(rate_hz: f64, length_s: f64, omega_radps: impl Fn(f64) -> f64) -> Vec<Found> {
    let mut finder = Finder::new(1.0 / rate_hz);
    let count = (length_s * rate_hz) as u32;
    (0..count)
        .filter_map(|k| {
            let time_s = f64::from(k) / rate_hz;
            let omega = omega_radps(time_s);
            finder.push(time_s, Vector3::new(0.0, omega, 0.0), Vector3::zeros(), omega, false)
        })
        .collect()
}

/// When a turn reaches 9 rad/s: sin² = 1/4, a third of the way.
fn turning_s() -> f64 {
    0.1 + SWING.rise_s / 3.0
}

#[test]
fn a_step_in_a_swing_is_a_ball_at_its_first_sample() {
    for rate_hz in [208.0, 1000.0, 3200.0] {
        let told = Turned { blow_radps: 6.0, ..SWING }.found(rate_hz);
        let [Found::Turning(began_s), Found::Ball { turning_s: from_s, seen_s }, Found::Over] = told[..] else {
            panic!("{rate_hz} Hz: {told:?}");
        };
        assert_eq!(from_s, began_s);
        let late_s = began_s - turning_s();
        assert!((0.0..1.0 / rate_hz + 1e-9).contains(&late_s), "{rate_hz} Hz: turning {late_s} s late");
        let late_s = seen_s - SWING.peak_s();
        assert!((-1e-9..1.0 / rate_hz).contains(&late_s), "{rate_hz} Hz: seen {late_s} s late");
    }
}

#[test]
fn without_a_step_it_met_nothing_and_was_fastest_at_its_peak() {
    for rate_hz in [208.0, 1000.0, 3200.0] {
        let told = SWING.found(rate_hz);
        let [Found::Turning(_), Found::Dry { fastest_s, .. }, Found::Over] = told[..] else {
            panic!("{rate_hz} Hz: {told:?}");
        };
        assert!((fastest_s - SWING.peak_s()).abs() <= 0.5 / rate_hz + 1e-9, "{rate_hz} Hz: {fastest_s}");
    }
}

/// The third difference of a step S is S at its first sample and −2S at the next.
#[test]
fn a_step_counts_from_four_radians_a_second_or_half_of_it_a_sample_later() {
    let kind = |blow_radps| Turned { blow_radps, ..SWING }.found(1000.0)[1];
    let late = |blow_radps| match kind(blow_radps) {
        Found::Ball { seen_s, .. } => ((seen_s - SWING.peak_s()) * 1e3).round(),
        other => panic!("{other:?}"),
    };
    assert_eq!((late(4.1), late(3.8), late(2.1)), (0.0, 1.0, 1.0));
    assert!(matches!(kind(1.8), Found::Dry { .. }));
}

#[test]
fn slow_and_short_turns_are_no_swings_with_a_blow_or_without() {
    let slow = Turned { peak_radps: 20.5, ..SWING };
    // Either half sweeps ½·35·0.045 = 0.79 rad.
    let short = Turned { peak_radps: 35.0, rise_s: 0.045, fall_s: 0.045, blow_radps: 0.0 };
    for turned in [slow, short] {
        for blow_radps in [0.0, 8.0] {
            let told = Turned { blow_radps, ..turned }.found(1000.0);
            assert!(matches!(told[..], [Found::Turning(_), Found::Over]), "{told:?}");
        }
    }
}

/// A bat that spins up within 0.1 s and goes on, ever faster by a little: a machine, or a bat in the air.
#[test]
fn a_long_spin_is_no_swing_even_if_it_ends_with_a_blow() {
    let spin = |end_s: f64, last_radps: f64| {
        found(1000.0, 3.0, move |t| match t {
            t if t < 0.1 => 0.0,
            t if t < 0.2 => 250.0 * (t - 0.1),
            t if t < end_s => 25.0 + 0.1 * t,
            t if t < end_s + 0.2 => last_radps * (1.0 - (t - end_s) / 0.2),
            _ => 0.0,
        })
    };
    for last_radps in [25.2, 15.0] {
        let told = spin(2.0, last_radps);
        assert!(matches!(told[..], [Found::Turning(_), Found::Over]), "{told:?}");
    }
    assert!(spin(0.6, 15.0).iter().any(|f| matches!(f, Found::Ball { .. })));
}

#[test]
fn a_long_spin_that_slows_is_no_swing() {
    for slope_radps2 in [0.0, -0.5] {
        let told = found(1000.0, 4.0, |t| match t {
            t if t < 0.1 => 0.0,
            t if t < 0.3 => 25.0 * (FRAC_PI_2 * (t - 0.1) / 0.2).sin().powi(2),
            t if t < 2.0 => 25.0 + slope_radps2 * (t - 0.3),
            t if t < 2.2 => (25.0 + slope_radps2 * 1.7) * (2.2 - t) / 0.2,
            _ => 0.0,
        });
        assert!(matches!(told[..], [Found::Turning(_), Found::Over]), "{slope_radps2} rad/s²: {told:?}");
    }
}

#[test]
fn only_turns_across_the_axis_count() {
    let mut finder = Finder::new(1e-3);
    let roll = Vector3::new(0.0, 0.0, 60.0);
    assert!((0..1000).all(|k| finder.push(f64::from(k) * 1e-3, roll, Vector3::zeros(), 0.0, false).is_none()));
}

#[test]
fn the_course_spans_a_millisecond_or_one_sample() {
    for (rate_hz, lag) in [(208.0, 1), (1000.0, 1), (2000.0, 2), (3200.0, 3), (1e6, 32)] {
        assert_eq!(Finder::new(1.0 / rate_hz).lag, lag, "{rate_hz} Hz");
    }
}

/// A blow that takes a millisecond, a half sine of force, moves ω by 4 rad/s within its first half if it takes 10.
#[test]
fn a_blow_of_a_millisecond_is_seen_before_it_is_over() {
    for rate_hz in [1000.0, 3200.0] {
        let blow = |t: f64| {
            let part = ((t - SWING.peak_s()) / 1e-3).clamp(0.0, 1.0);
            10.0 * 0.5 * (1.0 - (std::f64::consts::PI * part).cos())
        };
        let told = found(rate_hz, 1.0, |t| SWING.omega_radps(t) - blow(t) * SWING.omega_radps(t) / 36.0);
        let Some(Found::Ball { seen_s, .. }) = told.get(1) else { panic!("{rate_hz} Hz: {told:?}") };
        let late_s = seen_s - SWING.peak_s();
        assert!((0.0..1e-3 + 1e-9).contains(&late_s), "{rate_hz} Hz: {late_s}");
    }
}
