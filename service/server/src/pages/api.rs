//! The API to be read: what `/api/v1/openapi.json` says, as a page.

use std::sync::LazyLock;

use actix_web::{HttpResponse, web};
use askama::Template;
use serde_json::Value;

use super::frame::{Frame, show};
use crate::routes::{Answer, DOCUMENT, Shop};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/api").route(web::get().to(api)));
}

/// A field of a body, or what else a request carries.
struct FieldLine {
    name: String,
    kind: String,
    must: bool,
    says: String,
}

/// One method of one address.
struct Entry {
    method: String,
    path: String,
    says: String,
    carries: Vec<FieldLine>,
    body: Option<(String, String)>,
    answers: Vec<(String, String, String)>,
}

/// A type by its name.
struct TypeLine {
    name: String,
    says: String,
    kind: String,
    fields: Vec<FieldLine>,
}

#[derive(Template)]
#[template(path = "api.html")]
struct ApiPage {
    frame: Frame,
    entries: &'static [Entry],
    types: &'static [TypeLine],
}

static READ: LazyLock<(Vec<Entry>, Vec<TypeLine>)> = LazyLock::new(|| {
    let document = serde_json::to_value(&*DOCUMENT).unwrap_or_default();
    (entries(&document), types(&document))
});

async fn api(shop: Shop) -> Answer {
    let (entries, types) = &*READ;
    show(&ApiPage { frame: shop.frame(""), entries, types }, HttpResponse::Ok())
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_string()
}

fn rows(value: &Value) -> impl Iterator<Item = (&String, &Value)> {
    value.as_object().into_iter().flatten()
}

fn items(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// What a schema says in a few words.
fn kind(schema: &Value) -> String {
    if let Some(name) = schema["$ref"].as_str() {
        return name.rsplit('/').next().unwrap_or_default().into();
    }
    let listed = |from: &Value, between: &str| items(from).iter().map(kind).collect::<Vec<_>>().join(between);
    for (key, between) in [("oneOf", " or "), ("anyOf", " or "), ("allOf", " and ")] {
        if schema[key].is_array() {
            return listed(&schema[key], between);
        }
    }
    if schema["enum"].is_array() {
        return items(&schema["enum"]).iter().map(Value::to_string).collect::<Vec<_>>().join(" or ");
    }
    if schema["items"].is_object() {
        return format!("list of {}", kind(&schema["items"]));
    }
    match &schema["type"] {
        Value::Array(kinds) => kinds.iter().map(text).collect::<Vec<_>>().join(" or "),
        Value::String(kind) => kind.clone(),
        _ => "anything".into(),
    }
}

fn fields(schema: &Value) -> Vec<FieldLine> {
    let must = |name: &str| items(&schema["required"]).iter().any(|required| required == name);
    let own = rows(&schema["properties"]).map(|(name, field)| FieldLine {
        name: name.clone(),
        kind: kind(field),
        must: must(name),
        says: text(&field["description"]),
    });
    own.chain(items(&schema["allOf"]).iter().flat_map(fields)).collect()
}

fn entries(document: &Value) -> Vec<Entry> {
    let of_path = |(path, methods): (&String, &Value)| {
        let entry = |(method, operation): (&String, &Value)| Entry {
            method: method.to_uppercase(),
            path: path.clone(),
            says: text(&operation["summary"]),
            carries: items(&operation["parameters"]).iter().map(carried).collect(),
            body: rows(&operation["requestBody"]["content"]).next().map(|(media, content)| {
                let example = &content["example"];
                let shown = example.as_str().map_or_else(|| format!("{example:#}"), str::to_string);
                (format!("{media}: {}", kind(&content["schema"])), shown)
            }),
            answers: rows(&operation["responses"]).map(answered).collect(),
        };
        rows(methods).map(entry).collect::<Vec<_>>()
    };
    rows(&document["paths"]).flat_map(of_path).collect()
}

fn carried(parameter: &Value) -> FieldLine {
    FieldLine {
        name: text(&parameter["name"]),
        kind: format!("{}, {}", text(&parameter["in"]), kind(&parameter["schema"])),
        must: parameter["required"] == true,
        says: text(&parameter["description"]),
    }
}

fn answered((status, answer): (&String, &Value)) -> (String, String, String) {
    let what = rows(&answer["content"]).next().map(|(_, content)| kind(&content["schema"]));
    (status.clone(), text(&answer["description"]), what.unwrap_or_default())
}

fn types(document: &Value) -> Vec<TypeLine> {
    let line = |(name, schema): (&String, &Value)| TypeLine {
        name: name.clone(),
        says: text(&schema["description"]),
        kind: if schema["properties"].is_object() { String::new() } else { kind(schema) },
        fields: fields(schema),
    };
    rows(&document["components"]["schemas"]).map(line).collect()
}
