//! A service, a browser that looks at it, and somebody who touches what is to be seen.

pub mod axe;
pub mod browser;
pub mod cage;
pub mod commands;
pub mod driver;
pub mod hands;
pub mod missing;
pub mod numbers;
pub mod paper;
pub mod said;

#[path = "../../live/support/patience.rs"]
pub mod patience;
#[allow(dead_code, reason = "shared with tests/live, which uses more of it")]
#[path = "../../live/support/scratch.rs"]
pub mod scratch;
#[allow(dead_code, reason = "shared with tests/live, which uses more of it")]
#[path = "../../live/support/serving.rs"]
pub mod serving;
#[allow(dead_code, reason = "shared with tests/live, which uses more of it")]
#[path = "../../live/support/sse.rs"]
pub mod sse;

use std::time::Duration;
use tokio::time::{Instant, sleep};

/// What `look` finds, as soon as it finds something.
pub async fn wait_for<T>(what: &str, look: impl AsyncFn() -> Option<T>) -> T {
    let deadline = Instant::now() + patience::WAIT;
    loop {
        if let Some(found) = look().await {
            return found;
        }
        assert!(Instant::now() < deadline, "waited {:?} in vain for {what}", patience::WAIT);
        sleep(Duration::from_millis(100)).await;
    }
}
