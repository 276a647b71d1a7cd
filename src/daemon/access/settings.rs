//! By which names, how fast and how slowly the service may be asked.

use std::time::Duration;

/// What is set about who may ask.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Names of this service beside those of the machine itself, in lower case.
    pub hosts: Vec<String>,
    /// So many requests a minute another machine or a token may make.
    pub requests_per_minute: u64,
    /// How long a request may take.
    pub patience: Patience,
}

/// How long is waited for a client that is slow, or means to be.
#[derive(Clone, Copy, Debug)]
pub struct Patience {
    /// For the whole head of a request, and between two on one connection.
    pub head: Duration,
    /// Between two pieces of a body.
    pub piece: Duration,
    /// For a whole request until the answer begins, uploads and exports apart.
    pub whole: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { head: Duration::from_secs(15), piece: Duration::from_secs(10), whole: Duration::from_secs(30) }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self { hosts: Vec::new(), requests_per_minute: 600, patience: Patience::default() }
    }
}
