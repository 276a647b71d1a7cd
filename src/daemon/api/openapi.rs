//! The OpenAPI document (3.1), made from the handlers.

use super::problem::ProblemBody;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{Object, Type};
use utoipa::openapi::{
    Components, Content, Info, License, OpenApi, Ref, RefOr, Required, Response as Described, ResponseBuilder,
};
use utoipa::{PartialSchema, ToSchema};

/// The document, complete.
pub fn document() -> OpenApi {
    let mut document = super::routes().into_openapi();
    complete(&mut document);
    document
}

/// As it is served and as its golden is written.
pub(super) fn text(document: &OpenApi) -> String {
    document.to_pretty_json().map_or_else(|error| format!("{{\"error\":\"{error}\"}}"), |text| text + "\n")
}

pub(super) fn answer(text: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

/// What holds for every operation: that it may answer with a problem, and the headers that go with its method.
pub(super) fn complete(document: &mut OpenApi) {
    let mut info = Info::new("swingd", env!("CARGO_PKG_VERSION"));
    info.description = Some(
        "Lessons, athletes, swings and the live service of one cage. Units are in the names; errors are problem details \
         (RFC 9457); edits are merge patches (RFC 7396) with If-Match; lists are pages with a cursor."
            .into(),
    );
    let mut license = License::new("MIT OR Apache-2.0");
    license.identifier = Some("MIT OR Apache-2.0".into());
    info.license = Some(license);
    document.info = info;
    let components = document.components.get_or_insert_with(Components::new);
    let mut schemas = Vec::new();
    ProblemBody::schemas(&mut schemas);
    schemas.push((ProblemBody::name().into_owned(), ProblemBody::schema()));
    components.schemas.extend(schemas);
    for item in document.paths.paths.values_mut() {
        complete_item(item);
    }
}

fn complete_item(item: &mut PathItem) {
    let edits = [&mut item.patch, &mut item.delete];
    for operation in edits.into_iter().flatten() {
        add(operation, header_parameter("If-Match", true, "The ETag of the version that is edited."));
    }
    if let Some(operation) = &mut item.post {
        let words = "The same request again under the same key within a day gets the same answer.";
        add(operation, header_parameter("Idempotency-Key", false, words));
    }
    let all = [&mut item.get, &mut item.put, &mut item.post, &mut item.patch, &mut item.delete];
    for operation in all.into_iter().flatten() {
        name_by_tag(operation);
        operation.responses.responses.insert("default".into(), RefOr::T(problem()));
    }
}

/// Handlers of different resources have the same names; a client made from the document needs one of its own for each.
fn name_by_tag(operation: &mut Operation) {
    if let (Some(id), Some(tag)) = (&operation.operation_id, operation.tags.iter().flatten().next()) {
        operation.operation_id = Some(format!("{id}_{tag}"));
    }
}

fn add(operation: &mut Operation, parameter: Parameter) {
    operation.parameters.get_or_insert_with(Vec::new).push(RefOr::T(parameter));
}

fn header_parameter(name: &str, required: bool, words: &str) -> Parameter {
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Header)
        .required(if required { Required::True } else { Required::False })
        .description(Some(words))
        .schema(Some(Object::with_type(Type::String)))
        .build()
}

fn problem() -> Described {
    let content = Content::new(Some(Ref::from_schema_name(ProblemBody::name())));
    ResponseBuilder::new().description("What went wrong").content("application/problem+json", content).build()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_operation_has_a_name_of_its_own() {
        let document = serde_json::to_value(document()).unwrap();
        let items = document["paths"].as_object().unwrap().values().flat_map(|item| item.as_object().unwrap().values());
        let mut names: Vec<_> = items.map(|operation| operation["operationId"].as_str().unwrap().to_owned()).collect();
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count, "{names:?}");
        assert!(names.contains(&"list_bats".to_owned()), "{names:?}");
    }

    /// A changed API has to be seen: `SWINGD_REGENERATE=1` writes the golden anew.
    #[test]
    fn the_document_is_the_golden() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("proto-docs/openapi.json");
        let now = text(&document());
        if std::env::var_os("SWINGD_REGENERATE").is_some() {
            std::fs::write(&path, &now).unwrap();
        }
        let golden = std::fs::read_to_string(&path).unwrap();
        assert!(golden == now, "the API changed; SWINGD_REGENERATE=1 cargo test --lib openapi writes the golden anew");
        assert!(golden.contains("\"openapi\": \"3.1.0\""));
    }
}
