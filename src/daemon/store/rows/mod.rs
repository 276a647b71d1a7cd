//! What stands in the store, as plain values: a type a table. None is serialised; what leaves the program is the API's own.

mod access;
mod bat;
mod device;
mod people;
mod swing;

pub use access::{AuditEntry, AuditKey, Role, Token};
pub use bat::{Bat, BatKind, Moi};
pub use device::{Aim, ChosenSensor, Mount, MountSource, Origin, Recording, RecordingState, RecordingSummary, Sensor};
pub use people::{Athlete, BallSource, Bats, Consent, Homework, Lesson, Occasion, Plate, Relation, Round, Scope};
pub use swing::{Analysis, BallResult, EnteredBy, Mark, MatchedBy, Owner, Swing};

use super::StoreError;
use uuid::Uuid;

/// An instant, µs of UTC since 1970.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct UtcMicros(pub i64);

/// A row's id, when it was last changed counted in versions: what an edit has to name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Which row.
    pub id: Uuid,
    /// The version that the edit was made from.
    pub version: i64,
}

/// A word of a small set, as it stands in the store and in the API.
pub trait Word: Copy + Sized + 'static {
    /// All of them.
    const ALL: &'static [Self];

    /// The word.
    fn word(self) -> &'static str;

    /// The one that is written so.
    ///
    /// # Errors
    /// If none is.
    fn from_word(word: &str) -> Result<Self, StoreError> {
        let found = Self::ALL.iter().copied().find(|value| value.word() == word);
        found.ok_or_else(|| {
            let all: Vec<_> = Self::ALL.iter().map(|value| value.word()).collect();
            StoreError::Strange(format!("`{word}`; expected one of {}", all.join(", ")))
        })
    }
}

/// A batter's side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Bats right-handed.
    Right,
    /// Bats left-handed.
    Left,
}

impl Word for Side {
    const ALL: &'static [Self] = &[Self::Right, Self::Left];

    fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }
}
