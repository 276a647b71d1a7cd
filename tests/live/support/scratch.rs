//! A folder of a test's own.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

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
