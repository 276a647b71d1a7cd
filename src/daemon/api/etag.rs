//! Versions of what can be edited, as entity tags (RFC 9110, 8.8.3 and 13.1.1).

use super::problem::{Kind, Problem};
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Response};

/// The header of a version.
pub fn etag(version: i64) -> (HeaderName, HeaderValue) {
    let value = HeaderValue::from_str(&format!("\"{version}\"")).unwrap_or(HeaderValue::from_static("\"\""));
    (header::ETAG, value)
}

/// JSON with the version it has.
pub struct Versioned<T>(pub i64, pub T);

impl<T: serde::Serialize> IntoResponse for Versioned<T> {
    fn into_response(self) -> Response {
        ([etag(self.0)], axum::Json(self.1)).into_response()
    }
}

/// The version that an edit was made from: the value of `If-Match`.
pub struct IfMatch(pub i64);

impl<S: Send + Sync> FromRequestParts<S> for IfMatch {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        let Some(value) = parts.headers.get(header::IF_MATCH) else {
            let words = "expected If-Match with the ETag of what was edited";
            return Err(Problem::new(Kind::VersionRequired, words));
        };
        let tag = value.to_str().ok().map(str::trim).and_then(|tag| tag.strip_prefix('"')?.strip_suffix('"'));
        let Some(tag) = tag else {
            return Err(Problem::new(Kind::Malformed, "If-Match holds no strong entity tag; expected one in quotes"));
        };
        // A tag that this service never gave is of no version there is.
        tag.parse().map(Self).map_err(|_| Problem::new(Kind::Changed, "If-Match names no version of it"))
    }
}
