use super::*;
use crate::daemon::store::rows::{Origin, Recording, RecordingState};
use crate::daemon::store::test_store::on_each;
use uuid::Uuid;

#[test]
fn an_installation_keeps_its_name_once_a_recording_is_known_by_it() {
    on_each(async |test| {
        let names = ["north", "north", "south"];
        for cage in names {
            keep_cage(&test.store, &test.folder, cage).await.unwrap();
        }
        let recording = Recording {
            id: Uuid::now_v7(),
            cage: "south".into(),
            file_name: "20261125T161018Z-knob.mcap".into(),
            sensor_id: None,
            origin: Origin::Live,
            imported_name: None,
            athlete_id: None,
            begun: UtcMicros(0),
            ended: None,
            summary: None,
            sha256: None,
            state: RecordingState::Open,
            version: 1,
        };
        let mut changes = test.store.write().await.unwrap();
        recordings::insert(&mut changes, &recording).await.unwrap();
        changes.commit().await.unwrap();
        keep_cage(&test.store, &test.folder, "south").await.unwrap();
        let refused = keep_cage(&test.store, &test.folder, "north").await.unwrap_err().to_string();
        assert!(refused.contains(r#"Expected cage.name = "south""#), "{refused}");
        keep_cage(&test.store, &test.folder, "south").await.unwrap();
    });
}
