//! The page of a sensor that is not there, and of one with all kinds of results.

use super::checking::{Kept, drawn};
use crate::daemon::access::OfAthletes;
use crate::daemon::api::checks::{
    AimFound, CheckKind, CheckState, MountFoundOut, PendulumFound, Step, StillFound, Verdict,
};
use crate::daemon::api::instant::Instant;
use crate::daemon::api::test_api::{TestApi, athlete, on_each, sensor};
use crate::daemon::store::rows::UtcMicros;
use crate::report::words::Units;
use axum::body::Body;
use axum::http::Request;
use serde_json::json;
use uuid::Uuid;

const NONE: Kept<'static> = Kept { mounts: &[], aims: &[] };

fn state(kind: CheckKind, step: Step) -> CheckState {
    CheckState {
        sensor_id: Uuid::nil(),
        kind,
        begun: Instant::from(UtcMicros(0)),
        bat_id: None,
        is_connected: true,
        step,
        so_far: None,
        needed: None,
        angle_rad: None,
        verdict: None,
        remedy: None,
        still: None,
        mount: None,
        pendulum: None,
        aim: None,
    }
}

fn of(state: &CheckState, units: Units) -> String {
    drawn(Some(state), &NONE, units).into_string()
}

#[test]
fn every_step_says_what_to_do_and_only_the_last_ends_the_asking() {
    let steps = [
        (Step::Waiting, "Waiting"),
        (Step::Moving, "leave it alone"),
        (Step::Standing, "stands still"),
        (Step::Stand, "barrel end"),
        (Step::Roll, "roll it"),
        (Step::Hang, "let it go"),
        (Step::Swing, "Do not touch"),
        (Step::Amplitude, "swings to 60°"),
        (Step::Hold, "level toward the pitcher"),
        (Step::Level, "barrel is at 60°"),
    ];
    for (step, words) in steps {
        let asked = CheckState { angle_rad: Some(60f64.to_radians()), ..state(CheckKind::Still, step) };
        let html = of(&asked, Units::Us);
        assert!(html.contains(words) && !html.contains("data-done"), "{step:?}: {html}");
    }
    let lost = CheckState { is_connected: false, ..state(CheckKind::Still, Step::Moving) };
    assert!(of(&lost, Units::Us).contains("not connected"));
    assert!(of(&state(CheckKind::Still, Step::Done), Units::Us).contains("data-done"));
    assert!(drawn(None, &NONE, Units::Us).into_string().contains("data-done"));
    let rolling = CheckState { so_far: Some(6.3), needed: Some(12.6), ..state(CheckKind::Mount, Step::Roll) };
    assert!(of(&rolling, Units::Us).contains("1.0 of 2.0 turns"));
}

#[test]
fn numbers_stand_with_their_95_percent_in_the_readers_units() {
    let still = StillFound {
        stood_s: 3.0,
        force_mps2: 9.85,
        force_sigma_mps2: 0.2,
        gravity_mps2: 9.8063,
        gravity_sigma_mps2: 0.015,
        force_fits: true,
        gyro_bias_s_radps: [0.01, -0.02, 0.0],
        gyro_bias_sigma_radps: 0.01,
        gyro_bias_fits: false,
    };
    let done = state(CheckKind::Still, Step::Done);
    let html = of(&CheckState { still: Some(still), verdict: Some(Verdict::DoesNotFit), ..done.clone() }, Units::Us);
    for words in ["Does not fit.", "9.85 ± 0.39 m/s²", "9.81 ± 0.03 m/s²", "0.57, −1.15, 0.00 °/s", "0 ± 1.12 °/s each"]
    {
        assert!(html.contains(words), "{words}: {html}");
    }
    let swung = PendulumFound {
        half_swings: 14,
        amplitude_rad: 0.35,
        amplitude_sigma_rad: 0.002,
        period_s: 1.4,
        period_sigma_s: 2e-4,
        expected_period_s: None,
        expected_period_sigma_s: None,
        period_fits: None,
        fallen_m: 0.0254,
        fallen_sigma_m: 0.000_3,
        speed_mps: 0.894_08,
        speed_sigma_mps: 0.005,
        expected_speed_mps: 0.894_08,
        expected_speed_sigma_mps: 0.005,
        speed_fits: true,
    };
    let swung = CheckState { pendulum: Some(swung), verdict: Some(Verdict::Fits), ..done };
    let html = of(&swung, Units::Us);
    for words in ["2.00 ± 0.02 mph", "1400.00 ± 0.39 ms", "data say none", "1.00 ± 0.02 in", "Fits."] {
        assert!(html.contains(words), "{words}: {html}");
    }
    assert!(of(&swung, Units::Metric).contains("0.89 ± 0.01 m/s"), "{}", of(&swung, Units::Metric));
}

/// What the buttons send is taken by the API, and what is stored is not offered again.
#[test]
fn the_mount_and_the_aim_that_were_found_can_be_stored_once() {
    on_each(async |api: TestApi| {
        let id: Uuid = sensor(&api, "knob").await.parse().unwrap();
        let mount = MountFoundOut {
            offset_b_m: [0.0, 0.0, -0.012],
            q_bs_wxyz: [0.5, 0.5, 0.5, 0.5],
            tilt_sigma_rad: 0.006,
            from_nominal_rad: 0.01,
            is_another_way: false,
            apart_rad: 0.02,
            apart_sigma_rad: 0.05,
            rolled_rad: [13.0, 14.0],
        };
        let aim = AimFound { taken_s: 12.5, heading_rad: 0.3, heading_sigma_rad: 0.04, elevation_rad: 0.1 };
        let found = [
            CheckState {
                verdict: Some(Verdict::Fits),
                sensor_id: id,
                mount: Some(mount),
                ..state(CheckKind::Mount, Step::Done)
            },
            CheckState { sensor_id: id, aim: Some(aim), ..state(CheckKind::Aim, Step::Done) },
        ];
        for (state, path) in found.iter().zip(["/v1/mounts", "/v1/aims"]) {
            let html = of(state, Units::Us);
            let send = format!("data-send=\"POST {path}\" data-body=\"");
            let body = html.split(&send).nth(1).unwrap_or_else(|| panic!("{html}")).split('"').next().unwrap();
            let body: serde_json::Value = serde_json::from_str(&body.replace("&quot;", "\"")).unwrap();
            let stored = api.post(path, body).await;
            assert_eq!(stored.status, 201, "{:?}", stored.json);
        }
        let leaned = of(&CheckState { verdict: Some(Verdict::DoesNotFit), ..found[0].clone() }, Units::Us);
        assert!(leaned.contains("data-confirm=\"It does not fit") && !leaned.contains("primary"), "{leaned}");
        let mut reading = api.api.store.read().await.unwrap();
        let mounts = crate::daemon::store::queries::mounts::list(&mut reading, Some(id), super::ALL).await.unwrap();
        let filter = super::Filter { sensor_id: Some(id), ..Default::default() };
        let aims = crate::daemon::store::queries::aims::list(&mut reading, &filter, super::ALL).await.unwrap();
        drop(reading);
        let kept = Kept { mounts: &mounts, aims: &aims };
        for state in &found {
            let html = drawn(Some(state), &kept, Units::Us).into_string();
            assert!(html.contains("It is stored.") && !html.contains("data-send"), "{html}");
        }
        let page = api.get(&format!("/setup/sensors/{id}")).await;
        let text = String::from_utf8(page.bytes).unwrap();
        assert_eq!(page.status, 200, "{text}");
        for words in
            ["holds", "0.67°", "How sure now", "No check is under way", "not connected since", "Begin: it hangs"]
        {
            assert!(text.contains(words), "{words}: {text}");
        }
    });
}

/// An aim of a lesson is its athlete's: whoever looks at it over the network is written down with them.
#[test]
fn the_page_is_about_the_athlete_whose_aim_it_shows() {
    on_each(async |api: TestApi| {
        let id = sensor(&api, "knob").await;
        let about = async || {
            let page = page_of(&api, &id).await;
            page.map(|of| of.0.into_iter().map(|id| id.to_string()).collect::<Vec<_>>())
        };
        assert_eq!(about().await, Some(vec![]));
        let wren = athlete(&api, "Wren").await;
        let lesson = api.post("/v1/lessons", json!({"athlete_id": wren})).await;
        let aim = json!({"sensor_id": id, "lesson_id": lesson.json["id"], "taken_s": 1.0, "heading_rad": 0.2,
            "heading_sigma_rad": 0.01});
        assert_eq!(api.post("/v1/aims", aim).await.status, 201);
        assert_eq!(about().await, Some(vec![wren]));
        let rule = crate::daemon::access::rules::rule_of("GET", "/setup/sensors/{id}");
        assert!(rule.is_personal);
    });
}

async fn page_of(api: &TestApi, id: &str) -> Option<OfAthletes> {
    let request = Request::get(format!("/setup/sensors/{id}")).body(Body::empty()).unwrap();
    api.open(request).await.extensions().get::<OfAthletes>().cloned()
}

#[test]
fn a_sensor_is_entered_by_hand_and_there_is_no_page_of_none() {
    on_each(async |api: TestApi| {
        let id = sensor(&api, "knob").await;
        let page = api.get(&format!("/setup/sensors/{id}")).await;
        let text = String::from_utf8(page.bytes).unwrap();
        assert_eq!(text.matches("data-send=\"POST /v1/mounts\"").count(), 6, "one for each way an axis may lie");
        assert_eq!(text.matches(&format!("data-send=\"POST /v1/sensors/{id}/checks\"")).count(), 4);
        let part = api.get(&format!("/setup/sensors/{id}/check")).await;
        assert!(String::from_utf8(part.bytes).unwrap().contains("No check"));
        let nobody = Uuid::now_v7();
        assert_eq!(api.get(&format!("/setup/sensors/{nobody}")).await.status, 404);
        assert_eq!(api.get(&format!("/setup/sensors/{nobody}/check")).await.status, 404);
        assert_eq!(api.get("/setup/sensors/x").await.status, 404);
    });
}
