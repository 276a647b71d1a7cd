//! The checks of a sensor through the API, by a sensor that is played to the running service.

use crate::support::folder::Folder;
use crate::support::in_process::start;
use crate::support::sse::request;
use crate::support::within;
use nalgebra::{UnitQuaternion, Vector3};
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::sync::mpsc::{Sender, channel};
use std::time::Duration;
use swingd::daemon::playback::Pace;
use swingd::daemon::service::Service;
use swingd::engine::profile::{Mount, Profile};
use swingd::engine::sample::Sample;
use swingd::engine::wire::mcap::Entry;
use swingd::sim::bench::{HungBat, Resting, StoodAndRolled};
use swingd::sim::{Drawn, Mishaps, Preset, Random, Trajectory, record};

const JSON: &str = "Content-Type: application/json";

/// A cage with a sensor whose motions are given one after the other.
struct Cage {
    service: Service,
    profile: Profile,
    drawn: Drawn,
    random: Random,
    /// The sensor's clock, s.
    at_s: f64,
    to_sensor: Sender<Vec<Sample>>,
    path: String,
}

impl Cage {
    async fn new(folder: &Folder, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let mount = Mount {
            offset_b_m: Vector3::new(0.0, 0.0, -0.012),
            q_bs: UnitQuaternion::from_scaled_axis(Vector3::new(0.4, 1.0, -0.3)),
            tilt_error_rad: 0.01,
            given: true,
        };
        let profile = Profile { sensor: Preset::Hobby.profile(), mount, ..Profile::default() };
        let drawn = Drawn::draw(&mut random, Preset::Hobby, &profile.sensor, &profile.mount);
        let service = start(&folder.kept(), 1000).await;
        let (to_sensor, given) = channel::<Vec<Sample>>();
        let toml = profile.to_toml();
        let mut first = Some(Entry::Profile { log_time_ns: 0, toml });
        let entries =
            move || first.take().or_else(|| Some(Entry::Samples { log_time_ns: 0, samples: given.recv().ok()? }));
        service.play("knob", entries, Pace { speed: f64::INFINITY }).expect("a station");
        let mut cage = Self { service, profile, drawn, random, at_s: 0.0, to_sensor, path: String::new() };
        let rest = Resting { angles_rad: [0.0; 3], mount: cage.drawn.mount.clone() };
        cage.moves(&rest, 2.0);
        let id = cage.sensor().await;
        cage.path = format!("/v1/sensors/{id}/checks");
        cage
    }

    fn address(&self) -> SocketAddr {
        self.service.address()
    }

    /// The sensor's id, once it is connected.
    async fn sensor(&self) -> String {
        within("the sensor to be connected", async {
            loop {
                let sensors = request(self.address(), "GET /v1/sensors", &[], "").await.json();
                let knob = &sensors["items"][0];
                if knob["live"]["link"] == "connected" {
                    return knob["id"].as_str().unwrap().to_owned();
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        })
        .await
    }

    /// What the sensor sends of a motion, on its clock.
    fn moves(&mut self, motion: &impl Trajectory, lasting_s: f64) {
        let mishaps = Mishaps::default();
        let sent = record(motion, lasting_s, &self.profile.sensor, &self.drawn, mishaps, &mut self.random);
        let begun_s = sent.samples[0].time.0;
        let later = |mut sample: Sample| {
            sample.time.0 += self.at_s - begun_s;
            sample
        };
        self.to_sensor.send(sent.samples.into_iter().map(later).collect()).unwrap();
        self.at_s += lasting_s;
    }

    async fn begin(&self, kind: &str) {
        let (line, body) = (format!("POST {}", self.path), json!({"kind": kind}).to_string());
        let begun = request(self.address(), &line, &[JSON], &body).await;
        assert_eq!(begun.status, 200, "{begun:?}");
    }

    async fn done(&self) -> Value {
        within("the check to be over", async {
            loop {
                let state = request(self.address(), &format!("GET {}", self.path), &[], "").await.json();
                if state["step"] == "done" {
                    return state;
                }
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        })
        .await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sensor_is_checked_its_mount_measured_and_an_aim_taken() {
    let folder = Folder::new("checks");
    let mut cage = Cage::new(&folder, 90).await;
    let mount = cage.drawn.mount.clone();

    cage.begin("still").await;
    cage.moves(&Resting { angles_rad: [0.3, 0.0, 1.0], mount: mount.clone() }, 5.0);
    let still = cage.done().await;
    assert_eq!(still["kind"], "still");
    let (force, sigma) = (&still["still"]["force_mps2"], &still["still"]["force_sigma_mps2"]);
    assert!((force.as_f64().unwrap() - 9.80665).abs() < 4.0 * sigma.as_f64().unwrap(), "{still}");

    cage.begin("pendulum").await;
    let hung = HungBat::new(1.4, 0.35, 0.003, 1.0, 12.0, mount.clone());
    cage.moves(&hung, 12.0);
    let swung = cage.done().await;
    let number = |key: &str| swung["pendulum"][key].as_f64().unwrap_or_else(|| panic!("{key}: {swung}"));
    assert!((number("period_s") - 1.4).abs() < 4.0 * number("period_sigma_s"), "{swung}");
    let sigma = number("speed_sigma_mps").hypot(number("expected_speed_sigma_mps"));
    assert!((number("speed_mps") - number("expected_speed_mps")).abs() < 4.0 * sigma, "{swung}");
    assert_eq!(swung["pendulum"]["period_fits"], json!(null), "no bat was named");

    cage.begin("mount").await;
    let rolled = StoodAndRolled::draw(&mut cage.random, 0.02, 0.02, mount.clone());
    cage.moves(&rolled, rolled.end_s());
    let found = cage.done().await;
    let of = &found["mount"];
    let q: Vec<f64> = serde_json::from_value(of["q_bs_wxyz"].clone()).unwrap();
    let q = UnitQuaternion::new_normalize(nalgebra::Quaternion::new(q[0], q[1], q[2], q[3]));
    let axis = |q: &UnitQuaternion<f64>| q.inverse() * Vector3::z();
    let off_rad = axis(&q).angle(&axis(&mount.q_bs));
    assert!(off_rad < 4.0 * of["tilt_sigma_rad"].as_f64().unwrap(), "{off_rad}: {found}");
    let stored = json!({
        "sensor_id": found["sensor_id"], "offset_b_m": of["offset_b_m"], "q_bs_wxyz": of["q_bs_wxyz"],
        "tilt_sigma_rad": of["tilt_sigma_rad"], "source": "measured",
    });
    let stored = request(cage.address(), "POST /v1/mounts", &[JSON], &stored.to_string()).await;
    assert_eq!(stored.status, 201, "what was found can be stored: {stored:?}");

    cage.begin("aim").await;
    cage.moves(&Resting { angles_rad: [0.7, 0.05, 0.0], mount }, 4.0);
    let aimed = cage.done().await;
    let aim = &aimed["aim"];
    assert!(aim["heading_sigma_rad"].as_f64().unwrap() > 0.035 && aimed["verdict"].is_null(), "{aimed}");
    let stored = json!({
        "sensor_id": aimed["sensor_id"], "taken_s": aim["taken_s"], "heading_rad": aim["heading_rad"],
        "heading_sigma_rad": aim["heading_sigma_rad"],
    });
    assert_eq!(request(cage.address(), "POST /v1/aims", &[JSON], &stored.to_string()).await.status, 201);
    let Cage { service, to_sensor, .. } = cage;
    drop(to_sensor);
    service.stop().await;
}
