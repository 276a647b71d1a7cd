//! The bundled lesson: whether its numbers have moved, and whether they are true.
//!
//! `replay-data/lesson.expected.json` holds what `replay --json` printed; it tells that something changed, not that it is
//! right. With the environment variable `SWINGD_REGENERATE` set it is written anew: say in the commit which numbers moved,
//! by how much and why. `replay-data/lesson.truth.json` is the simulator's, and says what is right.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// Relative and absolute: far below any σ, far above what another order of additions does.
const RELATIVE: f64 = 1e-6;
const ABSOLUTE: f64 = 1e-9;
/// Of 128 normal errors, one is beyond this in one lesson of 120 (128 times 6e-5).
const SIGMAS: f64 = 4.0;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn json(path: &Path) -> Value {
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    serde_json::from_str(&text).unwrap()
}

/// The document of the lesson, from the folder above it, so that its path is the same everywhere.
fn replayed() -> &'static Value {
    static DOCUMENT: OnceLock<Value> = OnceLock::new();
    DOCUMENT.get_or_init(|| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        let ran = command.args(["replay", "--json", "replay-data/lesson.mcap"]).current_dir(root()).output().unwrap();
        assert_eq!((ran.status.code(), String::from_utf8_lossy(&ran.stderr).as_ref()), (Some(0), ""));
        serde_json::from_slice(&ran.stdout).unwrap()
    })
}

/// Where two documents differ by more than rounding.
fn differences(place: &str, is: &Value, expected: &Value, found: &mut Vec<String>) {
    let differs = match (is, expected) {
        (Value::Object(a), Value::Object(b)) if a.keys().eq(b.keys()) => {
            a.iter().for_each(|(key, value)| differences(&format!("{place}.{key}"), value, &b[key], found));
            false
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let each = a.iter().zip(b).enumerate();
            each.for_each(|(i, (a, b))| differences(&format!("{place}[{i}]"), a, b, found));
            false
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            (a - b).abs() > ABSOLUTE + RELATIVE * b.abs()
        }
        _ => is != expected,
    };
    if differs {
        found.push(format!("{place}: {is}, expected {expected}"));
    }
}

#[test]
fn the_lesson_gives_the_numbers_it_gave_before() {
    let path: PathBuf = root().join("replay-data/lesson.expected.json");
    if std::env::var_os("SWINGD_REGENERATE").is_some() {
        let text = serde_json::to_string_pretty(replayed()).unwrap();
        std::fs::write(&path, text + "\n").unwrap();
    }
    let mut found = Vec::new();
    differences("", replayed(), &json(&path), &mut found);
    assert!(found.is_empty(), "{} numbers moved:\n{}", found.len(), found.join("\n"));
}

/// Each swing told with the true one, which must be as many, in the same order and of the same kind.
fn with_truth() -> Vec<(&'static Value, Value)> {
    let truth = json(&root().join("replay-data/lesson.truth.json"));
    let expected: Vec<Value> =
        truth["swings"].as_array().unwrap().iter().filter(|swing| swing["expect"] == "report").cloned().collect();
    let told = replayed()["swings"].as_array().unwrap();
    let kinds = |swings: &[Value]| swings.iter().map(|swing| swing["contact"].clone()).collect::<Vec<_>>();
    assert_eq!(kinds(told), kinds(&expected));
    told.iter().zip(expected).collect()
}

/// How far a number is from the truth, in σ.
fn off(told: &Value, truth: &Value) -> f64 {
    let number = |value: &Value| value.as_f64().unwrap();
    (number(&told["value"]) - number(truth)).abs() / number(&told["sigma"])
}

/// A dry swing's lead of its peak is looked at by a test of its own.
#[test]
fn every_metric_of_the_lesson_is_within_four_sigma_of_the_truth() {
    for (k, (told, truth)) in with_truth().into_iter().enumerate() {
        assert_eq!(told["flags"], Value::Array(Vec::new()), "swing {k}");
        let metrics = told["metrics"].as_object().unwrap();
        assert!(metrics.keys().eq(truth["metrics"].as_object().unwrap().keys()), "swing {k}");
        let is_dry = told["contact"] == "none";
        for (key, metric) in metrics.iter().filter(|(key, _)| !(is_dry && key.as_str() == "peak_lead_ms")) {
            let sigmas = off(metric, &truth["metrics"][key]);
            assert!(sigmas < SIGMAS, "swing {k}: {key} is off by {sigmas} σ: {metric}");
        }
    }
}

/// Contact of a swing that met nothing is the peak itself: the lead is 0 by definition, and what is told beside it must
/// not be more than its σ allows.
#[test]
fn a_dry_swing_has_no_lead_beyond_its_sigma() {
    for (told, truth) in with_truth().into_iter().filter(|(told, _)| told["contact"] == "none") {
        let lead = &told["metrics"]["peak_lead_ms"];
        assert!(off(lead, &truth["metrics"]["peak_lead_ms"]) < SIGMAS, "{lead}");
    }
}

/// The document gives no σ of the two instants; that of the time between them holds what both do not share.
#[test]
fn start_and_contact_of_the_lesson_are_where_they_truly_were() {
    for (k, (told, truth)) in with_truth().into_iter().enumerate() {
        let sigma_ms = told["metrics"]["time_to_contact_ms"]["sigma"].as_f64().unwrap();
        for key in ["start_s", "contact_s"] {
            let error_ms = (told[key].as_f64().unwrap() - truth[key].as_f64().unwrap()) * 1e3;
            assert!(error_ms.abs() < SIGMAS * sigma_ms, "swing {k}: {key} is off by {error_ms} ms, σ {sigma_ms} ms");
        }
    }
}

#[test]
fn a_moved_number_a_lost_key_and_another_word_are_differences() {
    let told = |a: &str, b: &str| {
        let mut found = Vec::new();
        differences("", &serde_json::from_str(a).unwrap(), &serde_json::from_str(b).unwrap(), &mut found);
        found.len()
    };
    assert_eq!(told(r#"{"a":[1.0,2.0],"b":"x"}"#, r#"{"a":[1.0000005,2.0],"b":"x"}"#), 0);
    assert_eq!(told(r#"{"a":[1.0,2.0],"b":"x"}"#, r#"{"a":[1.000002,2.1],"b":"y"}"#), 3);
    assert_eq!(told(r#"{"a":1}"#, r#"{"b":1}"#), 1);
    assert_eq!(told(r#"{"a":[1]}"#, r#"{"a":[1,2]}"#), 1);
    assert_eq!(told(r#"{"a":null}"#, r#"{"a":1}"#), 1);
}
