//! Chord symbols that stand as words over the staff: `Am7` typed as text. They are read as symbols where the
//! part has no `<harmony>` and most of its words that look like symbols can be read.

use crate::ground::chord;
use crate::ground::pitch::Transposition;
use crate::ground::text::Span;
use crate::score::{ChordMark, Mark, Part, Place};

/// Fewer than this may be letters of the form.
const FEW: usize = 3;

/// The longest text that is looked at, in characters.
const LONGEST: usize = 16;

/// Words over a part that may be chord symbols.
#[derive(Default)]
pub(super) struct SaidSymbols {
    /// Those that can be read, at concert pitch.
    read: Vec<Mark<ChordMark>>,
    /// How many of them say more than a root.
    telling: usize,
    /// How many look like symbols and cannot be read.
    unread: usize,
}

impl SaidSymbols {
    /// Looks at words over the staff; `by` is what is added to written pitch to get sounding pitch.
    pub(super) fn look(&mut self, text: &str, at: Place, by: Transposition, span: Span) {
        if !is_like_symbol(text) {
            return;
        }
        let Ok(Some(chord)) = chord::parse(text) else {
            self.unread = self.unread.saturating_add(1);
            return;
        };
        if text.chars().nth(1).is_some_and(|c| c != '.') {
            self.telling = self.telling.saturating_add(1);
        }
        let mark = ChordMark {
            chord: Some(chord.transposed(by)),
            written: text.to_owned(),
            unread: None,
        };
        self.read.push(Mark::new(at, mark, span));
    }

    /// The part read to its end: are they its symbols?
    pub(super) fn give_to(self, part: &mut Part) {
        let most = self.read.len() > self.unread.saturating_mul(2);
        let say_more = self.telling.saturating_mul(3) >= self.read.len();
        if part.chords.is_empty() && self.read.len() >= FEW && most && say_more {
            part.chords = self.read.into();
        }
    }
}

/// A root, and nothing after it that no symbol has there.
fn is_like_symbol(text: &str) -> bool {
    let mut letters = text.chars();
    let root = letters.next().is_some_and(|c| ('A'..='G').contains(&c));
    let next = letters.next();
    root && text.len() <= LONGEST
        && !text.contains(char::is_whitespace)
        && next.is_none_or(|c| {
            c.is_ascii_digit()
                || "#b\u{266f}\u{266d}mM-+\u{b0}\u{f8}\u{2206}\u{394}sad(/".contains(c)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &[&str]) -> usize {
        let mut said = SaidSymbols::default();
        for text in words {
            said.look(text, Place::default(), Transposition::NONE, Span::default());
        }
        let mut part = Part::default();
        said.give_to(&mut part);
        part.chords.len()
    }

    #[test]
    fn words_are_symbols_where_most_can_be_read() {
        assert_eq!(read(&["Am7", "D7", "Gmaj7", "solo"]), 3);
        assert_eq!(read(&["Am7", "Bass", "Dolce", "Dal"]), 0);
        // Letters of the form, and a word that happens to be one.
        assert_eq!(read(&["A", "B", "C", "D"]), 0);
        assert_eq!(read(&["Am7", "D7"]), 0);
    }
}
