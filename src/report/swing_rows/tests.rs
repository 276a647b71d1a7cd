use super::*;
use ::parquet::basic::{LogicalType, Repetition, TimeUnit};
use ::parquet::file::reader::{FileReader, SerializedFileReader};
use ::parquet::record::{Field, ListAccessor, Row};
use bytes::Bytes;
use std::io::{self, Write};

/// The `n`-th of many: each a little different, every third with holes.
fn row(n: usize) -> SwingRow {
    let hole = n.is_multiple_of(3);
    let text = |text: &str| (!hole).then(|| text.to_owned());
    let mut metrics =
        std::array::from_fn(|m| Some(Estimate { value: n as f64 + 0.1 * m as f64, sigma: 0.01 * (m + 1) as f64 }));
    if hole {
        metrics[Metric::TimingWindow.index()] = None;
        metrics[Metric::BatSpeed.index()] = Some(Estimate { value: 30.0, sigma: f64::NAN });
    }
    SwingRow {
        swing_id: format!("swing-{n}"),
        athlete_id: text("athlete-1"),
        nickname: text("Wren"),
        side: text("left"),
        bat: text("the \"long\" one, ash"),
        drill: text("high tee"),
        ball_source: text("tee"),
        lesson_id: text("lesson-1"),
        round_id: text("round-2"),
        occasion: text("lesson"),
        recording_id: "recording-1".into(),
        contact_utc_us: (!hole).then_some(1_764_087_018_123_456 + n as i64),
        start_s: 10.0 * n as f64 - 0.157,
        contact_s: if hole { f64::INFINITY } else { 10.0 * n as f64 },
        contact: "ball".into(),
        engine_version: "0.1.0".into(),
        revision: n as i32,
        excluded: hole,
        flags: ["gap", "no_rest"].iter().take(n % 3).map(|&flag| flag.to_owned()).collect(),
        metrics,
    }
}

fn parquet_of(count: usize) -> SerializedFileReader<Bytes> {
    let mut out = Vec::new();
    assert_eq!(write_parquet(&mut (0..count).map(row), &mut out).unwrap(), count as u64);
    SerializedFileReader::new(Bytes::from(out)).unwrap()
}

/// A row as it was read, as text that is compared with what it has to be.
fn read(row: &Row) -> Vec<(String, Field)> {
    row.get_column_iter().map(|(name, field)| (name.clone(), field.clone())).collect()
}

fn number(found: &Field) -> Option<f64> {
    match found {
        Field::Double(value) => Some(*value),
        Field::Null => None,
        other => panic!("{other:?} is no number"),
    }
}

fn text(found: &Field) -> Option<&str> {
    match found {
        Field::Str(text) => Some(text),
        Field::Null => None,
        other => panic!("{other:?} is no text"),
    }
}

/// What stands in a cell that was read is what the row has.
fn assert_cell(column: &Column, found: &Field, row: &SwingRow) {
    let name = &column.name;
    match &column.cell {
        Cell::Text(of) => assert_eq!(text(found), Some(of(row)), "{name}"),
        Cell::MaybeText(of) => assert_eq!(text(found), of(row), "{name}"),
        Cell::Number(of) => assert_eq!(number(found), of.of(row), "{name}"),
        Cell::Utc(of) => assert_eq!(*found, of(row).map_or(Field::Null, Field::TimestampMicros), "{name}"),
        Cell::Count(of) => assert_eq!(*found, Field::Int(of(row)), "{name}"),
        Cell::Truth(of) => assert_eq!(*found, Field::Bool(of(row)), "{name}"),
        Cell::Words(of) => {
            let Field::ListInternal(list) = found else { panic!("{name}: {found:?}") };
            let words: Vec<&String> = (0..list.len()).map(|i| list.get_string(i).unwrap()).collect();
            assert_eq!(words, of(row).iter().collect::<Vec<_>>(), "{name}");
        }
    }
}

#[test]
fn parquet_reads_back_as_it_was_written_over_several_groups() {
    let count = 2 * ROWS_A_GROUP + 5;
    let reader = parquet_of(count);
    let groups: Vec<i64> = reader.metadata().row_groups().iter().map(|group| group.num_rows()).collect();
    assert_eq!(groups, [ROWS_A_GROUP as i64, ROWS_A_GROUP as i64, 5]);
    let columns = columns();
    let mut read_rows = 0;
    for (n, found) in reader.get_row_iter(None).unwrap().enumerate() {
        read_rows += 1;
        // All of the rows where one group meets the next, and some of the others.
        if n % 97 != 0 && n % ROWS_A_GROUP > 2 && n % ROWS_A_GROUP < ROWS_A_GROUP - 2 {
            continue;
        }
        let found = read(&found.unwrap());
        assert_eq!(found.len(), columns.len());
        for (column, (name, field)) in columns.iter().zip(&found) {
            assert_eq!(*name, column.name);
            assert_cell(column, field, &row(n));
        }
    }
    assert_eq!(read_rows, count);
}

#[test]
fn absent_numbers_are_null_and_never_nan() {
    let found = parquet_of(1).get_row_iter(None).unwrap().next().unwrap().unwrap();
    let nulls: Vec<String> =
        read(&found).into_iter().filter(|(_, f)| *f == Field::Null).map(|(name, _)| name).collect();
    let expected = [
        "athlete_id",
        "nickname",
        "side",
        "bat",
        "drill",
        "ball_source",
        "lesson_id",
        "round_id",
        "occasion",
        "contact_utc",
        "contact_s",
        "bat_speed_mps",
        "bat_speed_mps_sigma",
        "timing_window_ms",
        "timing_window_ms_sigma",
    ];
    assert_eq!(nulls, expected);
}

#[test]
fn columns_have_their_logical_types() {
    let reader = parquet_of(0);
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let of = |path: &str| schema.columns().iter().find(|column| column.path().string() == path).unwrap().clone();
    assert_eq!(of("contact_utc").logical_type_ref(), Some(&LogicalType::timestamp(true, TimeUnit::MICROS)));
    for path in ["swing_id", "nickname", "flags.list.element"] {
        assert_eq!(of(path).logical_type_ref(), Some(&LogicalType::String), "{path}");
    }
    let optional = |path: &str| of(path).self_type().get_basic_info().repetition() == Repetition::OPTIONAL;
    assert!(optional("bat_speed_mps_sigma") && optional("drill") && !optional("swing_id") && !optional("revision"));
    assert_eq!(schema.num_columns(), 19 + 2 * Metric::COUNT);
}

#[test]
fn csv_has_the_same_columns_and_reads_back() {
    let mut out = Vec::new();
    assert_eq!(write_csv(&mut (0..7).map(row), &mut out).unwrap(), 7);
    assert!(out.ends_with(b"\r\n"));
    let mut reader = ::csv::Reader::from_reader(out.as_slice());
    let names: Vec<String> = columns().into_iter().map(|column| column.name).collect();
    assert_eq!(reader.headers().unwrap(), names.iter().map(String::as_str).collect::<Vec<_>>());
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell = |n: usize, name: &str| rows[n].get(names.iter().position(|other| other == name).unwrap()).unwrap();
    assert_eq!(rows.len(), 7);
    assert_eq!(cell(1, "bat"), "the \"long\" one, ash");
    assert_eq!(cell(1, "contact_utc"), "2025-11-25T16:10:18.123457Z");
    assert_eq!((cell(5, "flags"), cell(1, "flags"), cell(3, "flags")), ("gap no_rest", "gap", ""));
    assert_eq!((cell(3, "contact_s"), cell(3, "bat_speed_mps"), cell(3, "excluded")), ("", "", "true"));
    for column in columns() {
        if let Cell::Number(number) = &column.cell {
            assert_eq!(cell(4, &column.name).parse().ok(), number.of(&row(4)), "{}", column.name);
        }
    }
}

fn write_csv(rows: &mut dyn Iterator<Item = SwingRow>, out: impl Write) -> Result<u64, RowsError> {
    let mut table = CsvRows::new(out)?;
    let mut written = 0;
    for row in rows {
        table.push(&row)?;
        written += 1;
    }
    table.finish()?;
    Ok(written)
}

fn write_parquet(rows: &mut dyn Iterator<Item = SwingRow>, out: impl Write + Send) -> Result<u64, RowsError> {
    let mut table = ParquetRows::new(out)?;
    let mut written = 0;
    for row in rows {
        table.push(row)?;
        written += 1;
    }
    table.finish()?;
    Ok(written)
}

/// Takes so many bytes and no more.
struct Full(usize);

impl Write for Full {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 = self.0.checked_sub(bytes.len()).ok_or(io::ErrorKind::StorageFull)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_full_disk_is_an_error_wherever_it_comes() {
    let mut whole = (Vec::new(), Vec::new());
    write_parquet(&mut (0..40).map(row), &mut whole.0).unwrap();
    write_csv(&mut (0..40).map(row), &mut whole.1).unwrap();
    for room in (0..whole.0.len()).step_by(501) {
        assert!(matches!(write_parquet(&mut (0..40).map(row), Full(room)), Err(RowsError::Parquet(_))), "{room}");
    }
    for room in (0..whole.1.len()).step_by(501) {
        assert!(matches!(write_csv(&mut (0..40).map(row), Full(room)), Err(RowsError::Csv(_))), "{room}");
    }
}
