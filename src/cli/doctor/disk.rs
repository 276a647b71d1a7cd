//! Folders that the service writes to.

use super::Check;
use crate::daemon::lock::make_private_folder;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

const DATA: &str = "data folder";
const LOG: &str = "log folder";

/// A disk that answers later than this does not answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// A recording is put on the disk once a second and at each swing; above this that begins to be felt (chosen, no source).
const SLOW: Duration = Duration::from_millis(200);

/// Below this not even a lesson fits: 10 min of a 1 kHz sensor are some 10 MB of packets.
const NO_ROOM_BYTES: u64 = 50_000_000;

/// What a trial of a folder gave.
struct Trial {
    free_bytes: u64,
    sync: Duration,
}

/// Whether recordings can be written, how much room they have and how long the disk takes to keep one block.
pub(super) fn data_folder(folder: &Path, near_full_mb: u64) -> Check {
    match within(PATIENCE, folder, try_out) {
        Some(Ok(trial)) => judged(folder, &trial, near_full_mb),
        Some(Err(error)) => unwritable(DATA, folder, &error, "--data-folder"),
        None => {
            let found = format!("{}: the disk did not answer within {} s", folder.display(), PATIENCE.as_secs());
            Check::problem(DATA, found, "check the disk or the network it is reached by, or use another one")
        }
    }
}

fn judged(folder: &Path, trial: &Trial, near_full_mb: u64) -> Check {
    let free_mb = trial.free_bytes / 1_000_000;
    let sync_ms = trial.sync.as_secs_f64() * 1e3;
    let found = format!("{}: {free_mb} MB free, a block is kept in {sync_ms:.1} ms", folder.display());
    if trial.free_bytes < NO_ROOM_BYTES {
        return Check::problem(DATA, found, "there is no room for recordings: remove or move old ones");
    }
    if free_mb < near_full_mb {
        let remedy = format!("less than recording.near_full_mb = {near_full_mb}: remove or move old recordings");
        return Check::warning(DATA, found, remedy);
    }
    if trial.sync > SLOW {
        let remedy = format!("slower than {} ms: use another disk, not one on a network or a card", SLOW.as_millis());
        return Check::warning(DATA, found, remedy);
    }
    Check::ok(DATA, found)
}

/// Whether log files can be written.
pub(super) fn log_folder(folder: Option<&Path>) -> Check {
    let Some(folder) = folder else {
        return Check::ok(LOG, "not wanted (log.to_file = false)");
    };
    match within(PATIENCE, folder, try_out) {
        Some(Ok(_)) => Check::ok(LOG, folder.display().to_string()),
        Some(Err(error)) => unwritable(LOG, folder, &error, "--data-folder (or --log-to-file false)"),
        None => Check::problem(LOG, format!("{}: the disk does not answer", folder.display()), "check the disk"),
    }
}

fn unwritable(name: &'static str, folder: &Path, error: &io::Error, flag: &str) -> Check {
    let found = format!("{}: cannot be written: {error}", folder.display());
    Check::problem(name, found, format!("make it a folder that this user may write to, or give another by {flag}"))
}

/// Makes the folder if it is missing, and in it a file of one block, which is put on the disk and removed.
fn try_out(folder: &Path) -> io::Result<Trial> {
    make_private_folder(folder)?;
    let path = folder.join(format!(".doctor-{}", std::process::id()));
    let written = || -> io::Result<Duration> {
        let mut file = OpenOptions::new().write(true).create_new(true).open(&path)?;
        file.write_all(&[0x5a; 4096])?;
        let start = Instant::now();
        file.sync_data()?;
        Ok(start.elapsed())
    };
    let sync = written();
    let removed = fs::remove_file(&path);
    let sync = sync?;
    removed?;
    Ok(Trial { free_bytes: fs4::available_space(folder)?, sync })
}

/// What `ask` says of the folder, or `None` if it takes too long; its thread is left behind then.
fn within<T: Send + 'static>(patience: Duration, folder: &Path, ask: fn(&Path) -> T) -> Option<T> {
    let (answer, answered) = mpsc::channel();
    let folder: PathBuf = folder.to_owned();
    thread::spawn(move || {
        // Nobody waits any more if this fails.
        let _ = answer.send(ask(&folder));
    });
    answered.recv_timeout(patience).ok()
}

#[cfg(test)]
mod tests {
    use super::super::Verdict;
    use super::*;

    fn verdict(free_mb: u64, sync_ms: u64) -> (Verdict, String) {
        let trial = Trial { free_bytes: free_mb * 1_000_000, sync: Duration::from_millis(sync_ms) };
        let check = judged(Path::new("/d"), &trial, 1000);
        (check.verdict, check.line())
    }

    #[test]
    fn room_and_speed_are_judged() {
        assert_eq!(verdict(1000, 200).0, Verdict::Ok);
        assert_eq!(verdict(1000, 201).0, Verdict::Warning);
        assert_eq!(verdict(999, 1).0, Verdict::Warning);
        assert_eq!(verdict(50, 1).0, Verdict::Warning);
        assert_eq!(verdict(49, 1).0, Verdict::Problem);
        assert_eq!(
            verdict(999, 1).1,
            "warning     data folder    /d: 999 MB free, a block is kept in 1.0 ms; less than \
             recording.near_full_mb = 1000: remove or move old recordings"
        );
    }

    #[test]
    fn a_disk_that_does_not_answer_is_given_up() {
        let never = |_: &Path| loop {
            thread::park();
        };
        assert!(within::<()>(Duration::from_millis(1), Path::new("/"), never).is_none());
    }
}
