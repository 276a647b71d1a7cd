//! A device's table: RFC 4180, a header line with the columns' names in any order, units in the names.
//!
//! What is wrong with a row is said of that row; only a table of which nothing can be understood is refused.

use crate::daemon::api::instant::Instant;
use crate::daemon::store::rows::{BallResult, UtcMicros};
use ::csv::{ByteRecord, ReaderBuilder};
use std::ops::RangeInclusive;

/// Exit speeds that are taken, m/s.
pub const EXIT_SPEED_MPS: RangeInclusive<f64> = 0.0..=80.0;
/// Launch angles that are taken, degrees.
pub const LAUNCH_ANGLE_DEG: RangeInclusive<f64> = -90.0..=90.0;
/// Directions that are taken, degrees.
pub const DIRECTION_DEG: RangeInclusive<f64> = -180.0..=180.0;
/// Carries that are taken, m.
pub const CARRY_M: RangeInclusive<f64> = 0.0..=250.0;
/// A device's name is no longer than this, characters.
pub const LONGEST_DEVICE: usize = 100;
/// A table has no more rows than this: while they are stored nothing else is.
pub const MOST_ROWS: usize = 5000;
/// A note is no longer than this, characters.
pub const LONGEST_NOTE: usize = 2000;

/// Metres a second in a mile an hour, exact since 1959 (NIST SP 811, appendix B).
const MPS_PER_MPH: f64 = 0.44704;
/// Metres a second in a kilometre an hour.
const MPS_PER_KMH: f64 = 1.0 / 3.6;
/// Metres in a foot, exact (NIST SP 811, appendix B).
const M_PER_FT: f64 = 0.3048;

/// What a device says of one ball.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// When.
    pub at: UtcMicros,
    /// By what, in words.
    pub device: String,
    /// Exit speed, m/s.
    pub exit_speed_mps: Option<f64>,
    /// Launch angle above the horizontal, degrees.
    pub launch_angle_deg: Option<f64>,
    /// Direction from straightaway centre, positive toward right field, degrees.
    pub direction_deg: Option<f64>,
    /// Carry, m.
    pub carry_m: Option<f64>,
    /// Free words.
    pub note: String,
}

/// A table that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Columns that nothing was taken from.
    pub ignored_columns: Vec<String>,
    /// Its rows, in order.
    pub rows: Vec<Row>,
}

/// A row that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its line in the text, from 1.
    pub line: u64,
    /// What it says, or what is wrong with it.
    pub read: Result<Measured, String>,
}

/// Why nothing of a table can be understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TableError {
    /// It is no CSV.
    #[error("the table cannot be read: {0}; expected CSV (RFC 4180) with a header line")]
    Unreadable(String),
    /// It does not say when.
    #[error("there is no column `measured`; expected one with instants as in RFC 3339, such as 2026-11-25T16:10:18Z")]
    NoInstant,
    /// It says nothing of the ball.
    #[error(
        "there is no column of a ball; expected one at least of exit_speed_mps, exit_speed_mph, exit_speed_kmh, \
             launch_angle_deg, direction_deg, carry_m, carry_ft"
    )]
    NoBall,
    /// It is too long.
    #[error("the table has more than {MOST_ROWS} rows; expected several tables")]
    TooLong,
    /// It says one thing twice.
    #[error("the columns `{0}` and `{1}` say the same; expected one of them")]
    Twice(String, String),
}

/// What a column says.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Column {
    Instant,
    Number(Quantity, f64),
    Device,
    Note,
    Unknown,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quantity {
    ExitSpeed,
    LaunchAngle,
    Direction,
    Carry,
}

impl Column {
    fn named(name: &str) -> Self {
        match name {
            "measured" => Self::Instant,
            "exit_speed_mps" => Self::Number(Quantity::ExitSpeed, 1.0),
            "exit_speed_mph" => Self::Number(Quantity::ExitSpeed, MPS_PER_MPH),
            "exit_speed_kmh" => Self::Number(Quantity::ExitSpeed, MPS_PER_KMH),
            "launch_angle_deg" => Self::Number(Quantity::LaunchAngle, 1.0),
            "direction_deg" => Self::Number(Quantity::Direction, 1.0),
            "carry_m" => Self::Number(Quantity::Carry, 1.0),
            "carry_ft" => Self::Number(Quantity::Carry, M_PER_FT),
            "device" => Self::Device,
            "note" => Self::Note,
            _ => Self::Unknown,
        }
    }

    /// Whether both say the same thing, be it in different units.
    fn says_what(self, other: Self) -> bool {
        match (self, other) {
            (Self::Unknown, _) => false,
            (Self::Number(one, _), Self::Number(other, _)) => one == other,
            (one, other) => one == other,
        }
    }
}

impl Quantity {
    const fn range(self) -> RangeInclusive<f64> {
        match self {
            Self::ExitSpeed => EXIT_SPEED_MPS,
            Self::LaunchAngle => LAUNCH_ANGLE_DEG,
            Self::Direction => DIRECTION_DEG,
            Self::Carry => CARRY_M,
        }
    }
}

/// Reads a table.
///
/// # Errors
/// If nothing of it can be understood.
pub fn read(text: &[u8]) -> Result<Table, TableError> {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let mut reader = ReaderBuilder::new().flexible(true).from_reader(text);
    let unreadable = |error: ::csv::Error| TableError::Unreadable(error.to_string());
    let names: Vec<String> = reader.headers().map_err(unreadable)?.iter().map(|name| name.trim().to_owned()).collect();
    let columns: Vec<Column> = names.iter().map(|name| Column::named(name)).collect();
    check(&names, &columns)?;
    let mut rows = Vec::new();
    let mut record = ByteRecord::new();
    let mut lines = Lines { text, at: 0, line: 1 };
    while reader.read_byte_record(&mut record).map_err(unreadable)? {
        if rows.len() == MOST_ROWS {
            return Err(TableError::TooLong);
        }
        let line = lines.line_at(record.position().map_or(0, |at| at.byte() as usize));
        rows.push(Row { line, read: measured(&names, &columns, &record) });
    }
    let unknown = names.into_iter().zip(columns).filter(|(_, column)| *column == Column::Unknown);
    Ok(Table { ignored_columns: unknown.map(|(name, _)| name).collect(), rows })
}

/// Counts lines; the reader of CSV places a record before the end of the line above it.
struct Lines<'a> {
    text: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line of the first character from this byte on that does not end a line. Bytes are asked for in order.
    fn line_at(&mut self, byte: usize) -> u64 {
        while let Some(&c) = self.text.get(self.at).filter(|c| self.at < byte || matches!(c, b'\r' | b'\n')) {
            self.line += u64::from(c == b'\n');
            self.at += 1;
        }
        self.line
    }
}

fn check(names: &[String], columns: &[Column]) -> Result<(), TableError> {
    if !columns.contains(&Column::Instant) {
        return Err(TableError::NoInstant);
    }
    if !columns.iter().any(|column| matches!(column, Column::Number(..))) {
        return Err(TableError::NoBall);
    }
    for (k, (name, column)) in names.iter().zip(columns).enumerate() {
        let before = names.iter().zip(columns).take(k).find(|(_, before)| column.says_what(**before));
        if let Some((before, _)) = before {
            return Err(TableError::Twice(before.clone(), name.clone()));
        }
    }
    Ok(())
}

fn measured(names: &[String], columns: &[Column], record: &ByteRecord) -> Result<Measured, String> {
    if record.len() != columns.len() {
        return Err(format!("has {} cells; expected {}, one a column", record.len(), columns.len()));
    }
    let mut at = None;
    let mut row = Measured {
        at: UtcMicros(0),
        device: String::new(),
        exit_speed_mps: None,
        launch_angle_deg: None,
        direction_deg: None,
        carry_m: None,
        note: String::new(),
    };
    for ((name, column), cell) in names.iter().zip(columns).zip(record) {
        let cell = std::str::from_utf8(cell).map_err(|_| format!("{name}: is no UTF-8 text"))?.trim();
        match column {
            Column::Instant => at = Some(instant(cell)?),
            Column::Number(quantity, unit) => {
                let number = number(name, cell, *unit, quantity.range())?;
                *row.place(*quantity) = number;
            }
            Column::Device => row.device = words(name, cell, LONGEST_DEVICE)?,
            Column::Note => row.note = words(name, cell, LONGEST_NOTE)?,
            Column::Unknown => {}
        }
    }
    row.at = at.ok_or("has no instant")?;
    let says_something = [row.exit_speed_mps, row.launch_angle_deg, row.direction_deg, row.carry_m];
    if says_something.iter().all(Option::is_none) {
        return Err("says nothing of the ball: all its numbers are empty".into());
    }
    Ok(row)
}

fn instant(cell: &str) -> Result<UtcMicros, String> {
    cell.parse::<Instant>()
        .map(UtcMicros::from)
        .map_err(|_| format!("measured: `{}`; expected an instant with an offset (RFC 3339)", shown(cell)))
}

/// In the column's unit, out in SI or degrees; an empty cell is no number.
fn number(name: &str, cell: &str, unit: f64, range: RangeInclusive<f64>) -> Result<Option<f64>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    let (from, to) = (range.start() / unit, range.end() / unit);
    let expected = || format!("{name}: `{}`; expected {from:.0} to {to:.0}", shown(cell));
    let number = cell.parse::<f64>().map_err(|_| expected())? * unit;
    if range.contains(&number) { Ok(Some(number)) } else { Err(expected()) }
}

fn words(name: &str, cell: &str, most: usize) -> Result<String, String> {
    let length = cell.chars().count();
    if length > most {
        return Err(format!("{name}: has {length} characters; expected at most {most}"));
    }
    if cell.chars().any(|c| c.is_control() && c != '\n' && c != '\t') {
        return Err(format!("{name}: holds control characters; expected text"));
    }
    Ok(cell.to_owned())
}

/// The beginning of a cell, for people.
fn shown(cell: &str) -> String {
    cell.chars().filter(|c| !c.is_control()).take(40).collect()
}

impl Measured {
    /// With the time of a clock that is so much ahead of UTC put to UTC.
    ///
    /// # Errors
    /// If that is no instant.
    pub fn on_utc(self, clock_offset_s: f64) -> Result<Self, String> {
        let at = self.at.0.checked_sub((clock_offset_s * 1e6).round() as i64).map(UtcMicros);
        let at = at.filter(|at| Instant::can_write(*at));
        Ok(Self { at: at.ok_or("measured: lies outside of the calendar by this clock")?, ..self })
    }

    /// Whether a stored result is this one.
    pub fn is_in(&self, stored: &BallResult) -> bool {
        let numbers = |one: [Option<f64>; 4], other: [Option<f64>; 4]| one == other;
        stored.measured == self.at
            && stored.device == self.device
            && numbers(
                [stored.exit_speed_mps, stored.launch_angle_deg, stored.direction_deg, stored.carry_m],
                [self.exit_speed_mps, self.launch_angle_deg, self.direction_deg, self.carry_m],
            )
    }

    fn place(&mut self, quantity: Quantity) -> &mut Option<f64> {
        match quantity {
            Quantity::ExitSpeed => &mut self.exit_speed_mps,
            Quantity::LaunchAngle => &mut self.launch_angle_deg,
            Quantity::Direction => &mut self.direction_deg,
            Quantity::Carry => &mut self.carry_m,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_come_in_any_order_and_unit() {
        let text = "\u{feff}carry_ft, exit_speed_mph ,measured,spin,device\r\n\
                    100,90,2026-11-25T16:10:18.5+01:00,2400,\"Radar, blue\"\r\n\
                    ,100,2026-11-25T15:10:20Z,,\r\n";
        let table = read(text.as_bytes()).unwrap();
        assert_eq!(table.ignored_columns, ["spin"]);
        let rows: Vec<_> = table.rows.iter().map(|row| (row.line, row.read.clone().unwrap())).collect();
        assert_eq!((rows[0].0, rows[1].0), (2, 3));
        let first = &rows[0].1;
        assert_eq!((first.at, first.device.as_str()), (UtcMicros(1_795_619_418_500_000), "Radar, blue"));
        assert!((first.exit_speed_mps.unwrap() - 40.2336).abs() < 1e-12, "90 mph are 40.2336 m/s by NIST SP 811");
        assert!((first.carry_m.unwrap() - 30.48).abs() < 1e-12);
        assert_eq!(rows[1].1.carry_m, None);
        let kmh = read(b"measured,exit_speed_kmh\n2026-11-25T15:10:20Z,144\n").unwrap();
        assert!((kmh.rows[0].read.clone().unwrap().exit_speed_mps.unwrap() - 40.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_wrong_with_a_row_is_said_of_that_row() {
        let text = b"measured,exit_speed_mps,note\n\
            2026-11-25T15:10:20,40,\n\
            2026-11-25T15:10:20Z,81,\n\
            2026-11-25T15:10:20Z,\"40,1\",\n\
            2026-11-25T15:10:20Z,NaN,\n\
            2026-11-25T15:10:20Z,,only words\n\
            2026-11-25T15:10:20Z,40\n\
            2026-11-25T15:10:20Z,40,\xff\n\
            2026-11-25T15:10:20Z,40,\"two\nlines\"\n\
            ,40,\n\
            20261125T151020Z,40,\n\
            2026-11-25T15:10:20Z[UTC],40,\n";
        let rows = read(text).unwrap().rows;
        let wrong: Vec<_> = rows.iter().filter_map(|row| Some((row.line, row.read.clone().err()?))).collect();
        let expected = [
            (2, "measured: `2026-11-25T15:10:20`"),
            (3, "exit_speed_mps: `81`; expected 0 to 80"),
            (4, "exit_speed_mps: `40,1`"),
            (5, "exit_speed_mps: `NaN`"),
            (6, "says nothing of the ball"),
            (7, "has 2 cells; expected 3"),
            (8, "note: is no UTF-8"),
            (11, "measured: ``"),
            (12, "measured: `20261125T151020Z`"),
            (13, "measured: `2026-11-25T15:10:20Z[UTC]`"),
        ];
        assert_eq!(wrong.len(), expected.len(), "{wrong:?}");
        for ((line, words), (expected_line, begin)) in wrong.iter().zip(expected) {
            assert!(*line == expected_line && words.starts_with(begin), "{line}: {words}; expected {begin}");
        }
        assert_eq!(rows.iter().filter(|row| row.read.is_ok()).count(), 1);
    }

    #[test]
    fn a_clock_leads_to_no_instant_that_cannot_be_written() {
        let table = read(b"measured,carry_m\n0000-01-01T00:00:10Z,1\n9999-12-29T00:00:00Z,1\n").unwrap();
        let at = |row: usize, offset_s| table.rows[row].read.clone().unwrap().on_utc(offset_s).map(|row| row.at.0);
        assert_eq!(at(0, 10.0), Ok(-62_167_219_200_000_000));
        assert!(at(0, 11.0).is_err() && at(1, -86_400.0).is_ok());
        let late = read(b"measured,carry_m\n9999-12-30T21:00:00Z,1\n").unwrap().rows.remove(0).read.unwrap();
        assert!(late.on_utc(-86_400.0).is_err());
    }

    #[test]
    fn a_table_is_not_too_long() {
        let of = |rows| format!("measured,carry_m\n{}", "2026-11-25T15:10:20Z,1\n".repeat(rows));
        assert_eq!(read(of(MOST_ROWS).as_bytes()).unwrap().rows.len(), MOST_ROWS);
        assert_eq!(read(of(MOST_ROWS + 1).as_bytes()), Err(TableError::TooLong));
    }

    #[test]
    fn a_table_that_says_nothing_or_one_thing_twice_is_refused() {
        assert_eq!(read(b"exit_speed_mps\n1\n"), Err(TableError::NoInstant));
        assert_eq!(read(b""), Err(TableError::NoInstant));
        assert_eq!(read(b"measured,note\n"), Err(TableError::NoBall));
        let twice = TableError::Twice("exit_speed_mph".into(), "exit_speed_mps".into());
        assert_eq!(read(b"measured,exit_speed_mph,exit_speed_mps\n"), Err(twice));
        let again = TableError::Twice("measured".into(), "measured".into());
        assert_eq!(read(b"measured,measured,carry_m\n"), Err(again));
    }
}
