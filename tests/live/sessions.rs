//! Seeded sessions of the service on virtual time: finder, keeper, ring, station, recorder's core and hub are the real ones;
//! sensor, radio, disk and clock are made up and misbehave. (Threads, sockets and the system's disk are in the other
//! modules.) Whatever happens: no panic, live equals replay to the byte,
//! every sample that can be known to be lost is counted, no swing is invented, and no sensor stays stuck.
//!
//! `cargo test --release --test live -- --ignored ten_thousand` is the long form.

use crate::support::cage::{Mishap, Outcome, What, live};
use crate::support::radio::{FakeRadio, Radios};
use crate::support::sensor::{Motion, Rates, Sensor};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use swingd::daemon::recorder::memory::MemoryDisk;
use swingd::sim::Random;

/// Seeds of their own, used nowhere else.
const FIRST_SEED: u64 = 700_000;
/// Before the end all is well for so long, s.
const CALM_S: f64 = 10.0;
/// A swing that was told is one that happened if their contacts are no farther apart than this, s: a few times the
/// uncertainty of a clock that was compared for seconds only.
const SAME_SWING_S: f64 = 0.15;

fn motions() -> Vec<Arc<Motion>> {
    (0..6).map(|k| Motion::lesson(FIRST_SEED + k, 2)).collect()
}

/// What a seed lets happen.
fn mishaps(random: &mut Random, length_s: f64, with_disk: bool) -> Vec<Mishap> {
    let mut all = Vec::new();
    let count = random.index(5);
    let mut at_s = 1.0;
    for _ in 0..count {
        at_s += random.between(0.2, length_s / 3.0);
        let for_s = random.between(0.1, 4.0);
        if at_s + for_s + CALM_S > length_s {
            break;
        }
        let kinds = if with_disk { 9 } else { 6 };
        push(&mut all, random.index(kinds), at_s, for_s);
        at_s += for_s;
    }
    let well = |radio: &FakeRadio, disk: &MemoryDisk| {
        let mut air = radio.air();
        (air.radio, air.reports_loss) = (Radios::On, true);
        disk.heal();
        for sensor in air.sensors.values_mut() {
            (sensor.in_reach, sensor.connect_hangs) = (true, false);
            if !sensor.is_on {
                sensor.restart();
            }
            sensor.rates = Rates::default();
        }
    };
    all.push(Mishap { at: Duration::from_secs_f64(length_s - CALM_S), what: Box::new(well) });
    all
}

fn push(all: &mut Vec<Mishap>, kind: usize, at_s: f64, for_s: f64) {
    let mut add = |at_s: f64, what: What| {
        all.push(Mishap { at: Duration::from_secs_f64(at_s), what });
    };
    let end_s = at_s + for_s;
    match kind {
        // Out of reach; the platform says nothing, or cuts the connection.
        0 | 1 => {
            add(
                at_s,
                Box::new(move |radio, _| {
                    let mut air = radio.air();
                    air.reports_loss = kind == 1;
                    air.sensors.values_mut().for_each(|sensor| sensor.in_reach = false);
                    if kind == 1 {
                        air.cut();
                    }
                }),
            );
            add(end_s, Box::new(|radio, _| radio.air().sensors.values_mut().for_each(|it| it.in_reach = true)));
        }
        2 => {
            add(at_s, Box::new(|radio, _| radio.air().sensors.values_mut().for_each(Sensor::switch_off)));
            add(end_s, Box::new(|radio, _| radio.air().sensors.values_mut().for_each(Sensor::restart)));
        }
        3 | 4 => {
            let radios = if kind == 3 { Radios::Off } else { Radios::ServiceGone };
            add(at_s, Box::new(move |radio, _| radio.air().radio = radios));
            add(end_s, Box::new(|radio, _| radio.air().radio = Radios::On));
        }
        5 => {
            add(
                at_s,
                Box::new(|radio, _| {
                    let mut air = radio.air();
                    air.sensors.values_mut().for_each(|sensor| sensor.connect_hangs = true);
                    air.cut();
                }),
            );
            add(end_s, Box::new(|radio, _| radio.air().sensors.values_mut().for_each(|it| it.connect_hangs = false)));
        }
        6 => add(at_s, Box::new(|_, disk| disk.make_read_only(true))),
        7 => add(
            at_s,
            Box::new(|_, disk| {
                let used = disk.contents().values().map(|bytes| bytes.len() as u64).sum();
                disk.limit(Some(used));
            }),
        ),
        _ => add(
            at_s,
            Box::new(|_, disk| {
                let next = disk.operations();
                disk.fail(next + 3..next + 40, std::io::ErrorKind::Other);
            }),
        ),
    }
    if kind >= 6 {
        add(end_s, Box::new(|_, disk| disk.heal()));
    }
}

fn rates(random: &mut Random) -> Rates {
    let one = |random: &mut Random, most: f64| if random.chance(0.4) { random.between(0.0, most) } else { 0.0 };
    Rates {
        lost: one(random, 0.02),
        burst_lost: one(random, 0.003),
        doubled: one(random, 0.05),
        swapped: one(random, 0.05),
        spoilt: one(random, 0.01),
        absurd: one(random, 0.005),
    }
}

fn session(seed: u64, motions: &[Arc<Motion>]) -> Outcome {
    let mut random = Random::new(seed);
    let motion = &motions[random.index(motions.len())];
    let length_s = motion.samples.len() as f64 * 1e-3;
    let rates = rates(&mut random);
    let with_disk = random.chance(0.3);
    let mishaps = mishaps(&mut random, length_s, with_disk);
    live(Sensor::new(Arc::clone(motion), rates, random.branch()), mishaps)
}

#[derive(Default)]
struct Tally {
    sessions: AtomicU64,
    swings: AtomicU64,
    happened: AtomicU64,
    lost: AtomicU64,
    replayed: AtomicU64,
    restarts: AtomicU64,
}

/// Everything that must hold of a session.
fn check(seed: u64, outcome: &Outcome, tally: &Tally) {
    let counts = &outcome.state["counts"];
    let count = |key: &str| counts[key].as_u64().unwrap();
    let lost = count("lost_samples") + count("lost_in_sensor");
    assert_eq!(lost, outcome.truly_lost, "seed {seed}: lost samples; {counts}");
    assert_eq!(count("dropped"), 0, "seed {seed}");
    // Never a stuck sensor: it has been well for long enough to be back.
    let rate_hz = outcome.sending["sample_rate_hz"].as_f64().unwrap();
    assert!(outcome.last_arrived && outcome.sending["link"] == "connected", "seed {seed}: {}", outcome.sending);
    assert!((900.0..1100.0).contains(&rate_hz), "seed {seed}: {}", outcome.sending);
    let mut left: Vec<f64> = outcome.contacts_s.clone();
    for swing in outcome.swings() {
        let utc: jiff::Timestamp = swing["contact_utc"].as_str().unwrap().parse().unwrap();
        let at_s = (utc.as_nanosecond() as i64 - outcome.began_utc_ns) as f64 * 1e-9;
        let nearest = left.iter().enumerate().min_by(|a, b| (a.1 - at_s).abs().total_cmp(&(b.1 - at_s).abs()));
        let (place, off_s) = nearest.map_or((0, f64::INFINITY), |(place, contact_s)| (place, (contact_s - at_s).abs()));
        assert!(off_s < SAME_SWING_S, "seed {seed}: a swing at {at_s} s, {off_s} s from any not told yet: {swing}");
        // Each swing is told once.
        left.swap_remove(place);
        tally.swings.fetch_add(1, Ordering::Relaxed);
    }
    if outcome.all_in_one_file() {
        let (live, replayed) = (outcome.told(), outcome.replayed());
        for (live, replayed) in live.iter().zip(&replayed) {
            assert_eq!(live, replayed, "seed {seed}");
        }
        assert_eq!(live.len(), replayed.len(), "seed {seed}");
        tally.replayed.fetch_add(1, Ordering::Relaxed);
    }
    tally.sessions.fetch_add(1, Ordering::Relaxed);
    tally.happened.fetch_add(outcome.contacts_s.len() as u64, Ordering::Relaxed);
    tally.lost.fetch_add(lost, Ordering::Relaxed);
    tally.restarts.fetch_add(count("restarts"), Ordering::Relaxed);
}

fn many(seeds: std::ops::Range<u64>) -> Tally {
    let (motions, tally, next) = (motions(), Tally::default(), AtomicU64::new(seeds.start));
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= seeds.end {
                        return;
                    }
                    check(seed, &session(seed, &motions), &tally);
                }
            });
        }
    });
    let read = |count: &AtomicU64| count.load(Ordering::Relaxed);
    println!(
        "{} sessions: {} of {} swings told, none invented; {} samples lost and counted, {} restarts; {} equal their replay",
        read(&tally.sessions),
        read(&tally.swings),
        read(&tally.happened),
        read(&tally.lost),
        read(&tally.restarts),
        read(&tally.replayed),
    );
    tally
}

#[test]
fn a_hundred_sessions_with_faults_hold_what_must_hold() {
    let tally = many(FIRST_SEED..FIRST_SEED + 100);
    assert!(tally.replayed.into_inner() > 50 && tally.swings.into_inner() > 50 && tally.lost.into_inner() > 1000);
}

#[test]
#[ignore = "minutes, the slow tier: `cargo test --release --test live -- --ignored --nocapture`"]
fn ten_thousand_sessions_with_faults_hold_what_must_hold() {
    let tally = many(FIRST_SEED + 100..FIRST_SEED + 10_100);
    let read = |count: &AtomicU64| count.load(Ordering::Relaxed);
    assert!(read(&tally.replayed) > 8000 && read(&tally.restarts) > 1000 && read(&tally.lost) > 1_000_000);
    // Two thirds of the swings fall into no mishap.
    assert!(read(&tally.swings) * 2 > read(&tally.happened));
}
