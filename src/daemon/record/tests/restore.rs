use super::world::*;
use crate::daemon::lock::{Holder, InstanceLock};
use crate::daemon::record::backup::backup;
use crate::daemon::record::erase::Eraser;
use crate::daemon::record::manifest::Manifest;
use crate::daemon::record::restore::{Restore, RestoreError, finish, finish_server, restore};
use crate::daemon::record::steps::Steps;
use crate::daemon::store::queries::tombstones::Reason;
use crate::daemon::store::queries::{athletes, backups, tokens, tombstones};
use crate::daemon::store::rows::{Role, Token, UtcMicros, Word};
use crate::daemon::store::test_store::{TestStore, fresh, on_each};
use crate::daemon::store::{Place, Store};
use std::path::Path;
use std::sync::Arc;
use uuid::Uuid;

fn asked<'a>(backup: &'a Path, data_folder: &'a Path, place: &'a Place, steps: Steps) -> Restore<'a> {
    let now = UtcMicros(NOW.0 + 1);
    Restore {
        backup,
        data_folder,
        cage: CAGE,
        place,
        ignore_present: false,
        of_any_cage: false,
        now,
        steps: Arc::new(steps),
    }
}

fn runs_on_sqlite(test: impl AsyncFn(TestStore)) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(async { test(fresh(true).await).await });
}

/// A backup of two athletes; then a third comes.
async fn world_with_backup(test: TestStore) -> (World, std::path::PathBuf) {
    let world = World::new(test).await;
    let into = world.test.folder.join("b");
    let made = backup(&world.test.store, &world.test.folder, CAGE, &into, NOW).await.unwrap();
    let mut changes = world.test.store.write().await.unwrap();
    athletes::insert(&mut changes, &athlete(Uuid::now_v7(), ["Siskin", "", "", "", ""])).await.unwrap();
    changes.commit().await.unwrap();
    std::fs::write(world.recordings().join("new.mcap"), "new").unwrap();
    (world, made.folder)
}

async fn athletes_in(store: &Store) -> i64 {
    crate::daemon::store::copy::counts(&mut store.read().await.unwrap()).await.unwrap()["athletes"]
}

#[test]
fn wherever_a_restore_ends_there_is_the_old_or_the_new() {
    runs_on_sqlite(async |test| {
        let (world, made) = world_with_backup(test).await;
        let (data, place) = (&world.test.folder, world.test.store.place().clone());
        world.test.store.close().await;
        let (mut olds, mut steps) = (0, 0);
        loop {
            let restored = restore(&asked(&made, data, &place, Steps::only(steps))).await;
            // The next start.
            if data.join("restoring.json").exists() {
                assert!(Store::open(&place).await.is_err(), "in between nothing can be opened");
            }
            assert!(!finish(data).unwrap());
            let store = Store::open(&place).await.unwrap();
            let is_old = athletes_in(&store).await == 3;
            assert_eq!(is_old, data.join("recordings/new.mcap").exists(), "a mixture after {steps} steps");
            assert_eq!(content(&data.join("recordings").join(SHARED)).0, [0, 1, 2, 3]);
            assert_eq!(store.faults().await.unwrap(), [] as [String; 0]);
            store.close().await;
            olds += u32::from(is_old);
            if !is_old {
                // What was there is kept, and put back for the next round.
                let kept = data.join("before-restore-20261125T161018Z");
                assert!(kept.join("recordings/new.mcap").exists());
                for name in ["store.sqlite", "recordings"] {
                    let path = data.join(name);
                    if path.is_dir() { std::fs::remove_dir_all(&path) } else { std::fs::remove_file(&path) }.unwrap();
                    std::fs::rename(kept.join(name), path).unwrap();
                }
                std::fs::remove_dir(kept).unwrap();
            }
            if let Ok(restored) = restored {
                assert!(restored.kept.is_some() && restored.erased_again.is_empty());
                break;
            }
            steps += 1;
        }
        assert!(olds >= 1 && steps > 7, "{olds} of {steps}");
    });
}

#[test]
fn whoever_was_erased_does_not_come_back() {
    runs_on_sqlite(async |test| {
        let world = World::new(test).await;
        let (data, place) = (world.test.folder.clone(), world.test.store.place().clone());
        let (eraser, log) = world.eraser(Steps::all());
        let made = backup(&eraser.store, &data, CAGE, &data.join("b"), NOW).await.unwrap();
        // On a medium that was elsewhere when Wren was erased.
        let away = std::env::temp_dir().join(format!("swingd-away-{}", Uuid::now_v7()));
        std::fs::rename(&made.folder, &away).unwrap();
        eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        log.close();
        drop(eraser);
        world.test.store.close().await;
        let restored = restore(&asked(&away, &data, &place, Steps::all())).await.unwrap();
        assert_eq!(restored.erased_again, [world.wren]);
        assert_eq!(holding(&data, &WRENS), [] as [String; 0]);
        assert_eq!(content(&data.join("recordings").join(SHARED)).0, [1, 3]);
        let store = Store::open(&place).await.unwrap();
        let mut read = store.read().await.unwrap();
        assert!(tombstones::find(&mut read, world.wren).await.unwrap().is_some());
        let known: Vec<_> = backups::all(&mut read).await.unwrap().into_iter().map(|backup| backup.folder).collect();
        assert!(known.contains(&restored.kept.unwrap()) && known.contains(&away), "{known:?}");
        drop(read);
        // Nor does it stay in what was restored from.
        assert!(!holding(&away, &WRENS).is_empty());
        let eraser = Eraser {
            store,
            data_folder: data.clone(),
            cage: CAGE.into(),
            hub: None,
            plate: None,
            steps: Arc::default(),
        };
        assert_eq!(eraser.resume(NOW).await.unwrap(), 0);
        assert_eq!(holding(&away, &WRENS), [] as [String; 0]);
        std::fs::remove_dir_all(&away).unwrap();
    });
}

#[test]
fn a_damaged_backup_changes_nothing_and_is_told_what_ails_it() {
    runs_on_sqlite(async |test| {
        let (world, made) = world_with_backup(test).await;
        let (data, place) = (world.test.folder.clone(), world.test.store.place().clone());
        world.test.store.close().await;
        let whole = std::fs::read(made.join("store.sqlite")).unwrap();
        let manifest = Manifest::read(&made).unwrap();
        let refused = async |words: &str| {
            let error = restore(&asked(&made, &data, &place, Steps::all())).await.unwrap_err();
            assert!(matches!(error, RestoreError::Damaged(_)) && error.to_string().contains(words), "{error}");
            assert!(!data.join("restoring").exists() && data.join("recordings/new.mcap").exists());
            let store = Store::open(&place).await.unwrap();
            assert_eq!(athletes_in(&store).await, 3);
            store.close().await;
        };
        let mut flipped = whole.clone();
        flipped[whole.len() / 2] ^= 1;
        std::fs::write(made.join("store.sqlite"), &flipped).unwrap();
        refused("store.sqlite: its sum (SHA-256) is not the one in the manifest").await;
        std::fs::write(made.join("store.sqlite"), &whole).unwrap();
        std::fs::rename(made.join("recordings").join(SHARED), made.join("away")).unwrap();
        refused("is missing").await;
        std::fs::rename(made.join("away"), made.join("recordings").join(SHARED)).unwrap();
        let with = |change: &dyn Fn(&mut Manifest)| {
            let mut other = manifest.clone();
            change(&mut other);
            other.write(&made).unwrap();
        };
        with(&|other| _ = other.rows.insert("swings".into(), 6));
        refused("swings has 5 rows; its manifest says 6").await;
        with(&|other| other.files[1].path = "recordings/../../x".into());
        refused("it names").await;
        with(&|other| other.schema_version = 99);
        refused("its schema is of version 99").await;
        with(&|other| other.format = 2);
        refused("it is of format 2; expected 1").await;
        std::fs::remove_file(made.join("manifest.json")).unwrap();
        refused("manifest.json").await;
        manifest.write(&made).unwrap();
        let lock = InstanceLock::take(&data, &Holder::this_process(jiff::Timestamp::now(), None)).unwrap();
        let held = restore(&asked(&made, &data, &place, Steps::all())).await;
        assert!(matches!(held, Err(RestoreError::Lock(_))));
        drop(lock);
        restore(&asked(&made, &data, &place, Steps::all())).await.unwrap();
    });
}

#[test]
fn into_a_server_only_where_nothing_is_and_all_or_nothing() {
    on_each(async |test| {
        let world = World::new(test).await;
        if world.test.store.place().is_sqlite() {
            return;
        }
        let made =
            backup(&world.test.store, &world.test.folder, CAGE, &world.test.folder.join("b"), NOW).await.unwrap();
        let place = world.test.store.place().clone();
        let full = restore(&asked(&made.folder, &world.test.folder, &place, Steps::all())).await.unwrap_err();
        assert!(matches!(full, RestoreError::NotEmpty { rows, .. } if rows > 0), "{full}");
        let mut steps = 0;
        loop {
            let other = fresh(false).await;
            let restored = restore(&asked(&made.folder, &other.folder, other.store.place(), Steps::only(steps))).await;
            if finish(&other.folder).unwrap() {
                finish_server(&other.store, &other.folder).await.unwrap();
            }
            assert!(!other.folder.join("restoring.json").exists());
            let is_new = athletes_in(&other.store).await == 2;
            assert_eq!(is_new, other.folder.join("recordings").join(SHARED).exists(), "{steps}");
            if restored.is_ok() {
                assert_eq!(swings_in(&other.store).await, 5);
                break;
            }
            steps += 1;
        }
        assert!(steps > 4, "{steps}");
    });
}

fn token(sha256: &str) -> Token {
    Token {
        id: Uuid::now_v7(),
        sha256: sha256.into(),
        label: "display".into(),
        role: Role::ALL[0],
        created: NOW,
        expires: UtcMicros(NOW.0 + 1_000_000_000),
        revoked: None,
        last_used: None,
    }
}

#[test]
fn a_token_that_was_revoked_stays_so_and_without_the_present_store_all_are() {
    runs_on_sqlite(async |test| {
        let world = World::new(test).await;
        let (data, place) = (world.test.folder.clone(), world.test.store.place().clone());
        let (lost, kept) = (token("aa"), token("bb"));
        let mut changes = world.test.store.write().await.unwrap();
        tokens::insert(&mut changes, &lost).await.unwrap();
        tokens::insert(&mut changes, &kept).await.unwrap();
        changes.commit().await.unwrap();
        let made = backup(&world.test.store, &data, CAGE, &data.join("b"), NOW).await.unwrap();
        let mut changes = world.test.store.write().await.unwrap();
        tokens::revoke(&mut changes, lost.id, NOW).await.unwrap();
        changes.commit().await.unwrap();
        world.test.store.close().await;
        for (ignore_present, valid) in [(false, [false, true]), (true, [false, false])] {
            let now = UtcMicros(NOW.0 + 2_000_000 + i64::from(ignore_present) * 1_000_000);
            let asked = Restore { ignore_present, now, ..asked(&made.folder, &data, &place, Steps::all()) };
            let restored = restore(&asked).await.unwrap();
            assert_eq!(restored.tokens_revoked, 1 + usize::from(ignore_present));
            let store = Store::open(&place).await.unwrap();
            for (id, is_valid) in [lost.id, kept.id].into_iter().zip(valid) {
                let found = tokens::is_valid(&mut store.read().await.unwrap(), id, now).await.unwrap();
                assert_eq!(found, is_valid, "{ignore_present}");
            }
            store.close().await;
        }
    });
}

#[test]
fn another_installations_backup_is_refused_unless_it_is_said() {
    runs_on_sqlite(async |test| {
        let (world, made) = world_with_backup(test).await;
        let (data, place) = (&world.test.folder, world.test.store.place().clone());
        world.test.store.close().await;
        let here = Restore { cage: "south", ..asked(&made, data, &place, Steps::all()) };
        let refused = restore(&here).await.unwrap_err();
        assert!(matches!(refused, RestoreError::OtherCage { .. }), "{refused}");
        assert!(!data.join("restoring").exists() && data.join("recordings/new.mcap").exists());
        restore(&Restore { of_any_cage: true, ..here }).await.unwrap();
        assert!(!data.join("recordings/new.mcap").exists());
    });
}
