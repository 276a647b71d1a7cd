//! Charts of two groups as people get them, numbers read back out of them, and input that is none.

use super::super::tests::{NUMBERS, Read, assert_drawable, lines, rounding};
use super::super::{Chart, View};
use super::*;
use crate::compare::curves::{ComparedLine, DifferenceBand, MeanBand, MeanPath, Stretch};
use crate::compare::numbers::{Amounts, Answer, Compared, Difference, Group, Needed};
use crate::engine::metrics::Metric;
use crate::report::words::Units;
use nalgebra::Vector3;

const MPS_PER_MPH: f64 = 0.44704;

/// Speeds of a usual swing at a place (0 at contact, −1 where it begins).
fn usual(top_mps: f64, place: f64) -> f64 {
    top_mps * 1.05 / (1.0 + (-(place + 0.32) * 9.0).exp())
}

fn mean_band(swings: usize, days: usize, mean: Vec<f64>) -> MeanBand {
    let edge = |share: f64| mean.iter().map(|v| v + share * (0.6 + 0.05 * v)).collect();
    MeanBand { swings, days, low: edge(-1.0), high: edge(1.0), mean }
}

/// Then and now, now faster toward contact where `gain_mps` is positive; the band of the difference is 0.5 m/s either way.
fn line(far: f64, top_mps: f64, gain_mps: f64) -> ComparedLine {
    let places: Vec<f64> = (0..=50).map(|k| far * (1.0 - f64::from(k) / 50.0)).collect();
    let then: Vec<f64> = places.iter().map(|p| usual(top_mps, p / far.abs())).collect();
    let gain = |p: &f64| gain_mps * (1.0 + p / far.abs()).powi(2);
    let mean: Vec<f64> = places.iter().map(gain).collect();
    let now = then.iter().zip(&mean).map(|(v, gain)| v + gain).collect();
    let first = places.iter().zip(&mean).find(|(_, gain)| gain.abs() > 0.5).map(|(p, _)| *p);
    let differs = first.map(|from| Stretch { from, to: 0.0, p: 0.004 }).into_iter().collect();
    let half_width = vec![0.5; places.len()];
    let difference = Some(DifferenceBand { mean, half_width, differs, degrees_of_freedom: 7.0, smoothness: 9.0 });
    ComparedLine { then: mean_band(46, 4, then), now: mean_band(61, 5, now), places, difference }
}

fn by_time() -> ComparedLine {
    line(-0.2, 28.4, 1.4)
}

/// A quarter of a circle down to contact, seen from the side; `tilt` of it in radians, `aside_m` farther from the body.
fn mean_path(tilt: f64, aside_m: f64) -> MeanPath {
    let times_s: Vec<f64> = (0..=40).map(|k| -0.2 + 0.005 * f64::from(k)).collect();
    let turned = |t: f64| 2.4 * ((-t / 0.2).powf(1.3));
    let on = |radius_m: f64, angle: f64| {
        let (x, y) = (-radius_m * angle.sin(), radius_m * (1.0 - angle.cos()) + aside_m * angle);
        Vector3::new(x, y, -y * tilt.sin() + 0.08 * x.abs())
    };
    let sweet_spot_w_m: Vec<_> = times_s.iter().map(|t| on(0.75, turned(*t))).collect();
    let hands = |t: &f64| on(0.22, turned(*t)) + Vector3::new(-0.05 + 0.6 * t, 0.55, 0.25);
    let hands_w_m = times_s.iter().map(hands).collect();
    let spread = |most_m: f64| times_s.iter().map(|t| most_m * turned(*t).min(1.0)).collect();
    MeanPath { sweet_spot_w_m, hands_w_m, height_spread_m: spread(0.06), aside_spread_m: spread(0.08), times_s }
}

fn compared(metric: Metric, difference: Option<[f64; 3]>, answer: Answer) -> Compared {
    let group = |swings, days, mean| Group { swings, days, mean: Some(mean), ..Group::default() };
    let of = |[value, low, high]: [f64; 3]| Difference {
        value,
        standard_error: (high - low) / 4.6,
        degrees_of_freedom: 7.0,
        low,
        high,
        p: 0.01,
        p_holm: 0.04,
        p_same: 0.3,
        p_same_holm: 0.6,
    };
    let then = 30.0;
    Compared {
        metric,
        then: group(46, 4, then),
        now: group(61, 5, then + difference.map_or(0.0, |d| d[0])),
        difference: difference.map(of),
        amount: Amounts::default().0[metric.index()],
        answer,
    }
}

fn every_answer() -> Vec<Compared> {
    let needed = |swings, days| Answer::CannotTell { needed: Some(Needed { swings, days }) };
    vec![
        compared(Metric::BatSpeed, Some([1.4, 0.6, 2.2]), Answer::Changed),
        compared(Metric::HandSpeedAtContact, Some([-0.05, -0.3, 0.2]), Answer::NotChanged),
        compared(Metric::AttackAngle, Some([2.5, -1.2, 6.2]), needed(40, 4)),
        compared(Metric::TurnRate, Some([310.0, 260.0, 360.0]), Answer::Changed),
        compared(Metric::RollRate, Some([-200.0, -640.0, 240.0]), Answer::CannotTell { needed: None }),
        compared(Metric::TimingWindow, None, needed(1, 1)),
    ]
}

fn sides() -> Vec<Measured> {
    let mph = [71.0, 64.5, 78.0, 80.2, 69.9, 74.3, 74.0, 74.6, 75.1, 83.4, 77.7, 74.2];
    let right = mph.map(|v| v * MPS_PER_MPH).to_vec();
    let range = |from: f64, to: f64| Some((from * MPS_PER_MPH, to * MPS_PER_MPH));
    vec![
        Measured { name: "right".to_owned(), values_mps: right, range: range(84.0, 91.0) },
        Measured { name: "left".to_owned(), values_mps: Vec::new(), range: range(78.0, 86.0) },
    ]
}

fn snapshot(name: &str, chart: &Chart) {
    assert_drawable(chart);
    insta::assert_snapshot!(name, lines(&chart.svg));
    insta::assert_snapshot!(format!("{name}_text"), lines(&chart.as_text));
}

#[test]
fn speeds_and_their_difference() {
    let too_few = ComparedLine { difference: None, ..by_time() };
    snapshot("speed_by_time", &then_now_speed(&by_time(), Against::Time, Units::Us));
    snapshot("speed_by_distance", &then_now_speed(&line(-2.4, 28.4, 0.3), Against::Distance, Units::Us));
    snapshot("speed_too_few", &then_now_speed(&too_few, Against::Time, Units::Metric));
    snapshot("speed_none", &then_now_speed(&ComparedLine::default(), Against::Time, Units::Us));
    snapshot("difference_by_time", &difference(&by_time(), Against::Time, Units::Us));
    snapshot("difference_nowhere", &difference(&line(-2.4, 28.4, 0.3), Against::Distance, Units::Metric));
    snapshot("difference_too_few", &difference(&too_few, Against::Time, Units::Us));
}

#[test]
fn what_the_speed_is_made_of() {
    snapshot("built_by", &built_by(&line(-0.2, 22.0, 1.6), &line(-0.2, 7.0, -0.3), Units::Us));
    let none = ComparedLine::default();
    snapshot("built_by_none", &built_by(&none, &none, Units::Metric));
}

#[test]
fn paths_from_both_views() {
    let (then, now) = (mean_path(0.45, 0.0), mean_path(0.6, 0.05));
    snapshot("path_side", &then_now_path(&then, &now, View::Side, Units::Us));
    snapshot("path_above", &then_now_path(&then, &now, View::Above, Units::Metric));
    snapshot("path_now_alone", &then_now_path(&MeanPath::default(), &now, View::Side, Units::Us));
    snapshot("path_none", &then_now_path(&MeanPath::default(), &MeanPath::default(), View::Side, Units::Us));
}

#[test]
fn answers_of_every_kind() {
    snapshot("answers", &answers(&every_answer(), Units::Us));
    snapshot("answers_metric", &answers(&every_answer()[..1], Units::Metric));
    snapshot("answers_none", &answers(&[], Units::Us));
}

#[test]
fn balls_of_two_sides_and_of_none() {
    snapshot("ball", &ball(&sides(), Units::Us));
    snapshot("ball_metric", &ball(&sides()[..1], Units::Metric));
    snapshot("ball_none", &ball(&[], Units::Us));
}
