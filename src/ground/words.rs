//! Words that the program knows in scores: `rules/words.toml`.

use rustc_hash::{FxHashMap, FxHashSet};
use serde::{Deserialize, Deserializer};
use std::iter;
use std::sync::LazyLock;

/// The words of the file.
pub(crate) fn known_words() -> &'static Words {
    // The file is built in and a test reads it, so the empty lists are never seen.
    static WORDS: LazyLock<Words> = LazyLock::new(|| {
        let table = include_str!(concat!(env!("OUT_DIR"), "/words.json"));
        serde_json::from_str(table).unwrap_or_default()
    });
    &WORDS
}

/// All lists, by what they are for.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Words {
    /// Words in the names of parts.
    pub(crate) part_names: PartNames,
    /// How fast, or in which feel.
    pub(crate) tempo: TempoWords,
    /// How loud.
    pub(crate) dynamics: DynamicWords,
    /// Mutes, and other changes that take a player time.
    pub(crate) mutes: MuteWords,
    /// Whether several players share a part.
    pub(crate) dividing: DividingWords,
    /// Where players breathe.
    pub(crate) breathing: BreathingWords,
    /// How a passage is voiced.
    pub(crate) technique: TechniqueWords,
}

/// Words of tempo and feel.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TempoWords {
    /// Each counts from its beginning.
    pub(crate) feel: Vec<Box<str>>,
    /// Beginnings that count only as one of these whole words.
    pub(crate) whole: FxHashMap<Box<str>, Vec<Box<str>>>,
    /// Of the words of feel, those after which eighths swing.
    pub(crate) swung: Vec<Box<str>>,
    /// Of the words of feel, those after which eighths are even again.
    pub(crate) even: Vec<Box<str>>,
}

impl TempoWords {
    /// The words of tempo and feel in a text.
    pub(crate) fn said(&self, text: &str) -> Vec<&str> {
        let text = text.to_lowercase().replace('-', " ");
        let signs = text.match_indices(|c: char| !c.is_alphanumeric());
        let after = signs.filter_map(|(at, sign)| text.get(at + sign.len()..));
        let mut begins: Vec<bool> = vec![false; self.feel.len()];
        for rest in iter::once(text.as_str()).chain(after) {
            // Every word begins with a letter, and of other signs there may be millions.
            if rest.starts_with(char::is_alphabetic) {
                for (begins, word) in begins.iter_mut().zip(&self.feel) {
                    *begins |= rest.starts_with(&**word);
                }
            }
        }
        let is_meant = |word: &str| {
            self.whole.get(word).is_none_or(|whole| {
                text.split(|c: char| !c.is_alphanumeric())
                    .any(|w| is_among(whole, w))
            })
        };
        self.feel
            .iter()
            .zip(begins)
            .filter(|(word, begins)| *begins && is_meant(word))
            .map(|(word, _)| &**word)
            .collect()
    }

    /// Whether eighths swing from this text on; none where it says nothing of that.
    pub(crate) fn swings(&self, text: &str) -> Option<bool> {
        let said = self.said(text);
        let any = |words: &[Box<str>]| said.iter().any(|word| is_among(words, word));
        if any(&self.even) {
            Some(false)
        } else {
            any(&self.swung).then_some(true)
        }
    }
}

/// Words of dynamics.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DynamicWords {
    /// The dynamics that stay in force, the softest first.
    pub(crate) steps: Vec<Box<str>>,
    /// A loud attack, and the dynamic that holds after it.
    pub(crate) after_attack: FxHashMap<Box<str>, Box<str>>,
    /// Words that tell a player how loud to enter.
    pub(crate) in_words: FxHashSet<Box<str>>,
    /// Beginnings of words after which the loudness is another one by and by.
    pub(crate) changing: Vec<Box<str>>,
    /// The same in several words.
    pub(crate) phrases: Vec<Box<str>>,
}

/// Words of mutes and other changes.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct MuteWords {
    /// Words for a mute, each with the mute's name.
    pub(crate) names: Vec<(Box<str>, Box<str>)>,
    /// Any of these says that a mute is meant.
    pub(crate) mute: Vec<Box<str>>,
    /// These do where no other word stands beside them.
    pub(crate) mute_alone: Vec<Box<str>>,
    /// Beside a word for the mute, these take it away.
    pub(crate) away: Vec<Box<str>>,
    /// Beside a word for the mute, these leave the change to a later note.
    pub(crate) to_come: Vec<Box<str>>,
    /// Alone: no mute.
    pub(crate) open: Vec<Box<str>>,
    /// Held in or before the hand.
    pub(crate) in_hand: Vec<Box<str>>,
    /// Bow or pluck.
    pub(crate) strings: Vec<Box<str>>,
    /// Before the name of another instrument, with the space after them.
    pub(crate) take: Vec<Box<str>>,
}

/// Words that divide a part, or join its players.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DividingWords {
    /// One line for all.
    pub(crate) together: Vec<Box<str>>,
    /// Several lines.
    pub(crate) divided: Vec<Box<str>>,
    /// Several lines, as the whole text.
    pub(crate) divided_alone: Vec<Box<str>>,
}

/// Words of breathing.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BreathingWords {
    /// Anywhere in the text: the writer has thought of breathing.
    pub(crate) marks: Vec<Box<str>>,
}

/// Words of technique.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TechniqueWords {
    /// Two players have one line by design.
    pub(crate) one_line: Vec<Box<str>>,
    /// The passage is free of a technique.
    pub(crate) free: Vec<Box<str>>,
}

/// Words in the names of parts that belong to no instrument: lower case, no accents, singular.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PartNames {
    /// They say nothing of the instrument.
    pub(crate) decoration: FxHashSet<Box<str>>,
    /// They belong to instruments that are not in the table.
    pub(crate) other_instruments: FxHashSet<Box<str>>,
    /// They stand between the names of two instruments.
    pub(crate) between: FxHashSet<Box<str>>,
    /// Letters right after a number.
    pub(crate) ordinal_endings: FxHashSet<Box<str>>,
    /// Seats in words, each with its number, 1-based.
    #[serde(deserialize_with = "numbered")]
    pub(crate) ordinals: FxHashMap<Box<str>, u8>,
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
    /// Words after a key that say its octave.
    pub(crate) octaves: Vec<Box<str>>,
    /// Keys wherever they stand.
    pub(crate) anywhere: FxHashMap<Box<str>, i16>,
    /// Keys after "in" only.
    pub(crate) after_in: FxHashMap<Box<str>, i16>,
    /// Letters and syllables.
    pub(crate) letters: FxHashMap<Box<str>, i16>,
}

/// Lists of words, the first of them for 1.
fn numbered<'de, D: Deserializer<'de>>(from: D) -> Result<FxHashMap<Box<str>, u8>, D::Error> {
    let lists: Vec<Vec<Box<str>>> = Vec::deserialize(from)?;
    Ok((1..)
        .zip(lists)
        .flat_map(|(number, list)| list.into_iter().map(move |word| (word, number)))
        .collect())
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
        let read = read.unwrap();
        let names = read.part_names;
        // Each meaning alone would be read wrongly with the other.
        for word in &names.other_instruments {
            assert!(!names.decoration.contains(word), "{word} is in both lists");
        }
        for word in names.ordinals.keys().chain(&names.roman) {
            assert!(!names.decoration.contains(word), "{word} is in both lists");
        }
        for (attack, after) in &read.dynamics.after_attack {
            assert!(is_among(&read.dynamics.steps, after), "{attack}: {after}");
        }
        for word in read.tempo.whole.keys() {
            assert!(
                is_among(&read.tempo.feel, word),
                "{word} is no word of feel"
            );
        }
        for word in &read.dividing.together {
            assert!(!is_among(&read.dividing.divided, word), "{word}");
        }
    }
}
