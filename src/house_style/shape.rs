//! Names and kinds that entries for instruments and sections may have, taken from the shipped ones.

use crate::instrument;
use std::collections::BTreeMap;
use toml::de::DeValue;

/// What entries of the shipped instruments or sections look like.
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
            // An empty list shows nothing of what may stand in it.
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
            // What the loader can do without.
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
