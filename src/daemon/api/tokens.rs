//! Who may reach the service over the network: tokens, seen and taken back.

use super::Api;
use super::check::Check;
use super::extract::{Body, Id, Params};
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::problem::{Kind, Problem, Result};
use crate::daemon::access::secret;
use crate::daemon::store::queries::tokens;
use crate::daemon::store::rows::{self, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// A day, µs.
const DAY_US: i64 = 24 * 3600 * 1_000_000;
/// A token is not valid longer than this, days.
pub(super) const MOST_DAYS: u32 = 3650;
/// Characters of a label.
pub(super) const LONGEST_LABEL: usize = 100;

/// What a token's holder may; each may what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Sees.
    Viewer,
    /// Changes what belongs to lessons.
    Coach,
    /// Erases, exports, and says who may.
    Owner,
}

/// A token that is wanted, or what a pairing is to give.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenBody {
    /// What its holder may.
    pub role: Role,
    /// What it is for.
    #[schema(min_length = 1, max_length = 100)]
    pub label: String,
    /// How many days it is valid.
    #[serde(default = "usual_days")]
    #[schema(minimum = 1, maximum = 3650, default = 30)]
    pub days: u32,
}

fn usual_days() -> u32 {
    30
}

/// A token, without the token itself.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Token {
    /// Its id, which is no secret.
    id: Uuid,
    /// What it is for.
    label: String,
    /// What its holder may.
    role: Role,
    /// When it was made.
    created: Instant,
    /// From when on it is worth nothing.
    expires: Instant,
    /// When it was taken back; null: it was not.
    #[schema(required)]
    revoked: Option<Instant>,
    /// When it was last used, to the minute; null: never.
    #[schema(required)]
    last_used: Option<Instant>,
}

/// A token as it is given out, once.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct NewToken {
    /// The token: goes into `Authorization: Bearer …`. It is not kept here and cannot be shown again.
    token: String,
    /// What is kept of it.
    #[serde(flatten)]
    kept: Token,
}

/// List tokens
///
/// All that were ever given out, in that order, those taken back among them.
#[utoipa::path(get, path = "/v1/tokens", operation_id = "list_tokens", tag = "access", params(PageParams), responses((status = 200, body = Page<Token>)))]
pub async fn list(State(api): State<Api>, Params(params): Params<PageParams>) -> Result<Json<Page<Token>>> {
    let rows = tokens::list(&mut *api.store.read().await?, params.slice()?).await?;
    Ok(Json(params.page(rows, |row| row.id.to_string(), Token::of)))
}

/// Make a token
///
/// For programs; devices of people are paired. The token is in the answer and nowhere else. An `Idempotency-Key` has no
/// effect: answers are not kept, because this one holds a secret.
#[utoipa::path(post, path = "/v1/tokens", operation_id = "create_token", tag = "access", request_body = TokenBody, responses((status = 201, body = NewToken)))]
pub async fn create(State(api): State<Api>, Body(body): Body<TokenBody>) -> Result<Response> {
    body.check()?;
    Ok(make(&api, body).await?.into_response())
}

/// Take a token back
///
/// It is worth nothing from now on; event streams opened with it end within seconds. It stays in the list.
#[utoipa::path(delete, path = "/v1/tokens/{id}", operation_id = "revoke_token", tag = "access", params(("id" = Uuid, Path)), responses((status = 204)))]
pub async fn revoke(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    tokens::revoke(&mut changes, id, api.now()).await?;
    changes.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

/// A token that was just made, and what is kept of it.
pub(in crate::daemon) struct Made {
    /// The token, which is nowhere else.
    pub(in crate::daemon) token: String,
    /// What is kept of it.
    pub(in crate::daemon) row: rows::Token,
}

impl IntoResponse for Made {
    fn into_response(self) -> Response {
        let location = [(header::LOCATION, format!("/v1/tokens/{}", self.row.id))];
        let given = NewToken { token: self.token, kept: Token::of(self.row) };
        (StatusCode::CREATED, location, Json(given)).into_response()
    }
}

/// Makes a token and keeps its hash.
pub(super) async fn make(api: &Api, body: TokenBody) -> Result<Made> {
    let token = secret::new_token().map_err(|error| Problem::new(Kind::Internal, error.to_string()))?;
    let created = api.now();
    let row = rows::Token {
        id: Uuid::now_v7(),
        sha256: secret::hash(&token),
        label: body.label,
        role: body.role.into(),
        created,
        expires: UtcMicros(created.0 + i64::from(body.days) * DAY_US),
        revoked: None,
        last_used: None,
    };
    let mut changes = api.store.write().await?;
    tokens::insert(&mut changes, &row).await?;
    changes.commit().await?;
    tracing::info!(token = %row.id, role = ?row.role, "a token was given out");
    Ok(Made { token, row })
}

impl TokenBody {
    /// # Errors
    /// What of it cannot be used.
    pub(super) fn check(&self) -> Result<()> {
        Check::new()
            .name("label", &self.label, LONGEST_LABEL)
            .range("days", Some(f64::from(self.days)), 1.0..=f64::from(MOST_DAYS))
            .done()
    }
}

impl Token {
    fn of(row: rows::Token) -> Self {
        Self {
            id: row.id,
            label: row.label,
            role: row.role.into(),
            created: row.created.into(),
            expires: row.expires.into(),
            revoked: row.revoked.map(Instant::from),
            last_used: row.last_used.map(Instant::from),
        }
    }
}

impl From<rows::Role> for Role {
    fn from(role: rows::Role) -> Self {
        match role {
            rows::Role::Viewer => Self::Viewer,
            rows::Role::Coach => Self::Coach,
            rows::Role::Owner => Self::Owner,
        }
    }
}

impl From<Role> for rows::Role {
    fn from(role: Role) -> Self {
        match role {
            Role::Viewer => Self::Viewer,
            Role::Coach => Self::Coach,
            Role::Owner => Self::Owner,
        }
    }
}
