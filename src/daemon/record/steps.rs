//! Steps of what must leave things whole wherever it ends. Tests end it before each of them.

use std::io::{self, ErrorKind};
use std::sync::atomic::{AtomicU32, Ordering};

/// Says whether the next step may be done.
#[derive(Debug, Default)]
pub struct Steps(Option<AtomicU32>);

impl Steps {
    /// All of them may.
    pub const fn all() -> Self {
        Self(None)
    }

    /// As many as that; then it is as if the program had been killed.
    #[cfg(test)]
    pub fn only(count: u32) -> Self {
        Self(Some(AtomicU32::new(count)))
    }

    /// Before a step.
    ///
    /// # Errors
    /// If it may not be done.
    pub fn next(&self) -> io::Result<()> {
        let Some(left) = &self.0 else { return Ok(()) };
        let before = left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1));
        before.map(drop).map_err(|_| io::Error::new(ErrorKind::Interrupted, "ended here by a test"))
    }
}
