//! The instructor's record: what joins the engine and the store.
//!
//! [`keep()`] writes what a session told of a swing, live or from a file; [`ingest`] is the way of the live ones,
//! which stations hand over ([`handover`]). [`analyse_file`] reads a recording to its end and keeps its swings; [`import`]
//! takes one in from elsewhere. [`backlog`] is what earlier runs did not store. [`plate`] is who swings next, [`outfit`] what
//! they swing.
//!
//! [`then_now`] reads two selections of swings and sets them side by side; [`handout`] adds what is said around it,
//! [`looked_at`] how much of the groups that is.
//! [`squared_up`] is what a swing would do to a ball that it met squarely, [`measured_balls`] what other devices measured.
//! [`film`] finds a lesson's swings in the sound of a clip.
//!
//! And what is done with the record as a whole. [`erase`] takes one athlete out of everything there is: rows, files of
//! recordings ([`cut`]), what was told, copies ([`copies`]); [`theirs`] says what is whose. [`backup`] makes a copy, described
//! by a [`manifest`]; [`restore`] puts one in place. [`retention`] erases what was kept long enough. [`archive`] is one
//! athlete as one file. What is done in several steps can end between any two of them ([`steps`]).

mod analyse;
pub mod archive;
pub mod backlog;
pub mod backup;
pub mod copies;
pub mod cut;
pub mod erase;
pub mod film;
pub mod handout;
pub mod handover;
mod import;
pub mod ingest;
mod keep;
pub mod looked_at;
pub mod manifest;
pub mod measured_balls;
pub mod outfit;
pub mod over_months;
pub mod plate;
pub mod restore;
pub mod retention;
pub mod squared_up;
pub mod steps;
mod survey;
#[cfg(test)]
mod tests;
pub mod theirs;
pub mod then_now;
mod turns;
mod upload;

pub use analyse::{AnalyseError, Outcome, RecordingFile, analyse_file};
pub use import::{Import, ImportError, finish_imports, import};
pub use keep::{Kept, Source, keep, sha256_hex, swing_id};
pub use turns::{Busy, MayArrive, Turn, Turns};
pub use upload::{Arrived, Arriving, LONGEST_FILE, UploadError};
