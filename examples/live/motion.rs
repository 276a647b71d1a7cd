//! A simulated lesson as the packets of a sensor that speaks the project's own profile.

use anyhow::Context;
use swingd::engine::device::RawReading;
use swingd::engine::device::own::{Information, PacketHeader, encode_packet};
use swingd::engine::sample::Sample;
use swingd::engine::wire::mcap::{DeviceRecord, Entry, LinkRecord, LinkState};
use swingd::sim::{Kind, Preset, Scenario, SwingKind, SwingTruth};

/// Samples in a packet: one every 19 ms.
pub const PER_PACKET: usize = 19;
/// Time between samples, s.
pub const STEP_S: f64 = 1e-3;
/// Ticks between samples: 1 MHz over 1 kHz.
const STEP_TICKS: u32 = 1000;
/// Where a packet has its sequence number and its tick (proto-docs/gatt-profile.md).
const SEQUENCE_AT: usize = 2;
const TICK_AT: usize = 4;

/// A swing that was simulated.
#[derive(Clone, Copy, Debug)]
pub struct TrueSwing {
    pub kind: SwingKind,
    /// From the first sample, s.
    pub contact_s: f64,
    /// End of the follow-through, from the first sample, s.
    pub over_s: f64,
}

/// What a sensor sends in a lesson.
#[derive(Clone, Debug)]
pub struct Lesson {
    pub packets: Vec<Vec<u8>>,
    pub swings: Vec<TrueSwing>,
    profile_toml: String,
    information: Information,
}

impl Lesson {
    /// Of so many swings and other events. The sensor's clock begins with the first sample at zero.
    ///
    /// # Errors
    /// If the simulator gives something that cannot be sent.
    pub fn simulated(seed: u64, events: usize) -> anyhow::Result<Self> {
        let simulated = scenario(seed, events).run();
        let information = information(&simulated.profile.sensor);
        let first_s = simulated.samples.first().context("a lesson without samples")?.time.0;
        let encoded = simulated.samples.chunks_exact(PER_PACKET).enumerate();
        let packets = encoded.map(|(place, samples)| packet(&information, place, samples)).collect::<Result<_, _>>()?;
        let swings = simulated.truth.swings.iter().map(|swing| TrueSwing {
            kind: swing.kind,
            contact_s: swing.contact_sensor_s - first_s,
            over_s: swing.active_sensor_s.1 - first_s,
        });
        Ok(Self { packets, swings: swings.collect(), profile_toml: simulated.profile.to_toml(), information })
    }

    /// What comes before the packets.
    pub fn preamble(&self, log_time_ns: u64) -> [Entry; 3] {
        let device = DeviceRecord { name: Some("simulated".into()), ..DeviceRecord::default() };
        [
            Entry::Profile { log_time_ns, toml: self.profile_toml.clone() },
            Entry::Link { log_time_ns, link: LinkRecord { state: LinkState::Connected, cause: None } },
            Entry::Device { log_time_ns, device: device.with_information(&self.information.encode()) },
        ]
    }

    /// How long it is, s.
    pub fn length_s(&self) -> f64 {
        at_s(self.packets.len())
    }
}

/// Of so many seeds those whose lessons have the most swings in `seconds`, or where that is infinite in a minute: motion in
/// which the simulator's usual lesson has a swing every twenty seconds would take long to show rare delays.
pub fn densest(candidates: std::ops::Range<u64>, events: usize, seconds: f64, count: usize) -> Vec<u64> {
    let density = |seed: u64| {
        let (_, truth) = scenario(seed, events).truth();
        let is_asked = |swing: &&SwingTruth| matches!(swing.kind, SwingKind::Ball | SwingKind::Dry);
        let in_time = truth.swings.iter().filter(is_asked).filter(|swing| swing.contact_sensor_s < seconds).count();
        let end_s = truth.motion.end_s();
        (seconds.is_infinite() || end_s > seconds + 1.0).then(|| (in_time as f64 / end_s.min(seconds), seed))
    };
    let mut all: Vec<(f64, u64)> = candidates.filter_map(density).collect();
    all.sort_by(|one, other| other.0.total_cmp(&one.0));
    all.into_iter().take(count).map(|(_, seed)| seed).collect()
}

fn scenario(seed: u64, events: usize) -> Scenario {
    Scenario::new(Kind::Lesson { events, calibrated: false }, Preset::Good, seed)
}

/// When a packet begins, from the first sample, s.
pub fn at_s(packet: usize) -> f64 {
    (packet * PER_PACKET) as f64 * STEP_S
}

/// When a packet can be handed over at the earliest, as its last sample is taken, from the first sample, s.
pub fn due_s(packet: usize) -> f64 {
    at_s(packet + 1) - STEP_S
}

/// The packet with the first sample at or after a time.
pub fn holding(time_s: f64) -> usize {
    (time_s / STEP_S - 1e-6).ceil().max(0.0) as usize / PER_PACKET
}

/// The same packet, sent as the one at `place` since the sensor was switched on.
pub fn moved(mut bytes: Vec<u8>, place: usize) -> Vec<u8> {
    let (sequence, tick) = (sequence(place).to_le_bytes(), tick(place).to_le_bytes());
    for (at, new) in [(SEQUENCE_AT, sequence.as_slice()), (TICK_AT, tick.as_slice())] {
        bytes.iter_mut().skip(at).zip(new).for_each(|(byte, new)| *byte = *new);
    }
    bytes
}

fn sequence(place: usize) -> u16 {
    place as u16
}

fn tick(place: usize) -> u32 {
    (place as u32).wrapping_mul(STEP_TICKS * PER_PACKET as u32)
}

fn packet(information: &Information, place: usize, samples: &[Sample]) -> anyhow::Result<Vec<u8>> {
    let header = PacketHeader {
        sequence: sequence(place),
        tick: tick(place),
        span_ticks: STEP_TICKS * (PER_PACKET as u32 - 1),
        ..PacketHeader::default()
    };
    let reading = |sample: &Sample| RawReading {
        gyro_s_radps: Some(sample.gyro_s_radps),
        accel_s_mps2: Some(sample.accel_s_mps2),
        accel_hi_s_mps2: None,
    };
    Ok(encode_packet(information, &header, &samples.iter().map(reading).collect::<Vec<_>>())?)
}

fn information(sensor: &swingd::engine::profile::SensorProfile) -> Information {
    let tick_hz = (f64::from(STEP_TICKS) / STEP_S).round();
    Information { tick_hz, firmware: "simulated".into(), ..Information::of(sensor, (1.0 / STEP_S).round()) }
}
