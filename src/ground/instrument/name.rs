//! The name of a part taken apart: its words, the key it is said to be in, the seat.

use crate::ground::words::{is_among, known_words};
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

/// Words one after another in one text.
#[derive(Clone, Debug, Default)]
pub(super) struct Words {
    text: String,
    /// Where each ends.
    ends: SmallVec<[u16; 8]>,
}

impl Words {
    pub(super) fn len(&self) -> usize {
        self.ends.len()
    }

    /// The word at an index; nothing beyond the last.
    pub(super) fn get(&self, index: usize) -> &str {
        let end = |i: usize| self.ends.get(i).map(|e| usize::from(*e));
        let start = index.checked_sub(1).map_or(Some(0), end);
        start
            .zip(end(index))
            .and_then(|(start, end)| self.text.get(start..end))
            .unwrap_or_default()
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).map(|i| self.get(i))
    }

    /// All of them without gaps.
    pub(super) fn joined(&self) -> &str {
        &self.text
    }

    fn push(&mut self, word: &str) {
        self.text.push_str(word);
        self.end();
    }

    /// Ends the word that has been written to the text.
    fn end(&mut self) {
        self.ends
            .push(u16::try_from(self.text.len()).unwrap_or(u16::MAX));
    }

    /// The text that was written since the last word ended.
    fn open(&self) -> &str {
        let from = self.ends.last().map_or(0, |e| usize::from(*e));
        self.text.get(from..).unwrap_or_default()
    }

    /// Forgets what was written since the last word ended.
    fn drop_open(&mut self) {
        let from = self.ends.last().map_or(0, |e| usize::from(*e));
        self.text.truncate(from);
    }

    fn clear(&mut self) {
        self.text.clear();
        self.ends.clear();
    }
}

/// Where a word stands in its text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Standing {
    /// The stretch between brackets, commas and hyphens with spaces, counted from 0.
    pub(super) piece: u8,
    /// The stretch between strokes and words such as "and": another instrument may begin there.
    pub(super) block: u8,
    /// It says the octave of the key before it ("B flat basso"), or may.
    pub(super) octave: bool,
}

/// A name taken apart.
#[derive(Clone, Debug, Default)]
pub(super) struct Name {
    /// Lower case, no accents, singular, each once.
    pub(super) words: Words,
    /// Where each word stands.
    pub(super) standing: SmallVec<[Standing; 8]>,
    /// The key it is said to be in: the pitch class its written C sounds.
    pub(super) key: Option<i16>,
    /// 1-based.
    pub(super) seat: Option<u8>,
}

/// Takes names apart, one after another, and keeps the memory for the next.
#[derive(Debug, Default)]
pub(super) struct NameReader {
    tokens: Words,
    standing: SmallVec<[Standing; 8]>,
    name: Name,
}

impl NameReader {
    pub(super) fn read(&mut self, text: &str) -> &Name {
        self.tokens.clear();
        self.standing.clear();
        tokens(text, &mut self.tokens, &mut self.standing);
        let Self {
            tokens,
            standing,
            name,
        } = self;
        name.words.clear();
        name.standing.clear();
        (name.key, name.seat) = (None, None);
        name.take(tokens, standing);
        if name.words.len() == 0 {
            // "Quinto" is the name of a voice where it is all there is.
            for (token, standing) in tokens.iter().zip(&*standing) {
                if known_words().part_names.ordinals.contains_key(token) {
                    name.seat = None;
                    name.add(token, *standing);
                }
            }
        }
        name
    }
}

impl Name {
    pub(super) fn read(text: &str) -> Self {
        let mut reader = NameReader::default();
        reader.read(text);
        reader.name
    }

    fn add(&mut self, word: &str, standing: Standing) {
        // "Tbn. 4 (B. Tbn.)" is one name said twice.
        if !self.words.iter().any(|w| w == word) {
            self.words.push(word);
            self.standing.push(standing);
        }
    }

    fn take(&mut self, tokens: &Words, standing: &[Standing]) {
        let names = &known_words().part_names;
        let mut at = 0;
        let mut after_key = false;
        while at < tokens.len() {
            let token = tokens.get(at);
            let mut place = standing.get(at).copied().unwrap_or_default();
            place.octave = after_key && is_among(&names.keys.octaves, token);
            let first = self.words.len() == 0;
            if let Some(seat) = seat_of(token, first) {
                self.seat = self.seat.or(Some(seat)).filter(|s| *s > 0);
                at += 1;
                continue;
            }
            if let Some((key, used)) = key_at(tokens, at) {
                self.key = Some(key);
                at += used;
                after_key = true;
                continue;
            }
            let next = tokens.get(at + 1);
            let mut used = 1;
            match (token, next) {
                // "Bass clef" is no bass.
                ("bass", "clef") => {
                    self.add("bc", place);
                    used = 2;
                }
                ("treble", "clef") => {
                    self.add("tc", place);
                    used = 2;
                }
                ("t", "c") if !first => {
                    self.add("tc", place);
                    used = 2;
                }
                ("b", "c") if !first => {
                    self.add("bc", place);
                    used = 2;
                }
                _ => self.add(singular(token), place),
            }
            if token == "lead" {
                self.seat = self.seat.or(Some(1));
            }
            after_key = after_key && place.octave;
            at += used;
        }
    }

    /// The key that a word is beside others, as in "Horn F" and "Trompete B".
    pub(super) fn key_of_word(&self, index: usize) -> Option<i16> {
        if self.words.len() < 2 || self.key.is_some() {
            return None;
        }
        key_of(&self.words, index, true).map(|(key, _)| key)
    }
}

/// A key that begins at a token, and how many tokens it takes: "in Es", "Bb", "mi bemol", "B basso".
fn key_at(tokens: &Words, at: usize) -> Option<(i16, usize)> {
    let keys = &known_words().part_names.keys;
    if is_among(&keys.before, tokens.get(at)) {
        return key_of(tokens, at + 1, true).map(|(key, used)| (key, used + 1));
    }
    let one = key_of(tokens, at, false).or_else(|| flat_key(tokens, at));
    if one.is_some() {
        return one;
    }
    // A letter before "basso" or "alto" with an instrument after it.
    (tokens.get(at).len() == 1
        && tokens.len() > at + 2
        && is_among(&keys.octaves, tokens.get(at + 1)))
    .then(|| key_of(tokens, at, true))
    .flatten()
    .map(|(key, _)| (key, 2))
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

/// A key at a token and how many tokens it takes. After "in" a single letter is a
/// key (a German B is Bb, and no instrument is in B); elsewhere only what can be nothing else is.
fn key_of(tokens: &Words, at: usize, after_in: bool) -> Option<(i16, usize)> {
    let token = tokens.get(at);
    let keys = &known_words().part_names.keys;
    let own = |list: &FxHashMap<Box<str>, i16>| list.get(token).map(|key| (*key, 1));
    let anywhere = own(&keys.anywhere);
    if anywhere.is_some() || !after_in {
        return anywhere;
    }
    if let Some(key) = own(&keys.after_in) {
        return Some(key);
    }
    let flat = is_flat(tokens.get(at + 1));
    if token == "b" && !flat {
        return Some((10, 1));
    }
    let natural = natural(token)?;
    Some(if flat {
        ((natural + 11) % 12, 2)
    } else {
        (natural, 1)
    })
}

/// "B flat" and "mi bémol", wherever they stand.
fn flat_key(tokens: &Words, at: usize) -> Option<(i16, usize)> {
    let next = tokens.get(at + 1);
    (is_flat(next) && next != "b")
        .then(|| natural(tokens.get(at)))
        .flatten()
        .map(|n| ((n + 11) % 12, 2))
}

fn is_flat(token: &str) -> bool {
    is_among(&known_words().part_names.keys.flat, token)
}

fn natural(token: &str) -> Option<i16> {
    known_words().part_names.keys.letters.get(token).copied()
}

/// The key that a name says its part is in ("Trumpet in Bb", "Horn F", "C Horn"): the pitch class that
/// its written C sounds.
pub(crate) fn stated_key(text: &str) -> Option<i16> {
    let name = Name::read(text);
    let last = name.words.len().checked_sub(1)?;
    let at_end = || name.key_of_word(last);
    let at_start = || natural(name.words.get(0)).filter(|_| last > 0);
    name.key.or_else(at_end).or_else(at_start)
}

/// "Trumpets" is "trumpet"; "bass" stays.
fn singular(token: &str) -> &str {
    match token.strip_suffix('s') {
        Some("saxe") => "sax",
        Some(stem) if stem.len() >= 3 && !stem.ends_with('s') => stem,
        _ => token,
    }
}

/// Characters of a name that are looked at; what follows in a damaged file is not a name.
const LONGEST_NAME: usize = 200;

/// What a character is in a word.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Lower,
    Upper,
    Digit,
    None,
}

/// Words and numbers, folded, and where each stands: "AltoSax1", "1ère", "B♭-Trompete".
fn tokens(text: &str, found: &mut Words, standing: &mut SmallVec<[Standing; 8]>) {
    let mut last = Kind::None;
    let mut place = Standing::default();
    // Letters right after a number are its ending ("2nd", "1er").
    let mut after_digit = false;
    let names = &known_words().part_names;
    let mut finish = |after_digit: bool, found: &mut Words, place: &mut Standing| {
        let word = found.open();
        if word.is_empty() {
        } else if after_digit && names.ordinal_endings.contains(word) {
            found.drop_open();
        } else if names.between.contains(word) {
            found.drop_open();
            place.block = place.block.saturating_add(1);
            place.piece = place.piece.saturating_add(1);
        } else {
            found.end();
            standing.push(*place);
        }
    };
    for c in text.chars().take(LONGEST_NAME) {
        let kind = if c.is_ascii_digit() {
            Kind::Digit
        } else if c.is_ascii_lowercase() {
            Kind::Lower
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
            finish(after_digit, found, &mut place);
            after_digit = last == Kind::Digit && kind != Kind::None;
        }
        if kind == Kind::None {
            let hard = matches!(c, '/' | '&' | '+' | ';' | '\n');
            place.block = place.block.saturating_add(u8::from(hard));
            let soft = hard || matches!(c, '(' | ')' | '[' | ']' | ',' | ':');
            place.piece = place.piece.saturating_add(u8::from(soft));
        } else if c.is_ascii() {
            found.text.push(c.to_ascii_lowercase());
        } else {
            fold(c, &mut found.text);
        }
        last = kind;
    }
    finish(after_digit, found, &mut place);
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
