//! What a swing met, and flags and metrics by their keys.

use crate::engine::metrics::{Flag, Metric};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

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
