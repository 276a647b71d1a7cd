//! Whose data a request and its answer are about, as far as they say.
//!
//! Ids are read as the handlers read them, after decoding. What the answer shows counts as well: a list says of each thing
//! whose it is, and so does what was made from a body.

use crate::daemon::store::queries::audit::Of;
use serde_json::{Map, Value};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Somebody, or a thing that belongs to somebody.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// This athlete.
    Athlete(Uuid),
    /// Whoever this thing belongs to.
    Thing(Of, Uuid),
}

/// Before the kind of a thing in a route: of the API, of the pages.
const BEFORE: [&str; 3] = ["/v1/", "/setup/", "/"];

const THINGS: [(&str, Of); 8] = [
    ("consents", Of::Consent),
    ("homework", Of::Homework),
    ("lessons", Of::Lesson),
    ("rounds", Of::Round),
    ("recordings", Of::Recording),
    ("swings", Of::Swing),
    ("ball-results", Of::BallResult),
    ("aims", Of::Aim),
];

/// Routes whose query names somebody or something of somebody's, with the keys that they take.
const ASKED_BY: [(&str, &[&str]); 11] = [
    ("/v1/swings", &["athlete", "lesson", "round", "recording"]),
    ("/v1/swings/export.csv", &["athlete", "lesson", "round", "recording"]),
    ("/v1/swings/export.parquet", &["athlete", "lesson", "round", "recording"]),
    ("/v1/comparison", &BOTH_GROUPS),
    ("/v1/comparison/curves", &BOTH_GROUPS),
    ("/v1/lessons", &["athlete"]),
    ("/v1/recordings", &["athlete"]),
    ("/v1/ball-results", &["athlete", "swing"]),
    ("/v1/ball-results/import", &["athlete"]),
    ("/v1/aims", &["lesson"]),
    ("/v1/audit", &["athlete"]),
];

/// The same for both groups of a comparison, or for one.
const BOTH_GROUPS: [&str; 12] = [
    "athlete",
    "lesson",
    "round",
    "recording",
    "then_athlete",
    "then_lesson",
    "then_round",
    "then_recording",
    "now_athlete",
    "now_lesson",
    "now_round",
    "now_recording",
];

/// What a request names: `{id}` of its route's pattern, and the pairs of its query, both decoded.
pub fn named(pattern: &str, id: Option<&str>, query: &[(String, String)]) -> BTreeSet<About> {
    let keys = ASKED_BY.iter().find(|(route, _)| *route == pattern).map_or(&[][..], |(_, keys)| keys);
    let asked = query.iter().filter(|(key, _)| keys.contains(&key.as_str())).filter_map(|(key, id)| {
        let id = id.parse().ok()?;
        let kind = key.strip_prefix("then_").or_else(|| key.strip_prefix("now_")).unwrap_or(key);
        Some(match kind {
            "lesson" => About::Thing(Of::Lesson, id),
            "round" => About::Thing(Of::Round, id),
            "recording" => About::Thing(Of::Recording, id),
            "swing" => About::Thing(Of::Swing, id),
            _ => About::Athlete(id),
        })
    });
    in_path(pattern, id).into_iter().chain(asked).collect()
}

fn in_path(pattern: &str, id: Option<&str>) -> Option<About> {
    let (kind, _) = BEFORE.iter().find_map(|before| pattern.strip_prefix(before))?.split_once("/{id}")?;
    let id = id?.parse().ok()?;
    if kind == "athletes" {
        return Some(About::Athlete(id));
    }
    THINGS.iter().find(|(name, _)| *name == kind).map(|(_, of)| About::Thing(*of, id))
}

/// Whom an answer in JSON shows. The log itself and what was erased are not looked through.
pub fn shown(pattern: &str, answer: &Value) -> BTreeSet<About> {
    let mut found = BTreeSet::new();
    match pattern {
        "/v1/audit" | "/v1/tombstones" => {}
        "/v1/athletes" => {
            let items = answer.get("items").and_then(Value::as_array);
            let each = items.map_or(std::slice::from_ref(answer), Vec::as_slice);
            found.extend(each.iter().filter_map(|athlete| id_at(athlete.as_object()?, "id")).map(About::Athlete));
        }
        _ => look_through(answer, &mut found),
    }
    found
}

fn look_through(value: &Value, found: &mut BTreeSet<About>) {
    match value {
        Value::Array(items) => items.iter().for_each(|item| look_through(item, found)),
        Value::Object(object) => {
            found.extend(owner(object));
            object.values().for_each(|value| look_through(value, found));
        }
        _ => {}
    }
}

/// A thing says whose it is, or which swing or lesson it belongs to.
fn owner(object: &Map<String, Value>) -> Option<About> {
    if object.contains_key("athlete_id") {
        return id_at(object, "athlete_id").map(About::Athlete);
    }
    let swing = id_at(object, "swing_id").map(|id| About::Thing(Of::Swing, id));
    swing.or_else(|| id_at(object, "lesson_id").map(|id| About::Thing(Of::Lesson, id)))
}

fn id_at(object: &Map<String, Value>, key: &str) -> Option<Uuid> {
    object.get(key)?.as_str()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn pair(key: &str, id: Uuid) -> (String, String) {
        (key.to_owned(), id.to_string())
    }

    #[test]
    fn the_path_and_the_query_say_whose_it_is_where_the_route_takes_them() {
        let (id, other) = (Uuid::from_u128(7), Uuid::from_u128(8));
        let text = id.to_string();
        let of = |pattern: &str, query: &[(String, String)]| Vec::from_iter(named(pattern, Some(&text), query));
        let athlete = [pair("athlete", other)];
        assert_eq!(of("/v1/athletes/{id}", &[]), [About::Athlete(id)]);
        assert_eq!(of("/v1/athletes/{id}/consents", &athlete), [About::Athlete(id)], "it takes none");
        assert_eq!(of("/v1/swings/{id}/curves", &[]), [About::Thing(Of::Swing, id)]);
        assert_eq!(of("/v1/aims/{id}", &[]), [About::Thing(Of::Aim, id)]);
        assert_eq!(of("/v1/bats/{id}", &athlete), []);
        let all = ["athlete", "lesson", "round", "recording"].map(|key| pair(key, other));
        let things = [Of::Lesson, Of::Round, Of::Recording].map(|of| About::Thing(of, other));
        assert_eq!(named("/v1/swings", None, &all), [About::Athlete(other)].into_iter().chain(things).collect());
        assert_eq!(Vec::from_iter(named("/v1/lessons", None, &all)), [About::Athlete(other)]);
        let groups = [pair("then_athlete", id), pair("now_lesson", other)];
        let both = [About::Athlete(id), About::Thing(Of::Lesson, other)];
        assert_eq!(named("/v1/comparison", None, &groups), both.into_iter().collect());
        assert!(named("/v1/swings", None, &groups).is_empty(), "it takes neither");
        let swing = [pair("swing", other), ("athlete".to_owned(), "none".to_owned())];
        assert_eq!(Vec::from_iter(named("/v1/ball-results", None, &swing)), [About::Thing(Of::Swing, other)]);
    }

    #[test]
    fn an_answer_says_whom_it_shows() {
        let [wren, dunlin, thing] = [1, 2, 3].map(Uuid::from_u128);
        let swings = json!({"items": [{"athlete_id": wren}, {"athlete_id": dunlin}, {"athlete_id": wren},
            {"athlete_id": null, "lesson_id": thing}]});
        assert_eq!(Vec::from_iter(shown("/v1/swings", &swings)), [About::Athlete(wren), About::Athlete(dunlin)]);
        assert!(shown("/v1/audit", &swings).is_empty());
        let athletes = json!({"items": [{"id": wren}, {"id": dunlin}]});
        assert_eq!(shown("/v1/athletes", &athletes).len(), 2);
        assert_eq!(Vec::from_iter(shown("/v1/athletes", &json!({"id": wren}))), [About::Athlete(wren)]);
        let round = json!({"id": wren, "lesson_id": thing});
        assert_eq!(Vec::from_iter(shown("/v1/rounds", &round)), [About::Thing(Of::Lesson, thing)]);
        let imported = json!({"rows": [{"id": wren, "swing_id": thing}, {"id": null, "swing_id": null}]});
        assert_eq!(Vec::from_iter(shown("/v1/ball-results/import", &imported)), [About::Thing(Of::Swing, thing)]);
    }
}
