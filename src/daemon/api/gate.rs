//! The door itself: what [`access`](crate::daemon::access) decides, as HTTP.
//!
//! [`before_routing`] sees every request; [`at_route`] knows which route it met. An answer about somebody goes out over the
//! network only once it is written down that it does, and the client's going away does not keep that from being written.

use super::Api;
use super::idempotency::Caller;
use super::problem::{Kind, Problem};
use super::witness;
use crate::daemon::access::caller::{self, Claim, claim, holder};
use crate::daemon::access::host::Hosts;
use crate::daemon::access::rules::{Rule, rule_of};
use crate::daemon::access::{Peer, Who, secret};
use crate::daemon::store::queries::tokens;
use crate::daemon::store::rows::{AuditEntry, Role, Token, UtcMicros, Word};
use axum::body::Body;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures::StreamExt;
use std::collections::BTreeSet;
use std::fmt::Display;
use std::time::Duration;
use tower_http::timeout::TimeoutBody;
use uuid::Uuid;

/// When a token was used is kept to this, µs.
const USED_TO_US: i64 = 60_000_000;

/// A request that is turned away.
#[derive(Clone, Debug)]
pub struct Refusal {
    problem: Problem,
    retry_after: Option<Duration>,
}

/// Who asks, or why nobody is known to.
#[derive(Clone, Debug)]
struct Asker(Result<Who, Refusal>);

/// The route that a request met, for what is counted.
#[derive(Clone, Debug)]
struct Route(String);

impl Refusal {
    /// Asked too often.
    pub fn too_many(wait: Duration) -> Self {
        let words = format!("too many requests from here; expected the next in {} s", seconds(wait));
        Self { problem: Problem::new(Kind::TooMany, words), retry_after: Some(wait) }
    }

    /// What is said of it.
    pub fn words(&self) -> &str {
        &self.problem.detail
    }

    /// Of a kind, with words.
    pub fn new(kind: Kind, words: impl Into<String>) -> Self {
        Problem::new(kind, words).into()
    }
}

impl<E: Into<Problem>> From<E> for Refusal {
    fn from(problem: E) -> Self {
        Self { problem: problem.into(), retry_after: None }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let mut response = self.problem.into_response();
        if let Some(wait) = self.retry_after {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds(wait)));
        }
        response
    }
}

/// Whole seconds, enough of them.
fn seconds(wait: Duration) -> u64 {
    wait.as_secs() + 1
}

/// Every request, before anything is looked for under its path.
pub async fn before_routing(State(api): State<Api>, mut request: Request, next: Next) -> Response {
    let (began, method) = (api.clock.now().elapsed, request.method().clone());
    let peer = request.extensions().get::<Peer>().copied();
    let is_by_cookie = peer.is_some_and(|peer| claim(request.headers(), &peer).is_by_cookie());
    let mut is_unknown = false;
    let mut response = match admit(&api, request.method(), request.uri(), request.headers(), peer).await {
        Ok(asker) => {
            is_unknown = asker.0.is_err();
            if let Ok(Who::Holder { id, .. }) = &asker.0 {
                request.extensions_mut().insert(Caller(id.to_string()));
            }
            request.extensions_mut().insert(asker);
            let piece = api.access.patience.piece;
            next.run(request.map(|body| Body::new(TimeoutBody::new(piece, body)))).await
        }
        Err(refusal) => refusal.into_response(),
    };
    let took = api.clock.now().elapsed.saturating_sub(began);
    let route = response.extensions_mut().remove::<Route>();
    let route = route.as_ref().map_or("none", |route| route.0.as_str());
    api.metrics.answered(route, method.as_str(), response.status().as_u16(), took);
    protect(&mut response);
    if is_by_cookie && is_unknown && response.status() == StatusCode::UNAUTHORIZED {
        forget(&mut response);
    }
    response
}

/// The browser is to send the cookie no more: each time it would be a wrong guess.
fn forget(response: &mut Response) {
    if let Ok(cookie) = HeaderValue::try_from(caller::cookie("", 0)) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
}

/// Who asks, if they are known.
pub fn known(request: &Request) -> Option<Who> {
    request.extensions().get::<Asker>().and_then(|asker| asker.0.clone().ok())
}

/// What browsers are told of every answer.
fn protect(response: &mut Response) {
    let is_unauthorized = response.status() == StatusCode::UNAUTHORIZED;
    let headers = response.headers_mut();
    if is_unauthorized {
        headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"swingd\""));
    }
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    headers.entry(header::REFERRER_POLICY).or_insert(HeaderValue::from_static("no-referrer"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    let nothing = HeaderValue::from_static("default-src 'none'; frame-ancestors 'none'");
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(nothing);
}

async fn admit(
    api: &Api,
    method: &Method,
    uri: &Uri,
    headers: &HeaderMap,
    peer: Option<Peer>,
) -> Result<Asker, Refusal> {
    let Some(peer) = peer else {
        return Err(Refusal::new(Kind::Internal, "it is not known where the request came from"));
    };
    let access = &api.access;
    let wrong_host = |words| Refusal::new(Kind::WrongHost, words);
    access.hosts.check_host(uri, headers, peer.local).map_err(wrong_host)?;
    let wrong_origin = |words| Refusal::new(Kind::WrongOrigin, words);
    access.hosts.check_origin(headers, peer.local).map_err(wrong_origin)?;
    if matches!(claim(headers, &peer), Claim::Cookie(_)) {
        Hosts::check_cookie(method, headers).map_err(wrong_origin)?;
    }
    access.rates().request(&peer, api.clock.now().elapsed).map_err(Refusal::too_many)?;
    Ok(Asker(identify(api, headers, &peer).await))
}

async fn identify(api: &Api, headers: &HeaderMap, peer: &Peer) -> Result<Who, Refusal> {
    let nobody = |words| Refusal::new(Kind::Unauthorized, words);
    let given = match claim(headers, peer) {
        Claim::ThisMachine => return Ok(Who::ThisMachine),
        Claim::Nobody => return Err(nobody("expected `Authorization: Bearer` with a token; pairing gives one")),
        Claim::Unreadable(words) => return Err(nobody(words)),
        Claim::Token(given) | Claim::Cookie(given) => given,
    };
    let now = api.clock.now();
    let found = tokens::with_hash(&mut *api.store.read().await?, &secret::hash(given)).await?;
    // Only guesses are limited by address: somebody who guesses keeps no known token of the same network out.
    let Some(token) = found else {
        api.access.rates().may_guess(peer, now.elapsed).map_err(Refusal::too_many)?;
        api.access.rates().wrong(peer, now.elapsed).map_err(Refusal::too_many)?;
        return Err(nobody("this token is not known; pair this device again"));
    };
    let now_us = UtcMicros(now.utc_ns / 1000);
    let who = holder(&token, now_us).map_err(nobody)?;
    api.access.rates().token(token.id, now.elapsed).map_err(Refusal::too_many)?;
    note_use(api, &token, now_us).await;
    Ok(who)
}

/// That it was used, at most once a minute. That this cannot be kept keeps nobody out.
async fn note_use(api: &Api, token: &Token, now: UtcMicros) {
    if token.last_used.is_some_and(|last| now.0 - last.0 < USED_TO_US) {
        return;
    }
    let kept = async {
        let mut changes = api.store.write().await?;
        tokens::used(&mut changes, token.id, now).await?;
        changes.commit().await
    };
    if let Err(error) = kept.await {
        tracing::warn!(%error, "when a token was last used could not be kept");
    }
}

/// A request that met a route, or none.
pub async fn at_route(State(api): State<Api>, mut request: Request, next: Next) -> Response {
    let pattern = request.extensions().get::<MatchedPath>().map(|pattern| pattern.as_str().to_owned());
    let rule = pattern.as_deref().map_or(Rule::NOWHERE, |pattern| rule_of(request.method().as_str(), pattern));
    let asker = request.extensions_mut().remove::<Asker>();
    let mut response = match allowed(rule, asker) {
        Err(refusal) => refusal.into_response(),
        Ok(None) => run(&api, rule, request, next).await,
        Ok(Some(who)) => {
            request.extensions_mut().insert(who.clone());
            match who {
                Who::Holder { id, label, role } if rule.is_personal => {
                    let holder = Holder { id, label, role };
                    let pattern = pattern.clone().unwrap_or_default();
                    let written = tokio::spawn(written_down(api, rule, pattern, holder, request, next));
                    let failed = |_| Problem::new(Kind::Internal, "the log says more").into_response();
                    written.await.unwrap_or_else(failed)
                }
                _ => run(&api, rule, request, next).await,
            }
        }
    };
    if let Some(pattern) = pattern {
        response.extensions_mut().insert(Route(pattern));
    }
    response
}

/// Who asks, where the route wants to know; `None`: it is open to anybody.
fn allowed(rule: Rule, asker: Option<Asker>) -> Result<Option<Who>, Refusal> {
    let Some(least) = rule.least else { return Ok(None) };
    let unknown = || Err(Refusal::new(Kind::Unauthorized, "it is not known who asks"));
    let who = asker.map_or_else(unknown, |asker| asker.0)?;
    if who.role() >= least {
        return Ok(Some(who));
    }
    let words = format!("your role is {}; expected {} or more", who.role().word(), least.word());
    Err(Refusal::new(Kind::Forbidden, words))
}

async fn run(api: &Api, rule: Rule, request: Request, next: Next) -> Response {
    if rule.is_long {
        return next.run(request).await;
    }
    let whole = api.access.patience.whole;
    let late = |_| {
        let words = format!("expected the whole request, and to be done with it, within {} s", whole.as_secs_f64());
        Problem::new(Kind::TooSlow, words).into_response()
    };
    tokio::time::timeout(whole, next.run(request)).await.unwrap_or_else(late)
}

/// The holder of a token.
pub struct Holder {
    /// The token's id.
    pub id: Uuid,
    /// What it is for.
    pub label: String,
    /// What they may.
    pub role: Role,
}

impl Holder {
    /// What is written down of a request of theirs, as far as it follows from who they are.
    pub fn entry(self, api: &Api, peer: Option<Peer>) -> AuditEntry {
        AuditEntry {
            id: Uuid::now_v7(),
            at: api.now(),
            cage: api.access.cage.clone(),
            token_id: self.id,
            token_label: self.label,
            role: self.role,
            address: peer.map_or_else(String::new, |peer| peer.remote.ip().to_canonical().to_string()),
            method: String::new(),
            path: String::new(),
            athlete_id: None,
            status: 0,
        }
    }
}

async fn written_down(api: Api, rule: Rule, pattern: String, holder: Holder, request: Request, next: Next) -> Response {
    let (method, path) = (request.method().to_string(), request.uri().path().to_owned());
    let peer = request.extensions().get::<Peer>().copied();
    let (mut athletes, request) = match witness::named(&api, &pattern, request).await {
        Ok(named) => named,
        Err(problem) => return problem.into_response(),
    };
    let response = run(&api, rule, request, next).await;
    let response = match witness::shown(&api, &pattern, response).await {
        Ok((mut shown, response)) => {
            athletes.append(&mut shown);
            response
        }
        Err(_) => return held_back("it could not be looked up whom the answer is about"),
    };
    let id = holder.id;
    let entry = AuditEntry { method, path, status: response.status().as_u16(), ..holder.entry(&api, peer) };
    match api.access.ledger.write(one_each(entry, &athletes)).await {
        Ok(()) => while_valid(api, id, response),
        Err(error) => held_back(error),
    }
}

fn held_back(why: impl Display) -> Response {
    let words = format!("{why}, so the answer is held back; what was asked may have been done");
    Problem::new(Kind::Unavailable, words).into_response()
}

/// An entry for each athlete; one without where there is none.
fn one_each(entry: AuditEntry, athletes: &BTreeSet<Uuid>) -> Vec<AuditEntry> {
    if athletes.is_empty() {
        return vec![entry];
    }
    let of = |athlete: &Uuid| AuditEntry { id: Uuid::now_v7(), athlete_id: Some(*athlete), ..entry.clone() };
    athletes.iter().map(of).collect()
}

/// An event stream ends soon after its token does.
fn while_valid(api: Api, token: Uuid, response: Response) -> Response {
    let kind = response.headers().get(header::CONTENT_TYPE);
    if !kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/event-stream")) {
        return response;
    }
    let until = async move {
        loop {
            tokio::time::sleep(api.access.patience.recheck).await;
            let now = UtcMicros(api.clock.now().utc_ns / 1000);
            let is_valid = async { tokens::is_valid(&mut *api.store.read().await?, token, now).await };
            // A store that is out of reach for a moment ends no stream.
            if matches!(is_valid.await, Ok(false)) {
                return;
            }
        }
    };
    let (parts, body) = response.into_parts();
    Response::from_parts(parts, Body::from_stream(body.into_data_stream().take_until(Box::pin(until))))
}
