use super::world::*;
use crate::daemon::record::backup::backup;
use crate::daemon::record::manifest::{Manifest, sums};
use crate::daemon::store::copy::counts;
use crate::daemon::store::queries::athletes;
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::test_store::on_each;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use uuid::Uuid;

#[test]
fn a_backup_beside_a_writer_is_of_one_instant() {
    on_each(async |test| {
        let world = World::new(test).await;
        let is_over = Arc::new(AtomicBool::new(false));
        let (store, over) = (world.test.store.clone(), Arc::clone(&is_over));
        // Two rows a change: no copy has an odd number of them.
        let writer = tokio::spawn(async move {
            let mut pairs = 0;
            while !over.load(Ordering::Relaxed) {
                let mut changes = store.write().await.unwrap();
                for _ in 0..2 {
                    athletes::insert(&mut changes, &athlete(Uuid::now_v7(), TERNS)).await.unwrap();
                }
                changes.commit().await.unwrap();
                pairs += 1;
            }
            pairs
        });
        let mut seen = Vec::new();
        for number in 0..5 {
            let (store, at) = (&world.test.store, UtcMicros(NOW.0 + number * 1_000_000));
            let made = backup(store, &world.test.folder, CAGE, &world.test.folder.join("b"), at).await.unwrap();
            let copy = open(&made.folder.join("store.sqlite")).await;
            let rows = counts(&mut copy.read().await.unwrap()).await.unwrap();
            copy.close().await;
            assert_eq!(rows, made.manifest.rows);
            assert!(rows["athletes"] % 2 == 0, "{}", rows["athletes"]);
            assert_eq!(sums(&made.folder).unwrap(), made.manifest.files, "opening it changes nothing");
            seen.push(rows["athletes"]);
        }
        is_over.store(true, Ordering::Relaxed);
        let pairs: i64 = writer.await.unwrap();
        assert!(seen.is_sorted() && seen[0] < seen[4] && seen[4] <= 2 + 2 * pairs, "{seen:?} of {pairs}");
    });
}

#[test]
fn a_recording_that_is_being_written_is_in_it_as_far_as_it_has_come() {
    on_each(async |test| {
        let world = World::new(test).await;
        let name = "20261125T171018Z-knob.live.mcap";
        std::fs::copy(world.recordings().join(SHARED), world.recordings().join(name)).unwrap();
        std::fs::write(world.recordings().join("20261125T181018Z-knob.mcap.part"), "begun").unwrap();
        let into = world.test.folder.join("b");
        std::fs::create_dir_all(into.join(".swingd-backup-20200101T000000Z.part")).unwrap();
        let made = backup(&world.test.store, &world.test.folder, CAGE, &into, NOW).await.unwrap();
        assert_eq!(made.manifest.live, [name]);
        let paths: Vec<_> = made.manifest.files.iter().map(|file| file.path.as_str()).collect();
        let shared = format!("recordings/{SHARED}");
        let live = format!("recordings/{name}");
        assert_eq!(paths, ["store.sqlite", &shared, &live, "recordings/import-1.mcap", "recordings/import-1.toml"]);
        assert_eq!(Manifest::read(&made.folder).unwrap(), made.manifest);
        // What was begun before and never ended is gone.
        assert_eq!(std::fs::read_dir(&into).unwrap().count(), 1);
        assert!(backup(&world.test.store, &world.test.folder, CAGE, &into, NOW).await.is_err(), "it is there");
    });
}
