//! The table as CSV (RFC 4180).

use super::{Cell, Column, RowsError, SwingRow, columns};
use crate::report::csv_cell::words;
use ::csv::{Terminator, Writer, WriterBuilder};
use jiff::Timestamp;
use std::io::Write;

/// A table that is being written, a row at a time.
pub struct CsvRows<W: Write> {
    columns: Vec<Column>,
    writer: Writer<W>,
}

impl<W: Write> CsvRows<W> {
    /// Writes the header line.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn new(out: W) -> Result<Self, RowsError> {
        let columns = columns();
        let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(out);
        writer.write_record(columns.iter().map(|column| &column.name))?;
        Ok(Self { columns, writer })
    }

    /// Writes a row.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn push(&mut self, row: &SwingRow) -> Result<(), RowsError> {
        self.writer.write_record(self.columns.iter().map(|column| text(&column.cell, row)))?;
        Ok(())
    }

    /// Hands what is left to `out`.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn finish(mut self) -> Result<(), RowsError> {
        self.writer.flush().map_err(|error| RowsError::Csv(error.into()))
    }
}

fn text(cell: &Cell, row: &SwingRow) -> String {
    match cell {
        Cell::Text(of) => words(of(row)).into_owned(),
        Cell::MaybeText(of) => words(of(row).unwrap_or_default()).into_owned(),
        Cell::Utc(of) => of(row).and_then(utc).unwrap_or_default(),
        Cell::Number(number) => number.of(row).map(|number| number.to_string()).unwrap_or_default(),
        Cell::Count(of) => of(row).to_string(),
        Cell::Truth(of) => of(row).to_string(),
        Cell::Words(of) => of(row).join(" "),
    }
}

/// RFC 3339, UTC, to the microsecond; nothing outside of the years −9999 to 9999.
fn utc(micros: i64) -> Option<String> {
    Timestamp::from_microsecond(micros).ok().map(|instant| format!("{instant:.6}"))
}
