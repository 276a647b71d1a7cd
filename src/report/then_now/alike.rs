//! How alike swings are, and how a metric went over months.

use super::super::words::{Units, decimals, label, rounded, with_unit};
use super::count;
use crate::compare::alike::{Alike, Cause, Trend};
use crate::engine::metrics::Metric;

/// Spreads of a metric in its unit, without it.
#[derive(Clone, Debug, PartialEq)]
pub struct AlikeTold {
    /// Which.
    pub metric: Metric,
    /// What it is called.
    pub label: &'static str,
    /// The unit of the numbers.
    pub unit: &'static str,
    /// Swings that have it.
    pub swings: usize,
    /// Standard deviation within a round,
    pub within_round: Option<String>,
    /// within a day,
    pub within_day: Option<String>,
    /// from day to day beyond that,
    pub between_days: Option<String>,
    /// and of the sensor.
    pub sigma: Option<String>,
    /// Whose the spread is.
    pub cause: &'static str,
}

/// In the reader's units.
pub fn alike_words(alike: &Alike, units: Units) -> AlikeTold {
    let unit = units.of(alike.metric);
    let spreads = [alike.within_round, alike.within_day, alike.between_days, alike.sigma];
    let decimals = decimals(spreads.into_iter().flatten().map(|spread| spread * unit.factor));
    let text = |spread: Option<f64>| spread.map(|spread| rounded(spread * unit.factor, decimals));
    AlikeTold {
        metric: alike.metric,
        label: label(alike.metric),
        unit: unit.sign,
        swings: alike.swings,
        within_round: text(alike.within_round),
        within_day: text(alike.within_day),
        between_days: text(alike.between_days),
        sigma: text(alike.sigma),
        cause: match alike.cause {
            Some(Cause::Athlete) => "not the sensor's",
            Some(Cause::Both) => "in part the sensor's",
            Some(Cause::Sensor) => "may be the sensor's alone: a steadier swing might not show",
            None => "cannot be told from these swings",
        },
    }
}

/// What stands before conditions that changed while a trend went on.
pub const VARIED: &str = "A rise or a fall may come from this and not from the swing:";

/// Of the metrics that are looked at together, so many in a hundred may seem to have a trend that has none.
const LEVEL: f64 = 0.05;

/// Whether it rises, falls, or cannot be told, with the interval of its slope alone.
pub fn trend_words(metric: Metric, trend: Option<&Trend>, units: Units) -> String {
    let Some(trend) = trend else {
        return format!("{}: fewer than three days, so nothing can be said of a trend.", label(metric));
    };
    let unit = units.of(metric);
    let decimals = decimals([0.5 * (trend.high - trend.low) * unit.factor].into_iter());
    let text = |value: f64| with_unit(&rounded(value * unit.factor, decimals), unit);
    let interval = format!("95\u{a0}%: {} to {} a month", text(trend.low), text(trend.high));
    let days = count(trend.days, "day");
    let is_told = trend.p_holm <= LEVEL;
    let way = if is_told && trend.low > 0.0 {
        format!("rises by about {} a month", text(trend.a_month))
    } else if is_told && trend.high < 0.0 {
        format!("falls by about {} a month", text(-trend.a_month))
    } else if trend.low > 0.0 || trend.high < 0.0 {
        "cannot be told to rise or to fall: among so many numbers one may look so by chance".to_owned()
    } else {
        "cannot be told to rise or to fall".to_owned()
    };
    format!("{} {way} ({interval}; {days}).", label(metric))
}
