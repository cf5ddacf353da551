//! Settings held against the ranges their own schema states.

use serde_json::Value as Schema;
use toml::Value;
use utoipa::PartialSchema;

use super::{Settings, SettingsError, wrong};

/// What the fields say of themselves.
pub(super) fn schema() -> Schema {
    serde_json::to_value(Settings::schema()).expect("a schema has a JSON form")
}

/// Settings as the file has them.
pub(super) fn written(settings: &Settings) -> Value {
    Value::try_from(settings).expect("settings were read from such a file")
}

/// A part of a schema, which may stand in the one it is wrapped in to be described.
pub(super) fn part<'a>(schema: &'a Schema, name: &str) -> &'a Schema {
    let wrapped = ["allOf", "oneOf", "anyOf"].into_iter().filter_map(|word| schema[word].as_array()).flatten();
    let mut found = std::iter::once(schema).chain(wrapped).map(|schema| &schema[name]);
    found.find(|part| !part.is_null()).unwrap_or(&Schema::Null)
}

/// Least and greatest value of a key, where it has them.
pub(super) fn range(schema: &Schema) -> [Option<f64>; 2] {
    ["minimum", "maximum"].map(|end| schema[end].as_f64())
}

/// A range as a person says it; empty where there is none.
pub(super) fn said(schema: &Schema) -> String {
    match range(schema) {
        [Some(least), Some(greatest)] => format!("{least} to {greatest}"),
        [Some(least), None] => format!("at least {least}"),
        [None, Some(greatest)] => format!("at most {greatest}"),
        [None, None] => String::new(),
    }
}

/// Every number is within its range.
pub(super) fn check(settings: &Settings) -> Result<(), SettingsError> {
    within("", &schema(), &written(settings), Some(&written(&Settings::default())))
}

fn within(key: &str, schema: &Schema, value: &Value, usual: Option<&Value>) -> Result<(), SettingsError> {
    match value {
        Value::Table(table) => table.iter().try_for_each(|(name, value)| {
            let key = if key.is_empty() { name.clone() } else { format!("{key}.{name}") };
            within(&key, &part(schema, "properties")[name], value, usual.and_then(|usual| usual.get(name)))
        }),
        Value::Array(all) => all
            .iter()
            .enumerate()
            .try_for_each(|(i, value)| within(&format!("{key}[{i}]"), part(schema, "items"), value, None)),
        Value::Integer(n) => number(key, schema, *n as f64, usual),
        Value::Float(x) => number(key, schema, *x, usual),
        _ => Ok(()),
    }
}

fn number(key: &str, schema: &Schema, x: f64, usual: Option<&Value>) -> Result<(), SettingsError> {
    let [least, greatest] = range(schema);
    if x >= least.unwrap_or(f64::NEG_INFINITY) && x <= greatest.unwrap_or(f64::INFINITY) {
        return Ok(());
    }
    let mend = usual.map_or_else(|| "leave it out".into(), |usual| format!("{usual} is the default"));
    Err(wrong(key, format!("must be {}", said(schema)), &mend))
}
