//! MCAP to samples, packets, profile and who is at the plate, in the order of the file.

use std::io::{BufReader, Read};

use mcap::sans_io::LinearReaderOptions;
use mcap::{McapError, Message};

use super::message::{AtThePlate, DeviceRecord, LinkRecord, Packet, samples_from_bytes};
use super::{AT_THE_PLATE_SCHEMA, DEVICE_SCHEMA, LINK_SCHEMA, PACKET_SCHEMA, PROFILE_SCHEMA, SAMPLES_SCHEMA};
use crate::engine::sample::{Issue, IssueKind, IssueLog, Sample};
use crate::engine::wire::WireError;
use crate::engine::wire::cdr::CdrError;

/// The longest record or chunk that is read, bytes: what a hostile file can make the memory grow to.
pub(super) const LONGEST_RECORD: usize = 16 * 1024 * 1024;

/// Something in a recording.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// Samples in the order of time, each time later than those before.
    Samples {
        /// The message's time on the file's log clock, ns.
        log_time_ns: u64,
        /// At least one.
        samples: Vec<Sample>,
    },
    /// A packet as it was received.
    Packet(Packet),
    /// The profile, as the text of a TOML file.
    Profile {
        /// The message's time on the file's log clock, ns.
        log_time_ns: u64,
        /// The text.
        toml: String,
    },
    /// Who is at the plate from here on.
    AtThePlate {
        /// When, on the file's log clock, ns.
        log_time_ns: u64,
        /// Who and what.
        context: Box<AtThePlate>,
    },
    /// How the packets from here on are to be read.
    Device {
        /// When, on the file's log clock, ns.
        log_time_ns: u64,
        /// How.
        device: DeviceRecord,
    },
    /// What became of the connection.
    Link {
        /// When, on the file's log clock, ns.
        log_time_ns: u64,
        /// What.
        link: LinkRecord,
    },
}

/// Reads what is in a recording, in constant memory. A chunk is checked against its sum before anything in it is used;
/// a file that is cut short or damaged is read up to there. Channels of other schemas are passed over.
pub struct McapEntries<R: Read> {
    messages: mcap::io::MessageReader<BufReader<R>>,
    message: u64,
    entries: u64,
    issues: IssueLog,
    previous_s: f64,
    sensor: Option<String>,
}

impl<R: Read> McapEntries<R> {
    /// From the start of a file.
    pub fn new(source: R) -> Self {
        let options = LinearReaderOptions::default()
            .with_prevalidate_chunk_crcs(true)
            .with_validate_data_section_crc(true)
            .with_record_length_limit(LONGEST_RECORD);
        Self {
            messages: mcap::io::MessageReader::new_with_options(BufReader::new(source), options),
            message: 0,
            entries: 0,
            issues: IssueLog::default(),
            previous_s: f64::NEG_INFINITY,
            sensor: None,
        }
    }

    /// What could not be used so far; an issue's line is the number of the message, from 1.
    pub fn issues(&self) -> &IssueLog {
        &self.issues
    }

    /// The sensor the samples are from, as far as they were read and if it has a name.
    pub fn sensor(&self) -> Option<&str> {
        self.sensor.as_deref()
    }

    /// The next entry; `None` at the end, or where the file is cut short or damaged, which then is among the issues.
    /// An error only if the file could not be read, or is damaged before its first entry.
    pub fn next_entry(&mut self) -> Result<Option<Entry>, WireError> {
        while let Some(message) = self.messages.next() {
            self.message += 1;
            let entry = match message {
                Ok(message) => self.entry_of(&message),
                Err(error) => return self.ended_by(error).map(|()| None),
            };
            match entry {
                Ok(Some(entry)) => {
                    self.entries += 1;
                    return Ok(Some(entry));
                }
                Ok(None) => {}
                Err(found) => self.issue(IssueKind::BadRecord { found }),
            }
        }
        Ok(None)
    }

    /// How many messages were read.
    pub fn message(&self) -> u64 {
        self.message
    }

    fn issue(&mut self, kind: IssueKind) {
        self.issues.push(Issue { line: self.message, kind });
    }

    fn entry_of(&mut self, message: &Message<'_>) -> Result<Option<Entry>, String> {
        let schema = message.channel.schema.as_ref().map_or("", |schema| schema.name.as_str());
        let log_time_ns = message.log_time;
        let bad = |error: CdrError| error.0.to_owned();
        match (schema, message.channel.message_encoding.as_str()) {
            (SAMPLES_SCHEMA, "cdr") => {
                if self.sensor.is_none() {
                    self.sensor = message.channel.metadata.get("sensor").cloned();
                }
                let mut samples = Vec::new();
                samples_from_bytes(&message.data, &mut samples).map_err(bad)?;
                samples.retain(|sample| self.accept(sample));
                Ok((!samples.is_empty()).then_some(Entry::Samples { log_time_ns, samples }))
            }
            (PACKET_SCHEMA, "cdr") => Packet::from_bytes(&message.data).map_err(bad).map(Entry::Packet).map(Some),
            (PROFILE_SCHEMA, "json") => {
                profile_toml(&message.data).map(|toml| Some(Entry::Profile { log_time_ns, toml }))
            }
            (AT_THE_PLATE_SCHEMA, "json") => from_json(&message.data)
                .map(|context| Some(Entry::AtThePlate { log_time_ns, context: Box::new(context) })),
            (DEVICE_SCHEMA, "json") => {
                from_json(&message.data).map(|device| Some(Entry::Device { log_time_ns, device }))
            }
            (LINK_SCHEMA, "json") => from_json(&message.data).map(|link| Some(Entry::Link { log_time_ns, link })),
            (
                SAMPLES_SCHEMA | PACKET_SCHEMA | PROFILE_SCHEMA | AT_THE_PLATE_SCHEMA | DEVICE_SCHEMA | LINK_SCHEMA,
                other,
            ) => Err(format!("it is encoded as {:?}", other.chars().take(20).collect::<String>())),
            _ => Ok(None),
        }
    }

    /// Whether a sample can be used; if not, that is an issue.
    fn accept(&mut self, sample: &Sample) -> bool {
        let time_s = sample.time.0;
        if !time_s.is_finite() {
            self.issue(IssueKind::NotFinite { column: "t_s".into() });
        } else if time_s <= self.previous_s {
            self.issue(IssueKind::TimeNotIncreasing { previous_s: self.previous_s, found_s: time_s });
        } else if let Some(column) = infinite_column(sample) {
            self.issue(IssueKind::NotFinite { column: column.into() });
        } else {
            self.previous_s = time_s;
            return true;
        }
        false
    }

    fn ended_by(&mut self, error: McapError) -> Result<(), WireError> {
        match error {
            // An error of the operating system has its number; one of the decompressor has none.
            McapError::Io(error) if error.raw_os_error().is_some() => {
                return Err(WireError::Io(error));
            }
            McapError::BadMagic if self.message == 1 => {
                let found = "the file does not start as MCAP does".to_owned();
                return Err(WireError::NotMcap { record: self.message, found });
            }
            McapError::UnexpectedEof => self.issue(IssueKind::Truncated),
            other if self.entries == 0 => {
                return Err(WireError::NotMcap { record: self.message, found: words_of(&other) });
            }
            other => self.issue(IssueKind::Damaged { found: words_of(&other) }),
        }
        Ok(())
    }
}

/// An error in one line.
pub(super) fn words_of(error: &McapError) -> String {
    error.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(super) fn from_json<T: serde::de::DeserializeOwned>(message: &[u8]) -> Result<T, String> {
    serde_json::from_slice(message).map_err(|error| error.to_string())
}

fn infinite_column(sample: &Sample) -> Option<&'static str> {
    let vectors = [
        (Some(sample.gyro_s_radps), "gyro"),
        (Some(sample.accel_s_mps2), "accel"),
        (sample.accel_hi_s_mps2, "accel_hi"),
    ];
    let infinite = |vector: nalgebra::Vector3<f64>| vector.iter().any(|component| component.is_infinite());
    vectors.into_iter().find(|(vector, _)| vector.is_some_and(infinite)).map(|(_, name)| name)
}

/// The text of a profile: its own if the message holds it, or made from the other keys.
fn profile_toml(message: &[u8]) -> Result<String, String> {
    let json: serde_json::Value = serde_json::from_slice(message).map_err(|error| error.to_string())?;
    if let Some(toml) = json.get("toml") {
        return toml.as_str().map(str::to_owned).ok_or("its `toml` is no text".to_owned());
    }
    let table: toml::Table = serde_json::from_value(json).map_err(|error| error.to_string())?;
    toml::to_string(&table).map_err(|error| error.to_string())
}
