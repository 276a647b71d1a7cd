//! Who allowed what for an athlete. A consent is not removed: withdrawing it is a date.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::patch::Patch;
use super::problem::Result;
use super::words::{Relation, Scope};
use crate::daemon::store::queries::{athletes, consents};
use crate::daemon::store::rows::{self, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What is written down of a consent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ConsentBody {
    /// The name of whoever gave it.
    #[schema(min_length = 1, max_length = 100)]
    given_by: String,
    /// What they are to the athlete.
    relation: Relation,
    /// What it is for.
    #[schema(min_items = 1, max_items = 4)]
    scope: Vec<Scope>,
    /// When it was given.
    given: Instant,
    /// Until when it holds; where nothing is said, until it is withdrawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    expires: Option<Instant>,
    /// When it was withdrawn. Once it is said it can be corrected, not taken back: a new consent is a new one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    withdrawn: Option<Instant>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to a consent.
pub type ConsentPatch = Patch<ConsentBody>;

/// A consent as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Consent {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// For whom.
    athlete_id: Uuid,
    /// How it stands now.
    state: ConsentState,
    /// What is written down.
    #[serde(flatten)]
    body: ConsentBody,
}

/// How consent stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ConsentState {
    /// It holds.
    InForce,
    /// Its time is over.
    Expired,
    /// It was withdrawn.
    Withdrawn,
    /// None was given so far.
    None,
}

/// List an athlete's consents
///
/// All that were ever given, in the order in which they were entered.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/consents", tag = "consents", params(("id" = Uuid, Path), PageParams),
    responses((status = 200, body = Page<Consent>))
)]
pub async fn list(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(params): Params<PageParams>,
) -> Result<Json<Page<Consent>>> {
    let mut reading = api.store.read().await?;
    athletes::get(&mut reading, id).await?;
    let rows = consents::list(&mut reading, id, params.slice()?).await?;
    let now = api.now();
    Ok(Json(params.page(rows, |row| row.id.to_string(), |row| Consent::of(&row, now))))
}

/// Enter a consent
#[utoipa::path(
    post, path = "/v1/athletes/{id}/consents", tag = "consents", params(("id" = Uuid, Path)),
    request_body = ConsentBody, responses((status = 201, body = Consent))
)]
pub async fn create(
    State(api): State<Api>,
    Id(athlete_id): Id<Uuid>,
    creation: Creation,
    Body(body): Body<ConsentBody>,
) -> Result<Response> {
    let row = body.row(Uuid::now_v7(), athlete_id, 1)?;
    let mut changes = api.store.write().await?;
    athletes::get(&mut changes, athlete_id).await?;
    consents::insert(&mut changes, &row).await?;
    let location = format!("/v1/consents/{}", row.id);
    creation.finish(&api, changes, location, 1, &Consent::of(&row, api.now())).await
}

/// Read a consent
#[utoipa::path(
    get, path = "/v1/consents/{id}", tag = "consents", params(("id" = Uuid, Path)),
    responses((status = 200, body = Consent))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Consent>> {
    let row = consents::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Consent::of(&row, api.now())))
}

/// Edit or withdraw a consent
///
/// To withdraw it, say `withdrawn`.
#[utoipa::path(
    patch, path = "/v1/consents/{id}", tag = "consents", params(("id" = Uuid, Path)),
    request_body(content = ConsentPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Consent))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: ConsentPatch,
) -> Result<Versioned<Consent>> {
    let mut changes = api.store.write().await?;
    let before = consents::get(&mut changes, id).await?;
    let row = patch.apply(&ConsentBody::of(&before))?.row(id, before.athlete_id, version)?;
    let is_taken_back = before.version == version && before.withdrawn.is_some() && row.withdrawn.is_none();
    let words = "was said; expected another date, or a new consent";
    Check::new().that(!is_taken_back, "withdrawn", words).done()?;
    consents::update(&mut changes, &row).await?;
    changes.commit().await?;
    let row = rows::Consent { version: version + 1, ..row };
    Ok(Versioned(row.version, Consent::of(&row, api.now())))
}

/// How an athlete's consents stand at an instant, and what is allowed then: what those in force are for. Where none is, how
/// the one ended that held longest.
pub fn standing(consents: &[rows::Consent], now: UtcMicros) -> (ConsentState, Vec<Scope>) {
    let in_force = |consent: &&rows::Consent| state(consent, now) == ConsentState::InForce;
    let mut scope: Vec<_> = consents.iter().filter(in_force).flat_map(|consent| &consent.scope).copied().collect();
    if !scope.is_empty() {
        scope.sort_unstable();
        scope.dedup();
        return (ConsentState::InForce, scope.into_iter().map(Scope::from).collect());
    }
    let given = consents.iter().filter(|consent| consent.given <= now);
    let last = given.max_by_key(|consent| end(consent));
    (last.map_or(ConsentState::None, |consent| state(consent, now)), Vec::new())
}

/// How one of them stands at an instant.
pub fn state(consent: &rows::Consent, now: UtcMicros) -> ConsentState {
    if consent.given > now {
        return ConsentState::None;
    }
    match end(consent) {
        Some(end) if end <= now && consent.withdrawn == Some(end) => ConsentState::Withdrawn,
        Some(end) if end <= now => ConsentState::Expired,
        _ => ConsentState::InForce,
    }
}

/// When it ceases to hold: the earlier of the two.
fn end(consent: &rows::Consent) -> Option<UtcMicros> {
    [consent.expires, consent.withdrawn].into_iter().flatten().min()
}

impl Consent {
    fn of(row: &rows::Consent, now: UtcMicros) -> Self {
        Self {
            id: row.id,
            version: row.version,
            athlete_id: row.athlete_id,
            state: state(row, now),
            body: ConsentBody::of(row),
        }
    }
}

impl ConsentBody {
    fn of(row: &rows::Consent) -> Self {
        Self {
            given_by: row.given_by.clone(),
            relation: row.relation.into(),
            scope: row.scope.iter().copied().map(Scope::from).collect(),
            given: row.given.into(),
            expires: row.expires.map(Instant::from),
            withdrawn: row.withdrawn.map(Instant::from),
            note: row.note.clone(),
        }
    }

    fn row(self, id: Uuid, athlete_id: Uuid, version: i64) -> Result<rows::Consent> {
        let is_later = |at: Option<Instant>| at.is_none_or(|at| at >= self.given);
        Check::new()
            .name("given_by", &self.given_by, 100)
            .that((1..=4).contains(&self.scope.len()), "scope", "expected one to four words")
            .that(is_later(self.expires), "expires", "lies before `given`; expected a later instant")
            .that(is_later(self.withdrawn), "withdrawn", "lies before `given`; expected a later instant")
            .text("note", &self.note, 2000)
            .done()?;
        let mut scope: Vec<rows::Scope> = self.scope.into_iter().map(rows::Scope::from).collect();
        scope.sort_unstable();
        scope.dedup();
        Ok(rows::Consent {
            id,
            athlete_id,
            given_by: self.given_by,
            relation: self.relation.into(),
            scope,
            given: self.given.into(),
            expires: self.expires.map(UtcMicros::from),
            withdrawn: self.withdrawn.map(UtcMicros::from),
            note: self.note,
            version,
        })
    }
}

#[cfg(test)]
mod tests;
