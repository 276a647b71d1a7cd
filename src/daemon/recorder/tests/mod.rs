mod faults;
mod kill;
mod properties;
mod recovery;
mod thread;

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use super::memory::MemoryDisk;
use super::*;
use crate::daemon::clock::Now;
use crate::engine::wire::mcap::{AtThePlate, DeviceRecord, Entry, LinkRecord, LinkState, McapEntries, Packet};

const FOLDER: &str = "/recordings";

fn now(ms: u64) -> Now {
    Now { utc_ns: 1_795_623_018_000_000_000 + 1_000_000 * ms as i64, elapsed: Duration::from_millis(ms) }
}

/// A packet that tells its index.
fn packet(index: u64) -> Entry {
    let bytes = [&index.to_le_bytes()[..], &[7; 40]].concat();
    let characteristic = "7b1e0001-5a4d-4c3b-9f2e-0d1c2b3a4958".into();
    Entry::Packet(Packet { received_utc_ns: now(index).utc_ns, sensor: "knob".into(), characteristic, bytes })
}

fn device() -> Entry {
    Entry::Device { log_time_ns: 1, device: DeviceRecord::default().with_information(&[1, 2, 3]) }
}

fn profile() -> Entry {
    Entry::Profile { log_time_ns: 2, toml: "[swing]\nside = \"left\"\n".into() }
}

fn plate(nickname: &str) -> Entry {
    let context = AtThePlate { nickname: Some(nickname.into()), ..AtThePlate::default() };
    Entry::AtThePlate { log_time_ns: 3, context: Box::new(context) }
}

fn link() -> Entry {
    Entry::Link { log_time_ns: 4, link: LinkRecord { state: LinkState::Connected, cause: None } }
}

/// What can be read of a file, to its end or to where it is cut.
fn entries(file: &[u8]) -> Vec<Entry> {
    let mut reader = McapEntries::new(file);
    let next = || reader.next_entry().ok().flatten();
    std::iter::from_fn(next).collect()
}

fn packet_index(entry: &Entry) -> Option<u64> {
    match entry {
        Entry::Packet(packet) => packet.bytes.first_chunk().map(|bytes| u64::from_le_bytes(*bytes)),
        _ => None,
    }
}

/// How often each packet stands in the files of these endings, those in the making left out.
fn packets(disk: &MemoryDisk, ending: &str) -> BTreeMap<u64, usize> {
    let mut found = BTreeMap::new();
    let files = disk.contents().into_iter().filter(|(path, _)| path.to_string_lossy().ends_with(ending));
    for index in files.flat_map(|(_, file)| entries(&file)).filter_map(|entry| packet_index(&entry)) {
        *found.entry(index).or_default() += 1;
    }
    found
}

fn names(disk: &MemoryDisk) -> Vec<String> {
    let name = |path: &std::path::PathBuf| path.file_name().unwrap().to_str().unwrap().to_owned();
    disk.contents().keys().map(name).collect()
}

fn settings() -> Settings {
    Settings { nearly_full_bytes: 0, ..Settings::new(FOLDER, "Knob") }
}

/// A recorder on a memory disk, with what was handed to it.
struct Bench {
    disk: MemoryDisk,
    core: RecorderCore<MemoryDisk>,
    ms: u64,
    next_index: u64,
    /// The indices that are packets.
    packets: Vec<u64>,
}

impl Bench {
    fn new(settings: Settings) -> Self {
        let disk = MemoryDisk::new();
        let core = RecorderCore::new(disk.clone(), settings);
        Self { disk, core, ms: 0, next_index: 0, packets: Vec::new() }
    }

    fn packet(&mut self) {
        let index = self.next_index;
        self.packets.push(index);
        self.entry(packet(index));
    }

    fn entry(&mut self, entry: Entry) {
        let index = self.next_index;
        self.next_index += 1;
        self.core.take(Command::Entry { index, entry }, now(self.ms));
    }

    fn sync(&mut self) {
        self.core.take(Command::Sync, now(self.ms));
    }

    fn close(&mut self) {
        self.core.take(Command::Close, now(self.ms));
    }

    fn wait_ms(&mut self, ms: u64) {
        for _ in 0..ms.div_ceil(100) {
            self.ms += 100;
            self.core.tick(now(self.ms));
        }
    }

    fn trouble(&self) -> Option<Trouble> {
        self.core.progress().trouble(now(self.ms).elapsed)
    }

    /// What must hold after every step, whatever the disk does: what is said to be written is in a file if the program
    /// ends here, what is said to be synced if the power fails here; every other entry is said to be lost.
    fn check(&self) {
        let progress = self.core.progress();
        let written = packets(&self.disk, ".mcap");
        let synced = packets(&self.disk.after_power_loss(true), ".mcap");
        for &index in &self.packets {
            match progress.kept(index..=index) {
                Kept::Written => assert!(written.contains_key(&index), "{index} is not written: {written:?}"),
                Kept::Lost => continue,
                Kept::Waiting => panic!("{index} waits although the recorder has returned"),
            }
            if progress.synced_through().is_some_and(|last| index <= last) {
                assert!(synced.contains_key(&index), "{index} is not synced: {synced:?}");
            }
        }
        assert!(progress.synced_through() <= progress.written_through());
        assert_eq!(progress.messages() + progress.lost(), self.next_index);
    }

    /// Finishes everything on the healed disk, and checks that each packet that was not lost is there exactly once.
    fn check_recovery(&self) {
        self.disk.heal();
        let recovered = recover(&self.disk, Path::new(FOLDER));
        assert!(recovered.iter().all(|file| file.error.is_none()), "{recovered:?}");
        let found = packets(&self.disk, ".mcap");
        let progress = self.core.progress();
        for &index in &self.packets {
            if progress.kept(index..=index) == Kept::Written {
                assert_eq!(found.get(&index), Some(&1), "{index}: {found:?}");
            }
        }
        assert!(names(&self.disk).iter().all(|name| !name.contains("live") && !name.contains("part")));
    }
}
