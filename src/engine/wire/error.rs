//! Why a recording cannot be read at all.

/// A recording's bytes cannot be read as one. Each says where, what was found and what was expected.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WireError {
    /// The bytes could not be had.
    #[error("cannot be read: {0}")]
    Io(std::io::Error),
    /// Nothing is in the file.
    #[error("line 1: the file is empty; expected {expected}")]
    Empty {
        /// What was expected.
        expected: String,
    },
    /// The first line is not text with commas in it.
    #[error("line 1: this is not CSV: {found}; expected {expected}")]
    NotCsv {
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// A column is not in the header.
    #[error("line 1: the column `{column}` is missing; expected {expected}")]
    MissingColumn {
        /// Its name.
        column: &'static str,
        /// What was expected.
        expected: String,
    },
    /// A column is in the header more than once.
    #[error("line 1: the column `{column}` stands there twice; expected it once")]
    DoubledColumn {
        /// Its name.
        column: &'static str,
    },
    /// The header is there, but no row under it.
    #[error("line {line}: there is no row under the header; expected at least one sample")]
    NoRow {
        /// The first line that might have held one.
        line: u64,
    },
    /// There are rows, but none can be used.
    #[error("line {line}: none of the {bad} rows can be used, the first because {reason}; expected numbers")]
    NoUsableRow {
        /// The first bad row.
        line: u64,
        /// How many there are.
        bad: u64,
        /// What is wrong with the first.
        reason: String,
    },
    /// The file is not MCAP, or damaged before its first sample.
    #[error("record {record}: {found}; expected an MCAP file with samples of schema `{schema}`", schema = super::mcap::SAMPLES_SCHEMA)]
    NotMcap {
        /// How many messages were read before, plus one.
        record: u64,
        /// What was found.
        found: String,
    },
    /// The file could not be written.
    #[error("cannot be written: {0}")]
    Write(String),
}

// By hand, as the text above holds the cause already: a chain of sources would tell it twice.
impl From<std::io::Error> for WireError {
    fn from(error: std::io::Error) -> Self {
        Self::Io(error)
    }
}
