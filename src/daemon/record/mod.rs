//! The instructor's record: what joins the engine and the store.
//!
//! [`keep()`] writes what a session told of a swing, live or from a file; [`ingest`] is the way of the live ones,
//! which stations hand over ([`handover`]).

pub mod handover;
pub mod ingest;
mod keep;

pub use keep::{Kept, Source, keep, sha256_hex, swing_id};
