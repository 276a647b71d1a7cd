//! Charts as people get them, numbers read back out of them, and input that is none.

use super::super::example::swing;
use super::*;
use crate::engine::swing::Curves;
use nalgebra::Vector3;

/// A line a tag, so that a difference is read.
pub(super) fn lines(markup: &maud::Markup) -> String {
    markup.0.replace("><", ">\n<")
}

fn then(count: usize) -> Band {
    let swings: Vec<Swing> = (1..=count).map(swing).collect();
    Band::of(&swings.iter().map(|swing| &swing.curves).collect::<Vec<_>>()).unwrap()
}

fn square() -> Option<Square> {
    Some(Square { from_s: -0.0072, to_s: 0.0058 })
}

const PITCH: Option<Pitch> = Some(Pitch { descent_deg: 8.0 });

/// Two sides over five lessons, some swings each.
fn two_sides() -> Vec<TrendLine> {
    const DAYS: [(f64, &str); 5] =
        [(20_700.0, "3 Sep"), (20_707.0, "10 Sep"), (20_721.0, "24 Sep"), (20_742.0, "15 Oct"), (20_780.0, "22 Nov")];
    let line = |name: &str, mean_mps: f64, left_out: usize| TrendLine {
        name: name.to_owned(),
        points: (0..DAYS.len())
            .filter(|i| *i != left_out)
            .map(|i| TrendPoint {
                day: DAYS[i].0,
                when: DAYS[i].1.to_owned(),
                values: [-1.0, 0.5, 0.2, 1.1, -0.8].iter().take(5 - i).map(|v| mean_mps + 0.4 * i as f64 + v).collect(),
            })
            .collect(),
    };
    vec![line("right", 29.0, 9), line("left", 27.2, 1)]
}

#[test]
fn speed_in_every_state() {
    let (ball, dry) = (swing(1), swing(3));
    let band = then(12);
    let speed_of = |now: Option<&Swing>, then: Option<&Band>, units| speed(now.map(Drawn::from), then, units);
    insta::assert_snapshot!("speed_now", lines(&speed_of(Some(&ball), None, Units::Us).svg));
    let both = speed_of(Some(&ball), Some(&band), Units::Us);
    insta::assert_snapshot!("speed_now_and_then", lines(&both.svg));
    insta::assert_snapshot!("speed_now_and_then_text", lines(&both.as_text));
    insta::assert_snapshot!("speed_dry_metric", lines(&speed_of(Some(&dry), Some(&band), Units::Metric).svg));
    let before = speed_of(None, Some(&band), Units::Metric);
    insta::assert_snapshot!("speed_then", lines(&before.svg));
    insta::assert_snapshot!("speed_then_text", lines(&before.as_text));
    let none = speed_of(None, None, Units::Us);
    insta::assert_snapshot!("speed_none", lines(&none.svg) + "\n\n" + &lines(&none.as_text));
}

#[test]
fn path_in_every_state() {
    let (ball, dry) = (swing(1), swing(3));
    let path_of = |swing, view, square, units| path(Drawn::from(swing), view, PITCH, square, units);
    let side = path_of(&ball, View::Side, square(), Units::Us);
    insta::assert_snapshot!("path_side", lines(&side.svg));
    insta::assert_snapshot!("path_side_text", lines(&side.as_text));
    let above = path_of(&ball, View::Above, square(), Units::Metric);
    insta::assert_snapshot!("path_above", lines(&above.svg));
    insta::assert_snapshot!("path_above_text", lines(&above.as_text));
    insta::assert_snapshot!("path_dry", lines(&path_of(&dry, View::Side, None, Units::Metric).svg));
    insta::assert_snapshot!("path_alone", lines(&path(Drawn::from(&dry), View::Above, None, None, Units::Us).svg));
}

#[test]
fn trend_in_every_state() {
    let sides = trend(Metric::BatSpeed, &two_sides(), Units::Us);
    insta::assert_snapshot!("trend_two_sides", lines(&sides.svg));
    insta::assert_snapshot!("trend_two_sides_text", lines(&sides.as_text));
    let one = TrendLine { points: two_sides()[0].points[4..].to_vec(), ..two_sides()[0].clone() };
    insta::assert_snapshot!("trend_one_lesson", lines(&trend(Metric::AttackAngle, &[one], Units::Us).svg));
    let none = trend(Metric::TimingWindow, &[], Units::Us);
    insta::assert_snapshot!("trend_none", lines(&none.svg) + "\n\n" + &lines(&none.as_text));
}

/// A chart as its reader has it: the numbers at its grid, and lines by the places they go through.
pub(super) struct Read<'a>(pub(super) &'a str);

impl<'a> Read<'a> {
    pub(super) fn tags(&self, start: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.split('<').filter(move |tag| tag.starts_with(start))
    }

    pub(super) fn attribute(tag: &str, name: &str) -> f64 {
        let value = tag.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap();
        value.parse().unwrap()
    }

    /// From places to values along x (`middle`) or y (`end`), by the first and last number of that axis.
    pub(super) fn axis(&self, place: &'a str, anchor: &'a str) -> impl Fn(f64) -> f64 {
        let numbers: Vec<(f64, f64)> = self
            .tags("text x=")
            .filter(|tag| tag.contains(&format!("text-anchor=\"{anchor}\"")))
            .filter_map(|tag| {
                let words = tag.split('>').nth(1)?.replace('−', "-");
                Some((Self::attribute(tag, place), words.parse().ok()?))
            })
            .collect();
        let ((p0, v0), (p1, v1)) = (numbers[0], numbers[numbers.len() - 1]);
        move |p| v0 + (p - p0) * (v1 - v0) / (p1 - p0)
    }

    /// The values that the lines of a class go through: where their pieces begin and end.
    pub(super) fn all(&self, class: &str) -> Vec<Vec<(f64, f64)>> {
        let (x, y) = (self.axis("x", "middle"), self.axis("y", "end"));
        let end = |piece: &str| {
            let numbers: Vec<f64> = piece.split(' ').map(|n| n.parse().unwrap()).collect();
            (x(numbers[numbers.len() - 2]), y(numbers[numbers.len() - 1]))
        };
        let through = |tag: &str| {
            let d = tag.split(" d=\"M").nth(1).unwrap().split('"').next().unwrap();
            d.split('C').map(end).collect()
        };
        self.tags("path ").filter(|tag| tag.contains(&format!("class=\"{class}\""))).map(through).collect()
    }

    /// Of the first one.
    pub(super) fn line(&self, class: &str) -> Vec<(f64, f64)> {
        self.all(class).swap_remove(0)
    }
}

/// Places are rounded to 0.05; numbers at the grid stand as exactly as their lines.
pub(super) fn rounding(values: f64, places: f64) -> f64 {
    2.0 * 0.05 * values / places
}

#[test]
fn the_drawn_speeds_are_those_of_the_curves() {
    let swing = swing(1);
    let svg = speed(Some((&swing).into()), None, Units::Us).svg.into_string();
    for (class, speed_mps) in
        [("line sweet bold", &swing.curves.bat_speed_mps), ("line hands bold", &swing.curves.hand_speed_mps)]
    {
        let line = Read(&svg).line(class);
        assert!(line.len() > 30);
        for (time_ms, mph) in line {
            let is = band::value_at(&swing.curves.times_s, speed_mps, (time_ms * 1e-3).min(0.0)).unwrap() / 0.44704;
            // Rounded along both axes: the curve rises by at most 1.1 mph a millisecond.
            assert!((mph - is).abs() < rounding(80.0, 200.0) + 1.1 * rounding(250.0, 330.0), "{time_ms} {mph} {is}");
        }
    }
}

#[test]
fn the_drawn_paths_are_those_of_the_curves() {
    let swing = swing(1);
    for view in [View::Side, View::Above] {
        let svg = path((&swing).into(), view, PITCH, square(), Units::Metric).svg.into_string();
        for (class, path_w_m) in
            [("line sweet bold", &swing.curves.sweet_spot_w_m), ("line hands bold", &swing.curves.hands_w_m)]
        {
            let line = Read(&svg).line(class);
            assert!(line.len() > 30);
            for (x_m, y_m) in line {
                let far_m = |p: &Vector3<f64>| (p.x - x_m).hypot(if view == View::Side { p.z } else { p.y } - y_m);
                let nearest_m = path_w_m.iter().map(far_m).fold(f64::INFINITY, f64::min);
                assert!(nearest_m < 2.0 * rounding(2.5, 412.0), "{nearest_m}");
            }
            // It ends at contact.
            let (x_m, y_m) = *Read(&svg).line(class).last().unwrap();
            let end = path_w_m.last().unwrap();
            assert!((x_m - end.x).hypot(if view == View::Side { end.z } else { end.y } - y_m) < 0.01);
        }
    }
}

#[test]
fn the_window_is_drawn_where_the_bat_is_within_it() {
    let swing = swing(1);
    let svg = path((&swing).into(), View::Above, PITCH, square(), Units::Metric).svg.into_string();
    let line = Read(&svg).line("square");
    let first = swing.curves.sweet_spot_w_m[350 - 7];
    assert!((line[0].0 - first.x).hypot(line[0].1 - first.y) < 0.02, "{line:?}");
    // 5.8 ms on at 30.4 m/s.
    let last = line[line.len() - 1];
    assert!((last.0.hypot(last.1) - 0.0058 * 30.4).abs() < 0.01, "{last:?}");
    assert!(svg.contains(">late<") && svg.contains(">early<"));
}

#[test]
fn the_trends_means_are_those_of_its_values() {
    let lines = two_sides();
    let svg = trend(Metric::BatSpeed, &lines, Units::Us).svg.into_string();
    let chart = Read(&svg);
    let y = chart.axis("y", "end");
    let marks: Vec<f64> = chart.tags("circle class=\"mean one\"").map(|tag| y(Read::attribute(tag, "cy"))).collect();
    assert_eq!(marks.len(), 5);
    for (mark, point) in marks.iter().zip(&lines[0].points) {
        let mean_mph = point.values.iter().sum::<f64>() / point.values.len() as f64 / 0.44704;
        assert!((mark - mean_mph).abs() < 0.02, "{mark} {mean_mph}");
    }
    let bar = chart.tags("line class=\"spread one\"").next().unwrap();
    let spread_mph = (y(Read::attribute(bar, "y2")) - y(Read::attribute(bar, "y1"))) / 2.0;
    // Of −1, 0.5, 0.2, 1.1, −0.8: mean 0, squares 3.14, over 4.
    assert!((spread_mph - 0.785f64.sqrt() / 0.44704).abs() < 0.02, "{spread_mph}");
    assert_eq!(chart.tags("line class=\"spread").count(), 7, "a lesson of one swing has no spread");
}

pub(super) fn assert_drawable(chart: &Chart) {
    for text in [&chart.svg.0, &chart.as_text.0] {
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        assert!(!text.contains(" id=") && !text.contains("style"));
    }
    assert!(chart.as_text.0.starts_with("<table><caption>"));
}

/// Curves that no engine gives.
fn hostile_curves() -> Vec<Curves> {
    let good = swing(1).curves;
    let changed = |change: &dyn Fn(&mut Curves)| {
        let mut curves = good.clone();
        change(&mut curves);
        curves
    };
    let one = |v: f64| Curves {
        times_s: vec![v],
        bat_speed_mps: vec![v],
        hand_speed_mps: vec![v],
        turn_rate_radps: vec![v],
        sweet_spot_w_m: vec![Vector3::repeat(v)],
        hands_w_m: vec![Vector3::repeat(v)],
    };
    vec![
        Curves::default(),
        one(0.0),
        one(f64::NAN),
        one(-1e300),
        changed(&|curves| curves.bat_speed_mps.truncate(5)),
        changed(&|curves| curves.hand_speed_mps.fill(f64::INFINITY)),
        changed(&|curves| curves.times_s.fill(f64::NAN)),
        changed(&|curves| curves.times_s.reverse()),
        changed(&|curves| curves.times_s.fill(0.0)),
        changed(&|curves| curves.sweet_spot_w_m.fill(Vector3::repeat(1e300))),
        changed(&|curves| curves.hands_w_m.iter_mut().step_by(2).for_each(|p| p.y = f64::NEG_INFINITY)),
    ]
}

pub(super) const NUMBERS: [f64; 7] = [0.0, -0.15, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300];

#[test]
fn any_curves_are_drawn() {
    let bands = [None, Some(then(3)), Some(Band::default())];
    for curves in hostile_curves() {
        let same = Band::of(&[&curves, &curves, &curves]);
        for start_s in NUMBERS {
            let now = Drawn { curves: &curves, start_s };
            for then in bands.iter().chain([&same]) {
                assert_drawable(&speed(Some(now), then.as_ref(), Units::Us));
            }
            for (k, descent_deg) in NUMBERS.into_iter().chain([89.9, 90.0, -89.9]).enumerate() {
                let square = Square { from_s: NUMBERS[k % 7], to_s: -NUMBERS[(k + 1) % 7] };
                for view in [View::Side, View::Above] {
                    let chart = path(now, view, Some(Pitch { descent_deg }), Some(square), Units::Metric);
                    assert_drawable(&chart);
                }
            }
        }
    }
}

#[test]
fn any_trend_is_drawn() {
    for day in NUMBERS {
        for value in NUMBERS {
            let point = |day, values: &[f64]| TrendPoint { day, when: "today".to_owned(), values: values.to_vec() };
            let line = |points| TrendLine { name: "a name that goes on and on".to_owned(), points };
            let lines = [
                line(vec![point(day, &[value]), point(20_000.0, &[value, 1.0])]),
                line(vec![point(0.0, &[]), point(day, &[value, value])]),
                line(Vec::new()),
                line((0..400).map(|k| point(f64::from(k), &[f64::from(k), value])).collect()),
            ];
            for count in 0..=lines.len() {
                assert_drawable(&trend(Metric::ALL[count], &lines[..count], Units::Us));
            }
        }
    }
}

/// Tags open and close in pairs, and nothing is drawn at a place that is no number.
fn assert_well_formed(svg: &str) {
    assert!(svg.starts_with("<svg") && svg.ends_with("</svg>"));
    assert!(!svg.contains("NaN") && !svg.contains("inf"));
    for tag in ["svg", "g", "path", "text", "line", "title", "desc"] {
        let opened = svg.matches(&format!("<{tag} ")).count() + svg.matches(&format!("<{tag}>")).count();
        assert_eq!(opened, svg.matches(&format!("</{tag}>")).count(), "{tag}");
    }
}

#[test]
fn one_several_or_no_swings_make_a_picture() {
    for count in [0, 1, 7] {
        let swings: Vec<Swing> = (1..=count).map(swing).collect();
        let svg = picture(&swings, Units::Us);
        assert_well_formed(&svg);
        // Sweet spot and hands of every swing in each of the three charts.
        assert_eq!(svg.matches("class=\"line ").count(), 6 * count);
        assert_eq!(svg.matches(" bold\"").count(), if count > 0 { 6 } else { 0 });
        assert!(!svg.contains("<script"));
    }
}

#[test]
fn curves_of_any_numbers_draw() {
    let mut hostile = swing(1);
    hostile.curves.bat_speed_mps.truncate(5);
    hostile.curves.hand_speed_mps[30] = f64::NAN;
    hostile.curves.sweet_spot_w_m[40].x = f64::INFINITY;
    hostile.curves.hands_w_m[41].y = 1e300;
    hostile.curves.times_s[2] = f64::NAN;
    let mut empty = swing(2);
    empty.curves = Default::default();
    assert_well_formed(&picture(&[hostile, empty], Units::Metric));
}

#[test]
fn the_fastest_is_bold() {
    let swings: Vec<Swing> = [2, 5, 1].map(swing).into();
    let (thin, bold) = others(&swings);
    let peak_mps = |drawn: &Drawn| drawn.curves.bat_speed_mps.iter().copied().fold(0.0, f64::max);
    assert_eq!(thin.len(), 2);
    assert!(thin.iter().all(|other| peak_mps(other) < peak_mps(&bold.unwrap())));
}
