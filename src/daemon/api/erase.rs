//! Erasing an athlete.

use super::Api;
use super::extract::{Id, Params};
use super::problem::{Kind, Problem, Result};
use super::tombstones::Tombstone;
use crate::daemon::record::erase::{EraseError, Eraser};
use crate::daemon::record::steps::Steps;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::erase as queries;
use crate::daemon::store::queries::tombstones::{self, Reason};
use axum::Json;
use axum::extract::State;
use serde::Deserialize;
use std::sync::Arc;
use utoipa::IntoParams;
use uuid::Uuid;

/// That it is meant.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct Confirm {
    /// The athlete's nickname, so that nobody is erased by a slip.
    confirm: String,
}

/// Erase an athlete
///
/// Removes the athlete, consents, homework, lessons, rounds, swings, analyses, curves and ball results; their stretches of the
/// recordings of this installation; what the event stream has kept of them; and the same from every backup it knows of
/// that can be reached. What is left is a tombstone, which is the answer. Other installations that share the store erase
/// theirs within minutes, or when they are started next.
///
/// It is refused while the athlete is at a plate. What cannot be reached now is named, and tried again. If the connection
/// breaks, it is done all the same.
#[utoipa::path(
    delete, path = "/v1/athletes/{id}", tag = "athletes", params(("id" = Uuid, Path), Confirm),
    responses((status = 200, body = Tombstone))
)]
pub async fn erase(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(Confirm { confirm }): Params<Confirm>,
) -> Result<Json<Tombstone>> {
    let mut read = api.store.read().await?;
    let Some((nickname, _)) = queries::nickname(&mut read, id).await? else {
        let erased = tombstones::find(&mut read, id).await?;
        return Err(erased.map_or_else(
            || StoreError::NoSuch { kind: "athlete", id: id.to_string() }.into(),
            |_| Problem::new(Kind::NotFound, format!("the athlete {id} was erased; /v1/tombstones says what of")),
        ));
    };
    drop(read);
    if confirm != nickname {
        return Err(Problem::new(Kind::Conflict, "`confirm` is not the athlete's nickname; nothing was erased"));
    }
    let eraser = Eraser {
        store: api.store.clone(),
        data_folder: api.data_folder.clone(),
        cage: api.cage.clone(),
        hub: Some(Arc::clone(&api.hub)),
        plate: Some(Arc::clone(&api.plate)),
        steps: Arc::new(Steps::all()),
    };
    let now = api.now();
    // A task of its own goes on when nobody waits for the answer any more.
    let erasing = tokio::spawn(async move { eraser.erase(id, Reason::Request, now).await });
    let erased = erasing.await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))??;
    Ok(Json(Tombstone::of(&erased)))
}

impl From<EraseError> for Problem {
    fn from(error: EraseError) -> Self {
        match error {
            EraseError::Store(error) => error.into(),
            EraseError::AtThePlate { .. } => Self::new(Kind::Conflict, error.to_string()),
            EraseError::File { .. } => {
                tracing::error!(%error, "not all of an athlete is erased yet");
                let words = "the athlete's rows are erased or untouched; files that could not be reached are tried again \
                             within minutes, and /v1/tombstones says how far that has come";
                Self::new(Kind::Unavailable, words)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each};
    use crate::daemon::store::queries::athletes;
    use crate::daemon::store::rows::{Athlete, Bats, UtcMicros};
    use axum::body::Body;
    use axum::http::Request;
    use uuid::Uuid;

    async fn wren(api: &TestApi) -> Uuid {
        let athlete = Athlete {
            id: Uuid::now_v7(),
            nickname: "Wren & Söhne".into(),
            birth_year: None,
            bats: Bats::Unknown,
            height_m: None,
            note: String::new(),
            created: UtcMicros(5),
            version: 1,
        };
        let mut changes = api.api.store.write().await.unwrap();
        athletes::insert(&mut changes, &athlete).await.unwrap();
        changes.commit().await.unwrap();
        athlete.id
    }

    #[test]
    fn an_athlete_is_erased_only_where_it_is_meant() {
        on_each(async |api: TestApi| {
            let id = wren(&api).await;
            let erase = async |query: &str| {
                api.send(Request::delete(format!("/v1/athletes/{id}{query}")).body(Body::empty()).unwrap()).await
            };
            assert_eq!(erase("").await.status, 400);
            let other = erase("?confirm=Tern").await;
            assert_eq!((other.status, other.json["type"].as_str()), (409, Some("/v1/problems/conflict")));
            let archive = api.get(&format!("/v1/athletes/{id}/archive")).await;
            assert_eq!((archive.status, archive.header("content-type")), (200, Some("application/zip")));
            assert!(archive.bytes.starts_with(b"PK\x03\x04"));

            let erased = erase("?confirm=Wren%20%26%20S%C3%B6hne").await;
            assert_eq!(erased.status, 200, "{:?}", erased.json);
            assert_eq!((&erased.json["rows"]["athletes"], &erased.json["kind"]), (&1.into(), &"athlete".into()));
            assert_eq!(erased.json["installations"][0]["is_complete"], true);
            let listed = api.get("/v1/tombstones").await;
            assert_eq!(listed.json["items"][0], erased.json);
            let again = erase("?confirm=Wren%20%26%20S%C3%B6hne").await;
            assert_eq!(again.status, 404);
            assert!(again.json["detail"].as_str().unwrap().contains("/v1/tombstones"));
            assert_eq!(api.get(&format!("/v1/athletes/{id}/archive")).await.status, 404);
        });
    }
}
