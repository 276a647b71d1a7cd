//! The words and units in which a metric is shown to people.

use crate::engine::check::FITS_WITHIN_SIGMAS;
use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::engine::swing::Swing;

/// Units for people. Angles, times and rates are the same in both.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// Miles per hour and feet.
    #[default]
    Us,
    /// Metres per second and metres.
    Metric,
}

/// A unit and how many of it make one of the metric's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// Its sign.
    pub sign: &'static str,
    /// Multiplies the metric's value.
    pub factor: f64,
}

/// Metres in a mile by seconds in an hour, exact since 1959 (NIST SP 811, appendix B).
const MPS_PER_MPH: f64 = 0.44704;
/// Metres in a foot, exact (NIST SP 811, appendix B).
const M_PER_FT: f64 = 0.3048;

impl Units {
    /// For speeds in m/s.
    pub fn speed(self) -> Unit {
        match self {
            Units::Us => Unit { sign: "mph", factor: 1.0 / MPS_PER_MPH },
            Units::Metric => Unit { sign: "m/s", factor: 1.0 },
        }
    }

    /// For lengths in m.
    pub fn length(self) -> Unit {
        match self {
            Units::Us => Unit { sign: "ft", factor: 1.0 / M_PER_FT },
            Units::Metric => Unit { sign: "m", factor: 1.0 },
        }
    }

    /// For a metric.
    pub fn of(self, metric: Metric) -> Unit {
        match metric {
            Metric::BatSpeed | Metric::PeakBatSpeed | Metric::HandSpeed | Metric::HandSpeedAtContact => self.speed(),
            Metric::PathLength => self.length(),
            Metric::AttackAngle | Metric::BatTilt | Metric::PlaneTilt => Unit { sign: "°", factor: 1.0 },
            Metric::TurnRate | Metric::RollRate => Unit { sign: "°/s", factor: 1.0 },
            Metric::PeakLead | Metric::TimeToContact | Metric::SpeedBuilt | Metric::TimingWindow => {
                Unit { sign: "ms", factor: 1.0 }
            }
        }
    }
}

/// What a metric is called.
pub fn label(metric: Metric) -> &'static str {
    match metric {
        Metric::BatSpeed => "Bat speed at contact",
        Metric::PeakBatSpeed => "Peak bat speed",
        Metric::PeakLead => "Peak before contact",
        Metric::HandSpeed => "Peak hand speed",
        Metric::HandSpeedAtContact => "Hand speed at contact",
        Metric::TimeToContact => "Time to contact",
        Metric::AttackAngle => "Attack angle",
        Metric::BatTilt => "Bat tilt at contact",
        Metric::PlaneTilt => "Swing plane tilt",
        Metric::TurnRate => "Peak turn rate",
        Metric::RollRate => "Roll rate at contact",
        Metric::SpeedBuilt => "Held above 90 % speed",
        Metric::PathLength => "Path to contact",
        Metric::TimingWindow => "Timing window",
    }
}

/// What a metric is and what more of it means, in a sentence for whoever has no words of the trade.
pub fn plainly(metric: Metric) -> &'static str {
    match metric {
        Metric::BatSpeed => {
            "How fast the sweet spot, the place on the barrel that sends the ball off best, moves when it meets the ball. \
             More is faster."
        }
        Metric::PeakBatSpeed => "The fastest that the sweet spot moves on its way to the ball. More is faster.",
        Metric::PeakLead => "How long before the ball is met the bat is fastest. More is earlier.",
        Metric::HandSpeed => "The fastest that the hands move on the way to the ball. More is faster.",
        Metric::HandSpeedAtContact => "How fast the hands still move when the ball is met. More is faster.",
        Metric::TimeToContact => "How long the swing takes from its start until the ball is met. Less is quicker.",
        Metric::AttackAngle => {
            "Whether the barrel moves up or down when it meets the ball. Above zero is up, below zero is down."
        }
        Metric::BatTilt => {
            "How the bat is held when it meets the ball. Above zero the barrel is higher than the hands, below zero lower."
        }
        Metric::PlaneTilt => {
            "How steep the barrel's way is just before the ball. At zero it is as flat as a table; more is steeper."
        }
        Metric::TurnRate => "The fastest that the bat turns around the hands on the way to the ball. More is faster.",
        Metric::RollRate => {
            "How fast the bat rolls about its own length, as a pencil between two hands does, when the ball is met. The sign \
             says which way round."
        }
        Metric::SpeedBuilt => {
            "How long before the ball is met the bat already has nine tenths of its speed. More is earlier."
        }
        Metric::PathLength => "How long the sweet spot's way is from the swing's start to the ball. More is longer.",
        Metric::TimingWindow => {
            "By how much the same swing could come early or late and still meet the ball squarely. More leaves more room."
        }
    }
}

/// A letter for a flag where there is no room for words.
pub fn letter(flag: Flag) -> char {
    match flag {
        Flag::GyroClipped => 'G',
        Flag::AccelClipped => 'A',
        Flag::Gap => 'S',
        Flag::LowRate => 'L',
        Flag::NoRest => 'R',
        Flag::UncalibratedMount => 'M',
        Flag::Untimed => 'U',
    }
}

/// What a flag means for the reader.
pub fn meaning(flag: Flag) -> &'static str {
    match flag {
        Flag::GyroClipped => "the swing turned faster than the gyro can read",
        Flag::AccelClipped => "the swing pulled harder than the accelerometer can read",
        Flag::Gap => "samples are missing within the swing",
        Flag::LowRate => "the sensor is too slow to resolve the swing",
        Flag::NoRest => "the bat was not held still before the swing",
        Flag::UncalibratedMount => "it is unknown how the sensor sits on the bat",
        Flag::Untimed => "the sensor sends no time of its own",
    }
}

/// Half the width of a 95 % interval in standard deviations (normal distribution).
pub const HALF_WIDTH_95: f64 = FITS_WITHIN_SIGMAS;

/// A metric of several swings, as text.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The metric's name.
    pub label: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// A cell a swing.
    pub cells: Vec<Option<Cell>>,
}

/// A value and half the width of its 95 % interval.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// The value.
    pub value: String,
    /// The half-width.
    pub half_width: String,
}

/// A row for each metric that at least one of the swings has.
pub fn rows(swings: &[Swing], units: Units) -> Vec<Row> {
    let has = |metric: &Metric| swings.iter().any(|swing| swing.metrics[metric.index()].is_some());
    Metric::ALL.into_iter().filter(has).map(|metric| row(metric, swings, units)).collect()
}

fn row(metric: Metric, swings: &[Swing], units: Units) -> Row {
    let estimates: Vec<_> = swings.iter().map(|swing| swing.metrics[metric.index()]).collect();
    row_of(metric, &estimates, units)
}

/// The row of a metric, of swings that have these estimates of it.
pub fn row_of(metric: Metric, estimates: &[Option<Estimate>], units: Units) -> Row {
    let unit = units.of(metric);
    let shown = |estimate: &Option<Estimate>| {
        let Estimate { value, sigma } = (*estimate)?;
        Some((value * unit.factor, HALF_WIDTH_95 * sigma * unit.factor))
    };
    let shown: Vec<_> = estimates.iter().map(shown).collect();
    let decimals = decimals(shown.iter().flatten().map(|(_, half_width)| *half_width));
    let cell = |(value, half_width): (f64, f64)| Cell {
        value: rounded(value, decimals),
        half_width: rounded(half_width, decimals),
    };
    Row { label: label(metric), unit: unit.sign, cells: shown.into_iter().map(|c| c.map(cell)).collect() }
}

/// Decimals for a row: its least uncertainty keeps two digits, as JCGM 100:2008 (GUM) § 7.2.6 has it, but no more than
/// two decimals are shown.
pub fn decimals(half_widths: impl Iterator<Item = f64>) -> usize {
    let least = half_widths.filter(|h| h.is_finite() && *h > 0.0).fold(f64::INFINITY, f64::min);
    if least.is_infinite() {
        return 1;
    }
    (1.0 - least.log10().floor()).clamp(0.0, 2.0) as usize
}

/// A number with its unit: "2.1 mph", "75 °/s"; the degree alone stands close, "3.0°" (as SI brochure, 9th edition, § 5.4.3).
pub fn with_unit(number: &str, unit: Unit) -> String {
    let space = if unit.sign == "°" { "" } else { " " };
    format!("{number}{space}{}", unit.sign)
}

/// With a true minus sign, and without one before a zero.
pub fn rounded(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => text,
    }
}

/// The flags that occur, sorted, each once.
pub fn flags(swings: &[Swing]) -> Vec<Flag> {
    let mut flags: Vec<Flag> = swings.iter().flat_map(|swing| swing.flags.iter().copied()).collect();
    flags.sort();
    flags.dedup();
    flags
}

#[cfg(test)]
mod tests {
    use super::super::example::swing;
    use super::*;

    #[test]
    fn the_least_uncertainty_of_a_row_keeps_two_digits() {
        assert_eq!(decimals([0.31, 2.0].into_iter()), 2);
        assert_eq!(decimals([31.0, 0.0].into_iter()), 0);
        assert_eq!(decimals([3.1].into_iter()), 1);
        assert_eq!(decimals([1e-9].into_iter()), 2);
        assert_eq!(decimals([0.0, f64::NAN].into_iter()), 1);
    }

    #[test]
    fn every_metric_has_a_plain_sentence_of_its_own() {
        let all: std::collections::BTreeSet<&str> = Metric::ALL.into_iter().map(plainly).collect();
        assert_eq!(all.len(), Metric::COUNT);
        assert!(all.iter().all(|words| words.ends_with('.') && !words.contains('%')), "{all:?}");
    }

    #[test]
    fn units_stand_apart_and_the_degree_close() {
        assert_eq!(with_unit("3", Units::Us.of(Metric::AttackAngle)), "3°");
        assert_eq!(with_unit("75", Units::Us.of(Metric::TurnRate)), "75 °/s");
        assert_eq!(with_unit("2.01", Units::Us.of(Metric::BatSpeed)), "2.01 mph");
    }

    #[test]
    fn a_zero_has_no_sign() {
        assert_eq!(rounded(-0.04, 1), "0.0");
        assert_eq!(rounded(-0.06, 1), "−0.1");
        assert_eq!(rounded(12.0, 0), "12");
    }

    #[test]
    fn units_are_those_asked_for() {
        let swings = [swing(1)];
        let bat_speed = |units| rows(&swings, units)[0].clone();
        let us = bat_speed(Units::Us);
        assert_eq!((us.unit, us.cells[0].as_ref().unwrap().value.as_str()), ("mph", "67.11"));
        let metric = bat_speed(Units::Metric);
        assert_eq!((metric.unit, metric.cells[0].as_ref().unwrap().value.as_str()), ("m/s", "30.00"));
    }
}
