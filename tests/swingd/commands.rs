//! What the commands print and write, and how they end.

use crate::support::{Folder, csv, planar};
use serde_json::{Map, Value};

/// All metrics, in the order in which they are printed.
const METRICS: [&str; 14] = [
    "bat_speed_mps",
    "peak_bat_speed_mps",
    "peak_lead_ms",
    "hand_speed_mps",
    "hand_speed_at_contact_mps",
    "time_to_contact_ms",
    "attack_angle_deg",
    "bat_tilt_deg",
    "plane_tilt_deg",
    "turn_rate_dps",
    "roll_rate_dps",
    "speed_built_ms",
    "path_length_m",
    "timing_window_ms",
];

/// A folder with a swing in it.
fn swing(name: &str) -> Folder {
    let folder = Folder::new(name);
    folder.write("swing.csv", csv(&planar::samples()));
    folder.write("swing.toml", planar::PROFILE);
    folder
}

fn keys(value: &Value) -> Vec<&str> {
    let object: &Map<String, Value> = value.as_object().unwrap();
    object.keys().map(String::as_str).collect()
}

#[test]
fn replay_prints_one_document_a_file_in_the_order_given() {
    let folder = swing("replay");
    folder.write("calm.csv", csv(&planar::samples()[..1500]));
    let ran = folder.run(&["replay", "--json", "swing.csv", "calm.csv", "swing.csv"]);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""));
    let documents = ran.documents();
    let paths: Vec<_> = documents.iter().map(|d| d["recording"]["path"].as_str().unwrap()).collect();
    assert_eq!(paths, ["swing.csv", "calm.csv", "swing.csv"]);
    assert_eq!(documents[0], documents[2]);
    assert_eq!(documents[1]["swings"], Value::Array(Vec::new()));
    let recording = &documents[1]["recording"];
    assert_eq!((&recording["samples"], &recording["gaps"]), (&1500.into(), &0.into()));
    assert!((recording["duration_s"].as_f64().unwrap() - 1.499).abs() < 1e-9);
    assert!((recording["sample_rate_hz"].as_f64().unwrap() - 1000.0).abs() < 1e-6);
}

#[test]
fn a_document_has_the_keys_that_programs_rely_on() {
    let document = &swing("shape").run(&["replay", "swing.csv", "--json"]).documents()[0];
    let sorted = |mut names: Vec<&'static str>| {
        names.sort_unstable();
        names
    };
    assert_eq!(keys(document), sorted(vec!["recording", "swings"]));
    let recording = vec!["path", "samples", "duration_s", "sample_rate_hz", "gaps", "missing_samples"];
    assert_eq!(keys(&document["recording"]), sorted(recording));
    let swing = &document["swings"][0];
    assert_eq!(keys(swing), sorted(vec!["start_s", "contact_s", "contact", "metrics", "flags"]));
    assert_eq!(keys(&swing["metrics"]), sorted(METRICS.to_vec()));
    for name in METRICS {
        assert_eq!(keys(&swing["metrics"][name]), ["sigma", "value"], "{name}");
    }
}

/// The bat turns about a fixed vertical axis: speeds are Ω times a radius, and all angles from the horizontal are zero.
#[test]
fn a_planar_swing_has_the_numbers_of_its_closed_form() {
    let document = &swing("planar").run(&["replay", "swing.csv", "--json"]).documents()[0];
    let swings = document["swings"].as_array().unwrap();
    assert_eq!((swings.len(), swings[0]["contact"].as_str()), (1, Some("ball")));
    // One sample's step: where in it the blow began has to be told from its shape.
    let contact_s = swings[0]["contact_s"].as_f64().unwrap();
    assert!((contact_s - planar::CONTACT_S).abs() < 1e-3, "{contact_s}");
    let truths = [
        ("bat_speed_mps", planar::speed_at_contact_mps(planar::SWEET_SPOT_M), 0.03),
        ("hand_speed_at_contact_mps", planar::speed_at_contact_mps(planar::HANDS_M), 0.02),
        ("time_to_contact_ms", 1e3 * planar::time_to_contact_s(), 1.0),
        ("attack_angle_deg", 0.0, 0.05),
        ("bat_tilt_deg", 0.0, 0.05),
        ("plane_tilt_deg", 0.0, 0.05),
        ("roll_rate_dps", 0.0, 0.5),
        ("turn_rate_dps", planar::FASTEST_RADPS.to_degrees(), 2.0),
    ];
    for (name, truth, tolerance) in truths {
        let value = swings[0]["metrics"][name]["value"].as_f64().unwrap();
        assert!((value - truth).abs() < tolerance, "{name}: {value}, expected {truth}");
    }
}

#[test]
fn replay_without_json_prints_a_table() {
    let ran = swing("table").run(&["replay", "swing.csv", "--units", "metric"]);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""));
    assert!(ran.out.starts_with("swing.csv: 3.6 s at 1000 Hz, 1 swing\n"), "{}", ran.out);
    assert!(ran.out.contains("m/s") && ran.out.contains('±'));
}

#[test]
fn arguments_that_cannot_be_used_end_with_2() {
    let folder = swing("usage");
    let unusable: [&[&str]; 6] = [
        &[],
        &["replay"],
        &["replay", "swing.csv", "--fast"],
        &["replay", "swing.csv", "--units", "feet"],
        &["track", "swing.csv"],
        &["measure", "swing.csv"],
    ];
    for words in unusable {
        let ran = folder.run(words);
        assert_eq!((ran.status, ran.out.as_str()), (2, ""), "{words:?}");
        assert!(!ran.err.is_empty());
    }
}

#[test]
fn a_recording_converted_there_and_back_is_the_same_and_replays_the_same() {
    let folder = swing("convert");
    for words in [["convert", "swing.csv", "swing.mcap"], ["convert", "swing.mcap", "back.csv"]] {
        let ran = folder.run(&words);
        assert_eq!((ran.status, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
    }
    assert_eq!(folder.read("back.toml"), folder.read("swing.toml"));
    let swings = |file: &str| folder.run(&["replay", "--json", file]).documents()[0]["swings"].clone();
    assert_eq!(swings("swing.mcap"), swings("swing.csv"));
    assert_eq!(swings("back.csv"), swings("swing.csv"));
    let again = folder.run(&["convert", "swing.csv", "swing.mcap"]);
    assert!(again.status == 1 && again.err.contains("--force") && again.err.lines().count() == 1);
}

#[test]
fn a_track_has_a_row_a_sample_and_the_motion_of_the_closed_form() {
    let folder = swing("track");
    folder.write("swing.csv", csv(&planar::dry()));
    folder.write("track.csv", "what was there before");
    let ran = folder.run(&["track", "swing.csv", "--out", "track.csv"]);
    assert_eq!((ran.status, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
    assert_eq!(folder.files(), ["swing.csv", "swing.toml", "track.csv"]);
    let text = folder.read("track.csv");
    let (header, rows) = text.split_once('\n').unwrap();
    assert_eq!(header, "t_s,q_w,q_x,q_y,q_z,v_x_mps,v_y_mps,v_z_mps,moving");
    let rows: Vec<Vec<f64>> =
        rows.lines().map(|row| row.split(',').map(|cell| cell.parse().unwrap()).collect()).collect();
    let samples = planar::dry();
    assert_eq!(rows.len(), samples.len());
    for (row, sample) in rows.iter().zip(&samples) {
        assert_eq!((row.len(), row[0]), (9, sample.time.0));
        let norm = row[1..5].iter().map(|q| q * q).sum::<f64>().sqrt();
        assert!((norm - 1.0).abs() < 1e-9);
        // Speed of a sensor that goes round with radius r: ω·r.
        let speed_mps = row[5..8].iter().map(|v| v * v).sum::<f64>().sqrt();
        let truth_mps = sample.gyro_s_radps.y * planar::KNOB_RADIUS_M;
        assert!((speed_mps - truth_mps).abs() < 0.1, "{row:?}: {truth_mps}");
    }
    let moving = |from_s: f64, to_s: f64| {
        let within = rows.iter().filter(move |row| (from_s..to_s).contains(&row[0]));
        within.map(|row| row[8]).collect::<Vec<_>>()
    };
    // Where a rest goes over into a turn, a sample that might be either counts as moving.
    assert!(moving(0.3, 1.4).iter().all(|&moving| moving == 0.0));
    assert!(moving(planar::BEGINS_S + 0.05, planar::CONTACT_S + 0.3).iter().all(|&moving| moving == 1.0));
}

#[test]
fn a_track_is_not_written_over_its_own_recording_nor_when_there_is_none() {
    let folder = swing("no-track");
    let over = folder.run(&["track", "swing.csv", "--out", "./swing.csv"]);
    assert!(over.status == 1 && over.err.contains("expected another file"), "{}", over.err);
    let none = folder.run(&["track", "none.csv", "--out", "track.csv"]);
    assert!(none.status == 1 && none.err.starts_with("none.csv: "), "{}", none.err);
    let nowhere = folder.run(&["track", "swing.csv", "--out", "no/track.csv"]);
    assert!(nowhere.status == 1 && nowhere.err.starts_with("no/track.csv: "), "{}", nowhere.err);
    assert!([over, none, nowhere].iter().all(|ran| ran.err.lines().count() == 1));
    assert_eq!(folder.files(), ["swing.csv", "swing.toml"]);
}

#[test]
fn the_demo_writes_a_page_and_a_picture_and_prints_the_table() {
    let folder = Folder::new("demo");
    let ran = folder.run(&["demo", "--no-open", "--once", "--speed", "500", "--out", "shown"]);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""));
    // Live lines first, then the table of the recording that was made.
    let told = |words: &str| ran.out.lines().position(|line| line.contains(words));
    let (first, last, table) =
        (told("swing 1   streaming"), told("swing 8   final"), told("-lesson.mcap: 128.5 s at 1000 Hz"));
    assert!(first.is_some() && first < last && last < table, "{}", ran.out);
    assert!(folder.read("shown/lesson.html").starts_with("<!DOCTYPE html>"));
    assert!(folder.read("shown/lesson.svg").starts_with("<svg"));
}
