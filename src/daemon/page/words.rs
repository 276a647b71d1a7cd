//! Words and numbers that stand on more than one page: one word for one thing.

use crate::daemon::store::rows::{BallSource, Bats, Mark, Occasion, Side};
use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::report::words::{Cell, Units, meaning, row_of};
use maud::{Markup, html};

/// Stands where there is no number.
pub const NOTHING: &str = "–";

/// From which side; in a list and beside a number.
pub fn side(side: Option<Side>) -> &'static str {
    match side {
        Some(Side::Right) => "right",
        Some(Side::Left) => "left",
        None => "side not said",
    }
}

/// From where somebody bats.
pub fn bats(bats: Bats) -> &'static str {
    match bats {
        Bats::Right => "bats right",
        Bats::Left => "bats left",
        Bats::Both => "bats from both sides",
        Bats::Unknown => "side not said",
    }
}

/// A name of somebody's choice, in whatever direction it is written.
pub fn name(name: &str) -> Markup {
    html! { bdi.name { (name) } }
}

/// Where problems of the touches around it are told.
pub fn problem() -> Markup {
    html! { p data-problem role="alert" hidden {} }
}

/// Where the ball comes from.
pub fn ball_source(source: BallSource) -> &'static str {
    match source {
        BallSource::Tee => "tee",
        BallSource::Toss => "side toss",
        BallSource::FrontToss => "front toss",
        BallSource::Machine => "machine",
        BallSource::Live => "live pitching",
        BallSource::Dry => "no ball (dry)",
    }
}

/// Lesson or practice, at the beginning of a line.
pub fn occasion(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Lesson => "Lesson",
        Occasion::Practice => "Practice",
    }
}

/// Whether a swing counts.
pub fn mark(mark: Mark) -> &'static str {
    match mark {
        Mark::None => "counted",
        Mark::Keep => "kept",
        Mark::Exclude => "left out",
    }
}

/// What a swing met, under a head that says so.
pub fn contact(met_ball: bool) -> &'static str {
    if met_ball { "a ball" } else { "nothing" }
}

/// A flag in a word or two, where [`meaning`] is too long.
pub fn flag(flag: Flag) -> &'static str {
    match flag {
        Flag::GyroClipped => "turn rate clipped",
        Flag::AccelClipped => "acceleration clipped",
        Flag::Gap => "samples missing",
        Flag::LowRate => "slow sensor",
        Flag::NoRest => "no rest before",
        Flag::UncalibratedMount => "mount unknown",
        Flag::Untimed => "no sensor time",
    }
}

/// The flags that these keys of the store name; others are of no use to a reader.
pub fn flags_of(keys: &[String]) -> Vec<Flag> {
    keys.iter().filter_map(|key| Flag::ALL.into_iter().find(|flag| flag.key() == key)).collect()
}

/// Flags in short, each with its meaning for whoever asks.
pub fn flags(keys: &[String]) -> Markup {
    html! {
        @for one in flags_of(keys) { span.flag title=(meaning(one)) { (flag(one)) } " " }
    }
}

/// A value with ± (95 %), in the reader's units; without its unit.
pub fn estimate(metric: Metric, estimate: Option<Estimate>, units: Units) -> Markup {
    number(row_of(metric, &[estimate], units).cells.into_iter().next().flatten().as_ref())
}

/// A cell of [`row_of`], which knows how many decimals a row of them needs.
pub fn number(cell: Option<&Cell>) -> Markup {
    html! {
        @match cell {
            Some(cell) => span.number { (cell.value) span.faint { " ± " (cell.half_width) } },
            None => span.faint { (NOTHING) },
        }
    }
}

/// `1 swing`, `2 swings`.
pub fn count(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_stands_with_its_95_percent_and_nothing_stands_as_nothing() {
        let speed = Some(Estimate { value: 30.0, sigma: 0.2 });
        let shown = |units| estimate(Metric::BatSpeed, speed, units).into_string();
        assert!(shown(Units::Metric).contains("30.00<span class=\"faint\"> ± 0.39<"), "{}", shown(Units::Metric));
        assert!(shown(Units::Us).contains("67.11<span class=\"faint\"> ± 0.88<"), "{}", shown(Units::Us));
        assert_eq!(estimate(Metric::BatSpeed, None, Units::Us).into_string(), "<span class=\"faint\">–</span>");
    }

    #[test]
    fn a_flag_has_its_word_and_meaning_and_a_strange_key_none() {
        let keys = ["no_rest", "<script>"].map(str::to_owned);
        let shown = flags(&keys).into_string();
        assert!(shown.contains("no rest before") && shown.contains(meaning(Flag::NoRest)));
        assert!(!shown.contains("script"));
    }

    #[test]
    fn one_is_not_many() {
        assert_eq!([0, 1, 2].map(|k| count(k, "swing")), ["0 swings", "1 swing", "2 swings"]);
    }
}
