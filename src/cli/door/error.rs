//! Why a command did not get what it asked for.

use crate::daemon::service::StartError;
use axum::http::StatusCode;
use serde::Deserialize;
use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

/// Why a command did not get what it asked for.
#[derive(Debug, thiserror::Error)]
pub enum DoorError {
    /// The system gives no means to wait with.
    #[error("no event loop for the command: {0}")]
    NoThreads(io::Error),
    /// The data folder, its lock or the store cannot be used.
    #[error(transparent)]
    Start(#[from] StartError),
    /// Nobody serves, where only a service can do it.
    #[error("{}: no swingd runs on this data folder; expected `swingd serve`", .0.display())]
    NoService(PathBuf),
    /// The service that has the folder does not answer.
    #[error(
        "http://{address}: {cause}; expected the service that has the data folder to answer there: see whether it runs"
    )]
    Unreachable {
        /// Where it said that it listens.
        address: SocketAddr,
        /// Why.
        cause: String,
    },
    /// The connection ended before the answer did.
    #[error("the answer ended early: {0}; try again, and see the service's log if it stays so")]
    EndedEarly(String),
    /// A request cannot be made of what was given.
    #[error("{0}; expected what can be asked of the service")]
    NotPossible(String),
    /// A file cannot be read or written.
    #[error("{}: {cause}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// The API refused it.
    #[error("{0}")]
    Refused(Refusal),
    /// The answer has another form.
    #[error("the answer has another form than is known here: {0}; expected the service to be of this version")]
    NotUnderstood(serde_json::Error),
}

impl DoorError {
    pub(super) fn ended_early(error: impl fmt::Display) -> Self {
        Self::EndedEarly(error.to_string())
    }

    pub(super) fn not_possible(error: impl fmt::Display) -> Self {
        Self::NotPossible(error.to_string())
    }
}

/// What the API said when it refused: problem details (RFC 9457).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// The status.
    pub status: StatusCode,
    /// This case, in words.
    pub detail: String,
    /// Values of what was sent that cannot be used: JSON Pointer, and why.
    pub places: Vec<(String, String)>,
}

#[derive(Deserialize)]
struct ProblemBody {
    detail: Option<String>,
    title: Option<String>,
    #[serde(default)]
    errors: Vec<Place>,
}

#[derive(Deserialize)]
struct Place {
    pointer: String,
    detail: String,
}

impl Refusal {
    /// From an answer that is none of success; one without problem details is told by its status.
    pub(super) fn read(status: StatusCode, body: &[u8]) -> Self {
        let problem = serde_json::from_slice::<ProblemBody>(body).ok();
        let (words, errors) = problem.map_or((None, Vec::new()), |p| (p.detail.or(p.title), p.errors));
        let detail = words.unwrap_or_else(|| format!("the service answered {status}, without a word why"));
        Self { status, detail, places: errors.into_iter().map(|place| (place.pointer, place.detail)).collect() }
    }
}

/// The detail, and the places that it does not name already.
impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.detail)?;
        for (pointer, detail) in &self.places {
            let place = format!("{pointer}: {detail}");
            if !self.detail.contains(&place) {
                write!(f, "; {place}")?;
            }
        }
        Ok(())
    }
}
