//! What a comparison of two groups says, in plain words: for the terminal, the pages, the report and programs alike.
//!
//! Words tell in which direction a number went, not whether that is good: what is good, the instructor knows.

use super::words::{Unit, Units, decimals, label, rounded, with_unit};
use crate::compare::conditions::{Condition, Mismatch, Stretch, Varied};
use crate::compare::numbers::{Answer, Compared, Difference, MOST_DAYS, Needed};
use crate::engine::metrics::Metric;

/// Of values of a condition that is mixed within a group, so many are named.
const MOST_NAMED: usize = 3;
/// Of stretches of a trend in which a condition was the same, so many are told one by one.
const MOST_STRETCHES: usize = 4;

/// Greater amounts are none, and lesser ones are shown as nothing.
const LARGEST_AMOUNT: f64 = 1e7;
const LEAST_AMOUNT: f64 = 1e-6;

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
    let by = if compared.answer == Answer::Changed { difference(compared, units) } else { None };
    joined(compared, by, units)
}

/// The same where the difference stands beside it as well: "changed, faster".
pub fn answer_beside_difference(compared: &Compared, units: Units) -> String {
    joined(compared, None, units)
}

fn joined(compared: &Compared, changed_by: Option<String>, units: Units) -> String {
    let (head, rest) = parts(compared, units);
    let between = match compared.answer {
        Answer::Changed => ", ",
        Answer::NotChanged => " ",
        Answer::CannotTell { .. } => ": ",
    };
    changed_by.or(rest).map_or_else(|| head.to_owned(), |rest| format!("{head}{between}{rest}"))
}

/// The answer, and what belongs to it: the direction, the amount that would matter, what is needed, or why nothing can be
/// told.
pub fn parts(compared: &Compared, units: Units) -> (&'static str, Option<String>) {
    match compared.answer {
        Answer::Changed => ("changed", direction(compared).map(str::to_owned)),
        Answer::NotChanged => {
            ("not changed", Some(format!("by more than {}", amount(compared.metric, compared.amount, units))))
        }
        Answer::CannotTell { needed: Some(needed) } => ("cannot tell yet", Some(more(needed))),
        Answer::CannotTell { needed: None } => ("cannot tell", Some(why_not(compared))),
    }
}

/// Where now is of then, if it is a number.
fn direction(compared: &Compared) -> Option<&'static str> {
    let value = compared.difference?.value;
    let [more, less] = directions(compared.metric);
    (value.is_finite() && value != 0.0).then_some(if value > 0.0 { more } else { less })
}

/// Decimals of a difference, its interval and both means: two digits of half the interval; without one, of the spread.
pub fn decimals_of(compared: &Compared, unit: Unit) -> usize {
    let half_width = compared.difference.map(|difference| 0.5 * (difference.high - difference.low));
    let spread = [compared.then, compared.now].into_iter().filter_map(|group| group.swing_spread);
    let all = half_width.into_iter().chain(spread.filter(|_| half_width.is_none()));
    decimals(all.map(|value| value * unit.factor))
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
    let decimals = decimals_of(compared, unit);
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

/// An amount that would matter, with its unit: "2 mph".
pub fn amount(metric: Metric, amount: f64, units: Units) -> String {
    with_unit(&amount_text(metric, amount, units), units.of(metric))
}

/// The same without its unit: to two decimals as people set it, without zeros at the end; one too small for that has the
/// digit that tells it from none.
pub fn amount_text(metric: Metric, amount: f64, units: Units) -> String {
    let amount = amount * units.of(metric).factor;
    if amount.is_nan() || amount.abs() > LARGEST_AMOUNT {
        return "–".to_owned();
    }
    let leading = -amount.abs().max(LEAST_AMOUNT).log10().floor();
    let text = rounded(amount, leading.max(2.0) as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
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

fn why_not(compared: &Compared) -> String {
    let words = match (compared.then.swings, compared.now.swings, compared.difference) {
        (0, 0, _) => "no swing has this number",
        (0, _, _) => "none of the earlier swings has this number",
        (_, 0, _) => "none of the later swings has this number",
        (_, _, None) => "too few days, more are needed",
        (_, _, Some(_)) => return format!("more than {MOST_DAYS} more days would be needed"),
    };
    words.to_owned()
}

/// What was not the same: "then with Ash 33, now with Maple 32"; where it was mixed within a group, with how many swings each:
/// "then off a tee (20) and front toss (3), now off a tee".
pub fn mismatch(mismatch: &Mismatch) -> String {
    let group = |values: &[(Option<String>, usize)]| named(mismatch.condition, values);
    format!("then {}, now {}", group(&mismatch.then), group(&mismatch.now))
}

/// What was not the same over the days of a trend: "Oct 1, 2026 to Oct 20, 2026 with Ash 33; Oct 27, 2026 with Maple 32". Of a
/// condition that went to and fro all days in one: "Oct 1, 2026 to Dec 1, 2026, in 9 stretches, with Ash 33 (90) and with Oak (70)".
/// `day` says a day by its number.
pub fn varied(varied: &Varied, day: &dyn Fn(i64) -> String) -> String {
    let Varied { condition, stretches } = varied;
    let days =
        |first: i64, last: i64| if first == last { day(first) } else { format!("{} to {}", day(first), day(last)) };
    let (Some(first), Some(last)) = (stretches.first(), stretches.last()) else { return "on no day".to_owned() };
    if stretches.len() > MOST_STRETCHES {
        let (days, count) = (days(first.first_day, last.last_day), stretches.len());
        return format!("{days}, in {count} stretches, {}", named(*condition, &varied.in_all()));
    }
    let one = |Stretch { first_day, last_day, values }: &Stretch| {
        format!("{} {}", days(*first_day, *last_day), named(*condition, values))
    };
    stretches.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// What a condition is called at the head of a line.
pub fn condition(condition: Condition) -> &'static str {
    match condition {
        Condition::Athlete => "Athlete",
        Condition::Bat => "Bat",
        Condition::Drill => "Drill",
        Condition::BallSource => "Ball",
        Condition::Side => "Side",
        Condition::Contact => "Met",
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
        Condition::Contact => "contact",
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
        (Condition::Contact, Some("ball")) => "on a ball".to_owned(),
        (Condition::Contact, Some(_)) => "on nothing".to_owned(),
        (Condition::Contact, None) => "on what is not known".to_owned(),
    }
}

#[cfg(test)]
mod tests;
