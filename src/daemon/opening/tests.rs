use super::*;
use crate::daemon::MakeDisk;
use crate::daemon::clock::SystemClock;
use crate::daemon::record::ingest::Entrance;
use crate::daemon::store::queries::{mounts, sensors};
use crate::daemon::store::rows::{Mount, MountSource, Origin, Recording, RecordingState};
use crate::daemon::store::test_store::on_each;
use crate::engine::profile::Profile;
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

#[test]
fn a_stored_mount_holds_from_the_start_with_nobody_at_the_plate() {
    on_each(async |test| {
        let mut changes = test.store.write().await.unwrap();
        let sensor = sensors::see(&mut changes, "knob", UtcMicros(0)).await.unwrap();
        let mount = Mount {
            id: Uuid::now_v7(),
            sensor_id: sensor.id,
            bat_id: None,
            offset_b_m: [0.0, 0.0, -0.02],
            q_bs_wxyz: [1.0, 0.0, 0.0, 0.0],
            tilt_sigma_rad: 0.007,
            source: MountSource::Measured,
            mounted: UtcMicros(1),
            removed: None,
            note: String::new(),
            version: 1,
        };
        mounts::insert(&mut changes, &mount).await.unwrap();
        changes.commit().await.unwrap();
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
        let hub = Arc::new(Hub::new(Vec::new(), 1, 10, Box::new(|_| {})));
        let limits = Limits { idle_close_s: 60.0, most_bytes: 1 << 20 };
        let (entrance, _jobs) = Entrance::new("north");
        let disk: MakeDisk<SystemDisk> = Arc::new(|| SystemDisk);
        let stations = Stations::new(hub, Arc::clone(&clock), disk, test.folder.clone(), 1, limits, entrance);
        bring_back_the_plate(&test.store, "north", &*clock, &stations).await.unwrap();
        let outfit = Arc::clone(&stations.outfit.lock().unwrap());
        let worn = outfit.dress(&Profile::default(), "knob").mount;
        assert_eq!((worn.tilt_error_rad, worn.offset_b_m.z), (0.007, -0.02));
        assert!(stations.at_the_plate.lock().unwrap().is_none(), "nobody is told of");
    });
}
