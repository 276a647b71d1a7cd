use super::*;
use crate::daemon::store::queries::{bats, recordings, tombstones};
use crate::daemon::store::rows::{Bat, BatKind, Origin, Recording, RecordingState};
use crate::daemon::store::test_store::{TestStore, on_each};
use crate::engine::Stage;
use crate::engine::session::Placed;
use crate::report::example;
use std::sync::Arc;

const BEGUN: UtcMicros = UtcMicros(1_795_623_018_000_000);
const NOW: UtcMicros = UtcMicros(1_795_623_099_000_000);

fn told(number: u64, stage: Stage) -> ToldSwing {
    ToldSwing {
        number,
        run: 0,
        stage,
        swing: example::swing(number as usize + 1),
        contact_utc: None,
        at_the_plate: AtThePlate { side: Some(AtThePlateSide::Left), ..AtThePlate::default() },
        profile: Arc::default(),
    }
}

async fn source(store: &TestStore) -> Source {
    let recording = Recording {
        id: Uuid::now_v7(),
        cage: "north".into(),
        file_name: "20261125T161018Z-knob.mcap".into(),
        sensor_id: None,
        origin: Origin::Live,
        imported_name: None,
        athlete_id: None,
        begun: BEGUN,
        ended: None,
        summary: None,
        sha256: None,
        state: RecordingState::Open,
        version: 1,
    };
    let mut changes = store.store.write().await.unwrap();
    recordings::insert(&mut changes, &recording).await.unwrap();
    changes.commit().await.unwrap();
    let file_stem = "20261125T161018Z-knob".into();
    Source { recording_id: recording.id, cage: "north".into(), file_stem, begun: BEGUN, first_s: 2.0, owner: None }
}

async fn kept(store: &TestStore, source: &Source, told: &ToldSwing) -> Kept {
    let mut changes = store.store.write().await.unwrap();
    let kept = keep(&mut changes, source, told, NOW).await.unwrap().unwrap();
    changes.commit().await.unwrap();
    kept
}

#[test]
fn an_id_is_a_uuid_of_version_7_that_follows_from_where_the_swing_is() {
    let id = swing_id("cage", "20261125T161018Z-knob", 1_795_623_018_000, 4);
    assert_eq!((id.get_version_num(), id.get_variant()), (7, uuid::Variant::RFC4122));
    // RFC 9562, section 5.7: the first 48 bits are the milliseconds.
    assert_eq!(id.as_u128() >> 80, 1_795_623_018_000);
    assert_eq!(id, swing_id("cage", "20261125T161018Z-knob", 1_795_623_018_000, 4));
    let others = [
        swing_id("cage", "20261125T161018Z-knob", 1_795_623_018_000, 5),
        swing_id("cag", "e20261125T161018Z-knob", 1_795_623_018_000, 4),
        swing_id("cage", "20261125T161018Z-knob-2", 1_795_623_018_000, 4),
    ];
    assert!(others.iter().all(|other| *other != id));
}

#[test]
fn a_better_word_on_a_swing_is_another_revision_and_the_same_word_none() {
    on_each(async |store| {
        let source = source(&store).await;
        let first = kept(&store, &source, &told(0, Stage::Smoothed)).await;
        assert_eq!((first.swing_id, first.revision, first.is_new), (source.swing_id(0), 1, true));
        assert_eq!(first.owner, Owner { side: Some(Side::Left), ..Owner::default() });
        let mut revised = told(0, Stage::Revised);
        revised.swing.contact.0 += 0.004;
        revised.swing.metrics[0] = Some(Estimate { value: 31.25, sigma: f64::INFINITY });
        revised.at_the_plate.side = Some(AtThePlateSide::Right);
        let second = kept(&store, &source, &revised).await;
        assert_eq!((second.swing_id, second.revision, second.is_new), (first.swing_id, 2, false));
        assert_eq!(second.owner, first.owner, "whose a swing is was said with its first word");
        for again in [told(0, Stage::Smoothed), revised] {
            let same = kept(&store, &source, &again).await;
            assert_eq!((same.swing_id, same.is_new, same.is_added), (first.swing_id, false, false));
        }
        let mut reading = store.store.read().await.unwrap();
        let stored = analyses::latest_of_stage(&mut reading, first.swing_id, "revised").await.unwrap().unwrap();
        assert_eq!((stored.revision, stored.metrics[0]), (2, None), "a number without end is none");
        assert_eq!(stored.metrics[1], told(0, Stage::Revised).swing.metrics[1], "to the bit");
        let toml = profiles::get(&mut reading, &stored.profile_sha256).await.unwrap();
        assert_eq!(toml, crate::engine::profile::Profile::default().to_toml());
    });
}

#[test]
fn another_profile_is_another_revision_and_going_back_to_the_first_one_more() {
    on_each(async |store| {
        let source = source(&store).await;
        let first = told(2, Stage::Revised);
        let mut other = first.clone();
        Arc::make_mut(&mut other.profile).bat.length_m = 0.8;
        let mut revisions = Vec::new();
        for told in [&first, &other, &other, &first] {
            revisions.push(kept(&store, &source, told).await.revision);
        }
        assert_eq!(revisions, [1, 2, 2, 3]);
    });
}

#[test]
fn swings_that_are_not_the_same_are_told_apart() {
    on_each(async |store| {
        let source = source(&store).await;
        let first = kept(&store, &source, &told(0, Stage::Smoothed)).await;
        let mut other_run = told(0, Stage::Smoothed);
        other_run.run = 1;
        // Of the same number, as another analysis may count otherwise.
        let mut later = told(0, Stage::Smoothed);
        later.swing.contact.0 += 0.11;
        let mut ids = vec![first.swing_id];
        for told in [other_run, later] {
            let kept = kept(&store, &source, &told).await;
            assert!(kept.is_new && !ids.contains(&kept.swing_id));
            ids.push(kept.swing_id);
        }
    });
}

#[test]
fn contact_is_placed_by_the_air_or_else_by_the_begin_of_the_recording() {
    on_each(async |store| {
        let source = source(&store).await;
        let mut swing = told(0, Stage::Smoothed);
        assert_eq!(contact_utc(&source, &swing), (UtcMicros(BEGUN.0 + 8_000_000), None));
        swing.contact_utc = Some(Placed { utc_ns: 1_795_623_018_123_456_789, sigma_s: 0.004, is_poor: false });
        assert_eq!(contact_utc(&source, &swing), (UtcMicros(1_795_623_018_123_456), Some(4000)));
    });
}

#[test]
fn a_swing_belongs_to_what_of_its_owner_is_known() {
    on_each(async |store| {
        let source = source(&store).await;
        let bat = Bat {
            id: Uuid::now_v7(),
            name: "Ash".into(),
            kind: BatKind::Bat,
            length_m: None,
            mass_kg: None,
            balance_m: None,
            moi: None,
            sweet_spot_m: None,
            barrel_diameter_m: None,
            note: String::new(),
            is_retired: false,
            created: NOW,
            version: 1,
        };
        let mut changes = store.store.write().await.unwrap();
        bats::insert(&mut changes, &bat).await.unwrap();
        changes.commit().await.unwrap();
        let mut swing = told(0, Stage::Smoothed);
        swing.at_the_plate.bat_id = Some(bat.id.to_string());
        swing.at_the_plate.athlete_id = Some(Uuid::now_v7().to_string());
        swing.at_the_plate.round_id = Some("of another program".into());
        let owner = kept(&store, &source, &swing).await.owner;
        assert_eq!(owner, Owner { side: Some(Side::Left), bat_id: Some(bat.id), ..Owner::default() });
    });
}

#[test]
fn what_has_no_time_is_refused() {
    on_each(async |store| {
        let source = source(&store).await;
        let mut swing = told(0, Stage::Smoothed);
        swing.swing.contact.0 = f64::NAN;
        let mut changes = store.store.write().await.unwrap();
        let refused = keep(&mut changes, &source, &swing, NOW).await;
        assert!(matches!(refused, Err(StoreError::Refused(_))));
    });
}

#[test]
fn a_swing_of_an_erased_athlete_is_not_stored_and_one_that_is_anothers_now_is_still_revised() {
    on_each(async |store| {
        let source = source(&store).await;
        let erased = Uuid::now_v7();
        let of_erased = |number, stage| {
            let at_the_plate = AtThePlate { athlete_id: Some(erased.to_string()), ..AtThePlate::default() };
            ToldSwing { at_the_plate, ..told(number, stage) }
        };
        let before = kept(&store, &source, &of_erased(0, Stage::Smoothed)).await;
        let mut changes = store.store.write().await.unwrap();
        let (kind, reason) = (tombstones::Kind::Athlete, tombstones::Reason::Request);
        let tombstone = tombstones::Tombstone { id: erased, kind, erased: NOW, reason, removed: "{}".into() };
        tombstones::insert(&mut changes, &tombstone).await.unwrap();
        changes.commit().await.unwrap();
        let mut changes = store.store.write().await.unwrap();
        let mut other = of_erased(1, Stage::Smoothed);
        other.swing.contact.0 += 5.0;
        assert_eq!(keep(&mut changes, &source, &other, NOW).await.unwrap(), None);
        let imported = Source { owner: Some(Owner { athlete_id: Some(erased), ..Owner::default() }), ..source.clone() };
        other.at_the_plate = AtThePlate::default();
        assert_eq!(keep(&mut changes, &imported, &other, NOW).await.unwrap(), None);
        let counts = crate::daemon::store::copy::counts(&mut changes).await.unwrap();
        assert_eq!((counts["swings"], counts["profiles"]), (1, 1));
        drop(changes);
        let again = kept(&store, &source, &of_erased(0, Stage::Revised)).await;
        assert_eq!((again.swing_id, again.is_new, again.is_added), (before.swing_id, false, true));
    });
}
