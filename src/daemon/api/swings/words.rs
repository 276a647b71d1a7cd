//! Words of small sets, as the API writes them.

use super::super::plate::SideWord;
use crate::daemon::store::rows::{BallSource, Mark, Occasion, Side};
use crate::engine::metrics::{Flag, Metric};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// An enum of words that are the same as those of a row, and the ways between the two.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident of $row:ident { $($(#[$variant_doc:meta])* $variant:ident,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$variant_doc])* $variant,)* }

        impl From<$name> for $row {
            fn from(word: $name) -> Self {
                match word { $($name::$variant => $row::$variant,)* }
            }
        }

        impl From<$row> for $name {
            fn from(row: $row) -> Self {
                match row { $($row::$variant => $name::$variant,)* }
            }
        }
    };
}

pub(in crate::daemon::api) use words;

words! {
    /// A lesson with the instructor, or practice without.
    OccasionWord of Occasion {
        /// With the instructor.
        Lesson,
        /// Between lessons, at home, before the hour begins.
        Practice,
    }
}

words! {
    /// Where the ball comes from.
    BallSourceWord of BallSource {
        /// Off a tee.
        Tee,
        /// Tossed from the side.
        Toss,
        /// Tossed from the front, from nearby.
        FrontToss,
        /// A pitching machine.
        Machine,
        /// A pitcher.
        Live,
        /// No ball.
        Dry,
    }
}

words! {
    /// The instructor's word on whether a swing counts.
    MarkWord of Mark {
        /// Nothing was said.
        None,
        /// It counts, whatever its flags.
        Keep,
        /// It does not count.
        Exclude,
    }
}

impl From<SideWord> for Side {
    fn from(word: SideWord) -> Self {
        match word {
            SideWord::Right => Side::Right,
            SideWord::Left => Side::Left,
        }
    }
}

impl From<Side> for SideWord {
    fn from(side: Side) -> Self {
        match side {
            Side::Right => SideWord::Right,
            Side::Left => SideWord::Left,
        }
    }
}

/// What a swing met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ContactWord {
    /// A ball.
    Ball,
    /// Nothing.
    None,
}

/// A flag by its key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FlagWord(pub Flag);

/// A metric by its key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MetricWord(pub Metric);

macro_rules! keyed {
    ($name:ident, $of:ident, $words:literal) => {
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.0.key())
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let key = String::deserialize(deserializer)?;
                let found = $of::ALL.into_iter().find(|of| of.key() == key);
                let all = || $of::ALL.map($of::key).join(", ");
                found.map(Self).ok_or_else(|| D::Error::custom(format!("`{key}`; expected one of {}", all())))
            }
        }

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                let keys = Some($of::ALL.map($of::key));
                ObjectBuilder::new().schema_type(Type::String).description(Some($words)).enum_values(keys).into()
            }
        }

        impl ToSchema for $name {
            fn name() -> Cow<'static, str> {
                stringify!($of).into()
            }
        }
    };
}

keyed!(FlagWord, Flag, "What makes a result poorer than usual.");
keyed!(MetricWord, Metric, "A metric; its key ends in its unit.");
