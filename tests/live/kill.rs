//! The program killed at any instant: what it said is recorded is, and the next start goes on from there.

use crate::support::folder::{Folder, entries, is_live, lesson_in_packets, replayed, told_in};
use crate::support::in_process::start;
use crate::support::serving::Serving;
use crate::support::sse::{Event, Events};
use crate::support::{WAIT, within};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use swingd::daemon::lock::{Occupancy, occupancy};
use swingd::report::event::KINDS;
use swingd::sim::Random;
use tokio::sync::oneshot;

/// Used nowhere else.
const FIRST_SEED: u64 = 810_000;
/// Length of the lesson, s.
const LESSON_S: f64 = 128.5;
/// It tells a few more events than this.
const MOST_EVENTS: usize = 50;

#[derive(Default)]
struct Tally {
    kills: u64,
    events: u64,
    recorded: u64,
    swings: u64,
    entries: u64,
    /// Kills at which a live file was there.
    unfinished: u64,
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.kills += other.kills;
        self.events += other.events;
        self.recorded += other.recorded;
        self.swings += other.swings;
        self.entries += other.entries;
        self.unfinished += other.unfinished;
    }
}

/// When the program is killed.
#[derive(Clone, Copy)]
enum Kill {
    After(Duration),
    /// As soon as the client has so many events of the session: the recorder is just writing.
    AtEvent(usize),
}

/// Everything a client gets until the program, which plays the lesson `speed` times as fast, is killed.
async fn killed(folder: &Folder, speed: f64, kill: Kill) -> Vec<Event> {
    let lesson = lesson_in_packets(folder);
    let mut serving = Serving::start(folder, &["--play", lesson.to_str().unwrap(), "--speed", &speed.to_string()]);
    let mut client = Events::open(serving.address(), None).await;
    let (reach, reached) = oneshot::channel();
    let reading = tokio::spawn(async move {
        let (mut events, mut told, mut reach) = (Vec::new(), 0, Some(reach));
        while let Some(event) = client.next().await {
            told += usize::from(KINDS.contains(&event.kind.as_str()));
            if matches!(kill, Kill::AtEvent(count) if told == count) {
                reach.take().into_iter().for_each(|reach| reach.send(()).unwrap());
            }
            events.push(event);
        }
        assert!(!client.ended_well);
        events
    });
    match kill {
        // The instant itself, not a wait for anything.
        Kill::After(time) => tokio::time::sleep(time).await,
        Kill::AtEvent(count) => within(&format!("event {count}"), reached).await.unwrap(),
    }
    tokio::task::block_in_place(|| serving.kill());
    within("the client's end", reading).await.unwrap()
}

async fn one_kill(seed: u64) -> Tally {
    let mut random = Random::new(seed);
    // At the highest speed the recorder is behind the session.
    let (speed, kill) = if seed.is_multiple_of(2) {
        (1000.0, Kill::AtEvent(1 + random.index(MOST_EVENTS)))
    } else {
        let speed = random.between(40.0, 150.0);
        (speed, Kill::After(Duration::from_secs_f64(random.between(0.0, LESSON_S / speed + 0.2))))
    };
    let folder = Folder::new("kill");
    let events = killed(&folder, speed, kill).await;
    let mut tally = Tally { kills: 1, ..Tally::default() };

    let left: Vec<PathBuf> = folder.recordings();
    assert!(left.len() <= 1 && left.iter().all(|path| is_live(path)), "seed {seed}: {left:?}");
    let recorded = left.first().map(|path| entries(path)).unwrap_or_default();
    (tally.unfinished, tally.entries) = (left.len() as u64, recorded.len() as u64);
    let last_state = events.iter().rfind(|event| event.kind == "sensor");
    let counted = last_state.map_or(0, |event| event.json()["recording"]["entries"].as_u64().unwrap());
    assert!(recorded.len() as u64 >= counted, "seed {seed}: {} entries, {counted} counted", recorded.len());

    // In order: what was told of recorded packets is what the recording tells.
    let mut replay = replayed(&recorded).into_iter();
    for event in events.iter().filter(|event| KINDS.contains(&event.kind.as_str())) {
        tally.events += 1;
        let (is_recorded, told) = told_in(&event.data);
        if is_recorded {
            let is_there = replay.any(|(kind, line)| kind == event.kind && line == told);
            assert!(is_there, "seed {seed}: the recording does not tell {}: {told}", event.kind);
            tally.recorded += 1;
            tally.swings += u64::from(event.kind == "swing");
        }
    }
    restarted(seed, &folder, &recorded, &events).await;
    tally
}

/// The next start finishes the file and goes on counting.
async fn restarted(seed: u64, folder: &Folder, recorded: &[swingd::engine::wire::mcap::Entry], events: &[Event]) {
    assert_eq!(occupancy(&folder.kept()).unwrap(), Occupancy::Free, "seed {seed}");
    let service = start(&folder.kept(), 1000).await;
    let deadline = Instant::now() + WAIT;
    while folder.recordings().iter().any(|path| !path.to_str().unwrap().ends_with(".mcap") || is_live(path)) {
        assert!(Instant::now() < deadline, "seed {seed}: not finished: {:?}", folder.recordings());
        // Nobody tells when a file has been finished.
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    let finished = folder.recordings();
    if recorded.is_empty() {
        assert!(finished.is_empty(), "seed {seed}: {finished:?}");
    } else {
        assert_eq!(finished.len(), 1, "seed {seed}: {finished:?}");
        assert!(entries(&finished[0]) == recorded, "seed {seed}: {:?} has other entries", finished[0]);
    }
    let known = events.iter().filter_map(|event| event.id).max();
    let id = service.hub().publish("mark", "{}".into());
    assert!(Some(id) > known, "seed {seed}: {id} after {known:?}");
    // What the killed one told last may be in no log: whoever was there is told so.
    if known.is_some() {
        assert_eq!(service.hub().subscribe(known).missed, None, "seed {seed}");
    }
    service.stop().await;
}

/// Two at a time, so that they are in each other's way as on a busy machine.
async fn kills(count: u64, first_seed: u64) -> Tally {
    let began = Instant::now();
    let next = std::sync::Arc::new(AtomicU64::new(0));
    let workers = [(); 2].map(|()| {
        let next = std::sync::Arc::clone(&next);
        tokio::spawn(async move {
            let mut tally = Tally::default();
            loop {
                let k = next.fetch_add(1, Ordering::Relaxed);
                if k >= count {
                    return tally;
                }
                tally.add(&one_kill(first_seed + k).await);
            }
        })
    });
    let mut tally = Tally::default();
    for worker in workers {
        tally.add(&worker.await.unwrap());
    }
    let Tally { kills, events, recorded, swings, entries, unfinished } = tally;
    println!(
        "{kills} kills in {:.1} s: {unfinished} recordings left unfinished with {entries} entries; of {events} events \
         {recorded} were said to be recorded ({swings} swings) and all are told again",
        began.elapsed().as_secs_f64()
    );
    tally
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_said_to_be_recorded_outlives_a_kill() {
    let tally = kills(10, FIRST_SEED).await;
    assert!(tally.kills == 10 && tally.recorded > 50 && tally.swings > 10 && tally.unfinished > 5);
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "minutes, the slow tier: `cargo test --release --test live -- --ignored --nocapture`"]
async fn two_hundred_kills() {
    let tally = kills(200, FIRST_SEED + 10).await;
    assert!(tally.kills == 200 && tally.recorded > 1000 && tally.swings > 200 && tally.unfinished > 100);
}

#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn sigterm_ends_it_whole_and_in_time() {
    let folder = Folder::new("term");
    let lesson = lesson_in_packets(&folder);
    let serving = Serving::start(&folder, &["--play", lesson.to_str().unwrap(), "--speed", "40"]);
    let mut client = Events::open(serving.address(), None).await;
    client.expect("hello").await;
    let mut told = Vec::new();
    while told.iter().filter(|event: &&Event| event.kind == "swing").count() < 4 {
        told.push(client.next().await.expect("a swing"));
    }
    let began = Instant::now();
    let (rest, ended) = tokio::task::block_in_place(|| {
        serving.terminate();
        let rest = tokio::runtime::Handle::current().spawn(async move { (client.rest().await, client.ended_well) });
        (rest, serving.ended())
    });
    let took = began.elapsed();
    assert!(ended.status.success() && took < Duration::from_secs(5), "{took:?}: {ended:?}");
    let (rest, ended_well) = rest.await.unwrap();
    assert!(ended_well);
    told.extend(rest);
    let files = folder.recordings();
    assert!(files.len() == 1 && !is_live(&files[0]), "{files:?}");
    let told = told.iter().filter(|event| KINDS.contains(&event.kind.as_str()));
    let told: Vec<String> = told.map(|event| told_in(&event.data).1).collect();
    let lines: Vec<String> = replayed(&entries(&files[0])).into_iter().map(|told| told.1).collect();
    // To the last that its end told.
    assert_eq!(told, lines);
    println!("SIGTERM: ended in {took:?}, {} events told", told.len());
}
