//! What a comparison of two groups says, in plain words: for the terminal, the pages, the report and programs alike.
//!
//! Words tell in which direction a number went, not whether that is good: what is good, the instructor knows.

use super::words::{Unit, Units, decimals, label, rounded};
use crate::compare::conditions::{Condition, Mismatch};
use crate::compare::numbers::{Answer, Compared, Difference, Needed};
use crate::engine::metrics::Metric;

/// Of values of a condition that is mixed within a group, so many are named.
const MOST_NAMED: usize = 3;

/// An answer's word in files and in the API.
pub fn key(answer: Answer) -> &'static str {
    match answer {
        Answer::Changed => "changed",
        Answer::NotChanged => "not_changed",
        Answer::CannotTell { .. } => "cannot_tell",
    }
}

/// All of it: "Bat speed at contact: changed, 1.9 mph faster (95 %: 0.8 to 3.0)".
pub fn sentence(compared: &Compared, units: Units) -> String {
    format!("{}: {}", label(compared.metric), answer(compared, units))
}

/// The same without the metric's name, where that stands beside it.
pub fn answer(compared: &Compared, units: Units) -> String {
    match compared.answer {
        Answer::Changed => match difference(compared, units) {
            Some(difference) => format!("changed, {difference}"),
            None => "changed".to_owned(),
        },
        Answer::NotChanged => format!("not changed by more than {}", amount(compared.metric, compared.amount, units)),
        Answer::CannotTell { needed: Some(needed) } => format!("cannot tell yet: {}", more(needed)),
        Answer::CannotTell { needed: None } => format!("cannot tell: {}", why_not(compared)),
    }
}

/// By how much, in which direction and how sure: "1.9 mph faster (95 %: 0.8 to 3.0)", or where the interval holds both
/// directions "0.4 mph faster (95 %: 1.0 slower to 1.8 faster)". `None` where no difference is known.
pub fn difference(compared: &Compared, units: Units) -> Option<String> {
    let Difference { value, low, high, .. } = compared.difference?;
    let unit = units.of(compared.metric);
    let [value, low, high] = [value, low, high].map(|value| value * unit.factor);
    if !value.is_finite() {
        return None;
    }
    let decimals = decimals([f64::midpoint(high, -low)].into_iter());
    let direction = |value: f64| directions(compared.metric)[usize::from(value < 0.0)];
    let size = |value: f64| rounded(value.abs(), decimals);
    let is_none = size(value).chars().all(|c| c == '0' || c == '.');
    let way = if is_none { "apart" } else { direction(value) };
    let said = format!("{} {way}", with_unit(&size(value), unit));
    if !(low.is_finite() && high.is_finite()) {
        return Some(said);
    }
    let interval = if low < 0.0 && high > 0.0 {
        format!("{} {} to {} {}", size(low), direction(low), size(high), direction(high))
    } else {
        let (least, most) = (low.abs().min(high.abs()), low.abs().max(high.abs()));
        format!("{} to {}", size(least), size(most))
    };
    Some(format!("{said} (95 %: {interval})"))
}

/// An amount that would matter, with its unit: "2.0 mph".
pub fn amount(metric: Metric, amount: f64, units: Units) -> String {
    let unit = units.of(metric);
    let amount = amount * unit.factor;
    with_unit(&rounded(amount, decimals([amount.abs()].into_iter())), unit)
}

/// A number with its unit's sign.
pub fn with_unit(number: &str, unit: Unit) -> String {
    let space = if unit.sign == "°" { "" } else { " " };
    format!("{number}{space}{}", unit.sign)
}

/// What more and what less of a metric is called.
pub fn directions(metric: Metric) -> [&'static str; 2] {
    match metric {
        Metric::BatSpeed | Metric::PeakBatSpeed | Metric::HandSpeed | Metric::HandSpeedAtContact | Metric::TurnRate => {
            ["faster", "slower"]
        }
        Metric::PeakLead => ["earlier", "later"],
        Metric::TimeToContact | Metric::SpeedBuilt | Metric::PathLength => ["longer", "shorter"],
        Metric::AttackAngle => ["more upward", "more downward"],
        Metric::BatTilt => ["with the barrel higher", "with the barrel lower"],
        Metric::PlaneTilt => ["steeper", "flatter"],
        Metric::RollRate => ["higher", "lower"],
        Metric::TimingWindow => ["wider", "narrower"],
    }
}

/// "about 40 more swings on 2 more days".
pub fn more(Needed { swings, days }: Needed) -> String {
    let of = |count: u32, one: &str| format!("{count} more {one}{}", if count == 1 { "" } else { "s" });
    let on = if days == 0 { String::new() } else { format!(" on {}", of(days, "day")) };
    format!("about {}{on}", of(swings, "swing"))
}

fn why_not(compared: &Compared) -> &'static str {
    match (compared.then.swings, compared.now.swings, compared.difference) {
        (0, 0, _) => "no swing has this number",
        (0, _, _) => "no swing of then has this number",
        (_, 0, _) => "no swing of now has this number",
        (_, _, None) => "too few days",
        (_, _, Some(_)) => "it would take more swings than anybody makes",
    }
}

/// What was not the same: "then with Ash 33, now with Maple 32"; where it was mixed within a group, with how many swings each:
/// "then off a tee (20) and front toss (3), now off a tee".
pub fn mismatch(mismatch: &Mismatch) -> String {
    let group = |values: &[(Option<String>, usize)]| named(mismatch.condition, values);
    format!("then {}, now {}", group(&mismatch.then), group(&mismatch.now))
}

/// What a condition is called at the head of a line.
pub fn condition(condition: Condition) -> &'static str {
    match condition {
        Condition::Athlete => "Athlete",
        Condition::Bat => "Bat",
        Condition::Drill => "Drill",
        Condition::BallSource => "Ball",
        Condition::Side => "Side",
    }
}

/// Its word in files and in the API.
pub fn condition_key(condition: Condition) -> &'static str {
    match condition {
        Condition::Athlete => "athlete",
        Condition::Bat => "bat",
        Condition::Drill => "drill",
        Condition::BallSource => "ball_source",
        Condition::Side => "side",
    }
}

fn named(condition: Condition, values: &[(Option<String>, usize)]) -> String {
    if values.is_empty() {
        return "nothing".to_owned();
    }
    let one = |(value, swings): &(Option<String>, usize)| {
        let value = value_words(condition, value.as_deref());
        if values.len() == 1 { value } else { format!("{value} ({swings})") }
    };
    let mut words: Vec<String> = values.iter().take(MOST_NAMED).map(one).collect();
    if values.len() > MOST_NAMED {
        words.push(format!("{} others", values.len() - MOST_NAMED).replace("1 others", "one other"));
    }
    match words.split_last() {
        Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => words.concat(),
    }
}

fn value_words(condition: Condition, value: Option<&str>) -> String {
    match (condition, value) {
        (Condition::Athlete, Some(name)) => name.to_owned(),
        (Condition::Athlete, None) => "somebody who is not known".to_owned(),
        (Condition::Bat, Some(name)) => format!("with {name}"),
        (Condition::Bat, None) => "with a bat that is not said".to_owned(),
        (Condition::Drill, Some(drill)) => format!("in the drill \u{201c}{drill}\u{201d}"),
        (Condition::Drill, None) => "in no drill".to_owned(),
        (Condition::BallSource, Some("tee")) => "off a tee".to_owned(),
        (Condition::BallSource, Some("machine")) => "off a machine".to_owned(),
        (Condition::BallSource, Some("live")) => "off a pitcher".to_owned(),
        (Condition::BallSource, Some("dry")) => "without a ball".to_owned(),
        (Condition::BallSource, Some(source)) => source.replace('_', " "),
        (Condition::BallSource, None) => "a ball source that is not said".to_owned(),
        (Condition::Side, Some(side)) => format!("from the {side}"),
        (Condition::Side, None) => "from a side that is not said".to_owned(),
    }
}

#[cfg(test)]
mod tests;
