//! A service, a browser that looks at it, and somebody who touches what is to be seen.

pub mod axe;
pub mod browser;
pub mod cage;
pub mod commands;
pub mod driver;
pub mod hands;
pub mod numbers;
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
