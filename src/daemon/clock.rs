//! The host's time, as it is handed to everything that is told the time.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// An instant on both of the host's clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Now {
    /// ns since 1970 UTC; steps where the system's clock is set.
    pub utc_ns: i64,
    /// Since the clock was made; never goes back.
    pub elapsed: Duration,
}

/// Tells the time. Tests have one that follows the runtime's paused clock.
pub trait Clock: Send + Sync + 'static {
    /// Now.
    fn now(&self) -> Now;
}

/// The system's clocks.
#[derive(Debug)]
pub struct SystemClock {
    start: Instant,
}

impl SystemClock {
    /// Starts counting.
    pub fn new() -> Self {
        Self { start: Instant::now() }
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Now {
        let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        Now { utc_ns: i64::try_from(since_1970.as_nanos()).unwrap_or(i64::MAX), elapsed: self.start.elapsed() }
    }
}
