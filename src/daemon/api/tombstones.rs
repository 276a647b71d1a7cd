//! What was erased.

use super::Api;
use super::extract::Params;
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::problem::Result;
use crate::daemon::record::erase::Removed;
use crate::daemon::store::queries::tombstones;
use crate::daemon::store::rows::Word;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

/// That something was erased, and how much; nothing of what it said.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Tombstone {
    /// The id it had.
    id: Uuid,
    /// `athlete` or `recording`.
    kind: &'static str,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    erased: Instant,
    /// Why: `request`, or `retention` where it was kept long enough.
    reason: &'static str,
    /// Rows of each table.
    rows: BTreeMap<String, i64>,
    /// Bytes by which recordings are shorter.
    bytes: u64,
    /// What each installation has done so far.
    installations: Vec<Installation>,
}

/// What an installation has erased.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Installation {
    /// Its name.
    cage: String,
    /// Whether nothing is left to be tried again.
    is_complete: bool,
    /// Events that the event stream had kept.
    events: u64,
    /// Files of recordings that are gone.
    files_removed: u64,
    /// Files of recordings that were written anew without them.
    files_rewritten: u64,
    /// Backups they are no longer in.
    backups_erased: u64,
    /// Backups that are no longer there.
    backups_gone: u64,
    /// Recordings that are still being written: done once they are finished.
    waiting: Vec<String>,
    /// What was not reached, and why: tried again.
    not_reached: Vec<String>,
    /// What may be left, and why: for a person to look at.
    left: Vec<String>,
}

/// List what was erased
///
/// In the order in which it had been entered. On PostgreSQL the server's own log and its base backups are out of this
/// service's reach.
#[utoipa::path(
    get, path = "/v1/tombstones", operation_id = "tombstones", tag = "athletes", params(PageParams),
    responses((status = 200, body = Page<Tombstone>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<PageParams>) -> Result<Json<Page<Tombstone>>> {
    let rows = tombstones::list(&mut *api.store.read().await?, params.slice()?).await?;
    Ok(Json(params.page(rows, |row| row.id.to_string(), |row| Tombstone::of(&row))))
}

impl Tombstone {
    /// As it leaves.
    pub fn of(row: &tombstones::Tombstone) -> Self {
        let removed = Removed::of(row);
        let in_files: u64 = removed.cages.values().map(|here| here.bytes).sum();
        let installation = |(cage, here): (String, crate::daemon::record::erase::AtCage)| Installation {
            cage,
            is_complete: here.is_done,
            events: here.events,
            files_removed: here.files_removed,
            files_rewritten: here.files_rewritten,
            backups_erased: here.backups_erased,
            backups_gone: here.backups_gone,
            waiting: here.waiting,
            not_reached: here.not_reached,
            left: here.left,
        };
        Self {
            id: row.id,
            kind: row.kind.word(),
            erased: row.erased.into(),
            reason: row.reason.word(),
            rows: removed.rows,
            bytes: removed.bytes + in_files,
            installations: removed.cages.into_iter().map(installation).collect(),
        }
    }
}
