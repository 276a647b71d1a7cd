//! The columns of a CSV recording: which are needed, and where a file has them.

use super::WireError;

/// The names of the columns every recording has, in the order in which they are written.
pub const COLUMNS: [&str; 7] =
    ["t_s", "gyro_x_radps", "gyro_y_radps", "gyro_z_radps", "accel_x_mps2", "accel_y_mps2", "accel_z_mps2"];

/// The names of the columns of a second, high-range accelerometer: all three or none.
pub const COLUMNS_HI: [&str; 3] = ["accel_hi_x_mps2", "accel_hi_y_mps2", "accel_hi_z_mps2"];

/// How many numbers a row can have.
pub(super) const SLOTS: usize = COLUMNS.len() + COLUMNS_HI.len();

/// For each column of the file, the number of a row it holds, if any.
#[derive(Debug)]
pub(super) struct ColumnMap {
    pub(super) slot_of_column: Vec<Option<usize>>,
    pub(super) has_hi: bool,
}

/// The name of the number in a slot.
pub(super) fn slot_name(slot: usize) -> &'static str {
    COLUMNS.iter().chain(&COLUMNS_HI).nth(slot).copied().unwrap_or("")
}

impl ColumnMap {
    /// From the header's cells.
    pub(super) fn from_header(line: &[u8]) -> Result<Self, WireError> {
        let cells = header_cells(line)?;
        let mut slot_of_column = vec![None; cells.len()];
        let mut found = [false; SLOTS];
        for (column, cell) in cells.iter().enumerate() {
            let Some(slot) = (0..SLOTS).find(|&slot| slot_name(slot) == cell.trim()) else {
                continue;
            };
            if std::mem::replace(&mut found[slot], true) {
                return Err(WireError::DoubledColumn { column: slot_name(slot) });
            }
            slot_of_column[column] = Some(slot);
        }
        let has_hi = found[COLUMNS.len()..].contains(&true);
        let needed = if has_hi { SLOTS } else { COLUMNS.len() };
        match found[..needed].iter().position(|&there| !there) {
            Some(slot) => Err(WireError::MissingColumn { column: slot_name(slot), expected: expected_header() }),
            None => Ok(Self { slot_of_column, has_hi }),
        }
    }
}

/// What the first line should have been.
pub(super) fn expected_header() -> String {
    format!("the header {}", COLUMNS.join(","))
}

fn header_cells(line: &[u8]) -> Result<Vec<String>, WireError> {
    let text = std::str::from_utf8(line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line));
    let text = text.ok().filter(|text| !text.contains(|c: char| c.is_control() && c != '\t'));
    let Some(text) = text else {
        return Err(WireError::NotCsv { found: "bytes that are not text".into(), expected: expected_header() });
    };
    if text.trim().is_empty() {
        return Err(WireError::Empty { expected: expected_header() });
    }
    let mut cells = Vec::new();
    split_quoted(text.as_bytes(), |cell| cells.push(String::from_utf8_lossy(cell).into_owned()));
    Ok(cells)
}

/// Hands over the cells of one line that may hold quotes (RFC 4180, section 2, rules 5 to 7). What follows a closing
/// quote belongs to the cell; a quote that is not closed reaches to the end of the line.
pub(super) fn split_quoted(line: &[u8], mut each: impl FnMut(&[u8])) {
    let mut cell = Vec::new();
    let mut rest = Some(line);
    while let Some(text) = rest {
        cell.clear();
        rest = match text {
            [b'"', quoted @ ..] => take_quoted(quoted, &mut cell),
            _ => take_plain(text, &mut cell),
        };
        each(&cell);
    }
}

/// Moves the rest of a cell into `cell`; what follows its comma is left, if there is one.
fn take_plain<'a>(text: &'a [u8], cell: &mut Vec<u8>) -> Option<&'a [u8]> {
    let end = text.iter().position(|&byte| byte == b',').unwrap_or(text.len());
    cell.extend_from_slice(&text[..end]);
    text.get(end + 1..)
}

/// The same for a cell behind its opening quote.
fn take_quoted<'a>(mut text: &'a [u8], cell: &mut Vec<u8>) -> Option<&'a [u8]> {
    loop {
        let end = text.iter().position(|&byte| byte == b'"').unwrap_or(text.len());
        cell.extend_from_slice(&text[..end]);
        text = text.get(end + 1..)?;
        match text {
            [b'"', after @ ..] => {
                cell.push(b'"');
                text = after;
            }
            _ => return take_plain(text, cell),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn quoted_lines_are_split_as_the_csv_crate_does(line in "[a, \"]{1,24}") {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(line.as_bytes());
            let expected = reader.byte_records().next().unwrap().unwrap();
            let mut found = csv::ByteRecord::new();
            split_quoted(line.as_bytes(), |cell| found.push_field(cell));
            prop_assert_eq!(found, expected);
        }
    }
}
