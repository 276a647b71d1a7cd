//! What is one athlete's, by what stands in recordings and events.

use crate::daemon::hub::News;
use crate::engine::wire::mcap::AtThePlate;
use serde_json::Value;
use uuid::Uuid;

/// The keys under which an athlete is named.
const ID: &str = "athlete_id";
const NICKNAME: &str = "nickname";

/// One athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Theirs {
    /// Their id.
    pub id: Uuid,
    /// What they are called, where it is known still.
    pub nickname: Option<String>,
    /// Whether another athlete is called the same: then the nickname alone tells nothing.
    pub is_shared: bool,
}

/// Whether something is one athlete's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Named {
    /// It is.
    Yes,
    /// It is theirs or another's who is called the same.
    Perhaps,
    /// It is not.
    No,
}

impl Theirs {
    /// Whether they are at the plate.
    pub fn are_at(&self, context: &AtThePlate) -> Named {
        serde_json::to_value(context).map_or(Named::No, |context| self.in_json(&context))
    }

    /// Whether an event tells of them.
    pub fn are_in(&self, news: &News) -> bool {
        // Most events name nobody, which is seen faster so.
        let may = news.data.contains(ID) || news.data.contains(NICKNAME);
        may && serde_json::from_str(&news.data).is_ok_and(|data: Value| self.in_json(&data) == Named::Yes)
    }

    /// Whether the bytes of a damaged file hold their id or nickname.
    pub fn are_within(&self, bytes: &[u8]) -> bool {
        let nickname = self.nickname.as_deref().filter(|_| !self.is_shared);
        let quoted = nickname.and_then(|nickname| serde_json::to_string(nickname).ok());
        contains(bytes, self.id.to_string().as_bytes()) || quoted.is_some_and(|name| contains(bytes, name.as_bytes()))
    }

    /// An id goes before a nickname. The surest of all that stands in it.
    fn in_json(&self, value: &Value) -> Named {
        let of = |values: &mut dyn Iterator<Item = &Value>| {
            let all: Vec<Named> = values.map(|value| self.in_json(value)).collect();
            [Named::Yes, Named::Perhaps].into_iter().find(|named| all.contains(named)).unwrap_or(Named::No)
        };
        match value {
            Value::Object(object) => match (object.get(ID), object.get(NICKNAME)) {
                (Some(Value::String(id)), _) if *id == self.id.to_string() => Named::Yes,
                (None | Some(Value::Null), Some(Value::String(name))) if Some(name) == self.nickname.as_ref() => {
                    if self.is_shared { Named::Perhaps } else { Named::Yes }
                }
                _ => of(&mut object.values()),
            },
            Value::Array(values) => of(&mut values.iter()),
            _ => Named::No,
        }
    }
}

fn contains(bytes: &[u8], part: &[u8]) -> bool {
    !part.is_empty() && bytes.windows(part.len()).any(|window| window == part)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_goes_before_a_nickname_and_a_shared_nickname_tells_nothing() {
        let wren = Theirs { id: Uuid::from_u128(7), nickname: Some("Wren".into()), is_shared: false };
        let told = |data: String| wren.are_in(&News { id: Some(1), kind: "swing".into(), data });
        assert!(told(format!(r#"{{"at_the_plate":{{"athlete_id":"{}","nickname":"W"}}}}"#, wren.id)));
        assert!(told(r#"{"at_the_plate":{"nickname":"Wren"}}"#.into()));
        assert!(!told(format!(r#"{{"at_the_plate":{{"athlete_id":"{}","nickname":"Wren"}}}}"#, Uuid::from_u128(8))));
        assert!(!told(r#"{"at_the_plate":{"nickname":"Tern"},"sensor":"Wren"}"#.into()));
        let context = AtThePlate { nickname: Some("Wren".into()), ..AtThePlate::default() };
        assert_eq!(wren.are_at(&context), Named::Yes);
        assert_eq!(Theirs { is_shared: true, ..wren.clone() }.are_at(&context), Named::Perhaps);
        assert_eq!(Theirs { nickname: None, ..wren }.are_at(&context), Named::No);
    }
}
