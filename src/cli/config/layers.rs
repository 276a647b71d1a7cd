//! File, environment and flags, laid over each other.

use super::args::ConfigArgs;
use super::error::{ConfigError, UnknownVariable};
use super::keys::{FILE_VARIABLE, KEYS, Key, STORE_URL, VARIABLE_PREFIX, nearest};
use super::origin::{Given, Kind, Origin, Setting};
use crate::cli::text_file::text_of;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

/// For each key the value that counts.
#[derive(Debug, Default)]
pub(super) struct Layers {
    given: BTreeMap<&'static str, Given>,
    /// The file that was read.
    pub(super) file: Option<PathBuf>,
    pub(super) unknown_variables: Vec<UnknownVariable>,
}

impl Layers {
    /// `default_file` is read if it is there; a file that was asked for has to be.
    pub(super) fn new(
        args: &ConfigArgs,
        environment: impl IntoIterator<Item = (OsString, OsString)>,
        default_file: Option<&Path>,
    ) -> Result<Self, ConfigError> {
        let mut layers = Self::default();
        let Variables { values, file: named_by_variable, unknown } = Variables::of(environment)?;
        match args.config.clone().or(named_by_variable) {
            Some(path) => layers.add_file(&path)?,
            None => layers.add_file_if_there(default_file)?,
        }
        layers.given.extend(values);
        for (key, word) in args.given() {
            let given = Given { kind: Kind::Word(word.clone()), origin: Origin::Flag(key.flag()) };
            layers.given.insert(key.name, given);
        }
        layers.unknown_variables = unknown;
        Ok(layers)
    }

    /// The value of `key`, checked.
    pub(super) fn setting<T>(
        &self,
        key: Key,
        check: impl FnOnce(&Given) -> Option<T>,
    ) -> Result<Setting<T>, ConfigError> {
        let default = || Given { kind: Kind::Word(key.default.to_owned()), origin: Origin::Default };
        let given = self.given.get(key.name).cloned().unwrap_or_else(default);
        match check(&given) {
            Some(value) => Ok(Setting { value, origin: given.origin }),
            None => Err(ConfigError::Value {
                key: key.name.to_owned(),
                found: if key == STORE_URL { HIDDEN.to_owned() } else { given.shown() },
                expected: key.expected.to_owned(),
                origin: given.origin,
            }),
        }
    }

    fn add_file_if_there(&mut self, path: Option<&Path>) -> Result<(), ConfigError> {
        match path.map(|path| self.add_file(path)) {
            None => Ok(()),
            Some(Err(ConfigError::Unreadable { cause, .. })) if cause.kind() == io::ErrorKind::NotFound => Ok(()),
            Some(read) => read,
        }
    }

    fn add_file(&mut self, path: &Path) -> Result<(), ConfigError> {
        let text = text_of(path).map_err(|cause| ConfigError::Unreadable { path: path.to_owned(), cause })?;
        let document = DeTable::parse(&text).map_err(|error| ConfigError::Syntax {
            path: path.to_owned(),
            line: line_of(&text, error.span().map_or(0, |span| span.start)),
            found: error.message().replace('\n', ", "),
        })?;
        let file = ConfigFile { path, text: &text };
        for (section, value) in document.get_ref() {
            file.read_section(section, value, &mut self.given)?;
        }
        self.file = Some(path.to_owned());
        Ok(())
    }
}

/// Said in place of what may hold a password.
const HIDDEN: &str = "no such URL (not shown: it may hold a password)";

/// The line, from 1, of a place in the text.
fn line_of(text: &str, at: usize) -> u64 {
    1 + text.bytes().take(at).filter(|&byte| byte == b'\n').count() as u64
}

struct ConfigFile<'a> {
    path: &'a Path,
    text: &'a str,
}

impl ConfigFile<'_> {
    fn read_section(
        &self,
        section: &Spanned<DeString<'_>>,
        value: &Spanned<DeValue<'_>>,
        into: &mut BTreeMap<&'static str, Given>,
    ) -> Result<(), ConfigError> {
        let is_known = KEYS.iter().any(|key| key.parts().0 == section.get_ref().as_ref());
        let table = match value.get_ref() {
            DeValue::Table(table) if is_known || !table.is_empty() => table,
            other if is_known => return Err(self.no_section(section, value, other)),
            _ => return Err(self.unknown(section, section.get_ref())),
        };
        for (name, value) in table {
            let full = format!("{}.{}", section.get_ref(), name.get_ref());
            let key = Key::named(&full).ok_or_else(|| self.unknown(name, &full))?;
            let origin = self.line(value.span().start);
            into.insert(key.name, Given { kind: Kind::of(value.get_ref()), origin });
        }
        Ok(())
    }

    fn line(&self, at: usize) -> Origin {
        Origin::File { path: self.path.to_owned(), line: line_of(self.text, at) }
    }

    fn no_section(&self, name: &Spanned<DeString<'_>>, at: &Spanned<DeValue<'_>>, found: &DeValue<'_>) -> ConfigError {
        let given = Given { kind: Kind::of(found), origin: self.line(at.span().start) };
        let key = name.get_ref().to_string();
        ConfigError::Value { found: given.shown(), expected: format!("a section, [{key}]"), key, origin: given.origin }
    }

    fn unknown(&self, at: &Spanned<DeString<'_>>, full: &str) -> ConfigError {
        let key: String = full.chars().take(80).flat_map(char::escape_debug).collect();
        let nearest = nearest(full, KEYS.iter().map(|key| key.name.to_owned()));
        ConfigError::UnknownKey { path: self.path.to_owned(), line: line_of(self.text, at.span().start), key, nearest }
    }
}

/// What the environment says.
#[derive(Default)]
struct Variables {
    values: Vec<(&'static str, Given)>,
    file: Option<PathBuf>,
    unknown: Vec<UnknownVariable>,
}

/// How many unknown variables are told of.
const MOST_UNKNOWN: usize = 20;

impl Variables {
    fn of(environment: impl IntoIterator<Item = (OsString, OsString)>) -> Result<Self, ConfigError> {
        let known: Vec<(String, &Key)> = KEYS.iter().map(|key| (key.variable(), key)).collect();
        let mut variables = Self::default();
        for (name, value) in environment {
            let Some(name) = name.to_str().filter(|name| name.starts_with(VARIABLE_PREFIX)) else { continue };
            if name == FILE_VARIABLE {
                variables.file = (!value.is_empty()).then(|| value.into());
            } else if let Some((_, key)) = known.iter().find(|(known, _)| known == name) {
                variables.values.push((key.name, from_variable(key, name, value)?));
            } else {
                let all = known.iter().map(|(name, _)| name.clone()).chain([FILE_VARIABLE.to_owned()]);
                variables.unknown.push(UnknownVariable { name: name.to_owned(), nearest: nearest(name, all) });
            }
        }
        variables.unknown.sort_by(|a, b| a.name.cmp(&b.name));
        variables.unknown.truncate(MOST_UNKNOWN);
        Ok(variables)
    }
}

fn from_variable(key: &Key, name: &str, value: OsString) -> Result<Given, ConfigError> {
    let origin = Origin::Environment(name.to_owned());
    match value.into_string() {
        Ok(word) => Ok(Given { kind: Kind::Word(word), origin }),
        Err(_) => Err(ConfigError::Value {
            origin,
            key: key.name.to_owned(),
            found: "not Unicode text".to_owned(),
            expected: key.expected.to_owned(),
        }),
    }
}
