//! Names of instruments and sections as people write them: any word order, seat numbers, keys
//! ("in Bb"), several names in one text, seven languages.

use super::index::{Known, NameIndex, nearly_as_long};
use super::name::Name;
use super::{Catalogue, Instrument, Property, Section};
use crate::ground::words::known_words;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;
use std::sync::{OnceLock, PoisonError, RwLock};

/// The names of a catalogue, and answers that were given: a library calls its parts by the same few
/// names. They are part of no catalogue, whose copy starts without them.
#[derive(Debug, Default)]
pub(super) struct KnownNames {
    index: OnceLock<NameIndex>,
    answers: RwLock<FxHashMap<Box<str>, Option<Match>>>,
}

/// How many answers are kept, and for names of how many bytes.
const MOST_KNOWN: (usize, usize) = (4096, 128);

impl KnownNames {
    fn answer(&self, text: &str, find: impl FnOnce() -> Option<Match>) -> Option<Match> {
        let known = self.answers.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(answer) = known.get(text) {
            return answer.clone();
        }
        drop(known);
        let answer = find();
        let mut known = self.answers.write().unwrap_or_else(PoisonError::into_inner);
        if known.len() < MOST_KNOWN.0 && text.len() <= MOST_KNOWN.1 {
            known.insert(text.into(), answer.clone());
        }
        answer
    }
}

impl Clone for KnownNames {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl PartialEq for KnownNames {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Instrument {
    /// Whether a part said to be "in" this key (pitch class that its written C sounds) can be one.
    fn may_be_in(&self, key: i16) -> bool {
        let own = self.transposition.chromatic.rem_euclid(12);
        own == key || self.is(Property::AnyKey) || (own == 0 && self.is(Property::NamedByTube))
    }
}

/// What a text may be.
#[derive(Clone, Debug)]
pub(crate) struct Match {
    /// Indices into the instruments, in order; never empty.
    pub(crate) candidates: Vec<usize>,
    /// The name is shared by horns and voices.
    pub(crate) bare: bool,
    /// 1-based.
    pub(crate) seat: Option<u8>,
    /// The text names a part of a choir too, before the instrument: "Tenor, Viola".
    pub(crate) sung: Vec<usize>,
}

/// The longest name in words.
const LONGEST_RUN: usize = 5;

/// So many words of a text are looked at.
const MOST_WORDS: usize = 12;

/// A name that a text holds.
struct Mention {
    /// The first of its words, and the one after the last.
    words: (usize, usize),
    candidates: Vec<usize>,
    bare: bool,
}

impl Catalogue {
    /// The section people call this: "sax section", "bones", "SATB".
    pub fn section_named(&self, text: &str) -> Option<&Section> {
        let said = Name::read(text);
        let whole = said.words.joined();
        let short: String = said.words.iter().filter(|w| !is_decoration(w)).collect();
        if whole.is_empty() {
            return None;
        }
        let called = |wanted: &str| {
            self.sections.iter().find(|s| {
                s.aliases
                    .iter()
                    .chain([&s.key, &s.name])
                    .any(|a| Name::read(a).words.joined() == wanted)
            })
        };
        called(whole).or_else(|| {
            if short.is_empty() {
                None
            } else {
                called(&short)
            }
        })
    }

    /// The instrument people call this, without other parts to go by: a name that horns and
    /// voices share is the horn's.
    pub fn named(&self, text: &str) -> Option<&Instrument> {
        let found = self.match_text(text)?;
        found
            .candidates
            .first()
            .and_then(|&i| self.instruments.get(i))
    }

    /// What a text may be.
    pub(crate) fn match_text(&self, text: &str) -> Option<Match> {
        self.known.answer(text, || self.match_anew(text))
    }

    /// The strictest way to match that gives anything decides.
    fn match_anew(&self, text: &str) -> Option<Match> {
        let name = Name::read(text);
        let (candidates, bare, sung) = self
            .match_exactly(&name)
            .map(|m| (m.candidates, m.bare, Vec::new()))
            .or_else(|| self.match_mentions(&name))
            .or_else(|| self.match_nearly(&name).map(|c| (c, false, Vec::new())))?;
        Some(Match {
            candidates,
            bare,
            seat: name.seat,
            sung,
        })
    }

    /// The instruments that these words name, those named in full before those that share the name.
    fn find(&self, name: &Name, key: Option<i16>, words: &[usize]) -> Option<Mention> {
        let index = self
            .known
            .index
            .get_or_init(|| NameIndex::of(&self.instruments));
        let fits = |known: &Known| {
            known.key.is_some() && known.key == key
                || known.key.is_none()
                    && key.is_none_or(|key| {
                        let instrument = self.instruments.get(usize::from(known.instrument));
                        instrument.is_some_and(|i| i.may_be_in(key))
                    })
        };
        let texts = words.iter().map(|&i| name.words.get(i));
        // An English "tenor horn" is no German "Tenorhorn".
        let mut found: SmallVec<[Known; 8]> = index.of_words(texts.clone()).filter(fits).collect();
        if found.is_empty() {
            found.extend(index.of_letters(texts).filter(fits));
        }
        let bare = found.iter().all(|k| k.bare);
        let mut candidates: Vec<usize> = found
            .iter()
            .filter(|k| k.bare == bare)
            .map(|k| usize::from(k.instrument))
            .collect();
        candidates.sort_unstable();
        candidates.dedup();
        (!candidates.is_empty()).then_some(Mention {
            words: (
                words.first().copied().unwrap_or(0),
                words.last().map_or(0, |last| last + 1),
            ),
            candidates,
            bare,
        })
    }

    /// The words of the name and no others, in any order, joined or apart.
    fn match_exactly(&self, name: &Name) -> Option<Mention> {
        let all: Vec<usize> = (0..name.words.len()).collect();
        let plain: Vec<usize> = all
            .iter()
            .copied()
            .filter(|&i| !is_decoration(name.words.get(i)))
            .collect();
        // "Flute/Piccolo" is a flute first.
        let blocks = |words: &[usize]| {
            let mut blocks = words.iter().filter_map(|&i| name.standing.get(i));
            let first = blocks.next().map(|s| s.block);
            blocks.all(|s| Some(s.block) == first)
        };
        if plain.is_empty() {
            return self.find(name, name.key, &all);
        }
        if !blocks(&plain) {
            return None;
        }
        let (last, before) = plain.split_last()?;
        let (_, after) = plain.split_first()?;
        self.find(name, name.key, &all)
            .or_else(|| self.find(name, name.key, &plain))
            .or_else(|| {
                let key = name.key_of_word(*last).filter(|_| *last + 1 == all.len())?;
                self.find(name, Some(key), before)
            })
            // "E Horn"
            .or_else(|| {
                let key = name
                    .key_of_word(0)
                    .filter(|_| name.words.get(0).len() == 1)?;
                self.find(name, Some(key), after)
            })
    }

    /// A name with other words around it, or several names: "Bratsche. Viola", "Trumpet 2/Flugel".
    fn match_mentions(&self, name: &Name) -> Option<(Vec<usize>, bool, Vec<usize>)> {
        let mut mentions = self.mentions(name);
        let sung = mentions
            .first()
            .filter(|m| m.bare)
            .map(|m| self.of_choir(&m.candidates))
            .unwrap_or_default();
        self.drop_qualifiers(name, &mut mentions);
        let firm = |m: &&Mention| !m.bare;
        let Some(first) = mentions.iter().find(firm) else {
            let bare = mentions.into_iter().next()?;
            return Some((bare.candidates, true, Vec::new()));
        };
        let block = |m: &Mention| name.standing.get(m.words.0).map(|s| s.block);
        let same_block = |a: &Mention, b: &Mention| block(a) == block(b);
        let mut found = first.candidates.clone();
        for other in mentions.iter().filter(|m| m.words != first.words) {
            let both: Vec<usize> = found
                .iter()
                .copied()
                .filter(|i| other.candidates.contains(i))
                .collect();
            if !both.is_empty() {
                found = both;
            } else if same_block(first, other)
                && let Some(finer) = self.finer(&found, &other.candidates)
            {
                found = finer;
            }
        }
        Some((found, false, sung))
    }

    /// The parts of a choir among these.
    fn of_choir(&self, candidates: &[usize]) -> Vec<usize> {
        candidates
            .iter()
            .copied()
            .filter(|&i| {
                self.instruments
                    .get(i)
                    .is_some_and(|i| i.is(Property::Choir) && !i.is(Property::OldVoice))
            })
            .collect()
    }

    /// Of the other names those that say the same more exactly: "Voice (Soprano)". Sound ids tell
    /// which is the finer.
    fn finer(&self, found: &[usize], other: &[usize]) -> Option<Vec<usize>> {
        let coarse = self.instruments.get(*found.first()?)?.sound.as_deref()?;
        let finer: Vec<usize> = other
            .iter()
            .copied()
            .filter(|&i| {
                let sound = self.instruments.get(i).and_then(|i| i.sound.as_deref());
                let rest = sound.and_then(|s| s.strip_prefix(coarse));
                rest.is_some_and(|rest| rest.starts_with('.'))
            })
            .collect();
        (!finer.is_empty()).then_some(finer)
    }

    /// The names that follow one another in the text, each as long as can be.
    fn mentions(&self, name: &Name) -> Vec<Mention> {
        let mut mentions = Vec::new();
        let count = name.words.len().min(MOST_WORDS);
        let mut at = 0;
        while at < count {
            let longest = (at + LONGEST_RUN).min(count);
            let block = name.standing.get(at).map(|s| s.block);
            let found = (at + 1..=longest)
                .rev()
                .filter(|&end| name.standing.get(end - 1).map(|s| s.block) == block)
                .find_map(|end| {
                    let words: SmallVec<[usize; LONGEST_RUN]> = (at..end).collect();
                    self.find(name, name.key, &words)
                });
            at = found.as_ref().map_or(at + 1, |m| m.words.1);
            mentions.extend(found);
        }
        mentions
    }

    /// Leaves out what only looks like a name among other words, and what qualifies another name.
    fn drop_qualifiers(&self, name: &Name, mentions: &mut Vec<Mention>) {
        let words = &known_words().part_names;
        let piece = |i: usize| name.standing.get(i).map(|s| s.piece);
        let named = |i: usize| mentions.iter().any(|m| (m.words.0..m.words.1).contains(&i));
        // Pieces with words that no name explains, and those with words of instruments that the table
        // does not have.
        let mut unknown: SmallVec<[Option<u8>; 8]> = SmallVec::new();
        let mut foreign: SmallVec<[Option<u8>; 8]> = SmallVec::new();
        for i in (0..name.words.len()).filter(|&i| !named(i)) {
            let word = name.words.get(i);
            if words.other_instruments.contains(word) {
                foreign.push(piece(i));
            } else if !is_decoration(word) {
                unknown.push(piece(i));
            }
        }
        let letters = |m: &Mention| -> usize {
            (m.words.0..m.words.1)
                .map(|i| name.words.get(i).len())
                .sum()
        };
        let plain = |m: &Mention| (m.words.0..m.words.1).any(|i| !is_decoration(name.words.get(i)));
        let any_plain = mentions.iter().any(plain);
        // The octave of a key, and the letter of a player, say nothing of the instrument.
        let no_name = |m: &Mention, after: Option<&Mention>| {
            let word = m.words.0;
            m.bare
                && (name.standing.get(word).is_some_and(|s| s.octave)
                    || after.is_some() && letters(m) == 1)
        };
        let mut keep: Vec<bool> = Vec::with_capacity(mentions.len());
        for (i, m) in mentions.iter().enumerate() {
            let before = i.checked_sub(1).and_then(|i| mentions.get(i));
            let at = piece(m.words.0);
            keep.push(
                !(foreign.contains(&at)
                    || unknown.contains(&at) && (m.bare || letters(m) < 4)
                    || any_plain && !plain(m)
                    || no_name(m, before)),
            );
        }
        // "Alto Trombone", where the table has none, is no trombone.
        for (i, pair) in mentions.windows(2).enumerate() {
            let [a, b] = pair else { continue };
            let both = keep.get(i..i + 2).is_some_and(|k| k.iter().all(|k| *k));
            let side_by_side = a.words.1 == b.words.0 && piece(a.words.0) == piece(b.words.0);
            if both && side_by_side && a.bare != b.bare && !self.share_section(a, b) {
                keep[i..i + 2].fill(false);
            }
        }
        let mut keep = keep.into_iter();
        mentions.retain(|_| keep.next().unwrap_or(false));
    }

    fn share_section(&self, a: &Mention, b: &Mention) -> bool {
        let section = |i: &usize| self.instruments.get(*i).map(|i| i.section.as_str());
        a.candidates
            .iter()
            .any(|i| b.candidates.iter().any(|j| section(i) == section(j)))
    }

    /// A long name with a slip of the pen in it.
    fn match_nearly(&self, name: &Name) -> Option<Vec<usize>> {
        let explained: usize = self
            .mentions(name)
            .iter()
            .map(|m| m.words.1 - m.words.0)
            .sum();
        if explained == name.words.len() {
            return None;
        }
        let plain: String = name.words.iter().filter(|w| !is_decoration(w)).collect();
        let length = plain.chars().count();
        // Names far longer than any instrument's are not worth comparing.
        if !(6..=60).contains(&length) {
            return None;
        }
        let slips = if length >= 12 { 2 } else { 1 };
        let found: Vec<usize> = self
            .instruments
            .iter()
            .enumerate()
            .filter(|(_, i)| name.key.is_none_or(|key| i.may_be_in(key)))
            .filter(|(_, i)| {
                nearly_as_long(&i.names, length, slips).any(|(letters, key)| {
                    (key.is_none() || key == name.key)
                        && letters.chars().count() >= 6
                        // "Bass harmonica" is no glass harmonica.
                        && letters.chars().next() == plain.chars().next()
                        && strsim::osa_distance(&letters, &plain) <= slips
                })
            })
            .map(|(index, _)| index)
            .collect();
        (!found.is_empty()).then_some(found)
    }
}

/// Whether a word says nothing of the instrument.
fn is_decoration(word: &str) -> bool {
    known_words().part_names.decoration.contains(word)
}

#[cfg(test)]
mod tests {
    use crate::ground::instrument::catalogue;
    use crate::ground::instrument::name::{names_several, seat_in};

    #[test]
    fn every_instrument_is_called_by_its_own_name_and_key() {
        for i in &catalogue().instruments {
            assert_eq!(
                catalogue().named(&i.name).map(|f| &f.key),
                Some(&i.key),
                "{}",
                i.name
            );
            assert_eq!(
                catalogue().named(&i.key).map(|f| &f.key),
                Some(&i.key),
                "{}",
                i.key
            );
        }
    }

    #[test]
    fn names_in_six_languages() {
        let table = [
            // English
            ("Alto Saxophone", "alto-saxophone"),
            ("Alto Sax 1", "alto-saxophone"),
            ("Sax alto", "alto-saxophone"),
            ("Sax, Alto", "alto-saxophone"),
            ("A. Sx. 2", "alto-saxophone"),
            ("ASax1", "alto-saxophone"),
            ("AltoSax1", "alto-saxophone"),
            ("1st Alto Sax", "alto-saxophone"),
            ("Lead Alto", "alto-saxophone"),
            ("Alto 1", "alto-saxophone"),
            ("Alto Saxaphone", "alto-saxophone"),
            ("E\u{266d} Alto Saxophone II", "alto-saxophone"),
            ("Alto Sax in Eb", "alto-saxophone"),
            ("ALTO SAXOPHONES", "alto-saxophone"),
            ("Woodwind 1 (Alto Sax)", "alto-saxophone"),
            ("Reed 3 - Tenor Sax/Clarinet", "tenor-saxophone"),
            ("Tbn. 4 (B. Tbn.)", "bass-trombone"),
            ("Alto Saxes", "alto-saxophone"),
            ("Es-Altsaxophon", "alto-saxophone"),
            ("Tromba in Si\u{266d} I", "trumpet"),
            ("Women", "voice"),
            ("Männer", "voice"),
            ("T. Sax 2", "tenor-saxophone"),
            ("Tenor Sax (Solo)", "tenor-saxophone"),
            ("Tenor 2", "tenor-saxophone"),
            ("Tenor in Bb", "tenor-saxophone"),
            ("Bari", "baritone-saxophone"),
            ("Bari Sax", "baritone-saxophone"),
            ("B. Sx.", "baritone-saxophone"),
            ("Baritone", "baritone-saxophone"),
            ("Soprano Sax", "soprano-saxophone"),
            ("Bass Sax", "bass-saxophone"),
            ("Bb Trumpet 3", "trumpet"),
            ("Trumpet in Bb", "trumpet"),
            ("Trumpet in B-flat 2", "trumpet"),
            ("Lead Trumpet", "trumpet"),
            ("Tpt. 4", "trumpet"),
            ("Trumpet 1 (Flugelhorn)", "trumpet"),
            ("Trumpet 2/Flugel", "trumpet"),
            ("Trumpt 2", "trumpet"),
            ("C Trumpet", "trumpet-in-c"),
            ("Trumpet in C", "trumpet-in-c"),
            ("Flugelhorn", "flugelhorn"),
            ("Cornet 1", "cornet"),
            ("Horn in F 1", "french-horn"),
            ("F Horn", "french-horn"),
            ("Horn F", "french-horn"),
            ("Trombone 4 (Bass)", "bass-trombone"),
            ("Bass Trombone", "bass-trombone"),
            ("B. Tbn.", "bass-trombone"),
            ("Trombone 1", "trombone"),
            ("Trombone in Bb", "trombone"),
            ("Trombone (Bass Clef)", "trombone"),
            ("Tbn. III", "trombone"),
            ("Euphonium", "euphonium"),
            ("Baritone T.C.", "euphonium-treble-clef"),
            ("Tuba", "tuba"),
            ("Tuba in Eb", "tuba"),
            ("Clarinet in Bb 1", "clarinet"),
            ("EbClarinet", "clarinet-in-eb"),
            ("Clarinet in A", "clarinet-in-a"),
            ("Clarinet A", "clarinet-in-a"),
            ("Bass Clarinet", "bass-clarinet"),
            ("Flute 1", "flute"),
            ("Alto Flute", "alto-flute"),
            ("Piccolo", "piccolo"),
            ("Oboe 2", "oboe"),
            ("English Horn", "english-horn"),
            ("Bassoon", "bassoon"),
            ("Acoustic Guitar", "guitar"),
            ("Guitar (Electric)", "guitar"),
            ("Bass", "double-bass"),
            ("Acoustic Bass", "double-bass"),
            ("Bass Guitar", "electric-bass"),
            ("Piano RH", "piano"),
            ("Vibes", "vibraphone"),
            ("Drum Set", "drums"),
            ("Soprano Voice", "soprano-voice"),
            ("Bass (Voice)", "bass-voice"),
            ("Lead Vocal", "voice"),
            // German
            ("Altsaxophon", "alto-saxophone"),
            ("Alt-Sax 2", "alto-saxophone"),
            ("Alt Saxophon in Es", "alto-saxophone"),
            ("2. Tenorsaxophon", "tenor-saxophone"),
            ("Baritonsaxophon", "baritone-saxophone"),
            ("Trompete in B", "trumpet"),
            ("1. Trompete", "trumpet"),
            ("Trompete B 2", "trumpet"),
            ("Trompete in C", "trumpet-in-c"),
            ("Flügelhorn", "flugelhorn"),
            ("Posaune 1", "trombone"),
            ("Bassposaune", "bass-trombone"),
            ("Klarinette in B", "clarinet"),
            ("Bassklarinette", "bass-clarinet"),
            ("Querflöte", "flute"),
            ("Englischhorn", "english-horn"),
            ("Kontrabaß", "double-bass"),
            ("Klavier", "piano"),
            ("Schlagzeug", "drums"),
            ("Sopranstimme", "soprano-voice"),
            // French
            ("Saxophone alto 1", "alto-saxophone"),
            ("1er saxophone ténor", "tenor-saxophone"),
            ("Saxophone baryton en mi bémol", "baritone-saxophone"),
            ("2e trompette", "trumpet"),
            ("Trompette en si bémol", "trumpet"),
            ("Trompette en ut", "trumpet-in-c"),
            ("Trombone basse", "bass-trombone"),
            ("Cor en fa", "french-horn"),
            ("Cor anglais", "english-horn"),
            ("Flûte traversière", "flute"),
            ("Clarinette basse", "bass-clarinet"),
            ("Contrebasse", "double-bass"),
            ("Batterie", "drums"),
            ("Flute\u{300}", "flute"),
            // Italian
            ("Sax contralto", "alto-saxophone"),
            ("Sassofono tenore", "tenor-saxophone"),
            ("1ª tromba in Sib", "trumpet"),
            ("Tromba in do", "trumpet-in-c"),
            ("Trombone basso", "bass-trombone"),
            ("Corno inglese", "english-horn"),
            ("Corno in Fa", "french-horn"),
            ("Ottavino", "piccolo"),
            ("Flauto in sol", "alto-flute"),
            ("Contrabbasso", "double-bass"),
            // Spanish
            ("Saxofón alto", "alto-saxophone"),
            ("Saxofón barítono", "baritone-saxophone"),
            ("Trompeta 3ª", "trumpet"),
            ("Trombón bajo", "bass-trombone"),
            ("Flauta travesera", "flute"),
            ("Clarinete en La", "clarinet-in-a"),
            ("Contrabajo", "double-bass"),
            ("Bajo eléctrico", "electric-bass"),
            ("Batería", "drums"),
            // Dutch
            ("Altsaxofoon", "alto-saxophone"),
            ("2e tenorsaxofoon", "tenor-saxophone"),
            ("Bastrombone", "bass-trombone"),
            ("Dwarsfluit", "flute"),
            ("Basklarinet", "bass-clarinet"),
            ("Bugel", "flugelhorn"),
            ("Slagwerk", "drums"),
            ("Zang", "voice"),
        ];
        let wrong: Vec<String> = table
            .iter()
            .filter_map(|(text, key)| {
                let found = catalogue().named(text).map_or("-", |i| i.key.as_str());
                (found != *key).then(|| format!("{text}: found {found}, expected {key}"))
            })
            .collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn names_of_unknown_instruments_are_not_taken_for_known_ones() {
        for name in [
            "Toy Trumpet",
            "Slit Drum",
            "Nose Flute",
            "Prepared Piano",
            "Alto Harmonium",
            "Bass Harmonica",
            "Tenor Cornet",
            "Part 1",
            "1",
            "",
            "\u{0} ((((",
        ] {
            let found = catalogue().named(name).map(|i| i.key.as_str());
            assert_eq!(
                found, None,
                "`{name}` is read as {found:?}; if that is a new instrument, take the name out of this test, else add its first word to `other_instruments` in rules/words.toml"
            );
        }
    }

    #[test]
    fn a_damaged_name_takes_no_time() {
        let long = "trumpet/alto (".repeat(100_000);
        assert!(catalogue().named(&long).is_some());
        assert!(catalogue().named(&"x ".repeat(1_000_000)).is_none());
    }

    #[test]
    fn seats() {
        let seat = |text| seat_in(text);
        assert_eq!(seat("Trumpet 3"), Some(3));
        assert_eq!(seat("2nd Trombone"), Some(2));
        assert_eq!(seat("Tenor Sax IV"), Some(4));
        assert_eq!(seat("1. Trompete in B"), Some(1));
        assert_eq!(seat("Zweite Posaune"), Some(2));
        assert_eq!(seat("Trumpet 1 & 2"), Some(1));
        assert_eq!(seat("Trumpet 99999999999999999999"), None);
        assert_eq!(seat("Trumpet 0"), None);
    }

    #[test]
    fn sections_by_what_people_call_them() {
        for (text, key) in [
            ("saxes", "saxes"),
            ("Sax section", "saxes"),
            ("Saxophones", "saxes"),
            ("reeds", "saxes"),
            ("sax soli", "saxes"),
            ("bones", "trombones"),
            ("Posaunen", "trombones"),
            ("TPTS", "trumpets"),
            ("SATB", "voices"),
            ("Choir", "voices"),
            ("Männerchor", "voices"),
            ("vocals", "voices"),
            ("keys", "piano"),
            ("Hörner", "french-horns"),
        ] {
            assert_eq!(
                catalogue().section_named(text).map(|s| s.key.as_str()),
                Some(key),
                "{text}"
            );
        }
        for text in ["horns", "strings", "", "  ", "section"] {
            assert_eq!(
                catalogue().section_named(text),
                None,
                "`{text}` may mean several sections and has to stay free; take it out of the `aliases`"
            );
        }
        for i in &catalogue().instruments {
            assert!(catalogue().section(&i.section).is_some());
        }
    }

    #[test]
    fn names_of_parts_for_several_players() {
        for one in [
            "Trombone 2",
            "Alto Sax 1",
            "Bass",
            "Double Bass",
            "2nd Trumpet",
            "Trumpet in Bb",
        ] {
            assert!(!names_several(one), "{one}");
        }
        for several in [
            "Trumpets",
            "Trumpet 1 & 2",
            "Alto 1/2",
            "Horn I, II",
            "Flute 1.2.",
        ] {
            assert!(names_several(several), "{several}");
        }
    }
}
