//! What can go wrong with a store, told apart by what a caller can do.

use super::Place;
use sqlx::error::ErrorKind;
use sqlx::migrate::MigrateError;
use std::sync::atomic::{AtomicU64, Ordering};

/// Why something was not read or written. Nothing of a change that failed was made.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The store cannot be had at all.
    #[error("{place}: {cause}; expected a store that can be read and written")]
    CannotOpen {
        /// Where.
        place: String,
        /// Why.
        cause: Box<sqlx::Error>,
    },
    /// It is no store, or one of a later version. It was left as it is.
    #[error("{place}: {found}; expected a store of this version of swingd or an earlier one, or nothing")]
    Foreign {
        /// Where.
        place: String,
        /// What it is.
        found: String,
    },
    /// The schema is not one that this version can bring up to date.
    #[error("the store's schema: {0}; expected one of this version of swingd or an earlier one")]
    Schema(#[from] MigrateError),
    /// There is no such row.
    #[error("there is no {kind} {id}")]
    NoSuch {
        /// Of which kind.
        kind: &'static str,
        /// Its id.
        id: String,
    },
    /// It was changed since the version that the edit was made from.
    #[error("the {kind} was changed meanwhile: expected version {seen}, it is {now}")]
    Stale {
        /// Of which kind.
        kind: &'static str,
        /// The version that was seen.
        seen: i64,
        /// The version it has.
        now: i64,
    },
    /// It refers to something that is not there, is there already, or is out of range.
    #[error("{0}")]
    Refused(String),
    /// There is no room on the disk.
    #[error("the disk is full")]
    Full,
    /// The store is busy, or cannot be reached now.
    #[error("the store cannot be used now: {0}")]
    Unavailable(String),
    /// A row is not as this version writes it.
    #[error("the store holds what this version does not understand: {0}")]
    Strange(String),
    /// Anything else.
    #[error("the store: {0}")]
    Other(Box<sqlx::Error>),
}

/// SQLite's result codes (sqlite.org/rescode.html): the lower eight bits are the primary code.
const SQLITE_BUSY: i64 = 5;
const SQLITE_LOCKED: i64 = 6;
const SQLITE_READONLY: i64 = 8;
const SQLITE_IOERR: i64 = 10;
const SQLITE_FULL: i64 = 13;
const SQLITE_CANTOPEN: i64 = 14;

impl StoreError {
    pub(super) fn cannot_open(place: &Place, cause: sqlx::Error) -> Self {
        Self::CannotOpen { place: place.to_string(), cause: Box::new(cause) }
    }

    /// Whether the same may succeed later.
    pub fn is_passing(&self) -> bool {
        matches!(self, Self::Full | Self::Unavailable(_) | Self::CannotOpen { .. })
    }
}

/// Failures of this process's stores that nobody's request was the reason of.
static FAILURES: AtomicU64 = AtomicU64::new(0);

/// How often a store of this process has failed: full, out of reach, not understood.
pub fn failures() -> u64 {
    FAILURES.load(Ordering::Relaxed)
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        let error = told_apart(error);
        if !matches!(error, Self::Refused(_)) {
            FAILURES.fetch_add(1, Ordering::Relaxed);
        }
        error
    }
}

fn told_apart(error: sqlx::Error) -> StoreError {
    match &error {
        sqlx::Error::Database(cause) => {
            let words = cause.message().to_owned();
            match cause.kind() {
                ErrorKind::UniqueViolation => return StoreError::Refused(format!("it is there already: {words}")),
                ErrorKind::ForeignKeyViolation => {
                    return StoreError::Refused(format!("it refers to something that is not there: {words}"));
                }
                ErrorKind::NotNullViolation | ErrorKind::CheckViolation => return StoreError::Refused(words),
                _ => {}
            }
            from_code(&cause.code().unwrap_or_default(), words).unwrap_or_else(|| StoreError::Other(Box::new(error)))
        }
        sqlx::Error::PoolTimedOut | sqlx::Error::Io(_) | sqlx::Error::PoolClosed | sqlx::Error::WorkerCrashed => {
            StoreError::Unavailable(error.to_string())
        }
        sqlx::Error::ColumnDecode { .. } | sqlx::Error::Decode(_) | sqlx::Error::ColumnNotFound(_) => {
            StoreError::Strange(error.to_string())
        }
        _ => StoreError::Other(Box::new(error)),
    }
}

/// SQLite's codes are numbers of few digits, PostgreSQL's (its manual, appendix A) five letters and digits.
fn from_code(code: &str, words: String) -> Option<StoreError> {
    if code.len() == 5 {
        return match code.get(..2)? {
            "53" if code == "53100" => Some(StoreError::Full),
            "08" | "40" | "53" | "55" | "57" | "58" => Some(StoreError::Unavailable(words)),
            _ => None,
        };
    }
    match code.parse::<i64>().ok()? & 0xff {
        SQLITE_FULL => Some(StoreError::Full),
        SQLITE_BUSY | SQLITE_LOCKED | SQLITE_READONLY | SQLITE_IOERR | SQLITE_CANTOPEN => {
            Some(StoreError::Unavailable(words))
        }
        _ => None,
    }
}
