//! The JSON Schema of a house style file (2020-12), for editors: made from the same list of names
//! that the loader checks, and from the rules and instruments there are.

use super::load::shipped_names;
use super::shape::Shape;
use super::words::{FILE, GROUPS, Group, Kind};
use crate::condition::Scope;
use crate::rules;
use crate::voicing::Technique;
use serde_json::{Map, Value, json};

/// The schema.
pub fn schema() -> Value {
    let mut properties = Map::new();
    for key in FILE.keys {
        let mut of = match key.name {
            "levels" => levels(),
            "settings" => settings(),
            "instrument" | "section" => shape(key.name),
            "extends" => {
                let shipped: Vec<&str> = shipped_names().collect();
                json!({"anyOf": [{"enum": shipped}, {"type": "string", "pattern": "[/\\\\]|\\.toml$"}]})
            }
            name => GROUPS
                .iter()
                .find(|g| g.name == name)
                .map_or_else(|| kind(key.kind), |group| listed(group)),
        };
        if let Some(of) = of.as_object_mut() {
            of.insert("description".to_owned(), json!(key.about));
        }
        properties.insert(key.name.to_owned(), of);
    }
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "chartproof house style",
        "description": FILE.about,
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    })
}

fn kind(kind: Kind) -> Value {
    match kind {
        Kind::Text | Kind::Names | Kind::Condition | Kind::Message => {
            json!({"type": "string", "minLength": 1})
        }
        Kind::Texts | Kind::Fix => json!({"anyOf": [
            {"type": "array", "items": {"type": "string", "minLength": 1}, "minItems": 1},
            {"type": "string", "minLength": 1},
        ]}),
        Kind::Flag => json!({"type": "boolean"}),
        Kind::Whole(from, to) => json!({"type": "integer", "minimum": from, "maximum": to}),
        Kind::Level => json!({"enum": ["off", "note", "warning", "error"]}),
        Kind::Name => json!({
            "type": "string",
            "pattern": "^[a-z][a-z0-9]*(-[a-z0-9]+)*$",
            "maxLength": 60,
        }),
        Kind::Scope => json!({"enum": Scope::WORDS.map(|(word, _)| word)}),
        Kind::Gate => json!({"enum": ["note", "warning", "error", "never"]}),
        Kind::Technique => {
            let names: Vec<&str> = Technique::all().map(Technique::name).collect();
            json!({"type": "string", "minLength": 1, "examples": names})
        }
        Kind::Bars => json!({
            "type": "string",
            "pattern": "^\\s*[0-9]+\\s*([-\u{2013}]\\s*[0-9]+\\s*)?(,\\s*[0-9]+\\s*([-\u{2013}]\\s*[0-9]+\\s*)?)*$",
        }),
        Kind::Group => json!({"type": "object"}),
        Kind::Groups => json!({"type": "array", "items": {"type": "object"}}),
    }
}

fn group(group: &Group) -> Value {
    let mut properties = Map::new();
    for key in group.keys {
        let mut of = kind(key.kind);
        if let Some(of) = of.as_object_mut() {
            of.insert("description".to_owned(), json!(key.about));
        }
        properties.insert(key.name.to_owned(), of);
    }
    let required: Vec<&str> = group
        .keys
        .iter()
        .filter(|k| k.required)
        .map(|k| k.name)
        .collect();
    json!({
        "type": "object",
        "description": group.about,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

fn listed(of: &Group) -> Value {
    json!({"type": "array", "items": group(of)})
}

fn levels() -> Value {
    let mut properties = Map::new();
    for rule in rules::ALL {
        let mut level = kind(Kind::Level);
        if let Some(level) = level.as_object_mut() {
            level.insert("description".to_owned(), json!(rule.asks));
        }
        properties.insert(rule.name.to_owned(), level);
    }
    json!({"type": "object", "properties": properties, "additionalProperties": kind(Kind::Level)})
}

fn settings() -> Value {
    let mut properties = Map::new();
    for rule in rules::ALL.iter().filter(|r| !r.settings.is_empty()) {
        let mut numbers = Map::new();
        for setting in rule.settings {
            let number = json!({
                "type": "number",
                "minimum": 0,
                "default": setting.default,
                "description": setting.about,
            });
            numbers.insert(setting.name.to_owned(), number);
        }
        let of = json!({"type": "object", "properties": numbers, "additionalProperties": false});
        properties.insert(rule.name.to_owned(), of);
    }
    json!({"type": "object", "properties": properties, "additionalProperties": false})
}

/// Entries as the shipped ones are: an entry that changes a known one may leave anything but its key
/// out.
fn shape(list: &str) -> Value {
    let shape = Shape::of(list);
    let properties: Map<String, Value> = shape
        .names
        .iter()
        .map(|(name, example)| (name.clone(), like(example)))
        .collect();
    json!({"type": "array", "items": {
        "type": "object",
        "properties": properties,
        "required": ["key"],
        "additionalProperties": false,
    }})
}

fn like(example: &toml::Value) -> Value {
    match example {
        toml::Value::String(_) | toml::Value::Datetime(_) => json!({"type": "string"}),
        toml::Value::Integer(_) | toml::Value::Float(_) => json!({"type": "number"}),
        toml::Value::Boolean(_) => json!({"type": "boolean"}),
        toml::Value::Array(items) => match items.first() {
            Some(item) => json!({"type": "array", "items": like(item)}),
            None => json!({"type": "array"}),
        },
        toml::Value::Table(_) => json!({"type": "object"}),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_of_a_file_is_described() {
        let schema = schema();
        for key in FILE.keys {
            let of = &schema["properties"][key.name];
            assert_eq!(of["description"], key.about, "{}", key.name);
        }
        let levels = &schema["properties"]["levels"]["properties"];
        assert_eq!(levels.as_object().map(Map::len), Some(rules::ALL.len()));
    }

    #[test]
    fn values_look_like_their_examples() {
        let table: toml::Table = "a = ['x']\nb = 1\nc = true\nd = []".parse().unwrap();
        let kinds = ["a", "b", "c", "d"].map(|name| like(&table[name]));
        assert_eq!(
            kinds[0],
            json!({"type": "array", "items": {"type": "string"}})
        );
        assert_eq!(kinds[1], json!({"type": "number"}));
        assert_eq!(kinds[2], json!({"type": "boolean"}));
        assert_eq!(kinds[3], json!({"type": "array"}));
    }
}
