//! Problems as a person reads them who opened a page.

use super::shell::{Here, Page};
use super::view::View;
use crate::daemon::access::Who;
use crate::daemon::api::known;
use crate::daemon::store::rows::Role;
use axum::body::to_bytes;
use axum::extract::{FromRequestParts, Request};
use axum::http::{Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use maud::html;
use serde_json::Value;

/// Longer problems are left as they are, bytes.
const LONGEST: usize = 64 * 1024;

/// A problem that answers a browser that asked for a page becomes one. Without a token: where to enter the code.
pub async fn for_browsers(request: Request, next: Next) -> Response {
    let asked = request.headers().get(header::ACCEPT);
    let wants_page =
        request.method() == Method::GET && asked.is_some_and(|accept| accept.as_bytes().starts_with(b"text/html"));
    if !wants_page {
        return next.run(request).await;
    }
    let who = known(&request);
    let (mut parts, body) = request.into_parts();
    let Ok(view) = View::from_request_parts(&mut parts, &()).await;
    let response = next.run(Request::from_parts(parts, body)).await;
    let kind = response.headers().get(header::CONTENT_TYPE);
    if kind.is_none_or(|kind| kind != "application/problem+json") {
        return response;
    }
    let (status, (head, body)) = (response.status(), response.into_parts());
    let problem: Value = match to_bytes(body, LONGEST).await {
        Ok(bytes) => serde_json::from_slice(&bytes).unwrap_or_default(),
        Err(_) => Value::Null,
    };
    let words = |key: &str| problem.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
    let (title, detail) = plain(status, who.as_ref()).unwrap_or_else(|| (words("title"), words("detail")));
    let main = html! {
        h1 { (title) }
        @if !detail.is_empty() { p { (sentence(&detail)) } }
        @if status == StatusCode::UNAUTHORIZED {
            p { a.button href="/pair" { "Enter a pairing code" } }
        } @else {
            p { a.button href="/" { "To the plate" } }
        }
    };
    let page = match &who {
        Some(who) => Page::new(title, Here::Elsewhere, view, who, main).with_status(status),
        None => Page::for_anybody(status, title, view, main),
    };
    let mut response = page.into_response();
    for (name, value) in &head.headers {
        response.headers_mut().entry(name).or_insert_with(|| value.clone());
    }
    response.headers_mut().remove(header::CONTENT_LENGTH);
    response
}

/// What most often happens, in words that need no knowledge of the service: a title, and what to do.
fn plain(status: StatusCode, who: Option<&Who>) -> Option<(String, String)> {
    let is_viewer = matches!(who, Some(Who::Holder { role: Role::Viewer, .. }));
    let (title, detail) = match status {
        StatusCode::NOT_FOUND => ("There is nothing here.", ""),
        StatusCode::UNAUTHORIZED => ("This device is not paired yet.", "Ask a coach for a code."),
        StatusCode::FORBIDDEN if is_viewer => {
            ("This is for coaches.", "This device is paired to look only; ask for a code for a coach.")
        }
        _ => return None,
    };
    Some((title.to_owned(), detail.to_owned()))
}

/// Problems are told in lower case and without a full stop, for programs to put after others.
fn sentence(detail: &str) -> String {
    let mut letters = detail.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    let end = if detail.is_empty() || detail.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::sentence;

    #[test]
    fn a_problem_is_a_sentence() {
        assert_eq!(sentence("there is nothing under /x"), "There is nothing under /x.");
        assert_eq!(sentence("`after` is no place."), "`after` is no place.");
        assert_eq!(sentence(""), "");
        assert_eq!(sentence("ßig?"), "SSig?");
    }
}
