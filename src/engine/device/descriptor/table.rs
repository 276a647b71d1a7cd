//! A table of the TOML text, key by key, with the line of every error.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::DescriptorError;

type Value<'a> = Spanned<DeValue<'a>>;

/// A table whose keys are all known ones.
#[derive(Clone)]
pub(super) struct Table<'a> {
    text: &'a str,
    /// The key that led here, with its sections; empty at the top.
    path: String,
    line: u64,
    table: &'a DeTable<'a>,
}

impl<'a> Table<'a> {
    /// The document itself.
    pub(super) fn document(
        text: &'a str,
        table: &'a DeTable<'a>,
        known: &[&'static str],
    ) -> Result<Self, DescriptorError> {
        Self { text, path: String::new(), line: 1, table }.with_known_keys(known)
    }

    /// The table under `key`, if it is there.
    pub(super) fn table(&self, key: &str, known: &[&'static str]) -> Result<Option<Self>, DescriptorError> {
        self.table.get(key).map(|value| self.inner(key, value, known)).transpose()
    }

    /// The tables under `key`, none if it is not there.
    pub(super) fn tables(&self, key: &str, most: usize, known: &[&'static str]) -> Result<Vec<Self>, DescriptorError> {
        let Some(value) = self.table.get(key) else {
            return Ok(Vec::new());
        };
        let Some(list) = value.get_ref().as_array().filter(|list| list.len() <= most) else {
            return Err(self.error(key, shown(value.get_ref()), format!("at most {most} tables, each [[{key}]]")));
        };
        list.iter().map(|value| self.inner(key, value, known)).collect()
    }

    fn inner(&self, key: &str, value: &'a Value<'a>, known: &[&'static str]) -> Result<Self, DescriptorError> {
        let line = line_of(self.text, value.span());
        match value.get_ref() {
            DeValue::Table(table) => {
                Self { text: self.text, path: self.full_key(key), line, table }.with_known_keys(known)
            }
            other => {
                let (key, found) = (self.full_key(key), shown(other));
                Err(DescriptorError::Value { line, key, found, expected: "a table".into() })
            }
        }
    }

    fn with_known_keys(self, known: &[&'static str]) -> Result<Self, DescriptorError> {
        let unknown = self.table.keys().filter(|key| !known.contains(&key.get_ref().as_ref()));
        match unknown.min_by_key(|key| key.span().start) {
            None => Ok(self),
            Some(key) => Err(DescriptorError::UnknownKey {
                line: line_of(self.text, key.span()),
                key: self.full_key(&cut(key.get_ref())),
                hint: hint(key.get_ref(), known),
            }),
        }
    }

    /// Whether the key is there.
    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The value of `key` as `read` understands it, if the key is there.
    pub(super) fn optional<T>(
        &self,
        key: &str,
        expected: &str,
        read: impl FnOnce(&DeValue<'a>) -> Option<T>,
    ) -> Result<Option<T>, DescriptorError> {
        let Some(value) = self.table.get(key) else {
            return Ok(None);
        };
        read(value.get_ref()).ok_or_else(|| self.error(key, shown(value.get_ref()), expected)).map(Some)
    }

    /// The value of `key` as `read` understands it.
    pub(super) fn required<T>(
        &self,
        key: &str,
        expected: &str,
        read: impl FnOnce(&DeValue<'a>) -> Option<T>,
    ) -> Result<T, DescriptorError> {
        self.optional(key, expected, read)?.ok_or_else(|| self.error(key, "missing", expected))
    }

    /// An error about `key`, in its line or, where it is missing, in the line of its table.
    pub(super) fn error(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) -> DescriptorError {
        let line = self.table.get(key).map_or(self.line, |value| line_of(self.text, value.span()));
        DescriptorError::Value { line, key: self.full_key(key), found: found.into(), expected: expected.into() }
    }

    fn full_key(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }
}

/// The line, from 1, in which a span of the text starts.
pub(super) fn line_of(text: &str, span: Range<usize>) -> u64 {
    let before = text.as_bytes().iter().take(span.start);
    1 + before.filter(|&&byte| byte == b'\n').count() as u64
}

/// A finite number.
pub(super) fn number(value: &DeValue<'_>) -> Option<f64> {
    let number = match value {
        DeValue::Float(float) => float.as_str().parse().ok(),
        DeValue::Integer(_) => integer(value).map(|number| number as f64),
        _ => None,
    };
    number.filter(|number: &f64| number.is_finite())
}

/// A whole number.
pub(super) fn integer(value: &DeValue<'_>) -> Option<i64> {
    match value {
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix()).ok(),
        _ => None,
    }
}

/// A whole number of bytes, of samples and the like.
pub(super) fn count(value: &DeValue<'_>, least: usize, most: usize) -> Option<usize> {
    integer(value).and_then(|number| usize::try_from(number).ok()).filter(|number| (least..=most).contains(number))
}

/// A text that says something, on one line.
pub(super) fn words(value: &DeValue<'_>) -> Option<String> {
    let text = value.as_str()?;
    let plain = !text.trim().is_empty() && text.len() <= LONGEST_WORDS && !text.chars().any(char::is_control);
    plain.then(|| text.to_owned())
}

/// A list of texts that say something.
pub(super) fn list_of_words(value: &DeValue<'_>) -> Option<Vec<String>> {
    let list = value.as_array().filter(|list| list.len() <= LONGEST_LIST)?;
    list.iter().map(|value| words(value.get_ref())).collect()
}

/// A UUID in lower case, 8-4-4-4-12; four hex digits are one of the Bluetooth base UUID (Core Specification, Vol. 3,
/// Part B, 2.5.1).
pub(super) fn uuid(value: &DeValue<'_>) -> Option<String> {
    let text = value.as_str()?.to_ascii_lowercase();
    let is_hex = |part: &str| part.bytes().all(|byte| byte.is_ascii_hexdigit());
    if text.len() == 4 && is_hex(&text) {
        return Some(format!("0000{text}-0000-1000-8000-00805f9b34fb"));
    }
    let lengths: Vec<usize> = text.split('-').map(str::len).collect();
    (lengths == [8, 4, 4, 4, 12] && text.split('-').all(is_hex)).then_some(text)
}

/// A list of UUIDs.
pub(super) fn uuids(value: &DeValue<'_>) -> Option<Vec<String>> {
    let list = value.as_array().filter(|list| list.len() <= LONGEST_LIST)?;
    list.iter().map(|value| uuid(value.get_ref())).collect()
}

/// Bytes as pairs of hexadecimal digits, spaces between pairs as one likes.
pub(super) fn hex(value: &DeValue<'_>) -> Option<Vec<u8>> {
    let digits: Option<Vec<u8>> = value
        .as_str()
        .filter(|text| text.len() <= 4 * super::LONGEST_PACKET)?
        .chars()
        .filter(|c| *c != ' ')
        .map(|c| c.to_digit(16).map(|digit| digit as u8))
        .collect();
    let (pairs, rest) = digits.as_ref()?.as_chunks::<2>();
    rest.is_empty().then(|| pairs.iter().map(|[high, low]| high << 4 | low).collect())
}

const LONGEST_WORDS: usize = 2000;
const LONGEST_LIST: usize = 20;

/// A value as an error shows it.
fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("\"{}\"", cut(text)),
        DeValue::Integer(number) => cut(number.as_str()),
        DeValue::Float(number) => cut(number.as_str()),
        DeValue::Boolean(truth) => truth.to_string(),
        DeValue::Array(list) => format!("a list of {}", list.len()),
        DeValue::Table(_) => "a table".to_owned(),
        DeValue::Datetime(_) => "a date".to_owned(),
    }
}

/// A text from outside, short enough for a message and without control characters.
fn cut(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { '·' } else { c }).collect()
}

/// What may have been meant.
fn hint(key: &str, known: &[&'static str]) -> String {
    let short: String = key.chars().take(40).collect();
    let nearest = known.iter().map(|&name| (edits(&short, name), name)).min();
    match nearest {
        Some((edits, name)) if edits <= 1 + name.len() / 4 => format!("did you mean `{name}`?"),
        _ => format!("expected one of {}", known.join(", ")),
    }
}

/// How many characters have to be put in, left out or changed to get from one text to the other (Levenshtein 1966).
fn edits(from: &str, to: &str) -> usize {
    let mut row: Vec<usize> = (0..=to.chars().count()).collect();
    for (done, c) in from.chars().enumerate() {
        let mut diagonal = done;
        let mut left = done + 1;
        let mut next = vec![left];
        for (d, &above) in to.chars().zip(row.iter().skip(1)) {
            let changed = diagonal + usize::from(c != d);
            left = changed.min(left + 1).min(above + 1);
            diagonal = above;
            next.push(left);
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}
