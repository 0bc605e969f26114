//! All names of a catalogue by their words.

use super::name::{Name, NameReader};
use super::{Instrument, NameList};
use rustc_hash::{FxHashMap, FxHasher};
use smallvec::SmallVec;
use std::hash::Hasher;

/// A name that an instrument has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// The index of the instrument.
    pub(super) instrument: u16,
    /// The key that the name says.
    pub(super) key: Option<i16>,
    /// Horns and voices share the name.
    pub(super) bare: bool,
}

/// The names of a catalogue. A name is found by its words in any order, and by its letters.
#[derive(Debug, Default)]
pub(super) struct NameIndex(FxHashMap<u64, SmallVec<[Known; 2]>>);

impl NameIndex {
    pub(super) fn of(instruments: &[Instrument]) -> Self {
        let mut index = Self::default();
        let mut reader = NameReader::default();
        for (number, i) in (0u16..).zip(instruments) {
            let mut add = |text: &str, bare: bool| {
                let name = reader.read(text);
                if name.words.len() == 0 {
                    return;
                }
                let known = Known {
                    instrument: number,
                    key: name.key,
                    bare,
                };
                let words = sorted_hash(name.words.iter());
                let letters = letters_hash(name.words.iter());
                index.0.entry(words).or_default().push(known);
                if letters != words {
                    index.0.entry(letters).or_default().push(known);
                }
            };
            for text in [i.name.as_str(), &i.key].into_iter().chain(i.names.iter()) {
                add(text, false);
            }
            for text in i.bare.iter() {
                add(text, true);
            }
        }
        index
    }

    /// The names that are these words in any order.
    pub(super) fn of_words<'a>(
        &self,
        words: impl Iterator<Item = &'a str>,
    ) -> impl Iterator<Item = Known> {
        self.0
            .get(&sorted_hash(words))
            .into_iter()
            .flatten()
            .copied()
    }

    /// The names that have these letters, joined or apart.
    pub(super) fn of_letters<'a>(
        &self,
        words: impl Iterator<Item = &'a str>,
    ) -> impl Iterator<Item = Known> {
        self.0
            .get(&letters_hash(words))
            .into_iter()
            .flatten()
            .copied()
    }
}

/// The names of an instrument that are as long as these letters, within so many, each with its letters.
pub(super) fn nearly_as_long(
    names: &NameList,
    length: usize,
    within: usize,
) -> impl Iterator<Item = (String, Option<i16>)> {
    names.iter().filter_map(move |text| {
        // A name has at least the letters that it is looked at with, and gaps or a key besides.
        if text.chars().count() + within < length {
            return None;
        }
        let name = Name::read(text);
        let letters = name.words.joined();
        (letters.chars().count().abs_diff(length) <= within).then(|| (letters.to_owned(), name.key))
    })
}

fn sorted_hash<'a>(words: impl Iterator<Item = &'a str>) -> u64 {
    let mut sorted: SmallVec<[&str; 8]> = words.collect();
    sorted.sort_unstable();
    let mut hasher = FxHasher::default();
    let last = sorted.len().saturating_sub(1);
    for (i, word) in sorted.iter().enumerate() {
        hasher.write(word.as_bytes());
        // One word alone is its letters.
        if i < last || last > 0 {
            hasher.write_u8(0);
        }
    }
    hasher.finish()
}

fn letters_hash<'a>(words: impl Iterator<Item = &'a str>) -> u64 {
    let mut letters: SmallVec<[u8; 64]> = SmallVec::new();
    for word in words {
        letters.extend_from_slice(word.as_bytes());
    }
    let mut hasher = FxHasher::default();
    hasher.write(&letters);
    hasher.finish()
}
