//! How a metric went from lesson to lesson.

use super::super::super::figure::figure;
use super::super::super::when;
use super::super::super::words;
use crate::compare::conditions::{Conditions, varied};
use crate::daemon::api::{Kind, Problem};
use crate::daemon::local_days;
use crate::daemon::record::over_months::varied_words;
use crate::daemon::store::queries::swings_read::summary::{Group, GroupLesson};
use crate::daemon::store::rows::{Bat, Occasion, Side, Word};
use crate::engine::metrics::Metric;
use crate::report::svg::{self, TrendLine, TrendPoint};
use crate::report::then_now::VARIED;
use crate::report::words::{Units, label};
use maud::{Markup, html};
use serde::Deserialize;
use std::iter::repeat_n;
use uuid::Uuid;

/// What is asked of the page.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    metric: Option<String>,
    bat: Option<String>,
    occasion: Option<String>,
    /// Where the list of lessons goes on.
    pub after: Option<String>,
}

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// Which number.
    pub metric: Metric,
    /// With this bat only.
    pub bat: Option<Uuid>,
    /// Lessons or practice only.
    pub occasion: Option<Occasion>,
}

impl Choice {
    /// Bat speed with any bat where nothing is said.
    ///
    /// # Errors
    /// If a word is none of those that can be chosen.
    pub fn of(asked: &Asked) -> Result<Self, Problem> {
        let said = |text: &Option<String>| text.clone().filter(|text| !text.is_empty());
        let strange = |key: &str| Problem::new(Kind::Malformed, format!("`{key}` is none of those that can be chosen"));
        let metric = said(&asked.metric)
            .map(|key| Metric::ALL.into_iter().find(|metric| metric.key() == key).ok_or_else(|| strange("metric")));
        let bat = said(&asked.bat).map(|id| id.parse().map_err(|_| strange("bat")));
        let occasion = said(&asked.occasion).map(|word| {
            let mut all = Occasion::ALL.iter().copied();
            all.find(|occasion| occasion.word() == word).ok_or_else(|| strange("occasion"))
        });
        Ok(Self {
            metric: metric.transpose()?.unwrap_or(Metric::BatSpeed),
            bat: bat.transpose()?,
            occasion: occasion.transpose()?,
        })
    }

    fn holds(self, lesson: GroupLesson) -> bool {
        self.occasion.is_none_or(|occasion| occasion == lesson.occasion)
    }
}

/// The choice, the chart and what stands in it.
pub fn section(choice: Choice, groups: &[Group], bats: &[Bat], units: Units) -> Markup {
    let drawn: Vec<&Group> = groups.iter().filter(|group| group.lesson.is_some_and(|l| choice.holds(l))).collect();
    let lines = lines(&drawn);
    let chart = svg::trend(choice.metric, &lines, units);
    html! {
        section.trend {
            h2 { "From lesson to lesson" }
            (form(choice, bats))
            @if lines.is_empty() {
                p { "No counted swing of these has this number." }
            } @else {
                (figure(&chart, "trend", &html! {
                    "A point is a lesson on its day: the mean of its counted swings from one side. The bar is \
                     the spread: one standard deviation of that lesson's swings either way."
                }))
            }
            (not_the_same(&drawn))
            (left_out(&drawn))
        }
    }
}

/// What may have made a line rise or fall other than the swing, a line a side and condition.
fn not_the_same(groups: &[&Group]) -> Markup {
    let of_side = |side: Option<Side>| {
        let of_lesson = |group: &Group| {
            let day = group.lesson.map_or(0, |lesson| local_days::number(lesson.begun));
            group
                .conditions
                .iter()
                .flat_map(move |(one, count)| repeat_n((day, one.clone()), *count))
                .collect::<Vec<_>>()
        };
        let swings: Vec<(i64, Conditions)> =
            groups.iter().copied().filter(|group| group.side == side).flat_map(of_lesson).collect();
        varied(&swings).iter().map(|one| format!("{}, {}", words::side(side), varied_words(one))).collect::<Vec<_>>()
    };
    let told: Vec<String> = [Some(Side::Right), Some(Side::Left), None].into_iter().flat_map(of_side).collect();
    html! {
        @if !told.is_empty() {
            section.care aria-label="Not the same" {
                p { strong { "Not all was the same. " } (VARIED) }
                ul { @for words in &told { li { bdi { (words) } "." } } }
            }
        }
    }
}

fn form(choice: Choice, bats: &[Bat]) -> Markup {
    html! {
        form.row.no-print method="get" data-go {
            label { "Number " select name="metric" {
                @for metric in Metric::ALL {
                    option value=(metric.key()) selected[metric == choice.metric] { (label(metric)) }
                }
            } }
            label { "Bat " select name="bat" {
                option value="" selected[choice.bat.is_none()] { "any" }
                @for bat in bats { option value=(bat.id) selected[choice.bat == Some(bat.id)] { (bat.name) } }
            } }
            label { "Of " select name="occasion" {
                option value="" selected[choice.occasion.is_none()] { "lessons and practice" }
                option value="lesson" selected[choice.occasion == Some(Occasion::Lesson)] { "lessons" }
                option value="practice" selected[choice.occasion == Some(Occasion::Practice)] { "practice" }
            } }
            button type="submit" { "Show" }
        }
    }
}

/// A line a side that anything is known of, right first.
fn lines(groups: &[&Group]) -> Vec<TrendLine> {
    let line = |side: Option<Side>| {
        let points = groups.iter().filter(|group| group.side == side).filter_map(|group| point(group)).collect();
        TrendLine { name: words::side(side).to_owned(), points }
    };
    let lines = [Some(Side::Right), Some(Side::Left), None].map(line);
    lines.into_iter().filter(|line| !line.points.is_empty()).collect()
}

/// A lesson in which nothing was measured has no point.
fn point(group: &Group) -> Option<TrendPoint> {
    let values = group.values.first().filter(|values| !values.is_empty())?.clone();
    let begun = group.lesson?.begun;
    Some(TrendPoint { day: when::days(begun), when: when::day_text(begun), values })
}

/// What of these lessons is in no point.
fn left_out(groups: &[&Group]) -> Markup {
    let excluded: u32 = groups.iter().map(|group| group.excluded).sum();
    let without = |group: &&Group| group.counted as usize - group.values.first().map_or(0, Vec::len);
    let without: usize = groups.iter().map(without).sum();
    html! {
        @if excluded > 0 {
            p { (words::count(excluded as usize, "swing")) " left out by the instructor: not in the trend." }
        }
        @if without > 0 { p { (words::count(without, "swing")) " without this number: not in the trend." } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::rows::UtcMicros;

    fn group(day: i64, side: Option<Side>, values: &[f64]) -> Group {
        let begun = UtcMicros(day * 86_400_000_000);
        let lesson = GroupLesson { id: Uuid::from_u128(day as u128), begun, occasion: Occasion::Lesson };
        let (counted, values) = (values.len() as u32 + 1, vec![values.to_vec()]);
        let conditions = [(with(if day < 40 { "Ash 33" } else { "Maple 32" }), counted as usize)].into();
        Group { lesson: Some(lesson), side, first: begun, counted, flagged: 0, excluded: 2, conditions, values }
    }

    fn with(bat: &str) -> Conditions {
        Conditions { bat: Some(bat.to_owned()), ..Conditions::default() }
    }

    #[test]
    fn a_line_a_side_has_the_values_of_its_lessons_in_the_order_of_time() {
        let (right, left) = (Some(Side::Right), Some(Side::Left));
        let all =
            [group(10, right, &[1.0, 2.0]), group(10, left, &[]), group(40, right, &[3.0]), group(41, left, &[4.0])];
        let lines = lines(&all.iter().collect::<Vec<_>>());
        let told: Vec<_> =
            lines.iter().map(|l| (l.name.as_str(), l.points.iter().map(|p| &p.values[..]).collect())).collect();
        assert_eq!(told, [("right", vec![&[1.0, 2.0][..], &[3.0][..]]), ("left", vec![&[4.0][..]])]);
        assert!((lines[0].points[1].day - lines[0].points[0].day - 30.0).abs() < 0.1, "but for a change of clocks");
        let told = left_out(&all.iter().collect::<Vec<_>>()).into_string();
        assert!(told.contains("8 swings left out") && told.contains("4 swings without"), "{told}");
    }

    #[test]
    fn a_lighter_bat_is_told_beside_the_line_it_made() {
        let (right, left) = (Some(Side::Right), Some(Side::Left));
        let mut all = [group(10, right, &[1.0]), group(40, right, &[3.0]), group(40, left, &[4.0])];
        let day = |group: &Group| local_days::text(group.first);
        let told = not_the_same(&all.iter().collect::<Vec<_>>()).into_string();
        let expected = format!("right, Bat: {} with Ash 33; {} with Maple 32", day(&all[0]), day(&all[1]));
        assert!(told.contains(&expected) && !told.contains("left, "), "{expected}: {told}");
        all[0].conditions = all[1].conditions.clone();
        assert_eq!(not_the_same(&all.iter().collect::<Vec<_>>()).into_string(), "");
    }

    #[test]
    fn a_choice_is_of_what_there_is() {
        let asked = |metric: &str, bat: &str, occasion: &str| {
            let text = |text: &str| Some(text.to_owned());
            Choice::of(&Asked { metric: text(metric), bat: text(bat), occasion: text(occasion), after: None })
        };
        let usual = Choice { metric: Metric::BatSpeed, bat: None, occasion: None };
        assert_eq!(asked("", "", ""), Ok(usual));
        assert_eq!(Choice::of(&Asked::default()), Ok(usual));
        let id = Uuid::from_u128(7);
        let chosen = Choice { metric: Metric::AttackAngle, bat: Some(id), occasion: Some(Occasion::Practice) };
        assert_eq!(asked("attack_angle_deg", &id.to_string(), "practice"), Ok(chosen));
        for (metric, bat, occasion) in [("speed", "", ""), ("", "Ash", ""), ("", "", "game")] {
            assert_eq!(asked(metric, bat, occasion).unwrap_err().kind, Kind::Malformed);
        }
    }
}
