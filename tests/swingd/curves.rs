//! What a swing's curves take when they are kept, and that they come back: the bundled lesson and simulated swings.

use std::collections::BTreeMap;
use std::path::Path;
use swingd::daemon::files;
use swingd::engine::profile::Profile;
use swingd::engine::sample::Sample;
use swingd::engine::swing::{Curves, Swing};
use swingd::engine::{Engine, Event};
use swingd::report::curves::{Channel, CurvesJson, StoredCurves, decode, encode, to_csv};
use swingd::sim::{Kind, Preset, Scenario, SwingKind};

/// At most, on a grid of 1 ms and on one of 0.5 ms.
const MOST_BYTES: (usize, usize) = (3000, 5000);

/// The last word on each swing.
fn swings(profile: &Profile, samples: &[Sample]) -> Vec<Swing> {
    let mut engine = Engine::new(profile.clone());
    let mut events = engine.push(samples);
    events.extend(engine.finish());
    let mut last = BTreeMap::new();
    for event in events {
        if let Event::Swing { number, swing, .. } = event {
            last.insert(number, *swing);
        }
    }
    last.into_values().collect()
}

fn bundled() -> Vec<Swing> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let mut opened = files::open(&path).unwrap();
    let (mut samples, mut batch) = (Vec::new(), Vec::new());
    while opened.read_batch(&mut batch).unwrap() {
        samples.append(&mut batch);
    }
    swings(opened.profile(), &samples)
}

fn simulated(preset: Preset, kind: SwingKind, seed: u64) -> Vec<Swing> {
    let simulated = Scenario::new(Kind::Swing(kind), preset, seed).run();
    swings(&simulated.profile, &simulated.samples)
}

/// Greatest difference of kept curves from the engine's, in steps.
fn worst_steps(stored: &StoredCurves, curves: &Curves) -> f64 {
    let was = |channel: Channel, point: usize| match channel {
        Channel::BatSpeed => curves.bat_speed_mps[point],
        Channel::HandSpeed => curves.hand_speed_mps[point],
        Channel::TurnRate => curves.turn_rate_radps[point],
        Channel::SweetSpotX => curves.sweet_spot_w_m[point].x,
        Channel::SweetSpotY => curves.sweet_spot_w_m[point].y,
        Channel::SweetSpotZ => curves.sweet_spot_w_m[point].z,
        Channel::HandsX => curves.hands_w_m[point].x,
        Channel::HandsY => curves.hands_w_m[point].y,
        Channel::HandsZ => curves.hands_w_m[point].z,
    };
    let of = |channel: Channel| {
        let kept = stored.values(channel).enumerate();
        kept.map(move |(point, kept)| (kept - was(channel, point)).abs() * channel.steps_a_unit())
    };
    Channel::ALL.into_iter().flat_map(of).fold(0.0, f64::max)
}

#[test]
fn a_swings_curves_are_small_whole_and_come_back() {
    let mut groups = vec![("bundled lesson", bundled())];
    let balls = (0..2).flat_map(|n| simulated(Preset::Good, SwingKind::Ball, 50_000 + n));
    groups.push(("good, ball", balls.collect()));
    groups.push(("good, dry", simulated(Preset::Good, SwingKind::Dry, 50_002)));
    groups.push(("fast, dry", simulated(Preset::Fast, SwingKind::Dry, 50_008)));
    groups.push(("slow, ball", simulated(Preset::Slow, SwingKind::Ball, 50_006)));
    for (name, swings) in groups {
        assert!(!swings.is_empty(), "{name}");
        let mut sizes = Vec::new();
        for Swing { curves, start, contact, .. } in &swings {
            let stored = StoredCurves::new(curves).unwrap();
            let bytes = encode(&stored);
            assert_eq!(decode(&bytes).unwrap(), stored, "{name}");
            assert!(worst_steps(&stored, curves) < 0.5 + 1e-6, "{name}");
            assert_eq!(stored.points(), curves.times_s.len());
            assert!(stored.first_s() <= start.0 - contact.0 && stored.first_s() < -0.5, "{name}: the swing's start");
            let times_s = stored.times_s().zip(&curves.times_s);
            let worst_s = times_s.map(|(kept_s, was_s)| (kept_s - was_s).abs()).fold(0.0, f64::max);
            assert!(worst_s < 1e-6, "{name}: {worst_s} s");
            let most = if stored.step_s() > 0.9e-3 { MOST_BYTES.0 } else { MOST_BYTES.1 };
            assert!(bytes.len() <= most, "{name}: {} bytes", bytes.len());
            let json = serde_json::to_string(&CurvesJson::from(&stored)).unwrap().len();
            sizes.push((bytes.len(), stored.points(), json, to_csv(&stored).len()));
        }
        sizes.sort_unstable();
        println!("{name}: bytes, points, JSON, CSV: median {:?}, worst {:?}", sizes[sizes.len() / 2], sizes.last());
    }
}
