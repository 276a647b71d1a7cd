use super::super::test_api::{TestApi, on_each, set_clock};
use super::*;
use serde_json::json;

const DAY_US: i64 = 24 * 3600 * 1_000_000;

fn consent(given: i64, expires: Option<i64>, withdrawn: Option<i64>) -> rows::Consent {
    rows::Consent {
        id: Uuid::nil(),
        athlete_id: Uuid::nil(),
        given_by: "Robin".into(),
        relation: rows::Relation::Parent,
        scope: vec![rows::Scope::Keeping, rows::Scope::Measuring],
        given: UtcMicros(given),
        expires: expires.map(UtcMicros),
        withdrawn: withdrawn.map(UtcMicros),
        note: String::new(),
        version: 1,
    }
}

#[test]
fn how_consents_stand_follows_from_their_dates() {
    let at = |consents: &[rows::Consent], now| standing(consents, UtcMicros(now)).0;
    let (short, withdrawn) = (consent(10, Some(20), None), consent(10, None, Some(15)));
    assert_eq!(at(&[], 10), ConsentState::None);
    assert_eq!([9, 10, 19, 20].map(|now| at(std::slice::from_ref(&short), now)), {
        use ConsentState::*;
        [None, InForce, InForce, Expired]
    });
    assert_eq!(at(&[withdrawn.clone(), short.clone()], 16), ConsentState::InForce, "the other still holds");
    assert_eq!(at(&[withdrawn.clone(), short.clone()], 30), ConsentState::Expired, "it held longer");
    assert_eq!(at(&[short, consent(10, Some(99), Some(21))], 30), ConsentState::Withdrawn);
    assert_eq!(at(&[consent(10, Some(20), Some(25))], 30), ConsentState::Expired, "it was over when it was withdrawn");
    let (_, scope) = standing(&[consent(0, None, None), consent(5, None, None)], UtcMicros(9));
    assert_eq!(scope, [Scope::Measuring, Scope::Keeping], "each once");
    assert_eq!(standing(&[withdrawn], UtcMicros(16)).1, []);
}

#[test]
fn an_athlete_says_how_consent_stands_as_time_goes_on() {
    on_each(async |api: TestApi| {
        let (api, clock) = set_clock(api, 100 * DAY_US);
        let athlete = api.post("/v1/athletes", json!({"nickname": "Wren"})).await;
        let path = athlete.header("location").unwrap().to_owned();
        assert_eq!((&athlete.json["consent"], &athlete.json["consent_scope"]), (&json!("none"), &json!([])));
        let day = |day: i64| Instant::from(UtcMicros(day * DAY_US));
        let body = json!({"given_by": "Robin", "relation": "parent", "scope": ["sharing", "measuring", "sharing"],
            "given": day(99), "expires": day(110)});
        let made = api.post(&format!("{path}/consents"), body).await;
        assert_eq!((made.status, &made.json["state"]), (201, &json!("in_force")), "{:?}", made.json);
        assert_eq!(made.json["scope"], json!(["measuring", "sharing"]));
        let consent = made.header("location").unwrap();
        assert_eq!(api.get(consent).await.json, made.json);
        assert_eq!(api.get(&path).await.json["consent_scope"], json!(["measuring", "sharing"]));
        clock.set(110 * DAY_US);
        assert_eq!(api.get(&path).await.json["consent"], "expired");
        let longer = api.patch(consent, "\"1\"", json!({"expires": null})).await;
        assert_eq!((longer.status, &longer.json["state"]), (200, &json!("in_force")), "{:?}", longer.json);
        let ended = api.patch(consent, "\"2\"", json!({"withdrawn": day(111)})).await;
        assert_eq!(ended.json["state"], "in_force", "not yet");
        clock.set(111 * DAY_US);
        assert_eq!(api.get("/v1/athletes").await.json["items"][0]["consent"], "withdrawn");
        let back = api.patch(consent, "\"3\"", json!({"withdrawn": null})).await;
        assert_eq!((back.status, &back.json["errors"][0]["pointer"]), (422, &json!("/withdrawn")));
        assert_eq!(api.delete(consent, "\"3\"").await.status, 405, "it is kept");
        let list = api.get(&format!("{path}/consents")).await;
        assert_eq!(list.json["items"], json!([api.get(consent).await.json]));
    });
}

#[test]
fn a_consent_that_cannot_be_is_refused_and_one_edited_meanwhile_is_not_lost() {
    on_each(async |api: TestApi| {
        let athlete = api.post("/v1/athletes", json!({"nickname": "Wren"})).await;
        let path = format!("{}/consents", athlete.header("location").unwrap());
        let (t0, t1) = (Instant::from(UtcMicros(0)), Instant::from(UtcMicros(1)));
        let body =
            json!({"given_by": "", "relation": "self", "scope": [], "given": t1, "expires": t0, "withdrawn": t0});
        let refused = api.post(&path, body).await;
        let pointers: Vec<_> = refused.json["errors"].as_array().unwrap().iter().map(|e| &e["pointer"]).collect();
        assert_eq!(pointers, ["/given_by", "/scope", "/expires", "/withdrawn"]);
        let body = json!({"given_by": "Robin", "relation": "self", "scope": ["keeping"], "given": t0});
        let nobody = format!("/v1/athletes/{}/consents", Uuid::now_v7());
        assert_eq!(api.post(&nobody, body.clone()).await.status, 404);
        assert_eq!(api.get(&nobody).await.status, 404);
        let made = api.post(&path, body).await;
        let consent = made.header("location").unwrap();
        let first = api.patch(consent, "\"1\"", json!({"note": "by phone"})).await;
        let second = api.patch(consent, "\"1\"", json!({"withdrawn": t1})).await;
        assert_eq!((first.status, second.status), (200, 412));
        assert_eq!(api.get(consent).await.json, first.json);
    });
}
