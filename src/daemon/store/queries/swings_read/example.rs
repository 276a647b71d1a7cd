//! A small cage for tests: athletes, lessons and practice, rounds, bats, and swings of all kinds, the same for a seed.

use super::super::super::rows::*;
use super::super::{analyses, athletes, bats, curves, lessons, profiles, recordings, rounds, swings};
use super::FoundSwing;
use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::engine::swing::Curves;
use crate::report::curves::{StoredCurves, encode};
use nalgebra::Vector3;
use sqlx::AnyConnection;
use uuid::Uuid;

/// 2026-11-25T16:00:00Z, µs.
pub const BEGUN_US: i64 = 1_795_622_400_000_000;
/// An hour, µs.
pub const HOUR_US: i64 = 3_600_000_000;
/// Tags that swings have.
pub const TAGS: [&str; 3] = ["early", "late", "roll_over"];
/// The profile's key.
pub const SHA256: &str = "5b0c7a3b0d3f6d1f0f6f1b2b9f7f6f4e5b0c7a3b0d3f6d1f0f6f1b2b9f7f6f4e";

/// What stands in the store.
pub struct World {
    /// Three of them; the third never swung.
    pub athletes: Vec<Athlete>,
    /// For each of the first two a lesson, then practice.
    pub lessons: Vec<Lesson>,
    /// Two a lesson.
    pub rounds: Vec<Round>,
    /// Two.
    pub bats: Vec<Bat>,
    /// Two: one that was made here and one that was imported.
    pub recordings: Vec<Recording>,
    /// As they are read.
    pub swings: Vec<FoundSwing>,
    chance: Chance,
}

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
pub struct Chance(pub u64);

impl Chance {
    /// Any of the first so many.
    pub fn below(&mut self, count: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % count as u64) as usize
    }

    /// One of them.
    pub fn of<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }

    /// Yes, once in so many times.
    pub fn once_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }
}

/// Fills a store.
pub async fn fill(connection: &mut AnyConnection, seed: u64, count: usize) -> World {
    let athletes = ["Wren", "Tern", "Dunlin"].map(athlete).to_vec();
    let bats = ["Ash 33", "Rod"].map(bat).to_vec();
    let lessons: Vec<_> = athletes.iter().take(2).flat_map(|who| [0, 1].map(|k| lesson(who, k))).collect();
    let rounds: Vec<_> = lessons.iter().flat_map(|lesson| [0, 1].map(|k| round(lesson, k, &bats))).collect();
    let recordings = [Origin::Live, Origin::Import].map(recording).to_vec();
    let mut world = World { athletes, lessons, rounds, bats, recordings, swings: Vec::new(), chance: Chance(seed) };
    world.put_all(connection).await;
    for _ in 0..count {
        world.add(connection).await;
    }
    world
}

impl World {
    async fn put_all(&self, connection: &mut AnyConnection) {
        for row in &self.athletes {
            athletes::insert(connection, row).await.unwrap();
        }
        for row in &self.bats {
            bats::insert(connection, row).await.unwrap();
        }
        for row in &self.lessons {
            lessons::insert(connection, row).await.unwrap();
        }
        for row in &self.rounds {
            rounds::insert(connection, row).await.unwrap();
        }
        for row in &self.recordings {
            recordings::insert(connection, row).await.unwrap();
        }
        profiles::keep(connection, SHA256, "[sensor]\n").await.unwrap();
    }

    /// One more swing, of any kind, at any time: some at one instant.
    pub async fn add(&mut self, connection: &mut AnyConnection) -> Uuid {
        let found = self.any_swing();
        self.put(connection, found).await
    }

    /// A swing that met a ball at an instant, of the first athlete's first lesson.
    pub async fn add_at(&mut self, connection: &mut AnyConnection, at: UtcMicros) -> Uuid {
        let mut found = self.any_swing();
        self.own(&mut found, Some(0), None);
        found.swing.contact_utc = at;
        found.analysis.met_ball = true;
        self.put(connection, found).await
    }

    async fn put(&mut self, connection: &mut AnyConnection, mut found: FoundSwing) -> Uuid {
        let (swing, analysis) = (&found.swing, &found.analysis);
        swings::insert(connection, swing).await.unwrap();
        // An earlier analysis that said something else.
        let earlier =
            Analysis { revision: 1, met_ball: !analysis.met_ball, flags: vec!["gap".into()], ..analysis.clone() };
        analyses::insert(connection, &earlier).await.unwrap();
        analyses::insert(connection, analysis).await.unwrap();
        let compact = encode(&StoredCurves::new(&some_curves()).unwrap());
        curves::insert(connection, swing.id, 2, &compact).await.unwrap();
        for tag in &swing.tags {
            let query = sqlx::query("INSERT INTO swing_tags (swing_id, tag) VALUES ($1, $2)");
            query.bind(swing.id.to_string()).bind(tag).execute(&mut *connection).await.unwrap();
        }
        found.swing.tags.sort();
        let id = found.swing.id;
        self.swings.push(found);
        id
    }

    fn any_swing(&mut self) -> FoundSwing {
        let id = Uuid::now_v7();
        let at = BEGUN_US + 60_000_000 * self.chance.below(100) as i64;
        let recording = self.recordings[self.chance.below(2)].clone();
        let flags = Flag::ALL.iter().filter(|_| self.chance.once_in(6)).map(|flag| flag.key().to_owned()).collect();
        let tags = TAGS.iter().filter(|_| self.chance.once_in(3)).map(|&tag| tag.to_owned()).collect();
        let analysis = self.any_analysis(id, recording.id, flags);
        let swing = Swing {
            id,
            recording_id: recording.id,
            run: 0,
            contact_s: analysis.contact_s,
            contact_utc: UtcMicros(at),
            contact_utc_sigma_us: Some(4000),
            athlete_id: None,
            lesson_id: None,
            round_id: None,
            side: self.chance.of(&[None, Some(Side::Right), Some(Side::Left)]),
            bat_id: None,
            mark: self.chance.of(Mark::ALL),
            note: String::new(),
            tags,
            is_moved: false,
            revision: 2,
            version: 1,
        };
        let mut found = FoundSwing {
            swing,
            analysis,
            nickname: None,
            occasion: None,
            drill: None,
            ball_source: None,
            bat: None,
            file_name: recording.file_name,
        };
        let lesson = self.chance.of(&[None, Some(0), Some(1), Some(2), Some(3)]);
        let round = self.chance.of(&[None, Some(0), Some(1)]);
        self.own(&mut found, lesson, round);
        if self.chance.once_in(2) {
            let bat = &self.bats[self.chance.below(2)];
            (found.swing.bat_id, found.bat) = (Some(bat.id), Some(bat.name.clone()));
        }
        found
    }

    fn own(&self, found: &mut FoundSwing, lesson: Option<usize>, round: Option<usize>) {
        let athlete = lesson.map(|lesson| &self.athletes[lesson / 2]);
        let round = lesson.zip(round).map(|(lesson, round)| &self.rounds[2 * lesson + round]);
        let lesson = lesson.map(|lesson| &self.lessons[lesson]);
        found.swing.athlete_id = athlete.map(|athlete| athlete.id);
        found.swing.lesson_id = lesson.map(|lesson| lesson.id);
        found.swing.round_id = round.map(|round| round.id);
        found.nickname = athlete.map(|athlete| athlete.nickname.clone());
        found.occasion = lesson.map(|lesson| lesson.occasion);
        found.drill = round.and_then(|round| round.drill.clone());
        found.ball_source = round.and_then(|round| round.ball_source);
    }

    fn any_analysis(&mut self, swing_id: Uuid, recording_id: Uuid, mut flags: Vec<String>) -> Analysis {
        flags.sort();
        let contact_s = 10.0 + self.chance.below(1000) as f64 / 8.0;
        Analysis {
            swing_id,
            revision: 2,
            analysed: UtcMicros(BEGUN_US + HOUR_US),
            engine_version: "0.1.0".into(),
            profile_sha256: SHA256.into(),
            recording_id,
            stage: "final".into(),
            start_s: contact_s - 0.15,
            contact_s,
            contact_sigma_s: 1e-4,
            met_ball: self.chance.once_in(2),
            flags,
            metrics: std::array::from_fn(|k| {
                let value = (k * 10 + self.chance.below(80)) as f64 / 8.0;
                (!self.chance.once_in(5)).then_some(Estimate { value, sigma: 0.125 })
            }),
        }
    }
}

/// Gives the latest analysis of a swing other curves.
pub async fn put_curves(connection: &mut AnyConnection, swing_id: Uuid, curves: &Curves) {
    let compact = encode(&StoredCurves::new(curves).unwrap());
    let query = sqlx::query("UPDATE curves SET compact = $2 WHERE swing_id = $1");
    query.bind(swing_id.to_string()).bind(compact).execute(connection).await.unwrap();
}

/// Curves that no swing of the cage has.
pub fn one_curve() -> Curves {
    let mut curves = some_curves();
    curves.bat_speed_mps.iter_mut().for_each(|speed| *speed += 20.0);
    curves
}

fn some_curves() -> Curves {
    let times_s: Vec<f64> = (-3..=1).map(|k| f64::from(k) * 0.001).collect();
    let speeds = vec![1.0, 2.0, 3.0, 4.0, 5.0];
    let path: Vec<_> = speeds.iter().map(|&x| Vector3::new(x, 0.0, -x)).collect();
    Curves {
        times_s,
        bat_speed_mps: speeds.clone(),
        hand_speed_mps: speeds.clone(),
        turn_rate_radps: speeds,
        sweet_spot_w_m: path.clone(),
        hands_w_m: path,
    }
}

fn athlete(nickname: &str) -> Athlete {
    Athlete {
        id: Uuid::now_v7(),
        nickname: nickname.into(),
        birth_year: None,
        bats: Bats::Unknown,
        height_m: None,
        note: String::new(),
        created: UtcMicros(BEGUN_US),
        version: 1,
    }
}

fn bat(name: &str) -> Bat {
    Bat {
        id: Uuid::now_v7(),
        name: name.into(),
        kind: BatKind::Bat,
        length_m: None,
        mass_kg: None,
        balance_m: None,
        moi: None,
        sweet_spot_m: None,
        barrel_diameter_m: None,
        note: String::new(),
        is_retired: false,
        created: UtcMicros(BEGUN_US),
        version: 1,
    }
}

/// A lesson of an hour, then practice of an hour.
fn lesson(athlete: &Athlete, k: i64) -> Lesson {
    Lesson {
        id: Uuid::now_v7(),
        athlete_id: athlete.id,
        occasion: Occasion::ALL[k as usize],
        cage: "north".into(),
        begun: UtcMicros(BEGUN_US + k * HOUR_US),
        ended: Some(UtcMicros(BEGUN_US + (k + 1) * HOUR_US)),
        title: String::new(),
        note: String::new(),
        version: 1,
    }
}

fn round(lesson: &Lesson, k: usize, bats: &[Bat]) -> Round {
    Round {
        id: Uuid::now_v7(),
        lesson_id: lesson.id,
        begun: lesson.begun,
        drill: [Some("high tee".to_owned()), None][k].clone(),
        ball_source: [Some(BallSource::Tee), Some(BallSource::Machine)][k],
        pitch_speed_mps: [None, Some(30.0)][k],
        pitch_descent_deg: None,
        bat_id: [Some(bats[0].id), None][k],
        side: [Some(Side::Left), None][k],
        note: "of one athlete only".into(),
        version: 1,
    }
}

fn recording(origin: Origin) -> Recording {
    Recording {
        id: Uuid::now_v7(),
        cage: "north".into(),
        file_name: format!("{}.mcap", origin.word()),
        sensor_id: None,
        origin,
        imported_name: None,
        athlete_id: None,
        begun: UtcMicros(BEGUN_US),
        ended: Some(UtcMicros(BEGUN_US + 2 * HOUR_US)),
        summary: None,
        sha256: None,
        state: RecordingState::Stored,
        version: 1,
    }
}

/// The metric's value, if there is one.
pub fn value(found: &FoundSwing, metric: Metric) -> Option<f64> {
    found.analysis.metrics[metric.index()].map(|estimate| estimate.value)
}
