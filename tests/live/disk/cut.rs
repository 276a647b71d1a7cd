//! The power is cut: what was synced is there; of what was not, any part, in sectors.

use super::shim::Shim;
use super::{enter, names};
use crate::support::folder::Folder;
use crate::support::serving::Serving;
use std::collections::BTreeMap;
use std::path::Path;
use swingd::daemon::store::queries::{Slice, bats};
use swingd::daemon::store::{Place, Store};
use swingd::sim::Random;

/// A disk writes so much at once or not at all, bytes.
const SECTOR: usize = 512;
const CHANGES: usize = 120;
const CUTS: usize = 150;

/// What was done to a file.
#[derive(Clone, Debug)]
enum Call {
    Write { at: usize, bytes: Vec<u8> },
    Truncate(usize),
}

#[derive(Clone, Debug, Default)]
struct File {
    synced: Vec<u8>,
    since: Vec<Call>,
}

/// What a cut at byte `until` of the log leaves, by file name.
fn left(log: &[u8], until: usize, random: &mut Random) -> BTreeMap<String, Vec<u8>> {
    let mut files: BTreeMap<String, File> = BTreeMap::new();
    let mut place = 0;
    while place + 32 <= until {
        let word = |k: usize| u64::from_ne_bytes(log[place + 8 * k..][..8].try_into().unwrap()) as usize;
        let (kind, path_length, offset, length) = (word(0), word(1), word(2), word(3));
        let path = String::from_utf8(log[place + 32..][..path_length].to_vec()).unwrap();
        let name = Path::new(&path).file_name().unwrap().to_str().unwrap().to_owned();
        let data = place + 32 + path_length;
        let file = files.entry(name.clone()).or_default();
        place = data;
        match kind {
            1 => {
                file.since.push(Call::Write { at: offset, bytes: log[data..data + length].to_vec() });
                place += length;
            }
            2 => {
                for call in std::mem::take(&mut file.since) {
                    apply(&mut file.synced, &call, |_| true);
                }
            }
            3 => file.since.push(Call::Truncate(offset)),
            4 => drop(files.remove(&name)),
            other => panic!("call {other}"),
        }
    }
    let settle = |(name, mut file): (String, File)| {
        for call in &file.since {
            // All, nothing, or some sectors of each.
            let share = [0.0, 0.5, 1.0][random.index(3)];
            apply(&mut file.synced, call, |_| random.chance(share));
        }
        (name, file.synced)
    };
    files.into_iter().map(settle).collect()
}

fn apply(file: &mut Vec<u8>, call: &Call, mut is_written: impl FnMut(usize) -> bool) {
    match call {
        Call::Truncate(length) => {
            if is_written(0) {
                file.resize(*length, 0);
            }
        }
        Call::Write { at, bytes } => {
            for (k, sector) in bytes.chunks(SECTOR).enumerate() {
                let begin = at + k * SECTOR;
                if is_written(k) {
                    file.resize(file.len().max(begin + sector.len()), 0);
                    file[begin..begin + sector.len()].copy_from_slice(sector);
                }
            }
        }
    }
}

async fn names_left(folder: &Folder, files: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    let place = folder.path("cut");
    let _ = std::fs::remove_dir_all(&place);
    std::fs::create_dir(&place).unwrap();
    for (name, bytes) in files {
        std::fs::write(place.join(name), bytes).unwrap();
    }
    let store = Store::open(&Place::in_folder(&place)).await.unwrap();
    let all = Slice { after: None, limit: i64::MAX };
    let bats = bats::list(&mut store.read().await.unwrap(), all).await.unwrap();
    store.close().await;
    bats.into_iter().map(|bat| bat.name).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_acknowledged_outlives_a_power_cut_at_any_instant() {
    let folder = Folder::new("cut");
    let shim = Shim::new(&folder);
    let mut serving = Serving::start_with(&folder, &[], &shim.variables());
    let address = serving.address();
    let note = "w".repeat(2000);
    // Enough for the log to be moved into the database a few times.
    let mut acknowledged = Vec::new();
    for k in 0..CHANGES * 8 {
        assert_eq!(enter(address, &format!("Bat {k}"), &note).await, 201);
        acknowledged.push(shim.logged() as usize);
    }
    assert_eq!(names(address).await.len(), acknowledged.len());
    serving.kill();
    let log = std::fs::read(&shim.log).unwrap();
    let mut random = Random::new(860_002);
    let (mut most_unacknowledged, first) = (0, acknowledged[0]);
    for _ in 0..CUTS {
        let cut = first + random.between(0.0, (log.len() - first) as f64) as usize;
        let files = left(&log, whole_calls(&log, cut), &mut random);
        let names = names_left(&folder, &files).await;
        let sure = acknowledged.iter().filter(|at| **at <= cut).count();
        assert!(names.len() >= sure, "{} of {sure} acknowledged ones after a cut at {cut}", names.len());
        let expected = (0..names.len()).map(|k| format!("Bat {k}"));
        assert!(names.iter().cloned().eq(expected), "not the first ones after a cut at {cut}");
        most_unacknowledged = most_unacknowledged.max(names.len() - sure);
    }
    println!("{CUTS} cuts in {} bytes of writes; at most {most_unacknowledged} more than was acknowledged", log.len());
    assert!(most_unacknowledged <= 1);
}

/// The end of the last call that is whole at byte `until` of the log.
fn whole_calls(log: &[u8], until: usize) -> usize {
    let mut place = 0;
    loop {
        if place + 32 > log.len() {
            return place;
        }
        let word = |k: usize| u64::from_ne_bytes(log[place + 8 * k..][..8].try_into().unwrap()) as usize;
        let end = place + 32 + word(1) + if word(0) == 1 { word(3) } else { 0 };
        if end > until {
            return place;
        }
        place = end;
    }
}
