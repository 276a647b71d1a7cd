//! The recordings of an archive as a BIDS data set, below `bids/`: a session a lesson, a run a stretch of a recording.

use super::tables::{value, word};
use super::{ArchiveError, Zip};
use crate::daemon::files::EntrySource;
use crate::daemon::store::queries::archive::{Fields, Theirs};
use crate::engine::intake::{Arrival, Intake};
use crate::engine::metrics::Metric;
use crate::engine::sample::{Sample, SampleClock};
use crate::engine::wire::mcap::Entry;
use crate::report::bids::{
    About, Bats, BidsError, BidsWriter, Event, Label, Participant, Reading, Run, Session, SessionKind, Sink, TrialType,
    Value, swings,
};
use std::collections::{BTreeMap, VecDeque};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use zip::write::SimpleFileOptions;

/// A recording of the archive: its name there, and where a copy of it with only this athlete in it is.
pub struct Own {
    /// The name of the file.
    pub name: String,
    /// The copy.
    pub path: PathBuf,
}

/// A recording, its row, and what is in it.
type Recorded<'a> = (&'a Own, &'a Fields, Vec<Stretch>);

/// Writes the data set; nothing if there is no recording with a sample.
pub fn write(zip: &mut Zip, theirs: &Theirs, own: &[Own]) -> Result<(), ArchiveError> {
    let mut sessions: BTreeMap<String, Vec<Recorded<'_>>> = BTreeMap::new();
    for own in own {
        let Some(row) = theirs.recordings.iter().find(|row| word(row, "file_name") == own.name) else { continue };
        let stretches = survey(&own.path);
        if !stretches.is_empty() {
            sessions.entry(lesson_of(theirs, row)).or_default().push((own, row, stretches));
        }
    }
    if sessions.is_empty() {
        return Ok(());
    }
    let about = About { name: "Swings of one athlete".into(), ..About::default() };
    let mut data_set = BidsWriter::new(InZip(zip), &about, swings::columns())?;
    let mut participant = data_set.participant(&person(theirs)?)?;
    for (lesson, recordings) in &sessions {
        let mut session = participant.session(&session(theirs, lesson)?)?;
        for (own, row, stretches) in recordings {
            let mut readings = Readings::open(&own.path)?;
            for (number, stretch) in stretches.iter().enumerate() {
                let start_us = value(row, "begun_utc_us").and_then(serde_json::Value::as_i64).filter(|_| number == 0);
                let run = Run {
                    sampling_frequency_hz: stretch.rate_hz,
                    has_accel_hi: stretch.has_hi,
                    start_utc_ns: start_us.and_then(|us| us.checked_mul(1000)),
                    ..Run::default()
                };
                session.run(&run, &mut readings, &events(theirs, word(row, "id"), stretch))?;
                readings.go_on();
            }
        }
        session.finish()?;
    }
    participant.finish()?;
    data_set.finish()?;
    Ok(())
}

/// The lesson that most of their swings in a recording are in; without one, the recording.
fn lesson_of(theirs: &Theirs, recording: &Fields) -> String {
    let mut counts: BTreeMap<&str, u32> = BTreeMap::new();
    let within = theirs.swings.iter().filter(|swing| word(swing, "recording_id") == word(recording, "id"));
    within
        .map(|swing| word(swing, "lesson_id"))
        .filter(|id| !id.is_empty())
        .for_each(|id| *counts.entry(id).or_default() += 1);
    let most = counts.iter().max_by_key(|(_, count)| **count).map(|(id, _)| *id);
    most.unwrap_or(word(recording, "id")).to_owned()
}

fn session(theirs: &Theirs, id: &str) -> Result<Session, BidsError> {
    let lesson = theirs.lessons.iter().find(|lesson| word(lesson, "id") == id);
    let recording = theirs.recordings.iter().find(|recording| word(recording, "id") == id);
    let is_practice = lesson.is_some_and(|lesson| word(lesson, "occasion") == "practice")
        || recording.is_some_and(|recording| word(recording, "origin") == "import");
    let begun_us = lesson.or(recording).and_then(|row| value(row, "begun_utc_us")?.as_i64());
    Ok(Session {
        label: Label::of_id(id)?,
        kind: if is_practice { SessionKind::Practice } else { SessionKind::Lesson },
        start_utc_ns: begun_us.and_then(|us| us.checked_mul(1000)),
    })
}

fn person(theirs: &Theirs) -> Result<Participant, BidsError> {
    let born = value(&theirs.athlete, "birth_year").and_then(serde_json::Value::as_i64);
    let last_us = theirs.swings.last().and_then(|swing| value(swing, "contact_utc_us")?.as_i64());
    let year = last_us.and_then(|us| jiff::Timestamp::from_microsecond(us).ok());
    let year = year.map(|at| jiff::tz::Offset::UTC.to_datetime(at).year());
    let age = year.zip(born).and_then(|(year, born)| Participant::age_in(year, i16::try_from(born).ok()?));
    let bats = match word(&theirs.athlete, "bats") {
        "right" => Some(Bats::Right),
        "left" => Some(Bats::Left),
        "both" => Some(Bats::Both),
        _ => None,
    };
    let label = Label::of_id(word(&theirs.athlete, "id"))?;
    Ok(Participant { age_years: age, bats, ..Participant::new(label) })
}

/// The swings of a stretch.
fn events(theirs: &Theirs, recording_id: &str, stretch: &Stretch) -> Vec<Event> {
    let number = |row: &Fields, name: &str| value(row, name).and_then(serde_json::Value::as_f64);
    let is_within = |row: &&Fields| {
        let contact_s = number(row, "contact_s").unwrap_or(f64::NAN);
        word(row, "recording_id") == recording_id && contact_s >= stretch.from_s && contact_s <= stretch.to_s
    };
    let event = |row: &Fields| {
        let (start_s, contact_s) = (number(row, "start_s")?, number(row, "contact_s")?);
        let or_none = |name: &str| number(row, name).map_or(Value::Missing, Value::Number);
        let metrics =
            Metric::ALL.iter().flat_map(|metric| [or_none(metric.key()), or_none(&format!("{}_sigma", metric.key()))]);
        let flags = word(row, "flags").trim_matches(',').to_owned();
        Some(Event {
            onset_s: start_s,
            duration_s: contact_s - start_s,
            trial_type: if word(row, "contact") == "ball" { TrialType::SwingBall } else { TrialType::SwingNone },
            values: std::iter::once(or_none("contact_sigma_s")).chain(metrics).chain([Value::Text(flags)]).collect(),
        })
    };
    theirs.latest.iter().filter(is_within).filter_map(event).collect()
}

/// What stands between two restarts of the sensor.
struct Stretch {
    from_s: f64,
    to_s: f64,
    rate_hz: f64,
    has_hi: bool,
}

/// The stretches of a recording that have a rate. One that cannot be read has those before that place.
fn survey(path: &Path) -> Vec<Stretch> {
    let mut all = Vec::new();
    let Ok(mut readings) = Readings::open(path) else { return all };
    loop {
        let (mut clock, mut last_s, mut has_hi) = (SampleClock::new(), f64::NAN, false);
        for reading in &mut readings {
            clock.push(crate::engine::sample::SensorTime(reading.time_s));
            (last_s, has_hi) = (reading.time_s, has_hi || reading.accel_hi_mps2.is_some());
        }
        if let (Some(from), Some(rate_hz)) = (clock.first(), clock.summary().sample_rate_hz()) {
            all.push(Stretch { from_s: from.0, to_s: last_s, rate_hz, has_hi });
        }
        if !readings.go_on() {
            return all;
        }
    }
}

/// The readings of a recording, up to the next restart of the sensor.
struct Readings {
    entries: EntrySource,
    intake: Intake,
    /// `None` is a restart.
    next: VecDeque<Option<Sample>>,
    has_ended: bool,
}

impl Readings {
    fn open(path: &Path) -> Result<Self, ArchiveError> {
        let entries = EntrySource::open(path).map_err(|error| io::Error::other(error.to_string()))?;
        Ok(Self { entries, intake: Intake::new(), next: VecDeque::new(), has_ended: false })
    }

    /// Past the restart; false if there is nothing more.
    fn go_on(&mut self) -> bool {
        self.for_each(drop);
        self.next.pop_front();
        !(self.has_ended && self.next.is_empty())
    }

    fn read_more(&mut self) {
        let mut arrivals = Vec::new();
        match self.entries.next_entry() {
            Ok(Some(Entry::Samples { samples, .. })) => self.next.extend(samples.into_iter().map(Some)),
            Ok(Some(Entry::Packet(packet))) => self.intake.packet(&packet, &mut arrivals),
            Ok(Some(Entry::Link { link, .. })) => self.intake.link(&link, &mut arrivals),
            Ok(Some(Entry::Device { device, .. })) => drop(self.intake.read_as(&device, &mut arrivals)),
            Ok(Some(_)) => {}
            Ok(None) | Err(_) => {
                self.intake.flush(&mut arrivals);
                self.has_ended = true;
            }
        }
        for arrival in arrivals {
            match arrival {
                Arrival::Samples { samples, .. } => self.next.extend(samples.into_iter().map(Some)),
                Arrival::Anew => self.next.push_back(None),
                Arrival::Exchange { .. } => {}
            }
        }
    }
}

impl Iterator for Readings {
    type Item = Reading;

    fn next(&mut self) -> Option<Reading> {
        while self.next.is_empty() && !self.has_ended {
            self.read_more();
        }
        match self.next.front()? {
            Some(_) => self.next.pop_front().flatten().as_ref().map(Reading::from),
            None => None,
        }
    }
}

struct InZip<'a>(&'a mut Zip);

impl Sink for InZip<'_> {
    fn begin(&mut self, path: &str) -> io::Result<()> {
        let options = SimpleFileOptions::default().large_file(true);
        self.0.start_file(format!("bids/{path}"), options).map_err(io::Error::other)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn end(&mut self) -> io::Result<()> {
        Ok(())
    }
}
