//! Packets of one sensor to samples on one clock.
//!
//! Enters: what stands in a recording, in its order ([`Packet`]s, how they are read, what became of the connection).
//! Leaves: [`Arrival`]s: samples in the order of time, with the host's receive time; the news that the sensor counted
//! anew or reads otherwise; answers to exchanges of times. [`Counts`] says what became of every packet. Nothing but what
//! was pushed decides, so a recording gives the same samples as the live stream did, to the bit.
//!
//! The clock: unwrapped ticks over their rate. After a restart it goes on by the time that passed on the host, as the
//! sensor's own is gone.

mod counts;
mod lane;
mod pair;
#[cfg(test)]
mod tests;

pub use counts::Counts;

use super::device::own::BATTERY_LEVEL;
use super::device::{Decoded, Device, DeviceError, RawReading, Readings};
use super::motion::conditioning::Limits;
use super::profile::SensorProfile;
use super::sample::{Sample, SensorTime};
use super::wire::mcap::{DeviceRecord, LinkRecord, LinkState, Packet};
use lane::{Lane, Ordered, OrderedReadings};
use pair::{MISSING, Pairing};

/// What comes of a packet.
#[derive(Clone, Debug, PartialEq)]
pub enum Arrival {
    /// Samples, each later than all before.
    Samples {
        /// At least one.
        samples: Vec<Sample>,
        /// When the host received the packet that the last of them was in, ns since 1970 UTC.
        received_utc_ns: i64,
    },
    /// What follows was sent by a sensor that was off in between, or is read otherwise.
    Anew,
    /// The answer to an exchange of times.
    Exchange {
        /// When the host sent its request, ns since 1970 UTC.
        sent_utc_ns: i64,
        /// When the sensor had it, on the clock of the samples.
        time: SensorTime,
        /// When the host had the answer, ns since 1970 UTC.
        received_utc_ns: i64,
    },
}

/// One sensor's packets on their way to samples.
#[derive(Debug, Default)]
pub struct Intake {
    device: Option<Device>,
    lanes: Vec<Lane>,
    pairing: Option<Pairing>,
    limits: Option<Limits>,
    counts: Counts,
    /// Added to the ticks' own seconds.
    offset_s: f64,
    last: Option<(f64, i64)>,
    anew: bool,
}

impl Intake {
    /// Before anything is known of the sensor.
    pub fn new() -> Self {
        Self::default()
    }

    /// What became of the packets so far.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// How packets are read at present.
    pub fn device(&self) -> Option<&Device> {
        self.device.as_ref()
    }

    /// Whether the packets carry neither a time nor a count.
    pub fn is_untimed(&self) -> bool {
        self.lanes.iter().any(|lane| lane.layout().tick_modulus.is_none() && lane.layout().sequence_modulus.is_none())
    }

    /// Whether the packets carry the sensor's own time.
    pub fn has_ticks(&self) -> bool {
        self.lanes.iter().all(|lane| lane.layout().tick_modulus.is_some())
    }

    /// From here on packets are read like this. The same again, as after a reconnection, changes nothing; another, as
    /// after a restart of the sensor or with another rate, begins anew.
    ///
    /// # Errors
    /// If it cannot be used; packets are then read as before.
    pub fn read_as(&mut self, record: &DeviceRecord, out: &mut Vec<Arrival>) -> Result<(), DeviceError> {
        let device = Device::new(record.information().as_deref(), record.descriptor_toml.as_deref())?;
        if self.device.as_ref() == Some(&device) {
            return Ok(());
        }
        self.flush(out);
        let streams = device.streams();
        self.pairing = match streams.as_slice() {
            [first, second] if first.has_gyro != second.has_gyro => {
                let rate_hz = first.sample_rate_hz.max(second.sample_rate_hz);
                Some(Pairing::new(1.0 / rate_hz))
            }
            _ => None,
        };
        self.lanes = streams.into_iter().map(Lane::new).collect();
        self.limits = Some(Limits::new(&device.described_in(&SensorProfile::default())));
        if self.device.replace(device).is_some() {
            self.counts.restarts += 1;
        }
        self.begin_anew(out);
        Ok(())
    }

    /// The connection was made or lost: what was held for a missing packet need not wait for it any longer.
    pub fn link(&mut self, link: &LinkRecord, out: &mut Vec<Arrival>) {
        if link.state == LinkState::Lost {
            self.flush(out);
        }
    }

    /// One notification.
    pub fn packet(&mut self, packet: &Packet, out: &mut Vec<Arrival>) {
        // Of the standard service, whatever else the sensor speaks.
        if packet.characteristic == BATTERY_LEVEL {
            return;
        }
        let Some(device) = &self.device else {
            *self.counts.bad.entry("unknown_device").or_default() += 1;
            return;
        };
        match device.decode(&packet.characteristic, &packet.bytes) {
            Ok(Decoded::Readings(readings)) => self.readings(readings, packet.received_utc_ns, out),
            Ok(Decoded::Exchange(exchange)) => {
                if let Some(time) = self.time_of_tick(exchange.tick) {
                    let (sent_utc_ns, received_utc_ns) = (exchange.sent_utc_ns, packet.received_utc_ns);
                    out.push(Arrival::Exchange { sent_utc_ns, time, received_utc_ns });
                }
            }
            Ok(Decoded::Other) => {}
            Err(error) => *self.counts.bad.entry(error.key()).or_default() += 1,
        }
    }

    /// No more is to come: what is held goes on.
    pub fn flush(&mut self, out: &mut Vec<Arrival>) {
        (0..self.lanes.len()).for_each(|stream| self.flush_lane(stream, out));
        self.flush_pairs(out);
    }

    fn flush_lane(&mut self, stream: usize, out: &mut Vec<Arrival>) {
        let mut ordered = Vec::new();
        if let Some(lane) = self.lanes.get_mut(stream) {
            lane.flush(&mut self.counts, &mut ordered);
        }
        for step in ordered {
            if let Ordered::Readings(readings) = step {
                self.in_order(stream, readings, out);
            }
        }
    }

    fn flush_pairs(&mut self, out: &mut Vec<Arrival>) {
        if let Some(pairing) = &mut self.pairing {
            let mut samples = Vec::new();
            pairing.flush(&mut samples);
            let received_utc_ns = self.last.map_or(0, |(_, received)| received);
            self.arrived(samples, received_utc_ns, out);
        }
    }

    fn readings(&mut self, readings: Readings, received_utc_ns: i64, out: &mut Vec<Arrival>) {
        let stream = readings.stream;
        let Some(lane) = self.lanes.get_mut(stream).filter(|_| !readings.readings.is_empty()) else { return };
        let is_clipped = |reading: &RawReading| {
            let Some(limits) = &self.limits else { return false };
            reading.gyro_s_radps.is_some_and(|gyro| limits.gyro_clipped(&gyro))
                || reading.accel_s_mps2.is_some_and(|accel| limits.accel_clipped(&accel))
        };
        let (said, seen) = (readings.clipped, readings.readings.iter().any(is_clipped));
        self.counts.overruns += u64::from(readings.lost_before);
        self.counts.clipped_packets += u64::from(said.gyro || said.accel || seen);
        let mut ordered = Vec::new();
        lane.take(readings, received_utc_ns, &mut self.counts, &mut ordered);
        self.ordered(stream, ordered, out);
    }

    fn ordered(&mut self, stream: usize, ordered: Vec<Ordered>, out: &mut Vec<Arrival>) {
        for step in ordered {
            match step {
                Ordered::Restarted => {
                    // The sensor has one clock: what the other stream counted is over, too.
                    for other in (0..self.lanes.len()).filter(|other| *other != stream) {
                        self.flush_lane(other, out);
                        self.lanes.iter_mut().skip(other).take(1).for_each(Lane::forget);
                    }
                    self.flush_pairs(out);
                    self.begin_anew(out);
                }
                Ordered::Readings(readings) => self.in_order(stream, readings, out),
            }
        }
    }

    fn begin_anew(&mut self, out: &mut Vec<Arrival>) {
        self.anew = true;
        if self.last.is_some() {
            out.push(Arrival::Anew);
        }
    }

    fn in_order(&mut self, stream: usize, ordered: OrderedReadings, out: &mut Vec<Arrival>) {
        let Some(lane) = self.lanes.get(stream) else { return };
        let (tick_hz, has_gyro) = (lane.tick_hz(), lane.layout().has_gyro);
        self.counts.packets += 1;
        if ordered.is_faulty {
            self.counts.faulty_samples += ordered.readings.len() as u64;
            return;
        }
        let first_s = ordered.tick as f64 / tick_hz;
        if std::mem::take(&mut self.anew) {
            self.offset_s = self.last.map_or(0.0, |(last_s, received_utc_ns)| {
                // The last samples of two packets are as far apart as their receive times.
                let passed_s = ordered.received_utc_ns.saturating_sub(received_utc_ns) as f64 * 1e-9;
                let step_s = ordered.step / tick_hz;
                let within_s = (ordered.readings.len() as f64 - 1.0) * step_s;
                last_s + (passed_s - within_s).max(step_s) - first_s
            });
        }
        let time_s = |k: usize| self.offset_s + (ordered.tick as f64 + k as f64 * ordered.step) / tick_hz;
        let mut samples = Vec::with_capacity(ordered.readings.len());
        match &mut self.pairing {
            None => samples.extend(ordered.readings.iter().enumerate().map(|(k, reading)| Sample {
                time: SensorTime(time_s(k)),
                gyro_s_radps: reading.gyro_s_radps.unwrap_or(MISSING),
                accel_s_mps2: reading.accel_s_mps2.unwrap_or(MISSING),
                accel_hi_s_mps2: reading.accel_hi_s_mps2,
            })),
            Some(pairing) => {
                for (k, reading) in ordered.readings.iter().enumerate() {
                    match has_gyro {
                        true => pairing.gyro(time_s(k), reading.gyro_s_radps.unwrap_or(MISSING)),
                        false => pairing.accel(time_s(k), reading.accel_s_mps2.unwrap_or(MISSING)),
                    }
                }
                pairing.ready(&mut samples);
            }
        }
        self.arrived(samples, ordered.received_utc_ns, out);
    }

    fn arrived(&mut self, mut samples: Vec<Sample>, received_utc_ns: i64, out: &mut Vec<Arrival>) {
        let mut last_s = self.last.map_or(f64::NEG_INFINITY, |(last_s, _)| last_s);
        samples.retain(|sample| {
            let later = sample.time.0 > last_s && sample.time.0.is_finite();
            last_s = if later { sample.time.0 } else { last_s };
            later
        });
        if samples.is_empty() {
            return;
        }
        self.counts.samples += samples.len() as u64;
        self.last = Some((last_s, received_utc_ns));
        out.push(Arrival::Samples { samples, received_utc_ns });
    }

    /// A tick as sent, on the clock of the samples: the one nearest to the last sample.
    fn time_of_tick(&self, tick: u64) -> Option<SensorTime> {
        let lane = self.lanes.first()?;
        let modulus_s = lane.layout().tick_modulus? as f64 / lane.tick_hz();
        let (last_s, _) = self.last.filter(|_| !self.anew)?;
        let raw_s = tick as f64 / lane.tick_hz() + self.offset_s;
        let wraps = ((last_s - raw_s) / modulus_s).round();
        let time_s = raw_s + wraps * modulus_s;
        time_s.is_finite().then_some(SensorTime(time_s))
    }
}
