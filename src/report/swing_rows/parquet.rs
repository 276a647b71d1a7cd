//! The table as Parquet: row groups of bounded size, Snappy, the columns' types as their logical types.

use super::{Cell, Column, RowsError, SwingRow, columns};
use ::parquet::basic::Compression;
use ::parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int32Type, Int64Type};
use ::parquet::file::properties::{WriterProperties, WriterPropertiesPtr};
use ::parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use ::parquet::schema::parser::parse_message_type;
use ::parquet::schema::types::{ColumnPath, TypePtr};
use std::io::Write;
use std::sync::Arc;

/// Rows that are held back until they are written together: some 16 MB of memory, measured with 200,000 rows.
pub const ROWS_A_GROUP: usize = 8192;

/// A table that is being written, a row at a time. A file that is not finished is no Parquet file.
pub struct ParquetRows<W: Write + Send> {
    columns: Vec<Column>,
    writer: SerializedFileWriter<W>,
    held: Vec<SwingRow>,
}

impl<W: Write + Send> ParquetRows<W> {
    /// Begins a file.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn new(out: W) -> Result<Self, RowsError> {
        let columns = columns();
        let writer = SerializedFileWriter::new(out, schema(&columns)?, properties(&columns))?;
        Ok(Self { columns, writer, held: Vec::new() })
    }

    /// Takes a row; writes [`ROWS_A_GROUP`] once there are as many.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn push(&mut self, row: SwingRow) -> Result<(), RowsError> {
        self.held.push(row);
        if self.held.len() >= ROWS_A_GROUP { self.write_group() } else { Ok(()) }
    }

    /// Writes what is held back and the file's end.
    ///
    /// # Errors
    /// If `out` fails.
    pub fn finish(mut self) -> Result<(), RowsError> {
        if !self.held.is_empty() {
            self.write_group()?;
        }
        self.writer.close()?;
        Ok(())
    }

    fn write_group(&mut self) -> Result<(), RowsError> {
        let mut group = self.writer.next_row_group()?;
        for column in &self.columns {
            if let Some(mut writer) = group.next_column()? {
                write_column(&column.cell, &self.held, &mut writer)?;
                writer.close()?;
            }
        }
        group.close()?;
        self.held.clear();
        Ok(())
    }
}

fn schema(columns: &[Column]) -> Result<TypePtr, RowsError> {
    let field = |Column { name, cell }: &Column| match cell {
        Cell::Text(_) => format!("required binary {name} (STRING);"),
        Cell::MaybeText(_) => format!("optional binary {name} (STRING);"),
        Cell::Utc(_) => format!("optional int64 {name} (TIMESTAMP(MICROS,true));"),
        Cell::Number(_) => format!("optional double {name};"),
        Cell::Count(_) => format!("required int32 {name};"),
        Cell::Truth(_) => format!("required boolean {name};"),
        Cell::Words(_) => {
            format!("required group {name} (LIST) {{ repeated group list {{ required binary element (STRING); }} }}")
        }
    };
    let fields: String = columns.iter().map(field).collect();
    Ok(Arc::new(parse_message_type(&format!("message swings {{ {fields} }}"))?))
}

/// Text repeats itself, so it goes through a dictionary; measured numbers do not.
fn properties(columns: &[Column]) -> WriterPropertiesPtr {
    let of_numbers = columns.iter().filter(|column| matches!(column.cell, Cell::Number(_) | Cell::Utc(_)));
    let builder = WriterProperties::builder().set_compression(Compression::SNAPPY);
    let builder = of_numbers.fold(builder, |builder, column| {
        builder.set_column_dictionary_enabled(ColumnPath::from(column.name.as_str()), false)
    });
    Arc::new(builder.build())
}

fn write_column(cell: &Cell, rows: &[SwingRow], out: &mut SerializedColumnWriter<'_>) -> Result<(), RowsError> {
    match cell {
        Cell::Text(of) => {
            let values: Vec<ByteArray> = rows.iter().map(|row| bytes(of(row))).collect();
            out.typed::<ByteArrayType>().write_batch(&values, None, None)?;
        }
        Cell::MaybeText(of) => {
            let (values, levels) = present(rows, |row| of(row).map(bytes));
            out.typed::<ByteArrayType>().write_batch(&values, Some(&levels), None)?;
        }
        Cell::Utc(of) => {
            let (values, levels) = present(rows, of);
            out.typed::<Int64Type>().write_batch(&values, Some(&levels), None)?;
        }
        Cell::Number(number) => {
            let (values, levels) = present(rows, |row| number.of(row));
            out.typed::<DoubleType>().write_batch(&values, Some(&levels), None)?;
        }
        Cell::Count(of) => {
            let values: Vec<i32> = rows.iter().map(of).collect();
            out.typed::<Int32Type>().write_batch(&values, None, None)?;
        }
        Cell::Truth(of) => {
            let values: Vec<bool> = rows.iter().map(of).collect();
            out.typed::<BoolType>().write_batch(&values, None, None)?;
        }
        Cell::Words(of) => {
            let (values, defined, repeated) = words(rows, of);
            out.typed::<ByteArrayType>().write_batch(&values, Some(&defined), Some(&repeated))?;
        }
    }
    Ok(())
}

fn bytes(text: &str) -> ByteArray {
    ByteArray::from(text.as_bytes().to_vec())
}

/// The values that are there, and for each row 1 if it has one, 0 if not.
fn present<T>(rows: &[SwingRow], of: impl Fn(&SwingRow) -> Option<T>) -> (Vec<T>, Vec<i16>) {
    let cells: Vec<Option<T>> = rows.iter().map(of).collect();
    let levels = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
    (cells.into_iter().flatten().collect(), levels)
}

/// The words of all rows, and for each word, or row without any: 1 if there is a word; 0 if a row begins with it.
fn words(rows: &[SwingRow], of: &fn(&SwingRow) -> &[String]) -> (Vec<ByteArray>, Vec<i16>, Vec<i16>) {
    let (mut values, mut defined, mut repeated) = (Vec::new(), Vec::new(), Vec::new());
    for row in rows {
        let words = of(row);
        if words.is_empty() {
            defined.push(0);
            repeated.push(0);
        }
        for (place, word) in words.iter().enumerate() {
            values.push(bytes(word));
            defined.push(1);
            repeated.push(i16::from(place > 0));
        }
    }
    (values, defined, repeated)
}
