use super::super::test_api::{TestApi, on_each, sensor};
use super::*;
use crate::daemon::checks::Checks;
use crate::daemon::clock::Now;
use crate::daemon::tap::Tap;
use crate::engine::sample::{Sample, SensorTime};
use crate::engine::session::Session;
use crate::engine::wire::mcap::Entry;
use nalgebra::Vector3;
use serde_json::json;
use std::time::Duration;

/// The API with a tap for one sensor, which rests with this specific force.
struct Cage {
    api: TestApi,
    tap: Arc<Tap>,
    session: Session,
    force_mps2: f64,
    next: u32,
}

impl Cage {
    fn new(api: TestApi, force_mps2: f64) -> Self {
        let tap: Arc<Tap> = Arc::default();
        let given = Arc::clone(&tap);
        let checks = Arc::new(Checks::new(Arc::new(move |name| (name == "knob").then(|| Arc::clone(&given)))));
        Self { api: api.with_checks(checks), tap, session: Session::new(), force_mps2, next: 0 }
    }

    fn sends(&mut self, lasting_s: u32) {
        let times = self.next..self.next + 200 * lasting_s;
        self.next = times.end;
        let sample = |k: u32| Sample {
            time: SensorTime(f64::from(k) / 200.0),
            gyro_s_radps: Vector3::new(0.001, 0.0, -0.002),
            accel_s_mps2: Vector3::y() * self.force_mps2,
            accel_hi_s_mps2: None,
        };
        self.session.keep_fresh(self.tap.is_open());
        self.session.take(&Entry::Samples { log_time_ns: 0, samples: times.map(sample).collect() });
        self.tap.take(&self.session, Now { utc_ns: 0, elapsed: Duration::ZERO });
    }
}

#[test]
fn a_check_is_begun_waited_for_and_told_with_its_numbers() {
    on_each(async |api: TestApi| {
        let id = sensor(&api, "knob").await;
        let mut cage = Cage::new(api, 9.85);
        cage.api.api.hub.sensor("knob", &json!({"link": "connected"}));
        let path = format!("/v1/sensors/{id}/checks");
        assert_eq!(cage.api.get(&path).await.json, json!(null));
        let begun = cage.api.post(&path, json!({"kind": "still", "latitude_deg": 45.0})).await;
        assert_eq!((begun.status, &begun.json["step"]), (200, &json!("waiting")), "{:?}", begun.json);
        cage.sends(2);
        let standing = cage.api.get(&path).await.json;
        assert_eq!((&standing["step"], &standing["needed"]), (&json!("standing"), &json!(3.0)), "{standing}");
        assert!(standing["so_far"].as_f64().unwrap() > 1.8 && standing["verdict"].is_null(), "{standing}");
        cage.sends(2);
        let done = cage.api.get(&path).await.json;
        assert_eq!((&done["step"], &done["verdict"]), (&json!("done"), &json!("fits")), "{done}");
        let still = &done["still"];
        assert!((still["force_mps2"].as_f64().unwrap() - 9.85).abs() < 1e-9, "{still}");
        // Of the default profile: 0.2 m/s² of bias and 0.5 % of scale along one axis.
        assert!((still["force_sigma_mps2"].as_f64().unwrap() - 0.2f64.hypot(0.049)).abs() < 1e-3, "{still}");
        assert!((still["gravity_mps2"].as_f64().unwrap() - 9.8047).abs() < 1e-3, "{still}");
        assert_eq!(done["remedy"], json!("Nothing to do."));
        assert!(!cage.tap.is_open(), "nothing more is kept");
        cage.sends(1);
        assert_eq!(cage.api.get(&path).await.json, done, "a result stays");
    });
}

#[test]
fn what_does_not_fit_says_what_to_do_and_another_check_takes_its_place() {
    on_each(async |api: TestApi| {
        let id = sensor(&api, "knob").await;
        let mut cage = Cage::new(api, 10.6);
        cage.api.api.hub.sensor("knob", &json!({"link": "connected"}));
        let path = format!("/v1/sensors/{id}/checks");
        cage.api.post(&path, json!({"kind": "still"})).await;
        cage.sends(4);
        let done = cage.api.get(&path).await.json;
        assert_eq!((&done["verdict"], &done["still"]["force_fits"]), (&json!("does_not_fit"), &json!(false)));
        assert!(done["remedy"].as_str().unwrap().contains("calibrate"), "{done}");
        let other = cage.api.post(&path, json!({"kind": "mount"})).await.json;
        assert_eq!((&other["kind"], &other["still"]), (&json!("mount"), &json!(null)));
        cage.sends(2);
        assert_eq!(cage.api.get(&path).await.json["step"], json!("roll"));
    });
}

#[test]
fn without_a_sensor_that_sends_nothing_is_begun() {
    on_each(async |api: TestApi| {
        let id = sensor(&api, "knob").await;
        let cage = Cage::new(api, 9.8);
        let path = format!("/v1/sensors/{id}/checks");
        let refused = cage.api.post(&path, json!({"kind": "still"})).await;
        assert_eq!(refused.status, 409, "never connected");
        assert!(refused.json["detail"].as_str().unwrap().contains("knob is not connected"), "{:?}", refused.json);
        cage.api.api.hub.sensor("knob", &json!({"link": "lost"}));
        assert_eq!(cage.api.post(&path, json!({"kind": "still"})).await.status, 409, "lost");
        cage.api.api.hub.sensor("knob", &json!({"link": "connected"}));
        for (status, body) in [
            (422, json!({"kind": "guess"})),
            (422, json!({"kind": "still", "latitude_deg": 91.0})),
            (409, json!({"kind": "pendulum", "bat_id": Uuid::now_v7()})),
            (422, json!({"kind": "still", "speed": 1.0})),
        ] {
            assert_eq!(cage.api.post(&path, body.clone()).await.status, status, "{body}");
        }
        let nobody = format!("/v1/sensors/{}/checks", Uuid::now_v7());
        assert_eq!(cage.api.post(&nobody, json!({"kind": "still"})).await.status, 404);
        assert_eq!(cage.api.get(&nobody).await.status, 404);
        assert_eq!(cage.api.get(&path).await.json, json!(null));
    });
}
