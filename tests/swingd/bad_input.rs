//! Input that is wrong, poor or hostile: one clear line or a flag; never a panic, never a silent number.

use crate::support::{Folder, HEADER, Ran, csv, planar};
use nalgebra::Vector3;
use serde_json::Value;
use swingd::engine::sample::Sample;

/// `swingd replay --json` of one file.
fn replayed(name: &str, recording: impl AsRef<[u8]>, profile: Option<&str>) -> Ran {
    let folder = Folder::new(name);
    folder.write("a.csv", recording);
    if let Some(profile) = profile {
        folder.write("a.toml", profile);
    }
    folder.run(&["replay", "--json", "a.csv"])
}

/// The one document of a file that could be read.
fn read(name: &str, samples: &[Sample], profile: &str) -> Value {
    let ran = replayed(name, csv(samples), Some(profile));
    assert_eq!((ran.status, ran.err.as_str()), (0, ""), "{name}");
    ran.documents().remove(0)
}

fn assert_refused(name: &str, ran: &Ran, told: &str) {
    assert_eq!((ran.status, ran.out.as_str()), (1, ""), "{name}");
    assert_eq!(ran.err.lines().count(), 1, "{name}: {}", ran.err);
    assert!(ran.err.starts_with(told), "{name}: {}", ran.err);
    assert!(ran.err.contains("expected"), "{name}: {}", ran.err);
}

fn flags(swing: &Value) -> Vec<&str> {
    let flags = swing["flags"].as_array().unwrap();
    flags.iter().map(|flag| flag.as_str().unwrap()).collect()
}

#[test]
fn what_is_no_recording_is_refused_in_one_line() {
    let header_only = format!("{HEADER}\n");
    let no_number = format!("{HEADER}\na,b,c,d,e,f,g\n");
    let garbage: Vec<u8> = (0..200_000_u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let cases: [(&str, &[u8], &str); 8] = [
        ("empty", b"", "a.csv: line 1: the file is empty"),
        ("header-only", header_only.as_bytes(), "a.csv: line 2: there is no row"),
        ("no-number", no_number.as_bytes(), "a.csv: line 2: none of the 1 rows"),
        ("prose", b"A bat is a piece of wood.\n", "a.csv: line 1: "),
        ("columns", b"t_s,x,y\n0,1,2\n", "a.csv: line 1: the column `gyro_x_radps` is missing"),
        ("garbage", &garbage, "a.csv: line 1: this is not CSV"),
        ("zeros", &[0; 300_000], "a.csv: line 1: "),
        ("cut-mcap", b"\x89MCAP0\r\n", "a.csv: record 1: "),
    ];
    for (name, bytes, told) in cases {
        assert_refused(name, &replayed(name, bytes, None), told);
    }
}

#[test]
fn a_file_that_is_not_there_does_not_keep_the_others_from_being_reported() {
    let folder = Folder::new("missing");
    folder.write("a.csv", csv(&planar::samples()));
    let ran = folder.run(&["replay", "--json", "none.csv", "a.csv", "."]);
    assert_eq!(ran.status, 1);
    assert_eq!(ran.documents().len(), 1);
    let lines: Vec<_> = ran.err.lines().collect();
    assert!(lines.len() == 2 && lines[0].starts_with("none.csv: ") && lines[1].starts_with(".: "), "{lines:?}");
}

#[test]
fn a_profile_of_impossible_values_is_refused_with_its_line() {
    let recording = csv(&planar::samples()[..100]);
    for (name, profile) in [
        ("long-bat", "[bat]\nlength_m = 5.0\n"),
        ("negative-range", "[sensor]\ngyro_range_radps = -1.0\n"),
        ("no-quaternion", "[mount]\nquaternion_wxyz = [0.0, 0.0, 0.0, 0.0]\n"),
        ("nan", "[sensor]\naccel_bias_mps2 = nan\n"),
        ("infinite", "[swing]\npitch_speed_mps = inf\n"),
        ("text", "[bat]\nmass_kg = \"heavy\"\n"),
        ("side", "[swing]\nside = \"both\"\n"),
        ("three", "[mount]\noffset_m = [0.0, 0.0]\n"),
        ("no-toml", "[bat\nlength_m = \n"),
    ] {
        let ran = replayed(name, &recording, Some(profile));
        assert_refused(name, &ran, "a.toml: line ");
    }
}

#[test]
fn bad_rows_are_told_by_line_and_move_nothing() {
    let good = csv(&planar::samples());
    let mut lines: Vec<&str> = good.lines().collect();
    lines.insert(10, "0.0085,nan,0,0,0,9.8,0");
    lines.insert(20, "0.0175,0,0,inf,0,9.8,0");
    lines.insert(30, "0.0001,0,0,0,0,9.8,0");
    lines.insert(40, "0.0365,0,x,0,0,9.8,0");
    lines.insert(50, "0.0455,0,0");
    let with_bad = lines.join("\n") + "\n";
    let (clean, ran) =
        (replayed("good-rows", &good, Some(planar::PROFILE)), replayed("bad-rows", &with_bad, Some(planar::PROFILE)));
    assert_eq!(ran.status, 0);
    assert_eq!(ran.documents(), clean.documents());
    let told: Vec<_> = ran.err.lines().map(|line| line.split(": ").take(2).collect::<Vec<_>>().join(": ")).collect();
    assert_eq!(told, [11, 21, 31, 41, 51].map(|line| format!("a.csv: line {line}")));
}

#[test]
fn time_that_runs_backwards_leaves_one_sample_and_no_swing() {
    let mut samples = planar::samples();
    samples.reverse();
    let ran = replayed("backwards", csv(&samples), Some(planar::PROFILE));
    assert_eq!(ran.status, 0);
    assert_eq!(ran.documents()[0]["recording"]["samples"], 1);
    assert_eq!(ran.documents()[0]["swings"], Value::Array(Vec::new()));
    assert_eq!(ran.err.lines().count(), 11);
    assert!(ran.err.lines().last().unwrap().contains(&format!("{} more", samples.len() - 11)));
}

/// A bat that is never still: the swing is there, and says so.
#[test]
fn a_swing_without_a_rest_before_it_is_flagged() {
    let stir = |sample: &Sample| {
        let phase = sample.time.0 * 12.0;
        Sample { gyro_s_radps: sample.gyro_s_radps + Vector3::new(phase.sin(), 0.0, phase.cos()), ..*sample }
    };
    let samples: Vec<Sample> = planar::samples().iter().map(stir).collect();
    let document = read("no-rest", &samples, planar::PROFILE);
    let swings = document["swings"].as_array().unwrap();
    assert_eq!(swings.len(), 1);
    assert!(swings.iter().all(|swing| flags(swing).contains(&"no_rest")), "{document}");
}

#[test]
fn a_swing_seen_at_a_low_rate_is_flagged() {
    for step in [5, 10, 50, 200] {
        let samples: Vec<Sample> = planar::samples().into_iter().step_by(step).collect();
        let document = read(&format!("slow-{step}"), &samples, planar::PROFILE);
        let swings = document["swings"].as_array().unwrap();
        // At 5 Hz the whole swing falls between two samples.
        assert_eq!(swings.len(), usize::from(step < 200), "{step}");
        assert!(swings.iter().all(|swing| flags(swing).contains(&"low_rate")), "{step}: {document}");
    }
}

#[test]
fn a_swing_beyond_the_ranges_is_flagged() {
    let profile = planar::PROFILE
        .replace("gyro_range_radps = 69.8", "gyro_range_radps = 30.0")
        .replace("accel_range_mps2 = 4000.0", "accel_range_mps2 = 100.0");
    let clip = |sample: &Sample| Sample {
        gyro_s_radps: sample.gyro_s_radps.map(|x| x.clamp(-30.0, 30.0)),
        accel_s_mps2: sample.accel_s_mps2.map(|x| x.clamp(-100.0, 100.0)),
        ..*sample
    };
    let samples: Vec<Sample> = planar::samples().iter().map(clip).collect();
    let document = read("clipped", &samples, &profile);
    let swings = document["swings"].as_array().unwrap();
    assert_eq!(swings.len(), 1);
    let clipped = |swing: &Value| flags(swing).contains(&"gyro_clipped") && flags(swing).contains(&"accel_clipped");
    assert!(swings.iter().all(clipped), "{document}");
}

#[test]
fn where_all_is_clipped_or_missing_there_is_no_swing() {
    let profile = "[sensor]\ngyro_range_radps = 34.0\naccel_range_mps2 = 156.0\n";
    let clipped: Vec<Sample> = planar::samples()
        .iter()
        .map(|sample| Sample { gyro_s_radps: Vector3::repeat(34.0), accel_s_mps2: Vector3::repeat(-156.0), ..*sample })
        .collect();
    let empty: String = (0..3000).map(|k| format!("{},,,,,,\n", f64::from(k) / 1e3)).collect();
    let documents = [
        replayed("all-clipped", csv(&clipped), Some(profile)),
        replayed("all-empty", format!("{HEADER}\n{empty}"), Some(profile)),
    ];
    for ran in documents {
        assert_eq!((ran.status, ran.err.as_str()), (0, ""));
        assert_eq!(ran.documents()[0]["swings"], Value::Array(Vec::new()));
    }
}

#[test]
fn a_track_of_poor_input_is_finite_or_refused() {
    let folder = Folder::new("poor-track");
    let empty: String = (0..3000).map(|k| format!("{},,,,,,\n", f64::from(k) / 1e3)).collect();
    folder.write("empty.csv", format!("{HEADER}\n{empty}"));
    folder.write("one.csv", format!("{HEADER}\n0,0,0,0,0,0,9.8\n"));
    folder
        .write("huge.csv", format!("{HEADER}\n0,1e300,0,0,0,0,9.8\n1e-9,1,1e308,-1e308,0,0,9.8\n1e12,0,0,0,0,0,9.8\n"));
    for (name, rows) in [("empty", 3000), ("one", 1), ("huge", 3)] {
        let ran = folder.run(&["track", &format!("{name}.csv"), "--out", "track.csv"]);
        if ran.status == 1 {
            assert!(ran.err.contains("expected") && ran.err.lines().count() == 1, "{name}: {}", ran.err);
            continue;
        }
        assert_eq!((ran.status, ran.err.as_str()), (0, ""), "{name}");
        let text = folder.read("track.csv");
        assert_eq!(text.lines().count(), rows + 1, "{name}");
        let cells = text.lines().skip(1).flat_map(|row| row.split(','));
        assert!(cells.map(|cell| cell.parse::<f64>().unwrap()).all(f64::is_finite), "{name}: {text}");
    }
}
