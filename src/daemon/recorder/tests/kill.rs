//! The process is killed at ten instants while it records on the real disk.

use std::io::{BufRead, BufReader};
use std::process::{Command as Process, Stdio};
use std::sync::Arc;

use super::*;
use crate::daemon::clock::SystemClock;

/// Where this test binary, run again as the process to be killed, finds its folder.
const FOLDER_VARIABLE: &str = "SWINGD_TEST_RECORD_INTO";

/// Records and tells how far it has come until it is killed; nothing where no folder is named.
#[test]
fn child() {
    let Some(folder) = std::env::var_os(FOLDER_VARIABLE) else { return };
    let settings = Settings { longest_file_bytes: 100_000, nearly_full_bytes: 0, ..Settings::new(folder, "knob") };
    let handle = spawn(RecorderCore::new(SystemDisk, settings), Arc::new(SystemClock::new())).unwrap();
    for index in 0..1_000_000 {
        handle.record(index, packet(index)).unwrap();
        let progress = handle.progress();
        // So that the queue is never full, however slow the disk is.
        while index > 1000 && progress.written_through() < Some(index - 1000) {
            std::thread::yield_now();
        }
        if let Some(last) = progress.written_through().filter(|&last| progress.kept(0..=last) == Kept::Written) {
            println!("\nwritten {last}");
        }
    }
}

#[test]
fn what_was_said_to_be_written_outlasts_a_kill() {
    let folder = std::env::temp_dir().join(format!("swingd-recorder-kill-{}", std::process::id()));
    for round in 0..10_u64 {
        let mut child = Process::new(std::env::current_exe().unwrap())
            .args(["--exact", "daemon::recorder::tests::kill::child", "--nocapture"])
            .env(FOLDER_VARIABLE, &folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let told = lines.filter_map(|line| line.strip_prefix("written ")?.parse::<u64>().ok());
        // Not at even distances, and in some rounds with several files.
        let last = told.take(1 + (round * round * 41) as usize).last().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();

        let recovered = recover(&SystemDisk, &folder);
        assert!(recovered.iter().all(|file| file.error.is_none()), "{recovered:?}");
        let files = SystemDisk.list(&folder).unwrap();
        assert!(files.iter().all(|name| !name.contains("live") && !name.contains("part")), "{files:?}");
        let files = files.iter().map(|name| std::fs::read(folder.join(name)).unwrap());
        let mut found: Vec<u64> =
            files.flat_map(|file| entries(&file)).filter_map(|entry| packet_index(&entry)).collect();
        found.sort_unstable();
        assert!(found.iter().copied().eq(0..found.len() as u64), "round {round}: {found:?}");
        assert!(found.len() as u64 > last, "round {round}: {last} was said to be written, {} are there", found.len());
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
