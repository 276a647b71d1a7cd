//! Edits as JSON Merge Patch (RFC 7396): what is named is changed, `null` removes, the rest stays.

use super::extract::of_json;
use super::problem::{Kind, Problem};
use axum::extract::{FromRequest, Request};
use axum::http::header;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use std::borrow::Cow;
use std::marker::PhantomData;
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// The media type of a merge patch; plain JSON is taken as well.
pub const MERGE_PATCH: &str = "application/merge-patch+json";

/// Changes to a `T`, the part of a resource that can be edited.
pub struct Patch<T> {
    changes: Map<String, Value>,
    of: PhantomData<T>,
}

impl<T> Patch<T> {
    /// Whether it says anything of a key, were it only `null`.
    pub fn names(&self, key: &str) -> bool {
        self.changes.contains_key(key)
    }
}

impl<T: Serialize + DeserializeOwned> Patch<T> {
    /// What `before` becomes.
    ///
    /// # Errors
    /// If that is no `T`.
    pub fn apply(self, before: &T) -> Result<T, Problem> {
        let internal = |error: serde_json::Error| Problem::new(Kind::Internal, error.to_string());
        let mut value = serde_json::to_value(before).map_err(internal)?;
        merge(&mut value, Value::Object(self.changes));
        serde_path_to(value)
    }
}

fn serde_path_to<T: DeserializeOwned>(value: Value) -> Result<T, Problem> {
    serde_json::from_value(value).map_err(|error| Problem::new(Kind::Invalid, error.to_string()))
}

/// RFC 7396, section 2.
fn merge(target: &mut Value, patch: Value) {
    let Value::Object(changes) = patch else {
        *target = patch;
        return;
    };
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    let Value::Object(target) = target else { return };
    for (key, change) in changes {
        if change.is_null() {
            target.remove(&key);
        } else {
            merge(target.entry(key).or_insert(Value::Null), change);
        }
    }
}

impl<S: Send + Sync, T> FromRequest<S> for Patch<T> {
    type Rejection = Problem;

    async fn from_request(mut request: Request, state: &S) -> Result<Self, Problem> {
        let is_patch =
            request.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes() == MERGE_PATCH.as_bytes());
        if is_patch {
            let json = header::HeaderValue::from_static("application/json");
            request.headers_mut().insert(header::CONTENT_TYPE, json);
        }
        let read = axum::Json::<Map<String, Value>>::from_request(request, state).await;
        read.map(|axum::Json(changes)| Self { changes, of: PhantomData }).map_err(|rejection| of_json(&rejection))
    }
}

/// The schema of `T` with nothing required.
impl<T: ToSchema> PartialSchema for Patch<T> {
    fn schema() -> RefOr<Schema> {
        match T::schema() {
            RefOr::T(Schema::Object(mut object)) => {
                object.required.clear();
                RefOr::T(Schema::Object(object))
            }
            other => other,
        }
    }
}

impl<T: ToSchema> ToSchema for Patch<T> {
    fn name() -> Cow<'static, str> {
        format!("{}Patch", T::name()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        T::schemas(schemas);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// RFC 7396, appendix A, all fifteen cases.
    #[test]
    fn rfc_7396_appendix_a() {
        let cases = [
            (json!({"a":"b"}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"b"}), json!({"b":"c"}), json!({"a":"b","b":"c"})),
            (json!({"a":"b"}), json!({"a":null}), json!({})),
            (json!({"a":"b","b":"c"}), json!({"a":null}), json!({"b":"c"})),
            (json!({"a":["b"]}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"c"}), json!({"a":["b"]}), json!({"a":["b"]})),
            (json!({"a":{"b":"c"}}), json!({"a":{"b":"d","c":null}}), json!({"a":{"b":"d"}})),
            (json!({"a":[{"b":"c"}]}), json!({"a":[1]}), json!({"a":[1]})),
            (json!(["a", "b"]), json!(["c", "d"]), json!(["c", "d"])),
            (json!({"a":"b"}), json!(["c"]), json!(["c"])),
            (json!({"a":"foo"}), json!(null), json!(null)),
            (json!({"a":"foo"}), json!("bar"), json!("bar")),
            (json!({"e":null}), json!({"a":1}), json!({"e":null,"a":1})),
            (json!([1, 2]), json!({"a":"b","c":null}), json!({"a":"b"})),
            (json!({}), json!({"a":{"bb":{"ccc":null}}}), json!({"a":{"bb":{}}})),
        ];
        for (mut target, patch, expected) in cases {
            merge(&mut target, patch);
            assert_eq!(target, expected);
        }
    }
}
