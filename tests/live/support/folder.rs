//! A folder of a test's own, and what the service keeps in it.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use swingd::engine::session::Session;
use swingd::engine::wire::mcap::{Entry, McapEntries};
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

/// The bundled lesson.
pub fn lesson() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap")
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
