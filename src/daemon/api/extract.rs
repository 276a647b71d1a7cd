//! What enters, with problems instead of plain words where it cannot be read.

use super::problem::{Kind, Problem};
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;
use std::error::Error;
use tower_http::timeout::TimeoutError;

/// A body is not longer than this where a route says nothing else, bytes.
pub(super) const LONGEST_BODY: usize = 256 * 1024;

/// A JSON body.
pub struct Body<T>(pub T);

/// Parameters of the query.
pub struct Params<T>(pub T);

/// Parameters of the path.
pub struct Id<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Body<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let read = axum::Json::<T>::from_request(request, state).await;
        read.map(|axum::Json(body)| Self(body)).map_err(|rejection| of_json(&rejection))
    }
}

/// That a body stopped coming, if that is why it could not be read.
pub(super) fn late(error: &(dyn Error + 'static)) -> Option<Problem> {
    let mut causes = std::iter::successors(Some(error), |error| Error::source(*error));
    let is_late = causes.any(|cause| cause.is::<TimeoutError>());
    is_late.then(|| Problem::new(Kind::TooSlow, "the body stopped coming; expected the rest of it"))
}

pub(super) fn of_json(rejection: &JsonRejection) -> Problem {
    if let Some(late) = late(rejection) {
        return late;
    }
    let kind = match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => Kind::TooLarge,
        StatusCode::UNSUPPORTED_MEDIA_TYPE => Kind::UnsupportedType,
        StatusCode::UNPROCESSABLE_ENTITY => Kind::Invalid,
        _ => Kind::Malformed,
    };
    Problem::new(kind, rejection.body_text())
}

impl<S: Send + Sync, T: DeserializeOwned + Send> FromRequestParts<S> for Params<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let read = axum::extract::Query::<T>::from_request_parts(parts, state).await;
        let problem = |rejection: QueryRejection| Problem::new(Kind::Malformed, rejection.body_text());
        read.map(|axum::extract::Query(params)| Self(params)).map_err(problem)
    }
}

impl<S: Send + Sync, T: DeserializeOwned + Send> FromRequestParts<S> for Id<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let read = axum::extract::Path::<T>::from_request_parts(parts, state).await;
        // An id that is none names nothing.
        let problem = |rejection: PathRejection| Problem::new(Kind::NotFound, rejection.body_text());
        read.map(|axum::extract::Path(id)| Self(id)).map_err(problem)
    }
}
