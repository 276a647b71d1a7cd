//! Rows of things as a table for a terminal: a line each.

/// Between two columns.
const BETWEEN: &str = "  ";

/// A column and how it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its head; may have several lines.
    pub head: String,
    /// Numbers stand to the right.
    pub is_number: bool,
}

impl Column {
    /// Of words.
    pub fn words(head: &str) -> Self {
        Self { head: head.to_owned(), is_number: false }
    }

    /// Of numbers.
    pub fn numbers(head: &str) -> Self {
        Self { head: head.to_owned(), is_number: true }
    }
}

/// The table; columns in which no row says anything are left out. Ends with a line end; without rows it is empty.
pub fn table(columns: &[Column], rows: &[Vec<String>]) -> String {
    let says = |at: usize| rows.iter().any(|row| row.get(at).is_some_and(|cell| !cell.is_empty()));
    let shown: Vec<(usize, &Column)> = columns.iter().enumerate().filter(|(at, _)| says(*at)).collect();
    let head_lines = shown.iter().map(|(_, column)| column.head.lines().count()).max().unwrap_or(0);
    let head = |column: &Column, line: usize| {
        // Heads end on the line above the first row.
        let above = head_lines - column.head.lines().count();
        line.checked_sub(above).and_then(|line| column.head.lines().nth(line)).unwrap_or_default().to_owned()
    };
    let heads = (0..head_lines).map(|line| shown.iter().map(|(_, column)| head(column, line)).collect::<Vec<_>>());
    let cell = |row: &Vec<String>, at: usize| row.get(at).cloned().unwrap_or_default();
    let cells = rows.iter().map(|row| shown.iter().map(|(at, _)| cell(row, *at)).collect::<Vec<_>>());
    let lines: Vec<Vec<String>> = heads.chain(cells).collect();
    let width = |place: usize| lines.iter().filter_map(|l| l.get(place)).map(|c| c.chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..shown.len()).map(width).collect();
    let mut out = String::new();
    for line in lines {
        let padded = line.iter().zip(&widths).zip(&shown).map(|((cell, width), (_, column))| {
            if column.is_number { format!("{cell:>width$}") } else { format!("{cell:<width$}") }
        });
        out += padded.collect::<Vec<_>>().join(BETWEEN).trim_end();
        out += "\n";
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_to_the_right_and_columns_that_say_nothing_are_left_out() {
        let columns =
            [Column::words("Who"), Column::words("Drill"), Column::numbers("Speed\nmph"), Column::words("Id")];
        let row = |cells: [&str; 4]| cells.map(str::to_owned).to_vec();
        let rows = [row(["Wren", "", "67.1", "a"]), row(["Söhne", "", "101.2", ""])];
        let shown = "       Speed\nWho      mph  Id\nWren    67.1  a\nSöhne  101.2\n";
        assert_eq!(table(&columns, &rows), shown);
        assert_eq!(table(&columns, &[]), "");
    }
}
