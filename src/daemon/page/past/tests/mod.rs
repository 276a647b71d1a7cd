//! The pages of looking back through the router, against what the API says of the same things.

mod access;
mod balls;
mod charts;
mod hostile;
mod numbers;
mod tables;

use crate::daemon::api::test_api::TestApi;
use crate::daemon::store::queries::swings_read::example::{World, fill};
use axum::body::Body;
use axum::http::Request;

/// A store with swings of all kinds.
async fn filled(api: &TestApi, count: usize) -> World {
    let mut changes = api.api.store.write().await.unwrap();
    let world = fill(&mut changes, 17, count).await;
    changes.commit().await.unwrap();
    world
}

/// A page as a browser gets it, with its cookies.
async fn page_with(api: &TestApi, path: &str, cookies: &str) -> (u16, String) {
    let request = Request::get(path).header("accept", "text/html").header("cookie", cookies);
    let answer = api.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!(answer.header("content-type"), Some("text/html; charset=utf-8"), "{path}");
    (answer.status, String::from_utf8(answer.bytes).unwrap())
}

/// One that is there, in metric units.
async fn page(api: &TestApi, path: &str) -> String {
    let (status, html) = page_with(api, path, "units=metric").await;
    assert_eq!(status, 200, "{path}: {html}");
    html
}

/// What stands between two marks, the first time.
fn between<'a>(html: &'a str, from: &str, to: &str) -> &'a str {
    let (_, rest) = html.split_once(from).unwrap_or_else(|| panic!("`{from}` is not in {html}"));
    rest.split_once(to).unwrap_or_else(|| panic!("`{to}` is not in {rest}")).0
}

/// The words of a piece of a page.
fn words(html: &str) -> String {
    let mut out = String::new();
    let mut is_tag = false;
    for c in html.chars() {
        match c {
            '<' => is_tag = true,
            '>' => is_tag = false,
            c if !is_tag => out.push(c),
            _ => {}
        }
    }
    out
}
