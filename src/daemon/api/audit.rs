//! Who saw or changed what over the network.

use super::Api;
use super::extract::Params;
use super::instant::Instant;
use super::page::{self, Page};
use super::problem::Result;
use super::tokens::Role;
use crate::daemon::store::queries::audit;
use crate::daemon::store::rows::{self, AuditKey};
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Which part of the log.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct AuditParams {
    /// Only what was about this athlete.
    athlete: Option<Uuid>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// That somebody asked for something that belongs to an athlete, over the network.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct AuditEntry {
    /// Its id.
    id: Uuid,
    /// When it was answered.
    at: Instant,
    /// At which installation.
    cage: String,
    /// Whose token it was.
    token_id: Uuid,
    /// What the token was for.
    token_label: String,
    /// What it allowed.
    role: Role,
    /// From which address.
    address: String,
    /// HTTP method.
    method: String,
    /// Path, without query.
    path: String,
    /// The athlete whose data it was; null for lists of several and for what belongs to nobody yet.
    #[schema(required)]
    athlete_id: Option<Uuid>,
    /// HTTP status of the answer.
    status: u16,
}

/// Read who saw what
///
/// Newest first. What this machine itself asks for is not in it.
#[utoipa::path(get, path = "/v1/audit", operation_id = "audit", tag = "access", params(AuditParams), responses((status = 200, body = Page<AuditEntry>)))]
pub async fn list(State(api): State<Api>, Params(params): Params<AuditParams>) -> Result<Json<Page<AuditEntry>>> {
    let AuditParams { athlete, after, limit } = params;
    let slice = page::slice(after.as_deref(), limit)?;
    let rows = audit::list(&mut *api.store.read().await?, athlete, slice).await?;
    let key = |row: &rows::AuditEntry| AuditKey { at: row.at, id: row.id }.to_string();
    Ok(Json(page::page(limit, rows, key, AuditEntry::of)))
}

impl AuditEntry {
    fn of(row: rows::AuditEntry) -> Self {
        Self {
            id: row.id,
            at: row.at.into(),
            cage: row.cage,
            token_id: row.token_id,
            token_label: row.token_label,
            role: row.role.into(),
            address: row.address,
            method: row.method,
            path: row.path,
            athlete_id: row.athlete_id,
            status: row.status,
        }
    }
}
