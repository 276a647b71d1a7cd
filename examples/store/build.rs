//! Writes the plan into a store: through `record::keep`, in large transactions, durable as ever.

use super::made::{Made, MadeSwing};
use super::plan::{CAGES, Plan};
use super::pool::Pool;
use anyhow::Context;
use std::path::Path;
use std::time::Instant;
use swingd::daemon::record::{Source, keep};
use swingd::daemon::store::queries::{
    athletes, ball_results, bats, lessons, recordings, rounds, sensors, swings_edit, swings_read,
};
use swingd::daemon::store::rows::{Athlete, BallResult, Bat, BatKind, Recording, Sensor, Swing, UtcMicros};
use swingd::daemon::store::{Place, Store, Transaction};
use uuid::Uuid;

/// Swings in one transaction.
const IN_ONE: usize = 10_000;
/// Written last: what the store beside it holds.
const DONE: &str = "benchmark.txt";

/// Builds the store, unless this one is there.
pub async fn unless_there(place: &Place, folder: &Path, plan: &Plan, pool: &Pool) -> anyhow::Result<()> {
    let (done, words) = (folder.join(DONE), format!("{place} {:?}", plan.sizes));
    if std::fs::read_to_string(&done).is_ok_and(|found| found == words) {
        return Ok(());
    }
    if place.is_sqlite() {
        for name in ["store.sqlite", "store.sqlite-wal", "store.sqlite-shm", DONE] {
            let _ = std::fs::remove_file(folder.join(name));
        }
    }
    let begun = Instant::now();
    let store = Store::open(place).await?;
    let sensors = beginnings(&store, plan).await?;
    let mut changes = store.write().await?;
    let (mut written, mut uncommitted) = (0, 0);
    for session in &plan.sessions {
        let sensor = sensors[session.athlete % sensors.len()];
        let made = Made::of(session, plan, pool, sensor);
        uncommitted += made.swings.len();
        write(&mut changes, made).await?;
        if uncommitted >= IN_ONE {
            changes.commit().await?;
            changes = store.write().await?;
            written += std::mem::take(&mut uncommitted);
            eprint!("\r{written} swings, {:.0} s", begun.elapsed().as_secs_f64());
        }
    }
    changes.commit().await?;
    store.empty_log().await?;
    store.close().await;
    eprintln!();
    println!("built: {} swings in {:.0} s", plan.sizes.swings, begun.elapsed().as_secs_f64());
    std::fs::write(&done, words).context("the mark that the store is whole")
}

/// Everything before the first swing; the sensors.
async fn beginnings(store: &Store, plan: &Plan) -> anyhow::Result<Vec<Uuid>> {
    let mut changes = store.write().await?;
    let created = UtcMicros(plan.sessions.first().map_or(0, |session| session.begun_us));
    for (place, planned) in plan.athletes.iter().enumerate() {
        let athlete = Athlete {
            id: planned.id,
            nickname: format!("Wren {place}"),
            birth_year: Some(2004 + (place % 9) as i64),
            bats: planned.bats,
            height_m: Some(1.72),
            note: String::new(),
            created,
            version: 1,
        };
        athletes::insert(&mut changes, &athlete).await?;
    }
    for (place, id) in plan.bats.iter().enumerate() {
        bats::insert(&mut changes, &bat(place, *id, created)).await?;
    }
    let mut ids = Vec::new();
    for (place, cage) in CAGES.iter().enumerate() {
        let name = format!("{cage} {place}");
        let (label, note) = (String::new(), String::new());
        let sensor =
            Sensor { id: Uuid::now_v7(), name, label, note, first_seen: created, last_seen: created, version: 1 };
        sensors::insert(&mut changes, &sensor).await?;
        ids.push(sensor.id);
    }
    changes.commit().await?;
    Ok(ids)
}

fn bat(place: usize, id: Uuid, created: UtcMicros) -> Bat {
    Bat {
        id,
        name: format!("Tern {place}"),
        kind: if place.is_multiple_of(8) { BatKind::Implement } else { BatKind::Bat },
        length_m: Some(0.84),
        mass_kg: Some(0.88),
        balance_m: Some(0.53),
        moi: None,
        sweet_spot_m: None,
        barrel_diameter_m: None,
        note: String::new(),
        is_retired: false,
        created,
        version: 1,
    }
}

async fn write(changes: &mut Transaction, made: Made) -> anyhow::Result<()> {
    lessons::insert(changes, &made.lesson).await?;
    for round in &made.rounds {
        rounds::insert(changes, round).await?;
    }
    recordings::insert(changes, &made.recording).await?;
    let source = source(&made.recording);
    for swing in made.swings {
        write_swing(changes, &source, swing, made.lesson.athlete_id).await?;
    }
    Ok(())
}

/// Where a recording's swings come from.
pub fn source(recording: &Recording) -> Source {
    Source {
        recording_id: recording.id,
        cage: recording.cage.clone(),
        file_stem: recording.file_name.trim_end_matches(".mcap").to_owned(),
        begun: recording.begun,
        first_s: 0.0,
        owner: None,
    }
}

async fn write_swing(
    changes: &mut Transaction,
    source: &Source,
    made: MadeSwing,
    athlete_id: Uuid,
) -> anyhow::Result<()> {
    let mut id = None;
    for told in &made.told {
        let now = told.contact_utc.map_or(source.begun, |placed| UtcMicros(placed.utc_ns / 1000 + 20_000_000));
        id = keep(changes, source, told, now).await?.map(|kept| kept.swing_id);
    }
    let id = id.context("a swing of which nothing was told")?;
    if made.is_edited() {
        let before = swings_read::get(changes, id).await?.swing;
        let after = Swing { tags: made.tags, mark: made.mark, note: made.note, ..before.clone() };
        swings_edit::put(changes, &before, &after).await?;
    }
    if let Some(ball) = made.ball {
        let ball = BallResult { athlete_id: Some(athlete_id), swing_id: Some(id), ..ball };
        ball_results::insert(changes, &ball).await?;
    }
    Ok(())
}
