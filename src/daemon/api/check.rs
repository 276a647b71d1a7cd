//! Values of a body, checked one by one, so that all that is wrong is told at once.

use super::problem::{Place, Problem};
use std::ops::RangeInclusive;

/// Collects what cannot be used.
#[derive(Debug, Default)]
pub struct Check {
    errors: Vec<Place>,
}

impl Check {
    /// Nothing is wrong yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// A number in its range, if there is one.
    pub fn range(&mut self, key: &str, value: Option<f64>, range: RangeInclusive<f64>) -> &mut Self {
        if let Some(value) = value.filter(|value| !range.contains(value)) {
            self.wrong(key, format!("{value}; expected {} to {}", range.start(), range.end()));
        }
        self
    }

    /// A text that is not empty and has at most so many characters.
    pub fn name(&mut self, key: &str, value: &str, most: usize) -> &mut Self {
        if value.trim().is_empty() {
            self.wrong(key, "is empty; expected a name".into());
        }
        self.text(key, value, most)
    }

    /// A text with at most so many characters, and none that a terminal or a table would obey.
    pub fn text(&mut self, key: &str, value: &str, most: usize) -> &mut Self {
        let length = value.chars().count();
        if length > most {
            self.wrong(key, format!("has {length} characters; expected at most {most}"));
        }
        if value.chars().any(|c| c.is_control() && c != '\n' && c != '\t') {
            self.wrong(key, "holds control characters; expected text".into());
        }
        self
    }

    /// Says that something is wrong unless it is so.
    pub fn that(&mut self, is_so: bool, key: &str, otherwise: &str) -> &mut Self {
        if !is_so {
            self.wrong(key, otherwise.to_owned());
        }
        self
    }

    /// # Errors
    /// All that was wrong.
    pub fn done(&mut self) -> Result<(), Problem> {
        if self.errors.is_empty() { Ok(()) } else { Err(Problem::invalid(std::mem::take(&mut self.errors))) }
    }

    fn wrong(&mut self, key: &str, detail: String) {
        self.errors.push(Place { pointer: format!("/{key}"), detail });
    }
}
