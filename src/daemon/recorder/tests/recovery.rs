use std::io::ErrorKind;
use std::path::PathBuf;

use super::*;

fn live_path() -> PathBuf {
    Path::new(FOLDER).join("20261125T161018Z-knob.live.mcap")
}

/// A live file of some packets, and where each of its messages ends.
fn live_file(count: u64) -> (Vec<u8>, Vec<usize>) {
    let mut bench = Bench::new(settings());
    let mut ends = Vec::new();
    for _ in 0..count {
        bench.packet();
        ends.push(bench.disk.contents()[&live_path()].len());
    }
    (bench.disk.contents()[&live_path()].clone(), ends)
}

fn disk_with(file: &[u8]) -> MemoryDisk {
    let disk = MemoryDisk::new();
    disk.put(&live_path(), file.to_vec());
    disk
}

#[test]
fn a_live_file_cut_at_any_byte_is_finished_from_its_whole_messages() {
    let (file, ends) = live_file(5);
    for length in 0..=file.len() {
        let disk = disk_with(&file[..length]);
        let recovered = recover(&disk, Path::new(FOLDER));
        let whole = ends.iter().filter(|&&end| end <= length).count();
        let cut = length - ends.iter().rfind(|&&end| end <= length).unwrap_or(&0);
        let [Recovered { path, messages, cut_bytes, error: None }] = &recovered[..] else { panic!("{recovered:?}") };
        assert_eq!((*messages, *cut_bytes), (whole as u64, cut as u64), "cut at {length}");
        let found = packets(&disk, ".mcap");
        assert_eq!(found, (0..whole as u64).map(|index| (index, 1)).collect(), "cut at {length}");
        let expected: &[&str] = if whole > 0 { &["20261125T161018Z-knob.mcap"] } else { &[] };
        assert_eq!(names(&disk), expected);
        assert!(whole == 0 || path == &Path::new(FOLDER).join(expected[0]));
        assert_eq!(recover(&disk, Path::new(FOLDER)), []);
    }
}

#[test]
fn a_damaged_live_file_is_kept_beside_what_could_be_read_of_it() {
    let (mut file, ends) = live_file(5);
    // A length that no record has, in the fourth message.
    file[ends[2] + 1..ends[2] + 9].fill(0xff);
    let disk = disk_with(&file);
    let recovered = recover(&disk, Path::new(FOLDER));
    let [Recovered { messages: 3, error: Some(error), .. }] = &recovered[..] else { panic!("{recovered:?}") };
    assert!(error.contains("it is kept as") && error.contains("knob.damaged.mcap"), "{error}");
    assert_eq!(names(&disk), ["20261125T161018Z-knob.damaged.mcap", "20261125T161018Z-knob.mcap"]);
    assert_eq!(packets(&disk, "knob.mcap").len(), 3);
    assert_eq!(disk.contents()[&Path::new(FOLDER).join("20261125T161018Z-knob.damaged.mcap")], file);
    assert_eq!(recover(&disk, Path::new(FOLDER)), []);
}

#[test]
fn a_long_rest_that_cannot_be_read_is_damage_and_no_cut() {
    let (mut file, ends) = live_file(2);
    // The second message says it is 1 MB long, and 100 kB follow.
    file[ends[0] + 1..ends[0] + 9].copy_from_slice(&1_000_000_u64.to_le_bytes());
    file.resize(file.len() + 100_000, 1);
    let disk = disk_with(&file);
    let recovered = recover(&disk, Path::new(FOLDER));
    assert!(recovered[0].error.as_ref().is_some_and(|error| error.contains("cannot be read")), "{recovered:?}");
    assert_eq!(names(&disk).len(), 2);
}

#[test]
fn what_is_no_recording_is_kept_and_what_was_only_begun_is_removed() {
    let disk = disk_with(&[b'x'; 500]);
    disk.put(&Path::new(FOLDER).join("20261125T161018Z-knob.mcap.part"), vec![1, 2, 3]);
    disk.put(&Path::new(FOLDER).join("notes.txt"), vec![4]);
    let recovered = recover(&disk, Path::new(FOLDER));
    let [Recovered { path, messages: 0, error: Some(_), .. }] = &recovered[..] else { panic!("{recovered:?}") };
    assert_eq!(names(&disk), ["20261125T161018Z-knob.damaged.mcap", "notes.txt"]);
    assert!(path.ends_with("20261125T161018Z-knob.damaged.mcap"), "{path:?}");
}

#[test]
fn recovery_that_ends_anywhere_is_taken_up_again() {
    let (file, _) = live_file(5);
    let operations = {
        let disk = disk_with(&file);
        recover(&disk, Path::new(FOLDER));
        disk.operations()
    };
    assert!(operations > 10, "{operations}");
    for n in 0..operations {
        for length in [1, u64::MAX - n] {
            let disk = disk_with(&file);
            disk.fail(n..n + length, ErrorKind::Other);
            recover(&disk, Path::new(FOLDER));
            // Power fails now, or only the program ends.
            for disk in [disk.after_power_loss(true), disk.after_power_loss(false), disk] {
                disk.heal();
                let again = recover(&disk, Path::new(FOLDER));
                assert!(again.iter().all(|file| file.error.is_none()), "{again:?}");
                assert_eq!(packets(&disk, ".mcap"), (0..5).map(|index| (index, 1)).collect(), "operation {n} failed");
                assert_eq!(names(&disk), ["20261125T161018Z-knob.mcap"], "operation {n} failed");
            }
        }
    }
}

#[test]
fn nothing_is_overwritten() {
    let (file, _) = live_file(5);
    let disk = disk_with(&file);
    let other = Path::new(FOLDER).join("20261125T161018Z-knob.mcap");
    disk.put(&other, b"mine".to_vec());
    let recovered = recover(&disk, Path::new(FOLDER));
    assert!(recovered[0].path.ends_with("20261125T161018Z-knob-2.mcap"), "{recovered:?}");
    assert_eq!(disk.contents()[&other], b"mine");

    // A recorder that begins in the same second takes a name of its own.
    let mut bench = Bench::new(settings());
    bench.disk.put(&other, b"mine".to_vec());
    bench.packet();
    bench.close();
    assert_eq!(names(&bench.disk), ["20261125T161018Z-knob-2.mcap", "20261125T161018Z-knob.mcap"]);
    assert_eq!(bench.disk.contents()[&other], b"mine");
}

#[test]
fn what_is_begun_after_the_look_is_left_alone() {
    let mut bench = Bench::new(settings());
    let (file, _) = live_file(5);
    bench.disk.put(&live_path(), file);
    let leftovers = Leftovers::look(&bench.disk, Path::new(FOLDER));
    bench.packet();
    assert_eq!(leftovers.recover(&bench.disk).len(), 1);
    bench.packet();
    assert_eq!(names(&bench.disk), ["20261125T161018Z-knob-2.live.mcap", "20261125T161018Z-knob.mcap"]);
    assert_eq!(packets(&bench.disk, ".live.mcap"), [(0, 1), (1, 1)].into());
}

#[test]
fn a_folder_that_is_not_there_has_nothing_to_recover() {
    assert_eq!(recover(&MemoryDisk::new(), Path::new("/none")), []);
}

#[test]
fn a_real_disk_records_and_recovers() {
    let folder = std::env::temp_dir().join(format!("swingd-recorder-{}", std::process::id()));
    let mut core = RecorderCore::new(SystemDisk, Settings { nearly_full_bytes: 0, ..Settings::new(&folder, "knob") });
    for index in 0..20 {
        core.take(Command::Entry { index, entry: packet(index) }, now(index));
    }
    core.take(Command::Sync, now(20));
    let path = core.progress().file().unwrap();
    let written = std::fs::read(&path).unwrap();
    assert_eq!((core.progress().synced_through(), core.progress().bytes() > 1000), (Some(19), true));
    // As if the program had ended.
    drop(core);
    assert_eq!(std::fs::read(&path).unwrap(), written);
    let recovered = recover(&SystemDisk, &folder);
    assert_eq!((recovered.len(), recovered[0].messages, &recovered[0].error), (1, 20, &None));
    assert_eq!(entries(&std::fs::read(&recovered[0].path).unwrap()), (0..20).map(packet).collect::<Vec<_>>());

    let mut core = RecorderCore::new(SystemDisk, Settings { nearly_full_bytes: 0, ..Settings::new(&folder, "knob") });
    core.take(Command::Entry { index: 0, entry: packet(0) }, now(0));
    core.take(Command::Close, now(0));
    let mut names = SystemDisk.list(&folder).unwrap();
    names.sort();
    assert_eq!(names, ["20261125T161018Z-knob-2.mcap", "20261125T161018Z-knob.mcap"]);
    std::fs::remove_dir_all(&folder).unwrap();
}
