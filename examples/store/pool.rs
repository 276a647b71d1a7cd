//! Different swings from the simulator, each as the engine told it once the batter rested, and once more after later rests.

use std::sync::Arc;
use swingd::engine::metrics::Metric;
use swingd::engine::profile::Profile;
use swingd::engine::swing::{Contact, Swing};
use swingd::engine::{Engine, Event, Stage};
use swingd::report::curves::{StoredCurves, encode};
use swingd::sim::{Kind, Mishaps, Preset, Scenario};

/// Lessons that are simulated: half of their events are swings.
const LESSONS: u64 = 60;
/// Events in one.
const EVENTS: usize = 12;

/// One swing.
#[derive(Clone, Debug)]
pub struct Pooled {
    /// What it was analysed with.
    pub profile: Arc<Profile>,
    /// What was told of it, in the order of the stages; nothing of the first word, which the service does not store.
    pub told: Vec<(Stage, Swing)>,
}

/// All of them.
#[derive(Debug, Default)]
pub struct Pool {
    /// Those that met a ball.
    pub ball: Vec<Pooled>,
    /// Those that met nothing.
    pub dry: Vec<Pooled>,
}

impl Pool {
    /// The same each time.
    pub fn simulated() -> Self {
        let threads = std::thread::available_parallelism().map_or(1, usize::from) as u64;
        let mut lessons: Vec<(u64, Vec<Pooled>)> = std::thread::scope(|scope| {
            let some = |first| (first..LESSONS).step_by(threads as usize).map(|seed| (seed, lesson(seed))).collect();
            let running: Vec<_> = (0..threads).map(|first| scope.spawn(move || -> Vec<_> { some(first) })).collect();
            running.into_iter().flat_map(|one| one.join().unwrap_or_default()).collect()
        });
        lessons.sort_by_key(|(seed, _)| *seed);
        let mut pool = Self::default();
        for swing in lessons.into_iter().flat_map(|(_, swings)| swings) {
            let is_dry = swing.told.iter().any(|(_, swing)| swing.contact_kind == Contact::None);
            if is_dry { &mut pool.dry } else { &mut pool.ball }.push(swing);
        }
        pool
    }

    /// How it is.
    pub fn words(&self) -> String {
        let all = || self.ball.iter().chain(&self.dry).flat_map(|pooled| &pooled.told);
        let sizes: Vec<usize> = all()
            .filter_map(|(_, swing)| StoredCurves::new(&swing.curves).ok())
            .map(|curves| encode(&curves).len())
            .collect();
        let mean = sizes.iter().sum::<usize>() as f64 / sizes.len().max(1) as f64;
        let flagged = all().filter(|(_, swing)| !swing.flags.is_empty()).count();
        let absent = all().map(|(_, swing)| swing.metrics.iter().filter(|one| one.is_none()).count()).sum::<usize>();
        format!(
            "{} swings that met a ball, {} that met nothing; {} analyses, {flagged} with flags, {:.1} % of metrics absent, \
             curves of {mean:.0} bytes in the mean",
            self.ball.len(),
            self.dry.len(),
            all().count(),
            100.0 * absent as f64 / (all().count() * Metric::COUNT).max(1) as f64,
        )
    }
}

/// Usual sensors mostly, and some that clip, lose packets or send a second range.
fn scenario(seed: u64) -> Scenario {
    let preset = match seed % 20 {
        0..=13 => Preset::Good,
        14..=16 => Preset::Dual,
        _ => Preset::Hobby,
    };
    let lost_share = if seed.is_multiple_of(9) { 0.03 } else { 0.0 };
    let kind = Kind::Lesson { events: EVENTS, calibrated: seed.is_multiple_of(3) };
    Scenario { mishaps: Mishaps { lost_share, gap_s: None }, ..Scenario::new(kind, preset, 7_000 + seed) }
}

fn lesson(seed: u64) -> Vec<Pooled> {
    let simulated = scenario(seed).run();
    let profile = Arc::new(simulated.profile.clone());
    let mut engine = Engine::new(simulated.profile);
    let mut events = engine.push(&simulated.samples);
    events.extend(engine.finish());
    let mut found: Vec<(u64, Pooled)> = Vec::new();
    for event in events {
        let Event::Swing { number, stage, swing } = event else { continue };
        if stage == Stage::Streaming {
            continue;
        }
        match found.iter_mut().find(|(known, _)| *known == number) {
            Some((_, pooled)) => pooled.told.push((stage, *swing)),
            None => found.push((number, Pooled { profile: Arc::clone(&profile), told: vec![(stage, *swing)] })),
        }
    }
    found.into_iter().map(|(_, pooled)| pooled).collect()
}
