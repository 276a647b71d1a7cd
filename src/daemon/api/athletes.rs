//! Whoever swings. Removing an athlete is erasing, which reaches further than a row.

use super::Api;
use super::check::Check;
use super::consents::{ConsentState, standing};
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::page::{self, Page};
use super::patch::Patch;
use super::problem::Result;
use super::words::{Bats, Scope};
use crate::daemon::store::queries::{athletes, consents};
use crate::daemon::store::rows::{self, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::response::Response;
use jiff::{Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Of age in most places, years.
const OF_AGE: i64 = 18;
/// Nobody who swings was born earlier.
const FIRST_YEAR: i64 = 1900;
/// No year of birth is later, whatever the clock says.
const LAST_YEAR: i64 = 2100;

/// What can be said of an athlete. A nickname is enough; there is no place for a date of birth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AthleteBody {
    /// A name of their choice.
    #[schema(min_length = 1, max_length = 100)]
    nickname: String,
    /// Year of birth, the present one at most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1900, maximum = 2100)]
    birth_year: Option<i64>,
    /// From where they bat.
    #[serde(default = "unknown")]
    bats: Bats,
    /// Height, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.5, maximum = 2.5)]
    height_m: Option<f64>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

fn unknown() -> Bats {
    Bats::Unknown
}

/// Changes to an athlete.
pub type AthletePatch = Patch<AthleteBody>;

/// An athlete as they are stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Athlete {
    /// Their id.
    id: Uuid,
    /// Counts their changes; the ETag.
    version: i64,
    /// Whether they may be under 18: true up to the end of the year in which they turn 18. Null where the year of birth is
    /// not known.
    #[schema(required)]
    is_minor: Option<bool>,
    /// How consent stands now.
    consent: ConsentState,
    /// What is allowed now.
    consent_scope: Vec<Scope>,
    /// What was said of them.
    #[serde(flatten)]
    body: AthleteBody,
}

/// Which athletes.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct AthleteParams {
    /// Only who have exactly this one.
    #[param(max_length = 100)]
    nickname: Option<String>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// List athletes
///
/// In the order in which they were entered.
#[utoipa::path(
    get, path = "/v1/athletes", tag = "athletes", params(AthleteParams),
    responses((status = 200, body = Page<Athlete>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<AthleteParams>) -> Result<Json<Page<Athlete>>> {
    let mut reading = api.store.read().await?;
    let slice = page::slice(params.after.as_deref(), params.limit)?;
    // Nobody can have another, and PostgreSQL takes no NUL.
    Check::new().text("nickname", params.nickname.as_deref().unwrap_or_default(), 100).done()?;
    let rows = athletes::list(&mut reading, params.nickname.as_deref(), slice).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut consents: BTreeMap<Uuid, Vec<rows::Consent>> = BTreeMap::new();
    for consent in consents::of_athletes(&mut reading, &ids).await? {
        consents.entry(consent.athlete_id).or_default().push(consent);
    }
    let (now, none) = (api.now(), Vec::new());
    let item = |row: rows::Athlete| Athlete::of(&row, consents.get(&row.id).unwrap_or(&none), now);
    Ok(Json(page::page(params.limit, rows, |row| row.id.to_string(), item)))
}

/// Enter an athlete
#[utoipa::path(
    post, path = "/v1/athletes", tag = "athletes", request_body = AthleteBody,
    responses((status = 201, body = Athlete))
)]
pub async fn create(State(api): State<Api>, creation: Creation, Body(body): Body<AthleteBody>) -> Result<Response> {
    let now = api.now();
    let row = body.row(Uuid::now_v7(), now, 1, now)?;
    let mut changes = api.store.write().await?;
    athletes::insert(&mut changes, &row).await?;
    let location = format!("/v1/athletes/{}", row.id);
    creation.finish(&api, changes, location, 1, &Athlete::of(&row, &[], now)).await
}

/// Read an athlete
#[utoipa::path(
    get, path = "/v1/athletes/{id}", tag = "athletes", params(("id" = Uuid, Path)),
    responses((status = 200, body = Athlete))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Athlete>> {
    let mut reading = api.store.read().await?;
    let row = athletes::get(&mut reading, id).await?;
    let consents = consents::of_athletes(&mut reading, &[id]).await?;
    Ok(Versioned(row.version, Athlete::of(&row, &consents, api.now())))
}

/// Edit an athlete
#[utoipa::path(
    patch, path = "/v1/athletes/{id}", tag = "athletes", params(("id" = Uuid, Path)),
    request_body(content = AthletePatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Athlete))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: AthletePatch,
) -> Result<Versioned<Athlete>> {
    let now = api.now();
    let mut changes = api.store.write().await?;
    let before = athletes::get(&mut changes, id).await?;
    let row = patch.apply(&AthleteBody::of(&before))?.row(id, before.created, version, now)?;
    athletes::update(&mut changes, &row).await?;
    let consents = consents::of_athletes(&mut changes, &[id]).await?;
    changes.commit().await?;
    let row = rows::Athlete { version: version + 1, ..row };
    Ok(Versioned(row.version, Athlete::of(&row, &consents, now)))
}

/// Whether somebody born in a year may be under age in another.
fn may_be_minor(birth_year: i64, year: i64) -> bool {
    year - birth_year <= OF_AGE
}

/// The year of an instant, UTC.
fn year(at: UtcMicros) -> i64 {
    let at = Timestamp::from_microsecond(at.0).unwrap_or(Timestamp::UNIX_EPOCH);
    i64::from(TimeZone::UTC.to_datetime(at).year())
}

impl Athlete {
    fn of(row: &rows::Athlete, consents: &[rows::Consent], now: UtcMicros) -> Self {
        let (consent, consent_scope) = standing(consents, now);
        Self {
            id: row.id,
            version: row.version,
            is_minor: row.birth_year.map(|birth_year| may_be_minor(birth_year, year(now))),
            consent,
            consent_scope,
            body: AthleteBody::of(row),
        }
    }
}

impl AthleteBody {
    fn of(row: &rows::Athlete) -> Self {
        Self {
            nickname: row.nickname.clone(),
            birth_year: row.birth_year,
            bats: row.bats.into(),
            height_m: row.height_m,
            note: row.note.clone(),
        }
    }

    fn row(self, id: Uuid, created: UtcMicros, version: i64, now: UtcMicros) -> Result<rows::Athlete> {
        let is_possible =
            self.birth_year.is_none_or(|birth_year| (FIRST_YEAR..=year(now).min(LAST_YEAR)).contains(&birth_year));
        Check::new()
            .name("nickname", &self.nickname, 100)
            .that(is_possible, "birth_year", "expected a year from 1900 to the present one")
            .range("height_m", self.height_m, 0.5..=2.5)
            .text("note", &self.note, 2000)
            .done()?;
        Ok(rows::Athlete {
            id,
            nickname: self.nickname,
            birth_year: self.birth_year,
            bats: self.bats.into(),
            height_m: self.height_m,
            note: self.note,
            created,
            version,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, athlete, on_each, pages, set_clock};
    use serde_json::json;

    /// 2026-11-25.
    const NOW_US: i64 = 1_795_564_800_000_000;

    #[test]
    fn an_athlete_is_entered_read_and_edited_and_of_two_edits_the_later_is_told() {
        on_each(async |api: TestApi| {
            let (api, _) = set_clock(api, NOW_US);
            let body = json!({"nickname": "Wren", "birth_year": 2008, "bats": "both", "height_m": 1.6});
            let made = api.post("/v1/athletes", body).await;
            assert_eq!((made.status, made.header("etag")), (201, Some("\"1\"")));
            assert_eq!((&made.json["is_minor"], &made.json["bats"]), (&json!(true), &json!("both")));
            let path = made.header("location").unwrap();
            assert_eq!(api.get(path).await.json, made.json);
            let older = api.patch(path, "\"1\"", json!({"birth_year": 2007, "height_m": null})).await;
            assert_eq!((older.status, &older.json["is_minor"]), (200, &json!(false)));
            let late = api.patch(path, "\"1\"", json!({"note": "left knee"})).await;
            assert_eq!((late.status, &late.json["type"]), (412, &json!("/v1/problems/changed")));
            let read = api.get(path).await;
            assert_eq!((&read.json, read.header("etag")), (&older.json, Some("\"2\"")));
            assert_eq!((read.json.get("height_m"), &read.json["nickname"]), (None, &json!("Wren")));
            assert_eq!(api.patch(path, "\"2\"", json!({"birth_year": null})).await.json["is_minor"], json!(null));
            assert_eq!(api.delete(path, "\"3\"").await.status, 400, "erasing has to be confirmed by name");
        });
    }

    #[test]
    fn of_edits_at_the_same_time_one_is_made_and_the_others_are_told() {
        on_each(async |api: TestApi| {
            let path = format!("/v1/athletes/{}", athlete(&api, "Wren").await);
            let edits = (0..8).map(|k| api.patch(&path, "\"1\"", json!({"note": format!("by {k}")})));
            let answers = futures::future::join_all(edits).await;
            let made: Vec<_> = answers.iter().filter(|answer| answer.status == 200).collect();
            assert_eq!((made.len(), answers.iter().filter(|answer| answer.status == 412).count()), (1, 7));
            assert_eq!(api.get(&path).await.json, made[0].json);
        });
    }

    #[test]
    fn what_cannot_be_is_refused_with_its_place() {
        on_each(async |api: TestApi| {
            let (api, _) = set_clock(api, NOW_US);
            let body = json!({"nickname": "\u{7}", "birth_year": 2027, "height_m": 0.4, "note": "é".repeat(2001)});
            let refused = api.post("/v1/athletes", body).await;
            let pointers: Vec<_> = refused.json["errors"].as_array().unwrap().iter().map(|e| &e["pointer"]).collect();
            assert_eq!(pointers, ["/nickname", "/birth_year", "/height_m", "/note"]);
            for body in [json!({}), json!({"nickname": "Wren", "birth_date": "2012-05-01"}), json!({"nickname": 3})] {
                assert_eq!(api.post("/v1/athletes", body.clone()).await.status, 422, "{body}");
            }
            assert_eq!(api.get("/v1/athletes").await.json["items"], json!([]));
        });
    }

    #[test]
    fn a_list_is_paged_and_filtered_by_nickname() {
        on_each(async |api: TestApi| {
            for nickname in ["Wren", "Tern", "Wren", "Lark", "Wren"] {
                api.post("/v1/athletes", json!({"nickname": nickname})).await;
            }
            let all = pages(&api, "/v1/athletes?limit=2").await;
            let names: Vec<_> = all.iter().map(|item| item["nickname"].as_str().unwrap()).collect();
            assert_eq!(names, ["Wren", "Tern", "Wren", "Lark", "Wren"]);
            let wrens = pages(&api, "/v1/athletes?nickname=Wren&limit=2").await;
            assert_eq!(wrens, [all[0].clone(), all[2].clone(), all[4].clone()]);
            assert_eq!(pages(&api, "/v1/athletes?nickname=").await, [] as [serde_json::Value; 0]);
            assert_eq!(api.get("/v1/athletes?name=Wren").await.status, 400);
            assert_eq!(api.get("/v1/athletes?nickname=W%00").await.status, 422);
        });
    }
}
