//! The instructor's record: what joins the engine and the store.
//!
//! [`keep()`] writes what a session told of a swing, live or from a file.

mod keep;

pub use keep::{Kept, Source, keep, sha256_hex, swing_id};
