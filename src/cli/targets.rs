//! Files that are written whole or not at all: under a temporary name first, then renamed.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, ensure};

/// What is said of a file that could not be written.
pub(super) fn cannot_write(path: &Path) -> String {
    format!("{}: not written", path.display())
}

/// Files that appear under their names only once all of them are whole. What is not put in place is removed.
pub(super) struct Targets {
    force: bool,
    files: Vec<Target>,
    outdated: Vec<PathBuf>,
}

struct Target {
    temporary: PathBuf,
    path: PathBuf,
    file: File,
}

impl Targets {
    /// `force`: what is there may be overwritten.
    pub(super) fn new(force: bool) -> Self {
        Self { force, files: Vec::new(), outdated: Vec::new() }
    }

    /// A new file that is to be `path`, in the same folder until then.
    pub(super) fn create(&mut self, path: &Path) -> anyhow::Result<File> {
        self.refuse_to_overwrite(path)?;
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let temporary = path.with_file_name(format!(".{name}.{}.part", std::process::id()));
        let file = File::create(&temporary).with_context(|| cannot_write(path))?;
        let handle = file.try_clone().with_context(|| cannot_write(path))?;
        self.files.push(Target { temporary, path: path.into(), file });
        Ok(handle)
    }

    /// No file is to be at `path`.
    pub(super) fn clear(&mut self, path: &Path) -> anyhow::Result<()> {
        self.refuse_to_overwrite(path)?;
        self.outdated.push(path.into());
        Ok(())
    }

    fn refuse_to_overwrite(&self, path: &Path) -> anyhow::Result<()> {
        let free = self.force || !path.try_exists().with_context(|| cannot_write(path))?;
        ensure!(free, "{}: is there already; expected a new name, or --force to overwrite it", path.display());
        Ok(())
    }

    /// Gives all files their names.
    pub(super) fn put_in_place(mut self) -> anyhow::Result<()> {
        for path in self.outdated.drain(..).filter(|path| path.exists()) {
            std::fs::remove_file(&path).with_context(|| cannot_write(&path))?;
        }
        while !self.files.is_empty() {
            let target = self.files.remove(0);
            let done = target.file.sync_all().and_then(|()| std::fs::rename(&target.temporary, &target.path));
            let path = target.path.clone();
            if done.is_err() {
                self.files.push(target);
            }
            done.with_context(|| cannot_write(&path))?;
        }
        Ok(())
    }
}

/// One file, whole or not at all; what is there is replaced.
pub(super) fn replace(path: &Path, write: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>) -> anyhow::Result<()> {
    let mut targets = Targets::new(true);
    let mut out = BufWriter::new(targets.create(path)?);
    write(&mut out).and_then(|()| out.flush()).with_context(|| cannot_write(path))?;
    targets.put_in_place()
}

impl Drop for Targets {
    fn drop(&mut self) {
        for target in &self.files {
            // Nothing can be done about a temporary file that stays.
            let _ = std::fs::remove_file(&target.temporary);
        }
    }
}
