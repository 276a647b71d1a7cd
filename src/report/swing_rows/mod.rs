//! Swings of many recordings as one table, a row a swing, for notebooks: [`ParquetRows`] and [`CsvRows`] give the same
//! columns under the same names.
//!
//! In order: whose and what the swing is, when it was, what it was measured with, its `flags`, then for each of
//! [`Metric::ALL`] its key with the value and `<key>_sigma` with one standard deviation, in the metric's own unit. What is
//! absent or not finite is null in Parquet and an empty cell in CSV. In Parquet text is UTF-8, `contact_utc` a timestamp in
//! microseconds of UTC and `flags` a list; in CSV `contact_utc` is RFC 3339, `flags` are parted by spaces, and words that a spreadsheet would compute stand behind an
//! apostrophe ([`super::csv_cell`]).

mod csv;
mod parquet;

pub use self::csv::CsvRows;
pub use self::parquet::{ParquetRows, ROWS_A_GROUP};

use crate::engine::metrics::{Estimate, Metric};

/// One swing, with all that tells it from others.
#[derive(Clone, Debug, PartialEq)]
pub struct SwingRow {
    /// The swing.
    pub swing_id: String,
    /// Whose it is, if that is known.
    pub athlete_id: Option<String>,
    /// What the athlete is called.
    pub nickname: Option<String>,
    /// The side of the plate, `right` or `left`.
    pub side: Option<String>,
    /// What the bat is called.
    pub bat: Option<String>,
    /// What was practised.
    pub drill: Option<String>,
    /// Where the ball came from.
    pub ball_source: Option<String>,
    /// The lesson or practice it belongs to.
    pub lesson_id: Option<String>,
    /// The round within it.
    pub round_id: Option<String>,
    /// Which of the two: `lesson` or `practice`.
    pub occasion: Option<String>,
    /// The recording it was measured from.
    pub recording_id: String,
    /// Contact, µs since 1970 UTC, if the sensor's clock is placed.
    pub contact_utc_us: Option<i64>,
    /// Its start on the sensor's clock, s.
    pub start_s: f64,
    /// Its contact on the sensor's clock, s.
    pub contact_s: f64,
    /// `ball` or `none`.
    pub contact: String,
    /// The version of the engine that measured it.
    pub engine_version: String,
    /// Which analysis this is, counted from the first.
    pub revision: i32,
    /// Whether it is not to be counted.
    pub excluded: bool,
    /// What makes it poorer than usual.
    pub flags: Vec<String>,
    /// A value with its σ for each of [`Metric::ALL`], or nothing.
    pub metrics: [Option<Estimate>; Metric::COUNT],
}

/// Why a table could not be written.
#[derive(Debug, thiserror::Error)]
pub enum RowsError {
    /// As Parquet.
    #[error("the swings cannot be written as Parquet: {0}")]
    Parquet(#[from] ::parquet::errors::ParquetError),
    /// As CSV.
    #[error("the swings cannot be written as CSV: {0}")]
    Csv(#[from] ::csv::Error),
}

/// One column: its name, and what of a row stands in it.
struct Column {
    name: String,
    cell: Cell,
}

/// What of a row stands in a column.
enum Cell {
    /// Text that is always there.
    Text(fn(&SwingRow) -> &str),
    /// Text that may be absent.
    MaybeText(fn(&SwingRow) -> Option<&str>),
    /// Microseconds since 1970 UTC.
    Utc(fn(&SwingRow) -> Option<i64>),
    /// A number that may be absent.
    Number(Number),
    /// A count.
    Count(fn(&SwingRow) -> i32),
    /// Yes or no.
    Truth(fn(&SwingRow) -> bool),
    /// Words.
    Words(fn(&SwingRow) -> &[String]),
}

/// A number of a row.
enum Number {
    Field(fn(&SwingRow) -> f64),
    Value(Metric),
    Sigma(Metric),
}

impl Number {
    /// Nothing if it is absent or not finite; a value without a finite σ is absent too.
    fn of(&self, row: &SwingRow) -> Option<f64> {
        let estimate = |metric: &Metric| {
            let estimate = row.metrics.get(metric.index()).copied().flatten();
            estimate.filter(|e| e.value.is_finite() && e.sigma.is_finite())
        };
        match self {
            Number::Field(of) => Some(of(row)).filter(|number| number.is_finite()),
            Number::Value(metric) => estimate(metric).map(|e| e.value),
            Number::Sigma(metric) => estimate(metric).map(|e| e.sigma),
        }
    }
}

/// All columns, in order.
fn columns() -> Vec<Column> {
    let fixed = [
        ("swing_id", Cell::Text(|row| &row.swing_id)),
        ("athlete_id", Cell::MaybeText(|row| row.athlete_id.as_deref())),
        ("nickname", Cell::MaybeText(|row| row.nickname.as_deref())),
        ("side", Cell::MaybeText(|row| row.side.as_deref())),
        ("bat", Cell::MaybeText(|row| row.bat.as_deref())),
        ("drill", Cell::MaybeText(|row| row.drill.as_deref())),
        ("ball_source", Cell::MaybeText(|row| row.ball_source.as_deref())),
        ("lesson_id", Cell::MaybeText(|row| row.lesson_id.as_deref())),
        ("round_id", Cell::MaybeText(|row| row.round_id.as_deref())),
        ("occasion", Cell::MaybeText(|row| row.occasion.as_deref())),
        ("recording_id", Cell::Text(|row| &row.recording_id)),
        ("contact_utc", Cell::Utc(|row| row.contact_utc_us)),
        ("start_s", Cell::Number(Number::Field(|row| row.start_s))),
        ("contact_s", Cell::Number(Number::Field(|row| row.contact_s))),
        ("contact", Cell::Text(|row| &row.contact)),
        ("engine_version", Cell::Text(|row| &row.engine_version)),
        ("revision", Cell::Count(|row| row.revision)),
        ("excluded", Cell::Truth(|row| row.excluded)),
        ("flags", Cell::Words(|row| &row.flags)),
    ];
    let fixed = fixed.into_iter().map(|(name, cell)| Column { name: name.to_owned(), cell });
    let metric = |metric: Metric| {
        let (value, sigma) = (Cell::Number(Number::Value(metric)), Cell::Number(Number::Sigma(metric)));
        [
            Column { name: metric.key().to_owned(), cell: value },
            Column { name: format!("{}_sigma", metric.key()), cell: sigma },
        ]
    };
    fixed.chain(Metric::ALL.into_iter().flat_map(metric)).collect()
}

#[cfg(test)]
mod tests;
