//! A recording as CSV: bytes to samples and back.
//!
//! Enters: the bytes of a file. Leaves: samples in the order of time, and what could not be used, by line. One row is
//! one line: a line break within a quoted cell (RFC 4180 allows it) makes bad rows of both its lines. The memory is
//! constant. Rows are split here, and not by a tokenizer for all of RFC 4180, which would cost more than the numbers.

use std::io::{Read, Write};

use nalgebra::Vector3;

use super::columns::{COLUMNS, COLUMNS_HI, ColumnMap, SLOTS, expected_header, slot_name, split_quoted};
use super::decimal::parse_decimal;
use super::lines::{LONGEST_LINE, Line, LineReader};
use super::{SampleBatches, WireError};
use crate::engine::sample::{Issue, IssueKind, IssueLog, Sample, SensorTime};

/// How much of a bad cell's text an issue quotes, characters.
const QUOTED_CHARS: usize = 40;

/// Reads samples from the bytes of a CSV file.
#[derive(Debug)]
pub struct CsvReader<R> {
    lines: LineReader<R>,
    rows: RowParser,
    issues: IssueLog,
    samples: u64,
    ended: bool,
}

impl<R: Read> CsvReader<R> {
    /// Reads the header.
    pub fn new(source: R) -> Result<Self, WireError> {
        let mut lines = LineReader::new(source);
        let Some(header) = lines.next_line()? else {
            return Err(WireError::Empty { expected: expected_header() });
        };
        if header.cut {
            let found = format!("a first line of more than {LONGEST_LINE} bytes");
            return Err(WireError::NotCsv { found, expected: expected_header() });
        }
        let rows = RowParser { columns: ColumnMap::from_header(header.text)?, previous_s: None };
        Ok(Self { lines, rows, issues: IssueLog::default(), samples: 0, ended: false })
    }

    /// Whether the file has a second, high-range accelerometer.
    pub fn has_accel_hi(&self) -> bool {
        self.rows.columns.has_hi
    }

    fn check_not_empty(&self, last_line: u64) -> Result<(), WireError> {
        match self.issues.kept().first() {
            _ if self.samples > 0 => Ok(()),
            None => Err(WireError::NoRow { line: last_line + 1 }),
            Some(first) => {
                let reason = first.kind.to_string();
                Err(WireError::NoUsableRow { line: first.line, bad: self.issues.count(), reason })
            }
        }
    }
}

impl<R: Read> SampleBatches for CsvReader<R> {
    fn read_batch(&mut self, batch: &mut Vec<Sample>, most: usize) -> Result<bool, WireError> {
        batch.clear();
        let mut last_line = 1;
        while !self.ended && batch.len() < most {
            let Some(line) = self.lines.next_line()? else {
                self.ended = true;
                self.samples += batch.len() as u64;
                self.check_not_empty(last_line)?;
                return Ok(!batch.is_empty());
            };
            last_line = line.number;
            match self.rows.parse(&line) {
                Ok(Some(sample)) => batch.push(sample),
                Ok(None) => {}
                Err(kind) => self.issues.push(Issue { line: line.number, kind }),
            }
        }
        self.samples += batch.len() as u64;
        Ok(!batch.is_empty())
    }

    fn issues(&self) -> &IssueLog {
        &self.issues
    }
}

#[derive(Debug)]
struct RowParser {
    columns: ColumnMap,
    previous_s: Option<f64>,
}

impl RowParser {
    /// The sample of a line, nothing for a blank line, or why the row is bad.
    fn parse(&mut self, line: &Line<'_>) -> Result<Option<Sample>, IssueKind> {
        if line.cut {
            return Err(IssueKind::LineTooLong { longest: LONGEST_LINE });
        }
        if line.text.iter().all(u8::is_ascii_whitespace) {
            return Ok(None);
        }
        let numbers = self.numbers(line.text)?;
        let time_s = numbers[0];
        if time_s.is_nan() {
            return Err(IssueKind::NotANumber { column: slot_name(0).into(), text: String::new() });
        }
        if let Some(previous_s) = self.previous_s.filter(|&previous_s| time_s <= previous_s) {
            return Err(IssueKind::TimeNotIncreasing { previous_s, found_s: time_s });
        }
        self.previous_s = Some(time_s);
        Ok(Some(sample_of(&numbers, self.columns.has_hi)))
    }

    fn numbers(&self, text: &[u8]) -> Result<[f64; SLOTS], IssueKind> {
        let mut row = Row { numbers: [f64::NAN; SLOTS], found: 0, first_bad: None };
        let slots = &self.columns.slot_of_column;
        if text.contains(&b'"') {
            split_quoted(text, |cell| row.take(slots, cell));
        } else {
            text.split(|&byte| byte == b',').for_each(|cell| row.take(slots, cell));
        }
        if row.found != slots.len() {
            return Err(IssueKind::WrongCellCount { expected: slots.len(), found: row.found });
        }
        row.first_bad.map_or(Ok(row.numbers), Err)
    }
}

/// A row while its cells are read.
struct Row {
    numbers: [f64; SLOTS],
    found: usize,
    first_bad: Option<IssueKind>,
}

impl Row {
    fn take(&mut self, slot_of_column: &[Option<usize>], cell: &[u8]) {
        let slot = slot_of_column.get(self.found).copied().flatten();
        self.found += 1;
        let Some(slot) = slot else { return };
        if let Some(number) = parse_decimal(cell).filter(|number| number.is_finite()) {
            self.numbers[slot] = number;
        } else if !cell.iter().all(u8::is_ascii_whitespace) {
            self.first_bad.get_or_insert_with(|| bad_cell(slot, cell));
        }
    }
}

#[cold]
fn bad_cell(slot: usize, cell: &[u8]) -> IssueKind {
    let column = slot_name(slot).to_owned();
    if parse_decimal(cell).is_some() {
        return IssueKind::NotFinite { column };
    }
    let start = &cell[..cell.len().min(4 * QUOTED_CHARS)];
    let text = String::from_utf8_lossy(start).chars().take(QUOTED_CHARS).collect();
    IssueKind::NotANumber { column, text }
}

fn sample_of(numbers: &[f64; SLOTS], has_hi: bool) -> Sample {
    let [time_s, gyro_x, gyro_y, gyro_z, accel_x, accel_y, accel_z, hi_x, hi_y, hi_z] = *numbers;
    Sample {
        time: SensorTime(time_s),
        gyro_s_radps: Vector3::new(gyro_x, gyro_y, gyro_z),
        accel_s_mps2: Vector3::new(accel_x, accel_y, accel_z),
        accel_hi_s_mps2: has_hi.then(|| Vector3::new(hi_x, hi_y, hi_z)),
    }
}

/// Writes samples as CSV, each number as the shortest text that reads back to the same double.
#[derive(Debug)]
pub struct CsvWriter<W: Write> {
    out: W,
    with_hi: bool,
}

impl<W: Write> CsvWriter<W> {
    /// Writes the header.
    pub fn new(mut out: W, with_hi: bool) -> std::io::Result<Self> {
        let hi: &[&str] = if with_hi { &COLUMNS_HI } else { &[] };
        writeln!(out, "{}", [&COLUMNS, hi].concat().join(","))?;
        Ok(Self { out, with_hi })
    }

    /// Writes rows. A component that is missing (NaN) is an empty cell.
    pub fn write(&mut self, samples: &[Sample]) -> std::io::Result<()> {
        samples.iter().try_for_each(|sample| self.write_row(sample))
    }

    /// Hands the output back, everything written to it.
    pub fn finish(mut self) -> std::io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }

    fn write_row(&mut self, sample: &Sample) -> std::io::Result<()> {
        write!(self.out, "{:?}", sample.time.0)?;
        let missing = Vector3::repeat(f64::NAN);
        let hi = self.with_hi.then(|| sample.accel_hi_s_mps2.unwrap_or(missing));
        for vector in [Some(sample.gyro_s_radps), Some(sample.accel_s_mps2), hi].into_iter().flatten() {
            for number in vector.iter() {
                match number.is_finite() {
                    true => write!(self.out, ",{number:?}")?,
                    false => write!(self.out, ",")?,
                }
            }
        }
        writeln!(self.out)
    }
}

#[cfg(test)]
mod tests;
