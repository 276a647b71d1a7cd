//! A sensor of the project's own profile on the fake's air: it samples all the time, and sends once it is started.
//!
//! It knows what became of each packet, so that a test can tell what the program has to have counted.

use super::cage::Cage;
use crate::fake::FakeSensor;
use std::sync::{Arc, Mutex, MutexGuard};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use swingd::engine::device::own::{
    self, Answer, Capabilities, Information, PacketHeader, Request, Status, encode_packet,
};
use swingd::engine::device::{Exchange, RawReading};
use swingd::engine::geometry::G_MPS2;
use swingd::engine::sample::Sample;
use swingd::sim::{Kind, Preset, Scenario, SwingKind};
use uuid::Uuid;

/// Samples in a packet, and so packets every 19 ms.
pub const PER_PACKET: usize = 19;
/// Between two packets.
pub const PERIOD: Duration = Duration::from_millis(PER_PACKET as u64);
/// Ticks between samples: 1 MHz over 1 kHz.
const STEP: u32 = 1000;
/// What the standard services say of it.
pub const BATTERY_PERCENT: u8 = 81;
pub const HARDWARE: [&str; 3] = ["Made-up Works", "Knob One", "0.9.1"];

pub fn uuid(text: &str) -> Uuid {
    Uuid::parse_str(text).expect("a UUID")
}

/// What the bat does; still for ever after that.
pub struct Motion {
    samples: Vec<Sample>,
    /// Of bat and sensor; "" where it does not matter.
    pub profile_toml: String,
    /// The packet that holds the contact.
    pub contact_packet: usize,
}

impl Motion {
    /// A bat that lies still from the beginning.
    pub fn still() -> Arc<Self> {
        Arc::new(Self { samples: Vec::new(), profile_toml: String::new(), contact_packet: 0 })
    }

    /// One swing at a ball with rests around it.
    pub fn swing(seed: u64) -> Arc<Self> {
        let simulated = Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Good, seed).run();
        let contact_s = simulated.truth.swings[0].contact_sensor_s - simulated.samples[0].time.0;
        let contact_packet = (1e3 * contact_s) as usize / PER_PACKET;
        let profile_toml = simulated.profile.to_toml();
        Arc::new(Self { samples: simulated.samples, profile_toml, contact_packet })
    }

    /// Packets until it is over.
    pub fn packets(&self) -> usize {
        self.samples.len() / PER_PACKET
    }

    pub fn information(&self, boot_number: u32) -> Information {
        let capabilities = Capabilities { exchanges_times: true, ..Capabilities::default() };
        let good = Information::of(&Preset::Good.profile(), 1000.0);
        Information { capabilities, boot_number, firmware: "made up for tests".into(), ..good }
    }

    /// The packet of this number, as a sensor sends it that has counted from zero.
    pub fn packet(&self, number: usize) -> Vec<u8> {
        let header = PacketHeader {
            sequence: number as u16,
            tick: (number as u32).wrapping_mul(STEP * PER_PACKET as u32),
            span_ticks: STEP * (PER_PACKET as u32 - 1),
            ..PacketHeader::default()
        };
        self.packet_of(number, &header)
    }

    fn packet_of(&self, number: usize, header: &PacketHeader) -> Vec<u8> {
        let from = number * PER_PACKET;
        let readings: Vec<RawReading> = (from..from + PER_PACKET).map(|k| self.reading(k)).collect();
        encode_packet(&self.information(1), header, &readings).expect("readings that can be sent")
    }

    fn reading(&self, k: usize) -> RawReading {
        let last = self.packets() * PER_PACKET;
        let (gyro, accel) = match self.samples.get(k.min(last.saturating_sub(1))) {
            Some(sample) => (sample.gyro_s_radps, sample.accel_s_mps2),
            None => ([0.0, 0.0, 0.0].into(), [0.0, 0.0, G_MPS2].into()),
        };
        RawReading { gyro_s_radps: Some(gyro), accel_s_mps2: Some(accel), accel_hi_s_mps2: None }
    }
}

/// How it sends what it has sampled.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Manner {
    #[default]
    Well,
    /// It is connected, and sends nothing.
    Silent,
    /// Each packet twice.
    Doubled,
    /// The second of two before the first.
    Swapped,
    /// Twenty packets in the time of one.
    Flooding,
    /// Bytes that are no packet, in its place; what it has sampled is lost.
    Garbage(&'static [u8]),
}

/// What became of a packet.
#[derive(Clone, Copy, Debug)]
struct Sent {
    boot: u32,
    sequence: u16,
    arrived: bool,
}

struct State {
    motion: Arc<Motion>,
    manner: Manner,
    speed: f64,
    is_started: bool,
    /// Whether it has ever been: the motion begins then.
    has_begun: bool,
    boot: u32,
    /// Packets since it was switched on, and at its first motion's beginning.
    packet: usize,
    moved: usize,
    kept_back: Option<Vec<u8>>,
    doubled: u64,
    sent: Vec<Sent>,
    is_over: bool,
}

/// The sensor; it stays on the air when dropped, and sends no more.
pub struct Knob {
    pub address: String,
    state: Arc<Mutex<State>>,
    sending: Option<JoinHandle<()>>,
}

fn locked(state: &Mutex<State>) -> MutexGuard<'_, State> {
    state.lock().expect("no panic while it is held")
}

impl Knob {
    /// Appears on the air. Sends `speed` times as fast as it samples.
    pub fn appear(cage: &Cage, address: &str, name: &str, motion: Arc<Motion>, speed: f64) -> Self {
        cage.fake().add_sensor(advertised(address, name, &motion));
        let state = Arc::new(Mutex::new(State {
            motion,
            manner: Manner::Well,
            speed,
            is_started: false,
            has_begun: false,
            boot: 1,
            packet: 0,
            moved: 0,
            kept_back: None,
            doubled: 0,
            sent: Vec::new(),
            is_over: false,
        }));
        let asked = Arc::clone(&state);
        cage.fake().on_write(address, uuid(own::CONTROL), move |bytes| answers(&mut locked(&asked), bytes));
        let (shared, on, to) = (Arc::clone(&state), cage.clone(), address.to_owned());
        let sending = std::thread::spawn(move || send(&shared, &on, &to));
        Self { address: address.into(), state, sending: Some(sending) }
    }

    /// A still bat at its own speed.
    pub fn still(cage: &Cage, address: &str, name: &str) -> Self {
        Self::appear(cage, address, name, Motion::still(), 1.0)
    }

    pub fn behave(&self, manner: Manner) {
        locked(&self.state).manner = manner;
    }

    /// How many packets it has made since it was switched on.
    pub fn made(&self) -> usize {
        locked(&self.state).packet
    }

    /// How many packets arrived a second time.
    pub fn doubled(&self) -> u64 {
        locked(&self.state).doubled
    }

    /// It was off for a moment, and counts from zero; the connection is lost.
    pub fn restart(&self, cage: &Cage) {
        {
            let mut state = locked(&self.state);
            (state.boot, state.packet, state.is_started) = (state.boot + 1, 0, false);
            let information = state.motion.information(state.boot).encode();
            drop(state);
            cage.fake().set_value(&self.address, uuid(own::INFORMATION), &information);
        }
        cage.fake().lose(&self.address);
    }

    /// Samples that were lost on the way: between the first and the last packet of each boot that arrived.
    pub fn truly_lost(&self) -> u64 {
        let state = locked(&self.state);
        let lost = |boot: u32| {
            let of_boot: Vec<&Sent> = state.sent.iter().filter(|sent| sent.boot == boot).collect();
            let first = of_boot.iter().position(|sent| sent.arrived)?;
            let last = of_boot.iter().rposition(|sent| sent.arrived)?;
            Some(of_boot[first..last].iter().filter(|sent| !sent.arrived).count())
        };
        (PER_PACKET * (1..=state.boot).filter_map(lost).sum::<usize>()) as u64
    }

    /// The numbers of the packets that arrived.
    pub fn arrived(&self) -> Vec<u16> {
        locked(&self.state).sent.iter().filter(|sent| sent.arrived).map(|sent| sent.sequence).collect()
    }
}

impl Drop for Knob {
    fn drop(&mut self) {
        if let Ok(mut state) = self.state.lock() {
            state.is_over = true;
        }
        let _ = self.sending.take().map(JoinHandle::join);
    }
}

fn advertised(address: &str, name: &str, motion: &Motion) -> FakeSensor {
    let texts = [own::MANUFACTURER_NAME, own::MODEL_NUMBER, own::FIRMWARE_REVISION].map(uuid);
    let own = [(own::DATA, "notify"), (own::INFORMATION, "read"), (own::CONTROL, "write indicate")];
    let sensor = FakeSensor::new(address, name)
        .service(uuid(own::SERVICE), &own.map(|(text, flags)| (uuid(text), flags)))
        .service(uuid(own::BATTERY_SERVICE), &[(uuid(own::BATTERY_LEVEL), "read notify")])
        .service(uuid(own::DEVICE_INFORMATION_SERVICE), &texts.map(|text| (text, "read")))
        .value(uuid(own::INFORMATION), &motion.information(1).encode())
        .value(uuid(own::BATTERY_LEVEL), &[BATTERY_PERCENT]);
    texts.iter().zip(HARDWARE).fold(sensor, |sensor, (text, says)| sensor.value(*text, says.as_bytes()))
}

/// What a write to the control characteristic brings.
fn answers(state: &mut State, bytes: &[u8]) -> Vec<(Uuid, Vec<u8>)> {
    let answer = match Request::parse(bytes) {
        Ok(Request::ExchangeTimes { sent_utc_ns }) => {
            let tick = (state.packet as u32).wrapping_mul(STEP * PER_PACKET as u32);
            Answer::Exchanged(Exchange { sent_utc_ns, tick: tick.into() })
        }
        Ok(request) => {
            match request {
                Request::Start => (state.is_started, state.has_begun) = (true, true),
                Request::Stop => state.is_started = false,
                _ => {}
            }
            Answer::Told { opcode: request.opcode(), status: Status::Done }
        }
        Err(status) => Answer::Told { opcode: bytes.first().copied().unwrap_or(0), status },
    };
    vec![(uuid(own::CONTROL), answer.encode())]
}

/// Packets at their times, until it is over.
fn send(shared: &Mutex<State>, cage: &Cage, address: &str) {
    let mut due = Instant::now();
    loop {
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        // A connection that is lost ends with what was asked over it.
        let is_connected = cage.fake().is_connected(address);
        let mut state = locked(shared);
        if state.is_over {
            return;
        }
        state.is_started &= is_connected;
        if state.has_begun {
            let count = if state.manner == Manner::Flooding { 20 } else { 1 };
            (0..count).for_each(|_| send_one(&mut state, cage, address));
        }
        due += PERIOD.div_f64(state.speed);
    }
}

fn send_one(state: &mut State, cage: &Cage, address: &str) {
    let header = PacketHeader {
        sequence: state.packet as u16,
        tick: (state.packet as u32).wrapping_mul(STEP * PER_PACKET as u32),
        span_ticks: STEP * (PER_PACKET as u32 - 1),
        ..PacketHeader::default()
    };
    let bytes = state.motion.packet_of(state.moved, &header);
    (state.packet, state.moved) = (state.packet + 1, state.moved + 1);
    let is_started = state.is_started;
    let notify = |bytes: &[u8]| is_started && cage.fake().notify(address, uuid(own::DATA), bytes);
    let arrived = match state.manner {
        Manner::Silent => false,
        Manner::Garbage(garbage) => {
            notify(garbage);
            false
        }
        Manner::Doubled => {
            let arrived = notify(&bytes);
            state.doubled += u64::from(arrived && notify(&bytes));
            arrived
        }
        Manner::Swapped if state.kept_back.is_none() => {
            state.kept_back = Some(bytes);
            // Known when it is sent with the next one.
            true
        }
        Manner::Well | Manner::Swapped | Manner::Flooding => {
            let arrived = notify(&bytes);
            if let Some(kept_back) = state.kept_back.take() {
                let late = notify(&kept_back);
                state.sent.iter_mut().last().expect("it was made").arrived = late;
            }
            arrived
        }
    };
    state.sent.push(Sent { boot: state.boot, sequence: header.sequence, arrived });
}
