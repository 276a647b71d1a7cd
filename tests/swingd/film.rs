//! The sound of a clip, matched with a lesson's swings by the command.

use crate::support::{Folder, Ran};
use serde_json::Value;
use std::io::Cursor;

/// The clip begins so long before the first contact, s.
const LEAD_S: f64 = 3.5;

fn run(folder: &Folder, words: &[&str]) -> Ran {
    let file = folder.path("swingd.toml");
    std::fs::write(&file, "[data]\nfolder = \"kept\"\n[log]\nto_file = false\n[recording]\nnear_full_mb = 1\n")
        .unwrap();
    folder.run_with(words, &[("SWINGD_CONFIG", file.to_str().unwrap()), ("TZ", "UTC")])
}

/// The bundled lesson as practice: its id, and its contacts from the first one on, s, where a ball was met.
fn practice(folder: &Folder) -> (String, Vec<f64>) {
    let file = format!("{}/replay-data/lesson.mcap", env!("CARGO_MANIFEST_DIR"));
    assert_eq!(run(folder, &["athletes", "add", "Wren", "--bats", "right"]).status, 0);
    let words = ["import", &file, "--athlete", "Wren", "--begun", "2026-11-20T18:00:00Z"];
    let imported = run(folder, &words);
    assert_eq!(imported.status, 0, "{}", imported.err);
    let swings = run(folder, &["swings", "--athlete", "Wren", "--json"]).out;
    let page: Value = serde_json::from_str(swings.lines().next().unwrap()).unwrap();
    let items = page["items"].as_array().unwrap();
    let met = items.iter().filter(|item| item["contact"] == "ball");
    let second = |item: &Value| {
        let at: jiff::Timestamp = item["contact_utc"].as_str().unwrap().parse().unwrap();
        at.as_microsecond() as f64 * 1e-6
    };
    let mut times: Vec<f64> = met.map(second).collect();
    times.sort_by(f64::total_cmp);
    let first = times[0];
    (items[0]["lesson_id"].as_str().unwrap().to_owned(), times.iter().map(|at_s| at_s - first).collect())
}

/// Bursts of 3 ms over a faint noise.
fn wav(cracks_s: &[f64]) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let (mut bytes, mut random) = (Cursor::new(Vec::new()), swingd::sim::Random::new(7));
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    let end_s = cracks_s.last().unwrap() + 5.0;
    for at in 0..(end_s * 44_100.0) as usize {
        let at_s = at as f64 / 44_100.0;
        let near = cracks_s.iter().map(|crack_s| at_s - crack_s).filter(|since_s| (0.0..0.05).contains(since_s));
        let loudness: f64 = near.map(|since_s| (-since_s / 3e-3).exp()).sum();
        writer.write_sample((random.between(-1.0, 1.0) * (15_000.0 * loudness + 30.0)) as i16).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

#[test]
fn a_clip_is_matched_with_a_practice() {
    let folder = Folder::new("film");
    let (lesson, contacts_s) = practice(&folder);
    assert!(contacts_s.len() >= 6, "{contacts_s:?}");
    folder.write("clip.wav", wav(&contacts_s.iter().map(|at_s| LEAD_S + at_s).collect::<Vec<_>>()));
    let words = [
        "film",
        "clip.wav",
        "--lesson",
        &lesson,
        "--captions",
        "clip.vtt",
        "--contacts",
        "clip.csv",
        "--units",
        "metric",
    ];
    let ran = run(&folder, &words);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""), "{}", ran.out);
    let all = contacts_s.len();
    assert!(ran.out.contains(&format!("{all} of {all} contacts in the clip have a crack")), "{}", ran.out);
    let captions = folder.read("clip.vtt");
    assert!(captions.starts_with("WEBVTT\n\n") && captions.contains(" m/s"), "{captions}");
    let table = folder.read("clip.csv");
    let times: Vec<f64> = table
        .lines()
        .skip(1)
        .filter(|line| line.contains(",ball,"))
        .map(|line| line.split(',').nth(3).unwrap().parse().unwrap())
        .collect();
    assert_eq!(times.len(), all);
    for (film_s, at_s) in times.iter().zip(&contacts_s) {
        // An onset is taken within half a millisecond of the burst, and contacts are written to the microsecond.
        assert!((film_s - LEAD_S - at_s).abs() < 1e-3, "{film_s} {at_s}");
    }
    let again = run(&folder, &words);
    assert_eq!((again.status, again.err.contains("--force")), (1, true), "{}", again.err);
    folder.write("other.wav", wav(&[1.0, 5.0, 9.5, 21.0]));
    let other = run(&folder, &["film", "other.wav", "--lesson", &lesson]);
    assert_eq!((other.status, other.out.as_str()), (1, ""), "{}", other.err);
    assert!(other.err.starts_with("other.wav: not matched: "), "{}", other.err);
    folder.write("none.wav", "no sound");
    let none = run(&folder, &["film", "none.wav", "--lesson", &lesson]);
    assert!(none.status == 1 && none.err.contains("not a WAV file"), "{}", none.err);
}
