use crate::engine::metrics::known::{FLAT, evaluated};
use crate::engine::metrics::{BatMotion, Metric, StartRule};

const TOP_RADPS: f64 = 40.0;

/// A flat swing, hit at zero, with the turn rate given as a share of [`TOP_RADPS`]. The angles do not matter here.
fn with_rate(from_s: f64, rate_hz: f64, share: impl Fn(f64) -> f64) -> BatMotion {
    FLAT.motion((from_s, 0.0, rate_hz), true, |t| (t, TOP_RADPS * share(t)))
}

/// Rises in proportion from nothing at −0.2 s to one at contact.
fn ramp(time_s: f64) -> f64 {
    (1.0 + time_s / 0.2).max(0.0)
}

#[test]
fn rule_a_on_a_ramp_starts_at_a_tenth() {
    for rate_hz in [208.0, 1000.0, 1010.0] {
        let values = evaluated(&with_rate(-0.7, rate_hz, ramp));
        assert_eq!(values.start_rule, Some(StartRule::Still));
        assert!((values.start_s.unwrap() + 0.18).abs() < 1e-12, "{rate_hz}: {:?}", values.start_s);
        assert!((values.of(Metric::TimeToContact).unwrap() - 180.0).abs() < 1e-9);
    }
}

/// A dip of a parabola's shape with its least value `deep` at −0.17 s and one at contact. Both passes together have the
/// gain 1/(1 + (f/20 Hz)⁴), which has no f² term, so a parabola passes unchanged but for the ends, e^(−89 · 0.1) away.
fn dip(time_s: f64, deep: f64) -> f64 {
    let s = ((time_s + 0.17) / 0.17).max(-0.65);
    deep + (1.0 - deep) * s * s
}

fn dipping(time_s: f64) -> f64 {
    dip(time_s, 0.25)
}

#[test]
fn rule_b_starts_at_the_dip() {
    for (from_s, rate_hz) in [(-0.7, 1000.0), (-0.7, 500.0), (-0.5, 3200.0)] {
        let values = evaluated(&with_rate(from_s, rate_hz, dipping));
        assert_eq!(values.start_rule, Some(StartRule::Dip));
        assert!((values.start_s.unwrap() + 0.17).abs() < 2e-4, "{rate_hz}: {:?}", values.start_s);
    }
}

#[test]
fn a_dip_that_is_not_deep_enough_is_no_start() {
    assert!(evaluated(&with_rate(-0.7, 1000.0, |t| dip(t, 0.39))).start_s.is_some());
    let shallow = |t: f64| dip(t, 0.41);
    assert_eq!(evaluated(&with_rate(-0.7, 1000.0, shallow)).start_s, None);
    let still_first = |t: f64| if t < -0.4 { 0.0 } else { shallow(t) };
    let values = evaluated(&with_rate(-0.7, 1000.0, still_first));
    assert_eq!(values.start_rule, Some(StartRule::Still));
    assert!((values.start_s.unwrap() + 0.4).abs() < 1e-3);
}

#[test]
fn the_later_rule_wins() {
    let still_then_dip = |t: f64| if t < -0.4 { 0.0 } else { dipping(t) };
    assert_eq!(evaluated(&with_rate(-0.7, 1000.0, still_then_dip)).start_rule, Some(StartRule::Dip));
    let dip_then_still = |t: f64| {
        if t < -0.12 { 0.05 } else { 1.0 + t * (0.95 / 0.12) }
    };
    let values = evaluated(&with_rate(-0.7, 1000.0, dip_then_still));
    assert_eq!(values.start_rule, Some(StartRule::Still));
}

/// Only the last half second counts for the greatest rate.
#[test]
fn an_earlier_faster_motion_does_not_count() {
    let values = evaluated(&with_rate(-1.2, 1000.0, |t| if t < -0.8 { 5.0 } else { ramp(t) }));
    assert!((values.start_s.unwrap() + 0.18).abs() < 1e-12);
    assert!((values.of(Metric::TurnRate).unwrap() - TOP_RADPS.to_degrees()).abs() < 1e-9);
}

#[test]
fn a_motion_that_begins_within_the_swing_has_no_start() {
    let values = evaluated(&with_rate(-0.15, 1000.0, ramp));
    assert_eq!(values.start_s, None);
    for metric in [Metric::TimeToContact, Metric::PeakBatSpeed, Metric::PathLength, Metric::HandSpeed] {
        assert_eq!(values.of(metric), None);
    }
    assert!(values.of(Metric::BatSpeed).is_some() && values.of(Metric::AttackAngle).is_some());
}

#[test]
fn the_start_moves_smoothly_with_the_motion() {
    let start_s = |shift_s: f64| {
        let values = evaluated(&with_rate(-0.7, 1000.0, |t| dipping(t + shift_s)));
        values.start_s.unwrap()
    };
    for k in 0..40 {
        let (shift_s, small_s) = (f64::from(k) * 5e-5, 1e-7);
        let slope = (start_s(shift_s + small_s) - start_s(shift_s)) / small_s;
        assert!((slope + 1.0).abs() < 0.02, "{shift_s}: {slope}");
    }
}
