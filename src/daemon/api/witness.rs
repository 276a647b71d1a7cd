//! Whose data a request and its answer are about: what [`about`] finds in them, looked up in the store.

use super::Api;
use super::problem::{Kind, Problem, Result};
use crate::daemon::access::OfAthletes;
use crate::daemon::access::about::{self, About};
use crate::daemon::store::queries::audit;
use axum::body::{Body, HttpBody, to_bytes};
use axum::extract::{FromRequestParts, Query, RawPathParams, Request};
use axum::http::header;
use axum::response::Response;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Longer answers are not looked through, bytes. A page of 500 swings has about 2 MB.
const LONGEST_ANSWER: u64 = 32 * 1024 * 1024;

/// Whom the request names; to be looked for before it is done, for afterwards they may be gone.
pub async fn named(api: &Api, pattern: &str, request: Request) -> Result<(BTreeSet<Uuid>, Request)> {
    let (mut parts, body) = request.into_parts();
    let path = RawPathParams::from_request_parts(&mut parts, &()).await.ok();
    let id = path.as_ref().and_then(|path| path.iter().find(|(key, _)| *key == "id")).map(|(_, id)| id.to_owned());
    // A query that cannot be read is refused by every handler that takes one.
    let query = Query::<Vec<(String, String)>>::try_from_uri(&parts.uri).map_or_else(|_| Vec::new(), |query| query.0);
    let found = athletes(api, about::named(pattern, id.as_deref(), &query)).await?;
    Ok((found, Request::from_parts(parts, body)))
}

/// Whom the answer shows, or its handler names.
pub async fn shown(api: &Api, pattern: &str, mut response: Response) -> Result<(BTreeSet<Uuid>, Response)> {
    let OfAthletes(mut found) = response.extensions_mut().remove().unwrap_or_default();
    let kind = response.headers().get(header::CONTENT_TYPE);
    let is_json = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"application/json"));
    let is_held = response.body().size_hint().exact().is_some_and(|length| length <= LONGEST_ANSWER);
    if is_json && is_held {
        let (parts, body) = response.into_parts();
        let unread = |error: axum::Error| Problem::new(Kind::Internal, error.to_string());
        let bytes = to_bytes(body, usize::MAX).await.map_err(unread)?;
        if let Ok(answer) = serde_json::from_slice(&bytes) {
            found.append(&mut athletes(api, about::shown(pattern, &answer)).await?);
        }
        response = Response::from_parts(parts, Body::from(bytes));
    }
    Ok((found, response))
}

async fn athletes(api: &Api, about: BTreeSet<About>) -> Result<BTreeSet<Uuid>> {
    let (mut found, mut things) = (BTreeSet::new(), Vec::new());
    for about in about {
        match about {
            About::Athlete(id) => {
                found.insert(id);
            }
            About::Thing(of, id) => things.push((of, id)),
        }
    }
    if !things.is_empty() {
        let mut reading = api.store.read().await?;
        for (of, id) in things {
            found.append(&mut audit::athletes_of(&mut reading, of, id).await?);
        }
    }
    Ok(found)
}
