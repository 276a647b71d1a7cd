//! Pages of an empty and of a filled record; forms whose fields are those of the API.

mod forms;

use crate::daemon::api::test_api::{TestApi, athlete, on_each, sensor};
use crate::daemon::nearby::Heard;
use crate::daemon::radio::Advert;
use axum::body::Body;
use axum::http::Request;
use forms::{Form, body_of, forms};
use serde_json::{Value, json};

/// A name that would be markup.
const HOSTILE: &str = r#"<b onclick="x">Wren & 'Tern'"#;

async fn page(api: &TestApi, path: &str) -> String {
    let answer = api.get(path).await;
    let text = String::from_utf8(answer.bytes).unwrap();
    assert_eq!(answer.status, 200, "{path}: {text}");
    text
}

/// A page as somebody sees it who has these cookies.
async fn page_with(api: &TestApi, path: &str, cookies: &str) -> String {
    let answer = api.send(Request::get(path).header("cookie", cookies).body(Body::empty()).unwrap()).await;
    assert_eq!(answer.status, 200, "{path}");
    String::from_utf8(answer.bytes).unwrap()
}

fn form(html: &str, send: &str) -> Form {
    let all = forms(html);
    let found = all.iter().find(|form| form.send() == send);
    found.unwrap_or_else(|| panic!("no form sends {send}: {all:#?}")).clone()
}

/// Sends what a filled form of a page would.
async fn submit(api: &TestApi, form: &Form, entries: &[(&str, &str)]) -> crate::daemon::api::test_api::Answer {
    let (method, path) = form.send().split_once(' ').unwrap();
    let body = body_of(form, entries);
    match method {
        "POST" => api.post(path, body).await,
        "PATCH" => api.patch(path, &format!("\"{}\"", form.attribute("data-version").unwrap()), body).await,
        _ => panic!("{method}"),
    }
}

fn id_of(answer: &Value) -> &str {
    answer["id"].as_str().unwrap()
}

#[test]
fn an_empty_record_offers_to_enter_what_is_missing() {
    on_each(async |api: TestApi| {
        let overview = page(&api, "/setup").await;
        for words in
            ["Nobody was entered yet", "None was entered yet", "None was connected yet", "a recording is played"]
        {
            assert!(overview.contains(words), "{words}");
        }
        let start = page(&api, "/start").await;
        assert!(!start.contains("step done") && start.contains("I have read this"), "nothing is done");
        assert!(!start.contains("PUT /v1/at-the-plate"), "nobody can go to the plate");
        assert_eq!(api.get(&format!("/setup/athletes/{}", uuid::Uuid::now_v7())).await.status, 404);
        assert_eq!(api.get("/setup/bats/none").await.status, 404);
    });
}

#[test]
fn an_athlete_and_a_consent_are_entered_and_edited_by_the_forms() {
    on_each(async |api: TestApi| {
        let overview = page(&api, "/setup").await;
        let new = form(&overview, "POST /v1/athletes");
        let entries = [("nickname", "Wren"), ("bats", "both"), ("birth_year", "2012"), ("height_m", "60,5")];
        let made = submit(&api, &new, &entries).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        assert!((made.json["height_m"].as_f64().unwrap() - 60.5 * 0.0254).abs() < 1e-12, "shown in inches");
        let id = id_of(&made.json).to_owned();

        let mut consent = form(&overview, "POST /v1/athletes/{id}/consents");
        assert_eq!(new.attribute("data-also"), consent.attribute("id"));
        consent.set_send(&format!("POST /v1/athletes/{id}/consents"));
        let given = submit(&api, &consent, &[("given_by", "Robin"), ("relation", "parent")]).await;
        assert_eq!((given.status, &given.json["scope"]), (201, &json!(["measuring", "keeping"])), "{:?}", given.json);

        let own = page(&api, &format!("/setup/athletes/{id}")).await;
        let edit = form(&own, &format!("PATCH /v1/athletes/{id}"));
        let edited = submit(&api, &edit, &[("nickname", "Tern"), ("note", "left knee")]).await;
        assert_eq!((edited.status, &edited.json["nickname"]), (200, &json!("Tern")), "{:?}", edited.json);
        assert_eq!(edited.json["height_m"], made.json["height_m"], "what was not touched keeps every digit");
        let more = form(&own, &format!("POST /v1/athletes/{id}/consents"));
        let entries =
            [("given_by", "Ash"), ("relation", "guardian"), ("expires", "2030-05-01"), ("given", "2026-01-05")];
        let more = submit(&api, &more, &entries).await;
        assert_eq!((more.status, &more.json["state"]), (201, &json!("in_force")), "{:?}", more.json);
        assert!(more.json["given"].as_str().unwrap().starts_with("2026-01-05T00:00:00"));
    });
}

#[test]
fn a_consent_is_withdrawn_by_its_button_and_only_an_owner_may_erase() {
    on_each(async |api: TestApi| {
        let id = athlete(&api, HOSTILE).await;
        let body =
            json!({"given_by": "Robin", "relation": "parent", "scope": ["measuring"], "given": "2026-01-05T10:00:00Z"});
        let consent = api.post(&format!("/v1/athletes/{id}/consents"), body).await.json;
        let own = page(&api, &format!("/setup/athletes/{id}")).await;
        let withdraw = form(&own, &format!("PATCH /v1/consents/{}", id_of(&consent)));
        let done = submit(&api, &withdraw, &[]).await;
        assert_eq!((done.status, &done.json["state"]), (200, &json!("withdrawn")), "{:?}", done.json);
        let after = page(&api, &format!("/setup/athletes/{id}")).await;
        assert!(
            after.contains("no longer in force") && !after.contains("PATCH /v1/consents/"),
            "nothing to withdraw is left"
        );
        let erase = forms(&after).into_iter().find(|form| form.send().starts_with("DELETE /v1/athletes/")).unwrap();
        assert!(erase.attribute("data-confirm").is_some_and(|words| words.contains("Nothing brings them back")));
        let path = erase.send().strip_prefix("DELETE ").unwrap();
        let erased = api.send(Request::delete(path).body(Body::empty()).unwrap()).await;
        assert_eq!(erased.status, 200, "{:?}", erased.json);
    });
}

#[test]
fn a_bat_is_entered_edited_retired_and_removed_by_its_page() {
    on_each(async |api: TestApi| {
        let new = form(&page(&api, "/setup").await, "POST /v1/bats");
        let made =
            submit(&api, &new, &[("name", HOSTILE), ("kind", "bat"), ("length_m", "33"), ("mass_kg", "30")]).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        assert!((made.json["length_m"].as_f64().unwrap() - 0.8382).abs() < 1e-12);
        let path = format!("/setup/bats/{}", id_of(&made.json));
        let patch = format!("PATCH /v1/bats/{}", id_of(&made.json));
        assert!(page(&api, &path).await.contains("its balance point is missing"));
        let edit = form(&page_with(&api, &path, "units=metric").await, &patch);
        let entries =
            [("balance_m", "54.5"), ("moi_knob6_kgm2", "0.17"), ("sweet_spot_m", "68"), ("barrel_diameter_m", "6.6")];
        let edited = submit(&api, &edit, &entries).await;
        assert_eq!((edited.status, &edited.json["moi_kgm2"]), (200, &json!(0.17)), "{:?}", edited.json);
        assert!((edited.json["balance_m"].as_f64().unwrap() - 0.545).abs() < 1e-12);
        assert_eq!(edited.json["length_m"], made.json["length_m"]);

        let buttons = forms(&page(&api, &path).await);
        let retire = buttons.iter().find(|form| form.send() == patch && form.body() == json!({"is_retired": true}));
        assert_eq!(submit(&api, retire.unwrap(), &[]).await.json["is_retired"], json!(true));
        let retired = page(&api, &path).await;
        assert!(retired.contains("(retired)"));
        let removed = form(&retired, &format!("DELETE /v1/bats/{}", id_of(&made.json)));
        let etag = format!("\"{}\"", removed.attribute("data-version").unwrap());
        assert_eq!(api.delete(&format!("/v1/bats/{}", id_of(&made.json)), &etag).await.status, 204);
    });
}

#[test]
fn the_timer_keeps_a_period_and_the_page_shows_the_moment_that_the_api_makes_of_it() {
    on_each(async |api: TestApi| {
        let body = json!({"name": "Ash 33", "kind": "bat", "mass_kg": 0.9, "balance_m": 0.55, "moi_knob6_kgm2": 0.2});
        let made = api.post("/v1/bats", body).await.json;
        let path = format!("/setup/bats/{}", id_of(&made));
        let patch = format!("PATCH /v1/bats/{}", id_of(&made));
        let drawn = page_with(&api, &path, "units=metric").await;
        let keeps = |form: &Form| form.field("pendulum_period_s").is_some();
        let keep = forms(&drawn).into_iter().find(|form| form.send() == patch && keeps(form)).unwrap();
        let entries = [("pendulum_period_s", "1.412345"), ("pendulum_period_sigma_s", "0.005000")];
        let kept = submit(&api, &keep, &entries).await;
        assert_eq!(kept.status, 200, "{:?}", kept.json);
        assert_eq!(kept.json["pendulum_period_s"], json!(1.412345));
        // What the script shows while it is timed is this factor by the square of the period.
        let factor = drawn.split("data-kgm2=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
        let live: f64 = factor.parse::<f64>().unwrap() * 1.412345_f64.powi(2);
        assert!((live - kept.json["moi_kgm2"].as_f64().unwrap()).abs() < 1e-12, "{live}");
        let after = page(&api, &path).await;
        let shown = format!("{:.4} kg·m², σ\u{a0}{:.4}", live, kept.json["moi_sigma_kgm2"].as_f64().unwrap());
        assert!(after.contains(&shown), "{shown}");
        let forget = json!({"pendulum_period_s": null, "pendulum_period_sigma_s": null});
        let forget = forms(&after).into_iter().find(|form| form.body() == forget).unwrap();
        assert_eq!(submit(&api, &forget, &[]).await.json["moi_kgm2"], json!(null));
    });
}

#[test]
fn sensors_that_were_connected_are_listed_with_their_state_and_near_ones_can_be_used() {
    on_each(async |api: TestApi| {
        sensor(&api, HOSTILE).await;
        api.api.hub.sensor("Knob-4f1a", &json!({"link": "connected", "battery_percent": 81}));
        let advert = Advert {
            id: "hci0/dev_1".into(),
            name: Some(HOSTILE.into()),
            rssi_dbm: Some(-57),
            services: vec![],
            adapter: "hci0".into(),
        };
        api.api.nearby.begin();
        api.api.nearby.hear(Heard { advert, kind: "swingd sensor".into(), is_sure: false, utc_ns: 7, sensor: None });
        let overview = page(&api, "/setup").await;
        assert!(overview.contains("connected · battery 81 %"), "{overview}");
        let part = page(&api, "/setup/nearby").await;
        assert!(
            overview.contains(&part) && part.contains("about −60 dBm") && part.contains("somebody else's"),
            "{part}"
        );
        let using = form(&part, "PUT /v1/nearby/hci0%2Fdev_1");
        assert_eq!(api.put("/v1/nearby/hci0%2Fdev_1", using.body()).await.status, 200);
        let part = page(&api, "/setup/nearby").await;
        assert!(part.contains("it is being connected to") && part.contains("No longer use it"), "{part}");
        let leave = form(&part, "PUT /v1/nearby/hci0%2Fdev_1");
        assert_eq!(api.put("/v1/nearby/hci0%2Fdev_1", leave.body()).await.json["is_used"], json!(false));
    });
}

#[test]
fn the_first_run_leads_from_nothing_to_the_plate_and_a_reload_loses_nothing() {
    on_each(async |api: TestApi| {
        let heeded = "units=us; cautions=read";
        let done = |html: &str| html.matches("class=\"step done\"").count();
        let start = page_with(&api, "/start", heeded).await;
        assert_eq!(done(&start), 1, "the cautions");
        let new = form(&start, "POST /v1/athletes");
        let made = submit(&api, &new, &[("nickname", HOSTILE), ("bats", "both")]).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        let then = new.attribute("data-then").unwrap().replace("{id}", id_of(&made.json));
        let start = page_with(&api, &then, heeded).await;
        assert_eq!(done(&start), 2);
        assert_eq!(done(&page(&api, "/start").await), 1, "who was entered is there without the address, too");
        let sides = forms(&start).into_iter().filter(|form| form.send() == "PUT /v1/at-the-plate");
        assert_eq!(sides.count(), 2, "from which side is asked where both are possible");
        let new = form(&start, "POST /v1/bats");
        let bat = submit(&api, &new, &[("name", "Ash 33"), ("length_m", "33"), ("mass_kg", "30")]).await;
        let then = new.attribute("data-then").unwrap().replace("{id}", id_of(&bat.json));
        let start = page_with(&api, &then, heeded).await;
        assert_eq!(done(&start), 3);
        let plate = form(&start, "PUT /v1/at-the-plate");
        assert_eq!(plate.attribute("disabled"), None);
        let put = api.put("/v1/at-the-plate", plate.body()).await;
        assert_eq!((put.status, &put.json["bat_id"]), (200, &bat.json["id"]), "{:?}", put.json);
        assert_eq!((&put.json["nickname"], &put.json["side"]), (&json!(HOSTILE), &json!("right")));
        let without = page(&api, "/start?bat=none").await;
        assert_eq!(form(&without, "PUT /v1/at-the-plate").body()["bat_id"], json!(null));
        assert!(form(&without, "PUT /v1/at-the-plate").attribute("disabled").is_some(), "the cautions come first");
    });
}

#[test]
fn who_was_asked_for_is_shown_though_others_are_newer_and_nobody_in_place_of_who_is_not_there() {
    on_each(async |api: TestApi| {
        let wren = athlete(&api, "Wren").await;
        for k in 0..9 {
            athlete(&api, &format!("Tern {k}")).await;
        }
        let wrens = page(&api, &format!("/start?athlete={wren}")).await;
        assert_eq!(form(&wrens, "PUT /v1/at-the-plate").body()["athlete_id"], json!(wren));
        let request = Request::get(format!("/start?athlete={wren}")).body(Body::empty()).unwrap();
        let answer = api.open(request).await;
        let about = &answer.extensions().get::<crate::daemon::access::OfAthletes>().unwrap().0;
        assert!(about.len() == 9 && about.contains(&wren.parse().unwrap()), "eight that are offered, and Wren");
        let newest = page(&api, "/start").await;
        assert!(newest.contains("To the plate: Tern 8"), "where nobody was asked for");
        let nobody = page(&api, &format!("/start?athlete={}", uuid::Uuid::now_v7())).await;
        assert!(!nobody.contains("PUT /v1/at-the-plate") && nobody.contains("Say who swings"));
        let overview = page(&api, "/setup").await;
        assert!(overview.find("Tern 8") < overview.find("Tern 0") && overview.contains("Wren"), "the newest first");
    });
}

#[test]
fn what_people_typed_is_never_markup() {
    on_each(async |api: TestApi| {
        let id = athlete(&api, HOSTILE).await;
        let bat = api.post("/v1/bats", json!({"name": HOSTILE, "kind": "implement", "note": HOSTILE})).await.json;
        let sensor = sensor(&api, HOSTILE).await;
        let body =
            json!({"given_by": HOSTILE, "relation": "other", "scope": ["sharing"], "given": "2026-01-05T10:00:00Z"});
        api.post(&format!("/v1/athletes/{id}/consents"), body).await;
        api.api.nearby.choose("hci0/dev_1", Some(HOSTILE.into()), true);
        let bat = format!("/setup/bats/{}", id_of(&bat));
        let (athlete, sensor) = (format!("/setup/athletes/{id}"), format!("/setup/sensors/{sensor}"));
        for path in ["/setup", "/start", "/setup/nearby", &athlete, &bat, &sensor] {
            let drawn = page(&api, path).await;
            assert!(!drawn.contains("<b ") && !drawn.contains(HOSTILE), "{path}: {drawn}");
        }
    });
}
