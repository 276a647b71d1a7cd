//! What is wrong or unusual in a profile.

/// A profile that cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// The text is not TOML.
    #[error("line {line}: this is not TOML: {found}; expected `key = value` lines under [sections]")]
    Syntax {
        /// The line, from 1.
        line: u64,
        /// What was found.
        found: String,
    },
    /// A value is of the wrong kind or impossible.
    #[error("line {line}: `{key}` is {found}; expected {expected}")]
    Value {
        /// The line, from 1.
        line: u64,
        /// The key with its section, as in `bat.length_m`.
        key: String,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
}

/// Something in a profile that is accepted but is probably a mistake.
#[derive(Clone, Debug, PartialEq)]
pub struct ProfileWarning {
    /// The line, from 1.
    pub line: u64,
    /// The key with its section.
    pub key: String,
    /// What is unusual about it.
    pub what: String,
}

impl std::fmt::Display for ProfileWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "line {}: `{}` {}", self.line, self.key, self.what)
    }
}
