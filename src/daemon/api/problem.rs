//! What goes wrong, as problem details (RFC 9457): a stable type a kind, words for people, and where in the request it was.

use crate::daemon::store::StoreError;
use axum::http::{HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

/// Where nothing more exact is known, whoever asked too much may ask again after this, s: a short recording is measured by
/// then.
const RETRY_AFTER_S: &str = "5";

/// The kinds of problems. Their words are part of the API: none is ever changed or given another meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// There is nothing under this path or id.
    NotFound,
    /// The path exists, but not with this method.
    MethodNotAllowed,
    /// The request cannot be read: syntax, encoding, a parameter.
    Malformed,
    /// It can be read, but a value in it cannot be.
    Invalid,
    /// It was changed by somebody else meanwhile.
    Changed,
    /// An edit has to say which version it was made from.
    VersionRequired,
    /// It contradicts what is there.
    Conflict,
    /// The key was used for another request.
    KeyReused,
    /// The body is too long.
    TooLarge,
    /// The body is not of a type that is taken.
    UnsupportedType,
    /// The host is not one that this service answers to.
    WrongHost,
    /// It came from a page of another origin.
    WrongOrigin,
    /// Who asks is not known.
    Unauthorized,
    /// Who asks may not.
    Forbidden,
    /// The pairing code is wrong, or none is shown.
    WrongCode,
    /// Too much was asked in too short a time.
    TooMany,
    /// The request took too long to arrive.
    TooSlow,
    /// There is no room on the disk.
    DiskFull,
    /// The store cannot be used now.
    Unavailable,
    /// A defect of this program.
    Internal,
}

impl Kind {
    /// Word, status, title.
    const fn facts(self) -> (&'static str, StatusCode, &'static str) {
        match self {
            Self::NotFound => ("not-found", StatusCode::NOT_FOUND, "There is no such thing"),
            Self::MethodNotAllowed => {
                ("method-not-allowed", StatusCode::METHOD_NOT_ALLOWED, "This cannot be done with it")
            }
            Self::Malformed => ("malformed", StatusCode::BAD_REQUEST, "The request cannot be read"),
            Self::Invalid => ("invalid", StatusCode::UNPROCESSABLE_ENTITY, "A value cannot be used"),
            Self::Changed => ("changed", StatusCode::PRECONDITION_FAILED, "It was changed meanwhile"),
            Self::VersionRequired => {
                ("version-required", StatusCode::PRECONDITION_REQUIRED, "The version that was edited is not named")
            }
            Self::Conflict => ("conflict", StatusCode::CONFLICT, "It contradicts what is there"),
            Self::KeyReused => ("key-reused", StatusCode::UNPROCESSABLE_ENTITY, "The key was used for another request"),
            Self::TooLarge => ("too-large", StatusCode::PAYLOAD_TOO_LARGE, "The body is too long"),
            Self::UnsupportedType => {
                ("unsupported-type", StatusCode::UNSUPPORTED_MEDIA_TYPE, "The body is of another type than is taken")
            }
            Self::WrongHost => ("wrong-host", StatusCode::MISDIRECTED_REQUEST, "This service has another name"),
            Self::WrongOrigin => ("wrong-origin", StatusCode::FORBIDDEN, "Pages from elsewhere may not ask this"),
            Self::Unauthorized => ("unauthorized", StatusCode::UNAUTHORIZED, "A token is needed"),
            Self::Forbidden => ("forbidden", StatusCode::FORBIDDEN, "This token may not do that"),
            Self::WrongCode => ("wrong-code", StatusCode::FORBIDDEN, "The pairing code is not valid"),
            Self::TooMany => ("too-many", StatusCode::TOO_MANY_REQUESTS, "Too much in too short a time"),
            Self::TooSlow => ("too-slow", StatusCode::REQUEST_TIMEOUT, "The request took too long"),
            Self::DiskFull => ("disk-full", StatusCode::INSUFFICIENT_STORAGE, "There is no room on the disk"),
            Self::Unavailable => ("unavailable", StatusCode::SERVICE_UNAVAILABLE, "The store cannot be used now"),
            Self::Internal => ("internal", StatusCode::INTERNAL_SERVER_ERROR, "The service failed"),
        }
    }
}

/// A problem on its way out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Of which kind.
    pub kind: Kind,
    /// What was found and what was expected, in this case.
    pub detail: String,
    /// Where in the body.
    pub errors: Vec<Place>,
}

/// A place in a body that cannot be used, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Place {
    /// JSON Pointer (RFC 6901).
    #[schema(examples("/length_m"))]
    pub pointer: String,
    /// What was found and what is expected.
    pub detail: String,
}

/// Problem details (RFC 9457).
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct ProblemBody {
    /// Which kind of problem; stable.
    #[schema(examples("/v1/problems/not-found"))]
    pub r#type: String,
    /// The kind in words.
    pub title: &'static str,
    /// The HTTP status.
    pub status: u16,
    /// This case in words.
    pub detail: String,
    /// Values of the body that cannot be used.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<Place>,
}

/// What handlers return.
pub type Result<T> = std::result::Result<T, Problem>;

impl Problem {
    /// Of a kind, with what was found and expected.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Self { kind, detail: detail.into(), errors: Vec::new() }
    }

    /// Values that cannot be used.
    pub fn invalid(errors: Vec<Place>) -> Self {
        let words: Vec<_> = errors.iter().map(|place| format!("{}: {}", place.pointer, place.detail)).collect();
        Self { kind: Kind::Invalid, detail: words.join("; "), errors }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let (word, status, title) = self.kind.facts();
        let body = ProblemBody {
            r#type: format!("/v1/problems/{word}"),
            title,
            status: status.as_u16(),
            detail: self.detail,
            errors: self.errors,
        };
        let mut response = (status, axum::Json(body)).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if status == StatusCode::TOO_MANY_REQUESTS {
            headers.insert(header::RETRY_AFTER, HeaderValue::from_static(RETRY_AFTER_S));
        }
        response
    }
}

/// The outward words are not always the inward cause: what only the log should say stays there.
impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        let detail = error.to_string();
        match error {
            StoreError::NoSuch { .. } => Self::new(Kind::NotFound, detail),
            StoreError::Stale { .. } => Self::new(Kind::Changed, detail),
            StoreError::Refused(_) => Self::new(Kind::Conflict, detail),
            StoreError::Full => {
                tracing::error!(error = detail, "a change could not be stored");
                Self::new(Kind::DiskFull, "nothing was changed; make room on the disk and try again")
            }
            StoreError::Unavailable(_) | StoreError::CannotOpen { .. } => {
                tracing::error!(error = detail, "the store cannot be used");
                Self::new(Kind::Unavailable, "nothing was changed; try again, and see the log if it stays so")
            }
            StoreError::Foreign { .. } | StoreError::Schema(_) | StoreError::Strange(_) | StoreError::Other(_) => {
                tracing::error!(error = detail, "the store failed");
                Self::new(Kind::Internal, "nothing was changed; the log says more")
            }
        }
    }
}

/// For paths that are not there.
pub(super) async fn no_such_path(uri: Uri) -> Problem {
    Problem::new(Kind::NotFound, format!("there is nothing under {}; /v1/openapi.json says what there is", uri.path()))
}

/// For methods that a path has not.
pub(super) async fn no_such_method(method: Method, uri: Uri) -> Problem {
    Problem::new(
        Kind::MethodNotAllowed,
        format!("{method} cannot be done with {}; the header Allow says what can", uri.path()),
    )
}
