//! What a body refers to.

use super::problem::{Kind, Place, Problem, Result};
use crate::daemon::store::StoreError;

/// What was found under the id in `key` of a body. If nothing is there, it is the body that contradicts what is stored: a
/// conflict that names the key, and not that the path leads nowhere.
///
/// # Errors
/// If nothing was found, or it could not be looked for.
pub fn referred<T>(found: std::result::Result<T, StoreError>, key: &str) -> Result<T> {
    found.map_err(|error| {
        let is_missing = matches!(error, StoreError::NoSuch { .. });
        let detail = error.to_string();
        let mut problem = Problem::from(error);
        if is_missing {
            problem = Problem::new(Kind::Conflict, format!("/{key}: {detail}"));
            problem.errors.push(Place { pointer: format!("/{key}"), detail });
        }
        problem
    })
}
