//! How long the texts of a house style are at most.
//!
//! Reports repeat them with every finding: a text of any length would give a report of any size.

use super::super::style_file::StyleFile;
use crate::file_text::limits::LONGEST_NAME;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The most characters of a text that is no name.
const LONGEST: usize = 2_000;

/// What holds a name, which reports repeat the most.
const NAMES: [&str; 8] = [
    "aliases",
    "fix",
    "instrument",
    "key",
    "name",
    "section",
    "technique",
    "voice",
];

/// Texts that are too long are mistakes at their lines.
pub(super) fn check(style_file: &StyleFile<'_>, table: &DeTable<'_>) {
    for (name, value) in table {
        of_value(style_file, name.get_ref(), value);
    }
}

fn of_value(style_file: &StyleFile<'_>, name: &str, value: &Spanned<DeValue<'_>>) {
    match value.get_ref() {
        // A condition and a message have limits of their own, with their own advice.
        DeValue::String(text) if !matches!(name, "when" | "message") => {
            let most = if NAMES.contains(&name) {
                LONGEST_NAME
            } else {
                LONGEST
            };
            let length = text.chars().count();
            if length > most {
                style_file.wrong(
                    value.span(),
                    format!("`{name}` has {length} characters, more than {most}"),
                    "make it shorter",
                );
            }
        }
        DeValue::Array(items) => {
            for item in items {
                of_value(style_file, name, item);
            }
        }
        DeValue::Table(table) => check(style_file, table),
        _ => {}
    }
}
