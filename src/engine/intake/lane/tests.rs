use super::*;
use proptest::prelude::*;

const PER_PACKET: u64 = 10;
const STEP: u64 = 1000;

fn layout(sequence: Option<u64>, tick: Option<u64>) -> StreamLayout {
    StreamLayout {
        sequence_modulus: sequence,
        tick_modulus: tick,
        tick_hz: if tick.is_some() { 1e6 } else { 0.0 },
        sample_rate_hz: 1000.0,
        has_gyro: true,
    }
}

/// The k-th packet of a sensor that has been on for `k` packets.
fn packet(layout: &StreamLayout, k: u64) -> Readings {
    Readings {
        sequence: layout.sequence_modulus.map(|modulus| k % modulus),
        tick: layout.tick_modulus.map(|modulus| (k * PER_PACKET * STEP) % modulus),
        step_ticks: None,
        readings: vec![RawReading::default(); PER_PACKET as usize],
        ..Readings::default()
    }
}

/// When packet `k` is received, ns: its last sample, a delay that varies, and a clock that began long ago.
fn received_ns(k: u64) -> i64 {
    let jitter_ns = (k * 7919 % 13) as i64 * 1_000_000;
    1_700_000_000_000_000_000 + (k as i64 + 1) * 10_000_000 + jitter_ns
}

struct Run {
    lane: Lane,
    counts: Counts,
    out: Vec<Ordered>,
}

impl Run {
    fn new(layout: StreamLayout) -> Self {
        Self { lane: Lane::new(layout), counts: Counts::default(), out: Vec::new() }
    }

    fn take(&mut self, readings: Readings, received_utc_ns: i64) {
        self.lane.take(readings, received_utc_ns, &mut self.counts, &mut self.out);
    }

    fn of(layout: StreamLayout, order: impl IntoIterator<Item = u64>) -> Self {
        let mut run = Self::new(layout);
        for k in order {
            run.take(packet(&layout, k), received_ns(k));
        }
        run.lane.flush(&mut run.counts, &mut run.out);
        run
    }

    fn ticks(&self) -> Vec<i64> {
        let tick = |ordered: &Ordered| match ordered {
            Ordered::Readings(readings) => Some(readings.tick),
            Ordered::Restarted => None,
        };
        self.out.iter().filter_map(tick).collect()
    }

    fn restarts(&self) -> usize {
        self.out.iter().filter(|ordered| **ordered == Ordered::Restarted).count()
    }
}

const NUMBERED: Option<u64> = Some(1 << 16);
const TICKED: Option<u64> = Some(1 << 32);

#[test]
fn every_way_of_counting_goes_through_its_wraps() {
    // Packet numbers wrap after 655 s, 8 bits of them after 2.6 s; 24 bits of ticks after 16.8 s.
    for layout in [
        layout(NUMBERED, TICKED),
        layout(Some(256), TICKED),
        layout(Some(256), Some(1 << 24)),
        layout(NUMBERED, None),
        layout(None, TICKED),
        layout(None, Some(1 << 24)),
        layout(None, None),
    ] {
        let run = Run::of(layout, 0..200_000);
        let expected = Counts::default();
        assert_eq!(run.counts, expected, "{layout:?}");
        let ticks = run.ticks();
        let step = (ticks[1] - ticks[0]) as f64;
        assert_eq!(ticks.len(), 200_000);
        let wrong = ticks.iter().enumerate().find(|(k, tick)| **tick - ticks[0] != (*k as f64 * step) as i64);
        assert_eq!(wrong, None, "{layout:?}");
    }
}

#[test]
fn loss_is_counted_to_the_sample_whatever_counts() {
    let lost = |k: &u64| (500..503).contains(k) || *k == 900 || (2000..2100).contains(k);
    for layout in [layout(NUMBERED, TICKED), layout(Some(256), TICKED), layout(NUMBERED, None), layout(None, TICKED)] {
        let run = Run::of(layout, (0..5000).filter(|k| !lost(k)));
        assert_eq!((run.counts.lost_samples, run.counts.lost_packets), (1040, 104), "{layout:?}");
        assert_eq!(run.ticks().len(), 4896);
        assert_eq!((run.counts.duplicates, run.counts.late, run.counts.absurd), (0, 0, 0));
    }
}

#[test]
fn what_the_sensor_itself_lost_is_told_from_what_the_radio_lost() {
    let layout = layout(NUMBERED, TICKED);
    let mut run = Run::new(layout);
    for k in 0..100 {
        let mut readings = packet(&layout, k + if k < 50 { 0 } else { 3 });
        readings.sequence = Some(k);
        run.take(readings, received_ns(k + 3));
    }
    assert_eq!((run.counts.lost_in_sensor, run.counts.lost_samples, run.counts.lost_packets), (30, 0, 0));
}

#[test]
fn duplicates_disorder_and_late_packets_are_told_apart() {
    let run = Run::of(layout(NUMBERED, TICKED), [0, 1, 1, 2, 4, 3, 5, 5, 3, 6, 8, 9, 10, 11, 7, 12]);
    assert_eq!((run.counts.duplicates, run.counts.reordered, run.counts.late), (3, 1, 1));
    assert_eq!((run.counts.lost_packets, run.counts.lost_samples), (1, 10));
    let order: Vec<i64> = run.ticks().iter().map(|tick| tick / 10_000).collect();
    assert_eq!(order, [0, 1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12]);
}

#[test]
fn a_restart_is_told_from_a_gap_and_from_a_wrap() {
    for layout in [layout(NUMBERED, TICKED), layout(Some(256), Some(1 << 24)), layout(NUMBERED, None)] {
        let mut run = Run::new(layout);
        (0..1000).for_each(|k| run.take(packet(&layout, k), received_ns(k)));
        (0..50).for_each(|k| run.take(packet(&layout, k), received_ns(k + 1100)));
        assert_eq!((run.counts.restarts, run.restarts()), (1, 1), "{layout:?}");
        assert_eq!((run.counts.lost_samples, run.counts.absurd, run.ticks().len()), (0, 0, 1050), "{layout:?}");
    }
    // An hour without the sensor, which went on counting.
    let run = Run::of(layout(NUMBERED, TICKED), (0..100).chain(360_100..360_200));
    assert_eq!((run.restarts(), run.counts.lost_packets, run.counts.lost_samples), (0, 360_000, 3_600_000));
}

#[test]
fn a_lone_absurd_tick_is_left_out_and_a_stream_of_them_is_followed() {
    let layout = layout(NUMBERED, TICKED);
    let mut run = Run::new(layout);
    for k in 0..100 {
        let mut readings = packet(&layout, k);
        if k == 40 || k == 60 {
            readings.tick = Some(3_333_333_333);
        }
        run.take(readings, received_ns(k));
    }
    assert_eq!((run.counts.absurd, run.counts.restarts, run.counts.lost_packets), (2, 0, 2));
    // The tick leaps for good: never a stuck sensor.
    for k in 100..200 {
        let mut readings = packet(&layout, k);
        readings.tick = readings.tick.map(|tick| (tick + 3_000_000_000) % (1 << 32));
        run.take(readings, received_ns(k));
    }
    assert_eq!((run.counts.restarts, run.ticks().len()), (1, 198));
}

#[test]
fn the_hosts_clock_may_be_set() {
    let layout = layout(NUMBERED, TICKED);
    let mut run = Run::new(layout);
    for k in (0..300).filter(|k| *k != 200) {
        let step_ns = if k < 100 { 0 } else { -3_600_000_000_000 } + if k < 201 { 0 } else { 86_400_000_000_000 };
        run.take(packet(&layout, k), received_ns(k) + step_ns);
    }
    assert_eq!((run.counts.restarts, run.counts.absurd, run.counts.lost_packets), (0, 0, 1));
    assert_eq!(run.ticks().len(), 299);
}

#[test]
fn a_stalled_link_that_delivers_late_loses_nothing() {
    let layout = layout(NUMBERED, TICKED);
    let mut run = Run::new(layout);
    for k in 0..3000_u64 {
        // For 8 s nothing comes; then all of it at once.
        let at = if (1000..1800).contains(&k) { received_ns(1800) } else { received_ns(k) };
        run.take(packet(&layout, k), at);
    }
    assert_eq!((run.counts, run.out.len()), (Counts::default(), 3000));
}

#[test]
fn without_any_counter_a_silence_is_a_gap_of_its_length() {
    let layout = layout(None, None);
    let run = Run::of(layout, (0..1000).chain(1500..3000));
    let lost = run.counts.lost_samples as i64;
    assert!((lost - 5000).abs() <= 15, "{lost}: by the jitter of receive times");
    let ticks = run.ticks();
    assert_eq!(ticks[2499] - ticks[0], 2499 * 10 + lost);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever comes: no panic, ticks that only grow between restarts, and every packet accounted for.
    #[test]
    fn hostile_packets_are_all_accounted_for(
        moduli in prop::sample::select(vec![(NUMBERED, TICKED), (Some(256), Some(1 << 24)), (NUMBERED, None), (None, TICKED),
            (None, None), (Some(1), Some(1)), (Some(u64::MAX), Some(u64::MAX))]),
        packets in prop::collection::vec((any::<u64>(), any::<u64>(), any::<i64>(), 1_usize..20, 0_u8..4), 0..60),
    ) {
        let layout = layout(moduli.0, moduli.1);
        let mut run = Run::new(layout);
        for (k, (sequence, tick, received, count, kind)) in packets.iter().enumerate() {
            let mut readings = packet(&layout, k as u64);
            readings.readings.resize(*count, RawReading::default());
            let mut at = received_ns(k as u64);
            if *kind >= 1 {
                readings.tick = layout.tick_modulus.map(|modulus| tick % modulus);
            }
            if *kind >= 2 {
                readings.sequence = layout.sequence_modulus.map(|modulus| sequence % modulus);
                readings.step_ticks = Some(f64::from_bits(*tick));
            }
            if *kind == 3 {
                at = *received;
            }
            run.take(readings, at);
        }
        run.lane.flush(&mut run.counts, &mut run.out);
        let given = run.ticks().len() as u64;
        let counts = &run.counts;
        prop_assert_eq!(given + counts.duplicates + counts.late + counts.absurd, packets.len() as u64);
        let mut last = i64::MIN;
        for ordered in &run.out {
            match ordered {
                Ordered::Restarted => last = i64::MIN,
                Ordered::Readings(readings) => {
                    prop_assert!(readings.tick > last || layout.tick_modulus.is_none(), "{} after {last}", readings.tick);
                    last = readings.tick;
                }
            }
        }
    }
}
