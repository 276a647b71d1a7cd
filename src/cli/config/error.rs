//! What can be wrong with a configuration.

use super::origin::Origin;
use std::io;
use std::path::PathBuf;

/// A configuration that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("{}: not read: {cause}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why not.
        cause: io::Error,
    },
    /// The file is not TOML.
    #[error("{}: line {line}: this is not TOML: {found}; expected `key = value` lines under [sections]", path.display())]
    Syntax {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
        /// What was found.
        found: String,
    },
    /// The file has a key that means nothing.
    #[error("{}: line {line}: `{key}` is not known; the nearest known key is `{nearest}`", path.display())]
    UnknownKey {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
        /// The key with its section.
        key: String,
        /// The known key that is most like it.
        nearest: String,
    },
    /// A value is of the wrong kind or impossible.
    #[error("{}{found}; expected {expected}", origin.of_key(key))]
    Value {
        /// Where it was given.
        origin: Origin,
        /// The key with its section.
        key: String,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// There is no place to keep things in.
    #[error("`data.folder` is not given and no home folder is known; expected --data-folder or SWINGD_DATA_FOLDER")]
    NoDataFolder,
}

/// A variable that looks like one of this program's and is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownVariable {
    /// Its name.
    pub name: String,
    /// The known one that is most like it.
    pub nearest: String,
}

impl std::fmt::Display for UnknownVariable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { name, nearest } = self;
        write!(f, "environment: {name:?} is not known and was ignored; the nearest known variable is {nearest}")
    }
}
