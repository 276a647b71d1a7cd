//! Pairing with a browser, through the router.

use super::test_api::Answer;
use super::test_gate::{Gate, MANY, kind, on_each, plain, there, with_body};
use axum::body::Body;
use axum::http::Request;
use serde_json::json;
use std::time::Duration;

const ORIGIN: &str = "http://192.0.2.1:7951";

fn form(path: &str, body: &str) -> Request<Body> {
    let request = there(Request::post(path), 9).header("origin", ORIGIN);
    request.header("content-type", "application/x-www-form-urlencoded").body(Body::from(body.to_owned())).unwrap()
}

/// The cookie as the browser sends it back.
fn cookie(answer: &Answer) -> String {
    answer.header("set-cookie").unwrap().split(';').next().unwrap().to_owned()
}

fn text(answer: &Answer) -> &str {
    std::str::from_utf8(&answer.bytes).unwrap()
}

impl Gate {
    async fn enter(&self, code: &str) -> Answer {
        self.api.send(form("/pair", &format!("code={code}&label=phone+of+Wren"))).await
    }

    /// GET by a browser elsewhere.
    async fn browse(&self, path: &str, cookie: &str) -> Answer {
        let request = there(Request::get(path), 9).header("cookie", cookie).header("accept", "text/html,*/*");
        self.api.send(plain(request)).await
    }
}

#[test]
fn a_browser_is_paired_by_a_cookie_that_lasts_as_long_as_its_token() {
    on_each(MANY, async |gate: Gate| {
        let code = gate.pair("coach").await;
        let entered = gate.enter(&code.to_lowercase()).await;
        assert_eq!((entered.status, entered.header("location")), (303, Some("/")), "{entered:?}");
        let set = entered.header("set-cookie").unwrap();
        let attributes = "; HttpOnly; SameSite=Strict; Path=/; Max-Age=2592000";
        assert!(set.starts_with("swingd_token=swingd_") && set.ends_with(attributes), "{set}");
        let cookie = cookie(&entered);
        let page = gate.browse("/athletes", &cookie).await;
        assert_eq!(page.status, 200);
        assert!(text(&page).contains("paired as coach") && text(&page).contains("/pair/leave"), "{page:?}");
        assert_eq!(gate.browse("/v1/tokens", &cookie).await.status, 403, "as far as its role goes");
        // The same entry as for a program.
        let entries = gate.audited("").await;
        let pairing = entries.iter().find(|entry| entry["path"] == "/v1/pairings/redeem").unwrap();
        assert_eq!((&pairing["token_label"], &pairing["address"]), (&json!("phone of Wren"), &json!("192.0.2.9")));
        gate.clock.pass(Duration::from_secs(2_592_000));
        let late = gate.browse("/athletes", &cookie).await;
        assert_eq!(late.status, 401);
        assert!(late.header("set-cookie").unwrap().starts_with("swingd_token=; "), "and is sent no more: {late:?}");
    });
}

#[test]
fn json_is_taken_as_a_form_is() {
    on_each(MANY, async |gate: Gate| {
        let code = gate.pair("viewer").await;
        let of = |code: &str| {
            let request = there(Request::post("/pair"), 9).header("origin", ORIGIN);
            with_body(request, &json!({"code": code}))
        };
        let wrong = gate.api.send(of("2222-2222")).await;
        assert_eq!((wrong.status, kind(&wrong)), (403, "wrong-code"));
        let entered = gate.api.send(of(&code)).await;
        assert_eq!(entered.status, 303);
        assert_eq!(gate.browse("/v1/bats", &cookie(&entered)).await.status, 200);
    });
}

#[test]
fn wrong_codes_are_said_on_the_page_and_counted_with_those_of_programs() {
    on_each(MANY, async |gate: Gate| {
        let code = gate.pair("viewer").await;
        let wrong = gate.enter("2222-2222").await;
        assert_eq!((wrong.status, wrong.header("set-cookie")), (403, None));
        assert!(text(&wrong).contains("not paired") && text(&wrong).contains("swingd pair"), "{}", text(&wrong));
        for _ in 0..4 {
            assert_eq!(gate.redeem("2222-2222", 9).await.status, 403);
        }
        assert_eq!(gate.enter(&code).await.status, 403, "five wrong ones of this address");
        for _ in 0..4 {
            gate.enter("3333-3333").await;
        }
        let shut_out = gate.enter(&gate.pair("viewer").await).await;
        assert!(shut_out.status == 429 && shut_out.header("retry-after").is_some(), "{shut_out:?}");
        assert!(text(&shut_out).contains("too many"), "{}", text(&shut_out));
        let unread = gate.api.send(form("/pair", "code=A&nothing=x")).await;
        assert_eq!((unread.status, text(&unread).starts_with("<!DOCTYPE html>")), (400, true), "{unread:?}");
    });
}

#[test]
fn a_cookie_alone_changes_nothing() {
    on_each(MANY, async |gate: Gate| {
        let cookie = cookie(&gate.enter(&gate.pair("coach").await).await);
        let bat = json!({"name": "Tern", "kind": "bat"});
        let post = || there(Request::post("/v1/bats"), 9).header("cookie", &cookie);
        let silent = gate.api.send(with_body(post(), &bat)).await;
        assert_eq!((silent.status, kind(&silent)), (403, "wrong-origin"), "{silent:?}");
        for (name, value) in [
            ("origin", "http://bats.example"),
            ("origin", "null"),
            ("origin", "http://192.0.2.1:3000"),
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-site"),
        ] {
            let answer = gate.api.send(with_body(post().header(name, value), &bat)).await;
            assert_eq!((answer.status, kind(&answer)), (403, "wrong-origin"), "{name}: {value}");
        }
        assert_eq!(gate.api.get("/v1/bats").await.json["items"], json!([]));
        let own = gate.api.send(with_body(post().header("origin", ORIGIN), &bat)).await;
        assert_eq!(own.status, 201, "{own:?}");
        let own = gate.api.send(with_body(post().header("sec-fetch-site", "same-origin"), &bat)).await;
        assert_eq!(own.status, 201, "{own:?}");
    });
}

#[test]
fn at_the_services_machine_a_cookie_takes_nothing_away() {
    on_each(MANY, async |gate: Gate| {
        let cookie = cookie(&gate.enter(&gate.pair("viewer").await).await);
        let request = Request::get("/v1/tokens").header("cookie", &cookie);
        assert_eq!(gate.api.send(plain(request)).await.status, 200);
        let request = Request::post("/v1/bats").header("cookie", &cookie);
        assert_eq!(gate.api.send(with_body(request, &json!({"name": "Tern", "kind": "bat"}))).await.status, 201);
        let viewer = gate.token("viewer").await;
        let request = Request::get("/v1/tokens").header("cookie", &cookie);
        let request = request.header("authorization", format!("Bearer {viewer}"));
        assert_eq!(gate.api.send(plain(request)).await.status, 403, "a header goes before both");
    });
}

#[test]
fn leaving_forgets_the_cookie_and_says_so() {
    on_each(MANY, async |gate: Gate| {
        let cookie = cookie(&gate.enter(&gate.pair("viewer").await).await);
        let request = there(Request::post("/pair/leave"), 9).header("cookie", &cookie);
        let left = gate.api.send(plain(request.header("origin", ORIGIN))).await;
        assert_eq!(left.header("set-cookie"), Some("swingd_token=; HttpOnly; SameSite=Strict; Path=/; Max-Age=0"));
        assert!(left.status == 200 && text(&left).contains("paired no more"), "{left:?}");
    });
}

#[test]
fn whoever_is_not_known_is_led_to_pairing_and_two_cookies_are_nobody() {
    on_each(MANY, async |gate: Gate| {
        let unknown = there(Request::get("/athletes"), 9).header("accept", "text/html");
        let unknown = gate.api.send(plain(unknown)).await;
        assert_eq!((unknown.status, unknown.header("set-cookie")), (401, None));
        assert!(text(&unknown).contains("href=\"/pair\""), "{}", text(&unknown));
        assert!(unknown.header("www-authenticate").unwrap().starts_with("Bearer"));
        let page = gate.browse("/pair", "").await;
        assert!(page.status == 200 && text(&page).contains("name=\"code\""), "{}", text(&page));
        assert_eq!(page.header("referrer-policy"), Some("same-origin"), "else its form has no origin");
        let cookie = cookie(&gate.enter(&gate.pair("viewer").await).await);
        assert_eq!(gate.browse("/v1/bats", &format!("{cookie}; {cookie}")).await.status, 401);
        let stale = "swingd_token=swingd_0";
        let gone = gate.browse("/v1/bats", stale).await;
        assert!(gone.status == 401 && gone.header("set-cookie").unwrap().contains("Max-Age=0"), "{gone:?}");
        let wrong = there(Request::get("/v1/bats"), 9).header("authorization", "Bearer swingd_0");
        let wrong = gate.api.send(plain(wrong.header("cookie", &cookie))).await;
        assert_eq!((wrong.status, wrong.header("set-cookie")), (401, None), "the cookie is none the worse for it");
        let stale = gate.browse("/pair", stale).await;
        assert_eq!(stale.status, 200, "an unknown token bars nobody from pairing anew");
    });
}

#[test]
fn a_refused_page_says_so_in_plain_words_and_keeps_the_ways_of_whoever_is_known() {
    on_each(MANY, async |gate: Gate| {
        let unknown = gate.browse("/athletes", "").await;
        assert!(
            text(&unknown).contains("This device is not paired yet.") && !text(&unknown).contains("href=\"/athletes\"")
        );
        let cookie = cookie(&gate.enter(&gate.pair("viewer").await).await);
        let missing = gate.browse("/nowhere", &cookie).await;
        assert_eq!(missing.status, 404);
        assert!(text(&missing).contains("There is nothing here.") && text(&missing).contains("href=\"/athletes\""));
        let refused = gate.browse("/setup", &cookie).await;
        assert_eq!(refused.status, 403);
        assert!(text(&refused).contains("paired to look only") && text(&refused).contains("href=\"/athletes\""));
    });
}
