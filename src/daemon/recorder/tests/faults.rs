use std::io::ErrorKind;

use super::*;

/// Everything a recorder does: two files, contexts, a sync, time for finishing, the end.
fn everything(before: impl FnOnce(&MemoryDisk)) -> Bench {
    let mut bench = Bench::new(Settings { longest_file_bytes: 20_000, ..settings() });
    before(&bench.disk);
    [device(), profile(), link(), plate("Wren")].into_iter().for_each(|entry| bench.entry(entry));
    for k in 0..60 {
        bench.packet();
        if k % 20 == 0 {
            bench.sync();
            bench.check();
        }
        bench.wait_ms(if k % 10 == 0 { 1000 } else { 0 });
    }
    bench.check();
    bench.close();
    bench.check();
    bench
}

/// The first file has them as they came, the next in the order of a preamble.
fn expected_head(is_first: bool) -> [Entry; 4] {
    let [device, profile, link, plate] = [device(), profile(), link(), plate("Wren")];
    if is_first { [device, profile, link, plate] } else { [device, profile, plate, link] }
}

#[test]
fn without_faults_every_file_is_whole_and_can_be_read_alone() {
    let bench = everything(|_| {});
    assert_eq!(names(&bench.disk), ["20261125T161018Z-knob.mcap", "20261125T161023Z-knob.mcap"]);
    let files: Vec<_> = bench.disk.contents().into_values().collect();
    for file in &files {
        assert_eq!(entries(file)[..4], expected_head(file == &files[0]));
        assert!(mcap::Summary::read(file).unwrap().is_some_and(|summary| !summary.chunk_indexes.is_empty()));
    }
    let all: Vec<_> = files.iter().flat_map(|file| entries(file)).filter_map(|entry| packet_index(&entry)).collect();
    assert_eq!(all, bench.packets);
    let progress = bench.core.progress();
    assert_eq!((progress.lost(), progress.messages(), progress.written_through()), (0, 64, Some(63)));
    assert!(progress.is_closed() && progress.file().is_none());
    assert_eq!(bench.trouble(), None);
}

#[test]
fn whichever_operation_fails_once_no_entry_is_lost() {
    let operations = everything(|_| {}).disk.operations();
    assert!(operations > 100, "{operations}");
    for n in 0..operations {
        for kind in [ErrorKind::Other, ErrorKind::StorageFull] {
            let bench = everything(|disk| disk.fail(n..n + 1, kind));
            assert_eq!(bench.core.progress().lost(), 0, "operation {n} fails with {kind}");
            bench.check_recovery();
        }
    }
}

#[test]
fn from_whichever_operation_all_fail_nothing_written_is_lost() {
    let operations = everything(|_| {}).disk.operations();
    for n in 0..operations {
        let bench = everything(|disk| disk.fail(n..u64::MAX, ErrorKind::Other));
        bench.check_recovery();
    }
}

/// Records every 10 ms through a fault that ends again, and tells when the trouble was seen and cleared, ms after.
fn through(begin: impl FnOnce(&MemoryDisk), end: impl FnOnce(&MemoryDisk), shown: &Trouble) -> Bench {
    let mut bench = Bench::new(settings());
    [device(), profile(), link(), plate("Wren")].into_iter().for_each(|entry| bench.entry(entry));
    let record = |bench: &mut Bench, count: u64| {
        for _ in 0..count {
            bench.ms += 10;
            bench.packet();
        }
    };
    record(&mut bench, 100);
    assert_eq!(bench.trouble(), None);
    begin(&bench.disk);
    record(&mut bench, 200);
    assert_eq!(bench.trouble().as_ref(), Some(shown), "2 s after it began");
    let lost = bench.core.progress().lost();
    assert!(lost > 0);
    record(&mut bench, 500);
    assert_eq!(bench.core.progress().lost(), lost + 500, "nothing is written as long as it lasts");
    bench.check();
    end(&bench.disk);
    record(&mut bench, 200);
    assert_eq!(bench.trouble(), None, "2 s after it ended");
    let (_, second) = bench.disk.contents().pop_last().unwrap();
    let found = entries(&second);
    assert_eq!(
        found[..4],
        [device(), profile(), plate("Wren"), link()],
        "the second file begins with what one must know"
    );
    assert!(found.len() > 4 + 99, "{}", found.len());
    bench.check();
    bench.close();
    bench.check();
    bench
}

#[test]
fn a_full_disk_is_told_of_and_recording_goes_on_once_there_is_room() {
    let full = |disk: &MemoryDisk| {
        let used: usize = disk.contents().values().map(Vec::len).sum();
        disk.limit(Some(used as u64 + 1000));
    };
    let bench = through(full, |disk| disk.limit(None), &Trouble::Full);
    assert_eq!(names(&bench.disk).len(), 2);
    bench.check_recovery();
    assert!(Trouble::Full.remedy().contains("make room") && Trouble::Full.to_string().contains("full"));
}

#[test]
fn a_disk_that_was_full_is_tried_again_only_once_there_is_some_room() {
    let mut bench = Bench::new(settings());
    bench.disk.limit(Some(0));
    bench.packet();
    assert_eq!(bench.trouble(), Some(Trouble::Full));
    // Enough for a file's head and a few packets, and then it would be full again.
    bench.disk.limit(Some(30_000));
    bench.wait_ms(5000);
    bench.packet();
    assert_eq!((bench.trouble(), bench.core.progress().lost()), (Some(Trouble::Full), 2));
    bench.disk.limit(Some(2_000_000));
    bench.wait_ms(1000);
    bench.packet();
    assert_eq!((bench.trouble(), bench.core.progress().lost()), (None, 2));
}

#[test]
fn a_disk_that_becomes_read_only_is_told_of() {
    through(|disk| disk.make_read_only(true), |disk| disk.make_read_only(false), &Trouble::ReadOnly).check_recovery();
}

#[test]
fn a_folder_that_cannot_be_written_is_told_of_in_the_systems_words() {
    let shown = Trouble::NotWritable("permission denied".into());
    let fail = |disk: &MemoryDisk| disk.fail(0..u64::MAX, ErrorKind::PermissionDenied);
    through(fail, MemoryDisk::heal, &shown).check_recovery();
}

#[test]
fn trouble_goes_away_while_nothing_comes() {
    let mut bench = Bench::new(settings());
    bench.disk.make_read_only(true);
    bench.packet();
    assert_eq!(bench.trouble(), Some(Trouble::ReadOnly));
    bench.wait_ms(5000);
    assert_eq!(bench.trouble(), Some(Trouble::ReadOnly));
    bench.disk.make_read_only(false);
    bench.wait_ms(1100);
    assert_eq!(bench.trouble(), None);
    bench.close();
    assert!(names(&bench.disk).is_empty(), "a file without an entry is none: {:?}", names(&bench.disk));
}

#[test]
fn a_disk_nearly_full_is_told_of_and_left_the_room_it_has() {
    let mut bench = Bench::new(Settings { nearly_full_bytes: 200_000, ..settings() });
    bench.disk.limit(Some(150_000));
    bench.packet();
    let Some(Trouble::NearlyFull { free_bytes }) = bench.trouble() else { panic!("{:?}", bench.trouble()) };
    assert!((100_000..=150_000).contains(&free_bytes), "{free_bytes}");
    bench.close();
    assert_eq!(names(&bench.disk), ["20261125T161018Z-knob.live.mcap"], "finishing would take room from recording");
    bench.check();
    bench.check_recovery();
}

#[test]
fn a_disk_that_never_syncs_gets_few_files_and_keeps_every_entry() {
    let mut bench = Bench::new(settings());
    bench.packet();
    bench.disk.make_never_synced(true);
    // Ten minutes, a packet a second.
    for _ in 0..600 {
        bench.wait_ms(1000);
        bench.packet();
        assert!(matches!(bench.trouble(), Some(Trouble::NotWritable(_))), "{:?}", bench.trouble());
    }
    bench.check();
    let progress = bench.core.progress();
    assert_eq!((progress.lost(), progress.synced_through()), (0, None));
    // After 1, 2, 4 … 32 s and then each 64 s.
    let files = names(&bench.disk).iter().filter(|name| name.ends_with("live.mcap")).count();
    assert!((12..=17).contains(&files), "{files}");
    bench.disk.make_never_synced(false);
    bench.wait_ms(90_000);
    bench.packet();
    bench.wait_ms(1000);
    assert_eq!((bench.trouble(), progress.synced_through()), (None, Some(601)));
    bench.check();
    bench.close();
    bench.check_recovery();
}

#[test]
fn everything_is_synced_each_second_and_on_demand() {
    let mut bench = Bench::new(settings());
    (0..5).for_each(|_| bench.packet());
    assert_eq!(bench.core.progress().synced_through(), None);
    bench.sync();
    assert_eq!(bench.core.progress().synced_through(), Some(4));
    bench.packet();
    assert_eq!(bench.core.progress().synced_through(), Some(4));
    bench.wait_ms(1000);
    assert_eq!(bench.core.progress().synced_through(), Some(5));
    bench.check();
}
