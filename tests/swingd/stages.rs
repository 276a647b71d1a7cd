//! What the engine tells of a swing, from its first estimate to its last: simulated recordings in, events looked into.

use std::collections::BTreeMap;
use std::sync::OnceLock;
use swingd::engine::metrics::{Flag, Metric};
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event, Stage};
use swingd::sim::{Kind, Preset, Scenario, SwingKind};

/// Number, stage and estimate.
type Told = (u64, Stage, Swing);

/// How many swings happened, and every estimate of each in the order told.
fn told(kind: Kind, preset: Preset, seed: u64) -> (usize, Vec<Told>) {
    let simulated = Scenario::new(kind, preset, seed).run();
    let mut engine = Engine::new(simulated.profile);
    let mut events = engine.push(&simulated.samples);
    events.extend(engine.finish());
    let swing = |event| match event {
        Event::Swing { number, stage, swing } => Some((number, stage, *swing)),
        Event::Rest { .. } | Event::Roll { .. } => None,
    };
    (simulated.truth.swings.len(), events.into_iter().filter_map(swing).collect())
}

/// A lesson at 208 Hz, simulated once.
fn lesson() -> &'static (usize, Vec<Told>) {
    static LESSON: OnceLock<(usize, Vec<Told>)> = OnceLock::new();
    LESSON.get_or_init(|| told(Kind::Lesson { events: 3, calibrated: false }, Preset::Hobby, 60_010))
}

#[test]
fn swings_are_numbered_from_zero_in_the_order_of_contact() {
    let (happened, told) = lesson();
    let mut firsts: Vec<(u64, f64)> = Vec::new();
    for (number, _, swing) in told {
        if firsts.iter().all(|first| first.0 != *number) {
            firsts.push((*number, swing.contact.0));
        }
    }
    let numbers: Vec<u64> = firsts.iter().map(|first| first.0).collect();
    assert_eq!(numbers, (0..firsts.len() as u64).collect::<Vec<_>>());
    assert!((2..=*happened).contains(&firsts.len()), "{firsts:?} of {happened}");
    assert!(firsts.windows(2).all(|pair| pair[0].1 < pair[1].1), "{firsts:?}");
}

#[test]
fn each_swing_is_told_at_contact_first_and_ever_better_to_the_last() {
    let mut stages: BTreeMap<u64, Vec<Stage>> = BTreeMap::new();
    for (number, stage, _) in &lesson().1 {
        stages.entry(*number).or_default().push(*stage);
    }
    assert!(stages.len() >= 2);
    for (number, stages) in stages {
        assert_eq!(stages.first(), Some(&Stage::Streaming), "swing {number}");
        assert_eq!(stages.last(), Some(&Stage::Revised), "swing {number}");
        assert!(stages.is_sorted_by(|a, b| a < b), "swing {number}: {stages:?}");
    }
}

/// What was seen does not change with what comes later: contact's kind and the flags are the first estimate's.
#[test]
fn a_later_estimate_keeps_kind_flags_and_about_the_contact() {
    let mut first: BTreeMap<u64, Swing> = BTreeMap::new();
    for (number, _, swing) in &lesson().1 {
        let before = first.entry(*number).or_insert_with(|| swing.clone());
        assert_eq!((swing.contact_kind, &swing.flags), (before.contact_kind, &before.flags), "swing {number}");
        assert!((swing.contact.0 - before.contact.0).abs() < 5e-3, "swing {number}: {:?}", swing.contact);
    }
}

/// The presets clip, are slow, or neither. The timing window alone may be absent for another reason: no pitch.
#[test]
fn a_number_is_absent_only_with_a_flag_that_says_why() {
    let mut flags: Vec<Flag> = Vec::new();
    let mut absent = 0;
    for (preset, seed) in
        [(Preset::Good, 1), (Preset::Dual, 2), (Preset::Hobby, 3), (Preset::Slow, 4), (Preset::Slow, 5)]
    {
        let (_, told) = told(Kind::Swing(SwingKind::Ball), preset, 60_000 + seed);
        assert!(!told.is_empty(), "{preset:?}");
        for (_, stage, swing) in told {
            flags.extend(&swing.flags);
            for metric in Metric::ALL.into_iter().filter(|m| *m != Metric::TimingWindow) {
                let is_absent = swing.metrics[metric.index()].is_none();
                absent += usize::from(is_absent);
                assert!(!is_absent || !swing.flags.is_empty(), "{preset:?}, {stage:?}: {metric:?}");
            }
            assert!(swing.flags.is_sorted_by(|a, b| a < b), "{:?}", swing.flags);
            assert_eq!(swing.flags.contains(&Flag::LowRate), matches!(preset, Preset::Hobby | Preset::Slow));
        }
    }
    assert!(absent > 0 && flags.contains(&Flag::AccelClipped), "{absent} {flags:?}");
}
