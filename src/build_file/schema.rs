//! The description of the file → its JSON Schema, for editors.

use serde_json::{Map, Value, json};

use super::format::{FARTHEST, FILE, Key, Kind, Need, Table};

/// The JSON Schema (draft 2020-12) of the build file.
pub fn schema() -> Value {
    let mut schema = table(&FILE);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!("A Spanwright build file");
    schema["$defs"] = json!({
        "point": {
            "type": "array", "minItems": 2, "maxItems": 2,
            "items": { "type": "number", "minimum": -FARTHEST, "maximum": FARTHEST },
        },
        "length": {
            "description": "A number in millimetres, or a text such as \"168 cm\", \"1.68 m\" or \"5 ft 6 1/2 in\".",
            "type": ["number", "string"],
        },
    });
    schema
}

fn table(table: &Table) -> Value {
    let properties: Map<String, Value> = table.keys.iter().map(|key| (key.name.to_owned(), property(key))).collect();
    let required: Vec<&str> = table.keys.iter().filter(|key| key.need == Need::Required).map(|key| key.name).collect();
    json!({ "type": "object", "additionalProperties": false, "properties": properties, "required": required })
}

fn property(key: &Key) -> Value {
    let mut property = kind(&key.kind);
    property["description"] = json!(format!("{} Takes {}.", key.doc, key.kind.words()));
    if !key.example.is_empty() {
        property["examples"] = json!([from_toml(key.example)]);
    }
    if let Need::Default(value) = key.need {
        property["default"] = from_toml(value);
    }
    property
}

fn kind(kind: &Kind) -> Value {
    let point = || json!({ "$ref": "#/$defs/point" });
    let list = |items: Value, least: usize| json!({ "type": "array", "minItems": least, "items": items });
    match kind {
        Kind::Text(most) => json!({ "type": "string", "minLength": 1, "maxLength": most }),
        Kind::Path | Kind::File => json!({ "type": "string", "minLength": 1 }),
        Kind::Letter => json!({ "type": "string", "pattern": "^[A-HJ-NP-Z]{1,2}[0-9]?$" }),
        Kind::Word(words) => json!({ "type": "string", "enum": words }),
        Kind::Length(least, most) => json!({ "$ref": "#/$defs/length", "minimum": least, "maximum": most }),
        Kind::Number(least, most) => json!({ "type": "number", "minimum": least, "maximum": most }),
        Kind::Whole(least, most) => json!({ "type": "integer", "minimum": least, "maximum": most }),
        Kind::Switch => json!({ "type": "boolean" }),
        Kind::SwitchOrWord(words) => json!({ "anyOf": [{ "type": "boolean" }, { "enum": words }] }),
        // TOML has dates and JSON has none; editors hand them over as text.
        Kind::Date => json!({ "type": "string", "format": "date" }),
        Kind::Pixels => {
            json!({ "type": "array", "minItems": 2, "maxItems": 2, "items": { "type": "integer", "minimum": 1 } })
        }
        Kind::Point => point(),
        Kind::Points(least, most) => {
            let mut points = list(point(), *least);
            if *most < usize::MAX {
                points["maxItems"] = json!(most);
            }
            points
        }
        Kind::Strokes => {
            let each = json!({ "anyOf": [point(), list(point(), 1)] });
            json!({ "anyOf": [point(), list(each, 1)] })
        }
        Kind::Spline => {
            let corner = json!({
                "type": "object", "additionalProperties": false, "required": ["corner"],
                "properties": { "corner": point() },
            });
            list(json!({ "anyOf": [point(), corner] }), 3)
        }
        Kind::Lines(least) => list(list(point(), *least), 1),
        Kind::Rectangle => {
            let sides = json!({ "type": "array", "minItems": 2, "maxItems": 2, "items": { "$ref": "#/$defs/length" } });
            json!({ "anyOf": [{ "type": "string", "minLength": 1 }, sides] })
        }
        Kind::Names(least, most) => {
            let name = || json!({ "type": "string", "minLength": 1, "maxLength": 80 });
            let mut names = list(name(), *least);
            names["maxItems"] = json!(most);
            if *least == 1 { json!({ "anyOf": [name(), names] }) } else { names }
        }
        Kind::Offsets | Kind::Sides(..) => {
            json!({ "type": "array", "minItems": 2, "maxItems": 2, "items": { "$ref": "#/$defs/length" } })
        }
        Kind::Lengths(..) => list(json!({ "$ref": "#/$defs/length" }), 1),
        Kind::Papers => list(json!({ "type": "string", "minLength": 1 }), 1),
        Kind::Table(below) => table(below),
        Kind::Tables(below) => list(table(below), 0),
        Kind::Named(below) => json!({ "type": "object", "additionalProperties": table(below) }),
        Kind::WordOrTable(word, below) => json!({ "anyOf": [{ "const": word }, table(below)] }),
    }
}

fn from_toml(value: &str) -> Value {
    let value = value.parse().expect("a test reads all examples and defaults");
    json_of(&value)
}

fn json_of(value: &toml_edit::Value) -> Value {
    match value {
        toml_edit::Value::String(text) => json!(text.value()),
        toml_edit::Value::Integer(number) => json!(number.value()),
        toml_edit::Value::Float(number) => json!(number.value()),
        toml_edit::Value::Boolean(yes) => json!(yes.value()),
        toml_edit::Value::Datetime(date) => json!(date.value().to_string()),
        toml_edit::Value::Array(items) => items.iter().map(json_of).collect(),
        toml_edit::Value::InlineTable(table) => {
            Value::Object(table.iter().map(|(key, value)| (key.to_owned(), json_of(value))).collect())
        }
    }
}
