//! The swings of a recording as a table for a terminal: a column a swing, a row a metric.

use super::RecordingSummary;
use super::words::{Cell, Row, Units, flags, letter, meaning, rounded, rows};
use crate::engine::swing::{Contact, Swing};
use std::fmt::Write;

/// Columns of a line that is still read without wrapping.
const LINE: usize = 100;
/// For a metric's name and unit.
const HEAD: usize = 28;
/// Between two swings.
const BETWEEN: usize = 2;

/// The table, with what is to be said of the recording above it and the legend below. Ends with a line end.
pub fn table(recording: &RecordingSummary, swings: &[Swing], units: Units) -> String {
    let mut out = summary_line(recording, swings.len()) + "\n";
    if swings.is_empty() {
        return out;
    }
    let columns: Vec<Vec<String>> = all_columns(swings, units);
    let heads = heads(&rows(swings, units));
    let width = columns.iter().flatten().map(|cell| cell.chars().count()).max().unwrap_or(0) + BETWEEN;
    for block in columns.chunks(((LINE - HEAD) / width).max(1)) {
        out += "\n";
        for (i, head) in heads.iter().enumerate() {
            let cells: String = block.iter().map(|column| format!("{:>width$}", column[i])).collect();
            out += format!("{head:<HEAD$}{cells}").trim_end();
            out += "\n";
        }
    }
    out + "\n" + &legend(swings)
}

/// What the recording is, in one line.
pub fn summary_line(recording: &RecordingSummary, swings: usize) -> String {
    let RecordingSummary { path, duration_s, sample_rate_hz, gaps, missing_samples, unusable_rows, .. } = recording;
    let mut line = format!("{path}: {duration_s:.1} s at {sample_rate_hz:.0} Hz");
    let plural = |n: usize| if n == 1 { "" } else { "s" };
    let _ = write!(line, ", {swings} swing{}", plural(swings));
    if *gaps > 0 {
        let _ = write!(line, "; {missing_samples} samples missing in {gaps} gap{}", plural(*gaps as usize));
    }
    if *unusable_rows > 0 {
        let plural = plural(*unusable_rows as usize);
        let _ = write!(line, "; {unusable_rows} row{plural} unusable");
    }
    line
}

fn heads(rows: &[Row]) -> Vec<String> {
    let mut heads = vec!["Swing".to_owned(), "Contact at              s".to_owned(), "Met".to_owned()];
    heads.extend(rows.iter().map(|row| format!("{:<23} {}", row.label, row.unit)));
    heads.push("Flags".to_owned());
    heads
}

/// A column a swing: number, time, what it met, the metrics, the flags.
fn all_columns(swings: &[Swing], units: Units) -> Vec<Vec<String>> {
    let rows = rows(swings, units);
    let metric_rows: Vec<Vec<String>> = rows.iter().map(|row| aligned(&row.cells)).collect();
    let column = |(i, swing): (usize, &Swing)| {
        let met = match swing.contact_kind {
            Contact::Ball => "ball",
            Contact::None => "nothing",
        };
        let mut column = vec![(i + 1).to_string(), rounded(swing.contact.0, 3), met.to_owned()];
        column.extend(metric_rows.iter().map(|row| row[i].clone()));
        column.push(swing.flags.iter().map(|&flag| letter(flag)).collect());
        column
    };
    swings.iter().enumerate().map(column).collect()
}

/// "value ± half-width" with the signs one above the other.
fn aligned(cells: &[Option<Cell>]) -> Vec<String> {
    let width = cells.iter().flatten().map(|cell| cell.half_width.chars().count()).max().unwrap_or(0);
    let text = |cell: &Cell| format!("{} ± {:>width$}", cell.value, cell.half_width);
    cells.iter().map(|cell| cell.as_ref().map_or_else(|| "–".to_owned(), text)).collect()
}

fn legend(swings: &[Swing]) -> String {
    let mut legend = "± half the width of the 95 % interval (1.96 σ)\n".to_owned();
    for flag in flags(swings) {
        let _ = writeln!(legend, "{} {}", letter(flag), meaning(flag));
    }
    legend
}

#[cfg(test)]
mod tests {
    use super::super::example::{summary, swing};
    use super::*;

    #[test]
    fn a_lesson_of_five() {
        let swings: Vec<Swing> = (1..=5).map(swing).collect();
        insta::assert_snapshot!(table(&summary(), &swings, Units::Us));
    }

    #[test]
    fn a_recording_with_bad_rows_and_no_swing() {
        let recording = RecordingSummary { gaps: 1, missing_samples: 3, unusable_rows: 300, ..summary() };
        insta::assert_snapshot!(table(&recording, &[], Units::Metric));
    }

    #[test]
    fn no_line_is_too_long_and_every_swing_is_there() {
        let swings: Vec<Swing> = (1..=23).map(swing).collect();
        let text = table(&summary(), &swings, Units::Metric);
        assert!(text.lines().all(|line| line.chars().count() <= LINE));
        for n in 1..=23 {
            assert!(text.contains(&format!(" {}.000", 10 * n)), "{n}");
        }
    }
}
