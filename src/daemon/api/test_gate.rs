//! Who may, through the router.

use super::test_api::{Answer, TestApi};
use super::{document, openapi};
use crate::daemon::access::rules::find;
use crate::daemon::access::{Peer, Settings};
use crate::daemon::clock::{Clock, Now};
use crate::daemon::hub::Fault;
use crate::daemon::store::queries::{Slice, audit};
use crate::daemon::store::rows::Role;
use crate::daemon::store::test_store;
use axum::body::Body;
use axum::http::Request;
use axum::http::request::Builder;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex};
use std::time::Duration;

const ROLES: [&str; 3] = ["viewer", "coach", "owner"];
const DAY: Duration = Duration::from_secs(24 * 3600);

/// A time that goes on when it is told to.
#[derive(Debug)]
pub(in crate::daemon) struct SetClock(Mutex<Now>);

impl SetClock {
    pub(in crate::daemon) fn pass(&self, by: Duration) {
        let mut now = self.0.lock().unwrap();
        now.elapsed += by;
        now.utc_ns += by.as_nanos() as i64;
    }
}

impl Clock for SetClock {
    fn now(&self) -> Now {
        *self.0.lock().unwrap()
    }
}

pub(in crate::daemon) struct Gate {
    pub(in crate::daemon) api: TestApi,
    pub(in crate::daemon) clock: Arc<SetClock>,
}

/// On each store, with a clock that stands.
pub(in crate::daemon) fn on_each(requests_per_minute: u64, test: impl AsyncFn(Gate)) {
    test_store::on_each(async |store| {
        let begin = Now { utc_ns: 1_764_000_000_000_000_000, elapsed: Duration::ZERO };
        let clock = Arc::new(SetClock(Mutex::new(begin)));
        let settings = Settings { requests_per_minute, ..Settings::default() };
        let api = TestApi::with(store, &settings, Arc::clone(&clock) as Arc<dyn Clock>);
        test(Gate { api, clock }).await;
    });
}

pub(in crate::daemon) const MANY: u64 = 1_000_000;

/// From another machine.
pub(in crate::daemon) fn there(request: Builder, last: u8) -> Builder {
    let remote = ([192, 0, 2, last], 50_000).into();
    request.extension(Peer { remote, local: "192.0.2.1:7951".parse().unwrap() }).header("host", "192.0.2.1:7951")
}

pub(super) fn with_body(request: Builder, body: &Value) -> Request<Body> {
    request.header("content-type", "application/json").body(Body::from(body.to_string())).unwrap()
}

pub(in crate::daemon) fn plain(request: Builder) -> Request<Body> {
    request.body(Body::empty()).unwrap()
}

impl Gate {
    /// A token of this role, made at this machine.
    pub(in crate::daemon) async fn token(&self, role: &str) -> String {
        let made = self.api.post("/v1/tokens", json!({"role": role, "label": format!("a {role}"), "days": 7})).await;
        assert_eq!(made.status, 201, "{made:?}");
        made.json["token"].as_str().unwrap().to_owned()
    }

    /// GET by another machine with a token.
    pub(in crate::daemon) async fn get(&self, path: &str, token: &str) -> Answer {
        let request = there(Request::get(path), 9).header("authorization", format!("Bearer {token}"));
        self.api.send(plain(request)).await
    }

    pub(super) async fn redeem(&self, code: &str, last: u8) -> Answer {
        let request = there(Request::post("/v1/pairings/redeem"), last);
        self.api.send(with_body(request, &json!({"code": code, "label": "phone of Wren"}))).await
    }

    pub(super) async fn pair(&self, role: &str) -> String {
        let shown = self.api.post("/v1/pairings", json!({"role": role, "label": "a phone"})).await;
        assert_eq!(shown.status, 201, "{shown:?}");
        shown.json["code"].as_str().unwrap().to_owned()
    }

    pub(in crate::daemon) async fn audited(&self, query: &str) -> Vec<Value> {
        self.api.get(&format!("/v1/audit{query}")).await.json["items"].as_array().unwrap().clone()
    }
}

pub(super) fn kind(answer: &Answer) -> &str {
    answer.json["type"].as_str().unwrap_or_default().trim_start_matches("/v1/problems/")
}

/// Method and path of every operation, with ids that nothing has.
fn operations() -> Vec<(String, String)> {
    let document: Value = serde_json::from_str(&openapi::text(&document())).unwrap();
    let of_path = |(path, item): (&String, &Value)| {
        let methods = item.as_object().unwrap().keys().filter(|key| *key != "parameters").cloned();
        methods.map(|method| (method.to_uppercase(), path.clone())).collect::<Vec<_>>()
    };
    document["paths"].as_object().unwrap().iter().flat_map(of_path).collect()
}

/// A path of the document as a request could have it.
fn asked(pattern: &str) -> String {
    let step = |step: &str| if step.starts_with('{') { uuid::Uuid::from_u128(7).to_string() } else { step.to_owned() };
    pattern.split('/').map(step).collect::<Vec<_>>().join("/")
}

#[test]
fn every_route_of_the_document_has_its_line_in_the_table() {
    let missing: Vec<_> = operations().into_iter().filter(|(method, path)| find(method, path).is_none()).collect();
    let lines: Vec<_> = missing.iter().map(|(method, path)| format!("    coach(\"{method}\", \"{path}\"),")).collect();
    assert!(lines.is_empty(), "access/rules.rs lacks, with the role that fits:\n{}", lines.join("\n"));
}

#[test]
fn every_route_takes_the_roles_that_the_table_says_and_no_other() {
    on_each(MANY, async |gate: Gate| {
        let mut tokens = Vec::new();
        for role in ROLES {
            tokens.push(gate.token(role).await);
        }
        for (method, pattern) in operations() {
            let least = find(&method, &pattern).unwrap().least;
            let of = |last: u8| there(Request::builder().method(method.as_str()).uri(asked(&pattern)), last);
            let unknown = gate.api.send(with_body(of(9), &json!({}))).await;
            assert_eq!(unknown.status == 401, least.is_some(), "{method} {pattern}: {unknown:?}");
            for (token, role) in tokens.iter().zip([Role::Viewer, Role::Coach, Role::Owner]) {
                // A stream would not end.
                if pattern == "/v1/events" {
                    continue;
                }
                let request = of(9).header("authorization", format!("Bearer {token}"));
                let answer = gate.api.send(with_body(request, &json!({}))).await;
                let is_refused = answer.status == 403 && kind(&answer) == "forbidden";
                let expected = least.is_some_and(|least| role < least);
                assert_eq!(is_refused, expected, "{method} {pattern} as {role:?}: {answer:?}");
            }
            gate.clock.pass(Duration::from_secs(60));
        }
    });
}

#[test]
fn another_name_or_another_origin_gets_nothing_and_changes_nothing() {
    on_each(MANY, async |gate: Gate| {
        let bat = json!({"name": "Tern", "kind": "bat"}).to_string();
        for (name, value, word) in [
            ("host", "bats.example", "wrong-host"),
            ("host", "127.0.0.1.bats.example:7951", "wrong-host"),
            ("origin", "http://bats.example", "wrong-origin"),
            ("origin", "http://localhost:3000", "wrong-origin"),
            ("origin", "null", "wrong-origin"),
            ("sec-fetch-site", "cross-site", "wrong-origin"),
            ("sec-fetch-site", "same-site", "wrong-origin"),
        ] {
            // What a page can send without asking first, and what it would read if it could.
            for (method, path) in
                [("POST", "/v1/bats"), ("GET", "/v1/bats"), ("GET", "/v1/events"), ("GET", "/nothing")]
            {
                for media in ["text/plain", "application/json"] {
                    let request = Request::builder().method(method).uri(path).header(name, value);
                    let request = request.header("content-type", media).body(Body::from(bat.clone())).unwrap();
                    let answer = gate.api.send(request).await;
                    assert_eq!(kind(&answer), word, "{name}: {value}: {method} {path}");
                    assert_eq!(answer.status, if word == "wrong-host" { 421 } else { 403 });
                    assert_eq!(answer.header("access-control-allow-origin"), None);
                }
            }
        }
        let preflight = Request::options("/v1/bats").header("origin", "http://bats.example");
        let preflight = gate.api.send(plain(preflight.header("access-control-request-method", "POST"))).await;
        assert!(preflight.status == 403 && preflight.header("access-control-allow-origin").is_none());
        assert_eq!(gate.api.get("/v1/bats").await.json["items"], json!([]));
        let own =
            Request::post("/v1/bats").header("origin", "http://localhost:7951").header("sec-fetch-site", "same-origin");
        assert_eq!(gate.api.send(with_body(own, &json!({"name": "Tern", "kind": "bat"}))).await.status, 201);
    });
}

#[test]
fn this_machine_needs_no_token_but_what_it_forwards_does() {
    on_each(MANY, async |gate: Gate| {
        assert_eq!(gate.api.get("/v1/tokens").await.status, 200);
        for name in ["x-forwarded-for", "forwarded", "x-real-ip", "via"] {
            let request = Request::get("/v1/tokens").header(name, "192.0.2.9");
            assert_eq!(gate.api.send(plain(request)).await.status, 401, "{name}");
        }
        let viewer = gate.token("viewer").await;
        let request = Request::get("/v1/tokens").header("authorization", format!("Bearer {viewer}"));
        assert_eq!(gate.api.send(plain(request)).await.status, 403, "a token goes before the connection");
    });
}

#[test]
fn tokens_end_by_time_and_by_being_taken_back_and_are_shown_once() {
    on_each(MANY, async |gate: Gate| {
        let (first, second) = (gate.token("viewer").await, gate.token("coach").await);
        assert_eq!(gate.get("/v1/bats", &first).await.status, 200);
        gate.clock.pass(7 * DAY - Duration::from_secs(1));
        assert_eq!(gate.get("/v1/bats", &first).await.status, 200);
        let listed = gate.api.get("/v1/tokens").await;
        let text = String::from_utf8(listed.bytes).unwrap();
        assert!(!text.contains(&first) && !text.contains("sha256"), "{text}");
        let of = |k: usize| listed.json["items"][k].clone();
        assert_eq!(of(0)["last_used"], "2025-12-01T15:59:59.000000Z", "{}", of(0));
        assert_eq!((of(1)["last_used"].clone(), of(1)["role"].clone()), (Value::Null, json!("coach")));
        let path = format!("/v1/tokens/{}", of(1)["id"].as_str().unwrap());
        for _ in 0..2 {
            assert_eq!(gate.api.send(plain(Request::delete(&path))).await.status, 204);
        }
        let taken_back = gate.get("/v1/bats", &second).await;
        assert!(taken_back.status == 401 && taken_back.json["detail"].as_str().unwrap().contains("taken back"));
        assert!(taken_back.header("www-authenticate").unwrap().starts_with("Bearer"));
        gate.clock.pass(Duration::from_secs(1));
        let expired = gate.get("/v1/bats", &first).await;
        assert!(expired.status == 401 && expired.json["detail"].as_str().unwrap().contains("expired"));
        let unknown = asked("/v1/tokens/{id}");
        assert_eq!(gate.api.send(plain(Request::delete(unknown))).await.status, 404);
    });
}

#[test]
fn a_token_is_not_among_the_answers_that_are_kept() {
    on_each(MANY, async |gate: Gate| {
        let body = json!({"role": "viewer", "label": "a script"});
        let (one, other) = (
            gate.api.post_with_key("/v1/tokens", "k", body.clone()).await,
            gate.api.post_with_key("/v1/tokens", "k", body).await,
        );
        assert_eq!((one.status, other.status), (201, 201));
        assert_ne!(one.json["token"], other.json["token"]);
    });
}

#[test]
fn guessing_is_slowed_down_by_address() {
    on_each(MANY, async |gate: Gate| {
        let token = gate.token("viewer").await;
        for k in 0..10 {
            assert_eq!(gate.get("/v1/bats", &format!("swingd_{k:064x}")).await.status, 401);
        }
        let wrong = format!("swingd_{:064x}", 11);
        let shut_out = gate.get("/v1/bats", &wrong).await;
        assert_eq!((shut_out.status, shut_out.header("retry-after")), (429, Some("7")));
        assert_eq!(gate.get("/v1/bats", &token).await.status, 200, "who is known beside whoever guesses");
        let other = there(Request::get("/v1/bats"), 10).header("authorization", format!("Bearer {wrong}"));
        assert_eq!(gate.api.send(plain(other)).await.status, 401, "another address");
        gate.clock.pass(Duration::from_secs(6));
        assert_eq!(gate.get("/v1/bats", &wrong).await.status, 401);
    });
}

#[test]
fn a_code_gives_a_token_once() {
    on_each(MANY, async |gate: Gate| {
        let code = gate.pair("coach").await;
        let given = gate.redeem(&code.to_lowercase(), 9).await;
        assert_eq!((given.status, given.json["role"].as_str()), (201, Some("coach")), "{given:?}");
        assert_eq!(given.json["label"], "phone of Wren");
        let token = given.json["token"].as_str().unwrap();
        assert_eq!(gate.get("/v1/bats", token).await.status, 200);
        assert_eq!(gate.get("/v1/tokens", token).await.status, 403);
        let again = gate.redeem(&code, 9).await;
        assert_eq!((again.status, kind(&again)), (403, "wrong-code"));
        // An owner elsewhere does not see the screen.
        let owner = gate.token("owner").await;
        let request = there(Request::post("/v1/pairings"), 9).header("authorization", format!("Bearer {owner}"));
        let refused = gate.api.send(with_body(request, &json!({"role": "owner", "label": "mine"}))).await;
        assert_eq!((refused.status, kind(&refused)), (403, "forbidden"));
        // Nor does one whose request a proxy at this machine sent on.
        let request = Request::post("/v1/pairings").header("authorization", format!("Bearer {owner}"));
        let request = request.header("x-forwarded-for", "192.0.2.9");
        let refused = gate.api.send(with_body(request, &json!({"role": "owner", "label": "mine"}))).await;
        assert_eq!((refused.status, kind(&refused)), (403, "forbidden"));
    });
}

#[test]
fn a_code_ends_by_time_and_by_wrong_guesses_of_anybody() {
    on_each(MANY, async |gate: Gate| {
        let late = gate.pair("viewer").await;
        gate.clock.pass(Duration::from_secs(600));
        assert_eq!(gate.redeem(&late, 9).await.status, 403);
        let guessed = gate.pair("viewer").await;
        for last in [20; 5] {
            assert_eq!(gate.redeem("2222-2222", last).await.status, 403);
        }
        assert_eq!(gate.redeem(&guessed, 20).await.status, 403, "five wrong ones of this address");
        assert_eq!(gate.redeem(&guessed, 9).await.status, 201, "but not of this one");
        for last in [30; 10] {
            gate.redeem("3333-3333", last).await;
        }
        let code = gate.pair("viewer").await;
        assert_eq!(gate.redeem(&code, 30).await.status, 429, "this address has guessed too often");
        assert_eq!(gate.redeem(&code, 31).await.status, 201);
    });
}

#[test]
fn too_many_requests_are_told_to_wait_and_this_machine_is_not_among_them() {
    on_each(60, async |gate: Gate| {
        let token = gate.token("viewer").await;
        let mut taken = 0;
        while gate.get("/v1/bats", &token).await.status == 200 {
            taken += 1;
        }
        assert_eq!(taken, 15);
        let late = gate.get("/v1/bats", &token).await;
        assert_eq!((late.status, late.header("retry-after"), kind(&late)), (429, Some("2"), "too-many"));
        // The token has its own limit, whatever address it comes from.
        let other = there(Request::get("/v1/bats"), 10).header("authorization", format!("Bearer {token}"));
        assert_eq!(gate.api.send(plain(other)).await.status, 429);
        for _ in 0..100 {
            assert_eq!(gate.api.get("/v1/bats").await.status, 200);
        }
    });
}

#[test]
fn who_saw_what_is_kept_with_whose_it_was() {
    on_each(MANY, async |gate: Gate| {
        let (coach, owner) = (gate.token("coach").await, gate.token("owner").await);
        let plate = there(Request::put("/v1/at-the-plate"), 9).header("authorization", format!("Bearer {coach}"));
        assert!(gate.api.send(with_body(plate, &json!({}))).await.status < 400);
        gate.clock.pass(Duration::from_secs(1));
        let wren = uuid::Uuid::from_u128(7);
        let path = format!("/v1/audit?athlete={wren}");
        assert_eq!(gate.get(&path, &owner).await.status, 200);
        // Not about anybody, not seen, not over the network.
        gate.get("/v1/bats", &coach).await;
        gate.get("/v1/audit", &coach).await;
        gate.api.get(&path).await;
        let all = gate.audited("").await;
        let of = |k: usize, key: &str| all[k][key].clone();
        assert_eq!(all.len(), 2, "{all:?}");
        let newest = ["method", "path", "role", "address", "cage", "token_label"].map(|key| of(0, key));
        assert_eq!(json!(newest), json!(["GET", "/v1/audit", "owner", "192.0.2.9", "north", "a owner"]));
        assert_eq!((of(0, "athlete_id"), of(0, "status")), (json!(wren), json!(200)));
        assert_eq!((of(1, "method"), of(1, "athlete_id")), (json!("PUT"), Value::Null));
        assert_eq!(gate.audited(&format!("?athlete={wren}")).await.len(), 1);
        let first = gate.api.get("/v1/audit?limit=1").await.json;
        let rest = gate.audited(&format!("?after={}", first["next"].as_str().unwrap())).await;
        assert_eq!((first["items"][0].clone(), rest), (all[0].clone(), vec![all[1].clone()]));
    });
}

#[test]
fn many_at_once_are_all_written_down() {
    on_each(MANY, async |gate: Gate| {
        let owner = gate.token("owner").await;
        let paths: Vec<_> = (0..50).map(|k| format!("/v1/athletes/{}", uuid::Uuid::from_u128(k))).collect();
        let answers = futures::future::join_all(paths.iter().map(|path| gate.get(path, &owner))).await;
        assert!(answers.iter().all(|answer| answer.status == 404));
        let mut reading = gate.api.api.store.read().await.unwrap();
        let rows = audit::list(&mut reading, None, Slice { after: None, limit: 1000 }).await.unwrap();
        assert_eq!(rows.len(), 50);
    });
}

#[test]
fn what_cannot_be_written_down_does_not_go_out() {
    on_each(MANY, async |gate: Gate| {
        let owner = gate.token("owner").await;
        gate.get("/v1/audit", &owner).await;
        let mut changes = gate.api.api.store.write().await.unwrap();
        audit::test_support::lose_the_table(&mut changes).await;
        changes.commit().await.unwrap();
        let plate = there(Request::put("/v1/at-the-plate"), 9).header("authorization", format!("Bearer {owner}"));
        let held = gate.api.send(with_body(plate, &json!({}))).await;
        assert_eq!((held.status, kind(&held)), (503, "unavailable"), "{held:?}");
        assert!(held.json["detail"].as_str().unwrap().contains("held back"));
        assert_eq!(gate.get("/v1/bats", &owner).await.status, 200, "what is nobody's goes on");
    });
}

#[test]
fn every_answer_tells_browsers_what_not_to_do() {
    on_each(MANY, async |gate: Gate| {
        let elsewhere = Request::get("/v1/bats").header("host", "bats.example");
        let answers = [
            gate.api.get("/v1/bats").await,
            gate.api.get("/nothing").await,
            gate.api.send(plain(elsewhere)).await,
            gate.api.get("/pair").await,
        ];
        for answer in answers {
            assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
            assert_eq!(answer.header("cross-origin-resource-policy"), Some("same-origin"));
            let is_page = answer.header("content-type").is_some_and(|kind| kind.starts_with("text/html"));
            let referrer = if is_page { "same-origin" } else { "no-referrer" };
            assert_eq!(answer.header("referrer-policy"), Some(referrer));
            assert_eq!(answer.header("cache-control"), Some("no-store"));
            assert!(answer.header("content-security-policy").unwrap().starts_with("default-src 'none'"));
        }
    });
}

#[test]
fn no_path_leaves_the_routes_and_no_body_is_endless() {
    on_each(MANY, async |gate: Gate| {
        for path in [
            "/v1/../../etc/passwd",
            "/v1/bats/..%2f..%2fetc%2fpasswd",
            "/v1/bats/%2e%2e",
            "//etc/passwd",
            "/v1/bats/%00",
            "/v1/bats/%ff",
            "/..",
        ] {
            let answer = gate.api.get(path).await;
            assert_eq!((answer.status, kind(&answer)), (404, "not-found"), "{path}");
        }
        let note = "x".repeat(300_000);
        let long = gate.api.post("/v1/bats", json!({"name": "Tern", "kind": "bat", "note": note})).await;
        assert_eq!((long.status, kind(&long)), (413, "too-large"));
    });
}

#[test]
fn health_tells_its_causes_and_a_store_that_is_gone() {
    on_each(MANY, async |gate: Gate| {
        let well = gate.api.get("/v1/health").await;
        // How full this machine's disk is, is not this test's.
        assert_eq!(well.json["is_store_reachable"], true, "{well:?}");
        let (cause, remedy) = ("it is silent".to_owned(), "wake it".to_owned());
        gate.api.api.hub.fault(Fault { sensor: Some("knob".into()), key: "no_data", cause, remedy });
        let poor = gate.api.get("/v1/health").await.json;
        assert_ne!(poor["status"], "ok");
        assert_eq!(
            poor["causes"][0],
            json!({"sensor": "knob", "key": "no_data", "cause": "it is silent", "remedy": "wake it"})
        );
        gate.api.api.store.close().await;
        let failing = gate.api.get("/v1/health").await;
        assert_eq!((failing.status, failing.json["status"].as_str()), (503, Some("failing")));
        assert!(failing.json["causes"].as_array().unwrap().iter().any(|cause| cause["key"] == "store"));
    });
}

#[test]
fn metrics_count_by_pattern_and_name_nobody() {
    on_each(MANY, async |gate: Gate| {
        let token = gate.token("viewer").await;
        gate.get(&asked("/v1/bats/{id}"), &token).await;
        gate.api.get("/nothing/of/this/name").await;
        let state = json!({"sensor": "knob of Wren", "link": "connected", "counts": {"samples": 40}});
        gate.api.api.hub.sensor("knob of Wren", &state);
        gate.api.api.hub.publish("swing", json!({"nickname": "Wren"}).to_string());
        let answer = gate.get("/metrics", &token).await;
        assert_eq!(answer.header("content-type"), Some("text/plain; version=0.0.4; charset=utf-8"));
        let text = String::from_utf8(answer.bytes).unwrap();
        for line in [
            "swingd_http_requests_total{route=\"/v1/bats/{id}\",method=\"GET\",status=\"404\"} 1",
            "swingd_http_requests_total{route=\"none\",method=\"GET\",status=\"404\"} 1",
            "swingd_http_requests_total{route=\"/v1/tokens\",method=\"POST\",status=\"201\"} 1",
            "swingd_events_total{kind=\"swing\"} 1",
            "swingd_samples_total 40",
            "swingd_sensors_connected 1",
            "swingd_faults 0",
            "swingd_event_stream_clients 0",
        ] {
            assert!(text.lines().any(|told| told == line), "{line}: {text}");
        }
        let is_value = |line: &&str| !line.starts_with('#');
        let names = text.lines().filter(is_value).all(|line| line.starts_with("swingd_"));
        assert!(names && !text.contains("Wren") && !text.contains(&uuid::Uuid::from_u128(7).to_string()), "{text}");
    });
}
