//! How accurate the engine is on the project's own simulator, and how honest its σ: a table a group.
//!
//! ```text
//! cargo run --release --example accuracy -- [swings a group, 200 by default] [group ...]
//! ```
//!
//! Groups: good, dry, dual, hobby, slow, fast, ideal, loss, lesson, calibrated, events. `lesson` counts swings after the
//! tenth rest; `calibrated` is a lesson that begins with the calibration routine; `events` holds no swing at all.
//! Every figure follows from seeds; truth never enters the engine.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::channel;
use swingd::engine::metrics::Metric;
use swingd::engine::sample::Sample;
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event};
use swingd::sim::{EventKind, Kind, Mishaps, Preset, Scenario, Simulated, SwingKind, SwingTruth};

/// A swing is the truth's if its contact is this near, s.
const NEAR_S: f64 = 0.05;
/// Samples in one push, as from a radio.
const PUSH: usize = 250;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let count = arguments.first().and_then(|text| text.parse().ok()).unwrap_or(200);
    let wanted = |name: &str| arguments.len() < 2 || arguments[1..].iter().any(|a| a == name);
    for group in groups(count).into_iter().filter(|group| wanted(group.name)) {
        group.run().print(group.name);
    }
}

/// Recordings of one kind.
struct Group {
    name: &'static str,
    preset: Preset,
    kinds: Vec<Kind>,
    mishaps: Mishaps,
    recordings: u64,
    /// Swings count from this rest on.
    after_rests: usize,
}

fn groups(count: u64) -> Vec<Group> {
    let group = |name, preset, kinds: Vec<Kind>, recordings| Group {
        name,
        preset,
        kinds,
        mishaps: Mishaps::default(),
        recordings,
        after_rests: 0,
    };
    let ball = || vec![Kind::Swing(SwingKind::Ball)];
    let lesson = |calibrated| vec![Kind::Lesson { events: 16, calibrated }];
    vec![
        group("good", Preset::Good, ball(), count),
        group("dry", Preset::Good, vec![Kind::Swing(SwingKind::Dry)], count / 2),
        group("dual", Preset::Dual, ball(), count / 2),
        group("hobby", Preset::Hobby, ball(), count / 2),
        group("slow", Preset::Slow, ball(), count / 2),
        group("fast", Preset::Fast, ball(), count / 4),
        group("ideal", Preset::Ideal, ball(), count / 4),
        Group { mishaps: Mishaps { lost_share: 0.03, gap_s: None }, ..group("loss", Preset::Good, ball(), count / 2) },
        Group { after_rests: 10, ..group("lesson", Preset::Good, lesson(false), count.div_ceil(6)) },
        Group { after_rests: 10, ..group("calibrated", Preset::Good, lesson(true), count.div_ceil(6)) },
        group("events", Preset::Good, EventKind::ALL.iter().map(|kind| Kind::Event(*kind)).collect(), count),
    ]
}

/// What a group came to.
#[derive(Default)]
struct Score {
    recordings: u64,
    expected: u64,
    found: u64,
    missed: u64,
    false_ones: BTreeMap<String, u64>,
    kind_wrong: u64,
    sets: BTreeMap<&'static str, Errors>,
    failures: Vec<String>,
}

/// Errors of the flagged or of the unflagged swings.
#[derive(Default)]
struct Errors {
    swings: u64,
    contact_ms: Vec<(f64, f64)>,
    metrics: [Vec<(f64, f64)>; Metric::COUNT],
    nulls: [u64; Metric::COUNT],
}

impl Group {
    fn run(&self) -> Score {
        let next = AtomicU64::new(0);
        let (send, receive) = channel();
        let mut score = Score { recordings: self.recordings, ..Score::default() };
        std::thread::scope(|scope| {
            for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
                let (send, next) = (send.clone(), &next);
                scope.spawn(move || {
                    loop {
                        let seed = next.fetch_add(1, Ordering::Relaxed);
                        if seed >= self.recordings || send.send((seed, self.one(seed))).is_err() {
                            return;
                        }
                    }
                });
            }
            drop(send);
            let mut all: Vec<_> = receive.iter().collect();
            all.sort_by_key(|one| one.0);
            for (seed, (simulated, swings)) in all {
                score.add(seed, &simulated, &swings, self.after_rests);
            }
        });
        score
    }

    fn one(&self, seed: u64) -> (Simulated, Vec<Swing>) {
        let kind = self.kinds[seed as usize % self.kinds.len()];
        let scenario = Scenario { mishaps: self.mishaps, ..Scenario::new(kind, self.preset, 90_000 + seed) };
        let mut simulated = scenario.run();
        let swings = swings(&simulated);
        simulated.samples = Vec::new();
        (simulated, swings)
    }
}

/// The last word on each swing.
fn swings(simulated: &Simulated) -> Vec<Swing> {
    let mut engine = Engine::new(simulated.profile.clone());
    let mut last = BTreeMap::new();
    let mut keep = |events: Vec<Event>| {
        for event in events {
            if let Event::Swing { number, swing, .. } = event {
                last.insert(number, *swing);
            }
        }
    };
    for samples in simulated.samples.chunks(PUSH) {
        let samples: &[Sample] = samples;
        keep(engine.push(samples));
    }
    keep(engine.finish());
    last.into_values().collect()
}

impl Score {
    fn add(&mut self, seed: u64, simulated: &Simulated, found: &[Swing], after_rests: usize) {
        let truth = &simulated.truth;
        let mut free: Vec<&Swing> = found.iter().collect();
        for true_swing in &truth.swings {
            let near = free.iter().position(|s| (s.contact.0 - true_swing.contact_sensor_s).abs() < NEAR_S);
            let asked = matches!(true_swing.kind, SwingKind::Ball | SwingKind::Dry);
            self.expected += u64::from(asked);
            let Some(near) = near else {
                self.missed += u64::from(asked);
                if asked {
                    self.failures.push(format!("missed: seed {seed} at {:.3} s", true_swing.contact_sensor_s));
                }
                continue;
            };
            let swing = free.remove(near);
            if asked {
                self.found += 1;
                self.kind_wrong += u64::from(swing.contact_kind != true_swing.contact_kind);
                let rests = truth.rests.iter().filter(|r| r.end_sensor_s < true_swing.contact_sensor_s).count();
                if rests >= after_rests {
                    let set = if swing.flags.is_empty() { "unflagged" } else { "flagged" };
                    self.sets.entry(set).or_default().add(true_swing, swing);
                }
            }
        }
        for swing in free {
            let during = truth.events.iter().find(|(_, span)| {
                swing.contact.0 > span.start_sensor_s - 0.1 && swing.contact.0 < span.end_sensor_s + 0.3
            });
            let name = during.map_or("nothing", |(kind, _)| kind.key());
            *self.false_ones.entry(name.to_owned()).or_default() += 1;
            self.failures.push(format!("false: seed {seed} at {:.3} s in {name}", swing.contact.0));
        }
    }

    fn print(&self, name: &str) {
        println!(
            "{name}: {} recordings, {} swings asked for, {} found, {} missed, false {:?}, contact kind wrong {}",
            self.recordings, self.expected, self.found, self.missed, self.false_ones, self.kind_wrong
        );
        for failure in self.failures.iter().take(8) {
            println!("    {failure}");
        }
        for (set, errors) in &self.sets {
            errors.print(set);
        }
        println!();
    }
}

impl Errors {
    fn add(&mut self, truth: &SwingTruth, swing: &Swing) {
        self.swings += 1;
        let contact_ms = (swing.contact.0 - truth.contact_sensor_s) * 1e3;
        self.contact_ms.push((contact_ms, swing.contact_sigma_s * 1e3));
        for metric in Metric::ALL {
            let m = metric.index();
            match (swing.metrics[m], truth.values.values[m]) {
                (Some(found), Some(value)) => self.metrics[m].push((found.value - value, found.sigma)),
                (None, Some(_)) => self.nulls[m] += 1,
                _ => {}
            }
        }
    }

    fn print(&self, set: &str) {
        println!("  {set}: {} swings", self.swings);
        println!(
            "    {:26} {:>5} {:>5} {:>9} {:>9} {:>9} {:>9} {:>7} {:>7} {:>7} {:>9}",
            "error of", "n", "null", "bias", "p50", "p95", "worst", "in 1 σ", "in 1.96", "NES", "mean σ"
        );
        print_row("contact_ms", 0, &self.contact_ms);
        for metric in Metric::ALL {
            print_row(metric.key(), self.nulls[metric.index()], &self.metrics[metric.index()]);
        }
    }
}

fn print_row(name: &str, nulls: u64, errors: &[(f64, f64)]) {
    let n = errors.len();
    if n == 0 {
        println!("    {name:26} {n:5} {nulls:5}");
        return;
    }
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.0.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let quantile = |q: f64| {
        let place = q * (n - 1) as f64;
        let (low, part) = (place as usize, place.fract());
        sizes[low] + (sizes[(low + 1).min(n - 1)] - sizes[low]) * part
    };
    let mean = |f: &dyn Fn(&(f64, f64)) -> f64| errors.iter().map(f).sum::<f64>() / n as f64;
    let within = |k: f64| 100.0 * mean(&|e| f64::from(u8::from(e.0.abs() <= k * e.1 + 1e-12)));
    println!(
        "    {name:26} {n:5} {nulls:5} {:9.4} {:9.4} {:9.4} {:9.4} {:6.1}% {:6.1}% {:7.2} {:9.4}",
        mean(&|e| e.0),
        quantile(0.5),
        quantile(0.95),
        sizes[n - 1],
        within(1.0),
        within(1.96),
        mean(&|e| (e.0 / e.1).powi(2)),
        mean(&|e| e.1)
    );
}

