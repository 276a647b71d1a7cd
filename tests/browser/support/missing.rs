//! What the tests of the pages cannot do without, and whether they may be left out.

use std::io::Write;

/// With `BROWSER_TESTS=required` whatever is missing fails the test; else it is said, past what keeps a test's words to itself,
/// that the test was left out.
///
/// # Panics
/// If it is required.
pub fn is_missing(what: &str) {
    let is_required = std::env::var_os("BROWSER_TESTS").is_some_and(|value| value == "required");
    assert!(!is_required, "BROWSER_TESTS=required, but {what}");
    let _ = writeln!(std::io::stderr(), "left out: {what}");
}
