//! How long something is waited for.

use std::time::Duration;

/// In real time nothing that is waited for takes longer, however busy the machine.
pub const WAIT: Duration = Duration::from_secs(20);

/// What comes of `future`, which must not take longer than [`WAIT`].
pub async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    tokio::time::timeout(WAIT, future).await.unwrap_or_else(|_| panic!("waited {WAIT:?} in vain for {what}"))
}
