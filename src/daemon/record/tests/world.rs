//! Two athletes who took turns in one recording, one of whom also brought a recording of their own.

use crate::daemon::event_log::EventLog;
use crate::daemon::hub::Hub;
use crate::daemon::record::erase::Eraser;
use crate::daemon::record::steps::Steps;
use crate::daemon::record::{Source, keep};
use crate::daemon::store::queries::{athletes, consents, homework, lessons, recordings};
use crate::daemon::store::rows::*;
use crate::daemon::store::test_store::TestStore;
use crate::daemon::store::{Place, Store};
use crate::engine::Stage;
use crate::engine::sample::{Sample, SensorTime};
use crate::engine::session::ToldSwing;
use crate::engine::wire::mcap::{AtThePlate, Entry, McapEntries, McapWriter};
use crate::report::example;
use nalgebra::Vector3;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use uuid::Uuid;

pub const CAGE: &str = "north";
pub const NOW: UtcMicros = UtcMicros(1_795_623_018_000_000);
/// Words that are of one athlete alone, and those of the other.
pub const WRENS: [&str; 5] = ["Wren-7f3a", "left knee 7f3a", "Robin-7f3a", "wren-home-7f3a", "title-7f3a"];
pub const TERNS: [&str; 5] = ["Tern-91cc", "right wrist 91cc", "Merlin-91cc", "tern-home-91cc", "title-91cc"];
pub const SHARED: &str = "20261125T161018Z-knob.mcap";
/// Each has a quarter of the shared recording, in turns.
pub const SAMPLES: usize = 800;

pub struct World {
    pub test: TestStore,
    pub wren: Uuid,
    pub tern: Uuid,
    pub shared: Uuid,
}

impl World {
    pub async fn new(test: TestStore) -> Self {
        std::fs::create_dir_all(test.folder.join("recordings")).unwrap();
        let (wren, tern) = (Uuid::now_v7(), Uuid::now_v7());
        let shared = recording(SHARED, Origin::Live, None);
        let mut world = Self { test, wren, tern, shared: shared.id };
        let mut changes = world.test.store.write().await.unwrap();
        for (id, words) in [(wren, WRENS), (tern, TERNS)] {
            athletes::insert(&mut changes, &athlete(id, words)).await.unwrap();
            consents::insert(&mut changes, &consent(id, words)).await.unwrap();
            homework::insert(&mut changes, &homework_of(id, words)).await.unwrap();
        }
        recordings::insert(&mut changes, &shared).await.unwrap();
        let import = Recording {
            imported_name: Some(WRENS[3].into()),
            sha256: Some("ab".into()),
            ..recording("import-1.mcap", Origin::Import, Some(wren))
        };
        recordings::insert(&mut changes, &import).await.unwrap();
        changes.commit().await.unwrap();
        for (number, (id, words)) in
            [(wren, WRENS), (tern, TERNS), (wren, WRENS), (tern, TERNS)].into_iter().enumerate()
        {
            world.add_swing(&shared, number as u64, id, words).await;
        }
        world.add_swing(&import, 9, wren, WRENS).await;
        write_shared(&world.recordings().join(SHARED), wren, tern);
        // Recorded elsewhere, where she goes by another name.
        let elsewhere = AtThePlate { nickname: Some(ELSEWHERE.into()), ..AtThePlate::default() };
        let plate = Entry::AtThePlate { log_time_ns: 0, context: elsewhere.into() };
        write(&world.recordings().join("import-1.mcap"), &[plate, samples(0)]);
        std::fs::write(world.recordings().join("import-1.toml"), "# of Wren").unwrap();
        world
    }

    pub fn recordings(&self) -> PathBuf {
        self.test.folder.join("recordings")
    }

    /// A lesson of its own and a swing in it.
    async fn add_swing(&mut self, recording: &Recording, number: u64, id: Uuid, words: [&str; 5]) {
        let mut changes = self.test.store.write().await.unwrap();
        let lesson = lesson(id, words);
        lessons::insert(&mut changes, &lesson).await.unwrap();
        let owner = Owner { athlete_id: Some(id), lesson_id: Some(lesson.id), ..Owner::default() };
        let source = Source {
            recording_id: recording.id,
            cage: CAGE.into(),
            file_stem: recording.file_name.clone(),
            begun: recording.begun,
            first_s: 0.0,
            owner: Some(owner),
        };
        let mut swing = example::swing(1);
        swing.contact = SensorTime(0.1 + 0.2 * (number % 4) as f64);
        swing.start = SensorTime(swing.contact.0 - 0.02);
        let told = ToldSwing {
            number,
            run: 0,
            stage: Stage::Smoothed,
            swing,
            contact_utc: None,
            at_the_plate: AtThePlate::default(),
            profile: Arc::default(),
        };
        assert!(keep(&mut changes, &source, &told, NOW).await.unwrap().unwrap().is_new);
        changes.commit().await.unwrap();
    }

    /// With a hub and a log of events in the folder.
    pub fn eraser(&self, steps: Steps) -> (Eraser, EventLog) {
        let (earlier, last, log) = EventLog::open(&self.test.folder, 100).unwrap();
        let hub = Hub::new(earlier, last + 1, 100, log.keeper()).forgetting(log.forgetter());
        let eraser = Eraser {
            store: self.test.store.clone(),
            data_folder: self.test.folder.clone(),
            cage: CAGE.into(),
            hub: Some(Arc::new(hub)),
            plate: None,
            steps: Arc::new(steps),
        };
        (eraser, log)
    }
}

pub fn recording(file_name: &str, origin: Origin, athlete_id: Option<Uuid>) -> Recording {
    Recording {
        id: Uuid::now_v7(),
        cage: CAGE.into(),
        file_name: file_name.into(),
        sensor_id: None,
        origin,
        imported_name: None,
        athlete_id,
        begun: UtcMicros(NOW.0 - 3_600_000_000),
        ended: Some(NOW),
        summary: None,
        sha256: None,
        state: RecordingState::Stored,
        version: 1,
    }
}

pub fn athlete(id: Uuid, words: [&str; 5]) -> Athlete {
    Athlete {
        id,
        nickname: words[0].into(),
        birth_year: Some(2012),
        bats: Bats::Left,
        height_m: Some(1.52),
        note: words[1].into(),
        created: UtcMicros(NOW.0 - 1),
        version: 1,
    }
}

fn consent(athlete_id: Uuid, words: [&str; 5]) -> Consent {
    Consent {
        id: Uuid::now_v7(),
        athlete_id,
        given_by: words[2].into(),
        relation: Relation::Parent,
        scope: vec![Scope::Measuring],
        given: NOW,
        expires: None,
        withdrawn: None,
        note: words[1].into(),
        version: 1,
    }
}

fn homework_of(athlete_id: Uuid, words: [&str; 5]) -> Homework {
    Homework {
        id: Uuid::now_v7(),
        athlete_id,
        lesson_id: None,
        given: NOW,
        drill: words[4].into(),
        bat_id: None,
        how_much: "3 × 10 a day".into(),
        words: words[1].into(),
        ended: None,
        version: 1,
    }
}

pub fn lesson(athlete_id: Uuid, words: [&str; 5]) -> Lesson {
    Lesson {
        id: Uuid::now_v7(),
        athlete_id,
        occasion: Occasion::Lesson,
        cage: CAGE.into(),
        begun: NOW,
        ended: Some(UtcMicros(NOW.0 + 60_000_000)),
        title: words[4].into(),
        note: words[1].into(),
        version: 1,
    }
}

pub fn samples(turn: usize) -> Entry {
    let each = SAMPLES / 4;
    let sample = |k: usize| Sample {
        time: SensorTime(k as f64 * 1e-3),
        gyro_s_radps: Vector3::new(turn as f64, k as f64 * 0.01, -1.0),
        accel_s_mps2: Vector3::new(0.0, 9.8, 0.0),
        accel_hi_s_mps2: None,
    };
    Entry::Samples { log_time_ns: 0, samples: (turn * each..(turn + 1) * each).map(sample).collect() }
}

/// Whom an imported file says was at the plate.
pub const ELSEWHERE: &str = "Goldfinch";

/// By id at the first turn of each, by nickname at the second, as an earlier version wrote it.
fn write_shared(path: &Path, wren: Uuid, tern: Uuid) {
    let turns = [(WRENS[0], Some(wren)), (TERNS[0], Some(tern)), (WRENS[0], None), (TERNS[0], None)];
    let mut entries = Vec::new();
    for (turn, (nickname, id)) in turns.into_iter().enumerate() {
        let athlete_id = id.map(|id| id.to_string());
        let context = AtThePlate { nickname: Some(nickname.into()), athlete_id, ..AtThePlate::default() };
        entries.push(Entry::AtThePlate { log_time_ns: 0, context: context.into() });
        entries.push(samples(turn));
    }
    write(path, &entries);
}

pub fn write(path: &Path, entries: &[Entry]) {
    let mut writer = McapWriter::new(File::create(path).unwrap(), "knob").unwrap();
    entries.iter().for_each(|entry| writer.write_entry(entry).unwrap());
    writer.finish().unwrap();
}

/// Of each sample the turn it was made in, and whoever is named.
pub fn content(path: &Path) -> (Vec<usize>, Vec<String>) {
    let (mut entries, mut turns, mut names) = (McapEntries::new(File::open(path).unwrap()), Vec::new(), Vec::new());
    while let Some(entry) = entries.next_entry().unwrap() {
        match entry {
            Entry::Samples { samples, .. } => turns.extend(samples.iter().map(|sample| sample.gyro_s_radps.x as usize)),
            Entry::AtThePlate { context, .. } => names.extend(context.nickname),
            _ => {}
        }
    }
    assert_eq!(entries.issues().count(), 0);
    turns.dedup();
    (turns, names)
}

/// Files below a folder, in whose bytes one of the words stands.
pub fn holding(folder: &Path, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(holding(&path, words));
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        let has = |word: &&&str| bytes.windows(word.len()).any(|window| window == word.as_bytes());
        found.extend(words.iter().find(has).map(|word| format!("{}: {word}", path.display())));
    }
    found
}

/// The number of swings of each athlete in a store's file.
pub async fn swings_in(store: &Store) -> i64 {
    let mut read = store.read().await.unwrap();
    crate::daemon::store::copy::counts(&mut read).await.unwrap()["swings"]
}

pub async fn open(path: &Path) -> Store {
    Store::open(&Place::File(path.to_owned())).await.unwrap()
}
