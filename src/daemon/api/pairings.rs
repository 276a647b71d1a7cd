//! Pairing: a code shown at this machine, given back by another device for a token.

use super::Api;
use super::check::Check;
use super::extract::Body;
use super::gate::{Holder, Refusal};
use super::instant::Instant;
use super::problem::{Kind, Problem, Result};
use super::tokens::{self, LONGEST_LABEL, Made, NewToken, Role, TokenBody};
use crate::daemon::access::caller::is_forwarded;
use crate::daemon::access::ledger::NotKept;
use crate::daemon::access::pairing::{Offer, VALID_FOR};
use crate::daemon::access::{Peer, Who, secret, server};
use crate::daemon::store::rows::{AuditEntry, UtcMicros};
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Where codes are given back.
const REDEEM: &str = "/v1/pairings/redeem";

/// A code that can be given back once.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Pairing {
    /// The code, as it is shown.
    #[schema(examples("ABCD-2345"))]
    code: String,
    /// From when on it is worth nothing.
    expires: Instant,
    /// What another device opens, or reads from a QR code: the service's address, and the code behind `#`. Null: the service
    /// does not listen for other machines, or does not know how they reach it.
    #[schema(required)]
    url: Option<String>,
    /// What the token will be for.
    role: Role,
}

/// A code that is given back.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Redemption {
    /// The code, with or without its hyphen, in any case.
    #[schema(min_length = 1, max_length = 40)]
    code: String,
    /// What the device is called, to tell its token from others; without it, what the code was made for.
    #[schema(max_length = 100)]
    label: Option<String>,
}

/// Show a pairing code
///
/// Only to somebody at the service's own machine: a code is for whoever sees its screen. A new code voids the one before; it is
/// worth something for ten minutes, once, and until a hundred wrong ones were given back.
#[utoipa::path(post, path = "/v1/pairings", operation_id = "create_pairing", tag = "access", request_body = TokenBody, responses((status = 201, body = Pairing)))]
pub async fn create(
    State(api): State<Api>,
    Extension(who): Extension<Who>,
    Extension(peer): Extension<Peer>,
    headers: HeaderMap,
    Body(body): Body<TokenBody>,
) -> Result<Response> {
    if who != Who::ThisMachine && (!peer.is_loopback() || is_forwarded(&headers)) {
        let words = "a pairing code is shown only at the service's own machine: run `swingd pair` there";
        return Err(Problem::new(Kind::Forbidden, words));
    }
    body.check()?;
    let code = secret::new_code().map_err(|error| Problem::new(Kind::Internal, error.to_string()))?;
    let shown = secret::shown(&code);
    let address = server::reached_at(api.access.listen).await;
    let url = address.map(|address| format!("http://{address}/pair#{shown}"));
    let now = api.clock.now();
    let valid_us = i64::try_from(VALID_FOR.as_micros()).unwrap_or(0);
    let expires = Instant::from(UtcMicros(now.utc_ns / 1000 + valid_us));
    let role = body.role;
    api.access.desk().open(&code, Offer { role: role.into(), label: body.label, days: body.days }, now.elapsed);
    Ok((StatusCode::CREATED, Json(Pairing { code: shown, expires, url, role })).into_response())
}

/// Give a pairing code back
///
/// From anywhere, without a token. The answer holds a token, once; the code is worth nothing then. Wrong codes are counted by
/// address and in all: after five of an address its codes are not looked at until a new one is shown.
#[utoipa::path(
    post, path = "/v1/pairings/redeem", operation_id = "redeem_pairing", tag = "access", request_body = Redemption,
    responses((status = 201, body = NewToken))
)]
pub async fn redeem(
    State(api): State<Api>,
    Extension(peer): Extension<Peer>,
    Body(body): Body<Redemption>,
) -> std::result::Result<Made, Refusal> {
    give_back(&api, peer, body).await
}

/// A code is given back, by a program or on a page: the token for it, which is written down before it goes out.
///
/// # Errors
/// If the code is wrong or stale, too many wrong ones were given back, or it cannot be written down.
pub(in crate::daemon) async fn give_back(
    api: &Api,
    peer: Peer,
    body: Redemption,
) -> std::result::Result<Made, Refusal> {
    Check::new().text("label", body.label.as_deref().unwrap_or_default(), LONGEST_LABEL).done()?;
    let now = api.clock.now().elapsed;
    api.access.rates().may_guess(&peer, now).map_err(Refusal::too_many)?;
    api.access.rates().may_anybody_guess(now).map_err(Refusal::too_many)?;
    let offer = api.access.desk().redeem(&body.code, peer.network(), now);
    let Some(Offer { role, label, days }) = offer else {
        api.access.rates().wrong(&peer, now).map_err(Refusal::too_many)?;
        return Err(Refusal::new(
            Kind::WrongCode,
            "expected the code that is shown now; `swingd pair` shows a new one",
        ));
    };
    let label = body.label.filter(|label| !label.trim().is_empty()).unwrap_or(label);
    let made = tokens::make(api, TokenBody { role: role.into(), label, days }).await?;
    // Nobody was known who asked; so it stands under the token that was given.
    let holder = Holder { id: made.row.id, label: made.row.label.clone(), role: made.row.role };
    let status = StatusCode::CREATED.as_u16();
    let entry = AuditEntry { method: "POST".into(), path: REDEEM.into(), status, ..holder.entry(api, Some(peer)) };
    let held_back = |error: NotKept| Refusal::new(Kind::Unavailable, format!("{error}, so the token is held back"));
    api.access.ledger.write(vec![entry]).await.map_err(held_back)?;
    Ok(made)
}
