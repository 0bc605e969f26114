//! The settings of one group of a house style file, by their names and kinds.

use super::style_file::StyleFile;
use super::values::{Placed, described, number, shortened};
use super::words::{Group, Key, Kind};
use crate::ground::text::{meant, nearest};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One group of settings being read; every name in it is known to its [`Group`].
pub(super) struct Fields<'p, 't> {
    pub(super) style_file: &'p StyleFile<'t>,
    pub(super) group: &'static Group,
    table: &'p DeTable<'p>,
    /// The bytes of the group.
    pub(super) at: Range<usize>,
}

impl<'p, 't> Fields<'p, 't> {
    /// Looks through the names: those that mean nothing here are mistakes, and so are those that are
    /// missing.
    pub(super) fn read(
        style_file: &'p StyleFile<'t>,
        group: &'static Group,
        table: &'p DeTable<'p>,
        at: Range<usize>,
    ) -> Self {
        for (name, _) in table {
            if group.key(name.get_ref()).is_none() {
                style_file.wrong(
                    name.span(),
                    format!("`{}` means nothing {}", name.get_ref(), group.place()),
                    meant(name.get_ref(), group.keys.iter().map(|k| k.name)),
                );
            }
        }
        for key in group.keys.iter().filter(|k| k.required) {
            if !table.iter().any(|(name, _)| name.get_ref() == key.name) {
                style_file.wrong(
                    at.clone(),
                    format!("{} has no `{}`", group.in_words(), key.name),
                    format!(
                        "add {} = {}   # {}",
                        key.name,
                        key.kind.example(),
                        key.about
                    ),
                );
            }
        }
        Self {
            style_file,
            group,
            table,
            at,
        }
    }

    pub(super) fn value(&self, name: &str) -> Option<&'p Spanned<DeValue<'p>>> {
        self.table
            .iter()
            .find(|(key, _)| key.get_ref() == name)
            .map(|(_, value)| value)
    }

    fn key(&self, name: &str) -> Option<&'static Key> {
        self.group.key(name)
    }

    fn other_kind(&self, name: &str, value: &Spanned<DeValue<'_>>) {
        let kind = self.key(name).map_or(Kind::Text, |k| k.kind);
        self.style_file.wrong(
            value.span(),
            format!(
                "`{name}` is {}, found {}",
                kind.described(),
                described(value.get_ref())
            ),
            format!("write {name} = {}", kind.example()),
        );
    }

    pub(super) fn text(&self, name: &str) -> Option<Placed<String>> {
        let value = self.value(name)?;
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(Placed {
                value: text.to_string(),
                at: value.span(),
            }),
            DeValue::String(_) => {
                self.style_file.wrong(
                    value.span(),
                    format!("`{name}` is empty"),
                    "write something between the quotation marks, or take the line out",
                );
                None
            }
            _ => {
                self.other_kind(name, value);
                None
            }
        }
    }

    pub(super) fn flag(&self, name: &str) -> Option<Placed<bool>> {
        let value = self.value(name)?;
        if let DeValue::Boolean(flag) = value.get_ref() {
            return Some(Placed {
                value: *flag,
                at: value.span(),
            });
        }
        self.other_kind(name, value);
        None
    }

    /// A whole number between two others.
    pub(super) fn whole(&self, name: &str, from: i64, to: i64) -> Option<Placed<i64>> {
        let value = self.value(name)?;
        let Some(number) = number(value.get_ref()) else {
            self.other_kind(name, value);
            return None;
        };
        if number.fract() == 0.0 && number >= from as f64 && number <= to as f64 {
            return Some(Placed {
                value: number as i64,
                at: value.span(),
            });
        }
        self.style_file.wrong(
            value.span(),
            format!("`{name}` is {number}"),
            format!("write a whole number from {from} to {to}"),
        );
        None
    }

    /// A list of texts; one text alone is a list of one.
    pub(super) fn texts(&self, name: &str) -> Vec<Placed<String>> {
        let Some(value) = self.value(name) else {
            return Vec::new();
        };
        let items = match value.get_ref() {
            DeValue::Array(items) => items,
            DeValue::String(text) if !text.trim().is_empty() => {
                return vec![Placed {
                    value: text.to_string(),
                    at: value.span(),
                }];
            }
            _ => {
                self.other_kind(name, value);
                return Vec::new();
            }
        };
        if items.is_empty() {
            self.style_file.wrong(
                value.span(),
                format!("`{name}` is an empty list"),
                format!(
                    "write {name} = {}, or take the line out",
                    Kind::Texts.example()
                ),
            );
        }
        let mut all = Vec::new();
        for item in items {
            match item.get_ref() {
                DeValue::String(text) if !text.trim().is_empty() => all.push(Placed {
                    value: text.to_string(),
                    at: item.span(),
                }),
                other => self.style_file.wrong(
                    item.span(),
                    format!(
                        "`{name}` is a list of texts, found {} in it",
                        described(other)
                    ),
                    format!("write {name} = {}", Kind::Texts.example()),
                ),
            }
        }
        all
    }

    /// A word out of a few.
    pub(super) fn word<T: Copy>(&self, name: &str, words: &[(&str, T)]) -> Option<Placed<T>> {
        let value = self.value(name)?;
        word(self.style_file, name, value, words)
    }

    /// A group within this one.
    pub(super) fn table(&self, name: &str) -> Option<(&'p DeTable<'p>, Range<usize>)> {
        let value = self.value(name)?;
        if let DeValue::Table(table) = value.get_ref() {
            return Some((table, value.span()));
        }
        self.style_file.wrong(
            value.span(),
            format!(
                "`{name}` is a group of settings, found {}",
                described(value.get_ref())
            ),
            format!("write [{name}] on a line of its own and the settings under it"),
        );
        None
    }

    /// The groups `[[name]]`.
    pub(super) fn tables(&self, name: &str) -> Vec<(&'p DeTable<'p>, Range<usize>)> {
        let Some(value) = self.value(name) else {
            return Vec::new();
        };
        let wrong = |value: &Spanned<DeValue<'_>>| {
            let message = match value.get_ref() {
                DeValue::Table(_) => {
                    format!("the heading `{name}` stands in one pair of brackets, and takes two")
                }
                other => format!(
                    "`{name}` is a heading with settings under it, found {}",
                    described(other)
                ),
            };
            self.style_file.wrong(
                value.span(),
                message,
                format!("write [[{name}]] on a line of its own and the settings under it"),
            );
        };
        let DeValue::Array(items) = value.get_ref() else {
            wrong(value);
            return Vec::new();
        };
        items
            .iter()
            .filter_map(|item| {
                if let DeValue::Table(table) = item.get_ref() {
                    Some((table, item.span()))
                } else {
                    wrong(item);
                    None
                }
            })
            .collect()
    }
}

/// A word out of a few.
pub(super) fn word<T: Copy>(
    style_file: &StyleFile<'_>,
    name: &str,
    value: &Spanned<DeValue<'_>>,
    words: &[(&str, T)],
) -> Option<Placed<T>> {
    let known = || words.iter().map(|(w, _)| *w).collect::<Vec<_>>();
    let choice = || format!("write one of \"{}\"", known().join("\", \""));
    let DeValue::String(text) = value.get_ref() else {
        style_file.wrong(
            value.span(),
            format!("`{name}` is a word, found {}", described(value.get_ref())),
            choice(),
        );
        return None;
    };
    if let Some((_, found)) = words.iter().find(|(w, _)| w == text) {
        return Some(Placed {
            value: *found,
            at: value.span(),
        });
    }
    style_file.wrong(
        value.span(),
        format!("`{name}` cannot be \"{}\"", shortened(text)),
        match nearest(text, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => choice(),
        },
    );
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house_style::words::FILE;
    use crate::style::Gate;
    use std::path::Path;

    /// The mistakes that reading a file's own settings notes.
    fn mistakes(text: &str, read: impl Fn(&Fields<'_, '_>)) -> Vec<String> {
        let style_file = StyleFile::new(Path::new("x.toml"), text);
        let table = DeTable::parse(text).unwrap();
        read(&Fields::read(&style_file, &FILE, table.get_ref(), 0..0));
        let all = style_file.mistakes();
        all.into_iter().map(|m| m.message).collect()
    }

    #[test]
    fn settings_are_read_with_their_places() {
        let found = mistakes("about = 'x'\ngrade = 3\ngate = 'never'\n", |fields| {
            assert_eq!(
                fields.text("about").map(|t| (t.value, t.at)),
                Some(("x".to_owned(), 8..11))
            );
            assert_eq!(fields.whole("grade", 0, 6).map(|n| n.value), Some(3));
            assert_eq!(
                fields.word("gate", &Gate::WORDS).map(|g| g.value),
                Some(Gate::Never)
            );
            assert!(fields.text("technique").is_none());
        });
        assert_eq!(found, [""; 0]);
    }

    #[test]
    fn another_kind_is_a_mistake() {
        let found = mistakes(
            "about = ''\ngrade = 2.5\ngate = 'nevr'\nabuot = 1\n",
            |fields| {
                assert!(fields.text("about").is_none());
                assert!(fields.whole("grade", 0, 6).is_none());
                assert!(fields.word("gate", &Gate::WORDS).is_none());
            },
        );
        assert_eq!(
            found,
            [
                "`about` is empty",
                "`grade` is 2.5",
                "`gate` cannot be \"nevr\"",
                "`abuot` means nothing in a house style"
            ]
        );
    }

    #[test]
    fn groups_take_one_pair_of_brackets_and_lists_of_groups_two() {
        let found = mistakes("levels = 1\n[part]\nname = 'x'\n", |fields| {
            assert!(fields.table("levels").is_none());
            assert_eq!(fields.tables("part").len(), 0);
        });
        assert_eq!(
            found,
            [
                "`levels` is a group of settings, found the number 1",
                "the heading `part` stands in one pair of brackets, and takes two"
            ]
        );
    }
}
