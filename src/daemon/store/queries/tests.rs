//! What belongs to people and devices, written and read back on each database.

use super::super::StoreError;
use super::super::rows::*;
use super::super::test_store::{TestStore, on_each};
use super::*;
use serde_json::Value;
use uuid::Uuid;

/// Puts a swing without numbers into a lesson and a round, given by their ids as the API tells them.
pub async fn put_swing(connection: &mut AnyConnection, lesson_id: &Value, round_id: &Value) {
    let id = Uuid::now_v7().to_string();
    let recording = "INSERT INTO recordings (id, cage, file_name, origin, begun_utc_us, state, version)
         VALUES ($1, 'north', $1, 'live', 0, 'open', 1)";
    sqlx::query(recording).bind(&id).execute(&mut *connection).await.unwrap();
    let swing = "INSERT INTO swings (id, recording_id, run, contact_s, contact_utc_us, lesson_id, round_id, mark, note,
             is_moved, revision, version)
         VALUES ($1, $1, 0, 1.5, 1500000, $2, $3, 'none', '', 0, 1, 1)";
    let swing = sqlx::query(swing).bind(&id).bind(lesson_id.as_str()).bind(round_id.as_str());
    swing.execute(connection).await.unwrap();
}

fn athlete(nickname: &str) -> Athlete {
    Athlete {
        id: Uuid::now_v7(),
        nickname: nickname.into(),
        birth_year: Some(2012),
        bats: Bats::Both,
        height_m: Some(1.52),
        note: "left knee".into(),
        created: UtcMicros(5),
        version: 1,
    }
}

fn lesson(athlete: &Athlete, begun: i64, ended: Option<i64>) -> Lesson {
    Lesson {
        id: Uuid::now_v7(),
        athlete_id: athlete.id,
        occasion: Occasion::Lesson,
        cage: "north".into(),
        begun: UtcMicros(begun),
        ended: ended.map(UtcMicros),
        title: String::new(),
        note: String::new(),
        version: 1,
    }
}

fn round(lesson: &Lesson, begun: i64) -> Round {
    Round {
        id: Uuid::now_v7(),
        lesson_id: lesson.id,
        begun: UtcMicros(begun),
        drill: Some("high tee".into()),
        ball_source: Some(BallSource::FrontToss),
        pitch_speed_mps: Some(18.0),
        pitch_descent_deg: Some(7.5),
        bat_id: None,
        side: Some(Side::Left),
        note: String::new(),
        version: 1,
    }
}

fn mount(sensor: &Sensor, bat_id: Option<Uuid>, mounted: i64) -> Mount {
    Mount {
        id: Uuid::now_v7(),
        sensor_id: sensor.id,
        bat_id,
        offset_b_m: [0.001, -0.002, -0.02],
        q_bs_wxyz: [0.5, 0.5, -0.5, 0.5],
        tilt_sigma_rad: 0.01,
        source: MountSource::Measured,
        mounted: UtcMicros(mounted),
        removed: None,
        note: "tape".into(),
        version: 1,
    }
}

#[test]
fn athletes_and_consents_come_back_as_they_were_written_and_a_stale_edit_changes_nothing() {
    on_each(async |store: TestStore| {
        let (wren, mut tern) = (athlete("Wren"), athlete("Tern"));
        let mut changes = store.store.write().await.unwrap();
        athletes::insert(&mut changes, &wren).await.unwrap();
        athletes::insert(&mut changes, &tern).await.unwrap();
        assert_eq!(athletes::get(&mut changes, wren.id).await.unwrap(), wren);
        (tern.birth_year, tern.height_m, tern.bats) = (None, None, Bats::Unknown);
        athletes::update(&mut changes, &tern).await.unwrap();
        let stale = athletes::update(&mut changes, &tern).await;
        assert!(matches!(stale, Err(StoreError::Stale { seen: 1, now: 2, .. })), "{stale:?}");
        let tern = Athlete { version: 2, ..tern };
        for (nickname, found) in [("Tern", std::slice::from_ref(&tern)), ("tern", &[])] {
            let slice = Slice { after: None, limit: 10 };
            assert_eq!(athletes::list(&mut changes, Some(nickname), slice).await.unwrap(), found);
        }
        let mut consent = Consent {
            id: Uuid::now_v7(),
            athlete_id: wren.id,
            given_by: "Robin".into(),
            relation: Relation::Parent,
            scope: vec![Scope::Measuring, Scope::Sharing],
            given: UtcMicros(7),
            expires: Some(UtcMicros(9)),
            withdrawn: None,
            note: String::new(),
            version: 1,
        };
        consents::insert(&mut changes, &consent).await.unwrap();
        (consent.withdrawn, consent.expires) = (Some(UtcMicros(8)), None);
        consents::update(&mut changes, &consent).await.unwrap();
        consent.version = 2;
        assert_eq!(consents::get(&mut changes, consent.id).await.unwrap(), consent);
        assert_eq!(consents::of_athletes(&mut changes, &[tern.id, wren.id]).await.unwrap(), [consent.clone()]);
        assert_eq!(consents::of_athletes(&mut changes, &[]).await.unwrap(), []);
        let first = Slice { after: None, limit: 10 };
        assert_eq!(consents::list(&mut changes, tern.id, first).await.unwrap(), []);
        athletes::delete(&mut changes, Seen { id: wren.id, version: 1 }).await.unwrap();
        let gone = consents::get(&mut changes, consent.id).await;
        assert!(matches!(gone, Err(StoreError::NoSuch { .. })), "{gone:?}");
    });
}

#[test]
fn a_lesson_is_found_by_its_time_and_a_round_is_the_latest() {
    on_each(async |store: TestStore| {
        let (wren, tern) = (athlete("Wren"), athlete("Tern"));
        let mut changes = store.store.write().await.unwrap();
        athletes::insert(&mut changes, &wren).await.unwrap();
        athletes::insert(&mut changes, &tern).await.unwrap();
        let (past, mut open) = (lesson(&wren, 100, Some(200)), lesson(&wren, 300, None));
        for row in [&past, &open, &lesson(&tern, 100, None)] {
            lessons::insert(&mut changes, row).await.unwrap();
        }
        assert_eq!(lessons::going_on(&mut changes, "north", wren.id).await.unwrap(), Some(open.clone()));
        assert_eq!(lessons::going_on(&mut changes, "south", wren.id).await.unwrap(), None);
        for (at, expected) in [(99, None), (100, Some(&past)), (200, Some(&past)), (201, None), (999, Some(&open))] {
            let at = UtcMicros(at);
            let found = lessons::covering(&mut changes, wren.id, Occasion::Lesson, "north", at).await.unwrap();
            assert_eq!(found.as_ref(), expected, "{at:?}");
        }
        let practice = lessons::covering(&mut changes, wren.id, Occasion::Practice, "north", UtcMicros(150)).await;
        assert_eq!(practice.unwrap(), None);
        (open.ended, open.title) = (Some(UtcMicros(400)), "Hour 2".into());
        lessons::update(&mut changes, &open).await.unwrap();
        open.version = 2;
        assert_eq!(lessons::get(&mut changes, open.id).await.unwrap(), open);
        assert_eq!(lessons::going_on(&mut changes, "north", wren.id).await.unwrap(), None);
        let (mut first, second) = (round(&open, 310), round(&open, 320));
        rounds::insert(&mut changes, &second).await.unwrap();
        rounds::insert(&mut changes, &first).await.unwrap();
        assert_eq!(rounds::latest(&mut changes, open.id).await.unwrap(), Some(second.clone()));
        assert_eq!(rounds::latest(&mut changes, past.id).await.unwrap(), None);
        (first.drill, first.ball_source, first.side, first.pitch_speed_mps) = (None, None, None, None);
        rounds::update(&mut changes, &first).await.unwrap();
        first.version = 2;
        let slice = Slice { after: None, limit: 1 };
        assert_eq!(rounds::list(&mut changes, open.id, slice).await.unwrap(), [first.clone()]);
        let slice = Slice { after: Some(TimeKey { at: first.begun, id: first.id }), limit: 1 };
        assert_eq!(rounds::list(&mut changes, open.id, slice).await.unwrap(), [second]);
        assert_eq!(rounds::swings(&mut changes, first.id).await.unwrap(), 0);
        let counted = lessons::counted(&mut changes, open.id).await.unwrap();
        assert_eq!(counted, lessons::Counted { lesson: open, swings: 0, rounds: 2 });
        let orphan = lessons::insert(&mut changes, &lesson(&athlete("Nobody"), 1, None)).await;
        assert!(matches!(orphan, Err(StoreError::Refused(_))), "{orphan:?}");
    });
}

#[test]
fn a_sensor_is_entered_when_it_is_first_seen_and_its_mount_is_the_one_for_the_bat() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let knob = sensors::see(&mut changes, "knob-4f1a", UtcMicros(10)).await.unwrap();
        sensors::update(&mut changes, &Sensor { label: "Blue".into(), ..knob.clone() }).await.unwrap();
        for (seen, last) in [(30, 30), (20, 30)] {
            let again = sensors::see(&mut changes, "knob-4f1a", UtcMicros(seen)).await.unwrap();
            let last_seen = UtcMicros(last);
            assert_eq!(again, Sensor { label: "Blue".into(), last_seen, version: 2, ..knob.clone() });
            assert_eq!(sensors::get(&mut changes, knob.id).await.unwrap(), again);
        }
        assert_eq!(sensors::by_name(&mut changes, "knob").await.unwrap(), None);
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
            created: UtcMicros(0),
            version: 1,
        };
        bats::insert(&mut changes, &bat).await.unwrap();
        let (any, mut on_bat) = (mount(&knob, None, 50), mount(&knob, Some(bat.id), 40));
        assert_eq!(mounts::current(&mut changes, knob.id, None).await.unwrap(), None);
        mounts::insert(&mut changes, &any).await.unwrap();
        mounts::insert(&mut changes, &on_bat).await.unwrap();
        assert_eq!(mounts::current(&mut changes, knob.id, Some(bat.id)).await.unwrap(), Some(on_bat.clone()));
        assert_eq!(mounts::current(&mut changes, knob.id, None).await.unwrap(), Some(any.clone()));
        on_bat.removed = Some(UtcMicros(60));
        mounts::update(&mut changes, &on_bat).await.unwrap();
        assert_eq!(mounts::current(&mut changes, knob.id, Some(bat.id)).await.unwrap(), Some(any));
        let mut aim = Aim {
            id: Uuid::now_v7(),
            sensor_id: knob.id,
            lesson_id: None,
            recording_id: None,
            taken: UtcMicros(70),
            taken_s: Some(1.5),
            heading_rad: Some(-0.5),
            heading_sigma_rad: None,
            note: String::new(),
            version: 1,
        };
        aims::insert(&mut changes, &aim).await.unwrap();
        aim.note = "by the net".into();
        aims::update(&mut changes, &aim).await.unwrap();
        aim.version = 2;
        assert_eq!(aims::get(&mut changes, aim.id).await.unwrap(), aim);
        sensors::delete(&mut changes, Seen { id: knob.id, version: 2 }).await.unwrap();
        assert!(aims::get(&mut changes, aim.id).await.is_err() && mounts::get(&mut changes, on_bat.id).await.is_err());
        changes.commit().await.unwrap();
    });
}
