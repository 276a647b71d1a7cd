//! A test of this crate, run again in a process of its own.

use std::process::{Command, Output};

/// Set in the child, to whatever it needs.
pub(super) const CHILD: &str = "SWINGD_TEST_CHILD";

/// What the child was given; `None` in an ordinary run of the tests.
pub(super) fn given() -> Option<String> {
    std::env::var(CHILD).ok()
}

/// Runs the ignored test of that full name with `given`.
pub(super) fn run(test: &str, given: &str) -> Output {
    let program = std::env::current_exe().unwrap();
    Command::new(program)
        .args(["--ignored", "--exact", "--nocapture", "--test-threads=1", test])
        .env(CHILD, given)
        .output()
        .unwrap()
}
