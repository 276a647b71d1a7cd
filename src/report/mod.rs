//! What leaves the program: JSON for programs, tables and pictures for people.
//!
//! All of it is made from a [`RecordingSummary`] and the recording's swings; nothing here computes a metric. The core's
//! types are not serialised themselves, so what programs read cannot change by accident.
//!
//! In reading order: [`json`], one document a recording; [`event`], what a live or replayed session tells; [`words`], labels and units; [`table`], for a terminal; [`svg`],
//! the picture; [`page`], all of it as one HTML file; [`curves`], a swing's curves as they are kept and as they leave;
//! [`columns`], lists as a table for a terminal; [`csv_cell`], words in a cell of CSV; [`swing_rows`], swings of many recordings as a table for notebooks; [`bids`], recordings and swings for researchers'
//! tools; [`change`] and [`then_now`], what a comparison of two groups says, in words; [`handout`], the same as a file to take
//! home; [`captions`], a swing's numbers in a film; [`squared_up`], what is taken where a ball was not measured.

pub mod bids;
pub mod captions;
pub mod change;
pub mod columns;
pub mod csv_cell;
pub mod curves;
pub mod event;
pub mod handout;
pub mod json;
pub mod page;
pub mod squared_up;
pub mod svg;
pub mod swing_rows;
pub mod table;
pub mod then_now;
pub mod words;

#[cfg(test)]
pub(crate) mod example;

/// What there is to say of a recording besides its swings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordingSummary {
    /// The path as it was given.
    pub path: String,
    /// Samples that were read.
    pub samples: u64,
    /// From the first sample to the last, s.
    pub duration_s: f64,
    /// Nominal sample rate, Hz; 0 if there are too few samples to tell.
    pub sample_rate_hz: f64,
    /// Places where samples are missing.
    pub gaps: u64,
    /// How many samples are missing there.
    pub missing_samples: u64,
    /// Rows or records that could not be used.
    pub unusable_rows: u64,
}
