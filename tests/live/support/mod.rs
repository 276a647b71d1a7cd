//! A made-up world for the service to live in: sensors, a radio, a disk and a clock that misbehave on purpose.

pub mod cage;
pub mod folder;
pub mod in_process;
pub mod memory_recording;
pub mod patience;
pub mod radio;
pub mod scratch;
pub mod sensor;
pub mod serving;
pub mod sse;

pub use patience::{WAIT, within};

use std::time::Duration;
use swingd::daemon::clock::{Clock, Now};
use tokio::time::Instant;

/// When every made-up lesson begins, ns since 1970 UTC.
pub const BEGIN_UTC_NS: i64 = 1_780_000_000_000_000_000;

/// The runtime's clock, which tests pause.
pub struct VirtualClock(Instant);

impl VirtualClock {
    pub fn new() -> Self {
        Self(Instant::now())
    }
}

impl Clock for VirtualClock {
    fn now(&self) -> Now {
        let elapsed: Duration = self.0.elapsed();
        Now { utc_ns: BEGIN_UTC_NS + elapsed.as_nanos() as i64, elapsed }
    }
}
