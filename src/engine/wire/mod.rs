//! Bytes to samples and back: [`csv`] and [`mcap`], generic over what is read from and written to.

pub mod csv;
pub mod mcap;

mod columns;
mod decimal;
mod error;
mod lines;
#[cfg(test)]
mod test_support;

pub use columns::{COLUMNS, COLUMNS_HI};
pub use error::WireError;

use crate::engine::sample::{IssueLog, Sample};

/// A recording from which samples are drawn a batch at a time.
pub trait SampleBatches {
    /// Replaces what is in `batch` by the next samples, about `most` or fewer; `false` once there are no more. Samples
    /// come in the order of time, without a time twice; what could not be used is in [`issues`](Self::issues).
    fn read_batch(&mut self, batch: &mut Vec<Sample>, most: usize) -> Result<bool, WireError>;

    /// What could not be used so far.
    fn issues(&self) -> &IssueLog;
}
