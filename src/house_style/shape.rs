//! Names and kinds that entries for instruments and sections may have, taken from the shipped ones.

use crate::ground::instrument;
use std::collections::BTreeMap;
use toml::de::DeValue;

/// Names and kinds of values in the shipped instruments or sections.
pub(super) struct Shape {
    /// Every name with a value it has somewhere.
    pub(super) names: BTreeMap<String, toml::Value>,
    /// The names that every entry has.
    pub(super) always: Vec<String>,
    /// The groups of values that state a source.
    pub(super) sources: Vec<String>,
}

impl Shape {
    pub(super) fn of(list: &str) -> Self {
        let shipped = instrument::shipped_table();
        let entries: Vec<&toml::Table> = shipped
            .get(list)
            .and_then(toml::Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(toml::Value::as_table)
            .collect();
        let mut names: BTreeMap<String, toml::Value> = BTreeMap::new();
        let mut sources = Vec::new();
        for (name, value) in entries.iter().copied().flatten() {
            // The shipped file has lists of names as one text each, which is read faster.
            let listed = match value {
                toml::Value::String(text) if ["names", "bare"].contains(&name.as_str()) => {
                    let names = text.split([',', '\n']).map(str::trim);
                    let names = names.filter(|n| !n.is_empty()).take(3);
                    Some(toml::Value::Array(names.map(toml::Value::from).collect()))
                }
                _ => None,
            };
            let value = listed.as_ref().unwrap_or(value);
            // An empty list does not show the kind of its items.
            let shows = |v: &toml::Value| v.as_array().is_none_or(|a| !a.is_empty());
            let slot = names.entry(name.clone()).or_insert_with(|| value.clone());
            if !shows(slot) {
                slot.clone_from(value);
            }
            if name == "source" {
                sources.extend(
                    value
                        .as_table()
                        .into_iter()
                        .flat_map(toml::Table::keys)
                        .cloned(),
                );
            }
        }
        sources.sort();
        sources.dedup();
        let always = names
            .keys()
            .filter(|name| entries.iter().all(|e| e.contains_key(*name)))
            // The loader does without these.
            .filter(|name| !["sounds", "seats"].contains(&name.as_str()))
            .cloned()
            .collect();
        Self {
            names,
            always,
            sources,
        }
    }
}

/// Whether a value is of the kind of an example.
pub(super) fn same_kind(example: &toml::Value, value: &DeValue<'_>) -> bool {
    match (example, value) {
        (toml::Value::Array(items), DeValue::Array(found)) => items
            .first()
            .is_none_or(|example| found.iter().all(|item| same_kind(example, item.get_ref()))),
        (toml::Value::String(_), DeValue::String(_))
        | (toml::Value::Integer(_), DeValue::Integer(_))
        | (toml::Value::Float(_), DeValue::Float(_) | DeValue::Integer(_))
        | (toml::Value::Boolean(_), DeValue::Boolean(_))
        | (toml::Value::Table(_), DeValue::Table(_)) => true,
        _ => false,
    }
}

pub(super) fn in_words(example: &toml::Value) -> &'static str {
    match example {
        toml::Value::String(_) => "a text in quotation marks",
        toml::Value::Integer(_) | toml::Value::Float(_) => "a number",
        toml::Value::Boolean(_) => "either true or false",
        toml::Value::Array(items) if items.first().is_some_and(toml::Value::is_str) => {
            "a list of texts"
        }
        toml::Value::Array(_) => "a list",
        _ => "a group of values",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use toml::de::DeTable;

    #[test]
    fn entries_look_like_the_shipped_ones() {
        let instrument = Shape::of("instrument");
        assert!(instrument.names["professional"].is_array());
        assert!(instrument.always.contains(&"clefs".to_owned()));
        assert!(!instrument.always.contains(&"sounds".to_owned()));
        assert!(instrument.sources.contains(&"professional".to_owned()));
        let section = Shape::of("section");
        assert!(section.names.contains_key("seats"));
        assert!(!section.always.contains(&"seats".to_owned()));
        assert!(Shape::of("nothing").names.is_empty());
    }

    #[test]
    fn values_are_of_the_kind_of_an_example() {
        let example: toml::Table = "a = ['x']\nb = 1\nc = 1.5\nd = true".parse().unwrap();
        for (name, value, same) in [
            ("a", "['y', 'z']", true),
            ("a", "[1]", false),
            ("a", "'y'", false),
            ("b", "2", true),
            ("b", "2.5", false),
            ("c", "2", true),
            ("d", "'true'", false),
        ] {
            let text = format!("x = {value}");
            let table = DeTable::parse(&text).unwrap();
            let found = table.get_ref().values().next().unwrap();
            assert_eq!(
                same_kind(&example[name], found.get_ref()),
                same,
                "{name} {value}"
            );
        }
        assert_eq!(in_words(&example["a"]), "a list of texts");
    }
}
