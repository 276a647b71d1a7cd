//! People's words in a cell of CSV.

use std::borrow::Cow;

/// What a spreadsheet takes for the beginning of a formula.
const FORMULA: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Words as they stand in a cell: behind an apostrophe if they begin as a formula does, so that a spreadsheet shows them and
/// computes nothing (OWASP, "CSV Injection"). Numbers are no words and are not to be passed through this. Whoever needs
/// words letter by letter has them in Parquet and JSON.
pub fn words(text: &str) -> Cow<'_, str> {
    if text.starts_with(FORMULA) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn what_would_be_computed_stands_behind_an_apostrophe() {
        for text in ["=1+1", "+1", "-1", "@SUM(1)", "\t=1", "\r=1"] {
            assert_eq!(words(text), format!("'{text}"));
        }
        for text in ["", "Wren", "Wren=", "high-tee", "'x", " =1"] {
            assert_eq!(words(text), text);
        }
    }
}
