//! What the macros make, in the shape that validators and makers of clients need.

use axum::http::StatusCode;
use std::collections::BTreeMap;
use utoipa::openapi::path::{Operation, Parameter, ParameterIn};
use utoipa::openapi::schema::{AllOf, ArrayItems, Components, Object, Schema};
use utoipa::openapi::{OpenApi, RefOr};

/// Puts the document into that shape: answers are objects of one piece, texts say what they may hold, operations have
/// names of their own, responses are described.
pub(super) fn settle(document: &mut OpenApi) {
    if let Some(components) = &mut document.components {
        in_one_piece(components);
        say_what_texts_hold(components);
        say_what_is_never_null(components);
    }
    for item in document.paths.paths.values_mut() {
        let all = [&mut item.get, &mut item.put, &mut item.post, &mut item.patch, &mut item.delete];
        for operation in all.into_iter().flatten() {
            for parameter in operation.parameters.iter_mut().flatten() {
                say_what_it_holds(parameter);
            }
            name_by_tag(operation);
            describe(operation);
        }
    }
}

/// What is stored is what was said, and more: a body that takes no other keys, flattened into a larger object. `allOf` of
/// the two would hold of nothing, as the body forbids the rest.
fn in_one_piece(components: &mut Components) {
    let before = components.schemas.clone();
    components.schemas.values_mut().for_each(|schema| join(schema, &before));
}

fn join(schema: &mut RefOr<Schema>, named: &BTreeMap<String, RefOr<Schema>>) {
    match schema {
        RefOr::T(Schema::AllOf(parts)) => {
            if let Some(whole) = joined(named, parts) {
                *schema = RefOr::T(Schema::Object(whole));
                join(schema, named);
            }
        }
        RefOr::T(Schema::Object(object)) => {
            object.properties.values_mut().for_each(|property| join(property, named));
        }
        RefOr::T(Schema::Array(array)) => {
            if let ArrayItems::RefOrSchema(items) = &mut array.items {
                join(items, named);
            }
        }
        _ => {}
    }
}

/// All properties of the parts; of a schema with words of its own beside it, the one with the others' words. `None` if one
/// of several is no object.
fn joined(named: &BTreeMap<String, RefOr<Schema>>, parts: &AllOf) -> Option<Object> {
    let mut objects = parts.items.iter().map(|part| object(named, part)).collect::<Option<Vec<_>>>()?;
    let words = objects.iter().rev().find(|part| says_nothing(part)).and_then(|part| part.description.clone());
    objects.retain(|part| !says_nothing(part));
    if let [one] = &mut objects[..] {
        one.description = words.or(one.description.take());
        return objects.pop();
    }
    let mut whole = Object::new();
    whole.description.clone_from(&parts.description);
    for part in objects {
        whole.properties.extend(part.properties);
        whole.required.extend(part.required);
    }
    Some(whole)
}

fn object(named: &BTreeMap<String, RefOr<Schema>>, part: &RefOr<Schema>) -> Option<Object> {
    let part = match part {
        RefOr::Ref(reference) => named.get(reference.ref_location.rsplit('/').next()?)?,
        part => part,
    };
    match part {
        RefOr::T(Schema::Object(object)) => Some(object.clone()),
        RefOr::T(Schema::AllOf(parts)) => joined(named, parts),
        _ => None,
    }
}

/// What the macros put beside an inlined schema to give it words.
fn says_nothing(part: &Object) -> bool {
    part.properties.is_empty() && part.enum_values.is_none() && part.additional_properties.is_none()
}

/// Bounded texts are checked for control characters too ([`Check::text`](super::super::check::Check::text)), and names for words.
fn say_what_texts_hold(components: &mut Components) {
    let objects = components.schemas.values_mut().filter_map(|schema| match schema {
        RefOr::T(Schema::Object(object)) => Some(object),
        _ => None,
    });
    let properties = objects.flat_map(|object| &mut object.properties);
    for (_, property) in properties.filter(|(key, _)| !FILES.contains(&key.as_str())) {
        match property {
            RefOr::T(Schema::Object(text)) => say(text),
            RefOr::T(Schema::Array(list)) => {
                if let ArrayItems::RefOrSchema(items) = &mut list.items
                    && let RefOr::T(Schema::Object(text)) = &mut **items
                {
                    say(text);
                }
            }
            _ => {}
        }
    }
}

fn say(text: &mut Object) {
    if text.max_length.is_some() && text.pattern.is_none() {
        let pattern = if text.min_length.is_some_and(|least| least > 0) { NAME } else { TEXT };
        text.pattern = Some(pattern.into());
    }
}

/// Texts of the query are checked as those of a body are.
fn say_what_it_holds(parameter: &mut RefOr<Parameter>) {
    let RefOr::T(parameter) = parameter else { return };
    if let Some(RefOr::T(Schema::Object(text))) = &mut parameter.schema
        && parameter.parameter_in == ParameterIn::Query
        && parameter.name != CURSOR
    {
        say(text);
    }
}

/// Files as text: any end of line will do.
const FILES: [&str; 2] = ["profile", "profile_toml"];
/// A cursor is what the list gave.
const CURSOR: &str = "after";

/// What may be left out on entering, and cannot be taken away by an edit.
const NEVER_NULL: [(&str, &str); 2] = [("BallResultBodyPatch", "measured"), ("HomeworkBodyPatch", "given")];

fn say_what_is_never_null(components: &mut Components) {
    for (name, key) in NEVER_NULL {
        if let Some(RefOr::T(Schema::Object(object))) = components.schemas.get_mut(name)
            && let Some(property) = object.properties.get_mut(key)
            && let RefOr::T(Schema::OneOf(either)) = property
            && let Some(value) = either.items.iter().find(|schema| matches!(schema, RefOr::Ref(_)))
        {
            *property = value.clone();
        }
    }
}

/// Anything but control characters other than tab and newline,
const TEXT: &str = "^[^\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f]*$";
/// and with something to read in it.
const NAME: &str =
    "^[^\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f]*[^\\x00-\\x20\\x7f-\\xa0\\s][^\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f]*$";

/// Handlers of different resources have the same names; a client made from the document needs one of its own for each.
fn name_by_tag(operation: &mut Operation) {
    if let (Some(id), Some(tag)) = (&operation.operation_id, operation.tags.iter().flatten().next()) {
        operation.operation_id = Some(format!("{id}_{tag}"));
    }
}

/// OpenAPI 3.1 asks for words on every response; where there are none, those of the status.
fn describe(operation: &mut Operation) {
    for (status, response) in &mut operation.responses.responses {
        let RefOr::T(response) = response else { continue };
        if response.description.is_empty() {
            let reason = status.parse::<StatusCode>().ok().and_then(|status| status.canonical_reason());
            response.description = reason.unwrap_or("The answer").to_owned();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::document;
    use serde_json::{Value, json, to_value};

    fn operations(document: &Value) -> Vec<&Value> {
        let items = document["paths"].as_object().unwrap().values();
        items.flat_map(|item| item.as_object().unwrap().values()).collect()
    }

    #[test]
    fn every_operation_has_a_name_of_its_own_and_every_response_words() {
        let document = to_value(document()).unwrap();
        let names = operations(&document).into_iter().map(|operation| operation["operationId"].as_str().unwrap());
        let mut names: Vec<_> = names.collect();
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count, "{names:?}");
        assert!(names.contains(&"list_bats"), "{names:?}");
        for operation in operations(&document) {
            for response in operation["responses"].as_object().unwrap().values() {
                assert!(response["description"].as_str().is_some_and(|words| !words.is_empty()), "{operation}");
            }
        }
    }

    #[test]
    fn what_is_refused_is_not_in_the_schemas() {
        let document = to_value(document()).unwrap();
        let schemas = &document["components"]["schemas"];
        let tag = &schemas["SwingEditPatch"]["properties"]["tags"];
        assert_eq!((&tag["items"]["maxLength"], &tag["maxItems"]), (&json!(50), &json!(20)));
        assert_eq!(tag["items"]["pattern"], json!(super::NAME));
        let never = &schemas["BallResultBodyPatch"]["properties"]["measured"];
        assert!(never.get("$ref").is_some() && never.get("oneOf").is_none(), "{never}");
        assert_eq!(schemas["AthleteBody"]["properties"]["birth_year"]["maximum"].as_f64(), Some(2100.0));
        let toml = &schemas["Reanalysis"]["properties"]["profile_toml"];
        assert_eq!((&toml["maxLength"], toml.get("pattern")), (&json!(200_000), None));
        for (path, key, pattern) in [
            ("/v1/athletes", "nickname", super::TEXT),
            ("/v1/swings", "tag", super::TEXT),
            ("/v1/swings/export.csv", "drill", super::TEXT),
        ] {
            let parameters = document["paths"][path]["get"]["parameters"].as_array().unwrap();
            let found = parameters.iter().find(|parameter| parameter["name"] == key).unwrap();
            assert_eq!(found["schema"]["pattern"], json!(pattern), "{path} {key}");
        }
    }

    #[test]
    fn what_is_answered_is_one_object_that_may_grow() {
        let document = to_value(document()).unwrap();
        let schemas = document["components"]["schemas"].as_object().unwrap();
        assert!(!schemas["Page_Bat"].to_string().contains("allOf"));
        let composed: Vec<_> = schemas.iter().filter(|(_, schema)| schema.get("allOf").is_some()).collect();
        assert!(composed.is_empty(), "{composed:?}");
        let (bat, body) = (&schemas["Bat"], &schemas["BatBody"]);
        assert_eq!((bat.get("additionalProperties"), &body["additionalProperties"]), (None, &json!(false)));
        let words = json!(["streaming", "final", "revised"]);
        assert_eq!(schemas["Swing"]["properties"]["stage"]["enum"], words, "an inlined enum with words beside it");
        let properties = bat["properties"].as_object().unwrap();
        assert!(["id", "version", "name", "moi_kgm2"].iter().all(|key| properties.contains_key(*key)), "{bat}");
        let required = bat["required"].as_array().unwrap();
        assert!(required.contains(&json!("id")) && required.contains(&json!("name")), "{bat}");
    }
}
