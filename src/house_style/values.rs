//! Values of a house style file with their places.

use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value with its place.
#[derive(Clone, Debug)]
pub(super) struct Placed<T> {
    pub(super) value: T,
    pub(super) at: Range<usize>,
}

/// The names set in a table with their values.
pub(super) fn entries<'p>(
    table: &'p DeTable<'p>,
) -> impl Iterator<Item = (Placed<String>, &'p Spanned<DeValue<'p>>)> + use<'p> {
    table.iter().map(|(name, value)| {
        let said = Placed {
            value: name.get_ref().to_string(),
            at: name.span(),
        };
        (said, value)
    })
}

/// A value that was found, in words.
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

pub(super) fn shortened(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    if line.chars().count() > 40 || text.lines().count() > 1 {
        format!("{} ...", line.chars().take(36).collect::<String>())
    } else {
        line.to_owned()
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The values of a table with their names.
    fn described_all(text: &str) -> Vec<String> {
        let table = DeTable::parse(text).unwrap();
        let all = entries(table.get_ref());
        all.map(|(name, value)| format!("{}: {}", name.value, described(value.get_ref())))
            .collect()
    }

    #[test]
    fn values_are_described_for_people() {
        assert_eq!(
            described_all("a = 'x'\nb = 1\nc = true\nd = [1]\ne = { f = 1 }\ng = 1979-05-27\n"),
            [
                "a: the text \"x\"",
                "b: the number 1",
                "c: true",
                "d: a list",
                "e: a group of settings",
                "g: a date"
            ]
        );
        let long = "x".repeat(41);
        assert_eq!(shortened(&long), format!("{} ...", "x".repeat(36)));
        assert_eq!(shortened("one\ntwo"), "one ...");
        assert_eq!(shortened(&long[..40]), &long[..40]);
    }

    #[test]
    fn numbers_are_read_however_they_are_written() {
        let table = DeTable::parse("a = 1_000\nb = 0x1F\nc = 2.5\nd = inf\ne = '3'\n").unwrap();
        let numbers: Vec<Option<f64>> = entries(table.get_ref())
            .map(|(_, value)| number(value.get_ref()))
            .collect();
        assert_eq!(numbers, [Some(1000.0), Some(31.0), Some(2.5), None, None]);
    }

    #[test]
    fn a_table_without_its_places_is_the_same_table() {
        let text = "a = [1, 2.5]\nb = { c = 'x', d = true }\n";
        let table = DeTable::parse(text).unwrap();
        assert_eq!(plain_table(table.get_ref()), text.parse().ok());
    }
}
