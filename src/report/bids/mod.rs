//! Recordings as a data set of the Brain Imaging Data Structure with its motion extension, for researchers' tools.
//!
//! Enters: participants, their sessions, and for each recording its samples one after the other and its swings. Leaves:
//! paths and bytes, in pieces of up to [`PIECE_BYTES`], through a [`Sink`]; a recording is never held in memory. Source: the
//! BIDS specification 1.11.1 (bids-specification.readthedocs.io), "Motion", "Task events" and "Data summary files".
//!
//! Where the specification leaves a choice:
//! - **Gaps.** `*_motion.tsv` has a row for each sample that was received and none for those that were not; the channel of
//!   type `LATENCY`, which the specification gives for uneven sampling, holds the sensor's own time since the first row, to the
//!   microsecond (`SYSCLOCK` is no channel of the motion extension). A component that is missing in a row is `n/a`, which
//!   `MissingValues` says. `SamplingFrequency` is nominal, `SamplingFrequencyEffective` what the
//!   intervals that are no gaps have in the mean.
//! - **Swings** are events: onset and duration from the swing's start to its contact, counted from the first row.
//! - **Names.** A participant is called after an opaque id. A nickname is only in the data set if it was given.
//! - A participant's age is capped at [`OLDEST_AGE_YEARS`]; the side they bat from is a column of its own, as it says
//!   nothing certain of their handedness.
//!
//! In reading order: [`entity`], what is described; [`writer`], the files; `tables`, their text; [`swings`], what is
//! told of a swing.

pub mod entity;
pub mod swings;
pub mod writer;

mod tables;
#[cfg(test)]
mod tests;

pub use entity::{
    About, Bats, Device, Event, EventColumn, Handedness, Label, Participant, Reading, Run, Session, SessionKind, Sex,
    TrialType, Value,
};
pub use writer::{BidsWriter, ParticipantWriter, RunCounts, SessionWriter};

/// The version of the specification that is written.
pub const BIDS_VERSION: &str = "1.11.1";

/// The task in the names of files.
pub const TASK: &str = "batting";

/// The tracking system in the names of files.
pub const TRACKING_SYSTEM: &str = "imu";

/// Ages above this are told as this (BIDS, "Participants file").
pub const OLDEST_AGE_YEARS: u16 = 89;

/// So many bytes are handed on at once, or a little more.
pub const PIECE_BYTES: usize = 64 * 1024;

/// Takes the files of a data set, one after the other.
pub trait Sink {
    /// A file begins. The path is relative, with `/` between its parts, each of letters, digits and `-_.` alone.
    ///
    /// # Errors
    /// If it cannot be begun.
    fn begin(&mut self, path: &str) -> std::io::Result<()>;

    /// The next bytes of the file.
    ///
    /// # Errors
    /// If they cannot be written.
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<()>;

    /// The file is whole.
    ///
    /// # Errors
    /// If it cannot be finished.
    fn end(&mut self) -> std::io::Result<()>;
}

/// Why a data set was not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BidsError {
    /// A label is not one.
    #[error("the label {found:?} cannot be used; expected 1 to {longest} letters and digits", longest = entity::LONGEST_LABEL)]
    Label {
        /// What was found.
        found: String,
    },
    /// Two have the same label.
    #[error("the label `{label}` stands there twice; expected each participant, and each session of one, once")]
    Doubled {
        /// The label with its kind in front.
        label: String,
    },
    /// A sampling frequency is not one.
    #[error("the sampling frequency is {found_hz} Hz; expected a number above 0")]
    Frequency {
        /// What was found.
        found_hz: f64,
    },
    /// A column's name cannot be used.
    #[error("the column {found:?} cannot be used; expected small letters, digits and `_`, each column once")]
    Column {
        /// What was found.
        found: String,
    },
    /// An event has another number of values than there are columns.
    #[error("an event has {found} values; expected {expected}, one a column")]
    Values {
        /// How many it has.
        found: usize,
        /// How many columns there are.
        expected: usize,
    },
    /// A recording has no sample.
    #[error("the recording has no sample with a finite time; expected at least one")]
    NoSample,
    /// Nothing stands in the data set.
    #[error("there is no recording for the data set; expected at least one")]
    NoRun,
    /// A file could not be written.
    #[error("{path}: cannot be written: {cause}")]
    Write {
        /// The file, relative to the data set.
        path: String,
        /// Why.
        cause: std::io::Error,
    },
}
