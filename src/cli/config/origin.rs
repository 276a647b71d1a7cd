//! Values with where they came from, before and after they are checked.

use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::DeValue;

/// Where a value came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Nobody gave it.
    Default,
    /// A line of the file.
    File {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
    },
    /// A variable of the environment.
    Environment(String),
    /// A flag, with its dashes.
    Flag(String),
}

impl Origin {
    /// The beginning of an error: which value is spoken of.
    pub(super) fn of_key(&self, key: &str) -> String {
        match self {
            Self::Default => format!("`{key}` is "),
            Self::File { path, line } => format!("{}: line {line}: `{key}` is ", path.display()),
            Self::Environment(name) => format!("environment: {name} is "),
            Self::Flag(flag) => format!("{flag} is "),
        }
    }
}

impl std::fmt::Display for Origin {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Default => write!(f, "default"),
            Self::File { path, line } => write!(f, "file {} line {line}", path.display()),
            Self::Environment(name) => write!(f, "environment {name}"),
            Self::Flag(flag) => write!(f, "flag {flag}"),
        }
    }
}

/// A checked value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting<T> {
    /// The value.
    pub value: T,
    /// Where it came from.
    pub origin: Origin,
}

/// A value as it was given.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Given {
    pub(super) kind: Kind,
    pub(super) origin: Origin,
}

/// What a value is where it was given.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Kind {
    /// From a flag or variable: what it means depends on who asks.
    Word(String),
    /// TOML's own kinds.
    Text(String),
    Whole(i64),
    Truth(bool),
    Texts(Vec<String>),
    Other(&'static str),
}

/// How much of a text an error shows.
const SHOWN_CHARS: usize = 60;

/// No system takes longer paths (Linux: PATH_MAX, 4096 bytes).
const LONGEST_PATH: usize = 4096;

const MOST_NAMES: usize = 64;

impl Kind {
    pub(super) fn of(value: &DeValue<'_>) -> Self {
        match value {
            DeValue::String(text) => Self::Text(text.clone().into_owned()),
            DeValue::Boolean(truth) => Self::Truth(*truth),
            DeValue::Integer(number) => {
                let whole = i64::from_str_radix(number.as_str(), number.radix());
                whole.map_or(Self::Other("integer beyond 64 bits"), Self::Whole)
            }
            DeValue::Array(items) => {
                let text = |item: &Spanned<DeValue<'_>>| item.get_ref().as_str().map(str::to_owned);
                let texts: Option<Vec<String>> = items.iter().map(text).collect();
                texts.map_or(Self::Other("array of other things than text"), Self::Texts)
            }
            other => Self::Other(other.type_str()),
        }
    }
}

impl Given {
    /// What was found, for an error.
    pub(super) fn shown(&self) -> String {
        let quoted = |text: &str| format!("{:?}", text.chars().take(SHOWN_CHARS).collect::<String>());
        match &self.kind {
            Kind::Word(text) => quoted(text),
            Kind::Text(text) => format!("the text {}", quoted(text)),
            Kind::Whole(number) => number.to_string(),
            Kind::Truth(truth) => truth.to_string(),
            Kind::Texts(texts) => format!("a list of {} texts", texts.len()),
            Kind::Other(kind) => format!("of the kind {kind}"),
        }
    }

    pub(super) fn text(&self) -> Option<&str> {
        match &self.kind {
            Kind::Word(text) | Kind::Text(text) => Some(text),
            _ => None,
        }
    }

    /// A whole number from `low` to `high`.
    pub(super) fn whole(&self, low: u64, high: u64) -> Option<u64> {
        let number = match &self.kind {
            Kind::Word(text) => text.parse().ok()?,
            Kind::Whole(number) => u64::try_from(*number).ok()?,
            _ => return None,
        };
        (low..=high).contains(&number).then_some(number)
    }

    pub(super) fn truth(&self) -> Option<bool> {
        match &self.kind {
            Kind::Word(text) => text.parse().ok(),
            Kind::Truth(truth) => Some(*truth),
            _ => None,
        }
    }

    /// Names without what is around them; a word of nothing is no name, an empty text in a list is a mistake.
    pub(super) fn names(&self) -> Option<Vec<String>> {
        let trimmed = |text: &str| text.trim().to_owned();
        let names: Vec<String> = match &self.kind {
            Kind::Word(text) if text.trim().is_empty() => Vec::new(),
            Kind::Word(text) => text.split(',').map(trimmed).collect(),
            Kind::Texts(texts) => texts.iter().map(|text| trimmed(text)).collect(),
            _ => return None,
        };
        let usable = names.len() <= MOST_NAMES && names.iter().all(|name| !name.is_empty());
        usable.then_some(names)
    }

    /// A whole path, `Some(None)` for none. What is relative is so to the file that says it, else to where the program
    /// was started.
    pub(super) fn path(&self) -> Option<Option<PathBuf>> {
        let text = self.text()?;
        if text.is_empty() {
            return Some(None);
        }
        let base = match &self.origin {
            Origin::File { path, .. } => path.parent().unwrap_or(Path::new("")),
            _ => Path::new(""),
        };
        let usable = !text.starts_with('~') && !text.contains('\0') && text.len() <= LONGEST_PATH;
        usable.then(|| std::path::absolute(base.join(text)).ok()).flatten().map(Some)
    }
}
