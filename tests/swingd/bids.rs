//! The bundled lesson as a BIDS data set: held to the rules by this test itself, and to the validator of the standard's
//! makers where `BIDS_VALIDATOR` names it (see tests/tools/bids_validate.sh).

use crate::support::Folder;
use serde_json::Value as Json;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use swingd::engine::sample::Sample;
use swingd::engine::session::{Session as Replay, Told};
use swingd::engine::swing::Swing;
use swingd::engine::wire::mcap::{Entry, McapEntries};
use swingd::report::bids::{
    About, Bats, BidsWriter, Label, PIECE_BYTES, Participant, Reading, Run, RunCounts, Session, SessionKind, Sink,
    swings,
};

/// 2025-11-25T16:10:18.123456789Z.
const START_UTC_NS: i64 = 1_764_087_018_123_456_789;

/// Files below a folder.
struct InFolder<'a> {
    root: &'a Path,
    file: Option<std::fs::File>,
    longest_piece: usize,
}

impl Sink for InFolder<'_> {
    fn begin(&mut self, path: &str) -> std::io::Result<()> {
        assert!(self.file.is_none(), "the file before {path} was not ended");
        let path = self.root.join(path);
        std::fs::create_dir_all(path.parent().unwrap())?;
        self.file = Some(std::fs::File::create_new(path)?);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        self.longest_piece = self.longest_piece.max(bytes.len());
        self.file.as_mut().unwrap().write_all(bytes)
    }

    fn end(&mut self) -> std::io::Result<()> {
        assert!(self.file.take().is_some());
        Ok(())
    }
}

/// The lesson's samples and the last word on each of its swings.
fn lesson() -> &'static (Vec<Sample>, Vec<Swing>) {
    static LESSON: OnceLock<(Vec<Sample>, Vec<Swing>)> = OnceLock::new();
    LESSON.get_or_init(read_lesson)
}

fn read_lesson() -> (Vec<Sample>, Vec<Swing>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let mut entries = McapEntries::new(std::fs::File::open(path).unwrap());
    let (mut samples, mut told, mut replay) = (Vec::new(), Vec::new(), Replay::new());
    while let Some(entry) = entries.next_entry().unwrap() {
        told.extend(replay.take(&entry));
        if let Entry::Samples { samples: more, .. } = entry {
            samples.extend(more);
        }
    }
    told.extend(replay.finish());
    let mut swings = BTreeMap::new();
    for told in told {
        if let Told::Swing(told) = told {
            swings.insert(told.number, told.swing);
        }
    }
    (samples, swings.into_values().collect())
}

/// A lesson of two recordings, the first of so many samples, the second with a gap of 40 samples and no swing, and a practice.
fn write_data_set(root: &Path, most: usize) -> Vec<RunCounts> {
    let (samples, told) = lesson();
    let events: Vec<_> = told.iter().map(swings::event).collect();
    let about = About { name: "Swings of one athlete".into(), authors: vec!["The cage".into()], license: None };
    let sink = InFolder { root, file: None, longest_piece: 0 };
    let mut data_set = BidsWriter::new(sink, &about, swings::columns()).unwrap();
    let label = Label::of_id("019ab3c4-7d10-7a5e-8123-9f00aa55ee77").unwrap();
    let person =
        Participant { age_years: Participant::age_in(2025, 2010), bats: Some(Bats::Left), ..Participant::new(label) };
    let mut participant = data_set.participant(&person).unwrap();
    let run = Run { sampling_frequency_hz: 1000.0, start_utc_ns: Some(START_UTC_NS), ..Run::default() };
    let session =
        |label: &str, kind| Session { label: Label::new(label).unwrap(), kind, start_utc_ns: run.start_utc_ns };
    let mut all = Vec::new();

    let mut lesson = participant.session(&session("lesson1", SessionKind::Lesson)).unwrap();
    all.push(lesson.run(&run, samples.iter().take(most).map(Reading::from), &events).unwrap());
    let with_gap = samples[..200].iter().chain(&samples[240..2000]).map(Reading::from);
    all.push(lesson.run(&Run { start_utc_ns: None, ..run.clone() }, with_gap, &[]).unwrap());
    lesson.finish().unwrap();
    let mut practice = participant.session(&session("practice1", SessionKind::Practice)).unwrap();
    let with_hi = samples[..500].iter().enumerate().map(|(k, sample)| Reading {
        accel_hi_mps2: (k % 2 == 0).then_some([1.5, -2.0, f64::NAN]),
        ..Reading::from(sample)
    });
    all.push(practice.run(&Run { has_accel_hi: true, ..run.clone() }, with_hi, &events[..1]).unwrap());
    practice.finish().unwrap();
    participant.finish().unwrap();
    let sink = data_set.finish().unwrap();
    assert!(sink.longest_piece < PIECE_BYTES + 1024, "{}", sink.longest_piece);
    all
}

/// As many as are enough where the samples do not matter.
const FEW: usize = 300;

const LESSON: &str = "sub-9f00aa55ee77/ses-lesson1/motion/sub-9f00aa55ee77_ses-lesson1_task-batting_tracksys-imu";
const PRACTICE: &str = "sub-9f00aa55ee77/ses-practice1/motion/sub-9f00aa55ee77_ses-practice1_task-batting_tracksys-imu";

fn files(root: &Path) -> BTreeSet<String> {
    let (mut found, mut folders) = (BTreeSet::new(), vec![root.to_owned()]);
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => folders.push(path),
                false => drop(found.insert(path.strip_prefix(root).unwrap().to_str().unwrap().to_owned())),
            }
        }
    }
    found
}

/// Rows of cells; every row has as many as the first.
fn table(root: &Path, path: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(root.join(path)).unwrap();
    assert!(text.ends_with('\n') && !text.contains('\r'), "{path}");
    let rows: Vec<Vec<String>> = text.lines().map(|line| line.split('\t').map(str::to_owned).collect()).collect();
    assert!(rows.iter().all(|row| row.len() == rows[0].len() && row.iter().all(|cell| !cell.is_empty())), "{path}");
    rows
}

fn json(root: &Path, path: &str) -> Json {
    serde_json::from_str(&std::fs::read_to_string(root.join(path)).unwrap()).unwrap()
}

fn column(rows: &[Vec<String>], name: &str) -> Vec<String> {
    let at = rows[0].iter().position(|cell| cell == name).unwrap_or_else(|| panic!("no column {name}"));
    rows[1..].iter().map(|row| row[at].clone()).collect()
}

#[test]
fn every_file_has_its_name_and_place() {
    let folder = Folder::new("bids-names");
    write_data_set(folder.as_ref(), FEW);
    let mut expected: BTreeSet<String> =
        ["dataset_description.json", "README", "participants.tsv", "participants.json"]
            .into_iter()
            .chain(["task-batting_events.json", "task-batting_tracksys-imu_channels.json"])
            .chain([
                "sub-9f00aa55ee77/sub-9f00aa55ee77_sessions.tsv",
                "sub-9f00aa55ee77/sub-9f00aa55ee77_sessions.json",
            ])
            .map(str::to_owned)
            .collect();
    for run in [format!("{LESSON}_run-01"), format!("{LESSON}_run-02"), format!("{PRACTICE}_run-01")] {
        expected.extend(["motion.tsv", "motion.json", "channels.tsv", "events.tsv"].map(|end| format!("{run}_{end}")));
    }
    for session in ["lesson1", "practice1"] {
        expected.insert(format!("sub-9f00aa55ee77/ses-{session}/sub-9f00aa55ee77_ses-{session}_scans.tsv"));
    }
    assert_eq!(files(folder.as_ref()), expected);
}

/// What of the rules of BIDS that matter here a data set breaks.
fn broken_rules(root: &Path) -> Vec<String> {
    let all = files(root);
    let mut broken = Vec::new();
    let mut hold = |is_held: bool, what: String| broken.extend((!is_held).then_some(what));
    for needed in ["dataset_description.json", "README", "participants.tsv"] {
        hold(all.contains(needed), format!("{needed} is missing"));
    }
    for name in &all {
        hold(is_named_well(name), format!("{name}: no such name"));
    }
    let listed = all.contains("participants.tsv").then(|| column(&table(root, "participants.tsv"), "participant_id"));
    let subjects: BTreeSet<_> = all.iter().filter_map(|name| name.strip_prefix("sub-")?.split_once('/')).collect();
    for (subject, _) in subjects {
        let id = format!("sub-{subject}");
        hold(listed.as_ref().is_some_and(|listed| listed.contains(&id)), format!("{id} is not listed"));
    }
    for scans in all.iter().filter(|name| name.ends_with("_scans.tsv")) {
        let folder = scans.rsplit_once('/').unwrap().0;
        for name in column(&table(root, scans), "filename") {
            hold(all.contains(&format!("{folder}/{name}")), format!("{name} is not there"));
        }
    }
    for run in all.iter().filter_map(|name| name.strip_suffix("_motion.json")) {
        broken.extend(broken_rules_of_run(root, run));
    }
    broken
}

/// `sub-…/ses-…/motion/sub-…_ses-…_task-…_tracksys-…_run-…_SUFFIX`, and what stands above it.
fn is_named_well(name: &str) -> bool {
    let label = |text: &str, key: &str| {
        let label = text.strip_prefix(key).and_then(|rest| rest.strip_prefix('-')).unwrap_or_default();
        !label.is_empty() && label.bytes().all(|b| b.is_ascii_alphanumeric())
    };
    let parts: Vec<&str> = name.split('/').collect();
    let entities: Vec<&str> = parts.last().unwrap().split('_').collect();
    match (&parts[..], &entities[..]) {
        ([_], ["README" | "dataset" | "participants.tsv" | "participants.json", ..]) => true,
        ([_], ["task-batting", "events.json"] | ["task-batting", "tracksys-imu", "channels.json"]) => true,
        ([folder, _], [subject, "sessions.tsv" | "sessions.json"]) => folder == subject && label(subject, "sub"),
        ([a, b, _], [subject, session, "scans.tsv"]) => a == subject && b == session && label(session, "ses"),
        ([a, b, "motion", _], [subject, session, "task-batting", "tracksys-imu", run, suffix]) => {
            let suffixes = ["motion.tsv", "motion.json", "channels.tsv", "events.tsv"];
            a == subject && b == session && label(run, "run") && suffixes.contains(suffix)
        }
        _ => false,
    }
}

fn broken_rules_of_run(root: &Path, run: &str) -> Vec<String> {
    let [motion, channels, events] = ["motion", "channels", "events"].map(|suffix| format!("{run}_{suffix}.tsv"));
    if [&motion, &channels, &events].into_iter().any(|path| !root.join(path).exists()) {
        return vec![format!("{run}: a table is missing")];
    }
    let mut broken = Vec::new();
    let mut hold = |is_held: bool, what: String| broken.extend((!is_held).then(|| format!("{run}: {what}")));
    let channels = table(root, &channels);
    let head = ["name", "component", "type", "tracked_point", "units"];
    if channels[0][..5] != head {
        return vec![format!("{run}: the columns are {:?}", channels[0])];
    }
    let sidecar = json(root, &format!("{run}_motion.json"));
    let units =
        |kind: &str| [("GYRO", "rad/s"), ("ACCEL", "m/s^2"), ("LATENCY", "s")].into_iter().find(|it| it.0 == kind);
    for row in &channels[1..] {
        hold(units(&row[2]).is_some_and(|(_, units)| units == row[4]), format!("{row:?}"));
        let has_axis = ["x", "y", "z"].contains(&row[1].as_str()) && row[0].ends_with(&row[1]);
        hold(has_axis || (row[2] == "LATENCY" && row[1] == "n/a"), format!("{row:?}"));
    }
    for kind in ["ACCEL", "GYRO", "LATENCY"] {
        let count = column(&channels, "type").iter().filter(|found| *found == kind).count();
        hold(sidecar[format!("{kind}ChannelCount")] == count, format!("{count} channels of {kind}"));
    }
    hold(sidecar["MotionChannelCount"] == channels.len() - 1, "channels miscounted".into());
    hold(sidecar["SamplingFrequency"].as_f64().is_some_and(|hz| hz > 0.0), "no sampling frequency".into());
    hold(sidecar["TaskName"] == "batting", "no task name".into());
    let text = std::fs::read_to_string(root.join(motion)).unwrap();
    let is_number = |cell: &str| cell == "n/a" || cell.parse::<f64>().is_ok();
    let is_whole = |line: &str| line.split('\t').count() == channels.len() - 1 && line.split('\t').all(is_number);
    hold(text.lines().all(is_whole), "a row of samples is no row of numbers".into());
    let events = table(root, &events);
    let described = json(root, "task-batting_events.json");
    hold(events[0].iter().all(|name| described[name].is_object()), format!("{:?} are not described", events[0]));
    let times = events[1..].iter().all(|row| row[0].parse::<f64>().is_ok() && row[1].parse::<f64>().is_ok());
    hold(times, "an event has no time".into());
    broken
}

#[test]
fn columns_rows_and_keys_agree_with_each_other_and_with_the_lesson() {
    let folder = Folder::new("bids-rules");
    let root: &Path = folder.as_ref();
    let (samples, swings) = lesson();
    let counts = write_data_set(root, samples.len());
    assert_eq!(broken_rules(root), Vec::<String>::new());
    let runs = [format!("{LESSON}_run-01"), format!("{LESSON}_run-02"), format!("{PRACTICE}_run-01")];
    for (run, counts) in runs.iter().zip(&counts) {
        assert_eq!(table(root, &format!("{run}_motion.tsv")).len() as u64, counts.samples);
        assert_eq!(table(root, &format!("{run}_events.tsv")).len() as u64 - 1, counts.events);
        let sidecar = json(root, &format!("{run}_motion.json"));
        assert_eq!((sidecar["GapCount"].as_u64(), sidecar["MissingValues"].as_str()), (Some(counts.gaps), Some("n/a")));
    }
    assert_eq!([counts[0].samples, counts[1].samples, counts[2].samples], [samples.len() as u64, 1960, 500]);
    assert_eq!([counts[0].events, counts[1].events, counts[2].events], [swings.len() as u64, 0, 1]);
    let scans = table(root, "sub-9f00aa55ee77/ses-lesson1/sub-9f00aa55ee77_ses-lesson1_scans.tsv");
    assert_eq!(column(&scans, "acq_time"), ["2025-11-25T16:10:18.123456Z", "n/a"]);
    let scanned = column(&scans, "filename").into_iter().map(|it| format!("sub-9f00aa55ee77/ses-lesson1/{it}"));
    assert!(scanned.into_iter().eq([1, 2].map(|k| format!("{LESSON}_run-0{k}_motion.tsv"))));
}

/// The numbers read back are those of the samples and swings, to the bit but for times, which have microseconds.
#[test]
fn what_is_read_back_is_what_was_measured() {
    let folder = Folder::new("bids-numbers");
    let root: &Path = folder.as_ref();
    let (samples, swings) = lesson();
    write_data_set(root, samples.len());
    let motion = table(root, &format!("{LESSON}_run-01_motion.tsv"));
    for (row, sample) in motion.iter().zip(samples) {
        let numbers: Vec<f64> = row.iter().map(|cell| cell.parse().unwrap()).collect();
        assert!((numbers[0] - (sample.time.0 - samples[0].time.0)).abs() < 0.6e-6, "{row:?}");
        let values = sample.gyro_s_radps.iter().chain(&sample.accel_s_mps2);
        assert!(numbers[1..].iter().eq(values), "{row:?}");
    }
    let events = table(root, &format!("{LESSON}_run-01_events.tsv"));
    let onsets = column(&events, "onset");
    for ((k, swing), onset) in swings.iter().enumerate().zip(&onsets) {
        let (onset_s, duration_s): (f64, f64) =
            (onset.parse().unwrap(), column(&events, "duration")[k].parse().unwrap());
        let contact_s = onset_s + duration_s + samples[0].time.0;
        assert!((contact_s - swing.contact.0).abs() < 1.2e-6, "{contact_s} {swing:?}");
        let speed = swing.metrics[0].map_or("n/a".into(), |estimate| estimate.value.to_string());
        assert_eq!(column(&events, "bat_speed_mps")[k], speed);
    }
    let kinds = column(&events, "trial_type");
    assert_eq!(kinds.iter().filter(|kind| *kind == "swing_ball").count(), 6);
    assert_eq!(kinds.iter().filter(|kind| *kind == "swing_none").count(), 2);
    // A gap of 40 samples: no rows, and the latency leaps.
    let motion = table(root, &format!("{LESSON}_run-02_motion.tsv"));
    assert_eq!((motion[199][0].as_str(), motion[200][0].as_str()), ("0.199000", "0.240000"));
    let sidecar = json(root, &format!("{LESSON}_run-02_motion.json"));
    assert_eq!(sidecar["GapCount"], 1);
    assert!((sidecar["SamplingFrequencyEffective"].as_f64().unwrap() - 1000.0).abs() < 1.0, "{sidecar}");
    let motion = table(root, &format!("{PRACTICE}_run-01_motion.tsv"));
    assert_eq!(
        (&motion[0][7..], &motion[1][7..]),
        (&["1.5", "-2", "n/a"].map(String::from)[..], &["n/a"; 3].map(String::from)[..])
    );
}

/// The validator, if there is one.
fn validator() -> Option<PathBuf> {
    let named = std::env::var_os("BIDS_VALIDATOR").map(PathBuf::from);
    if named.is_none() {
        println!("BIDS_VALIDATOR names no validator: not run");
    }
    named
}

/// The codes of the errors that the validator finds, and whether it says that the data set is valid.
fn validated(validator: &Path, root: &Path) -> (bool, BTreeSet<String>) {
    let mut command = Command::new(validator);
    let ran = command.args(["--format", "json", "--max-rows", "-1"]).arg(root).output().unwrap();
    let told: Json = serde_json::from_slice(&ran.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&ran.stderr)));
    let issues = told["issues"]["issues"].as_array().unwrap();
    let errors = issues.iter().filter(|issue| issue["severity"] == "error");
    (ran.status.success(), errors.map(|issue| issue["code"].as_str().unwrap().to_owned()).collect())
}

fn edit(root: &Path, path: &str, change: impl FnOnce(String) -> String) {
    let text = std::fs::read_to_string(root.join(path)).unwrap();
    let changed = change(text.clone());
    assert_ne!(text, changed, "{path}");
    std::fs::write(root.join(path), changed).unwrap();
}

/// A way to break a data set, and what the validator 3.0.2 (schema 1.2.7) tells of it: one of these codes, or nothing.
struct Breakage {
    what: &'static str,
    codes: &'static [&'static str],
    harm: fn(&Path),
}

const SIDECAR: &str = "_run-01_motion.json";

const BREAKAGES: &[Breakage] = &[
    Breakage {
        what: "no sampling frequency",
        codes: &["SIDECAR_KEY_REQUIRED"],
        harm: |root| {
            edit(root, &format!("{LESSON}{SIDECAR}"), |text| text.replace("\"SamplingFrequency\"", "\"Frequency\""))
        },
    },
    Breakage {
        what: "no task name",
        codes: &["SIDECAR_KEY_REQUIRED"],
        harm: |root| edit(root, &format!("{LESSON}{SIDECAR}"), |text| text.replace("\"TaskName\"", "\"Task\"")),
    },
    Breakage {
        what: "a sampling frequency that is text",
        codes: &["JSON_SCHEMA_VALIDATION_ERROR"],
        harm: |root| edit(root, &format!("{LESSON}{SIDECAR}"), |text| text.replace("1000.0", "\"fast\"")),
    },
    Breakage {
        what: "a channel too few",
        codes: &["TSV_EQUAL_ROWS"],
        harm: |root| {
            let without = |text: String| {
                text.lines()
                    .filter(|line| !line.starts_with("accel_z"))
                    .fold(String::new(), |all, line| all + line + "\n")
            };
            edit(root, &format!("{LESSON}_run-01_channels.tsv"), without);
        },
    },
    Breakage {
        what: "a kind of channel that there is not",
        codes: &["TSV_VALUE_INCORRECT_TYPE"],
        harm: |root| edit(root, &format!("{LESSON}_run-01_channels.tsv"), |text| text.replace("GYRO", "GYROSCOPE")),
    },
    Breakage {
        what: "a required column missing",
        codes: &["TSV_COLUMN_MISSING"],
        harm: |root| {
            edit(root, &format!("{LESSON}_run-01_channels.tsv"), |text| text.replace("tracked_point", "point"))
        },
    },
    Breakage {
        what: "a file name without the tracking system",
        codes: &["MISSING_REQUIRED_ENTITY", "NOT_INCLUDED"],
        harm: |root| {
            let bad = format!("{LESSON}_run-01_motion.tsv").replace("_tracksys-imu", "");
            std::fs::rename(root.join(format!("{LESSON}_run-01_motion.tsv")), root.join(bad)).unwrap();
        },
    },
    Breakage {
        what: "a recording that is not there",
        codes: &["SCANS_FILENAME_NOT_MATCH_DATASET"],
        harm: |root| std::fs::remove_file(root.join(format!("{LESSON}_run-02_motion.tsv"))).unwrap(),
    },
    Breakage {
        what: "no description of the data set",
        codes: &["MISSING_DATASET_DESCRIPTION"],
        harm: |root| std::fs::remove_file(root.join("dataset_description.json")).unwrap(),
    },
    Breakage {
        what: "an onset that is no number",
        codes: &["TSV_VALUE_INCORRECT_TYPE"],
        harm: |root| {
            edit(root, &format!("{PRACTICE}_run-01_events.tsv"), |text| text.replace("\tswing_", " s\tswing_"))
        },
    },
    Breakage {
        what: "a participant who is not listed",
        codes: &["PARTICIPANT_ID_MISMATCH"],
        harm: |root| edit(root, "participants.tsv", |text| text.replace("sub-9f00aa55ee77", "sub-other")),
    },
    Breakage {
        what: "another unit",
        codes: &[],
        harm: |root| edit(root, &format!("{LESSON}_run-01_channels.tsv"), |text| text.replace("rad/s", "furlong")),
    },
    Breakage {
        what: "a sampling frequency below zero",
        codes: &[],
        harm: |root| {
            edit(root, &format!("{LESSON}{SIDECAR}"), |text| {
                text.replace("\"SamplingFrequency\": 1", "\"SamplingFrequency\": -1")
            })
        },
    },
    Breakage {
        what: "channels miscounted",
        codes: &[],
        harm: |root| {
            edit(root, &format!("{LESSON}{SIDECAR}"), |text| {
                text.replace("\"GYROChannelCount\": 3", "\"GYROChannelCount\": 5")
            })
        },
    },
    Breakage {
        what: "a sample that is no number",
        codes: &[],
        harm: |root| edit(root, &format!("{LESSON}_run-01_motion.tsv"), |text| text.replace("0.004000\t", "soon\t")),
    },
    Breakage {
        what: "a column of events that is not described",
        codes: &[],
        harm: |root| {
            edit(root, &format!("{PRACTICE}_run-01_events.tsv"), |text| text.replace("path_length_m\t", "length\t"))
        },
    },
];

#[test]
fn whatever_is_broken_is_seen_by_this_test() {
    for (k, breakage) in BREAKAGES.iter().enumerate() {
        let folder = Folder::new(&format!("bids-seen-{k}"));
        write_data_set(folder.as_ref(), FEW);
        (breakage.harm)(folder.as_ref());
        assert!(!broken_rules(folder.as_ref()).is_empty(), "{}", breakage.what);
    }
}

#[test]
fn the_validator_passes_the_data_set_and_tells_what_is_broken() {
    let Some(validator) = validator() else { return };
    let folder = Folder::on_disk("bids-valid");
    write_data_set(folder.as_ref(), usize::MAX);
    assert_eq!(validated(&validator, folder.as_ref()), (true, BTreeSet::new()));
    for (k, breakage) in BREAKAGES.iter().enumerate() {
        let folder = Folder::on_disk(&format!("bids-broken-{k}"));
        write_data_set(folder.as_ref(), FEW);
        (breakage.harm)(folder.as_ref());
        let (is_valid, errors) = validated(&validator, folder.as_ref());
        println!("{}: {errors:?}", breakage.what);
        let is_told = breakage.codes.iter().any(|code| errors.contains(*code));
        assert_eq!((is_valid, is_told), (breakage.codes.is_empty(), !breakage.codes.is_empty()), "{}", breakage.what);
    }
}
