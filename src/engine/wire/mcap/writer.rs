//! Samples, packets, profile and who is at the plate to MCAP.

use std::collections::BTreeMap;
use std::io::{Seek, Write};

use mcap::records::MessageHeader;
use mcap::{Compression, McapError, WriteOptions};

use super::entries::Entry;
use super::message::{AtThePlate, Packet, runs, samples_to_bytes};
use super::{ChannelKind, DEVICES, LINKS, PACKETS, PLATE, PROFILES, SAMPLES};
use crate::engine::sample::{Sample, SensorTime};
use crate::engine::wire::WireError;

/// How many samples share a message: at 1 kHz, 50 ms.
const SAMPLES_PER_MESSAGE: usize = 50;

/// The size of a chunk before compression, bytes. A file cut short loses at most the chunk it was cut in: 0.3 s of a
/// 1 kHz stream of six axes.
const CHUNK_SIZE: u64 = 16 * 1024;

/// Writes a recording. What was written is on its way to `W` after [`flush`](Self::flush); the file is whole after
/// [`finish`](Self::finish).
pub struct McapWriter<W: Write + Seek> {
    out: mcap::Writer<W>,
    channels: Channels,
    sequence: u32,
}

struct Channels {
    samples: u16,
    packets: u16,
    profile: u16,
    at_the_plate: u16,
    device: u16,
    link: u16,
}

impl<W: Write + Seek> McapWriter<W> {
    /// Writes the head of the file. `sensor` names the sensor all of it is from.
    pub fn new(out: W, sensor: &str) -> Result<Self, WireError> {
        Self::with_options(whole_file(), out, sensor)
    }

    /// As [`new`](Self::new), but for a file that grows while a sensor is live: every message stands in it at once,
    /// outside of chunks and uncompressed, so that what was flushed is read back however the writing ends. A flush hands
    /// on what `out` holds back: an `out` that buffers makes one call of a message.
    pub fn live(out: W, sensor: &str) -> Result<Self, WireError> {
        Self::with_options(whole_file().use_chunks(false), out, sensor)
    }

    fn with_options(options: WriteOptions, out: W, sensor: &str) -> Result<Self, WireError> {
        let mut out = options.create(out).map_err(write_error)?;
        let channels = Channels {
            samples: add_channel(&mut out, &SAMPLES, sensor)?,
            packets: add_channel(&mut out, &PACKETS, sensor)?,
            profile: add_channel(&mut out, &PROFILES, sensor)?,
            at_the_plate: add_channel(&mut out, &PLATE, sensor)?,
            device: add_channel(&mut out, &DEVICES, sensor)?,
            link: add_channel(&mut out, &LINKS, sensor)?,
        };
        Ok(Self { out, channels, sequence: 0 })
    }

    /// Writes the profile, as the text of its TOML file; to be done before the first samples, as nothing after them is
    /// read with it. Text that is not TOML is written as text alone.
    pub fn write_profile(&mut self, log_time_ns: u64, toml: &str) -> Result<(), WireError> {
        let sections = toml::from_str::<toml::Table>(toml).ok();
        let mut json = sections.and_then(|table| serde_json::to_value(table).ok()).unwrap_or_default();
        if !json.is_object() {
            json = serde_json::Value::Object(serde_json::Map::new());
        }
        json["toml"] = toml.into();
        self.write(self.channels.profile, log_time_ns, json.to_string().as_bytes())
    }

    /// Writes who is at the plate from here on.
    pub fn write_at_the_plate(&mut self, log_time_ns: u64, context: &AtThePlate) -> Result<(), WireError> {
        self.write_json(self.channels.at_the_plate, log_time_ns, context)
    }

    /// Writes anything that stands in a recording, with the times it has.
    pub fn write_entry(&mut self, entry: &Entry) -> Result<(), WireError> {
        match entry {
            Entry::Samples { log_time_ns, samples } => self.write_samples(samples, |_| *log_time_ns),
            Entry::Packet(packet) => self.write_packet(packet),
            Entry::Profile { log_time_ns, toml } => self.write_profile(*log_time_ns, toml),
            Entry::AtThePlate { log_time_ns, context } => self.write_at_the_plate(*log_time_ns, context),
            Entry::Device { log_time_ns, device } => self.write_json(self.channels.device, *log_time_ns, device),
            Entry::Link { log_time_ns, link } => self.write_json(self.channels.link, *log_time_ns, link),
        }
    }

    fn write_json(&mut self, channel: u16, log_time_ns: u64, value: &impl serde::Serialize) -> Result<(), WireError> {
        let json = serde_json::to_vec(value).map_err(|error| WireError::Write(error.to_string()))?;
        self.write(channel, log_time_ns, &json)
    }

    /// Writes a packet as it was received.
    pub fn write_packet(&mut self, packet: &Packet) -> Result<(), WireError> {
        let log_time_ns = u64::try_from(packet.received_utc_ns).unwrap_or(0);
        self.write(self.channels.packets, log_time_ns, &packet.to_bytes())
    }

    /// Writes samples. `log_time_ns` gives a message's time from that of its last sample, see [`sensor_time_ns`].
    pub fn write_samples(
        &mut self,
        samples: &[Sample],
        log_time_ns: impl Fn(SensorTime) -> u64,
    ) -> Result<(), WireError> {
        for run in runs(samples, SAMPLES_PER_MESSAGE) {
            let time_ns = run.last().map_or(0, |sample| log_time_ns(sample.time));
            self.write(self.channels.samples, time_ns, &samples_to_bytes(run))?;
        }
        Ok(())
    }

    /// Closes the chunk that is open, if any, and hands all of it on, so that a crash after it loses none of it.
    pub fn flush(&mut self) -> Result<(), WireError> {
        self.out.flush().map_err(write_error)
    }

    /// Writes the index and the end, and hands the output back.
    pub fn finish(mut self) -> Result<W, WireError> {
        self.out.finish().map_err(write_error)?;
        Ok(self.out.into_inner())
    }

    /// Hands the output back as it is: a live file stays one. (Dropping the writer writes the end, as far as it can.)
    pub fn into_unfinished(self) -> W {
        self.out.into_inner()
    }

    fn write(&mut self, channel_id: u16, log_time_ns: u64, message: &[u8]) -> Result<(), WireError> {
        let sequence = self.sequence;
        self.sequence = sequence.wrapping_add(1);
        let header = MessageHeader { channel_id, sequence, log_time: log_time_ns, publish_time: log_time_ns };
        self.out.write_to_known_channel(&header, message).map_err(write_error)
    }
}

/// How a file is written that is whole once it is finished: chunks, each compressed and with its sum, and an index.
pub(super) fn whole_file() -> WriteOptions {
    WriteOptions::new()
        .profile("swingd")
        .library(concat!("swingd/", env!("CARGO_PKG_VERSION")))
        .compression(Some(Compression::Lz4))
        .chunk_size(Some(CHUNK_SIZE))
}

/// The time of a message in a file made from a recording without receive times: the sensor's own, ns; 0 before its
/// zero.
pub fn sensor_time_ns(time: SensorTime) -> u64 {
    (time.0 * 1e9).round() as u64
}

fn add_channel<W: Write + Seek>(out: &mut mcap::Writer<W>, kind: &ChannelKind, sensor: &str) -> Result<u16, WireError> {
    let text = kind.schema_text.as_bytes();
    let schema_id = out.add_schema(kind.schema, kind.schema_encoding, text).map_err(write_error)?;
    let metadata = BTreeMap::from([("sensor".to_owned(), sensor.to_owned())]);
    out.add_channel(schema_id, kind.topic, kind.message_encoding, &metadata).map_err(write_error)
}

fn write_error(error: McapError) -> WireError {
    match error {
        McapError::Io(error) => WireError::Write(error.to_string()),
        other => WireError::Write(other.to_string()),
    }
}
