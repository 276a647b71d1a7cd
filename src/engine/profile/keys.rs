//! One section of a profile, key by key.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::{ProfileError, ProfileWarning};

/// Which numbers are possible, and how that is said.
#[derive(Clone, Copy, Debug)]
pub(super) struct Possible {
    pub(super) low: f64,
    pub(super) high: f64,
    /// Whether `low` itself is possible.
    pub(super) with_low: bool,
    pub(super) words: &'static str,
}

impl Possible {
    fn holds(&self, value: f64) -> bool {
        let above = if self.with_low { value >= self.low } else { value > self.low };
        above && value <= self.high
    }
}

/// The keys of a section that are asked for; what is left over is unknown.
pub(super) struct Section<'a> {
    text: &'a str,
    name: &'static str,
    table: Option<&'a DeTable<'a>>,
    asked: Vec<&'static str>,
}

impl<'a> Section<'a> {
    /// The section `name` of a document, empty if it is not there.
    pub(super) fn of(text: &'a str, document: &'a DeTable<'a>, name: &'static str) -> Result<Self, ProfileError> {
        let table = match document.get(name).map(|value| (value, value.get_ref())) {
            None => None,
            Some((_, DeValue::Table(table))) => Some(table),
            Some((value, other)) => {
                return Err(ProfileError::Value {
                    line: line_of(text, value.span()),
                    key: name.into(),
                    found: kind_of(other),
                    expected: format!("a section, [{name}]"),
                });
            }
        };
        Ok(Self { text, name, table, asked: Vec::new() })
    }

    /// Whether the file has the section.
    pub(super) fn is_there(&self) -> bool {
        self.table.is_some()
    }

    /// The value of `key`, if the file has it.
    pub(super) fn value(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.push(key);
        self.table?.get(key)
    }

    /// A number, or `default`.
    pub(super) fn number(&mut self, key: &'static str, possible: Possible, default: f64) -> Result<f64, ProfileError> {
        Ok(self.optional_number(key, possible)?.unwrap_or(default))
    }

    /// A number, if the file has it.
    pub(super) fn optional_number(
        &mut self,
        key: &'static str,
        possible: Possible,
    ) -> Result<Option<f64>, ProfileError> {
        let Some(value) = self.value(key) else {
            return Ok(None);
        };
        match number_of(value.get_ref()) {
            Some(number) if possible.holds(number) => Ok(Some(number)),
            Some(number) => Err(self.error(key, value, format!("{number:?}"), possible.words)),
            None => Err(self.error(key, value, kind_of(value.get_ref()), possible.words)),
        }
    }

    /// A list of `N` finite numbers, if the file has it.
    pub(super) fn numbers<const N: usize>(&mut self, key: &'static str) -> Result<Option<[f64; N]>, ProfileError> {
        let Some(value) = self.value(key) else {
            return Ok(None);
        };
        numbers_of(value.get_ref())
            .ok_or_else(|| self.error(key, value, shown(value.get_ref()), &format!("a list of {N} finite numbers")))
            .map(Some)
    }

    /// Lists of finite numbers, with the lengths of `lengths`, one after the other in one list.
    pub(super) fn rows(&mut self, key: &'static str, lengths: &[usize]) -> Result<Option<Vec<f64>>, ProfileError> {
        let Some(value) = self.value(key) else {
            return Ok(None);
        };
        rows_of(value.get_ref(), lengths)
            .ok_or_else(|| {
                let (first, last) = (lengths.first().unwrap_or(&0), lengths.last().unwrap_or(&0));
                let expected = format!("{} lists of {first} to {last} finite numbers", lengths.len());
                self.error(key, value, shown(value.get_ref()), &expected)
            })
            .map(Some)
    }

    /// An error about `key`.
    pub(super) fn error(&self, key: &str, value: &Spanned<DeValue<'_>>, found: String, expected: &str) -> ProfileError {
        let (line, key) = (line_of(self.text, value.span()), self.full_key(key));
        ProfileError::Value { line, key, found, expected: expected.into() }
    }

    /// A warning about `key`, if the file has it: a default is nobody's mistake.
    pub(super) fn warning(&self, key: &str, what: String) -> Option<ProfileWarning> {
        let value = self.table?.get(key)?;
        Some(ProfileWarning { line: line_of(self.text, value.span()), key: self.full_key(key), what })
    }

    /// The line of `key`, or of the file's start.
    pub(super) fn line(&self, key: &str) -> u64 {
        self.table.and_then(|table| table.get(key)).map_or(1, |value| line_of(self.text, value.span()))
    }

    /// The key as an error names it.
    pub(super) fn full_key(&self, key: &str) -> String {
        format!("{}.{key}", self.name)
    }

    /// Warnings of the keys that were not asked for.
    pub(super) fn unknown_keys(&self) -> Vec<ProfileWarning> {
        let keys = self.table.into_iter().flat_map(|table| table.keys());
        let unknown = keys.filter(|key| !self.asked.contains(&key.get_ref().as_ref()));
        unknown_keys(self.text, unknown, |key| self.full_key(key))
    }
}

/// How many unknown keys are named; a file of nothing else must not become as many warnings.
const NAMED_UNKNOWN_KEYS: usize = 20;

/// Warnings that keys mean nothing here: the first by name, and how many more there are.
pub(super) fn unknown_keys<'a>(
    text: &str,
    keys: impl Iterator<Item = &'a Spanned<DeString<'a>>>,
    full_key: impl Fn(&str) -> String,
) -> Vec<ProfileWarning> {
    let keys: Vec<_> = keys.collect();
    let warning = |key: &&Spanned<DeString<'_>>, what: String| ProfileWarning {
        line: line_of(text, key.span()),
        key: full_key(key.get_ref()),
        what,
    };
    let (named, more) = keys.split_at(keys.len().min(NAMED_UNKNOWN_KEYS));
    let named = named.iter().map(|key| warning(key, "is not known and was ignored".into()));
    let more = more.first().map(|key| warning(key, format!("and {} more keys are not known", more.len() - 1)));
    named.chain(more).collect()
}

/// The line, from 1, in which a span of the text starts.
pub(super) fn line_of(text: &str, span: Range<usize>) -> u64 {
    let before = text.as_bytes().iter().take(span.start);
    1 + before.filter(|&&byte| byte == b'\n').count() as u64
}

fn number_of(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(float) => float.as_str().parse().ok(),
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix()).ok().map(|n| n as f64),
        _ => None,
    }
}

fn numbers_of<const N: usize>(value: &DeValue<'_>) -> Option<[f64; N]> {
    let finite = |value: &Spanned<DeValue<'_>>| number_of(value.get_ref()).filter(|number| number.is_finite());
    let numbers: Option<Vec<f64>> = value.as_array()?.iter().map(finite).collect();
    numbers?.try_into().ok()
}

fn rows_of(value: &DeValue<'_>, lengths: &[usize]) -> Option<Vec<f64>> {
    let rows = value.as_array().filter(|rows| rows.len() == lengths.len())?;
    let mut all = Vec::new();
    for (row, &length) in rows.iter().zip(lengths) {
        let row = row.get_ref().as_array().filter(|row| row.len() == length)?;
        for cell in row.iter() {
            all.push(number_of(cell.get_ref()).filter(|number| number.is_finite())?);
        }
    }
    Some(all)
}

fn kind_of(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => {
            format!("the text \"{}\"", text.chars().take(40).collect::<String>())
        }
        other => format!("of the kind {}", other.type_str()),
    }
}

/// A value as an error shows it: a short list of numbers in full, other things by their kind.
fn shown(value: &DeValue<'_>) -> String {
    let Some(list) = value.as_array() else {
        return kind_of(value);
    };
    let numbers: Option<Vec<_>> = list.iter().map(|value| number_of(value.get_ref())).collect();
    match numbers {
        Some(numbers) if numbers.len() <= 6 => format!("{numbers:?}"),
        _ => format!("a list of {}", list.len()),
    }
}
