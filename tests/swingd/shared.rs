//! Recordings with truth by an independent simulator, and real sensors with no swing among them, if they lie beside the
//! project; where they do not, these tests say so and check nothing.

use serde_json::Value;
use std::path::{Path, PathBuf};
use swingd::daemon::files;
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event};

/// A swing is the truth's if its contact is this near, s.
const NEAR_S: f64 = 0.05;

fn shared(folder: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared").join(folder);
    let there = path.is_dir().then_some(path);
    if there.is_none() {
        println!("{folder}: no such recordings beside the project; nothing checked");
    }
    there
}

fn csv_files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "csv"))
        .collect();
    files.sort();
    files
}

/// The last word on each swing of a recording.
fn swings(path: &Path) -> Vec<Swing> {
    let mut opened = files::open(path).unwrap();
    let mut engine = Engine::new(opened.profile().clone());
    let (mut last, mut batch) = (std::collections::BTreeMap::new(), Vec::new());
    let mut keep = |events: Vec<Event>| {
        for event in events {
            if let Event::Swing { number, swing, .. } = event {
                last.insert(number, *swing);
            }
        }
    };
    while opened.read_batch(&mut batch).unwrap() {
        keep(engine.push(&batch));
    }
    keep(engine.finish());
    last.into_values().collect()
}

/// Pairs of what was told and the truth of every swing that has to be told; nothing else may be told.
fn compared(path: &Path) -> Vec<(Swing, Value)> {
    let name = path.display();
    let truth = std::fs::read_to_string(path.with_extension("truth.json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let mut told = swings(path);
    let mut pairs = Vec::new();
    for swing in truth["swings"].as_array().unwrap() {
        let contact_s = swing["contact_s"].as_f64().unwrap();
        let place = told.iter().position(|s| (s.contact.0 - contact_s).abs() < NEAR_S);
        let asked = swing["expect"] == "report";
        assert!(place.is_some() || !asked, "{name}: the swing at {contact_s} s is missed");
        if let Some(place) = place {
            let found = told.remove(place);
            if asked {
                let ball = found.contact_kind == swingd::engine::swing::Contact::Ball;
                assert_eq!(ball, swing["contact"] == "ball", "{name}: contact at {contact_s} s");
                pairs.push((found, swing.clone()));
            }
        }
    }
    let false_ones: Vec<f64> = told.iter().map(|s| s.contact.0).collect();
    assert!(false_ones.is_empty(), "{name}: no swing is at {false_ones:?} s");
    pairs
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn every_swing_of_an_independent_simulator_is_found_and_nothing_else() {
    let Some(folder) = shared("swings") else { return };
    let mut checked = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let kind = entry.unwrap().path();
        if kind.is_dir() && !kind.ends_with("textbook-ideal") {
            for file in csv_files(&kind) {
                compared(&file);
                checked += 1;
            }
        }
    }
    assert!(checked > 50, "{checked} recordings");
}

/// Medians of the absolute errors over ball swings of a good sensor: contact within 0.1 ms, bat speed 0.25 m/s, attack angle
/// 0.5°; and nine in ten numbers within their 95 % interval.
#[test]
fn numbers_of_an_independent_simulator_are_near_the_truth_and_honest() {
    let Some(folder) = shared("swings/good-ball") else { return };
    let pairs: Vec<(Swing, Value)> = csv_files(&folder).iter().flat_map(|file| compared(file)).collect();
    let contact_ms = pairs.iter().map(|(s, t)| (s.contact.0 - t["contact_s"].as_f64().unwrap()).abs() * 1e3);
    assert!(median(contact_ms.collect()) < 0.1);
    let (mut inside, mut count) = (0, 0);
    for metric in swingd::engine::metrics::Metric::ALL {
        let errors: Vec<(f64, f64)> = pairs
            .iter()
            .filter_map(|(s, t)| Some((s.metrics[metric.index()]?, t["metrics"][metric.key()].as_f64()?)))
            .map(|(told, truth)| ((told.value - truth).abs(), told.sigma))
            .collect();
        inside += errors.iter().filter(|(error, sigma)| *error <= 1.96 * sigma).count();
        count += errors.len();
        let limit = match metric.key() {
            "bat_speed_mps" => 0.25,
            "attack_angle_deg" => 0.5,
            _ => continue,
        };
        assert!(median(errors.iter().map(|e| e.0).collect()) < limit, "{}", metric.key());
    }
    assert!(inside * 10 > count * 9, "{inside} of {count}");
}

#[test]
fn hands_that_move_a_sensor_about_swing_no_bat() {
    let Some(folder) = shared("realimu") else { return };
    for file in csv_files(&folder) {
        assert!(swings(&file).is_empty(), "{}", file.display());
    }
}
