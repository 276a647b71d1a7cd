//! What a sensor measured, on its own clock.

mod clock;
mod issues;

pub use clock::{ClockSummary, LEARNT_INTERVALS, SampleClock};
pub use issues::{IssueLog, KEPT_ISSUES};

use nalgebra::Vector3;

/// Seconds on the sensor's own clock. Not the host's time and not UTC.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct SensorTime(pub f64);

impl SensorTime {
    /// Seconds from `earlier` to `self`.
    pub fn seconds_since(self, earlier: SensorTime) -> f64 {
        self.0 - earlier.0
    }
}

/// One reading of all channels, in S, as sent (uncorrected). A component that is missing is NaN.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When, on the sensor's clock.
    pub time: SensorTime,
    /// Angular rate, rad/s.
    pub gyro_s_radps: Vector3<f64>,
    /// Specific force, m/s².
    pub accel_s_mps2: Vector3<f64>,
    /// Specific force by a second, high-range accelerometer, m/s².
    pub accel_hi_s_mps2: Option<Vector3<f64>>,
}

impl Sample {
    /// Whether gyro and accelerometer hold a number on every axis.
    pub fn is_whole(&self) -> bool {
        // A sum of finite numbers of any sensor's size is finite; one that is not makes it not so.
        let sum = self.gyro_s_radps.abs().sum() + self.accel_s_mps2.abs().sum();
        sum.is_finite()
    }
}

/// Something in a recording that could not be used, told by where it stands; reading goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct Issue {
    /// The line of a text file, or the record's number in a binary one, from 1.
    pub line: u64,
    /// What was wrong.
    pub kind: IssueKind,
}

/// What was wrong with a row or a record.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IssueKind {
    /// A cell is not a number.
    #[error("`{column}` holds \"{text}\" where a number was expected")]
    NotANumber {
        /// The column's name.
        column: String,
        /// The text, cut to a bounded length.
        text: String,
    },
    /// A cell is infinite or NaN.
    #[error("`{column}` is not finite")]
    NotFinite {
        /// The column's name.
        column: String,
    },
    /// The time does not increase.
    #[error("the time does not increase: {found_s} s after {previous_s} s")]
    TimeNotIncreasing {
        /// The time of the last row that was used.
        previous_s: f64,
        /// The time of this one.
        found_s: f64,
    },
    /// The row has the wrong number of cells.
    #[error("the row has {found} cells where the header has {expected}")]
    WrongCellCount {
        /// As many as the header has.
        expected: usize,
        /// As many as the row has.
        found: usize,
    },
    /// The line is longer than any row of numbers.
    #[error("the line is longer than {longest} bytes")]
    LineTooLong {
        /// The longest line that is read, bytes.
        longest: usize,
    },
    /// A record is not what its schema says; it was left out.
    #[error("the record is not as its schema says: {found}")]
    BadRecord {
        /// What is wrong.
        found: String,
    },
    /// The file is damaged here; nothing after this place was read.
    #[error("the file is damaged ({found}); nothing after this place was read")]
    Damaged {
        /// What is wrong.
        found: String,
    },
    /// The file ends inside a record; all whole records before it were read.
    #[error("the file ends inside a record; all whole records before it were read")]
    Truncated,
}
