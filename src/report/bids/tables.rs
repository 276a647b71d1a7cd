//! The text of a data set's files.

use super::entity::{About, Bats, EventColumn, Handedness, Participant, Run, SessionKind, Sex, TrialType, Value};
use super::writer::RunCounts;
use super::{BIDS_VERSION, OLDEST_AGE_YEARS, TASK, TRACKING_SYSTEM};
use jiff::Timestamp;
use serde_json::{Map, Value as Json, json};

/// What stands where nothing is known (BIDS, "Tabular files").
pub(super) const MISSING: &str = "n/a";

/// The name of the sensor's own axes, in `*_channels.tsv` and `*_channels.json`.
const FRAME: &str = "sensor";

/// The channels that every recording has, and the three of the second accelerometer: name, component, type, units and
/// description.
const CHANNELS: [[&str; 5]; 10] = [
    ["latency", MISSING, "LATENCY", "s", "Time since the first row on the sensor's own clock"],
    ["gyro_x", "x", "GYRO", "rad/s", "Angular rate as sent"],
    ["gyro_y", "y", "GYRO", "rad/s", "Angular rate as sent"],
    ["gyro_z", "z", "GYRO", "rad/s", "Angular rate as sent"],
    ["accel_x", "x", "ACCEL", "m/s^2", "Specific force as sent"],
    ["accel_y", "y", "ACCEL", "m/s^2", "Specific force as sent"],
    ["accel_z", "z", "ACCEL", "m/s^2", "Specific force as sent"],
    ["accel_hi_x", "x", "ACCEL", "m/s^2", "Specific force by the high-range accelerometer as sent"],
    ["accel_hi_y", "y", "ACCEL", "m/s^2", "Specific force by the high-range accelerometer as sent"],
    ["accel_hi_z", "z", "ACCEL", "m/s^2", "Specific force by the high-range accelerometer as sent"],
];

/// How many channels a recording has.
pub(super) fn channel_count(has_accel_hi: bool) -> usize {
    if has_accel_hi { 10 } else { 7 }
}

pub(super) fn channels_tsv(has_accel_hi: bool) -> String {
    let mut text = "name\tcomponent\ttype\ttracked_point\tunits\tplacement\treference_frame\tdescription\n".to_owned();
    for [name, component, kind, units, description] in CHANNELS.into_iter().take(channel_count(has_accel_hi)) {
        let (point, placement, frame) = match kind {
            "LATENCY" => (MISSING, MISSING, MISSING),
            _ => ("BatKnob", "knob end of the bat", FRAME),
        };
        text += &row([name, component, kind, point, units, placement, frame, description]);
    }
    text
}

pub(super) fn channels_json() -> String {
    let frame = "The sensor's own axes as it sends them. How they lie in the bat depends on its mount.";
    let levels = json!({FRAME: {"RotationRule": "right-hand", "Description": frame}});
    pretty(&json!({"reference_frame": {"LongName": "Reference frame", "Description": "Axes of the channel",
                                       "Levels": levels}}))
}

pub(super) fn motion_json(run: &Run, counts: &RunCounts) -> String {
    let mut keys = json!({
        "TaskName": TASK,
        "TaskDescription": "An athlete swings a bat that has an inertial sensor on its knob; each swing is an event.",
        "SamplingFrequency": run.sampling_frequency_hz,
        "TrackingSystemName": TRACKING_SYSTEM,
        "RecordingDuration": rounded(counts.duration_s),
        "MissingValues": MISSING,
        "SubjectArtefactDescription": MISSING,
        "TrackedPointsCount": 1,
        "MotionChannelCount": channel_count(run.has_accel_hi),
        "ACCELChannelCount": if run.has_accel_hi { 6 } else { 3 },
        "GYROChannelCount": 3,
        "LATENCYChannelCount": 1,
        "GapCount": counts.gaps,
    });
    for other in ["ANGACCEL", "JNTANG", "MAGN", "MISC", "ORNT", "POS", "VEL"] {
        keys[format!("{other}ChannelCount")] = 0.into();
    }
    if let Some(effective_hz) = counts.effective_hz {
        keys["SamplingFrequencyEffective"] = rounded(effective_hz).into();
    }
    let texts = [
        ("Manufacturer", &run.device.manufacturer),
        ("ManufacturersModelName", &run.device.model),
        ("SoftwareVersions", &run.device.firmware),
        ("Instructions", &run.instructions),
    ];
    for (key, text) in texts {
        if let Some(text) = text {
            keys[key] = text.as_str().into();
        }
    }
    pretty(&keys)
}

pub(super) fn events_head(columns: &[EventColumn]) -> String {
    let own = columns.iter().map(|column| column.name.as_str());
    row(["onset", "duration", "trial_type"].into_iter().chain(own))
}

pub(super) fn event_row(onset_s: f64, duration_s: f64, trial_type: TrialType, values: &[Value]) -> String {
    let cells = values.iter().map(|value| match value {
        Value::Missing => MISSING.to_owned(),
        Value::Number(number) => self::number(*number),
        Value::Text(text) => cell(text),
    });
    let first = [number(rounded(onset_s)), number(rounded(duration_s)), trial_type.word().to_owned()];
    row(first.into_iter().chain(cells))
}

pub(super) fn events_json(columns: &[EventColumn]) -> String {
    let levels = TrialType::ALL.iter().map(|kind| (kind.word(), kind.meaning()));
    let mut keys = json!({
        "onset": {"LongName": "Start of the swing", "Description": "Since the first row of the recording",
                  "Units": "s"},
        "duration": {"LongName": "Time to contact", "Description": "From the start of the swing to contact",
                     "Units": "s"},
        "trial_type": {"LongName": "Kind of event", "Description": "What the bat met",
                       "Levels": levels_json(levels)},
    });
    for column in columns {
        let mut told = json!({"LongName": column.long_name, "Description": column.description});
        if let Some(units) = &column.units {
            told["Units"] = units.as_str().into();
        }
        keys[&column.name] = told;
    }
    pretty(&keys)
}

pub(super) fn participants_tsv(participants: &[Participant]) -> String {
    let with_nickname = participants.iter().any(|participant| participant.nickname.is_some());
    let head = ["participant_id", "species", "age", "sex", "handedness", "bats"];
    let mut text = row(head.into_iter().chain(with_nickname.then_some("nickname")));
    for participant in participants {
        let age = participant.age_years.map(|age| age.min(OLDEST_AGE_YEARS).to_string());
        let cells = [
            format!("sub-{}", participant.label.as_str()),
            "homo sapiens".to_owned(),
            age.unwrap_or_else(|| MISSING.to_owned()),
            participant.sex.map_or(MISSING, Sex::word).to_owned(),
            participant.handedness.map_or(MISSING, Handedness::word).to_owned(),
            participant.bats.map_or(MISSING, Bats::word).to_owned(),
        ];
        let nickname = with_nickname.then(|| participant.nickname.as_deref().map_or(MISSING.to_owned(), cell));
        text += &row(cells.into_iter().chain(nickname));
    }
    text
}

pub(super) fn participants_json(with_nickname: bool) -> String {
    let age = format!("Reached in the year of the last session, by the year of birth; at most {OLDEST_AGE_YEARS}");
    let mut keys = json!({
        "age": {"LongName": "Age", "Description": age, "Units": "year"},
        "sex": {"LongName": "Sex", "Description": "As the athlete says",
                "Levels": levels_json(Sex::ALL.iter().map(|it| (it.word(), it.meaning())))},
        "handedness": {"LongName": "Handedness", "Description": "The hand the athlete prefers",
                       "Levels": levels_json(Handedness::ALL.iter().map(|it| (it.word(), it.meaning())))},
        "bats": {"LongName": "Batting side", "Description": "The side of the plate the athlete bats from",
                 "Levels": levels_json(Bats::ALL.iter().map(|it| (it.word(), it.meaning())))},
    });
    if with_nickname {
        keys["nickname"] = json!({"LongName": "Nickname", "Description": "The name the athlete goes by"});
    }
    pretty(&keys)
}

pub(super) fn sessions_json() -> String {
    let levels = levels_json(SessionKind::ALL.iter().map(|kind| (kind.word(), kind.meaning())));
    pretty(&json!({"kind": {"LongName": "Kind of session", "Description": "Lesson or practice", "Levels": levels}}))
}

pub(super) fn dataset_description_json(about: &About) -> String {
    let mut keys = json!({
        "Name": about.name,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "GeneratedBy": [{"Name": "swingd", "Version": env!("CARGO_PKG_VERSION")}],
    });
    if !about.authors.is_empty() {
        keys["Authors"] = about.authors.clone().into();
    }
    if let Some(license) = &about.license {
        keys["License"] = license.as_str().into();
    }
    pretty(&keys)
}

pub(super) const README: &str = include_str!("README.txt");

/// An instant in the form of BIDS ("Units"), to the microsecond; `n/a` where it is not known or beyond the calendar.
pub(super) fn date_time(utc_ns: Option<i64>) -> String {
    let instant = utc_ns.and_then(|ns| Timestamp::from_microsecond(ns.div_euclid(1000)).ok());
    instant.map_or(MISSING.to_owned(), |instant| format!("{instant:.6}"))
}

/// Cells as a line.
pub(super) fn row<C: AsRef<str>>(cells: impl IntoIterator<Item = C>) -> String {
    let mut line = String::new();
    for (k, cell) in cells.into_iter().enumerate() {
        line += if k > 0 { "\t" } else { "" };
        line += cell.as_ref();
    }
    line + "\n"
}

/// A number as it stands in a table.
pub(super) fn number(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { MISSING.to_owned() }
}

/// To six places (a time to the microsecond), without the digits that a difference of two doubles adds.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// Text that is one cell.
fn cell(text: &str) -> String {
    let spaced: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let trimmed = spaced.trim();
    if trimmed.is_empty() { MISSING.to_owned() } else { trimmed.to_owned() }
}

fn levels_json<'a>(levels: impl Iterator<Item = (&'a str, &'a str)>) -> Json {
    Json::Object(levels.map(|(word, meaning)| (word.to_owned(), meaning.into())).collect::<Map<_, _>>())
}

fn pretty(json: &Json) -> String {
    format!("{json:#}\n")
}
