//! A folder of a test's own, and what the service keeps in it.

use super::BEGIN_UTC_NS;
use super::sensor::{PER_PACKET, information, reading};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use swingd::engine::device::own::{self, PacketHeader, encode_packet};
use swingd::engine::profile::Profile;
use swingd::engine::sample::Sample;
use swingd::engine::session::Session;
use swingd::engine::wire::mcap::{DeviceRecord, Entry, McapEntries, McapWriter, Packet};
use swingd::report::event;

/// Removed when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("swingd-live-{}-{name}-{count}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn path(&self, file: &str) -> PathBuf {
        self.0.join(file)
    }

    /// What the service is given.
    pub fn kept(&self) -> PathBuf {
        self.path("kept")
    }

    /// Files in the folder of recordings, sorted.
    pub fn recordings(&self) -> Vec<PathBuf> {
        let Ok(entries) = std::fs::read_dir(self.kept().join("recordings")) else { return Vec::new() };
        let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        paths.sort();
        paths
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

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
