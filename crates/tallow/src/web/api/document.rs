//! What the interface for programs says of itself: OpenAPI 3.1, made from the command line's definitions and docs/JSON.md.

use std::sync::LazyLock;

use serde_json::{Map, Value, json};

use super::arguments::{Argument, Kind, arguments, command, needs_file};
use super::forms::{Form, How};
use super::routes::{Does, ROUTES, Route, Within};
use super::{MOST, USUAL, shapes};
use crate::web::problem;

/// The document.
pub(super) fn document() -> &'static Value {
    static DOCUMENT: LazyLock<Value> = LazyLock::new(made);
    &DOCUMENT
}

fn made() -> Value {
    let mut paths: Map<String, Value> = Map::new();
    for route in ROUTES {
        let method = if route.does == Does::Reads { "get" } else { "post" };
        let at_path = paths.entry(route.path()).or_insert_with(|| json!({}));
        at_path[method] = operation(route, method);
    }
    let mut schemas: Map<String, Value> =
        shapes::shared().into_iter().map(|(name, schema)| (name.to_owned(), schema)).collect();
    schemas.insert("problem".to_owned(), problem_schema());
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "tallow",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "What the command line reads and records, for programs. Parameters are the command line's; \
                            answers are what it prints with --json.",
        },
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {
                "session": { "type": "apiKey", "in": "cookie", "name": "session" },
                "token": { "type": "http", "scheme": "bearer" },
            },
        },
        "security": [{}, { "session": [] }, { "token": [] }],
    })
}

fn operation(route: &Route, method: &str) -> Value {
    let command = command(route);
    let about = command.get_about().map(ToString::to_string).unwrap_or_default();
    let all = arguments(route);
    let problem = json!({
        "description": "What was refused, and what to do.",
        "content": { problem::KIND: { "schema": { "$ref": "#/components/schemas/problem" } } },
    });
    let answer = json!({
        "description": "The answer.",
        "content": answers(route),
    });
    let mut operation = json!({
        "operationId": format!("{method} {}", route.words.join(" ")),
        "summary": about,
        "description": format!("Needs the role \"{}\".", route.role.word()),
        "responses": { "200": answer, "4XX": problem, "5XX": problem },
    });
    match route.does {
        Does::Reads => {
            let mut parameters: Vec<Value> = all.iter().map(parameter).collect();
            if route.is_list() {
                parameters.push(page(
                    "limit",
                    "How many elements at most",
                    json!({ "type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL }),
                ));
                parameters.push(page(
                    "after",
                    "Where to go on: as the Link header of the page before has it",
                    json!({ "type": "integer", "minimum": 1 }),
                ));
            }
            operation["parameters"] = parameters.into();
            operation["responses"]["304"] = json!({ "description": "Nothing changed since the tag that was sent." });
        }
        Does::Records => operation["requestBody"] = body(object(&all)),
        Does::TakesFile(taken) => {
            let is_needed = needs_file(route);
            // Else nothing is required of the query: without a file all stands in the body.
            let in_query = |argument| if is_needed { parameter(argument) } else { optional(parameter(argument)) };
            operation["parameters"] = all.iter().map(in_query).collect();
            if all.iter().all(|argument| argument.name != "label") {
                let label = page("label", "What to call the file that is sent", json!({ "type": "string" }));
                operation["parameters"].as_array_mut().into_iter().for_each(|all| all.push(label.clone()));
            }
            operation["requestBody"] =
                if is_needed { json!({ "required": true, "content": {} }) } else { body(object(&all)) };
            operation["requestBody"]["content"][taken.media()] = json!({ "schema": { "description": taken.about() } });
        }
    }
    operation
}

/// The answer in each of its forms.
fn answers(route: &Route) -> Value {
    let of = |form: &Form| match form.how {
        How::Json => json!({ "schema": shapes::schema(&route.table()) }),
        How::Words | How::Switch(_) | How::File(_) => json!({ "schema": { "type": "string" } }),
    };
    Value::Object(route.forms.iter().map(|form| (form.media.to_owned(), of(form))).collect())
}

fn body(schema: Value) -> Value {
    json!({ "required": true, "content": { "application/json": { "schema": schema } } })
}

fn object(arguments: &[Argument]) -> Value {
    let properties: Map<String, Value> =
        arguments.iter().map(|argument| (argument.name.clone(), described(argument))).collect();
    let required: Vec<&str> =
        arguments.iter().filter(|argument| argument.is_required).map(|argument| argument.name.as_str()).collect();
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn parameter(argument: &Argument) -> Value {
    json!({
        "name": argument.name, "in": "query", "required": argument.is_required, "description": argument.help,
        "schema": schema(argument), "explode": true,
    })
}

fn optional(mut parameter: Value) -> Value {
    parameter["required"] = json!(false);
    parameter
}

fn page(name: &str, help: &str, schema: Value) -> Value {
    json!({ "name": name, "in": "query", "required": false, "description": help, "schema": schema })
}

fn described(argument: &Argument) -> Value {
    let mut schema = schema(argument);
    schema["description"] = json!(argument.help);
    schema
}

fn schema(argument: &Argument) -> Value {
    let one = match argument.kind {
        Kind::Text if argument.choices.is_empty() => json!({ "type": "string" }),
        Kind::Text => json!({ "type": "string", "enum": argument.choices }),
        Kind::Number => json!({ "type": "number" }),
        Kind::Whole => json!({ "type": "integer" }),
        Kind::Boolean => json!({ "type": "boolean" }),
    };
    match (argument.is_many, argument.times, argument.within) {
        (true, None, _) => json!({ "type": "array", "items": one }),
        (true, Some(times), _) => json!({ "type": "array", "items": one, "minItems": times, "maxItems": times }),
        (false, _, None) => one,
        (false, _, Some(Within { from, to, usual, .. })) => {
            json!({ "type": "integer", "minimum": from, "maximum": to, "default": usual })
        }
    }
}

fn problem_schema() -> Value {
    json!({
        "description": "Problem details (RFC 9457).",
        "type": "object",
        "required": ["type", "title", "status", "detail", "help"],
        "properties": {
            "type": { "type": "string" },
            "title": { "type": "string" },
            "status": { "type": "integer" },
            "detail": { "type": "string", "description": "What was refused, and why." },
            "help": { "type": "array", "items": { "type": "string" }, "description": "What to do, a line each." },
        },
    })
}
