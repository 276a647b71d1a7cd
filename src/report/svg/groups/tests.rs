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
    let edge = |share: f64| mean.iter().map(|v| v * (1.0 + 0.08 * share)).collect();
    MeanBand { swings, days, low: edge(-1.0), high: edge(1.0), mean }
}

/// Then and now, now faster toward contact where `gain_mps` is positive; the band of the difference is 0.5 m/s either way.
pub(in crate::report) fn line(far: f64, top_mps: f64, gain_mps: f64) -> ComparedLine {
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
pub(in crate::report) fn mean_path(tilt: f64, aside_m: f64) -> MeanPath {
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
        compared(Metric::PathLength, None, needed(1, 1)),
        compared(Metric::TimingWindow, None, Answer::CannotTell { needed: None }),
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

/// Drawable, with a name and a sentence, and no longer than a chart is.
fn assert_says(chart: &Chart) {
    assert_drawable(chart);
    let (_, said) = chart.svg.0.split_once("<desc>").unwrap();
    assert!(said.split("</desc>").next().unwrap().len() > 40 && chart.svg.0.contains("aria-label=\""));
    assert!(chart.svg.0.len() < 100_000 && chart.as_text.0.len() < 20_000, "{}", chart.svg.0.len());
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

/// The values that a line of a chart over the places goes through, as (place, speed) in the units shown.
fn read(chart: &Chart, class: &str) -> Vec<(f64, f64)> {
    let svg = chart.svg.0.clone();
    let line = Read(&svg).line(class);
    assert!(line.len() > 15, "{class}: {}", line.len());
    line
}

#[test]
fn the_drawn_speeds_are_those_given() {
    let given = by_time();
    let chart = then_now_speed(&given, Against::Time, Units::Us);
    for (class, band) in [("line then bold", &given.then), ("line now bold", &given.now)] {
        for (before_ms, mph) in read(&chart, class) {
            let k = (50.0 - before_ms / 4.0).round() as usize;
            assert!((before_ms - 4.0 * (50.0 - k as f64)).abs() < rounding(200.0, 298.0));
            assert!((mph - band.mean[k] / MPS_PER_MPH).abs() < rounding(80.0, 200.0), "{class} {before_ms} {mph}");
        }
    }
    let chart = difference(&line(-2.4, 28.4, -2.0), Against::Distance, Units::Metric);
    for (before_m, mps) in read(&chart, "line now bold") {
        let is = -2.0 * (1.0 - before_m / 2.4).powi(2);
        // The curve rises by 1.7 m/s a metre at most.
        assert!((mps - is).abs() < rounding(8.0, 200.0) + 1.7 * rounding(2.5, 298.0), "{before_m} {mps} {is}");
    }
}

#[test]
fn the_bands_edges_are_those_given() {
    let given = by_time();
    let svg = then_now_speed(&given, Against::Time, Units::Metric).svg.0;
    for (class, band) in [("then", &given.then), ("now", &given.now)] {
        let rims = Read(&svg).all(&format!("rim {class}"));
        assert_eq!(rims.len(), 2);
        for (rim, values_mps) in rims.iter().zip([&band.high, &band.low]) {
            for (before_ms, mps) in rim {
                let k = (50.0 - before_ms / 4.0).round() as usize;
                assert!((mps - values_mps[k]).abs() < rounding(40.0, 200.0), "{class} {before_ms} {mps}");
            }
        }
        // What is shaded goes along the one and back along the other.
        assert!(rims.iter().all(|rim| rim.len() == 26));
        let shaded = svg.split(&format!("class=\"band {class}\"")).nth(1).unwrap().split('/').next().unwrap();
        assert_eq!((shaded.matches('C').count(), shaded.matches('L').count()), (50, 1));
    }
}

#[test]
fn a_bar_stands_below_the_stretch_that_differs() {
    let given = by_time();
    let svg = difference(&given, Against::Time, Units::Us).svg.0;
    let chart = Read(&svg);
    let x = chart.axis("x", "middle");
    let bars: Vec<&str> = chart.tags("rect class=\"differs\"").collect();
    assert_eq!(bars.len(), 1);
    let (from, width) = (Read::attribute(bars[0], "x"), Read::attribute(bars[0], "width"));
    let stretch = given.difference.unwrap().differs[0];
    assert!((x(from) + stretch.from * 1e3).abs() < 0.2 && x(from + width).abs() < 0.2, "{from} {width}");
    assert!(svg.contains(">shown to differ: 80 to 0 ms before contact<"));
}

#[test]
fn the_text_holds_the_numbers_of_the_lines() {
    let given = by_time();
    let text = then_now_speed(&given, Against::Time, Units::Us).as_text.0;
    let number = |v: f64| format!("{:.1}", v / MPS_PER_MPH);
    let at_contact = |band: &MeanBand| {
        let [mean, low, high] = [&band.mean, &band.low, &band.high].map(|values| number(values[50]));
        format!("<td>{mean} ({low} to {high})</td>")
    };
    let row = format!("{}{}<td>3.1 ± 1.1</td></tr>", at_contact(&given.then), at_contact(&given.now));
    assert!(text.contains(&format!("<th scope=\"row\">0</th>{row}")), "{text}");
    assert_eq!(text.matches("<tr>").count(), 1 + 9, "heads, and 200 to 0 ms in steps of 25");
}

#[test]
fn an_answers_mark_stands_at_the_difference_in_amounts() {
    let rows = every_answer();
    let svg = answers(&rows, Units::Us).svg.0;
    let chart = Read(&svg);
    let place = |amounts: f64| 144.0 + 40.0 * amounts;
    let marks: Vec<f64> = chart.tags("circle class=\"dot").map(|tag| Read::attribute(tag, "cx")).collect();
    let expected = [place(1.4 / 0.894), place(-0.05 / 0.447)];
    assert!(marks.iter().zip(expected).all(|(is, expected)| (is - expected).abs() < 0.06), "{marks:?}");
    assert_eq!(marks.len(), 2, "the turn rate is beyond the scale: an arrow");
    let lines: Vec<f64> = chart.tags("line class=\"interval\"").map(|tag| Read::attribute(tag, "x2")).collect();
    assert_eq!(lines.len(), 5);
    assert!((lines[0] - place(2.2 / 0.894)).abs() < 0.06 && (lines[2] - place(6.2 / 3.0)).abs() < 0.06, "{lines:?}");
    assert_eq!(chart.tags("polygon class=\"arrow\"").count(), 2, "turn rate to the right, roll rate to the left");
    for words in
        ["changed", "not changed", "by more than 1 mph", "about 40 more swings", "on 4 more days", "too few days,"]
    {
        assert!(svg.contains(&format!(">{words}<")), "{words}");
    }
}

#[test]
fn balls_stand_at_their_speeds() {
    let svg = ball(&sides(), Units::Us).svg.0;
    let chart = Read(&svg);
    let x = chart.axis("x", "middle");
    let mut is: Vec<f64> = chart.tags("circle class=\"hit\"").map(|tag| x(Read::attribute(tag, "cx"))).collect();
    is.sort_by(f64::total_cmp);
    let mut given: Vec<f64> = sides()[0].values_mps.iter().map(|v| v / MPS_PER_MPH).collect();
    given.sort_by(f64::total_cmp);
    assert_eq!(is.len(), given.len());
    assert!(is.iter().zip(&given).all(|(a, b)| (a - b).abs() < rounding(70.0, 432.0)), "{is:?}");
    let median = chart.tags("line class=\"median\"").next().unwrap();
    assert!((x(Read::attribute(median, "x1")) - 0.5 * (74.3 + 74.6)).abs() < 0.05);
    let range = chart.tags("rect class=\"if\"").next().unwrap();
    let (from, width) = (Read::attribute(range, "x"), Read::attribute(range, "width"));
    assert!((x(from) - 84.0).abs() < 0.05 && (x(from + width) - 91.0).abs() < 0.05);
}

#[test]
fn mean_paths_end_at_contact_and_go_through_their_points() {
    let (then, now) = (mean_path(0.45, 0.0), mean_path(0.6, 0.05));
    let chart = then_now_path(&then, &now, View::Above, Units::Metric);
    for (class, path) in [("line then bold", &then), ("line now bold", &now)] {
        let drawn = read(&chart, class);
        for (x, y) in &drawn {
            let nearest = path.sweet_spot_w_m.iter().map(|p| (p.x - x).hypot(p.y - y)).fold(f64::INFINITY, f64::min);
            assert!(nearest < 2.0 * rounding(5.0, 412.0), "{class} {x} {y}");
        }
        let (x, y) = drawn[drawn.len() - 1];
        assert!(x.hypot(y) < 0.01, "{class} {x} {y}");
    }
}

#[test]
fn any_lines_are_drawn() {
    for a in NUMBERS {
        for b in NUMBERS {
            let band = |mean: Vec<f64>| MeanBand { swings: usize::MAX, days: 0, low: vec![b], high: vec![b, a], mean };
            for places in [vec![], vec![a], vec![a, b], vec![-0.1, 0.0], vec![b; 3], vec![-1e300, a, 0.0]] {
                let differs = vec![Stretch { from: a, to: b, p: a }, Stretch { from: -0.1, to: 0.0, p: b }];
                let difference = Some(DifferenceBand {
                    mean: vec![a, b],
                    half_width: vec![b; 3],
                    differs,
                    degrees_of_freedom: a,
                    smoothness: b,
                });
                let line = ComparedLine { then: band(vec![a, b]), now: band(vec![b; 3]), difference, places };
                for (against, units) in [(Against::Time, Units::Us), (Against::Distance, Units::Metric)] {
                    assert_says(&then_now_speed(&line, against, units));
                    assert_says(&super::difference(&line, against, units));
                }
                assert_says(&built_by(&line, &ComparedLine::default(), Units::Us));
                assert_says(&built_by(&by_time(), &line, Units::Us));
            }
        }
    }
}

#[test]
fn any_paths_answers_and_balls_are_drawn() {
    for a in NUMBERS {
        for b in NUMBERS {
            let path = MeanPath {
                times_s: vec![a, b, -0.1, 0.0],
                sweet_spot_w_m: vec![Vector3::new(a, b, 0.0), Vector3::repeat(b), Vector3::zeros()],
                hands_w_m: vec![Vector3::repeat(0.1), Vector3::new(0.0, a, b), Vector3::repeat(b)],
                height_spread_m: vec![b],
                aside_spread_m: vec![a, b, a, b, a],
            };
            for view in [View::Side, View::Above] {
                assert_says(&then_now_path(&path, &mean_path(0.5, 0.0), view, Units::Us));
                assert_says(&then_now_path(&path, &path, view, Units::Metric));
            }
            let of = |difference, amount| {
                let row = compared(Metric::BatSpeed, Some(difference), Answer::Changed);
                Compared { amount, now: Group { mean: Some(b), ..row.now }, ..row }
            };
            let rows = [of([a, b, a], 1.0), of([b, a, b], a), of([a, -1.0, 1.0], b), of([0.1, -1e300, b], 1e-300)];
            assert_says(&answers(&rows, Units::Us));
            let side = Measured { name: "<b>".repeat(50), values_mps: vec![a, b, 30.0], range: Some((a, b)) };
            assert_says(&ball(&[side.clone(), Measured { range: Some((b, a)), ..side }], Units::Us));
        }
    }
    let many = Measured { name: String::new(), values_mps: vec![33.0; 100_000], range: Some((0.0, 89.0)) };
    assert_says(&ball(&[many], Units::Us));
}
