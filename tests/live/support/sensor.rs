//! A sensor on a bat that is swung as the simulator says, sending the project's own profile; with its faults.

use std::sync::Arc;
use swingd::daemon::radio::Sink;
use swingd::engine::device::own::{
    self, Answer, Capabilities, Information, PacketHeader, Request, Status, encode_packet,
};
use swingd::engine::device::{Exchange, RawReading};
use swingd::engine::profile::SensorProfile;
use swingd::engine::sample::Sample;
use swingd::sim::{Kind, Preset, Random, Scenario};
use uuid::Uuid;

/// Samples in a packet, and so packets every 19 ms.
pub const PER_PACKET: usize = 19;
/// Ticks between samples: 1 MHz over 1 kHz.
const STEP: u32 = 1000;

/// What the bat does, shared by all sessions that use it.
#[derive(Clone)]
pub struct Motion {
    pub samples: Vec<Sample>,
    pub information: Information,
    pub profile_toml: String,
    /// True contacts, s from the first sample.
    pub contacts_s: Vec<f64>,
}

impl Motion {
    /// A lesson of a few swings and other events.
    pub fn lesson(seed: u64, events: usize) -> Arc<Self> {
        let simulated = Scenario::new(Kind::Lesson { events, calibrated: false }, Preset::Good, seed).run();
        let information = information(&simulated.profile.sensor);
        let first_s = simulated.samples[0].time.0;
        let contacts_s = simulated.truth.swings.iter().map(|swing| swing.contact_sensor_s - first_s).collect();
        let profile_toml = simulated.profile.to_toml();
        Arc::new(Self { samples: simulated.samples, information, profile_toml, contacts_s })
    }
}

/// How often a packet meets what.
#[derive(Clone, Copy, Debug, Default)]
pub struct Rates {
    pub lost: f64,
    pub burst_lost: f64,
    pub doubled: f64,
    pub swapped: f64,
    pub spoilt: f64,
    pub absurd: f64,
}

/// A connection as the sensor sees it.
pub struct Subscriber {
    pub sink: Sink,
    pub data: bool,
    pub control: bool,
    pub started: bool,
}

/// What truly became of a packet.
#[derive(Clone, Copy, Debug)]
pub struct Sent {
    pub boot: u32,
    pub samples: u64,
    pub arrived: bool,
}

pub struct Sensor {
    pub motion: Arc<Motion>,
    pub is_on: bool,
    pub in_reach: bool,
    pub connect_hangs: bool,
    pub subscriber: Option<Subscriber>,
    pub rates: Rates,
    /// Every packet since it was first started.
    pub sent: Vec<Sent>,
    pub boots: u32,
    /// The next sample of the motion; goes on while the sensor is off.
    pub cursor: usize,
    pub has_begun: bool,
    sequence: u16,
    tick: u32,
    burst: u32,
    /// A packet that is to go after the next one, and its place in `sent`.
    kept_back: Option<(usize, Vec<u8>)>,
    random: Random,
}

impl Sensor {
    pub fn new(motion: Arc<Motion>, rates: Rates, mut random: Random) -> Self {
        let (sequence, tick) = (random.bits() as u16, random.bits() as u32);
        Self {
            motion,
            is_on: true,
            in_reach: true,
            connect_hangs: false,
            subscriber: None,
            rates,
            sent: Vec::new(),
            boots: 1,
            cursor: 0,
            has_begun: false,
            sequence,
            tick,
            burst: 0,
            kept_back: None,
            random,
        }
    }

    pub fn information(&self) -> Vec<u8> {
        Information { boot_number: self.boots, ..self.motion.information.clone() }.encode()
    }

    /// Whether the motion is over.
    pub fn is_over(&self) -> bool {
        self.cursor + PER_PACKET > self.motion.samples.len()
    }

    /// It was off, and counts from zero.
    pub fn restart(&mut self) {
        self.is_on = true;
        self.boots += 1;
        self.sequence = 0;
        self.tick = 0;
    }

    pub fn switch_off(&mut self) {
        self.is_on = false;
        self.cut();
    }

    /// The connection ends, and with it what was kept back.
    pub fn cut(&mut self) {
        self.subscriber = None;
        self.forget_kept_back();
    }

    fn forget_kept_back(&mut self) {
        if let Some((place, _)) = self.kept_back.take() {
            self.sent[place].arrived = false;
        }
    }

    /// Samples that were lost on the way and can be known to be: between the first and the last packet of each boot that
    /// arrived.
    pub fn truly_lost(&self) -> u64 {
        let mut lost = 0;
        for boot in 1..=self.boots {
            let of_boot: Vec<_> = self.sent.iter().filter(|sent| sent.boot == boot).collect();
            let first = of_boot.iter().position(|sent| sent.arrived);
            let last = of_boot.iter().rposition(|sent| sent.arrived);
            if let (Some(first), Some(last)) = (first, last) {
                lost += of_boot[first..last].iter().filter(|sent| !sent.arrived).map(|sent| sent.samples).sum::<u64>();
            }
        }
        lost
    }

    /// 19 ms have passed.
    pub fn packet(&mut self) {
        let hears = self.subscriber.as_ref().is_some_and(|it| it.data && it.started) && self.is_on;
        self.has_begun |= hears;
        if !self.has_begun || self.is_over() {
            return;
        }
        let samples = &self.motion.samples[self.cursor..self.cursor + PER_PACKET];
        let readings: Vec<RawReading> = samples.iter().map(reading).collect();
        self.cursor += PER_PACKET;
        if !self.is_on {
            return;
        }
        let header = PacketHeader {
            sequence: self.sequence,
            tick: self.tick,
            span_ticks: STEP * (PER_PACKET as u32 - 1),
            ..PacketHeader::default()
        };
        self.sequence = self.sequence.wrapping_add(1);
        self.tick = self.tick.wrapping_add(STEP * PER_PACKET as u32);
        let bytes = encode_packet(&self.motion.information, &header, &readings).unwrap();
        let arrived = hears && self.in_reach && self.deliver(bytes);
        self.sent.push(Sent { boot: self.boots, samples: PER_PACKET as u64, arrived });
        if !hears || !self.in_reach {
            self.forget_kept_back();
        }
    }

    /// What a write to the control characteristic brings.
    pub fn request(&mut self, bytes: &[u8]) {
        let Ok(request) = Request::parse(bytes) else { return };
        let Some(subscriber) = &mut self.subscriber else { return };
        match request {
            Request::Start => subscriber.started = true,
            Request::Stop => subscriber.started = false,
            _ => {}
        }
        let answer = answer(&request, self.tick);
        if subscriber.control && self.in_reach {
            (subscriber.sink)(uuid(own::CONTROL), answer.encode());
        }
    }

    /// Whether the packet's samples come through.
    fn deliver(&mut self, bytes: Vec<u8>) -> bool {
        let rates = self.rates;
        if self.random.chance(rates.burst_lost) {
            self.burst = 1 + self.random.index(40) as u32;
        }
        if self.burst > 0 || self.random.chance(rates.lost) {
            self.burst = self.burst.saturating_sub(1);
            self.release();
            return false;
        }
        if self.random.chance(rates.spoilt) {
            let spoilt = self.spoil(bytes);
            self.send(spoilt);
            self.release();
            return false;
        }
        if self.random.chance(rates.absurd) {
            let mut absurd = bytes;
            absurd[6] = absurd[6].wrapping_add(0x80);
            absurd[7] = absurd[7].wrapping_add(0x55);
            self.send(absurd);
            self.release();
            return false;
        }
        if self.kept_back.is_none() && self.random.chance(rates.swapped) {
            self.kept_back = Some((self.sent.len(), bytes));
            return true;
        }
        if self.random.chance(rates.doubled) {
            self.send(bytes.clone());
        }
        self.send(bytes);
        self.release();
        true
    }

    /// A packet that was kept back goes after the next one.
    fn release(&mut self) {
        if let Some((_, bytes)) = self.kept_back.take() {
            self.send(bytes);
        }
    }

    fn spoil(&mut self, mut bytes: Vec<u8>) -> Vec<u8> {
        match self.random.index(5) {
            0 => bytes.truncate(self.random.index(bytes.len())),
            1 => bytes.extend([0; 9]),
            2 => bytes[0] = 2 + self.random.index(200) as u8,
            3 => bytes[8] = 0,
            _ => bytes = vec![0xff; self.random.index(600)],
        }
        bytes
    }

    fn send(&self, bytes: Vec<u8>) {
        if let Some(subscriber) = &self.subscriber {
            (subscriber.sink)(uuid(own::DATA), bytes);
        }
    }
}

/// What a sensor of this profile says of itself.
pub fn information(sensor: &SensorProfile) -> Information {
    let capabilities = Capabilities { exchanges_times: true, ..Capabilities::default() };
    Information { capabilities, firmware: "made up for tests".into(), ..Information::of(sensor, 1000.0) }
}

/// A sample as it is sent.
pub fn reading(sample: &Sample) -> RawReading {
    RawReading {
        gyro_s_radps: Some(sample.gyro_s_radps),
        accel_s_mps2: Some(sample.accel_s_mps2),
        accel_hi_s_mps2: None,
    }
}

pub fn uuid(text: &str) -> Uuid {
    Uuid::parse_str(text).unwrap()
}

fn answer(request: &Request, tick: u32) -> Answer {
    match *request {
        Request::ExchangeTimes { sent_utc_ns } => Answer::Exchanged(Exchange { sent_utc_ns, tick: tick.into() }),
        _ => Answer::Told { opcode: request.opcode(), status: Status::Done },
    }
}
