//! The charts.

use super::Handout;
use crate::compare::numbers::Compared;
use crate::engine::metrics::Metric;
use crate::report::svg::groups::{self, Against};
use crate::report::svg::{Chart, View, trend};
use crate::report::then_now::Balls;
use maud::{Markup, html};

/// How many days a trend needs to be drawn.
const LEAST_DAYS: usize = 3;
/// Answers of one chart: of all metrics it would be as high as a sheet, and leave half of the one before it empty.
const MOST_ANSWERS: usize = 7;

/// The few that say most, for whoever reads no tables.
pub fn few(handout: &Handout) -> Markup {
    let Handout { units, .. } = *handout;
    let curves = handout.curves.as_ref();
    let speed = curves.map(|curves| groups::then_now_speed(&curves.speed_by_time, Against::Time, units));
    let path = curves.map(|curves| groups::then_now_path(&curves.then_path, &curves.now_path, View::Side, units));
    side_by_side(&[
        speed.map(|chart| (chart, "How fast the barrel was on the way to the ball, then and now.")),
        path.map(|chart| (chart, "The barrel's way to the ball, seen from the side.")),
        by_day(handout)
            .map(|chart| (chart, "Bat speed from day to day. The bar is how much the swings of a day differ.")),
    ])
}

/// All of them.
pub fn all(handout: &Handout) -> Markup {
    let Handout { units, .. } = *handout;
    let answers = |rows: &[Compared]| {
        Some((groups::answers(rows, units), "Each difference with its interval, in amounts that matter."))
    };
    let mut charts: Vec<_> = handout.numbers.chunks(MOST_ANSWERS).map(answers).collect();
    if let Some(curves) = &handout.curves {
        charts.extend(
            [
                (
                    groups::then_now_speed(&curves.speed_by_time, Against::Time, units),
                    "Speed of the sweet spot against time to contact.",
                ),
                (
                    groups::difference(&curves.speed_by_time, Against::Time, units),
                    "Now minus then, with a band that holds the whole curve in 95 % of cases.",
                ),
                (
                    groups::then_now_speed(&curves.speed_by_distance, Against::Distance, units),
                    "Speed against the way still to go to contact.",
                ),
                (
                    groups::difference(&curves.speed_by_distance, Against::Distance, units),
                    "Now minus then, against the way still to go.",
                ),
                (
                    groups::built_by(&curves.by_rotation, &curves.by_hands, units),
                    "What makes the speed: the bat's turning, and the hands' motion.",
                ),
                (
                    groups::then_now_path(&curves.then_path, &curves.now_path, View::Side, units),
                    "Paths from the side, put together at contact.",
                ),
                (
                    groups::then_now_path(&curves.then_path, &curves.now_path, View::Above, units),
                    "Paths from above, put together at contact.",
                ),
            ]
            .map(Some),
        );
    }
    charts.push(
        by_day(handout)
            .map(|chart| (chart, "Each day's mean bat speed; the bar is one standard deviation of its swings.")),
    );
    let balls: Vec<_> = handout.balls.iter().filter(|balls| !balls.is_empty()).map(Balls::drawn).collect();
    if !balls.is_empty() {
        let caption = "Exit speeds: points were measured, hatched is if squared up.";
        charts.push(Some((groups::ball(&balls, units), caption)));
    }
    side_by_side(&charts)
}

fn by_day(handout: &Handout) -> Option<Chart> {
    let days: usize = handout.trend_lines.iter().map(|line| line.points.len()).sum();
    (days >= LEAST_DAYS).then(|| trend(Metric::BatSpeed, &handout.trend_lines, handout.units))
}

fn side_by_side(charts: &[Option<(Chart, &'static str)>]) -> Markup {
    html! {
        .pictures {
            @for (chart, caption) in charts.iter().flatten() { figure { (chart.svg) figcaption { (caption) } } }
        }
    }
}
