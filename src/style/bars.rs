//! Printed bar numbers and ranges of them.

use std::collections::BTreeMap;
use std::fmt;

/// Printed bar numbers: `5`, `17-32`, `1-8, 17-24`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bars(Vec<(u32, u32)>);

/// Why a text names no bars.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BarsError {
    /// Something that is not a number.
    #[error("`{0}` names no bars")]
    NotBars(String),
    /// A range that ends before it starts.
    #[error("bars {0} to {1} run backwards")]
    Backwards(u32, u32),
}

impl Bars {
    /// Reads bar numbers and ranges of them, with commas between.
    pub fn read(text: &str) -> Result<Self, BarsError> {
        let mut all = Vec::new();
        for piece in text.split(',') {
            let no_bars = || BarsError::NotBars(piece.trim().to_owned());
            let mut ends = piece.split(['-', '\u{2013}']);
            let number = |t: &str| t.trim().parse::<u32>().map_err(|_| no_bars());
            let from = number(ends.next().unwrap_or_default())?;
            let to = ends.next().map_or(Ok(from), number)?;
            if ends.next().is_some() {
                return Err(no_bars());
            }
            if to < from {
                return Err(BarsError::Backwards(from, to));
            }
            all.push((from, to));
        }
        Ok(Self(all))
    }

    /// Whether a printed bar number is among them; `12a` counts as 12.
    pub fn hold(&self, number: &str) -> bool {
        value(number).is_some_and(|n| self.0.iter().any(|(from, to)| (*from..=*to).contains(&n)))
    }
}

impl fmt::Display for Bars {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, (from, to)) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str(", ")?;
            }
            if from == to {
                write!(f, "{from}")?;
            } else {
                write!(f, "{from}-{to}")?;
            }
        }
        Ok(())
    }
}

/// Of entries in order, each of some bars or of all, the first that holds in a bar.
pub struct FirstForBar {
    /// The first that holds in all.
    anywhere: Option<usize>,
    /// The first of the others, from a bar number on.
    from: Vec<(u32, Option<usize>)>,
}

impl FirstForBar {
    /// Takes the entries, by their place.
    pub fn new<'b>(entries: impl Iterator<Item = Option<&'b Bars>>) -> Self {
        let mut anywhere = None;
        // Where ranges begin and end, each with its entry.
        let mut ends: Vec<(u32, bool, usize)> = Vec::new();
        for (entry, bars) in entries.enumerate() {
            match bars {
                None => anywhere = anywhere.or(Some(entry)),
                // Whatever comes after one that holds everywhere is never the first.
                Some(_) if anywhere.is_some() => {}
                Some(Bars(ranges)) => {
                    for &(first, last) in ranges {
                        ends.push((first, true, entry));
                        let after = last.checked_add(1).map(|after| (after, false, entry));
                        ends.extend(after);
                    }
                }
            }
        }
        ends.sort_unstable();
        let mut open: BTreeMap<usize, usize> = BTreeMap::new();
        let mut from: Vec<(u32, Option<usize>)> = Vec::new();
        for (number, begins, entry) in ends {
            let ranges = open.entry(entry).or_default();
            *ranges = if begins {
                *ranges + 1
            } else {
                ranges.saturating_sub(1)
            };
            if *ranges == 0 {
                open.remove(&entry);
            }
            let first = open.keys().next().copied();
            match from.last_mut().filter(|(at, _)| *at == number) {
                Some(last) => last.1 = first,
                None => from.push((number, first)),
            }
        }
        Self { anywhere, from }
    }

    /// The place of the first entry that holds in the bar of a printed number.
    pub fn at(&self, number: &str) -> Option<usize> {
        let of_bar = value(number).and_then(|n| {
            let after = self.from.partition_point(|(from, _)| *from <= n);
            self.from.get(after.checked_sub(1)?)?.1
        });
        of_bar.into_iter().chain(self.anywhere).min()
    }
}

/// The number a printed bar number counts as: `12a` is 12.
fn value(number: &str) -> Option<u32> {
    let digits = number.bytes().take_while(u8::is_ascii_digit).count();
    number.get(..digits)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_numbers_and_ranges() {
        let bars = Bars::read("5, 17-20").unwrap();
        assert_eq!(bars.to_string(), "5, 17-20");
        for (number, inside) in [
            ("5", true),
            ("6", false),
            ("18a", true),
            ("20", true),
            ("x", false),
        ] {
            assert_eq!(bars.hold(number), inside, "{number}");
        }
        assert_eq!(Bars::read("8-4"), Err(BarsError::Backwards(8, 4)));
        assert_eq!(
            Bars::read("4-").unwrap_err(),
            BarsError::NotBars("4-".to_owned())
        );
        assert!(Bars::read("").is_err());
        assert!(Bars::read("1-2-3").is_err());
    }

    #[test]
    fn the_first_entry_for_a_bar_is_the_first_of_those_that_hold_it() {
        let entries = [
            Bars::read("5, 17-20, 18-4294967295").ok(),
            Bars::read("6, 4-8, 9").ok(),
            Bars::read("1-30, 5").ok(),
            None,
            Bars::read("1-3").ok(),
        ];
        let first = FirstForBar::new(entries.iter().map(Option::as_ref));
        for number in [
            "0",
            "1",
            "4",
            "5",
            "6",
            "8",
            "9",
            "10",
            "17",
            "18",
            "20",
            "21",
            "30",
            "31b",
            "x",
            "4294967295",
        ] {
            let holds = |bars: &Option<Bars>| bars.as_ref().is_none_or(|b| b.hold(number));
            assert_eq!(first.at(number), entries.iter().position(holds), "{number}");
        }
        let none = FirstForBar::new(entries.iter().take(1).map(Option::as_ref));
        assert_eq!(none.at("6"), None);
    }
}
