//! Words that the program knows in scores: `rules/words.toml`.

use rustc_hash::{FxHashMap, FxHashSet};
use serde::Deserialize;
use std::sync::LazyLock;

/// The words of the file.
pub(crate) fn words() -> &'static Words {
    // The file is built in and a test reads it, so the empty lists are never seen.
    static WORDS: LazyLock<Words> = LazyLock::new(|| {
        toml::from_str(include_str!("../../rules/words.toml")).unwrap_or_default()
    });
    &WORDS
}

/// All lists, by what they are for.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Words {
    /// Words in the names of parts.
    pub(crate) part_names: PartNames,
}

/// Words in the names of parts that belong to no instrument: lower case, no accents, singular.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PartNames {
    /// They say nothing of the instrument.
    pub(crate) decoration: FxHashSet<Box<str>>,
    /// They belong to instruments that are not in the table.
    pub(crate) other_instruments: FxHashSet<Box<str>>,
    /// Letters right after a number.
    pub(crate) ordinal_endings: FxHashSet<Box<str>>,
    /// Seats in words, from the first on.
    pub(crate) ordinals: Vec<Vec<Box<str>>>,
    /// Seats in Roman numerals, from the first on.
    pub(crate) roman: Vec<Box<str>>,
    /// The part is read by several players.
    pub(crate) several: FxHashSet<Box<str>>,
    /// They end in s and are no plurals.
    pub(crate) not_plural: FxHashSet<Box<str>>,
    /// Keys that instruments are said to be in.
    pub(crate) keys: Keys,
}

/// Keys in names: pitch classes in semitones from C.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Keys {
    /// Words before a key.
    #[serde(rename = "in")]
    pub(crate) before: Vec<Box<str>>,
    /// Words after a letter that lower it.
    pub(crate) flat: Vec<Box<str>>,
    /// Keys wherever they stand.
    pub(crate) anywhere: FxHashMap<Box<str>, i16>,
    /// Keys after "in" only.
    pub(crate) after_in: FxHashMap<Box<str>, i16>,
    /// Letters and syllables.
    pub(crate) letters: FxHashMap<Box<str>, i16>,
}

/// Whether a word is in a short list.
pub(crate) fn is_among(list: &[Box<str>], word: &str) -> bool {
    list.iter().any(|w| **w == *word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_words_are_read() {
        let read: Result<Words, _> = toml::from_str(include_str!("../../rules/words.toml"));
        let names = read.unwrap().part_names;
        // Each meaning alone would be read wrongly with the other.
        for word in &names.other_instruments {
            assert!(!names.decoration.contains(word), "{word} is in both lists");
        }
        for word in names.ordinals.iter().flatten().chain(&names.roman) {
            assert!(!names.decoration.contains(word), "{word} is in both lists");
        }
    }
}
