//! What is wrong with a descriptor.

/// A descriptor that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DescriptorError {
    /// The text is not TOML, or too long to be a descriptor.
    #[error("line {line}: this is no descriptor: {found}; expected {expected}")]
    Syntax {
        /// The line, from 1.
        line: u64,
        /// What was found.
        found: String,
        /// What was expected.
        expected: &'static str,
    },
    /// A value is of the wrong kind, impossible, or does not go with the others.
    #[error("line {line}: `{key}` is {found}; expected {expected}")]
    Value {
        /// The line, from 1.
        line: u64,
        /// The key with its sections, as in `stream.gyro.scale`.
        key: String,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// A key means nothing here.
    #[error("line {line}: `{key}` is not known; {hint}")]
    UnknownKey {
        /// The line, from 1.
        line: u64,
        /// The key with its sections.
        key: String,
        /// The nearest known key, or all of them.
        hint: String,
    },
}

impl DescriptorError {
    /// The line it is about, from 1.
    pub fn line(&self) -> u64 {
        match self {
            Self::Syntax { line, .. } | Self::Value { line, .. } | Self::UnknownKey { line, .. } => *line,
        }
    }
}
