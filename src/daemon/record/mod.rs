//! The instructor's record: what joins the engine and the store.
//!
//! [`keep()`] writes what a session told of a swing, live or from a file; [`ingest`] is the way of the live ones,
//! which stations hand over ([`handover`]). [`analyse_file`] reads a recording to its end and keeps its swings; [`import`]
//! takes one in from elsewhere.

mod analyse;
pub mod handover;
mod import;
pub mod ingest;
mod keep;
mod survey;
mod turns;
mod upload;

pub use analyse::{AnalyseError, Outcome, RecordingFile, analyse_file};
pub use import::{Import, ImportError, finish_imports, import};
pub use keep::{Kept, Source, keep, sha256_hex, swing_id};
pub use turns::{Busy, MayArrive, Turn, Turns};
pub use upload::{Arrived, Arriving, LONGEST_FILE, UploadError};
