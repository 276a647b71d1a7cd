//! What the service is given to play, and what it keeps.

use super::BEGIN_UTC_NS;
pub use super::scratch::Folder;
use super::sensor::{PER_PACKET, information, reading};
use std::fs::File;
use std::path::{Path, PathBuf};
use swingd::engine::device::own::{self, PacketHeader, encode_packet};
use swingd::engine::profile::Profile;
use swingd::engine::sample::Sample;
use swingd::engine::session::Session;
use swingd::engine::wire::mcap::{DeviceRecord, Entry, McapEntries, McapWriter, Packet};
use swingd::report::event;

/// The bundled lesson as a sensor of the project's own profile would send it: a recording of packets.
pub fn lesson_in_packets(folder: &Folder) -> PathBuf {
    let all = entries(&lesson());
    let toml = all.iter().find_map(|entry| if let Entry::Profile { toml, .. } = entry { Some(toml) } else { None });
    let toml = toml.expect("a profile");
    let information = information(&Profile::parse(toml).unwrap().0.sensor);
    let of = |entry: &Entry| if let Entry::Samples { samples, .. } = entry { samples.clone() } else { Vec::new() };
    let samples: Vec<Sample> = all.iter().flat_map(of).collect();
    let path = folder.path("packets.mcap");
    let file = File::create(&path).unwrap();
    let mut writer = McapWriter::new(std::io::BufWriter::new(file), "knob").unwrap();
    writer.write_profile(BEGIN_UTC_NS as u64, toml).unwrap();
    let device = DeviceRecord::default().with_information(&information.encode());
    writer.write_entry(&Entry::Device { log_time_ns: BEGIN_UTC_NS as u64, device }).unwrap();
    for (k, piece) in samples.chunks(PER_PACKET).enumerate() {
        let readings: Vec<_> = piece.iter().map(reading).collect();
        let (sequence, tick) = (k as u16, (k * PER_PACKET) as u32 * 1000);
        let span_ticks = 1000 * (piece.len() as u32 - 1);
        let header = PacketHeader { sequence, tick, span_ticks, ..PacketHeader::default() };
        let received_utc_ns = BEGIN_UTC_NS + i64::from(tick + span_ticks) * 1000;
        let bytes = encode_packet(&information, &header, &readings).unwrap();
        let (sensor, characteristic) = ("knob".into(), own::DATA.into());
        writer.write_packet(&Packet { received_utc_ns, sensor, characteristic, bytes }).unwrap();
    }
    writer.finish().unwrap();
    path
}

/// The bundled lesson.
pub fn lesson() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap")
}

/// How many samples an entry holds.
pub fn samples_in(entry: &Entry) -> usize {
    if let Entry::Samples { samples, .. } = entry { samples.len() } else { 0 }
}

/// Whether a recording is still, or was when its program ended, being written.
pub fn is_live(path: &Path) -> bool {
    path.to_str().unwrap().ends_with(".live.mcap")
}

/// Every entry that can be read.
pub fn entries(path: &Path) -> Vec<Entry> {
    let mut reader = McapEntries::new(File::open(path).unwrap());
    let mut all = Vec::new();
    // A file that was cut off before its first entry is none.
    while let Ok(Some(entry)) = reader.next_entry() {
        all.push(entry);
    }
    all
}

/// What a replay of these entries tells: kind and JSON.
pub fn replayed(entries: &[Entry]) -> Vec<(&'static str, String)> {
    let mut session = Session::new();
    let mut told: Vec<_> = entries.iter().flat_map(|entry| session.take(entry)).collect();
    told.extend(session.finish());
    told.iter().map(|told| event::line(told).unwrap()).collect()
}

/// Of an event's data: whether its packets are recorded, and what was told, byte for byte.
pub fn told_in(data: &str) -> (bool, String) {
    #[derive(serde::Deserialize)]
    struct Envelope<'a> {
        recorded: bool,
        #[serde(borrow)]
        told: &'a serde_json::value::RawValue,
    }
    let envelope: Envelope = serde_json::from_str(data).unwrap_or_else(|error| panic!("{error}: {data}"));
    (envelope.recorded, envelope.told.get().to_owned())
}
