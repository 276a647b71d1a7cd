//! `swingd serve` from the command line: what it refuses, and a whole lesson.

use crate::support::folder::{Folder, lesson};
use crate::support::serving::{Ended, Serving};
use serde_json::Value;
use std::net::TcpListener;
use std::path::Path;
use std::process::Command;

fn refused(folder: &Folder, words: &[&str]) -> Ended {
    let ended = Serving::start(folder, words).ended();
    assert!(ended.lines.is_empty(), "{words:?}: {ended:?}");
    ended
}

/// One line on standard error, and status 1.
fn refused_in_a_line(folder: &Folder, words: &[&str]) -> String {
    let ended = refused(folder, words);
    assert_eq!((ended.status.code(), ended.errors.lines().count()), (Some(1), 1), "{words:?}: {ended:?}");
    ended.errors
}

#[test]
fn a_second_one_on_the_same_folder_is_refused_and_told_of_the_first() {
    let folder = Folder::new("second");
    let lesson = lesson();
    let play = ["--play", lesson.to_str().unwrap()];
    let first = Serving::start(&folder, &play);
    let address = first.address();
    let line = refused_in_a_line(&folder, &play);
    assert_eq!(line.matches("another swingd works on this data folder (process ").count(), 1, "{line}");
    assert!(line.contains(&format!("at http://{address})")), "{line}");
    assert!(line.ends_with("stop it, or give another folder by --data-folder\n"), "{line}");
}

#[test]
fn a_taken_port_is_said_to_be() {
    let folder = Folder::new("port");
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let line = refused_in_a_line(&folder, &["--play", lesson().to_str().unwrap(), "--http-listen", &address]);
    assert_eq!(line.matches(&format!("http.listen {address}: ")).count(), 1, "{line}");
    assert!(line.ends_with("; expected a free port, or 0 for any\n"), "{line}");
}

#[test]
fn what_cannot_be_played_is_one_line_and_nothing_is_started() {
    let folder = Folder::new("unplayable");
    let missing = folder.path("none.mcap");
    let text = folder.path("words.mcap");
    std::fs::write(&text, "bats are made of ash\n").unwrap();
    for (path, words) in [(&missing, "cannot be read"), (&text, "expected")] {
        let line = refused_in_a_line(&folder, &["--play", path.to_str().unwrap()]);
        assert!(line.starts_with(path.to_str().unwrap()) && line.contains(words), "{line}");
    }
    assert!(!folder.kept().exists(), "nothing is made");
}

#[test]
fn a_speed_that_is_none_is_refused() {
    let folder = Folder::new("speed");
    let lesson = lesson();
    for speed in ["0", "-1", "NaN", "inf", "1001", "fast"] {
        let ended = refused(&folder, &["--play", lesson.to_str().unwrap(), &format!("--speed={speed}")]);
        assert_eq!(ended.status.code(), Some(2), "{ended:?}");
        assert!(ended.errors.contains("expected a number from 0.01 to 1000"), "{speed}: {}", ended.errors);
    }
    for alone in [["--speed", "2"].as_slice(), &["--once"]] {
        let ended = refused(&folder, alone);
        assert!(ended.status.code() == Some(2) && ended.errors.contains("--play"), "{ended:?}");
    }
}

fn swings(recording: &Path) -> Value {
    let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
    let ran = command.args(["replay", "--json"]).arg(recording).output().unwrap();
    assert!(ran.status.success(), "{ran:?}");
    let document: Value = serde_json::from_slice(&ran.stdout).unwrap();
    document["swings"].clone()
}

#[test]
fn a_lesson_played_once_prints_its_swings_and_is_recorded_whole() {
    let folder = Folder::new("once");
    let lesson = lesson();
    let ended = Serving::start(&folder, &["--play", lesson.to_str().unwrap(), "--speed", "50", "--once"]).ended();
    assert!(ended.status.success(), "{ended:?}");
    for stage in ["streaming", "final"] {
        let of_stage = |line: &&String| line.starts_with("swing ") && line.contains(stage);
        let lines: Vec<_> = ended.lines.iter().filter(of_stage).collect();
        let numbers: Vec<_> = lines.iter().filter_map(|line| line.split_whitespace().nth(1)).collect();
        assert_eq!(numbers, ["1", "2", "3", "4", "5", "6", "7", "8"], "{stage}: {ended:?}");
        assert!(lines.iter().all(|line| line.contains("bat ") && line.contains(" mph")), "{lines:?}");
    }
    let files = folder.recordings();
    assert_eq!(files.len(), 1, "{files:?}");
    let (again, first) = (swings(&files[0]), swings(&lesson));
    assert_eq!(first.as_array().map(Vec::len), Some(8));
    // JSON's numbers are the shortest that read back as the same bits.
    assert_eq!(again, first);
}
