use super::world::*;
use crate::daemon::record::backup::backup;
use crate::daemon::record::erase::{EraseError, Removed};
use crate::daemon::record::retention::expire;
use crate::daemon::record::steps::Steps;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::tombstones::Reason;
use crate::daemon::store::queries::{athletes, lessons, plates, recordings, swings_edit, swings_read, tombstones};
use crate::daemon::store::rows::{Origin, Plate, RecordingState, UtcMicros};
use crate::daemon::store::test_store::on_each;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use uuid::Uuid;

fn event(id: Option<Uuid>, nickname: &str) -> String {
    match id {
        Some(id) => format!(r#"{{"at_the_plate":{{"athlete_id":"{id}","nickname":"{nickname}"}}}}"#),
        None => format!(r#"{{"at_the_plate":{{"nickname":"{nickname}"}}}}"#),
    }
}

#[test]
fn nothing_of_an_athlete_is_left_in_any_byte_and_all_of_the_other_is() {
    on_each(async |test| {
        let world = World::new(test).await;
        let (eraser, log) = world.eraser(Steps::all());
        let hub = eraser.hub.clone().unwrap();
        hub.publish("swing", event(Some(world.wren), WRENS[0]));
        hub.publish("swing", event(Some(world.tern), TERNS[0]));
        hub.publish("swing", event(None, WRENS[0]));
        let backups = world.test.folder.join("elsewhere");
        let made = backup(&eraser.store, &world.test.folder, CAGE, &backups, NOW).await.unwrap();
        assert!(!holding(&made.folder, &WRENS).is_empty());

        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        let removed = Removed::of(&tombstone);
        let here = &removed.cages[CAGE];
        assert!(here.is_done, "{here:?}");
        assert_eq!((here.events, here.files_removed, here.files_rewritten, here.backups_erased), (2, 2, 1, 1));
        let rows: Vec<_> = ["athletes", "consents", "homework", "lessons", "swings", "analyses", "curves"]
            .map(|t| removed.rows[t])
            .into();
        assert_eq!(rows, [1, 1, 1, 3, 3, 3, 3]);

        log.close();
        assert_eq!(holding(&world.test.folder, &WRENS), [] as [String; 0]);
        assert!(!holding(&world.test.folder, &TERNS).is_empty());
        assert_eq!(content(&world.recordings().join(SHARED)), (vec![1, 3], vec![TERNS[0].into(), TERNS[0].into()]));
        assert_eq!(content(&made.folder.join("recordings").join(SHARED)).0, [1, 3]);
        assert_eq!(swings_in(&eraser.store).await, 2);
        let copy = open(&made.folder.join("store.sqlite")).await;
        assert_eq!(swings_in(&copy).await, 2);
        assert_eq!(copy.faults().await.unwrap(), [] as [String; 0]);
        copy.close().await;
        let mut read = eraser.store.read().await.unwrap();
        let shared = recordings::get(&mut read, world.shared).await.unwrap();
        assert_eq!((shared.state, shared.summary), (RecordingState::Stored, None));
        assert_eq!(athletes::get(&mut read, world.tern).await.unwrap().nickname, TERNS[0]);
        drop(read);

        // Once more: there is nobody, and nothing changes.
        let again = eraser.erase(world.wren, Reason::Request, NOW).await;
        assert!(matches!(again, Err(EraseError::Store(StoreError::NoSuch { .. }))));
    });
}

/// SQLite splits, fills and joins pages as notes grow and go; what it moves it has to clear behind itself.
#[test]
fn nothing_is_left_in_pages_that_were_split_and_joined() {
    on_each(async |test| {
        let world = World::new(test).await;
        let mut all = Vec::new();
        let mut changes = world.test.store.write().await.unwrap();
        for number in 0..600 {
            let (id, words) = if number % 2 == 0 { (world.wren, WRENS) } else { (world.tern, TERNS) };
            let mut lesson = lesson(id, words);
            lesson.note = words[1].repeat(1 + number % 37);
            lessons::insert(&mut changes, &lesson).await.unwrap();
            all.push(lesson);
        }
        changes.commit().await.unwrap();
        for (number, lesson) in all.iter_mut().enumerate() {
            let mut changes = world.test.store.write().await.unwrap();
            lesson.note = lesson.note.repeat(1 + number % 5);
            if number % 7 == 0 {
                lesson.note.truncate(5);
            }
            lessons::update(&mut changes, lesson).await.unwrap();
            changes.commit().await.unwrap();
        }
        let (eraser, log) = world.eraser(Steps::all());
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        log.close();
        assert_eq!(Removed::of(&tombstone).rows["lessons"], 303);
        assert_eq!(holding(&world.test.folder, &WRENS), [] as [String; 0]);
        assert_eq!(eraser.store.place().is_sqlite(), !holding(&world.test.folder, &[TERNS[1]]).is_empty());
    });
}

#[test]
fn a_kill_before_any_step_is_made_good_at_the_next_start() {
    on_each(async |test| {
        let mut world = World::new(test).await;
        let mut ended = 0;
        loop {
            let backups = world.test.folder.join(format!("elsewhere-{ended}"));
            backup(&world.test.store, &world.test.folder, CAGE, &backups, NOW).await.unwrap();
            let (eraser, log) = world.eraser(Steps::only(ended));
            let erased = eraser.erase(world.wren, Reason::Request, NOW).await;
            drop(eraser.hub);
            log.close();
            let (eraser, log) = world.eraser(Steps::all());
            let left = eraser.resume(NOW).await.unwrap();
            log.close();
            let is_erased =
                tombstones::find(&mut eraser.store.read().await.unwrap(), world.wren).await.unwrap().is_some();
            let names = holding(&world.test.folder, &WRENS);
            if is_erased {
                assert_eq!((left, names), (0, vec![]), "{ended}");
                assert_eq!(content(&world.recordings().join(SHARED)).0, [1, 3], "{ended}");
            } else {
                assert_eq!(content(&world.recordings().join(SHARED)).0, [0, 1, 2, 3], "{ended}");
                assert_eq!(swings_in(&eraser.store).await, 5);
            }
            if erased.is_ok() {
                break;
            }
            ended += 1;
            if is_erased {
                world = refilled(world).await;
            }
        }
        assert!(ended >= 10, "{ended}");
    });
}

/// Wren again, in a fresh store.
async fn refilled(world: World) -> World {
    let is_sqlite = world.test.store.place().is_sqlite();
    drop(world);
    World::new(crate::daemon::store::test_store::fresh(is_sqlite).await).await
}

#[test]
fn what_is_still_being_written_waits_and_is_done_later() {
    on_each(async |test| {
        let world = World::new(test).await;
        let live = world.recordings().join("20261125T171018Z-knob.live.mcap");
        std::fs::copy(world.recordings().join(SHARED), &live).unwrap();
        let (eraser, log) = world.eraser(Steps::all());
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        let here = &Removed::of(&tombstone).cages[CAGE];
        assert_eq!((here.is_done, here.waiting.len()), (false, 1));
        assert_eq!(eraser.resume(NOW).await.unwrap(), 1);
        std::fs::rename(&live, world.recordings().join("20261125T171018Z-knob.mcap")).unwrap();
        assert_eq!(eraser.resume(NOW).await.unwrap(), 0);
        log.close();
        assert_eq!(holding(&world.test.folder, &WRENS), [] as [String; 0]);
        assert_eq!(content(&world.recordings().join("20261125T171018Z-knob.mcap")).0, [1, 3]);
    });
}

#[test]
fn a_nickname_that_two_have_erases_nothing_of_the_other() {
    on_each(async |test| {
        let world = World::new(test).await;
        let other = athlete(Uuid::now_v7(), [WRENS[0], "", "", "", ""]);
        let mut changes = world.test.store.write().await.unwrap();
        athletes::insert(&mut changes, &other).await.unwrap();
        changes.commit().await.unwrap();
        let (eraser, log) = world.eraser(Steps::all());
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        log.close();
        // The stretch with the id is gone; that with the nickname alone may be the other's.
        assert_eq!(content(&world.recordings().join(SHARED)).0, [1, 2, 3]);
        let here = &Removed::of(&tombstone).cages[CAGE];
        assert!(here.is_done && here.left.len() == 1, "{here:?}");
    });
}

#[test]
fn a_backup_out_of_reach_is_named_and_one_that_is_gone_is_forgotten() {
    on_each(async |test| {
        let world = World::new(test).await;
        let (eraser, log) = world.eraser(Steps::all());
        let [away, gone] = ["away", "gone"].map(|name| world.test.folder.join(name));
        let away_made = backup(&eraser.store, &world.test.folder, CAGE, &away, NOW).await.unwrap();
        let gone_made = backup(&eraser.store, &world.test.folder, CAGE, &gone, NOW).await.unwrap();
        let hidden = world.test.folder.join("hidden");
        std::fs::rename(&away, &hidden).unwrap();
        std::fs::remove_dir_all(&gone_made.folder).unwrap();
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        let here = Removed::of(&tombstone).cages[CAGE].clone();
        assert_eq!((here.is_done, here.backups_gone, here.backups_erased), (false, 1, 0));
        assert!(here.not_reached[0].contains(&away_made.folder.display().to_string()), "{:?}", here.not_reached);
        std::fs::rename(&hidden, &away).unwrap();
        assert_eq!(eraser.resume(NOW).await.unwrap(), 0);
        log.close();
        assert_eq!(holding(&world.test.folder, &WRENS), [] as [String; 0]);
    });
}

#[test]
fn what_was_kept_long_enough_is_erased() {
    const DAY_US: i64 = 24 * 3600 * 1_000_000;
    on_each(async |test| {
        let world = World::new(test).await;
        let lone = recording("20200101T000000Z-knob.mcap", Origin::Live, None);
        let mut changes = world.test.store.write().await.unwrap();
        recordings::insert(&mut changes, &lone).await.unwrap();
        changes.commit().await.unwrap();
        write(&world.recordings().join(&lone.file_name), &[samples(0)]);
        let (eraser, log) = world.eraser(Steps::all());
        let days = |count: i64| UtcMicros(NOW.0 + count * DAY_US);
        assert!(expire(&eraser, 0, days(9999)).await.unwrap().athletes.is_empty());
        let none = expire(&eraser, 30, days(29)).await.unwrap();
        assert!(none.athletes.is_empty() && none.recordings.is_empty(), "{none:?}");
        let expired = expire(&eraser, 30, days(31)).await.unwrap();
        log.close();
        let mut athletes = expired.athletes;
        athletes.sort();
        assert_eq!(athletes, [world.wren, world.tern]);
        assert!(expired.recordings.contains(&lone.id));
        assert_eq!(std::fs::read_dir(world.recordings()).unwrap().count(), 0);
        assert_eq!(holding(&world.test.folder, &WRENS), [] as [String; 0]);
        let tombstone = tombstones::find(&mut eraser.store.read().await.unwrap(), lone.id).await.unwrap().unwrap();
        assert_eq!(tombstone.reason, Reason::Retention);
    });
}

#[test]
fn a_tombstone_in_a_backup_is_no_proof_that_its_recordings_were_cut() {
    on_each(async |test| {
        let world = World::new(test).await;
        let (eraser, log) = world.eraser(Steps::only(1));
        assert!(eraser.erase(world.wren, Reason::Request, NOW).await.is_err());
        log.close();
        assert_eq!(content(&world.recordings().join(SHARED)).0, [0, 1, 2, 3]);
        let made =
            backup(&world.test.store, &world.test.folder, CAGE, &world.test.folder.join("b"), NOW).await.unwrap();
        assert_eq!(holding(&made.folder, &WRENS), [] as [String; 0]);
        assert_eq!(content(&made.folder.join("recordings").join(SHARED)).0, [1, 3]);
        assert!(!made.folder.join("recordings/import-1.mcap").exists());
        let (eraser, log) = world.eraser(Steps::all());
        assert_eq!(eraser.resume(NOW).await.unwrap(), 0);
        log.close();
        let tombstone = tombstones::find(&mut eraser.store.read().await.unwrap(), world.wren).await.unwrap().unwrap();
        let here = &Removed::of(&tombstone).cages[CAGE];
        assert_eq!((here.backups_erased, here.backups.len()), (0, 1), "once is enough");
    });
}

#[test]
fn a_file_that_fails_stops_no_other_and_is_tried_less_and_less_often() {
    const MINUTE_US: i64 = 60_000_000;
    on_each(async |test| {
        let world = World::new(test).await;
        let (eraser, log) = world.eraser(Steps::all());
        let cut_short = world.recordings().join("20261124T161018Z-knob.mcap");
        write(&cut_short, &[samples(0)]);
        let bytes = std::fs::read(&cut_short).unwrap();
        std::fs::write(&cut_short, &bytes[..bytes.len() / 2]).unwrap();
        let made = backup(&eraser.store, &world.test.folder, CAGE, &world.test.folder.join("b"), NOW).await.unwrap();
        // It is there and cannot be read.
        let bad = world.recordings().join("00.mcap");
        std::fs::create_dir(&bad).unwrap();
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        let here = Removed::of(&tombstone).cages[CAGE].clone();
        assert_eq!((here.is_done, here.not_reached.len(), here.tries), (false, 1, 1), "{here:?}");
        assert!(here.left.iter().filter(|words| words.contains("20261124T161018Z-knob.mcap")).count() == 2, "{here:?}");
        assert_eq!(content(&world.recordings().join(SHARED)).0, [1, 3]);
        assert_eq!(holding(&made.folder, &WRENS), [] as [String; 0]);

        let after = |minutes: i64| UtcMicros(NOW.0 + minutes * MINUTE_US);
        let tries = async |at: UtcMicros| {
            eraser.resume_due(at).await.unwrap();
            let now = tombstones::find(&mut eraser.store.read().await.unwrap(), world.wren).await.unwrap().unwrap();
            Removed::of(&now).cages[CAGE].tries
        };
        assert_eq!(tries(after(9)).await, 1);
        assert_eq!(tries(after(10)).await, 2);
        assert_eq!(tries(after(20)).await, 2);
        assert_eq!(tries(after(30)).await, 3);
        std::fs::remove_dir(&bad).unwrap();
        assert_eq!(eraser.resume_due(after(40)).await.unwrap(), 1);
        assert_eq!(eraser.resume(after(40)).await.unwrap(), 0, "a start tries all");
        log.close();
    });
}

#[test]
fn a_plate_whose_lesson_is_over_keeps_nobody() {
    on_each(async |test| {
        let world = World::new(test).await;
        let stale = Plate {
            cage: CAGE.into(),
            athlete_id: Some(world.wren),
            lesson_id: None,
            round_id: None,
            side: None,
            bat_id: None,
            drill: None,
            ball_source: None,
            pitch_speed_mps: None,
            pitch_descent_deg: None,
            since: NOW,
            version: 1,
        };
        let mut changes = world.test.store.write().await.unwrap();
        plates::put(&mut changes, &stale).await.unwrap();
        changes.commit().await.unwrap();
        let (mut eraser, log) = world.eraser(Steps::all());
        let heard = Arc::new(AtomicU32::new(0));
        let hears = Arc::clone(&heard);
        eraser.plate = Some(Arc::new(move |at_bat| {
            assert_eq!(at_bat.plate.athlete_id, None);
            hears.fetch_add(1, Ordering::Relaxed);
        }));
        eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        log.close();
        assert_eq!(heard.load(Ordering::Relaxed), 1, "what records is told");
        let now = plates::get(&mut eraser.store.read().await.unwrap(), CAGE).await.unwrap().unwrap();
        assert_eq!(now.athlete_id, None);
    });
}

#[test]
fn recordings_of_moved_swings_are_named() {
    on_each(async |test| {
        let world = World::new(test).await;
        let mut changes = world.test.store.write().await.unwrap();
        // A swing of each to the other.
        let ids = recordings::swing_ids(&mut changes, world.shared).await.unwrap();
        for id in ids.into_iter().take(2) {
            let before = swings_read::get(&mut changes, id).await.unwrap().swing;
            let to = if before.athlete_id == Some(world.wren) { world.tern } else { world.wren };
            let to = swings_edit::Move { athlete: Some(Some(to)), ..Default::default() };
            let after = swings_edit::moved(&mut changes, &before, to).await.unwrap();
            swings_edit::put(&mut changes, &before, &after).await.unwrap();
        }
        changes.commit().await.unwrap();
        let (eraser, log) = world.eraser(Steps::all());
        let tombstone = eraser.erase(world.wren, Reason::Request, NOW).await.unwrap();
        log.close();
        let here = &Removed::of(&tombstone).cages[CAGE];
        let says = |words: &str| here.left.iter().any(|left| left.starts_with(SHARED) && left.contains(words));
        assert!(here.is_done && here.left.len() == 2, "{here:?}");
        assert!(says("a swing of theirs in it") && says("a swing of another in it"), "{here:?}");
    });
}
