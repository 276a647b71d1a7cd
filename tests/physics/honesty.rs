//! Whether σ is honest: over simulated swings the truth must lie within the intervals that are told.
//!
//! Each swing is another batter, bat, sensor specimen and mount. So the counts are binomial and the normalised squared
//! errors add up as χ² would, and both have bounds.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use swingd::engine::metrics::Metric;
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event};
use swingd::sim::{Kind, Preset, Scenario, Simulated, SwingKind, SwingTruth};

const SWINGS: u64 = 500;

/// The last word on each swing of a recording.
pub fn swings(simulated: &Simulated) -> Vec<Swing> {
    let mut engine = Engine::new(simulated.profile.clone());
    let mut events = engine.push(&simulated.samples);
    events.extend(engine.finish());
    let last: BTreeMap<u64, Swing> = events
        .into_iter()
        .filter_map(|event| if let Event::Swing { number, swing, .. } = event { Some((number, *swing)) } else { None })
        .collect();
    last.into_values().collect()
}

/// Every seed's swing with its truth, in the order of seeds. Each must be found, once, for what it was.
fn measured() -> Vec<(SwingTruth, Swing)> {
    let next = AtomicU64::new(0);
    let mut all: Vec<(u64, SwingTruth, Swing)> = std::thread::scope(|scope| {
        let work = || {
            let seeds = std::iter::from_fn(|| Some(next.fetch_add(1, Ordering::Relaxed)).filter(|seed| *seed < SWINGS));
            seeds.map(one).collect::<Vec<_>>()
        };
        let workers: Vec<_> = (0..2).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|worker| worker.join().expect("a worker")).collect()
    });
    all.sort_by_key(|one| one.0);
    all.into_iter().map(|(_, truth, swing)| (truth, swing)).collect()
}

fn one(seed: u64) -> (u64, SwingTruth, Swing) {
    let simulated = Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Good, 40_000 + seed).run();
    let found = swings(&simulated);
    let truth = simulated.truth.swings[0].clone();
    assert_eq!(found.len(), 1, "seed {seed}");
    let swing = found[0].clone();
    assert!(
        (swing.contact.0 - truth.contact_sensor_s).abs() < 5e-3,
        "seed {seed}: {} {}",
        swing.contact.0,
        truth.contact_sensor_s
    );
    assert_eq!(swing.contact_kind, truth.contact_kind, "seed {seed}");
    (seed, truth, swing)
}

/// Error and σ of each unflagged swing whose metric was told.
fn errors(all: &[(SwingTruth, Swing)], metric: Metric) -> Vec<(f64, f64)> {
    let m = metric.index();
    all.iter()
        .filter(|(_, swing)| swing.flags.is_empty())
        .filter_map(|(truth, swing)| Some((swing.metrics[m]?.value - truth.values.values[m]?, swing.metrics[m]?.sigma)))
        .collect()
}

/// The metrics whose errors are near enough to normal for their squares to add up as χ²: instants and what hangs on them
/// have two or more places where they may lie.
const NORMAL: [Metric; 9] = [
    Metric::BatSpeed,
    Metric::PeakBatSpeed,
    Metric::HandSpeed,
    Metric::HandSpeedAtContact,
    Metric::AttackAngle,
    Metric::BatTilt,
    Metric::PlaneTilt,
    Metric::TurnRate,
    Metric::RollRate,
];

/// The share within 1.96 σ: 95 %, four standard errors of a binomial share to either side (1 % each at 475 swings), and 1 %
/// less for a σ that is 4 % short. The mean of the normalised squares: 1 with a variance of 2/n (χ², Bar-Shalom, Li &
/// Kirubarajan, *Estimation with Applications to Tracking and Navigation*, 2001, § 5.4), four σ to either side, and a tenth
/// more for a σ that is 5 % off.
#[test]
fn the_truth_lies_within_the_intervals_told() {
    let all = measured();
    let unflagged = all.iter().filter(|(_, swing)| swing.flags.is_empty()).count();
    assert!(unflagged > 450, "{unflagged} of {SWINGS} unflagged");
    for metric in Metric::ALL {
        let errors = errors(&all, metric);
        let n = errors.len() as f64;
        assert!(n > 350.0, "{}: told {n} times", metric.key());
        let within = errors.iter().filter(|(error, sigma)| error.abs() <= 1.96 * sigma).count() as f64 / n;
        let share_error = (0.95 * 0.05 / n).sqrt();
        let shares = 0.95 - 4.0 * share_error - 0.01..=0.95 + 4.0 * share_error;
        assert!(shares.contains(&within), "{}: {within:.3} of {n} within 1.96 σ, not in {shares:?}", metric.key());
        if NORMAL.contains(&metric) {
            let mean = errors.iter().map(|(error, sigma)| (error / sigma).powi(2)).sum::<f64>() / n;
            let spread = 4.0 * (2.0 / n).sqrt();
            let bounds = (1.0 - spread) / 1.1..=(1.0 + spread) * 1.1;
            assert!(bounds.contains(&mean), "{}: normalised squares {mean:.3} of {n}, not in {bounds:?}", metric.key());
        }
    }
}
