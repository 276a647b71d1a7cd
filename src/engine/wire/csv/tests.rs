use proptest::prelude::*;

use super::*;
use crate::engine::sample::KEPT_ISSUES;
use crate::engine::wire::test_support::{any_samples, bits_of};

const HEADER: &str = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\n";

fn read(text: impl AsRef<[u8]>) -> Result<(Vec<Sample>, IssueLog), WireError> {
    let mut reader = CsvReader::new(text.as_ref())?;
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch, 7)? {
        all.extend_from_slice(&batch);
    }
    Ok((all, reader.issues().clone()))
}

fn read_rows(rows: &str) -> (Vec<Sample>, Vec<Issue>) {
    let (samples, issues) = read(format!("{HEADER}{rows}")).unwrap();
    (samples, issues.kept().to_vec())
}

#[test]
fn columns_are_found_by_name_and_others_ignored() {
    let text = "\u{feff}accel_z_mps2,note,accel_y_mps2,accel_x_mps2,gyro_z_radps,gyro_y_radps,\"gyro_x_radps\",t_s\r\n\
                6,\"left, \"\"high\"\"\",5,4,3,2,1,0.5\r\n60,,50,40,30,20,10,1.5\r\n";
    let (samples, issues) = read(text).unwrap();
    assert_eq!(issues.count(), 0);
    assert_eq!(samples.len(), 2);
    assert_eq!(samples[0].time, SensorTime(0.5));
    assert_eq!(samples[0].gyro_s_radps, Vector3::new(1.0, 2.0, 3.0));
    assert_eq!(samples[1].accel_s_mps2, Vector3::new(40.0, 50.0, 60.0));
    assert_eq!(samples[0].accel_hi_s_mps2, None);
}

#[test]
fn an_empty_cell_is_a_missing_component() {
    let (samples, issues) = read_rows("0,1,,3,4, ,6\n");
    assert!(issues.is_empty());
    assert!(samples[0].gyro_s_radps.y.is_nan() && samples[0].accel_s_mps2.y.is_nan());
    assert_eq!(samples[0].accel_s_mps2.z, 6.0);
}

#[test]
fn the_second_accelerometer_is_read_whole_or_refused() {
    let header = HEADER.trim_end().to_owned() + ",accel_hi_x_mps2,accel_hi_y_mps2";
    let (samples, _) = read(format!("{header},accel_hi_z_mps2\n0,1,2,3,4,5,6,7,8,9\n")).unwrap();
    assert_eq!(samples[0].accel_hi_s_mps2, Some(Vector3::new(7.0, 8.0, 9.0)));
    let error = read(format!("{header}\n0,1,2,3,4,5,6,7,8\n")).unwrap_err();
    assert!(matches!(error, WireError::MissingColumn { column: "accel_hi_z_mps2", .. }));
}

#[test]
fn every_bad_row_is_told_by_its_line_and_left_out() {
    let rows = "0,1,2,3,4,5,6\n\n0.1,x,2,3,4,5,6\n0.2,inf,2,3,4,5,6\n0.2,NaN,2,3,4,5,6\n0.3,1,2\n0.0,1,2,3,4,5,6\n,1,2,3,4,5,6\n\
                0.4,1,2,3,4,5,6,7\n\"0.5,1,2,3,4,5,6\n0.6,1,2,3,4,5,6";
    let (samples, issues) = read_rows(rows);
    assert_eq!(samples.iter().map(|sample| sample.time.0).collect::<Vec<_>>(), [0.0, 0.6]);
    let gyro_x = || "gyro_x_radps".to_owned();
    let expected = [
        (4, IssueKind::NotANumber { column: gyro_x(), text: "x".into() }),
        (5, IssueKind::NotFinite { column: gyro_x() }),
        (6, IssueKind::NotFinite { column: gyro_x() }),
        (7, IssueKind::WrongCellCount { expected: 7, found: 3 }),
        (8, IssueKind::TimeNotIncreasing { previous_s: 0.0, found_s: 0.0 }),
        (9, IssueKind::NotANumber { column: "t_s".into(), text: String::new() }),
        (10, IssueKind::WrongCellCount { expected: 7, found: 8 }),
        (11, IssueKind::WrongCellCount { expected: 7, found: 1 }),
    ];
    assert_eq!(issues, expected.map(|(line, kind)| Issue { line, kind }));
}

#[test]
fn issues_are_all_counted_but_not_all_kept() {
    let mut text = format!("{HEADER}0,1,2,3,4,5,6\n");
    (0..10_000).for_each(|_| text.push_str("bad\n"));
    let (samples, issues) = read(text).unwrap();
    assert_eq!((samples.len(), issues.count(), issues.kept().len()), (1, 10_000, KEPT_ISSUES));
}

#[test]
fn a_file_that_is_no_recording_is_one_clear_error() {
    for (text, told) in [
        (&b""[..], "line 1: the file is empty; expected the header t_s,gyro_x_radps,"),
        (b"\n\n", "line 1: the file is empty"),
        (b"\x89PNG\r\n\x1a\n\0\0", "line 1: this is not CSV: bytes that are not text; expected the header t_s,"),
        (b"\xff\xfet\0_\0s\0", "line 1: this is not CSV"),
        (b"a,b\n1,2\n", "line 1: the column `t_s` is missing; expected the header t_s,"),
        (HEADER.trim_end().as_bytes(), "line 2: there is no row under the header; expected at least one sample"),
    ] {
        let error = read(text).unwrap_err().to_string();
        assert!(error.starts_with(told), "{error}");
    }
    let error = read(format!("{}t_s\n", HEADER.replace('\n', ","))).unwrap_err();
    assert!(matches!(error, WireError::DoubledColumn { column: "t_s" }));
    let error = read(format!("{HEADER}a,b\nc\n")).unwrap_err().to_string();
    assert!(
        error.starts_with("line 2: none of the 2 rows can be used, the first because the row has 2 cells"),
        "{error}"
    );
    let endless = vec![b'x'; 3 * LONGEST_LINE];
    assert!(matches!(read(endless).unwrap_err(), WireError::NotCsv { .. }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn what_is_written_reads_back_bit_for_bit(samples in any_samples(1..40)) {
        let with_hi = samples[0].accel_hi_s_mps2.is_some();
        let mut writer = CsvWriter::new(Vec::new(), with_hi).unwrap();
        writer.write(&samples).unwrap();
        let (found, issues) = read(writer.finish().unwrap()).unwrap();
        prop_assert_eq!(issues.count(), 0);
        prop_assert_eq!(bits_of(&found), bits_of(&samples));
    }

    #[test]
    fn hostile_bytes_never_panic_and_times_increase(
        rows in proptest::collection::vec("([0-9.,e+\"\r-]|inf|nan|\\PC){0,30}", 0..20),
        garbage in proptest::collection::vec(any::<u8>(), 0..200),
    ) {
        let mut text = format!("{HEADER}0,1,2,3,4,5,6\n{}\n", rows.join("\n")).into_bytes();
        text.extend(garbage);
        let (samples, _) = read(text).unwrap();
        prop_assert!(samples.windows(2).all(|pair| pair[0].time < pair[1].time));
        prop_assert!(!samples.is_empty());
    }
}
