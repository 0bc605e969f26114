//! A house style file as it stands on the page: values with their places, and mistakes that point.
//! Its messages are for people who have never heard of TOML.

use super::words::{Group, Key, Kind};
use crate::ground::problem::Problem;
use crate::ground::text::Text;
use std::cell::RefCell;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The text of one file, and what is wrong with it so far.
pub(super) struct Page<'t> {
    pub(super) path: &'t Path,
    pub(super) text: Text,
    mistakes: RefCell<Vec<Problem>>,
}

/// A value with its place.
#[derive(Clone, Debug)]
pub(super) struct Said<T> {
    pub(super) value: T,
    pub(super) at: Range<usize>,
}

impl<'t> Page<'t> {
    pub(super) fn new(path: &'t Path, text: &str) -> Self {
        Self {
            path,
            text: Text::from(text),
            mistakes: RefCell::default(),
        }
    }

    /// Notes a mistake.
    pub(super) fn wrong(
        &self,
        at: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        let error = Problem::at(self.path, &self.text, at, message).help(help);
        self.mistakes.borrow_mut().push(error);
    }

    /// All mistakes in the order they stand in.
    pub(super) fn mistakes(self) -> Vec<Problem> {
        let mut all = self.mistakes.into_inner();
        all.sort_by_key(|m| m.at.as_ref().map_or(0, |r| r.start));
        all
    }

    /// The 1-based line of a place.
    pub(super) fn line(&self, at: &Range<usize>) -> usize {
        let before = self.text.get(..at.start).unwrap_or(&self.text);
        before.bytes().filter(|b| *b == b'\n').count() + 1
    }

    /// Notes what makes the text no TOML at all, in the words of somebody who writes settings.
    pub(super) fn no_toml(&self, error: &toml::de::Error) {
        let at = error.span().unwrap_or(0..0);
        let start = at.start.min(self.text.len());
        let line_start = self
            .text
            .get(..start)
            .and_then(|t| t.rfind('\n'))
            .map_or(0, |i| i + 1);
        let line = self
            .text
            .get(line_start..)
            .and_then(|t| t.lines().next())
            .unwrap_or_default();
        let said = error.message().to_lowercase();
        let bare = line.split('#').next().unwrap_or_default().trim();
        let quotes = bare.matches('"').count();
        let value = bare.split_once('=').map(|(_, v)| v.trim());
        let name = bare.split('=').next().unwrap_or_default().trim();
        let (message, help) = if said.contains("duplicate") {
            let word = self
                .text
                .get(at.clone())
                .filter(|w| !w.trim().is_empty())
                .unwrap_or(name)
                .to_owned();
            (
                format!("`{word}` stands here a second time"),
                "keep one of the two".to_owned(),
            )
        } else if bare.starts_with('[')
            && !bare.contains('=')
            && bare.matches('[').count() != bare.matches(']').count()
        {
            (
                format!("the brackets of the heading `{bare}` do not match"),
                "write `[levels]` with one pair of brackets, `[[accepted]]` with two".to_owned(),
            )
        } else if quotes % 2 == 1 {
            (
                "a text in quotation marks is not closed on its line".to_owned(),
                "write the closing \" at the end of the text".to_owned(),
            )
        } else if bare.contains(['\u{201c}', '\u{201d}', '\u{201e}']) {
            (
                "these are typographic quotation marks".to_owned(),
                "write straight ones: \"".to_owned(),
            )
        } else if !bare.is_empty() && !bare.starts_with('[') && !bare.contains('=') {
            match bare.split_once(':') {
                Some((name, value)) => (
                    "a setting is written with `=`, not with a colon".to_owned(),
                    format!("write {} = {}", name.trim(), quoted(value.trim())),
                ),
                None => (
                    format!("`{bare}` sets nothing: there is no `=` in it"),
                    "write a name, `=` and a value; what is only for people starts with `#`"
                        .to_owned(),
                ),
            }
        } else if value == Some("") {
            (
                format!("`{name}` is given no value"),
                "write a value after the `=`, or take the line out".to_owned(),
            )
        } else if let Some(value) = value
            && !value.starts_with(['"', '\'', '[', '{'])
            && value.chars().any(char::is_alphabetic)
        {
            (
                format!("`{value}` is a text without quotation marks"),
                format!("write {name} = {}", quoted(value)),
            )
        } else if name.contains(' ') && !name.starts_with(['"', '[']) {
            (
                format!("`{name}` is no name of a setting: it has a space in it"),
                "words of one name are joined by hyphens, such as only-diminished".to_owned(),
            )
        } else if bare.contains('[') && bare.matches('[').count() != bare.matches(']').count() {
            (
                "a list is not closed".to_owned(),
                "write [\"one\", \"two\"], with a comma between and a bracket at the end"
                    .to_owned(),
            )
        } else {
            (
                format!("this cannot be read: {}", error.message()),
                "compare the line with what `chartproof style` prints".to_owned(),
            )
        };
        self.wrong(at, message, help);
    }
}

fn quoted(text: &str) -> String {
    let plain = matches!(text, "true" | "false") || text.parse::<f64>().is_ok();
    if plain || text.starts_with('"') {
        text.to_owned()
    } else {
        format!("\"{}\"", text.trim_matches(['\'', '"']))
    }
}

/// What was found, in words.
pub(super) fn described(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{}\"", shortened(text)),
        DeValue::Integer(n) => format!("the number {n}"),
        DeValue::Float(n) => format!("the number {n}"),
        DeValue::Boolean(b) => format!("{b}"),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a group of settings".to_owned(),
    }
}

fn shortened(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    if line.chars().count() > 40 || text.lines().count() > 1 {
        format!("{} ...", line.chars().take(36).collect::<String>())
    } else {
        line.to_owned()
    }
}

/// "did you mean `x`?", or what there is.
pub(super) fn meant<'a>(word: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
    match nearest(word, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("there are: {}", listed(known)),
    }
}

/// All of them, or the first thirty.
fn listed<'a>(known: impl IntoIterator<Item = &'a str>) -> String {
    const MOST: usize = 30;
    let all: Vec<&str> = known.into_iter().collect();
    let shown = all.get(..MOST.min(all.len())).unwrap_or_default();
    let more = if all.len() > MOST { ", ..." } else { "" };
    format!("{}{more}", shown.join(", "))
}

/// The nearest of some known words, when one is near.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let fold = |w: &str| w.to_lowercase().replace(['_', ' '], "-");
    let own = fold(word);
    let likeness = |k: &str| {
        let k = fold(k);
        // "dim" for "passing-diminished", "range" for "written-range".
        let inside = own.chars().count() >= 3 && k.split('-').any(|w| w.starts_with(&own));
        let whole = strsim::normalized_damerau_levenshtein(&own, &k);
        if inside { whole.max(0.75) } else { whole }
    };
    known
        .into_iter()
        .map(|k| (likeness(k), k))
        .filter(|(l, _)| *l >= 0.55)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// One group of settings being read; every name in it is known to its [`Group`].
pub(super) struct Fields<'p, 't> {
    pub(super) page: &'p Page<'t>,
    pub(super) group: &'static Group,
    table: &'p DeTable<'p>,
    /// Where the group stands.
    pub(super) at: Range<usize>,
}

impl<'p, 't> Fields<'p, 't> {
    /// Looks through the names: those that mean nothing here are mistakes, and so are those that are
    /// missing.
    pub(super) fn read(
        page: &'p Page<'t>,
        group: &'static Group,
        table: &'p DeTable<'p>,
        at: Range<usize>,
    ) -> Self {
        for (name, _) in table {
            if group.key(name.get_ref()).is_none() {
                page.wrong(
                    name.span(),
                    format!("`{}` means nothing {}", name.get_ref(), group.place()),
                    meant(name.get_ref(), group.keys.iter().map(|k| k.name)),
                );
            }
        }
        for key in group.keys.iter().filter(|k| k.required) {
            if !table.iter().any(|(name, _)| name.get_ref() == key.name) {
                page.wrong(
                    at.clone(),
                    format!("{} has no `{}`", group.one(), key.name),
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
            page,
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
        self.page.wrong(
            value.span(),
            format!(
                "`{name}` is {}, found {}",
                kind.described(),
                described(value.get_ref())
            ),
            format!("write {name} = {}", kind.example()),
        );
    }

    pub(super) fn text(&self, name: &str) -> Option<Said<String>> {
        let value = self.value(name)?;
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(Said {
                value: text.to_string(),
                at: value.span(),
            }),
            DeValue::String(_) => {
                self.page.wrong(
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

    pub(super) fn flag(&self, name: &str) -> Option<Said<bool>> {
        let value = self.value(name)?;
        if let DeValue::Boolean(flag) = value.get_ref() {
            return Some(Said {
                value: *flag,
                at: value.span(),
            });
        }
        self.other_kind(name, value);
        None
    }

    /// A whole number between two others.
    pub(super) fn whole(&self, name: &str, from: i64, to: i64) -> Option<Said<i64>> {
        let value = self.value(name)?;
        let Some(number) = number(value.get_ref()) else {
            self.other_kind(name, value);
            return None;
        };
        if number.fract() == 0.0 && number >= from as f64 && number <= to as f64 {
            return Some(Said {
                value: number as i64,
                at: value.span(),
            });
        }
        self.page.wrong(
            value.span(),
            format!("`{name}` is {number}"),
            format!("write a whole number from {from} to {to}"),
        );
        None
    }

    /// A list of texts; one text alone is a list of one.
    pub(super) fn texts(&self, name: &str) -> Vec<Said<String>> {
        let Some(value) = self.value(name) else {
            return Vec::new();
        };
        let items = match value.get_ref() {
            DeValue::Array(items) => items,
            DeValue::String(text) if !text.trim().is_empty() => {
                return vec![Said {
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
            self.page.wrong(
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
                DeValue::String(text) if !text.trim().is_empty() => all.push(Said {
                    value: text.to_string(),
                    at: item.span(),
                }),
                other => self.page.wrong(
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
    pub(super) fn word<T: Copy>(&self, name: &str, words: &[(&str, T)]) -> Option<Said<T>> {
        let value = self.value(name)?;
        word(self.page, name, value, words)
    }

    /// A group within this one.
    pub(super) fn table(&self, name: &str) -> Option<(&'p DeTable<'p>, Range<usize>)> {
        let value = self.value(name)?;
        if let DeValue::Table(table) = value.get_ref() {
            return Some((table, value.span()));
        }
        self.page.wrong(
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
            self.page.wrong(
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

/// The names set in a table with their values.
pub(super) fn entries<'p>(
    table: &'p DeTable<'p>,
) -> impl Iterator<Item = (Said<String>, &'p Spanned<DeValue<'p>>)> + use<'p> {
    table.iter().map(|(name, value)| {
        let said = Said {
            value: name.get_ref().to_string(),
            at: name.span(),
        };
        (said, value)
    })
}

/// A word out of a few.
pub(super) fn word<T: Copy>(
    page: &Page<'_>,
    name: &str,
    value: &Spanned<DeValue<'_>>,
    words: &[(&str, T)],
) -> Option<Said<T>> {
    let known = || words.iter().map(|(w, _)| *w).collect::<Vec<_>>();
    let choice = || format!("write one of \"{}\"", known().join("\", \""));
    let DeValue::String(text) = value.get_ref() else {
        page.wrong(
            value.span(),
            format!("`{name}` is a word, found {}", described(value.get_ref())),
            choice(),
        );
        return None;
    };
    if let Some((_, found)) = words.iter().find(|(w, _)| w == text) {
        return Some(Said {
            value: *found,
            at: value.span(),
        });
    }
    page.wrong(
        value.span(),
        format!("`{name}` cannot be \"{}\"", shortened(text)),
        match nearest(text, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => choice(),
        },
    );
    None
}

/// The number a value is.
pub(super) fn number(value: &DeValue<'_>) -> Option<f64> {
    let parsed = match value {
        DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix()).ok()? as f64,
        DeValue::Float(n) => n.as_str().replace('_', "").parse().ok()?,
        _ => return None,
    };
    parsed.is_finite().then_some(parsed)
}

/// The same value without its places.
pub(super) fn plain(value: &DeValue<'_>) -> Option<toml::Value> {
    Some(match value {
        DeValue::String(text) => toml::Value::String(text.to_string()),
        DeValue::Integer(n) => {
            toml::Value::Integer(i64::from_str_radix(n.as_str(), n.radix()).ok()?)
        }
        DeValue::Float(_) => toml::Value::Float(number(value)?),
        DeValue::Boolean(b) => toml::Value::Boolean(*b),
        DeValue::Datetime(d) => toml::Value::Datetime(*d),
        DeValue::Array(items) => toml::Value::Array(
            items
                .iter()
                .map(|i| plain(i.get_ref()))
                .collect::<Option<_>>()?,
        ),
        DeValue::Table(table) => toml::Value::Table(plain_table(table)?),
    })
}

/// The same table without its places.
pub(super) fn plain_table(table: &DeTable<'_>) -> Option<toml::Table> {
    table
        .iter()
        .map(|(name, value)| Some((name.get_ref().to_string(), plain(value.get_ref())?)))
        .collect()
}
