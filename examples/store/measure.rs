//! What is asked of the store, and how long it takes.

use super::asks;
use super::build::source;
use super::direct::Direct;
use super::figures::{Figures, Times};
use super::made::{Made, told};
use super::plan::{CAGES, Plan};
use super::pool::Pool;
use super::serve::Connected;
use anyhow::{Context, ensure};
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use swingd::daemon::record::{Source, keep};
use swingd::daemon::store::queries::recordings;
use swingd::daemon::store::rows::UtcMicros;
use swingd::daemon::store::{Place, Store};
use swingd::engine::wire::mcap::AtThePlate;
use swingd::sim::Random;
use uuid::Uuid;

/// Requests of a kind.
const ASKED: usize = 2000;
/// Athletes who are asked for once each after opening.
const COLD: usize = 120;
/// Between two swings that come in under load: 20 a second, where eight sensors give one.
const BETWEEN: Duration = Duration::from_millis(50);
/// Front-ends that ask without a pause meanwhile.
const ASKING: u64 = 3;
/// About what a swing's insertion adds to the log: nine pages.
const BARE_BYTES: usize = 9 * 8192;
const PAGE_MS: f64 = 20.0;
const CURVES_MS: f64 = 10.0;
const SUMMARY_MS: f64 = 100.0;
const INSERT_MS: f64 = 50.0;
const SWING_BYTES: f64 = 12_000.0;

/// All figures.
pub async fn all(
    place: &Place,
    folder: &Path,
    plan: &Plan,
    pool: &Pool,
    seconds: f64,
    figures: &mut Figures,
) -> anyhow::Result<()> {
    if place.is_sqlite() {
        size(folder, plan, figures)?;
    }
    cold(place, folder, plan, figures).await?;
    let store = Store::open(place).await?;
    let direct = Direct::new(&store, folder, CAGES[0]);
    let ids = ids(&direct, plan).await?;
    warm(&direct, plan, &ids, figures).await?;
    socket(&direct, plan, &ids, figures).await?;
    under_load((&store, folder), &direct, (plan, pool), &ids, seconds, figures).await?;
    store.close().await;
    Ok(())
}

fn size(folder: &Path, plan: &Plan, figures: &mut Figures) -> anyhow::Result<()> {
    let length = |name: &str| folder.join(name).metadata().map_or(0, |data| data.len());
    let bytes = length("store.sqlite") + length("store.sqlite-wal");
    ensure!(bytes > 0, "there is no store.sqlite");
    println!("\non disk: {:.2} GB", bytes as f64 / 1e9);
    figures.one_at_most("a swing with its curves", bytes as f64 / plan.sizes.swings as f64, SWING_BYTES, "bytes");
    Ok(())
}

/// Each athlete once, with nothing of the file in memory.
async fn cold(place: &Place, folder: &Path, plan: &Plan, figures: &mut Figures) -> anyhow::Result<()> {
    let is_dropped = place.is_sqlite() && drop_from_memory(&folder.join("store.sqlite"));
    let store = Store::open(place).await?;
    let direct = Direct::new(&store, folder, CAGES[0]);
    let mut random = Random::new(11);
    let [mut pages, mut swings, mut summaries] = [(); 3].map(|()| Times::default());
    for turn in 0..COLD.min(plan.athletes.len()) {
        // Neighbours in time are no neighbours here.
        let athlete = turn * 7 % plan.athletes.len();
        let (page, seconds) = direct.get(&asks::page(plan, athlete, &mut random)).await?;
        pages.add(seconds);
        if turn % 3 == 0 {
            summaries.add(direct.get(&asks::summary(plan, athlete)).await?.1);
        } else if let Some(id) = items(&page)?.first() {
            swings.add(swing(&direct, *id).await?);
        }
    }
    store.close().await;
    let of =
        if is_dropped { "file dropped from the system's memory" } else { "new connections, file as it is in memory" };
    figures.part(&format!("first touch after opening ({of})"));
    figures.at_most("a page of 50, filters", &pages, 0.99, PAGE_MS);
    figures.at_most("a swing, then its curves", &swings, 0.99, CURVES_MS);
    figures.at_most("summary by lesson, all metrics", &summaries, 1.0, SUMMARY_MS);
    Ok(())
}

/// With GNU dd, which asks the kernel (posix_fadvise); false where that is not to be had.
fn drop_from_memory(file: &Path) -> bool {
    let mut input = std::ffi::OsString::from("if=");
    input.push(file);
    let done = std::process::Command::new("dd").arg(input).args(["iflag=nocache", "count=0"]).output();
    done.is_ok_and(|output| output.status.success())
}

/// Swings of random athletes.
async fn ids(direct: &Direct, plan: &Plan) -> anyhow::Result<Vec<Uuid>> {
    let mut random = Random::new(12);
    let mut ids = Vec::new();
    while ids.len() < ASKED {
        let athlete = random.index(plan.athletes.len());
        let page = items(&direct.get(&asks::page(plan, athlete, &mut random)).await?.0)?;
        ids.extend(page.get(random.index(page.len())));
    }
    Ok(ids)
}

fn items(page: &[u8]) -> anyhow::Result<Vec<Uuid>> {
    let page: serde_json::Value = serde_json::from_slice(page)?;
    let items = page["items"].as_array().context("a page without items")?;
    items.iter().map(|item| Ok(item["id"].as_str().context("a swing without id")?.parse()?)).collect()
}

async fn swing(direct: &Direct, id: Uuid) -> anyhow::Result<f64> {
    let [swing, curves] = asks::swing(id);
    Ok(direct.get(&swing).await?.1 + direct.get(&curves).await?.1)
}

/// Each asked for once before, so that what it needs is in memory: the system's, as the database's own cache is small.
async fn warm(direct: &Direct, plan: &Plan, ids: &[Uuid], figures: &mut Figures) -> anyhow::Result<()> {
    let mut random = Random::new(13);
    let (mut full, mut empty, mut slowest) = (0, 0, (0.0, String::new()));
    let [mut pages, mut plain, mut nothing, mut swings, mut summaries] = [(); 5].map(|()| Times::default());
    for id in ids {
        let athlete = random.index(plan.athletes.len());
        let path = asks::page(plan, athlete, &mut random);
        direct.get(&path).await?;
        let (page, seconds) = direct.get(&path).await?;
        pages.add(seconds);
        if seconds > slowest.0 {
            slowest = (seconds, path);
        }
        let found = items(&page)?.len();
        full += usize::from(found == 50);
        empty += usize::from(found == 0);
        plain.add(direct.get(&asks::plain_page(plan, athlete)).await?.1);
        swing(direct, *id).await?;
        swings.add(swing(direct, *id).await?);
    }
    for athlete in 0..plan.athletes.len() {
        for path in [asks::nothing(plan, athlete), asks::summary(plan, athlete)] {
            direct.get(&path).await?;
        }
        nothing.add(direct.get(&asks::nothing(plan, athlete)).await?.1);
        summaries.add(direct.get(&asks::summary(plan, athlete)).await?.1);
    }
    figures.part(&format!("warm ({full} of the pages with filters were full, {empty} empty)"));
    figures.at_most("a page of 50, filters", &pages, 0.99, PAGE_MS);
    figures.at_most("a page of 50, no filter", &plain, 0.99, PAGE_MS);
    figures.at_most("a page that finds nothing in all of an athlete's swings", &nothing, 0.99, PAGE_MS);
    figures.at_most("a swing, then its curves", &swings, 0.99, CURVES_MS);
    figures.at_most("summary by lesson, all metrics, of every athlete", &summaries, 1.0, SUMMARY_MS);
    println!("  the slowest page: {:.1} ms: {}", slowest.0 * 1e3, slowest.1);
    Ok(())
}

async fn socket(direct: &Direct, plan: &Plan, ids: &[Uuid], figures: &mut Figures) -> anyhow::Result<()> {
    let mut connection = Connected::to(direct).await?;
    let mut random = Random::new(14);
    let [mut pages, mut swings, mut summaries] = [(); 3].map(|()| Times::default());
    for id in ids.iter().take(ASKED / 4) {
        let athlete = random.index(plan.athletes.len());
        pages.add(connection.get(&asks::page(plan, athlete, &mut random)).await?.1);
        let [swing, curves] = asks::swing(*id);
        swings.add(connection.get(&swing).await?.1 + connection.get(&curves).await?.1);
        summaries.add(connection.get(&asks::summary(plan, athlete)).await?.1);
    }
    figures.part("warm, over a socket of loopback");
    figures.at_most("a page of 50, filters", &pages, 0.99, PAGE_MS);
    figures.at_most("a swing, then its curves", &swings, 0.99, CURVES_MS);
    figures.at_most("summary by lesson, all metrics", &summaries, 1.0, SUMMARY_MS);
    Ok(())
}

/// Swings come in while several front-ends ask as fast as they are answered.
async fn under_load(
    (store, folder): (&Store, &Path),
    direct: &Direct,
    (plan, pool): (&Plan, &Pool),
    ids: &[Uuid],
    seconds: f64,
    figures: &mut Figures,
) -> anyhow::Result<()> {
    let is_over = Arc::new(AtomicBool::new(false));
    // What the asking tasks share with this one has to outlive it.
    let athletes: Arc<Vec<[String; 2]>> =
        Arc::new((0..plan.athletes.len()).map(|k| [asks::plain_page(plan, k), asks::summary(plan, k)]).collect());
    let mut random = Random::new(15);
    let pages: Arc<Vec<String>> =
        Arc::new((0..ASKED).map(|_| asks::page(plan, random.index(plan.athletes.len()), &mut random)).collect());
    let asking: Vec<_> = (0..ASKING)
        .map(|seed| {
            let asking = Asking {
                direct: direct.clone(),
                pages: Arc::clone(&pages),
                athletes: Arc::clone(&athletes),
                ids: ids.to_vec(),
                is_over: Arc::clone(&is_over),
            };
            tokio::spawn(asking.run(Random::new(100 + seed)))
        })
        .collect();
    let bare = Bare::new(folder)?;
    let inserted = insert(store, plan, pool, bare, seconds).await;
    is_over.store(true, Ordering::Relaxed);
    let [mut all_pages, mut all_swings, mut all_summaries] = [(); 3].map(|()| Times::default());
    for task in asking {
        let [pages, swings, summaries] = task.await??;
        all_pages.append(pages);
        all_swings.append(swings);
        all_summaries.append(summaries);
    }
    figures.part(&format!("while {ASKING} front-ends ask without a pause and 20 swings a second come in"));
    let [inserted, bare] = inserted?;
    figures.at_most("a swing with its curves to disk, synced", &inserted, 0.99, INSERT_MS);
    figures.tell("the same bytes appended to a file and synced, between them", &bare);
    figures.at_most("a page of 50, filters", &all_pages, 0.99, PAGE_MS);
    figures.at_most("a swing, then its curves", &all_swings, 0.99, CURVES_MS);
    figures.at_most("summary by lesson, all metrics", &all_summaries, 1.0, SUMMARY_MS);
    Ok(())
}

struct Asking {
    direct: Direct,
    pages: Arc<Vec<String>>,
    athletes: Arc<Vec<[String; 2]>>,
    ids: Vec<Uuid>,
    is_over: Arc<AtomicBool>,
}

impl Asking {
    async fn run(self, mut random: Random) -> anyhow::Result<[Times; 3]> {
        let mut times = [(); 3].map(|()| Times::default());
        while !self.is_over.load(Ordering::Relaxed) {
            let (place, seconds) = match random.index(20) {
                0 => (2, self.direct.get(&self.athletes[random.index(self.athletes.len())][1]).await?.1),
                1..10 => (1, swing(&self.direct, self.ids[random.index(self.ids.len())]).await?),
                _ => (0, self.direct.get(&self.pages[random.index(self.pages.len())]).await?.1),
            };
            times[place].add(seconds);
        }
        Ok(times)
    }
}

/// What the disk takes without a database.
struct Bare {
    file: File,
    path: PathBuf,
}

impl Bare {
    fn new(folder: &Path) -> anyhow::Result<Self> {
        let path = folder.join("bare");
        Ok(Self { file: File::create(&path)?, path })
    }

    fn write(&mut self) -> anyhow::Result<f64> {
        let begun = Instant::now();
        self.file.write_all(&[0x53; BARE_BYTES])?;
        self.file.sync_data()?;
        Ok(begun.elapsed().as_secs_f64())
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Into a recording of its own; from the wish to write to the word that it is on disk. After each of them the same bytes go
/// into a bare file.
async fn insert(store: &Store, plan: &Plan, pool: &Pool, mut bare: Bare, seconds: f64) -> anyhow::Result<[Times; 2]> {
    let session = plan.sessions.last().context("no session")?;
    let now = UtcMicros(session.begun_us + 86_400_000_000);
    let mut recording = Made::of(session, plan, pool, Uuid::nil()).recording;
    recording.id = Uuid::now_v7();
    (recording.file_name, recording.sensor_id) = (format!("{}.mcap", recording.id), None);
    recording.begun = now;
    recording.sha256 = None;
    let mut changes = store.write().await?;
    recordings::insert(&mut changes, &recording).await?;
    changes.commit().await?;
    let source: Source = source(&recording);
    let plate = AtThePlate {
        athlete_id: Some(plan.athletes[session.athlete].id.to_string()),
        lesson_id: Some(session.id.to_string()),
        ..AtThePlate::default()
    };
    let (mut random, begun) = (Random::new(16), Instant::now());
    let [mut times, mut bare_times] = [(); 2].map(|()| Times::default());
    let mut timer = tokio::time::interval(BETWEEN);
    let mut number = 0;
    while begun.elapsed().as_secs_f64() < seconds {
        let at_s = 1.0 + number as f64;
        let pooled = &pool.ball[random.index(pool.ball.len())];
        for told in told(pooled, (number, at_s), now.0, (0.0, &plate), &mut random) {
            timer.tick().await;
            let begun = Instant::now();
            let mut changes = store.write().await?;
            keep(&mut changes, &source, &told, now).await?;
            changes.commit().await?;
            times.add(begun.elapsed().as_secs_f64());
            bare_times.add(tokio::task::block_in_place(|| bare.write())?);
        }
        number += 1;
    }
    Ok([times, bare_times])
}
