//! Names of instruments and sections as people write them: any word order, seat numbers, keys
//! ("in Bb"), six languages.

use super::{Catalogue, Instrument, Property, Section};
use crate::ground::words::{is_among, known_words};
use rustc_hash::FxHashMap;
use std::sync::{PoisonError, RwLock};

/// Answers that were given: a library calls its parts by the same few names. They are part of no
/// catalogue, whose copy starts without them.
#[derive(Debug, Default)]
pub(super) struct KnownNames(RwLock<FxHashMap<Box<str>, Option<Match>>>);

/// How many answers are kept, and for names of how many bytes.
const MOST_KNOWN: (usize, usize) = (4096, 128);

impl KnownNames {
    fn answer(&self, text: &str, find: impl FnOnce() -> Option<Match>) -> Option<Match> {
        let known = self.0.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(answer) = known.get(text) {
            return answer.clone();
        }
        drop(known);
        let answer = find();
        let mut known = self.0.write().unwrap_or_else(PoisonError::into_inner);
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
        own == key || (own == 0 && self.is(Property::NamedByTube))
    }
}

impl Catalogue {
    /// The section people call this: "sax section", "bones", "SATB".
    pub fn section_named(&self, text: &str) -> Option<&Section> {
        let said = Name::read(text);
        let drop = |words: &[String]| -> String {
            words
                .iter()
                .filter(|w| !is_decoration(w))
                .map(String::as_str)
                .collect()
        };
        let (whole, short) = (said.words.concat(), drop(&said.words));
        if whole.is_empty() {
            return None;
        }
        let called = |wanted: &str| {
            self.sections.iter().find(|s| {
                s.aliases
                    .iter()
                    .chain([&s.key, &s.name])
                    .any(|a| Name::read(a).words.concat() == wanted)
            })
        };
        called(&whole).or_else(|| {
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
        let whole = Name::read(text);
        if let Some(m) = self.match_exactly(&whole) {
            return Some(m);
        }
        let segments: Vec<&str> = text
            .split(|c: char| "()[]/,;:+&".contains(c))
            .filter(|s| s.chars().take(LONGEST_NAME).any(char::is_alphabetic))
            .take(8)
            .collect();
        if segments.len() > 1
            && let Some(mut m) = segments
                .iter()
                .find_map(|s| self.match_exactly(&Name::read(s)))
        {
            m.seat = m.seat.or(whole.seat);
            return Some(m);
        }
        self.match_within(&whole)
            .or_else(|| self.match_nearly(&whole))
    }

    fn collect(&self, name: &Name, test: impl Fn(&Pattern) -> bool) -> Option<Match> {
        let mut candidates = Vec::new();
        let mut bare = true;
        for wants_bare in [false, true] {
            candidates = self
                .instruments
                .iter()
                .enumerate()
                .filter(|(_, i)| name.key.is_none_or(|k| i.may_be_in(k)))
                .filter(|(_, i)| {
                    i.patterns.iter().any(|p| {
                        p.bare == wants_bare && (p.key.is_none() || p.key == name.key) && test(p)
                    })
                })
                .map(|(index, _)| index)
                .collect();
            if !candidates.is_empty() {
                bare = wants_bare;
                break;
            }
        }
        (!candidates.is_empty()).then_some(Match {
            candidates,
            bare,
            seat: name.seat,
        })
    }

    /// The words of the name and no others, in any order, joined or apart.
    fn match_exactly(&self, name: &Name) -> Option<Match> {
        let try_words = |name: &Name| {
            if name.words.is_empty() {
                return None;
            }
            let (sorted, joined) = (sorted(&name.words), name.words.concat());
            self.collect(name, |p| p.sorted == sorted || p.joined == joined)
        };
        let plain = Name {
            words: name
                .words
                .iter()
                .filter(|w| !is_decoration(w))
                .cloned()
                .collect(),
            ..name.clone()
        };
        try_words(name)
            .or_else(|| try_words(&plain))
            .or_else(|| try_words(&plain.with_key_at_end()?))
    }

    /// A name with other words around it, as long as they name no other instrument.
    fn match_within(&self, name: &Name) -> Option<Match> {
        let other = |word: &&String| {
            known_words()
                .part_names
                .other_instruments
                .contains(word.as_str())
                || self
                    .instruments
                    .iter()
                    .flat_map(|i| &i.patterns)
                    .any(|p| p.sorted.contains(word))
        };
        let others: Vec<&String> = name.words.iter().filter(other).collect();
        let fits = |p: &Pattern| {
            !p.bare
                && p.joined.len() >= 4
                && p.sorted.iter().all(|w| name.words.contains(w))
                && others.iter().all(|w| p.sorted.contains(w))
        };
        let longest = self
            .instruments
            .iter()
            .flat_map(|i| &i.patterns)
            .filter(|p| fits(p))
            .map(|p| p.joined.len())
            .max()?;
        self.collect(name, |p| p.joined.len() == longest && fits(p))
    }

    /// A long name with a slip of the pen in it.
    fn match_nearly(&self, name: &Name) -> Option<Match> {
        let plain: String = name
            .words
            .iter()
            .filter(|w| !is_decoration(w))
            .map(String::as_str)
            .collect();
        let length = plain.chars().count();
        // Names far longer than any instrument's are not worth comparing.
        if !(6..=60).contains(&length) {
            return None;
        }
        let slips = if length >= 12 { 2 } else { 1 };
        self.collect(name, |p| {
            let own = p.joined.chars().count();
            !p.bare
                && own >= 6
                && own.abs_diff(length) <= slips
                && strsim::osa_distance(&p.joined, &plain) <= slips
        })
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
}

/// Whether a word says nothing of the instrument.
fn is_decoration(word: &str) -> bool {
    known_words().part_names.decoration.contains(word)
}

/// How a name in the file is matched.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pattern {
    sorted: Vec<String>,
    joined: String,
    key: Option<i16>,
    bare: bool,
}

impl Pattern {
    pub(super) fn new(text: &str, bare: bool) -> Self {
        let name = Name::read(text);
        Self {
            sorted: sorted(&name.words),
            joined: name.words.concat(),
            key: name.key,
            bare,
        }
    }
}

fn sorted(words: &[String]) -> Vec<String> {
    let mut sorted = words.to_vec();
    sorted.sort_unstable();
    sorted
}

/// A name taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
struct Name {
    /// Lower case, no accents, singular.
    words: Vec<String>,
    /// The key it is said to be in: the pitch class its written C sounds.
    key: Option<i16>,
    /// 1-based.
    seat: Option<u8>,
}

impl Name {
    fn read(text: &str) -> Self {
        let tokens = tokens(text);
        let mut name = Self::default();
        let mut rest = tokens.as_slice();
        while let Some((token, after)) = rest.split_first() {
            let first = name.words.is_empty();
            rest = after;
            if let Some(seat) = seat_of(token, first) {
                name.seat = name.seat.or(Some(seat)).filter(|s| *s > 0);
                continue;
            }
            if is_among(&known_words().part_names.keys.before, token) {
                if let Some((key, used)) = key_of(after, true) {
                    name.key = Some(key);
                    rest = after.get(used..).unwrap_or_default();
                    continue;
                }
            } else if let Some((key, used)) =
                key_of(std::slice::from_ref(token), false).or_else(|| flat_key(token, after))
            {
                name.key = Some(key);
                rest = after.get(used - 1..).unwrap_or_default();
                continue;
            }
            match (token.as_str(), after.first().map(String::as_str)) {
                // "Bass clef" is no bass.
                ("bass", Some("clef")) => {
                    name.words.push("bc".to_owned());
                    rest = after.get(1..).unwrap_or_default();
                }
                ("treble", Some("clef")) => {
                    name.words.push("tc".to_owned());
                    rest = after.get(1..).unwrap_or_default();
                }
                ("t" | "b", Some("c")) if !first => {
                    name.words.push(format!("{token}c"));
                    rest = after.get(1..).unwrap_or_default();
                }
                _ => {
                    let word = singular(token);
                    // "Tbn. 4 (B. Tbn.)" is one name said twice.
                    if !name.words.contains(&word) {
                        name.words.push(word);
                    }
                }
            }
            if token == "lead" {
                name.seat = name.seat.or(Some(1));
            }
        }
        name
    }

    /// The same name when its last word is a key: "Horn F", "Trompete B".
    fn with_key_at_end(&self) -> Option<Self> {
        let (last, words) = self.words.split_last()?;
        if words.is_empty() || self.key.is_some() {
            return None;
        }
        let (key, _) = key_of(std::slice::from_ref(last), true)?;
        Some(Self {
            words: words.to_vec(),
            key: Some(key),
            seat: self.seat,
        })
    }
}

/// A seat number in figures, roman numerals or words. Zero stands for "a number, but no seat".
fn seat_of(token: &str, first: bool) -> Option<u8> {
    if token.bytes().all(|b| b.is_ascii_digit()) && !token.is_empty() {
        return Some(token.parse().ok().filter(|n| *n <= 99).unwrap_or(0));
    }
    let names = &known_words().part_names;
    let roman = (!first)
        .then(|| names.roman.iter().position(|w| **w == *token))
        .flatten();
    match roman {
        Some(index) => u8::try_from(index + 1).ok(),
        None => names.ordinals.get(token).copied(),
    }
}

/// A key at the start of `tokens` and how many tokens it takes. After "in" a single letter is a
/// key (a German B is Bb, and no instrument is in B); elsewhere only what can be nothing else is.
fn key_of(tokens: &[String], after_in: bool) -> Option<(i16, usize)> {
    let token = tokens.first()?.as_str();
    let keys = &known_words().part_names.keys;
    let own = |list: &FxHashMap<Box<str>, i16>| list.get(token).map(|key| (*key, 1));
    let anywhere = own(&keys.anywhere);
    if anywhere.is_some() || !after_in {
        return anywhere;
    }
    if let Some(key) = own(&keys.after_in) {
        return Some(key);
    }
    if token == "b" && tokens.get(1).is_none_or(|t| !is_flat(t)) {
        return Some((10, 1));
    }
    let natural = natural(token)?;
    Some(match tokens.get(1) {
        Some(next) if is_flat(next) => ((natural + 11) % 12, 2),
        _ => (natural, 1),
    })
}

/// "B flat" and "mi bémol", wherever they stand.
fn flat_key(token: &str, after: &[String]) -> Option<(i16, usize)> {
    after
        .first()
        .filter(|t| is_flat(t) && *t != "b")
        .and_then(|_| natural(token))
        .map(|n| ((n + 11) % 12, 2))
}

fn is_flat(token: &str) -> bool {
    is_among(&known_words().part_names.keys.flat, token)
}

fn natural(token: &str) -> Option<i16> {
    known_words().part_names.keys.letters.get(token).copied()
}

/// "Trumpets" is "trumpet"; "bass" stays.
fn singular(token: &str) -> String {
    match token.strip_suffix('s') {
        Some("saxe") => "sax".to_owned(),
        Some(stem) if stem.len() >= 3 && !stem.ends_with('s') => stem.to_owned(),
        _ => token.to_owned(),
    }
}

/// Characters of a name that are looked at; what follows in a damaged file is not a name.
const LONGEST_NAME: usize = 200;

/// Words and numbers, folded: "AltoSax1", "1ère", "B♭-Trompete".
fn tokens(text: &str) -> Vec<String> {
    #[derive(Clone, Copy, PartialEq)]
    enum Kind {
        Lower,
        Upper,
        Digit,
        None,
    }
    let mut tokens: Vec<String> = Vec::new();
    let mut word = String::new();
    let mut last = Kind::None;
    // Letters right after a number are its ending ("2nd", "1er").
    let mut after_digit = false;
    let finish = |word: &mut String, after_digit: bool, tokens: &mut Vec<String>| {
        let done = std::mem::take(word);
        if done.is_empty()
            || (after_digit
                && known_words()
                    .part_names
                    .ordinal_endings
                    .contains(done.as_str()))
        {
            return;
        }
        tokens.push(done);
    };
    for c in text.chars().take(LONGEST_NAME) {
        let kind = if c.is_numeric() && c.is_ascii() {
            Kind::Digit
        } else if c.is_uppercase() {
            Kind::Upper
        } else if c.is_alphabetic() || c == '♭' {
            Kind::Lower
        } else {
            Kind::None
        };
        // A combining accent belongs to the letter before it.
        if ('\u{300}'..='\u{36f}').contains(&c) {
            continue;
        }
        let breaks = matches!(
            (last, kind),
            (_, Kind::None)
                | (Kind::Digit, Kind::Lower | Kind::Upper)
                | (Kind::Lower | Kind::Upper, Kind::Digit)
                | (Kind::Lower, Kind::Upper)
        );
        if breaks {
            finish(&mut word, after_digit, &mut tokens);
            after_digit = last == Kind::Digit && kind != Kind::None;
        }
        if kind != Kind::None {
            fold(c, &mut word);
        }
        last = kind;
    }
    finish(&mut word, after_digit, &mut tokens);
    tokens
}

/// Adds a letter in lower case without its accent.
fn fold(c: char, word: &mut String) {
    for c in c.to_lowercase() {
        match c {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => word.push('a'),
            'ç' => word.push('c'),
            'è' | 'é' | 'ê' | 'ë' => word.push('e'),
            'ì' | 'í' | 'î' | 'ï' => word.push('i'),
            'ñ' => word.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' => word.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => word.push('u'),
            'ß' => word.push_str("ss"),
            'œ' => word.push_str("oe"),
            'æ' => word.push_str("ae"),
            '♭' => word.push('b'),
            // An ordinal's raised letter says nothing; a dotted capital I leaves a dot behind.
            'º' | 'ª' | '\u{307}' => {}
            c => word.push(c),
        }
    }
}

/// The seat number in a name, 1-based.
pub(crate) fn seat_in(name: &str) -> Option<u8> {
    Name::read(name).seat
}

/// Whether the name of a part says that several players read it: "Trumpets 1 & 2", "Alto 1/2",
/// "Horn I, II", "Flutes".
pub(crate) fn names_several(name: &str) -> bool {
    let lower = name.to_lowercase();
    let known = &known_words().part_names;
    let list: Vec<&str> = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .collect();
    let numbers = list
        .iter()
        .filter(|w| {
            w.chars().all(|c| c.is_ascii_digit())
                || matches!(
                    **w,
                    "i" | "ii" | "iii" | "iv" | "1st" | "2nd" | "3rd" | "4th"
                )
        })
        .count();
    let plural = list
        .iter()
        .any(|w| w.len() > 4 && w.ends_with('s') && !known.not_plural.contains(*w));
    numbers > 1
        || plural
        || lower.contains(['&', '+', '/'])
        || list.iter().any(|w| known.several.contains(*w))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::instrument::catalogue;

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
            ("EbClarinet", "-"),
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
            "Violin 1",
            "Contrabass Clarinet",
            "Alto Trombone",
            "Piccolo Trumpet",
            "Bass Flute",
            "Steel Drums",
            "Basset Horn",
            "Tenor Horn",
            "Horn in Eb",
            "Clarinet in Eb",
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
