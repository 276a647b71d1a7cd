//! `swingd compare`: two groups of swings side by side, with an answer for each metric.

use super::ask::{ShownArgs, athlete_id, maybe_instant, open, print_json, shown};
use super::door::Address;
use super::groups::GroupsArgs;
use crate::engine::metrics::Metric;
use crate::report::columns::{Column, table};
use crate::report::then_now::VARIED;
use crate::report::words::{Unit, Units, decimals, rounded};
use jiff::Timestamp;
use serde::Deserialize;
use std::io::Write;

/// What `compare` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct CompareArgs {
    /// Whose swings: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// Whose the earlier group is, if not the same
    #[arg(long, value_name = "NAME")]
    pub then_athlete: Option<String>,
    /// Whose the later group is, if not the same
    #[arg(long, value_name = "NAME")]
    pub now_athlete: Option<String>,
    /// Which of them
    #[command(flatten)]
    pub groups: GroupsArgs,
    /// Look at this metric alone; may be given several times
    #[arg(long, value_name = "KEY", value_parser = Metric::ALL.map(Metric::key))]
    pub metric: Vec<String>,
    /// How it is shown
    #[command(flatten)]
    pub shown: ShownArgs,
}

#[derive(Deserialize)]
struct Comparison {
    then: Group,
    now: Group,
    mismatches: Vec<InWords>,
    numbers: Vec<Compared>,
    over_months: Option<OverMonths>,
}

/// Of all days with swings of the later group's kind.
#[derive(Deserialize)]
struct OverMonths {
    varied: Vec<InWords>,
    trends: Vec<Trend>,
}

#[derive(Deserialize)]
struct Trend {
    trend: Option<serde::de::IgnoredAny>,
    words: String,
}

#[derive(Deserialize)]
struct Group {
    swings: usize,
    days: usize,
    left_out: LeftOut,
    #[serde(default, deserialize_with = "maybe_instant")]
    from: Option<Timestamp>,
    #[serde(default, deserialize_with = "maybe_instant")]
    to: Option<Timestamp>,
}

#[derive(Deserialize)]
struct LeftOut {
    flagged: usize,
    excluded: usize,
    older: bool,
}

#[derive(Deserialize)]
struct InWords {
    words: String,
}

#[derive(Deserialize)]
struct Compared {
    metric: String,
    label: String,
    then: MetricOfGroup,
    now: MetricOfGroup,
    difference: Option<Difference>,
    words: String,
}

/// Now minus then, with its 95 % interval.
#[derive(Deserialize)]
struct Difference {
    value: f64,
    low: f64,
    high: f64,
}

#[derive(Deserialize)]
struct MetricOfGroup {
    mean: Option<f64>,
    swing_spread: Option<f64>,
}

/// Compares them.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &CompareArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.shown.config, err)?;
    let address = Address::new(&["v1", "comparison"])
        .with("athlete", athlete_id(&door, args.athlete.as_deref())?)
        .with("then_athlete", athlete_id(&door, args.then_athlete.as_deref())?)
        .with("now_athlete", athlete_id(&door, args.now_athlete.as_deref())?);
    let mut address = args.groups.put_into(&door, address)?;
    for metric in &args.metric {
        address = address.with("metric", Some(metric));
    }
    let answer = door.get(address.with("units", Some(args.shown.units.word())).as_str())?;
    if args.shown.json {
        return Ok(print_json(out, [&answer.body])?);
    }
    write!(out, "{}", in_words(&answer.read()?, args.shown.units.into()))?;
    Ok(())
}

fn in_words(comparison: &Comparison, units: Units) -> String {
    let mut text = group("then", &comparison.then) + &group("now", &comparison.now);
    for mismatch in &comparison.mismatches {
        text += &format!("not the same: {}\n", mismatch.words);
    }
    let columns = [
        Column::words("Metric"),
        Column::words("Unit"),
        Column::numbers("Then"),
        Column::numbers("Spread"),
        Column::numbers("Now"),
        Column::numbers("Spread"),
        Column::numbers("Now − then (95 %)"),
        Column::words("Answer"),
    ];
    let rows: Vec<_> = comparison.numbers.iter().map(|compared| row(compared, units)).collect();
    text += &format!("\n{}\nSpread: standard deviation from swing to swing of one day\n", table(&columns, &rows));
    text + &comparison.over_months.as_ref().map(over_months).unwrap_or_default()
}

/// Each trend there is, after what was not the same meanwhile.
fn over_months(OverMonths { varied, trends }: &OverMonths) -> String {
    let told: Vec<&str> = trends.iter().filter(|one| one.trend.is_some()).map(|one| one.words.as_str()).collect();
    if told.is_empty() {
        return "\nOver months: fewer than three days, so nothing can be said of a trend\n".to_owned();
    }
    let mut text = "\nOver months, all days with swings of the later group's kind:\n".to_owned();
    if !varied.is_empty() {
        text += &format!("not the same on these days. {VARIED}\n");
    }
    let lines = varied.iter().map(|one| format!("  {}\n", one.words)).chain(told.iter().map(|one| format!("{one}\n")));
    text + &lines.collect::<String>()
}

fn group(name: &str, group: &Group) -> String {
    let of = |count: usize, one: &str| format!("{count} {one}{}", if count == 1 { "" } else { "s" });
    let day = |at: Option<Timestamp>| at.map(|at| shown(at, false).chars().take(10).collect::<String>());
    let days = match (day(group.from), day(group.to)) {
        (Some(from), Some(to)) if from == to => format!(", {from}"),
        (Some(from), Some(to)) => format!(", {from} to {to}"),
        _ => String::new(),
    };
    let LeftOut { flagged, excluded, older } = group.left_out;
    let left_out = [(flagged, "flagged"), (excluded, "excluded")].into_iter().filter(|(count, _)| *count > 0);
    let mut left_out: Vec<_> = left_out.map(|(count, why)| format!("{count} {why}")).collect();
    left_out.extend(older.then(|| "all that are older".to_owned()));
    let left_out = if left_out.is_empty() { String::new() } else { format!("; left out: {}", left_out.join(", ")) };
    format!("{name}: {} on {}{days}{left_out}\n", of(group.swings, "swing"), of(group.days, "day"))
}

impl Difference {
    /// "+1.9 (0.8 to 3.0)".
    fn in_unit(&self, unit: Unit) -> String {
        let [value, low, high] = [self.value, self.low, self.high].map(|value| value * unit.factor);
        let decimals = decimals([f64::midpoint(high, -low)].into_iter());
        let [value, low, high] = [value, low, high].map(|value| rounded(value, decimals));
        let sign = if value.starts_with('−') { "" } else { "+" };
        format!("{sign}{value} ({low} to {high})")
    }
}

fn row(compared: &Compared, units: Units) -> Vec<String> {
    let metric = Metric::ALL.into_iter().find(|metric| metric.key() == compared.metric);
    let unit = metric.map(|metric| units.of(metric));
    let number = |value: Option<f64>| {
        let (value, unit) = value.zip(unit)?;
        let decimals = match unit.sign {
            "°/s" => 0,
            "m" | "ft" => 2,
            _ => 1,
        };
        Some(rounded(value * unit.factor, decimals))
    };
    let cell = |value: Option<f64>| number(value).unwrap_or_else(|| "–".to_owned());
    let difference = compared.difference.as_ref().zip(unit).map(|(difference, unit)| difference.in_unit(unit));
    let answer = compared.words.strip_prefix(&format!("{}: ", compared.label)).unwrap_or(&compared.words);
    vec![
        compared.label.clone(),
        unit.map_or("", |unit| unit.sign).to_owned(),
        cell(compared.then.mean),
        cell(compared.then.swing_spread),
        cell(compared.now.mean),
        cell(compared.now.swing_spread),
        difference.unwrap_or_else(|| "–".to_owned()),
        answer.to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comparison_is_a_line_a_group_and_a_line_a_metric() {
        let answer = serde_json::json!({
            "then": {"swings": 40, "days": 3, "from": "2026-10-01T10:00:00Z", "to": "2026-10-20T10:00:00Z",
                "left_out": {"flagged": 2, "excluded": 1, "older": false}},
            "now": {"swings": 1, "days": 1, "from": null, "to": null,
                "left_out": {"flagged": 0, "excluded": 0, "older": true}},
            "mismatches": [{"words": "then with Ash 33, now with Maple 32"}],
            "numbers": [
                {"metric": "bat_speed_mps", "label": "Bat speed at contact", "then": {"mean": 29.0576, "swing_spread": 0.89408},
                    "now": {"mean": 30.0, "swing_spread": null},
                    "difference": {"value": 0.9424, "low": -0.44704, "high": 2.33184}, "words": "Bat speed at contact: cannot tell: too few days"},
            ],
            "over_months": {
                "varied": [{"words": "Bat: Oct 1, 2026 with Ash 33; Oct 20, 2026 with Maple 32"}],
                "trends": [{"trend": {"days": 3}, "words": "Bat speed at contact rises."}, {"trend": null, "words": "nothing"}],
            },
        });
        let text = in_words(&serde_json::from_value(answer).unwrap(), Units::Us);
        assert!(
            text.contains("then: 40 swings on 3 days, 2026-10-01 to 2026-10-20; left out: 2 flagged, 1 excluded\n"),
            "{text}"
        );
        assert!(text.contains("now: 1 swing on 1 day; left out: all that are older\n"), "{text}");
        assert!(text.contains("not the same: then with Ash 33, now with Maple 32\n"), "{text}");
        assert!(
            text.ends_with(
                "Over months, all days with swings of the later group's kind:\n\
                 not the same on these days. A rise or a fall may come from this and not from the swing:\n  \
                 Bat: Oct 1, 2026 with Ash 33; Oct 20, 2026 with Maple 32\nBat speed at contact rises.\n"
            ),
            "{text}"
        );
        let line = text.lines().find(|line| line.starts_with("Bat speed")).unwrap();
        // 29.0576 m/s are 65.0 mph, 0.89408 are 2.0; 0.9424, −0.44704 and 2.33184 are 2.1, −1.0 and 5.2.
        assert_eq!(
            line.split("  ").map(str::trim).filter(|cell| !cell.is_empty()).collect::<Vec<_>>(),
            [
                "Bat speed at contact",
                "mph",
                "65.0",
                "2.0",
                "67.1",
                "–",
                "+2.1 (−1.0 to 5.2)",
                "cannot tell: too few days"
            ]
        );
    }
}
