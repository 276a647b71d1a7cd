//! `swingd compare`: two groups of swings side by side, with an answer for each metric.

use super::ask::{When, athlete_id, bat_id, maybe_instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::{Address, Door};
use super::replay::UnitsArg;
use crate::engine::metrics::Metric;
use crate::report::columns::{Column, table};
use crate::report::words::{Units, rounded};
use jiff::Timestamp;
use serde::Deserialize;
use std::io::Write;
use std::str::FromStr;
use uuid::Uuid;

/// What `compare` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct CompareArgs {
    /// Days of the earlier group
    #[arg(long, value_name = "FROM..TO")]
    pub then: Option<Days>,
    /// Days of the later group
    #[arg(long, value_name = "FROM..TO")]
    pub now: Option<Days>,
    /// What holds for both groups
    #[command(flatten)]
    pub both: BothArgs,
    /// What holds for the earlier group alone
    #[command(flatten)]
    pub then_alone: ThenArgs,
    /// What holds for the later group alone
    #[command(flatten)]
    pub now_alone: NowArgs,
    /// Look at this metric alone; may be given several times
    #[arg(long, value_name = "KEY", value_parser = Metric::ALL.map(Metric::key))]
    pub metric: Vec<String>,
    /// Units of the table
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

macro_rules! group_args {
    ($name:ident $words:literal $heading:literal $prefix:literal $athlete:literal $lesson:literal $side:literal
     $bat:literal $drill:literal $source:literal) => {
        #[doc = $words]
        #[derive(Clone, Debug, Default, clap::Args)]
        #[command(next_help_heading = $heading)]
        pub struct $name {
            /// This athlete's: nickname or id
            #[arg(id = $athlete, long = $athlete, value_name = "NAME")]
            pub athlete: Option<String>,
            /// Of this lesson or practice
            #[arg(id = $lesson, long = $lesson, value_name = "ID")]
            pub lesson: Option<Uuid>,
            /// From this side
            #[arg(id = $side, long = $side, value_name = "SIDE", value_parser = ["right", "left"])]
            pub side: Option<String>,
            /// With this bat: name or id
            #[arg(id = $bat, long = $bat, value_name = "NAME")]
            pub bat: Option<String>,
            /// In rounds of exactly this drill
            #[arg(id = $drill, long = $drill, value_name = "DRILL")]
            pub drill: Option<String>,
            /// In rounds with this ball source
            #[arg(id = $source, long = $source, value_name = "SOURCE",
                                                value_parser = ["tee", "toss", "front_toss", "machine", "live", "dry"])]
            pub ball_source: Option<String>,
        }

        impl $name {
            fn put_into(&self, door: &Door, address: Address) -> anyhow::Result<Address> {
                Ok(address
                    .with(concat!($prefix, "athlete"), athlete_id(door, self.athlete.as_deref())?)
                    .with(concat!($prefix, "lesson"), self.lesson.map(|id| id.to_string()))
                    .with(concat!($prefix, "side"), self.side.as_ref())
                    .with(concat!($prefix, "bat"), bat_id(door, self.bat.as_deref())?)
                    .with(concat!($prefix, "drill"), self.drill.as_ref())
                    .with(concat!($prefix, "ball_source"), self.ball_source.as_ref()))
            }
        }
    };
}

group_args!(BothArgs "What holds for both groups." "Both groups" "" "athlete" "lesson" "side" "bat" "drill" "ball-source");
group_args!(ThenArgs "What holds for the earlier group alone." "The earlier group alone" "then_" "then-athlete" "then-lesson"
    "then-side" "then-bat" "then-drill" "then-ball-source");
group_args!(NowArgs "What holds for the later group alone." "The later group alone" "now_" "now-athlete" "now-lesson"
    "now-side" "now-bat" "now-drill" "now-ball-source");

/// From a day to a day, both whole; one may be left out: `2026-10-01..2026-10-31`, `..2026-10-31`, `2026-11-01..`, or one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Days {
    from: Option<When>,
    to: Option<When>,
}

impl FromStr for Days {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let end = |text: &str| if text.is_empty() { Ok(None) } else { text.parse::<When>().map(Some) };
        let (from, to) = match text.split_once("..") {
            Some((from, to)) => (end(from)?, end(to)?),
            None => (end(text)?, end(text)?),
        };
        match (from, to) {
            (None, None) => {
                Err("expected days such as 2026-10-01..2026-10-31, ..2026-10-31 or 2026-11-01..".to_owned())
            }
            (from, to) => Ok(Self { from, to }),
        }
    }
}

impl Days {
    fn put_into(self, address: Address, from: &str, to: &str) -> anyhow::Result<Address> {
        let begins = self.from.map(When::begins).transpose()?;
        Ok(address.with(from, begins).with(to, self.to.map(When::ends).transpose()?))
    }
}

#[derive(Deserialize)]
struct Comparison {
    then: Group,
    now: Group,
    mismatches: Vec<Mismatch>,
    numbers: Vec<Compared>,
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
struct Mismatch {
    words: String,
}

#[derive(Deserialize)]
struct Compared {
    metric: String,
    label: String,
    then: MetricOfGroup,
    now: MetricOfGroup,
    words: String,
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
    let door = open(&args.config, err)?;
    let mut address = Address::new(&["v1", "comparison"]);
    if let Some(then) = args.then {
        address = then.put_into(address, "then_from", "then_to")?;
    }
    if let Some(now) = args.now {
        address = now.put_into(address, "now_from", "now_to")?;
    }
    address = args.both.put_into(&door, address)?;
    address = args.then_alone.put_into(&door, address)?;
    address = args.now_alone.put_into(&door, address)?;
    for metric in &args.metric {
        address = address.with("metric", Some(metric));
    }
    let units = match args.units {
        UnitsArg::Us => "us",
        UnitsArg::Metric => "metric",
    };
    let answer = door.get(address.with("units", Some(units)).as_str())?;
    if args.json {
        return Ok(print_json(out, [&answer.body])?);
    }
    write!(out, "{}", in_words(&answer.read()?, args.units.into()))?;
    Ok(())
}

fn in_words(comparison: &Comparison, units: Units) -> String {
    let mut text = group("then", &comparison.then) + &group("now", &comparison.now);
    for mismatch in &comparison.mismatches {
        text += &format!("not the same: {}\n", mismatch.words);
    }
    let head = ["Metric", "Unit", "Then", "Spread", "Now", "Spread", "Answer"];
    let columns: Vec<Column> = head
        .iter()
        .map(|head| if ["Then", "Now", "Spread"].contains(head) { Column::numbers(head) } else { Column::words(head) })
        .collect();
    let rows: Vec<_> = comparison.numbers.iter().map(|compared| row(compared, units)).collect();
    text + "\n" + &table(&columns, &rows) + "\nSpread: standard deviation from swing to swing of one day\n"
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
    let answer = compared.words.strip_prefix(&format!("{}: ", compared.label)).unwrap_or(&compared.words);
    vec![
        compared.label.clone(),
        unit.map_or("", |unit| unit.sign).to_owned(),
        cell(compared.then.mean),
        cell(compared.then.swing_spread),
        cell(compared.now.mean),
        cell(compared.now.swing_spread),
        answer.to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_a_span_with_either_end_open_or_one_day() {
        let of = |text: &str| text.parse::<Days>().map(|days| (days.from.is_some(), days.to.is_some()));
        assert_eq!(of("2026-10-01..2026-10-31"), Ok((true, true)));
        assert_eq!((of("..2026-10-31"), of("2026-11-01..")), (Ok((false, true)), Ok((true, false))));
        let day: Days = "2026-11-01".parse().unwrap();
        assert_eq!(day.from, day.to);
        for text in ["", "..", "yesterday..", "2026-10-01...2026-10-02", "2026-10-01..2026-02-30"] {
            assert!(of(text).is_err(), "{text}");
        }
    }

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
                    "now": {"mean": 30.0, "swing_spread": null}, "words": "Bat speed at contact: cannot tell: too few days"},
            ],
        });
        let text = in_words(&serde_json::from_value(answer).unwrap(), Units::Us);
        assert!(
            text.contains("then: 40 swings on 3 days, 2026-10-01 to 2026-10-20; left out: 2 flagged, 1 excluded\n"),
            "{text}"
        );
        assert!(text.contains("now: 1 swing on 1 day; left out: all that are older\n"), "{text}");
        assert!(text.contains("not the same: then with Ash 33, now with Maple 32\n"), "{text}");
        let line = text.lines().find(|line| line.starts_with("Bat speed")).unwrap();
        // 29.0576 m/s are 65.0 mph, 0.89408 are 2.0.
        assert_eq!(
            line.split("  ").map(str::trim).filter(|cell| !cell.is_empty()).collect::<Vec<_>>(),
            ["Bat speed at contact", "mph", "65.0", "2.0", "67.1", "–", "cannot tell: too few days"]
        );
    }
}
