//! `swingd amounts`: the least change of each metric that matters, seen and said.

use super::ask::{open, print_json};
use super::config::ConfigArgs;
use super::door::{Address, Answer, Content, Door, DoorError};
use crate::report::columns::{Column, table};
use anyhow::Context;
use axum::http::Method;
use axum::http::header::{ETAG, IF_MATCH};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::io::Write;

/// What `amounts` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct AmountsArgs {
    /// Say it: in the unit that the metric's key ends in, or `default`. Lists them where nothing is said
    #[arg(value_name = "METRIC=AMOUNT", value_parser = said)]
    pub said: Vec<(String, Option<f64>)>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

fn said(text: &str) -> Result<(String, Option<f64>), String> {
    let expected = || "expected METRIC=AMOUNT, such as bat_speed_mps=1.0, or METRIC=default".to_owned();
    let (metric, amount) = text.split_once('=').ok_or_else(expected)?;
    if amount == "default" {
        return Ok((metric.to_owned(), None));
    }
    let amount: f64 = amount.parse().map_err(|_| expected())?;
    if amount.is_finite() { Ok((metric.to_owned(), Some(amount))) } else { Err(expected()) }
}

#[derive(Deserialize)]
struct Amounts {
    amounts: Vec<Amount>,
}

#[derive(Deserialize)]
struct Amount {
    metric: String,
    label: String,
    unit: String,
    amount: f64,
    default: f64,
    is_set: bool,
}

/// Lists them, or says some and lists them.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &AmountsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.config, err)?;
    let path = Address::new(&["v1", "amounts"]);
    let mut answer = door.get(path.as_str())?;
    if !args.said.is_empty() {
        answer = say(&door, path.as_str(), &answer, &args.said)?;
    }
    if args.json {
        return Ok(print_json(out, [&answer.body])?);
    }
    let columns = [
        Column::words("Metric"),
        Column::numbers("Matters from"),
        Column::words("Unit"),
        Column::words("Said by"),
        Column::words("Key"),
    ];
    let Amounts { amounts } = answer.read()?;
    let row = |amount: Amount| {
        let by = if amount.is_set { format!("the instructor (default {})", amount.default) } else { "default".into() };
        vec![amount.label, amount.amount.to_string(), amount.unit, by, amount.metric]
    };
    write!(out, "{}", table(&columns, &amounts.into_iter().map(row).collect::<Vec<_>>()))?;
    Ok(())
}

fn say(door: &Door, path: &str, read: &Answer, said: &[(String, Option<f64>)]) -> anyhow::Result<Answer> {
    let version = read.headers.get(ETAG).context("the service says no version of them")?.clone();
    let changes: Map<String, Value> = said.iter().map(|(metric, amount)| (metric.clone(), json!(amount))).collect();
    let sent: Result<Answer, DoorError> =
        door.send(Method::PATCH, path, &[(IF_MATCH, version)], Content::Json(Value::Object(changes)));
    Ok(sent?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_is_a_metric_and_a_number_or_the_default() {
        assert_eq!(said("bat_speed_mps=1.5"), Ok(("bat_speed_mps".to_owned(), Some(1.5))));
        assert_eq!(said("bat_speed_mps=default"), Ok(("bat_speed_mps".to_owned(), None)));
        for text in ["bat_speed_mps", "bat_speed_mps=", "bat_speed_mps=much", "bat_speed_mps=NaN", "bat_speed_mps=inf"]
        {
            assert!(said(text).is_err(), "{text}");
        }
    }
}
