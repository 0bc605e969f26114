//! Text of files, places in it, and words compared with words.

use bytestring::ByteString;
use std::borrow::Cow;
use std::ops::{Deref, Range};
use std::path::Path;
use std::sync::Arc;

/// The text of a file, shared by everybody who points into it. It is one pointer: faults carry it about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text(Arc<ByteString>);

impl Deref for Text {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

impl AsRef<str> for Text {
    fn as_ref(&self) -> &str {
        self
    }
}

impl From<ByteString> for Text {
    fn from(text: ByteString) -> Self {
        Self(Arc::new(text))
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        ByteString::from(text).into()
    }
}

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}

/// Bytes of a source: where something stands in its file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Span {
    /// Index into the sources of the score.
    pub source: u16,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// Bytes of the first source.
    pub fn of(at: &Range<usize>) -> Self {
        Self {
            source: 0,
            start: at.start as u32,
            end: at.end as u32,
        }
    }
}

/// A piece of a source's text and what is to stand there instead.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Edit {
    /// Index into the sources of the score.
    pub source: u16,
    /// First byte of the source's text.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
    /// What is to stand there.
    pub replacement: String,
}

/// How many lines end before each `STRIDE` of a text, and how far along its line that lies: there are
/// files of one line.
#[derive(Clone, Debug)]
pub(crate) struct Lines(Vec<Stride>);

#[derive(Clone, Copy, Debug, Default)]
struct Stride {
    /// Ends of lines before it.
    lines: u32,
    /// Characters of its line that start before it.
    column: u32,
}

impl Stride {
    /// Where `text` ends, which starts here.
    fn after(self, text: &[u8]) -> Self {
        match memchr::memrchr(b'\n', text) {
            Some(end) => Self {
                lines: self.lines + memchr::memchr_iter(b'\n', text).count() as u32,
                column: text.get(end + 1..).map_or(0, characters),
            },
            None => Self {
                column: self.column + characters(text),
                ..self
            },
        }
    }
}

pub(crate) const STRIDE: usize = 4096;

/// How many characters start in these bytes of UTF-8.
fn characters(bytes: &[u8]) -> u32 {
    bytes.iter().filter(|b| **b & 0xC0 != 0x80).count() as u32
}

impl Lines {
    pub(crate) fn of(text: &[u8]) -> Self {
        let mut at = Stride::default();
        let strides = text.chunks(STRIDE).map(|stride| {
            let before = at;
            at = at.after(stride);
            before
        });
        let mut strides: Vec<_> = strides.collect();
        strides.push(at);
        Self(strides)
    }

    /// 1-based line and column (in characters) of a byte that starts a character.
    pub(crate) fn place(&self, text: &[u8], at: usize) -> (usize, usize) {
        let stride = at / STRIDE;
        let before = self.0.get(stride).copied().unwrap_or_default();
        let Stride { lines, column } =
            before.after(text.get(stride * STRIDE..at).unwrap_or_default());
        (lines as usize + 1, column as usize + 1)
    }
}

/// A number in a name sorts by its value: `2 alto` before `10 tenor`.
pub fn natural(path: &Path) -> Vec<(u64, String)> {
    let text = path.to_string_lossy().to_lowercase();
    let mut key = Vec::new();
    let mut rest = text.as_str();
    while !rest.is_empty() {
        let word = rest
            .find(|c: char| c.is_ascii_digit())
            .unwrap_or(rest.len());
        let (head, tail) = rest.split_at(word);
        let digits = tail
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(tail.len());
        let (number, tail) = tail.split_at(digits);
        key.push((0, head.to_owned()));
        if !number.is_empty() {
            key.push((number.parse().unwrap_or(u64::MAX), String::new()));
        }
        rest = tail;
    }
    key
}

/// "did you mean `x`?", or what there is.
pub fn meant<'a>(word: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
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

/// The most characters of a sentence of a report. The longest that music gives rise to have some hundred.
pub const LONGEST_SENTENCE: usize = 4_000;

/// A text of at most so many characters; `…` stands for those that are left out.
pub fn cut(text: &str, most: usize) -> Cow<'_, str> {
    match text.char_indices().nth(most) {
        None => Cow::Borrowed(text),
        Some((end, _)) => {
            let start = text.get(..end).unwrap_or_default();
            // Cut again a text stays as it is.
            if text.get(end..) == Some("…") {
                return Cow::Borrowed(text);
            }
            Cow::Owned(format!("{start}…"))
        }
    }
}

/// The same for a text that is kept; whether it was longer.
pub fn shorten(text: &mut String, most: usize) -> bool {
    // A text has at least as many bytes as characters.
    if text.len() <= most {
        return false;
    }
    let Cow::Owned(short) = cut(text, most) else {
        return false;
    };
    *text = short;
    true
}

/// The longest word, in characters, that others are compared with: what a comparison takes of time and
/// memory is the product of both lengths.
pub const LONGEST_WORD: usize = 200;

/// The nearest of some known words, when one is near.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let fold = |w: &str| w.to_lowercase().replace(['_', ' '], "-");
    let own = fold(word);
    let length = own.chars().count();
    let likeness = |k: &str| {
        let k = fold(k);
        if length.max(k.chars().count()) > LONGEST_WORD {
            return 0.0;
        }
        // "dim" for "passing-diminished", "range" for "written-range".
        let inside = length >= 3 && k.split('-').any(|w| w.starts_with(&own));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_between_characters() {
        assert_eq!(cut("ünd", 3), "ünd");
        assert_eq!(cut("ünde", 3), "ünd…");
        assert_eq!(cut("ünd…", 3), "ünd…", "once more");
        assert_eq!(cut("a", 0), "…");
        let mut text = "é".repeat(40);
        assert!(!shorten(&mut text, 40));
        assert!(shorten(&mut text, 39));
        assert_eq!(text.chars().count(), 40);
        assert!(!shorten(&mut text, 39));
    }

    #[test]
    fn the_nearest_word_is_one_that_is_near() {
        let known = ["passing-diminished", "written-range", "wrong-note"];
        for (word, near) in [
            ("wrong_note", Some("wrong-note")),
            ("Wrong Noet", Some("wrong-note")),
            ("dim", Some("passing-diminished")),
            ("range", Some("written-range")),
            ("zzz", None),
        ] {
            assert_eq!(nearest(word, known), near, "{word}");
        }
    }

    #[test]
    fn advice_is_the_nearest_word_or_all_there_are() {
        assert_eq!(meant("lead", ["led", "note"]), "did you mean `led`?");
        assert_eq!(meant("zzz", ["led", "note"]), "there are: led, note");
        let many = vec!["word"; 31];
        assert!(meant("zzz", many).ends_with("word, word, ..."));
    }

    #[test]
    fn numbers_in_names_sort_by_their_value() {
        let mut files = ["10 tenor.xml", "2 alto.xml", "a.xml", "1 lead.xml"].map(Path::new);
        files.sort_by_cached_key(|p| natural(p));
        assert_eq!(
            files,
            ["1 lead.xml", "2 alto.xml", "10 tenor.xml", "a.xml"].map(Path::new)
        );
    }
}
