//! Rows as they leave in an archive: JSON and CSV, instants as RFC 3339.

use crate::daemon::store::queries::archive::{Fields, Theirs};
use crate::report::csv_cell::words;
use serde_json::{Map, Value, json};
use std::fmt::Write;

/// What the name of a column that holds an instant, µs of UTC, loses when that is written as text.
const UNIT: &str = "_us";

/// Paths in the archive and what they hold.
pub fn files(theirs: &Theirs) -> Vec<(&'static str, String)> {
    let list = |rows: &[Fields]| text(&rows.iter().map(object).collect());
    vec![
        ("README.txt", include_str!("README.txt").to_owned()),
        ("athlete.json", text(&object(&theirs.athlete))),
        ("consents.json", list(&theirs.consents)),
        ("lessons.json", text(&lessons(theirs))),
        ("homework.json", list(&theirs.homework)),
        ("bats.json", list(&theirs.bats)),
        ("recordings.json", list(&theirs.recordings)),
        ("swings.json", text(&swings(theirs))),
        ("swings.csv", csv(&theirs.latest)),
        ("ball_results.csv", csv(&theirs.ball_results)),
    ]
}

/// A field of a row, as text; empty without one.
pub fn word<'a>(row: &'a Fields, name: &str) -> &'a str {
    value(row, name).and_then(Value::as_str).unwrap_or_default()
}

/// A field of a row.
pub fn value<'a>(row: &'a Fields, name: &str) -> Option<&'a Value> {
    row.iter().find(|(field, _)| field == name).map(|(_, value)| value)
}

fn text(value: &Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}

fn object(row: &Fields) -> Value {
    Value::Object(row.iter().map(field).collect::<Map<_, _>>())
}

/// Instants, truths and flags as everywhere else outside of the store.
fn field((name, value): &(String, Value)) -> (String, Value) {
    match (short(name), value) {
        (Some(short), Value::Number(us)) => (short.to_owned(), Value::from(instant(us.as_i64().unwrap_or_default()))),
        (Some(short), _) => (short.to_owned(), Value::Null),
        (None, Value::Number(truth)) if name.starts_with("is_") => {
            (name.clone(), Value::from(truth.as_i64() == Some(1)))
        }
        (None, Value::String(flags)) if name == "flags" => {
            (name.clone(), flags.split(',').filter(|flag| !flag.is_empty()).collect())
        }
        (None, value) => (name.clone(), value.clone()),
    }
}

/// `begun_utc` of `begun_utc_us`; `None` if it is no instant.
fn short(name: &str) -> Option<&str> {
    name.strip_suffix(UNIT).filter(|name| name.ends_with("_utc"))
}

fn instant(us: i64) -> String {
    let at = jiff::Timestamp::from_microsecond(us).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    format!("{at:.6}")
}

fn lessons(theirs: &Theirs) -> Value {
    let with_rounds = |lesson: &Fields| {
        let mut json = object(lesson);
        let rounds = theirs.rounds.iter().filter(|round| word(round, "lesson_id") == word(lesson, "id"));
        json["rounds"] = rounds.map(object).collect();
        json
    };
    theirs.lessons.iter().map(with_rounds).collect()
}

fn swings(theirs: &Theirs) -> Value {
    let of = |rows: &'_ [Fields], swing: &Fields| -> Vec<Fields> {
        let id = word(swing, "id");
        // Both are in the order of swings.
        let from = rows.partition_point(|row| word(row, "swing_id") < id);
        rows.iter().skip(from).take_while(|row| word(row, "swing_id") == id).cloned().collect()
    };
    let whole = |swing: &Fields| {
        let mut json = object(swing);
        json["tags"] = of(&theirs.tags, swing).iter().map(|tag| json!(word(tag, "tag"))).collect();
        json["analyses"] = of(&theirs.analyses, swing).iter().map(object).collect();
        json
    };
    theirs.swings.iter().map(whole).collect()
}

/// RFC 4180; without a row there is no head either.
fn csv(rows: &[Fields]) -> String {
    let mut out = String::new();
    if let Some(first) = rows.first() {
        let names: Vec<_> = first.iter().map(|(name, _)| short(name).unwrap_or(name)).collect();
        out += &(names.join(",") + "\r\n");
    }
    for row in rows {
        for (at, (name, value)) in row.iter().enumerate() {
            let comma = if at == 0 { "" } else { "," };
            // Writing to a string does not fail.
            let _ = match value {
                Value::Null => write!(out, "{comma}"),
                Value::String(text) if name == "flags" => {
                    write!(out, "{comma}{}", text.trim_matches(',').replace(',', " "))
                }
                Value::String(text) => write!(out, "{comma}{}", quoted(&words(text))),
                _ => match field(&(name.clone(), value.clone())).1 {
                    Value::String(text) => write!(out, "{comma}{text}"),
                    other => write!(out, "{comma}{other}"),
                },
            };
        }
        out += "\r\n";
    }
    out
}

fn quoted(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}
