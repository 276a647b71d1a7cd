//! `Idempotency-Key` on creations: the same request again gets the same answer, and nothing is made twice.
//!
//! [`remember`] answers what was answered before; [`Creation::finish`] writes the answer down in the transaction that makes
//! the thing, so that either both are on disk or neither. Of two at once the second is told of a conflict and gets the
//! first one's answer when it asks again.

use super::Api;
use super::etag::etag;
use super::extract::{LONGEST_BODY, late};
use super::problem::{Kind, Problem, Result};
use crate::daemon::hex::hex;
use crate::daemon::store::Transaction;
use crate::daemon::store::queries::idempotency::{self, Answer, Asked};
use axum::body::{Body, to_bytes};
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::uri::PathAndQuery;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::convert::Infallible;

/// The header (IETF draft-ietf-httpapi-idempotency-key-header).
const KEY: &str = "idempotency-key";
/// How the media types of files begin.
const MULTIPART: &[u8] = b"multipart/";
/// Longer keys are refused, characters.
const LONGEST_KEY: usize = 200;
/// Answers are kept so long, µs: a day.
const KEPT_US: i64 = 24 * 3600 * 1_000_000;

/// Who asks, where it is not this machine.
#[derive(Clone, Debug)]
pub struct Caller(pub String);

/// What a creation has to write its answer under, if it was given a key.
pub struct Creation(Option<Asked>);

/// Answers a creation that was answered before, and lets the others know under which key they are.
pub async fn remember(State(api): State<Api>, request: Request, next: Next) -> Response {
    // Files come as multipart and are too long to be held.
    let is_file = |headers: &HeaderMap| {
        let kind = headers.get(header::CONTENT_TYPE).map_or(&b""[..], |kind| kind.as_bytes());
        kind.get(..MULTIPART.len()).is_some_and(|kind| kind.eq_ignore_ascii_case(MULTIPART))
    };
    if request.method() != Method::POST || !request.headers().contains_key(KEY) || is_file(request.headers()) {
        return next.run(request).await;
    }
    match look_up(&api, request).await {
        Ok(Found::Before(response)) => response,
        Ok(Found::New(request)) => next.run(*request).await,
        Err(problem) => problem.into_response(),
    }
}

enum Found {
    Before(Response),
    New(Box<Request>),
}

async fn look_up(api: &Api, request: Request) -> Result<Found> {
    let key = request
        .headers()
        .get(KEY)
        .and_then(|key| key.to_str().ok())
        .filter(|key| (1..=LONGEST_KEY).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic()));
    let Some(key) = key.map(str::to_owned) else {
        return Err(Problem::new(
            Kind::Malformed,
            format!("Idempotency-Key: expected 1 to {LONGEST_KEY} visible ASCII characters"),
        ));
    };
    let (mut parts, body) = request.into_parts();
    let too_large = || Problem::new(Kind::TooLarge, format!("expected a body of at most {LONGEST_BODY} bytes"));
    let unread = |error: axum::Error| late(&error).unwrap_or_else(too_large);
    let bytes = to_bytes(body, LONGEST_BODY).await.map_err(unread)?;
    let mut hash = Sha256::new();
    // The query too: it says for whom a table is and how its clock is set.
    hash.update(parts.uri.path_and_query().map_or_else(|| parts.uri.path(), PathAndQuery::as_str).as_bytes());
    hash.update([0]);
    hash.update(&bytes);
    let caller = parts.extensions.get::<Caller>().map_or_else(String::new, |caller| caller.0.clone());
    let asked = Asked { caller, key, request_sha256: hex(&hash.finalize()) };
    let oldest = api.clock.now().utc_ns / 1000 - KEPT_US;
    let before = idempotency::find(&mut *api.store.read().await?, &asked, oldest).await?;
    match before {
        Some((sha256, _)) if sha256 != asked.request_sha256 => {
            let words = "this Idempotency-Key was used for another request; expected a new key for a new request";
            Err(Problem::new(Kind::KeyReused, words))
        }
        Some((_, answer)) => Ok(Found::Before(again(answer))),
        None => {
            parts.extensions.insert(asked);
            Ok(Found::New(Box::new(Request::from_parts(parts, Body::from(bytes)))))
        }
    }
}

fn again(answer: Answer) -> Response {
    let status = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::OK);
    if answer.location.is_empty() {
        return (status, [(header::CONTENT_TYPE, "application/json")], answer.body).into_response();
    }
    let location = [(header::LOCATION, answer.location), (header::CONTENT_TYPE, "application/json".into())];
    (status, location, [etag(answer.version)], answer.body).into_response()
}

impl<S: Send + Sync> FromRequestParts<S> for Creation {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> std::result::Result<Self, Infallible> {
        Ok(Self(parts.extensions.remove()))
    }
}

impl Creation {
    /// Makes a creation last, and its answer with it: 201, where it is, its version, and itself.
    ///
    /// # Errors
    /// If it cannot be stored, or the same request was made at the same time.
    pub async fn finish<T: Serialize>(
        self,
        api: &Api,
        changes: Transaction,
        location: String,
        version: i64,
        body: &T,
    ) -> Result<Response> {
        let answer = Answer { status: StatusCode::CREATED.as_u16(), location, version, body: json(body)? };
        self.keep(api, changes, answer).await
    }

    /// Makes what a request did to many things last, and its answer with it: 200 and what was done.
    ///
    /// # Errors
    /// As for [`Self::finish`].
    pub async fn done<T: Serialize>(self, api: &Api, changes: Transaction, body: &T) -> Result<Response> {
        let answer = Answer { status: StatusCode::OK.as_u16(), location: String::new(), version: 0, body: json(body)? };
        self.keep(api, changes, answer).await
    }

    async fn keep(self, api: &Api, mut changes: Transaction, answer: Answer) -> Result<Response> {
        if let Some(asked) = self.0 {
            let now = api.clock.now().utc_ns / 1000;
            idempotency::forget(&mut changes, now - KEPT_US).await?;
            idempotency::keep(&mut changes, &asked, &answer, now).await?;
        }
        changes.commit().await?;
        Ok(again(answer))
    }
}

fn json(body: &impl Serialize) -> Result<Vec<u8>> {
    serde_json::to_vec(body).map_err(|error| Problem::new(Kind::Internal, error.to_string()))
}
