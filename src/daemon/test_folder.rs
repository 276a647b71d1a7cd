//! A folder of its own for each test that needs files.

use std::path::{Path, PathBuf};

/// Removed when it is dropped.
pub(crate) struct TestFolder(PathBuf);

impl TestFolder {
    /// `name` is the test's: no two may share it.
    pub(crate) fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("swingd-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub(crate) fn path(&self, file: &str) -> PathBuf {
        self.0.join(file)
    }

    pub(crate) fn write(&self, file: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        std::fs::write(self.path(file), bytes).unwrap();
        self.path(file)
    }

    pub(crate) fn files(&self) -> Vec<String> {
        let name = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().file_name().into_string().unwrap();
        let mut names: Vec<_> = std::fs::read_dir(&self.0).unwrap().map(name).collect();
        names.sort();
        names
    }
}

impl AsRef<Path> for TestFolder {
    fn as_ref(&self) -> &Path {
        &self.0
    }
}

impl Drop for TestFolder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
