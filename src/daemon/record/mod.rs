//! The instructor's record: what joins the engine and the store.
//!
//! [`keep()`] writes what a session told of a swing, live or from a file.
//!
//! And what is done with the record as a whole. [`erase`] takes one athlete out of everything there is: rows, files of
//! recordings ([`cut`]), what was told, copies ([`copies`]); [`theirs`] says what is whose. [`backup`] makes a copy, described
//! by a [`manifest`]; [`restore`] puts one in place. [`retention`] erases what was kept long enough. [`archive`] is one
//! athlete as one file. What is done in several steps can end between any two of them ([`steps`]).

pub mod archive;
pub mod backup;
pub mod copies;
pub mod cut;
pub mod erase;
mod keep;
pub mod manifest;
pub mod restore;
pub mod retention;
pub mod steps;
#[cfg(test)]
mod tests;
pub mod theirs;

pub use keep::{Kept, Source, keep, sha256_hex, swing_id};
