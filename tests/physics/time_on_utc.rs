//! The line that places a sensor's clock on UTC, on simulated links of which the truth is known.

mod world;

use proptest::prelude::*;
use swingd::engine::utc::{Poor, UtcLine};
use swingd::sim::Random;
use world::{Delays, SHAPES, World};

/// What a line tells at some instant, beside the truth.
#[derive(Clone, Copy, Debug)]
struct Told {
    error_s: f64,
    sigma_s: f64,
    drift_error_ppm: f64,
    drift_sigma_ppm: f64,
}

impl Told {
    fn of(line: &UtcLine, world: &World, t_s: f64) -> Self {
        let (found_utc_ns, sigma_s) = line.utc_ns(t_s).unwrap();
        let found = line.synchronisation().unwrap();
        Self {
            error_s: (found_utc_ns - world.utc_ns(world.host_s(t_s))) as f64 / 1e9,
            sigma_s,
            drift_error_ppm: found.drift_ppm - world.drift * 1e6,
            drift_sigma_ppm: found.drift_sigma_ppm,
        }
    }

    fn is_within(&self, sigmas: f64) -> bool {
        self.error_s.abs() < sigmas * self.sigma_s
    }
}

/// What the line tells at the ends of several lengths of session: three exchanges in the first seconds, if any, and one
/// a minute.
fn session(seed: u64, delays: Delays, with_exchanges: bool, ends_s: &[f64]) -> Vec<Told> {
    let mut world = World::new(seed, delays);
    let mut line = UtcLine::default();
    let mut exchanged = 0;
    let mut told = Vec::new();
    while told.len() < ends_s.len() {
        let (t_s, received_utc_ns) = world.packet();
        line.push(t_s, received_utc_ns);
        let host_s = world.host_s(t_s);
        let due_s = if exchanged < 3 { 1.0 + f64::from(exchanged) } else { 60.0 * f64::from(exchanged - 2) };
        if with_exchanges && host_s >= due_s {
            exchanged += 1;
            let (sent, at_s, received) = world.exchange(host_s);
            line.push_exchange(sent, at_s, received);
        }
        if host_s >= ends_s[told.len()] {
            told.push(Told::of(&line, &world, t_s));
        }
    }
    assert_eq!((line.steps(), line.refused()), (0, 0), "{delays:?} {seed}");
    assert!(!line.is_poor());
    told
}

/// Holds the share of truths within 1.96 σ, and the mean square of error over σ, of 200 sessions. Were errors normal, a
/// true share of 95 % would be seen with a σ of 1.5 %, a mean square of 1 with one of 0.1; a mean square of 0.3 is a σ
/// that is 1.8 times as wide as it need be.
fn judge(name: &str, mut told: Vec<Told>, widest_ms: f64) {
    let count = told.len() as f64;
    let share = told.iter().filter(|one| one.is_within(1.96)).count() as f64 / count;
    let mean_square = told.iter().map(|one| (one.error_s / one.sigma_s).powi(2)).sum::<f64>() / count;
    let drift_square = |one: &Told| (one.drift_error_ppm / one.drift_sigma_ppm).powi(2);
    let drift = told.iter().map(drift_square).sum::<f64>() / count;
    let rms_ms = (told.iter().map(|one| one.error_s.powi(2)).sum::<f64>() / count).sqrt() * 1e3;
    told.sort_by(|a, b| a.sigma_s.total_cmp(&b.sigma_s));
    let sigma_ms = told[told.len() / 2].sigma_s * 1e3;
    let figures = format!(
        "{name}: {:.1} % within 1.96 σ, mean square {mean_square:.2}, rms {rms_ms:.2} ms, median σ {sigma_ms:.2} ms; \
        mean square of the drift's {drift:.3}",
        100.0 * share
    );
    println!("{figures}");
    assert!(share >= 0.93 && drift < 1.3, "{figures}");
    assert!((0.3..1.3).contains(&mean_square) && sigma_ms < widest_ms, "{figures}");
}

#[test]
fn sigma_is_honest_for_every_shape_of_delay() {
    let ends_s = [10.0, 120.0];
    for delays in SHAPES {
        for with_exchanges in [false, true] {
            let runs: Vec<_> = (0..200).map(|seed| session(seed, delays, with_exchanges, &ends_s)).collect();
            for (at, end_s) in ends_s.iter().enumerate() {
                let name = format!("{delays:?}{}, {end_s} s", if with_exchanges { ", exchanges" } else { "" });
                judge(&name, runs.iter().map(|run| run[at]).collect(), 6.0);
            }
        }
    }
}

#[test]
fn sigma_is_honest_after_the_window_has_slid() {
    let free = SHAPES[..5].len() as u64;
    let late = |with_exchanges: bool| {
        let one = |seed: u64| session(seed, SHAPES[(seed % free) as usize], with_exchanges, &[900.0])[0];
        (1000..1200).map(one).collect::<Vec<_>>()
    };
    judge("900 s", late(false), 2.8);
    judge("900 s, exchanges", late(true), 2.4);
}

#[test]
fn exchanges_make_the_errors_smaller() {
    let rms_s = |with_exchanges: bool| {
        let square = |seed| session(seed, Delays::Events(0.0075), with_exchanges, &[60.0])[0].error_s.powi(2);
        ((300..500).map(square).sum::<f64>() / 200.0).sqrt()
    };
    let (without_s, with_s) = (rms_s(false), rms_s(true));
    assert!(with_s < 0.8 * without_s, "{with_s} s, {without_s} s without");
}

#[test]
fn a_first_pair_that_is_absurd_is_soon_forgotten() {
    for (t_s, utc_ns) in [(0.0, i64::MIN), (1e9, 0), (-5.0, i64::MAX)] {
        let (mut world, mut line) = (World::new(71, Delays::Events(0.015)), UtcLine::default());
        line.push(t_s, utc_ns);
        let t_s = feed(&mut world, &mut line, 10.0, 0);
        assert!(Told::of(&line, &world, t_s).is_within(3.0) && line.steps() == 1);
    }
}

/// A line fed for a while, and the world that feeds it.
fn fed(seed: u64, delays: Delays, until_s: f64) -> (World, UtcLine, f64) {
    let (mut world, mut line) = (World::new(seed, delays), UtcLine::default());
    let t_s = feed(&mut world, &mut line, until_s, 0);
    (world, line, t_s)
}

/// Goes on until a host time, with the host's clock set off by some ns; the last sensor time.
fn feed(world: &mut World, line: &mut UtcLine, until_s: f64, set_off_ns: i64) -> f64 {
    loop {
        let (t_s, received_utc_ns) = world.packet();
        line.push(t_s, received_utc_ns + set_off_ns);
        if world.host_s(t_s) >= until_s {
            return t_s;
        }
    }
}

#[test]
fn a_step_of_the_hosts_clock_begins_a_new_line() {
    for step_s in [-3600.0, -0.2, 0.2, 3600.0] {
        let (mut world, mut line, _) = fed(5, Delays::Events(0.015), 100.0);
        let set_off_ns = (step_s * 1e9) as i64;
        let t_s = feed(&mut world, &mut line, 160.0, set_off_ns);
        let told = Told::of(&line, &world, t_s);
        assert_eq!(line.steps(), 1, "{step_s} s");
        assert!((told.error_s - step_s).abs() < 3.0 * told.sigma_s && told.sigma_s < 0.006, "{step_s} s: {told:?}");
        let (sent, at_s, received) = world.exchange(160.0);
        line.push_exchange(sent + set_off_ns, at_s, received + set_off_ns);
        let told = Told::of(&line, &world, t_s);
        assert!((told.error_s - step_s).abs() < 3.0 * told.sigma_s, "{step_s} s: {told:?}");
    }
}

#[test]
fn a_queue_that_empties_is_no_step() {
    let (mut world, mut line, _) = fed(8, Delays::Events(0.015), 60.0);
    let before = line.clone();
    for _ in 0..200 {
        let (t_s, received_utc_ns) = world.packet();
        let delayed_until_ns = world.utc_ns(64.0);
        line.push(t_s, received_utc_ns.max(delayed_until_ns));
    }
    let t_s = feed(&mut world, &mut line, 70.0, 0);
    assert_eq!((line.steps(), line.refused(), line.why_poor()), (0, 0, None));
    assert!(Told::of(&line, &world, t_s).is_within(3.0));
    let moved_s = line.utc_ns(t_s).unwrap().0 - before.utc_ns(t_s).unwrap().0;
    assert!(moved_s.abs() < 2_000_000, "{moved_s} ns");
}

#[test]
fn an_hours_silence_is_no_step_and_widens_sigma() {
    let (mut world, mut line, t_s) = fed(11, Delays::Events(0.03), 300.0);
    let sigma_s = line.utc_ns(t_s).unwrap().1;
    world.made += (3600.0 / 0.019) as u64;
    let t_s = world.packet().0;
    let far = Told::of(&line, &world, t_s);
    assert!(far.is_within(3.0) && far.sigma_s > 2.0 * sigma_s, "{far:?}");
    let t_s = feed(&mut world, &mut line, 4000.0, 0);
    assert_eq!(line.steps(), 0);
    assert!(Told::of(&line, &world, t_s).is_within(3.0));
}

#[test]
fn absurd_values_among_good_ones_change_nothing() {
    let absurd_t_s = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 1e9, -1e9, 0.0];
    let absurd_utc_ns = [i64::MIN, i64::MAX, 0, -1];
    let (mut world, mut clean) = (World::new(21, Delays::Events(0.03)), UtcLine::default());
    let (mut line, mut random) = (UtcLine::default(), Random::new(4));
    let mut bad = 0;
    for k in 0..5000 {
        let (t_s, received_utc_ns) = world.packet();
        clean.push(t_s, received_utc_ns);
        line.push(t_s, received_utc_ns);
        if k > 0 && random.unit() < 0.2 {
            let pick = |random: &mut Random, count: usize| (random.unit() * count as f64) as usize;
            let (t, utc) = (absurd_t_s[pick(&mut random, 8)], absurd_utc_ns[pick(&mut random, 4)]);
            line.push(t, received_utc_ns);
            line.push(t_s, utc);
            line.push_exchange(utc, t_s, received_utc_ns);
            line.push_exchange(received_utc_ns, t, utc);
            bad += 4;
        }
    }
    assert_eq!((line.refused(), line.steps()), (bad, 0));
    assert_eq!(line.synchronisation(), clean.synchronisation());
    assert!(absurd_t_s[..5].iter().all(|&t_s| line.utc_ns(t_s).is_none()));
    assert!(absurd_t_s[5..].iter().all(|&t_s| line.utc_ns(t_s).is_some_and(|told| told.1.is_finite())));
}

#[test]
fn a_clock_of_one_per_cent_needs_to_be_announced() {
    let mut line = UtcLine::new(10_000.0);
    let mut world = World::new(31, Delays::Events(0.03));
    world.drift = 0.008;
    for until_s in [10.0, 100.0, 1000.0] {
        let t_s = feed(&mut world, &mut line, until_s, 0);
        let told = Told::of(&line, &world, t_s);
        assert!(told.is_within(3.0) && told.sigma_s < 0.012, "{until_s} s: {told:?}");
        assert!(told.drift_error_ppm.abs() < 3.0 * told.drift_sigma_ppm, "{told:?}");
    }
    assert_eq!(line.steps(), 0);
}

#[test]
fn packets_out_of_order_do_no_harm() {
    let (mut world, mut straight, mut swapped) =
        (World::new(41, Delays::Events(0.03)), UtcLine::default(), UtcLine::default());
    for _ in 0..3000 {
        let pair = [world.packet(), world.packet()];
        pair.iter().for_each(|&(t_s, received_utc_ns)| straight.push(t_s, received_utc_ns));
        pair.iter().rev().for_each(|&(t_s, received_utc_ns)| swapped.push(t_s, received_utc_ns));
    }
    let t_s = world.packet().0;
    let apart_ns = straight.utc_ns(t_s).unwrap().0 - swapped.utc_ns(t_s).unwrap().0;
    assert!(apart_ns.abs() < 1_000_000 && swapped.refused() == 0, "{apart_ns} ns");
}

#[test]
fn poor_synchronisation_says_why() {
    let mut line = UtcLine::default();
    assert_eq!((line.why_poor(), line.synchronisation(), line.utc_ns(0.0)), (Some(Poor::NoPair), None, None));
    let mut world = World::new(51, Delays::Events(0.03));
    feed(&mut world, &mut line, 4.0, 0);
    assert_eq!(line.why_poor(), Some(Poor::FewPairs));
    feed(&mut world, &mut line, 6.0, 0);
    assert!(!line.is_poor());
    line.reset();
    assert_eq!((line.why_poor(), line.utc_ns(0.0)), (Some(Poor::NoPair), None));

    let mut random = Random::new(3);
    for k in 0..60 {
        let t_s = f64::from(k) * 0.1;
        line.push(t_s, ((t_s + random.between(0.0, 2.0)) * 1e9) as i64);
    }
    assert_eq!(line.why_poor(), Some(Poor::WideScatter));
}

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), -1e9..1e9, -10.0..10.0, Just(0.0)]
}

fn any_ns() -> impl Strategy<Value = i64> {
    prop_oneof![any::<i64>(), -10_000_000_000..10_000_000_000_i64, Just(i64::MAX), Just(i64::MIN)]
}

proptest! {
    #[test]
    fn nothing_panics_and_every_sigma_is_a_number(
        pushes in prop::collection::vec((0..3_u8, any_number(), any_ns(), any_ns()), 0..300),
        drift_sigma_ppm in any::<f64>(),
        asked_s in any_number(),
    ) {
        let mut line = UtcLine::new(drift_sigma_ppm);
        for (kind, t_s, a_ns, b_ns) in pushes {
            match kind {
                0 => line.push_exchange(a_ns, t_s, b_ns),
                _ => line.push(t_s, a_ns),
            }
            if let Some((_, sigma_s)) = line.utc_ns(asked_s) {
                prop_assert!(sigma_s.is_finite() && sigma_s > 0.0);
            }
            let _ = line.why_poor();
        }
    }
}
