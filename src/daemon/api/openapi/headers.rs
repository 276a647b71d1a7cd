//! The headers that answers have: made where all handlers' answers are, so said here for all of them.

use utoipa::openapi::header::{Header, HeaderBuilder};
use utoipa::openapi::path::Operation;
use utoipa::openapi::schema::{ObjectBuilder, Schema, Type};
use utoipa::openapi::{Components, OpenApi, RefOr, Response};

/// Its version is in the ETag alone.
const PLATE: &str = "AtThePlate";
/// It is shown once, and lies nowhere.
const PAIRING: &str = "Pairing";
/// Holds what was made, whose version is the ETag, and what is in it.
const IMPORTED: &str = "Imported";

/// To be called when all schemas have their last shape.
pub(super) fn declare(document: &mut OpenApi) {
    let Some(components) = &document.components else { return };
    for item in document.paths.paths.values_mut() {
        let all = [&mut item.get, &mut item.put, &mut item.post, &mut item.patch, &mut item.delete];
        all.into_iter().flatten().for_each(|operation| of_operation(components, operation));
    }
}

fn of_operation(components: &Components, operation: &mut Operation) {
    for (status, response) in &mut operation.responses.responses {
        let RefOr::T(response) = response else { continue };
        let answer = schema_name(response).unwrap_or_default().to_owned();
        let mut add = |name: &str, header| response.headers.insert(name.to_owned(), RefOr::T(header));
        if status == "201" && answer != PAIRING {
            add("Location", text("Where it is from now on.", "^/v1/"));
        }
        if matches!(status.as_str(), "200" | "201") && is_versioned(components, &answer) {
            add("ETag", text("The version of what is answered; goes into If-Match.", "^\"[0-9]{1,18}\"$"));
        }
        if status == "default" {
            let seconds = ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(1));
            let words = "With 429: another try may have more luck after so many seconds.";
            add("Retry-After", HeaderBuilder::new().schema(Some(seconds)).description(Some(words)).build());
        }
    }
}

/// What can be edited, and what is made, says its version in itself; lists and all else do not.
fn is_versioned(components: &Components, answer: &str) -> bool {
    let has_version = match components.schemas.get(answer) {
        Some(RefOr::T(Schema::Object(object))) => object.properties.contains_key("version"),
        _ => false,
    };
    has_version || [PLATE, IMPORTED].contains(&answer)
}

fn schema_name(response: &Response) -> Option<&str> {
    let RefOr::T(content) = response.content.get("application/json")? else { return None };
    match content.schema.as_ref()? {
        RefOr::Ref(reference) => reference.ref_location.rsplit('/').next(),
        RefOr::T(_) => None,
    }
}

fn text(words: &str, pattern: &str) -> Header {
    let schema = ObjectBuilder::new().schema_type(Type::String).pattern(Some(pattern));
    HeaderBuilder::new().schema(Some(schema)).description(Some(words)).build()
}

#[cfg(test)]
mod tests {
    use super::super::document;
    use crate::daemon::api::test_api::{TestApi, athlete, on_each};
    use serde_json::{Value, json, to_value};

    /// The names of the headers that are said of an answer.
    fn said(document: &Value, path: &str, method: &str, status: &str) -> Vec<String> {
        let headers = document["paths"][path][method]["responses"][status]["headers"].as_object();
        headers.into_iter().flatten().map(|(name, _)| name.clone()).collect()
    }

    #[test]
    fn every_versioned_answer_and_every_place_is_said() {
        let document = to_value(document()).unwrap();
        for path in [
            "/v1/aims/{id}",
            "/v1/athletes/{id}",
            "/v1/ball-results/{id}",
            "/v1/bats/{id}",
            "/v1/amounts",
            "/v1/consents/{id}",
            "/v1/homework/{id}",
            "/v1/lessons/{id}",
            "/v1/mounts/{id}",
            "/v1/rounds/{id}",
            "/v1/sensors/{id}",
            "/v1/swings/{id}",
        ] {
            for method in ["get", "patch"] {
                assert_eq!(said(&document, path, method, "200"), ["ETag"], "{method} {path}");
            }
        }
        assert_eq!(said(&document, "/v1/recordings/{id}", "get", "200"), ["ETag"]);
        assert_eq!(said(&document, "/v1/at-the-plate", "put", "200"), ["ETag"]);
        for path in ["/v1/bats", "/v1/ball-results", "/v1/recordings"] {
            assert_eq!(said(&document, path, "post", "201"), ["ETag", "Location"], "{path}");
        }
        for path in ["/v1/tokens", "/v1/pairings/redeem"] {
            assert_eq!(said(&document, path, "post", "201"), ["Location"], "{path}");
        }
        for (path, method) in [("/v1/pairings", "post"), ("/v1/swings", "get"), ("/v1/swings/moves", "post")] {
            let status = if path == "/v1/pairings" { "201" } else { "200" };
            assert!(said(&document, path, method, status).is_empty(), "{path}");
        }
        assert_eq!(said(&document, "/v1/bats", "get", "default"), ["Retry-After"]);
    }

    #[test]
    fn what_is_said_is_there() {
        on_each(async |api: TestApi| {
            let wren = athlete(&api, "Wren").await;
            for path in ["/v1/at-the-plate".to_owned(), format!("/v1/athletes/{wren}")] {
                assert!(api.get(&path).await.header("etag").is_some(), "{path}");
            }
            let made = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat"})).await;
            assert!(made.header("etag").is_some() && made.header("location").is_some());
        });
    }
}
