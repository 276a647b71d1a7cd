//! The OpenAPI document (3.1), made from the handlers.

mod headers;
mod shape;

use super::problem::ProblemBody;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
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
    let words = "Requests of the machine that the service runs \
                 on, over loopback, need none; all others do. POST /v1/pairings/redeem gives one for a pairing code and needs none either.";
    let token = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some(words)).build();
    components.add_security_scheme(TOKEN, SecurityScheme::Http(token));
    document.security =
        Some(vec![SecurityRequirement::default(), SecurityRequirement::new::<_, [&str; 0], &str>(TOKEN, [])]);
    for (path, item) in &mut document.paths.paths {
        complete_item(path, item);
    }
    shape::settle(document);
    headers::declare(document);
}

/// The name of the security scheme.
const TOKEN: &str = "token";
/// A change of it says only what is changed, whatever the version.
const AT_THE_PLATE: &str = "/v1/at-the-plate";
/// What they do to many things is answered again under the same key as well.
const DONE_ONCE: [&str; 2] = ["/v1/swings/moves", "/v1/ball-results/import"];

fn complete_item(path: &str, item: &mut PathItem) {
    let edits = [&mut item.patch, &mut item.delete];
    let is_of_a_version =
        |operation: &&mut Operation| path != AT_THE_PLATE && !is_of_access(operation) && !is_confirmed(operation);
    for operation in edits.into_iter().flatten().filter(is_of_a_version) {
        let words = "The ETag of the version that is edited.";
        add(operation, header_parameter("If-Match", true, words, "^\"[0-9]{1,18}\"$"));
    }
    let is_kept = |operation: &&mut Operation| {
        DONE_ONCE.contains(&path) || (is_remembered(operation) && !is_of_access(operation))
    };
    if let Some(operation) = item.post.as_mut().filter(is_kept) {
        let words = "The same request again under the same key within a day gets the same answer.";
        add(operation, header_parameter("Idempotency-Key", false, words, "^[!-~]{1,200}$"));
    }
    let all = [&mut item.get, &mut item.put, &mut item.post, &mut item.patch, &mut item.delete];
    for operation in all.into_iter().flatten() {
        operation.responses.responses.insert("default".into(), RefOr::T(problem()));
    }
}

/// What is made from a JSON body is answered again under the same key; a file is known by its bytes.
fn is_remembered(operation: &Operation) -> bool {
    let is_json = operation.request_body.as_ref().is_some_and(|body| match body {
        RefOr::T(body) => body.content.contains_key("application/json"),
        RefOr::Ref(_) => false,
    });
    is_json && operation.responses.responses.contains_key("201")
}

/// Tokens have no versions, and an answer that holds one is not kept.
fn is_of_access(operation: &Operation) -> bool {
    operation.tags.iter().flatten().any(|tag| tag == "access")
}

/// Erasing is no edit of a version.
fn is_confirmed(operation: &Operation) -> bool {
    let is_it = |parameter: &RefOr<Parameter>| matches!(parameter, RefOr::T(parameter) if parameter.name == "confirm");
    operation.parameters.iter().flatten().any(is_it)
}

fn add(operation: &mut Operation, parameter: Parameter) {
    operation.parameters.get_or_insert_with(Vec::new).push(RefOr::T(parameter));
}

fn header_parameter(name: &str, required: bool, words: &str, pattern: &str) -> Parameter {
    let schema = ObjectBuilder::new().schema_type(Type::String).pattern(Some(pattern));
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Header)
        .required(if required { Required::True } else { Required::False })
        .description(Some(words))
        .schema(Some(schema))
        .build()
}

fn problem() -> Described {
    let content = Content::new(Some(Ref::from_schema_name(ProblemBody::name())));
    ResponseBuilder::new().description("What went wrong").content("application/problem+json", content).build()
}

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn what_is_answered_again_under_its_key_says_so_and_who_may_is_said() {
        let document = serde_json::to_value(document()).unwrap();
        for path in ["/v1/bats", "/v1/swings/moves", "/v1/ball-results/import"] {
            let parameters = document["paths"][path]["post"]["parameters"].as_array().unwrap();
            assert!(parameters.iter().any(|parameter| parameter["name"] == "Idempotency-Key"), "{path}");
        }
        let measuring = &document["paths"]["/v1/recordings/{id}/reanalyses"]["post"]["parameters"];
        assert!(measuring.as_array().unwrap().iter().all(|parameter| parameter["in"] == "path"));
        let scheme = &document["components"]["securitySchemes"]["token"];
        assert_eq!((&scheme["type"], &scheme["scheme"]), (&"http".into(), &"bearer".into()));
        assert_eq!(document["security"], serde_json::json!([{}, {"token": []}]));
    }
}
