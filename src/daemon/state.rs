//! What there is to say of a sensor now, and what is wrong with it.

use super::clock::Now;
use super::inlet::Inlet;
use super::station::RecordingStatus;
use crate::engine::device::own;
use crate::engine::intake::Counts;
use crate::engine::session::{Session, ToldSwing};
use crate::engine::wire::mcap::{Entry, LinkState};
use serde::Serialize;
use std::collections::VecDeque;
use std::time::Duration;

/// A connected sensor that is silent for so long is said to be, s. With the look every quarter of a second: within 2 s.
const SILENT_S: f64 = 1.5;
/// What happens now and then is judged over so long, s.
const WINDOW_S: f64 = 5.0;
/// More than this share of samples lost in the window is a fault.
const LOSS_SHARE: f64 = 0.01;
/// What is found lost so soon after a connection was made, or after unreadable packets, was lost by these: it is counted,
/// but being closer to the sensor would not help.
const SETTLING: Duration = Duration::from_secs(1);
/// Two clocks have come together after some seconds; a fault is what takes longer.
const UTC_SETTLING: Duration = Duration::from_secs(30);
/// A sensor that sends so many times its rate floods.
const FLOOD_TIMES: f64 = 2.0;
/// Or whose packets, duplicates too, would hold so many times its rate.
const FLOOD_PACKETS_TIMES: f64 = 3.0;
/// So many packets a second are a flood from any sensor.
const FLOOD_PACKETS_PER_S: f64 = 1000.0;

/// A fault's key, and if it is there, cause and remedy.
pub(super) type Wrong = (&'static str, Option<(String, String)>);

/// A sensor's state as it leaves the program.
#[derive(Debug, Serialize)]
pub struct SensorState {
    sensor: String,
    name: Option<String>,
    /// Manufacturer, model and firmware, as far as the sensor says.
    hardware: Option<String>,
    link: &'static str,
    battery_percent: Option<u8>,
    /// Over the last seconds.
    sample_rate_hz: f64,
    /// Share of samples that were lost in the last seconds.
    lost_share: f64,
    /// Whether a channel was at the end of its range in the last seconds.
    clipping: bool,
    /// For how long nothing has come, whole seconds; absent before the first packet.
    silent_s: Option<u64>,
    swings: u64,
    counts: CountsJson,
    utc_sigma_s: Option<f64>,
    recording: RecordingJson,
}

#[derive(Debug, Serialize)]
struct CountsJson {
    notifications: u64,
    packets: u64,
    samples: u64,
    lost_packets: u64,
    lost_samples: u64,
    lost_in_sensor: u64,
    overruns: u64,
    duplicates: u64,
    reordered: u64,
    late: u64,
    absurd: u64,
    restarts: u64,
    faulty_samples: u64,
    unreadable: u64,
    dropped: u64,
}

#[derive(Debug, Serialize)]
struct RecordingJson {
    file: Option<String>,
    entries: u64,
    lost_entries: u64,
}

/// What a station keeps of the last seconds.
pub(super) struct Live {
    sensor: String,
    name: Option<String>,
    hardware: Option<String>,
    link: Option<LinkState>,
    connected_at: Option<Duration>,
    battery_percent: Option<u8>,
    swings: u64,
    window: VecDeque<Snapshot>,
    /// Why the sensor's word on how to read it cannot be used, and its profile.
    device_problem: Option<String>,
    profile_problem: Option<String>,
    is_described: bool,
    /// Until when lost samples are not the air's; `None`: until some time after the next packet.
    settled: Option<Duration>,
    lost_on_air: u64,
    /// As of the last look.
    lost: u64,
    bad: u64,
    utc_poor_since: Option<Duration>,
    /// When the last entry came, on its own clock, ns, and on this machine's. A playback's own clock may run faster.
    last_entry: Option<(i64, Duration)>,
}

#[derive(Clone, Copy, Default)]
struct Snapshot {
    /// On the stream's own clock, s, if there is one.
    at_s: f64,
    on_stream: bool,
    samples: u64,
    lost: u64,
    lost_on_air: u64,
    bad: u64,
    absurd: u64,
    clipped: u64,
    dropped: u64,
    notifications: u64,
}

impl Live {
    pub(super) fn new(sensor: &str) -> Self {
        Self {
            sensor: sensor.into(),
            name: None,
            hardware: None,
            link: None,
            connected_at: None,
            battery_percent: None,
            swings: 0,
            window: VecDeque::new(),
            device_problem: None,
            profile_problem: None,
            is_described: false,
            settled: None,
            lost_on_air: 0,
            lost: 0,
            bad: 0,
            utc_poor_since: None,
            last_entry: None,
        }
    }

    pub(super) fn take(&mut self, entry: &Entry, now: Now) {
        match entry {
            Entry::Packet(packet) => self.last_entry = Some((packet.received_utc_ns, now.elapsed)),
            Entry::Samples { log_time_ns, .. } => self.last_entry = Some((*log_time_ns as i64, now.elapsed)),
            _ => {}
        }
        if matches!(entry, Entry::Packet(_)) && self.settled.is_none() {
            self.settled = Some(now.elapsed + SETTLING);
        }
        match entry {
            Entry::Link { link, .. } => {
                self.link = Some(link.state);
                self.connected_at = (link.state == LinkState::Connected).then_some(now.elapsed);
                self.settled = None;
            }
            Entry::Device { device, .. } => {
                self.name = device.name.clone().or(self.name.take());
                self.hardware = device.hardware.clone().or(self.hardware.take());
                self.is_described = device.descriptor_toml.is_some();
                self.device_problem = None;
            }
            Entry::Profile { .. } => self.profile_problem = None,
            Entry::Packet(packet) if packet.characteristic == own::BATTERY_LEVEL => {
                self.battery_percent = own::battery_percent(&packet.bytes);
            }
            Entry::Packet(_) | Entry::Samples { .. } | Entry::AtThePlate { .. } => {}
        }
    }

    pub(super) fn swing(&mut self, swing: &ToldSwing) {
        self.swings = self.swings.max(swing.number + 1);
    }

    /// An entry could not be used. To be told after [`take`](Self::take).
    pub(super) fn problem(&mut self, entry: &Entry, cause: &str) {
        let problem = match entry {
            Entry::Profile { .. } => &mut self.profile_problem,
            _ => &mut self.device_problem,
        };
        *problem = Some(cause.to_owned());
    }

    /// The recording has ended, and with it all counts.
    pub(super) fn closed(&mut self) {
        self.window.clear();
        self.swings = 0;
        (self.lost_on_air, self.lost, self.bad) = (0, 0, 0);
    }

    pub(super) fn state(
        &mut self,
        session: &Session,
        inlet: &Inlet,
        recording: &RecordingStatus,
        now: Now,
    ) -> SensorState {
        let present = self.snapshot(session, inlet, now);
        SensorState {
            sensor: self.sensor.clone(),
            name: self.name.clone(),
            hardware: self.hardware.clone(),
            link: match self.link {
                None => "waiting",
                Some(LinkState::Connected) => "connected",
                Some(LinkState::Lost) => "lost",
            },
            battery_percent: self.battery_percent,
            sample_rate_hz: (10.0 * present.per_second(|s| s.samples)).round() / 10.0,
            lost_share: present.lost_share(),
            clipping: present.more(|s| s.clipped) > 0,
            silent_s: inlet.silent_s(now).map(|silent_s| silent_s as u64),
            swings: self.swings,
            counts: counts_json(session, inlet),
            utc_sigma_s: session.utc_sigma_s(),
            recording: RecordingJson {
                file: recording.file.clone(),
                entries: recording.written,
                lost_entries: recording.lost,
            },
        }
    }

    /// Every fault this looks for, there or not. To be asked after [`state`](Self::state).
    pub(super) fn faults(
        &self,
        session: &Session,
        inlet: &Inlet,
        recording: &RecordingStatus,
        now: Now,
    ) -> [Wrong; 10] {
        let present = self.window();
        let is_connected = self.link == Some(LinkState::Connected);
        let since_connected_s = self.connected_at.map(|at| now.elapsed.saturating_sub(at).as_secs_f64());
        let silent_s = inlet.silent_s(now).into_iter().chain(since_connected_s).reduce(f64::min);
        let silent_s = silent_s.filter(|silent_s| is_connected && *silent_s > SILENT_S);
        let wrong = |there: bool, cause: String, remedy: &str| there.then(|| (cause, remedy.to_owned()));
        [
            (
                "no_data",
                silent_s.map(|_| {
                    let cause = "the sensor is connected but sends nothing".to_owned();
                    (cause, "the connection is made anew by itself; should that not help, restart the sensor".into())
                }),
            ),
            (
                "loss",
                wrong(
                    present.share(|s| s.lost_on_air) > LOSS_SHARE,
                    format!("{:.0} % of the samples are lost on the way", 100.0 * present.share(|s| s.lost_on_air)),
                    "bring the laptop closer, out of the way of bodies and metal; stop other Bluetooth transfers",
                ),
            ),
            (
                "unreadable",
                wrong(
                    present.more(|s| s.bad) > 0,
                    format!("packets do not fit the sensor's layout ({})", causes(session.counts())),
                    self.remedy_of_layout(),
                ),
            ),
            (
                "absurd",
                wrong(
                    present.more(|s| s.absurd) > 0,
                    "packets carry times that fit neither those before nor those after".into(),
                    "restart the sensor; the packets are left out, and kept in the recording",
                ),
            ),
            (
                "dropped",
                wrong(
                    present.more(|s| s.dropped) > 0,
                    "this machine is too busy to take all packets".into(),
                    "close other programs; connect fewer sensors",
                ),
            ),
            ("flood", self.flood(session, &present)),
            ("device", self.device_problem.clone().map(|cause| (cause, self.remedy_of_layout().into()))),
            ("profile", self.profile_problem.clone().map(|cause| (cause, "correct the sensor's profile".into()))),
            ("recording", recording.trouble.clone()),
            ("utc", self.poor_utc(session, now)),
        ]
    }

    /// For a sensor that cannot be read as it says.
    fn remedy_of_layout(&self) -> &'static str {
        if self.is_described {
            "check that the descriptor fits the sensor's firmware, or update one of them; packets are kept in the recording"
        } else {
            "update the sensor's firmware or this program, so that they fit; packets are kept in the recording"
        }
    }

    fn poor_utc(&self, session: &Session, now: Now) -> Option<(String, String)> {
        let reason = session.utc().why_poor()?;
        let since = self.utc_poor_since.filter(|since| now.elapsed > *since + UTC_SETTLING);
        let remedy = "nothing for single swings; to match them with film or other sensors, wait a minute";
        since.map(|_| (format!("the sensor's clock is placed on UTC poorly: {reason}"), remedy.into()))
    }

    fn flood(&self, session: &Session, present: &Window) -> Option<(String, String)> {
        let (samples_hz, packets_hz) = (present.per_second(|s| s.samples), present.per_second(|s| s.notifications));
        let Some(nominal_hz) = session.nominal_rate_hz() else {
            let cause = || format!("the sensor, which cannot be read, sends {packets_hz:.0} packets a second");
            let is_flood = present.seconds > 1.0 && packets_hz > FLOOD_PACKETS_PER_S;
            return is_flood.then(|| (cause(), "switch the sensor off".into()));
        };
        // What waits to be read, or was left out, floods as well.
        let counts = session.counts();
        let coming_hz = packets_hz * counts.samples as f64 / counts.packets.max(1) as f64;
        let is_flood = present.seconds > 1.0
            && (samples_hz > FLOOD_TIMES * nominal_hz
                || coming_hz > FLOOD_PACKETS_TIMES * nominal_hz
                || packets_hz > FLOOD_PACKETS_PER_S);
        is_flood.then(|| {
            let cause = format!("the sensor sends {packets_hz:.0} packets and {samples_hz:.0} samples a second");
            (cause, format!("restart the sensor: {nominal_hz:.0} samples a second are expected"))
        })
    }

    fn snapshot(&mut self, session: &Session, inlet: &Inlet, now: Now) -> Window {
        let counts = session.counts();
        self.look_at_losses(counts, now);
        let at_s = self.last_entry.map_or(now.elapsed.as_secs_f64(), |(entry_ns, at)| {
            entry_ns as f64 * 1e-9 + now.elapsed.saturating_sub(at).as_secs_f64()
        });
        // Before the first entry this machine's clock was read instead; and the stream's is set back with the host's.
        if self.window.back().is_some_and(|last| last.on_stream != self.last_entry.is_some() || last.at_s > at_s) {
            self.window.clear();
        }
        self.window.push_back(Snapshot {
            on_stream: self.last_entry.is_some(),
            at_s,
            samples: session.clock().samples,
            lost: counts.lost_samples,
            lost_on_air: self.lost_on_air,
            bad: counts.bad_packets(),
            absurd: counts.absurd,
            clipped: counts.clipped_packets,
            dropped: inlet.dropped(),
            notifications: inlet.received(),
        });
        while self.window.len() > 2 && self.window.get(1).is_some_and(|s| at_s - s.at_s >= WINDOW_S) {
            self.window.pop_front();
        }
        let present = self.window();
        // Decoded samples have no receive times to compare.
        let is_poor = counts.packets > 0 && session.utc().why_poor().is_some() && present.more(|s| s.samples) > 0;
        self.utc_poor_since = self.utc_poor_since.or(Some(now.elapsed)).filter(|_| is_poor);
        present
    }

    /// Tells what was lost on the air from what a lost connection or unreadable packets have cost.
    fn look_at_losses(&mut self, counts: &Counts, now: Now) {
        let bad = counts.bad_packets();
        if bad > self.bad {
            self.settled = Some(now.elapsed + SETTLING);
        }
        if self.settled.is_some_and(|settled| now.elapsed > settled) {
            self.lost_on_air += counts.lost_samples.saturating_sub(self.lost);
        }
        (self.lost, self.bad) = (counts.lost_samples, bad);
    }

    fn window(&self) -> Window {
        let first = self.window.front().copied().unwrap_or_default();
        let last = self.window.back().copied().unwrap_or_default();
        Window { first, last, seconds: last.at_s - first.at_s }
    }
}

/// The last seconds.
struct Window {
    first: Snapshot,
    last: Snapshot,
    seconds: f64,
}

impl Window {
    fn more(&self, of: impl Fn(&Snapshot) -> u64) -> u64 {
        of(&self.last).saturating_sub(of(&self.first))
    }

    fn per_second(&self, of: impl Fn(&Snapshot) -> u64) -> f64 {
        if self.seconds > 0.0 { self.more(of) as f64 / self.seconds } else { 0.0 }
    }

    fn lost_share(&self) -> f64 {
        self.share(|s| s.lost)
    }

    fn share(&self, of_lost: impl Fn(&Snapshot) -> u64) -> f64 {
        let (lost, came) = (self.more(of_lost) as f64, self.more(|s| s.samples) as f64);
        if lost > 0.0 { lost / (lost + came) } else { 0.0 }
    }
}

fn counts_json(session: &Session, inlet: &Inlet) -> CountsJson {
    let counts = session.counts();
    CountsJson {
        notifications: inlet.received(),
        packets: counts.packets,
        samples: session.clock().samples,
        lost_packets: counts.lost_packets,
        lost_samples: counts.lost_samples,
        lost_in_sensor: counts.lost_in_sensor,
        overruns: counts.overruns,
        duplicates: counts.duplicates,
        reordered: counts.reordered,
        late: counts.late,
        absurd: counts.absurd,
        restarts: counts.restarts,
        faulty_samples: counts.faulty_samples,
        unreadable: counts.bad_packets(),
        dropped: inlet.dropped(),
    }
}

/// Why packets could not be read, most frequent first.
fn causes(counts: &Counts) -> String {
    let mut causes: Vec<_> = counts.bad.iter().collect();
    causes.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
    causes.iter().map(|(cause, count)| format!("{}: {count}", cause.replace('_', " "))).collect::<Vec<_>>().join(", ")
}
