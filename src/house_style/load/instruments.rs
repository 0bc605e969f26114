//! Instruments and sections of a house style file.

use super::super::fields::Fields;
use super::super::shape::{Shape, in_words, same_kind};
use super::super::values::{described, entries, plain_table};
use super::layer::Layer;
use crate::ground::instrument::{self, Catalogue, CatalogueError};
use crate::ground::text::{meant, nearest};
use crate::style::Style;
use std::ops::Range;
use toml::de::{DeTable, DeValue};

impl Layer<'_, '_> {
    /// Instruments and sections: the names an entry may have are those of the shipped ones.
    pub(super) fn instruments(&self, file: &Fields<'_, '_>, style: &mut Style) {
        let before = style.changes.clone();
        let mut changes = toml::Table::new();
        for list in ["section", "instrument"] {
            let tables = file.tables(list);
            if tables.is_empty() {
                continue;
            }
            let shape = Shape::of(list);
            for (table, at) in tables {
                let Some(mut entry) = self.entry(list, &shape, style.instruments, table, &at)
                else {
                    continue;
                };
                if list == "instrument" {
                    self.add_sources(&mut entry, &shape, &at);
                }
                let slot = changes
                    .entry(list)
                    .or_insert_with(|| toml::Value::Array(Vec::new()));
                if let toml::Value::Array(entries) = slot {
                    entries.push(toml::Value::Table(entry));
                }
                let mut layers = before.clone();
                layers.push(changes.clone());
                match instrument::changed(&layers) {
                    Ok(book) => style.instruments = book,
                    Err(error) => {
                        self.unusable(&error, table, &at);
                        // The others are still looked at.
                        if let Some(toml::Value::Array(entries)) = changes.get_mut(list) {
                            entries.pop();
                        }
                    }
                }
            }
        }
        self.seats(file, style.instruments);
        if !changes.is_empty() {
            style.changes.push(changes);
        }
    }

    /// The seats of sections name instruments there are; they are looked at last, so that a section
    /// may seat an instrument that the same file adds.
    fn seats(&self, file: &Fields<'_, '_>, book: &Catalogue) {
        for (table, _) in file.tables("section") {
            let Some((_, DeValue::Array(lists))) = entries(table)
                .find(|(name, _)| name.value == "seats")
                .map(|(name, value)| (name, value.get_ref()))
            else {
                continue;
            };
            let seats = lists.iter().filter_map(|list| match list.get_ref() {
                DeValue::Array(seats) => Some(seats),
                _ => None,
            });
            for seat in seats.flatten() {
                let DeValue::String(key) = seat.get_ref() else {
                    continue;
                };
                if book.instrument(key).is_none() {
                    self.style_file.wrong(
                        seat.span(),
                        format!("`{key}` is the key of no instrument"),
                        // A name of an instrument is nearer than letters of a key.
                        book.named(key).map_or_else(
                            || meant(key, book.instruments.iter().map(|i| i.key.as_str())),
                            |i| format!("did you mean `{}`?", i.key),
                        ),
                    );
                }
            }
        }
    }

    fn unusable(&self, error: &CatalogueError, table: &DeTable<'_>, at: &Range<usize>) {
        let group = match error {
            CatalogueError::Pitch { group, .. } | CatalogueError::Order { group, .. } => group,
            CatalogueError::UnknownSection { .. } => "section",
            CatalogueError::NoSource { .. } => "source",
            _ => "key",
        };
        let place = entries(table)
            .find(|(name, _)| name.value == group)
            .map_or_else(|| at.clone(), |(_, value)| value.span());
        self.style_file.wrong(
            place,
            error.to_string().lines().next().unwrap_or_default(),
            "ranges are written pitch, lowest note first; `chartproof style` prints what is in force",
        );
    }

    /// One entry, its names and kinds checked.
    fn entry(
        &self,
        list: &str,
        shape: &Shape,
        book: &Catalogue,
        table: &DeTable<'_>,
        at: &Range<usize>,
    ) -> Option<toml::Table> {
        let mut sound = true;
        let mut key = None;
        for (name, value) in entries(table) {
            let Some(example) = shape.names.get(&name.value) else {
                sound = false;
                self.style_file.wrong(
                    name.at,
                    format!("`{}` means nothing under [[{list}]]", name.value),
                    meant(&name.value, shape.names.keys().map(String::as_str)),
                );
                continue;
            };
            if !same_kind(example, value.get_ref()) {
                sound = false;
                self.style_file.wrong(
                    value.span(),
                    format!(
                        "`{}` is {}, found {}",
                        name.value,
                        in_words(example),
                        described(value.get_ref())
                    ),
                    format!("write {} = {example}", name.value),
                );
            }
            if name.value == "key"
                && let DeValue::String(text) = value.get_ref()
            {
                key = Some(text.to_string());
            }
        }
        let Some(key) = key else {
            self.style_file.wrong(
                at.clone(),
                format!("this [[{list}]] has no `key`"),
                match list {
                    "section" => "add key = \"saxes\" to change a known section, or a new one",
                    _ => "add key = \"alto-saxophone\" to change a known instrument, or a new one",
                },
            );
            return None;
        };
        let is_known = match list {
            "section" => book.section(&key).is_some(),
            _ => book.instrument(&key).is_some(),
        };
        if !is_known {
            let missing: Vec<&str> = shape
                .always
                .iter()
                .map(String::as_str)
                .filter(|n| *n != "source" && !entries(table).any(|(name, _)| name.value == *n))
                .collect();
            if !missing.is_empty() {
                sound = false;
                let known: Vec<&str> = match list {
                    "section" => book.sections.iter().map(|s| s.key.as_str()).collect(),
                    _ => book.instruments.iter().map(|i| i.key.as_str()).collect(),
                };
                self.style_file.wrong(
                    at.clone(),
                    format!(
                        "`{key}` is a new {list} and does not say its {}",
                        missing.join(", ")
                    ),
                    match nearest(&key, known) {
                        Some(near) => format!("if you mean the known one, its key is \"{near}\""),
                        None => format!("add {}", missing.join(", ")),
                    },
                );
            }
        }
        if sound { plain_table(table) } else { None }
    }

    /// A value of the house's own comes from the house style, unless it says otherwise.
    fn add_sources(&self, entry: &mut toml::Table, shape: &Shape, at: &Range<usize>) {
        let said = format!("house style, {}", self.origin(at));
        let groups: Vec<String> = shape
            .sources
            .iter()
            .filter(|g| entry.contains_key(*g))
            .cloned()
            .collect();
        let sources = entry
            .entry("source")
            .or_insert_with(|| toml::Value::Table(toml::Table::new()));
        if let toml::Value::Table(sources) = sources {
            for group in groups {
                sources
                    .entry(group)
                    .or_insert_with(|| toml::Value::String(said.clone()));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::house_style::read_text;
    use std::path::Path;

    #[test]
    fn a_changed_range_says_that_the_house_style_gives_it() {
        let text = "[[instrument]]\nkey = 'trumpet'\nprofessional = ['F#3', 'B5']\n";
        let style = read_text(Path::new("x.toml"), text).unwrap();
        let trumpet = style.instruments.instrument("trumpet").unwrap();
        assert!(
            trumpet.sources["professional"]
                .as_str()
                .starts_with("house style, x.toml:1")
        );
        assert!(
            !trumpet.sources["transpose"]
                .as_str()
                .starts_with("house style")
        );
        assert_eq!(style.changes.len(), 1);
    }

    #[test]
    fn every_bad_entry_is_reported_and_the_others_are_still_read() {
        let text = "[[instrument]]\nname = 'x'\n\
                    [[instrument]]\nkey = 'trumpet'\nprofessional = ['C6', 'F#3']\n\
                    [[instrument]]\nkey = 'trompet'\n\
                    [[section]]\nkey = 'saxes'\nseats = [['alto-sax']]\n";
        let error = read_text(Path::new("x.toml"), text)
            .map(|_| ())
            .unwrap_err();
        let lines: Vec<_> = error
            .mistakes
            .iter()
            .filter_map(|m| m.line_column().map(|(line, _)| line))
            .collect();
        assert_eq!(lines, [1, 5, 6, 10], "{error}");
    }
}
