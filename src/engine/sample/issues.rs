//! A bounded list of what could not be used: all are counted, the first are kept.

use super::Issue;

/// How many issues are kept; a file of nothing but bad rows must not fill the memory.
pub const KEPT_ISSUES: usize = 100;

/// Counts every issue and keeps the first [`KEPT_ISSUES`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct IssueLog {
    count: u64,
    kept: Vec<Issue>,
}

impl IssueLog {
    /// Counts `issue`, and keeps it if there is room.
    pub fn push(&mut self, issue: Issue) {
        self.count += 1;
        if self.kept.len() < KEPT_ISSUES {
            self.kept.push(issue);
        }
    }

    /// How many there were.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The first of them, in the order of the file.
    pub fn kept(&self) -> &[Issue] {
        &self.kept
    }
}
