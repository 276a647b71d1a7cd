//! Two groups of stored swings with curves, read and compared as the service does, and the sheet of them.
//!
//! The swings are those of one simulated lesson, analysed by the engine; each stored one is one of them with its metrics and
//! curves scaled a little before they are packed, so none are equal.

use super::sheet;
use std::path::Path;
use std::time::Instant;
use swingd::compare::numbers::{Amounts, Question};
use swingd::daemon::record::then_now::then_now;
use swingd::daemon::store::queries::swings_read::SwingFilter;
use swingd::daemon::store::queries::{analyses, athletes, curves, profiles, recordings, swings};
use swingd::daemon::store::rows::{
    Analysis, Athlete, Bats, Mark, Origin, Recording, RecordingState, Swing as Row, UtcMicros,
};
use swingd::daemon::store::{Place, Store, Transaction};
use swingd::engine::metrics::Metric;
use swingd::engine::swing::{Curves, Swing};
use swingd::engine::{Engine, Event, Stage};
use swingd::report::curves::{StoredCurves, encode};
use swingd::sim::{Kind, Preset, Random, Scenario};
use uuid::Uuid;

/// Swings of a group, and the days they are on.
const SWINGS: usize = 500;
const DAYS: usize = 10;
/// Times that it is measured; the worst counts.
const TIMES: usize = 5;
const LIMIT_S: f64 = 1.0;
/// For a sheet.
const SHEET_LIMIT_S: f64 = 2.0;
/// 2026-03-01T16:00:00Z, µs, and a day.
const BEGUN_US: i64 = 1_772_380_800_000_000;
const DAY_US: i64 = 86_400_000_000;
const PROFILE: &str = "5b0c7a3b0d3f6d1f0f6f1b2b9f7f6f4e5b0c7a3b0d3f6d1f0f6f1b2b9f7f6f4e";

/// Whether the limits hold.
pub fn measure() -> anyhow::Result<bool> {
    let folder = std::env::temp_dir().join(format!("swingd-comparing-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let holds = runtime.block_on(both(&folder));
    std::fs::remove_dir_all(&folder)?;
    holds
}

async fn both(folder: &Path) -> anyhow::Result<bool> {
    let store = Store::open(&Place::in_folder(folder)).await?;
    let mut changes = store.write().await?;
    let athlete = fill(&mut changes).await?;
    changes.commit().await?;
    let between = UtcMicros(BEGUN_US + DAYS as i64 * DAY_US);
    let compared_s = compared(&store, between).await?;
    let day = jiff::Timestamp::from_microsecond(between.0)?.to_string();
    let sheet_s = sheet::worst(&store, folder, athlete, &day, TIMES).await?;
    println!("worst {:.0} ms; limit {:.0} ms", sheet_s * 1e3, SHEET_LIMIT_S * 1e3);
    store.close().await;
    Ok(compared_s <= LIMIT_S && sheet_s <= SHEET_LIMIT_S)
}

/// The longest that a comparison took, s.
async fn compared(store: &Store, between: UtcMicros) -> anyhow::Result<f64> {
    let then = SwingFilter { to: Some(between), ..SwingFilter::default() };
    let now = SwingFilter { from: Some(between), ..SwingFilter::default() };
    let question = Question { family: Metric::ALL.to_vec(), amounts: Amounts::default() };
    let mut worst_s: f64 = 0.0;
    for with_curves in [false, true] {
        for _ in 0..TIMES {
            let begun = Instant::now();
            let mut reading = store.read().await?;
            let found = then_now(&mut reading, [&then, &now], &question, with_curves).await?;
            let took_s = begun.elapsed().as_secs_f64();
            worst_s = worst_s.max(took_s);
            let drawn =
                found.curves.map_or(0, |curves| curves.speed_by_time.then.swings + curves.speed_by_time.now.swings);
            let (then, now) = (found.then.swings.len(), found.now.swings.len());
            println!("{then} and {now} swings, curves of {drawn}: {:.0} ms", took_s * 1e3);
        }
    }
    println!("worst {:.0} ms; limit {:.0} ms", worst_s * 1e3, LIMIT_S * 1e3);
    Ok(worst_s)
}

/// Whose they are.
async fn fill(changes: &mut Transaction) -> anyhow::Result<Uuid> {
    let told = told();
    anyhow::ensure!(!told.is_empty(), "the simulated lesson has no swings");
    profiles::keep(changes, PROFILE, "[sensor]\n").await?;
    let athlete = athlete();
    athletes::insert(changes, &athlete).await?;
    let recording = recording();
    recordings::insert(changes, &recording).await?;
    let mut random = Random::new(4);
    for k in 0..2 * SWINGS {
        let day = k / (SWINGS / DAYS);
        let at = UtcMicros(BEGUN_US + day as i64 * DAY_US + (k % (SWINGS / DAYS)) as i64 * 15_000_000);
        let share = 1.0 + random.normal(0.03);
        put(changes, [athlete.id, recording.id], at, &told[random.index(told.len())], share).await?;
    }
    Ok(athlete.id)
}

/// What the engine tells of a lesson's swings, without flags.
fn told() -> Vec<Swing> {
    let simulated = Scenario::new(Kind::Lesson { events: 24, calibrated: true }, Preset::Good, 7_700).run();
    let mut engine = Engine::new(simulated.profile);
    let mut events = engine.push(&simulated.samples);
    events.extend(engine.finish());
    let swing = |event| match event {
        Event::Swing { stage: Stage::Smoothed, swing, .. } => Some(*swing),
        _ => None,
    };
    events.into_iter().filter_map(swing).filter(|swing| swing.flags.is_empty()).collect()
}

async fn put(
    changes: &mut Transaction,
    [athlete_id, recording_id]: [Uuid; 2],
    at: UtcMicros,
    told: &Swing,
    share: f64,
) -> anyhow::Result<()> {
    let id = Uuid::now_v7();
    let contact_s = (at.0 - BEGUN_US) as f64 * 1e-6;
    let row = Row {
        id,
        recording_id,
        run: 0,
        contact_s,
        contact_utc: at,
        contact_utc_sigma_us: None,
        athlete_id: Some(athlete_id),
        lesson_id: None,
        round_id: None,
        side: None,
        bat_id: None,
        mark: Mark::None,
        note: String::new(),
        tags: Vec::new(),
        is_moved: false,
        revision: 1,
        version: 1,
    };
    swings::insert(changes, &row).await?;
    let analysis = Analysis {
        swing_id: id,
        revision: 1,
        analysed: at,
        engine_version: env!("CARGO_PKG_VERSION").into(),
        profile_sha256: PROFILE.into(),
        recording_id,
        stage: "final".into(),
        start_s: contact_s - 0.15,
        contact_s,
        contact_sigma_s: told.contact_sigma_s,
        met_ball: true,
        flags: Vec::new(),
        metrics: told.metrics.map(|one| {
            let mut one = one?;
            one.value *= share;
            Some(one)
        }),
    };
    analyses::insert(changes, &analysis).await?;
    curves::insert(changes, id, 1, &encode(&StoredCurves::new(&scaled(&told.curves, share))?)).await?;
    Ok(())
}

fn scaled(curves: &Curves, share: f64) -> Curves {
    let speeds = |speeds: &[f64]| speeds.iter().map(|speed| speed * share).collect();
    let path = |path: &[_]| path.iter().map(|place| place * share).collect();
    Curves {
        times_s: curves.times_s.clone(),
        bat_speed_mps: speeds(&curves.bat_speed_mps),
        hand_speed_mps: speeds(&curves.hand_speed_mps),
        turn_rate_radps: speeds(&curves.turn_rate_radps),
        sweet_spot_w_m: path(&curves.sweet_spot_w_m),
        hands_w_m: path(&curves.hands_w_m),
    }
}

fn athlete() -> Athlete {
    Athlete {
        id: Uuid::now_v7(),
        nickname: "Wren".into(),
        birth_year: None,
        bats: Bats::Unknown,
        height_m: None,
        note: String::new(),
        created: UtcMicros(BEGUN_US),
        version: 1,
    }
}

fn recording() -> Recording {
    let id = Uuid::now_v7();
    Recording {
        id,
        cage: "north".into(),
        file_name: format!("{id}.mcap"),
        sensor_id: None,
        origin: Origin::Live,
        imported_name: None,
        athlete_id: None,
        begun: UtcMicros(BEGUN_US),
        ended: None,
        summary: None,
        sha256: None,
        state: RecordingState::Stored,
        version: 1,
    }
}
