//! What a sensor measured, on its own clock.

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

/// Something in a recording that could not be used, told by where it stands; reading goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct Issue {
    /// The line of a text file, or the record's number in a binary one, from 1.
    pub line: u64,
    /// What was wrong.
    pub kind: IssueKind,
}

/// What was wrong with a row.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum IssueKind {
    /// A cell is not a number; holds the column's name and the text (cut to a bounded length).
    NotANumber { column: String, text: String },
    /// A cell is infinite or NaN; holds the column's name.
    NotFinite { column: String },
    /// The time does not increase.
    TimeNotIncreasing { previous_s: f64, found_s: f64 },
    /// The row has the wrong number of cells.
    WrongCellCount { expected: usize, found: usize },
    /// The file ends inside a record; all whole records before it were read.
    Truncated,
}
