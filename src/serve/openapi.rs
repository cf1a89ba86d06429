//! The document that describes the API (`OpenAPI` 3.1, JSON Schema 2020-12), made from the table of routes and the types
//! that are answered with.

use super::answer::Problem;
use super::routes::{API, Answers, Route};
use schemars::generate::SchemaSettings;
use schemars::{Schema, SchemaGenerator};
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

/// What can be wrong with any request.
const PROBLEMS: [(&str, &str); 8] = [
    ("401", "Something must be shown first: a bearer token"),
    ("403", "Not from this address, or asked by another site's page"),
    ("405", "Only GET and HEAD"),
    ("414", "The target is too long"),
    ("421", "Host names another server"),
    ("429", "Too many wrong tokens were shown; Retry-After says when to come back"),
    ("431", "The head is too large"),
    ("503", "Nothing has been looked at yet, or the record can't be read now"),
];

/// The document, made once.
pub fn document() -> &'static Value {
    static MADE: LazyLock<Value> = LazyLock::new(make);
    &MADE
}

fn make() -> Value {
    let settings = SchemaSettings::draft2020_12().for_serialize().with(|s| {
        s.definitions_path = "/components/schemas".into();
        s.meta_schema = None;
    });
    let mut g = settings.into_generator();
    let problem = g.subschema_for::<Problem>();
    let paths: Map<String, Value> =
        API.iter().map(|r| (r.path.to_owned(), json!({ "get": operation(r, &problem, &mut g) }))).collect();
    json!({
        "openapi": "3.1.1",
        "jsonSchemaDialect": "https://json-schema.org/draft/2020-12/schema",
        "info": {
            "title": "pathproof",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": "What a watch of an alarm path has seen",
            "description": "Times that end in _s are seconds, those that end in _us microseconds, on the record's axis: since it began, by a clock nobody sets. Texts from the network are not trusted: escape them where they are shown. Fields may be added; a field that changes meaning raises `format` in the snapshot and the version in the path.",
            "license": { "name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0" },
        },
        "security": [{}, { "token": [] }],
        "paths": paths,
        "components": {
            "securitySchemes": {
                "token": { "type": "http", "scheme": "bearer", "description": "Where a token was set for the page (RFC 6750)" },
            },
            "schemas": g.take_definitions(true),
        },
    })
}

fn operation(route: &Route, problem: &Schema, g: &mut SchemaGenerator) -> Value {
    let content = |media: &str, schema: &Value| json!({ media: { "schema": schema } });
    let answer = match route.answers {
        Answers::Json(schema) => content("application/json", &schema(g).to_value()),
        Answers::AnyJson => content("application/json", &json!({ "type": "object" })),
        Answers::Html => content("text/html; charset=utf-8", &json!({ "type": "string" })),
    };
    let mut responses = Map::new();
    responses.insert("200".into(), json!({ "description": route.about, "content": answer }));
    let wrong = ("400", "The request makes no sense; `detail` says what is wrong with it");
    for (code, words) in std::iter::once(wrong).chain(PROBLEMS) {
        let content = content("application/problem+json", problem.as_value());
        responses.insert(code.into(), json!({ "description": words, "content": content }));
    }
    let id = route.path.trim_start_matches("/api/v1/").trim_end_matches(".json");
    json!({
        "operationId": id,
        "summary": route.about,
        "parameters": route.query.map(|q| parameters(&q(g))).unwrap_or_default(),
        "responses": responses,
    })
}

/// The fields of a type as parameters.
fn parameters(schema: &Schema) -> Vec<Value> {
    let properties = schema.get("properties").and_then(Value::as_object).cloned().unwrap_or_default();
    properties
        .into_iter()
        .map(|(name, mut schema)| {
            let about = schema.as_object_mut().and_then(|s| s.remove("description")).unwrap_or_default();
            present(&mut schema);
            json!({ "name": name, "in": "query", "required": false, "description": about, "schema": schema })
        })
        .collect()
}

/// A parameter that is given has a value: leaves out the null of an option.
fn present(schema: &mut Value) {
    let Some(s) = schema.as_object_mut() else { return };
    if let Some(Value::Array(types)) = s.get_mut("type") {
        types.retain(|t| t != "null");
        if let [one] = &types[..] {
            let one = one.clone();
            s.insert("type".into(), one);
        }
    }
    if let Some(Value::Array(any)) = s.remove("anyOf") {
        let mut any = any.into_iter().filter(|a| a.get("type").is_none_or(|t| t != "null"));
        if let Some(Value::Object(only)) = any.next() {
            s.extend(only);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_route_is_in_it_and_every_reference_leads_somewhere() {
        let d = document();
        for r in &API {
            assert!(d["paths"][r.path]["get"]["responses"]["200"].is_object(), "{}", r.path);
        }
        let text = d.to_string();
        let mut led = 0;
        for reference in text.split("\"$ref\":\"#").skip(1) {
            let pointer = reference.split('"').next().expect("a text");
            assert!(d.pointer(pointer).is_some(), "{pointer} leads nowhere");
            led += 1;
        }
        assert!(led > 20, "only {led} references");
        let lanes = &d["paths"]["/api/v1/observations"]["get"]["parameters"];
        let lane = lanes.as_array().expect("a list").iter().find(|p| p["name"] == "lane").expect("there");
        assert!(lane["schema"]["$ref"].is_string(), "{lane}");
        let limit = lanes.as_array().expect("a list").iter().find(|p| p["name"] == "limit").expect("there");
        assert_eq!((&limit["schema"]["type"], &limit["schema"]["maximum"]), (&json!("integer"), &json!(1000)));
    }
}
