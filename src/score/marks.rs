//! Marks beside the notes: something in force from a place on, such as a key, a clef or words.

use super::place::Place;
use crate::ground::chord::Chord;
use crate::ground::text::Span;
use crate::ground::time::Ticks;

/// Something in force from a place on.
#[derive(Clone, Debug)]
pub struct Mark<T> {
    /// Where it starts.
    pub at: Place,
    /// When it starts. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// What is in force.
    pub value: T,
    /// Where it stands in the file.
    pub span: Span,
}

impl<T> Mark<T> {
    /// A mark at a place; its onset is known after [`Score::lay_out`].
    pub const fn new(at: Place, value: T, span: Span) -> Self {
        Self {
            at,
            onset: Ticks::ZERO,
            value,
            span,
        }
    }

    /// A mark at a place whose time is known.
    pub(super) const fn at_time(at: Place, onset: Ticks, value: T, span: Span) -> Self {
        Self {
            at,
            onset,
            value,
            span,
        }
    }
}

pub(super) fn place<T>(marks: &mut [Mark<T>], when: &impl Fn(Place) -> Ticks) {
    for m in marks.iter_mut() {
        m.onset = when(m.at);
    }
    marks.sort_by_key(|m| m.onset);
}

/// The last mark at or before `onset`; marks must be in order of time.
pub fn in_force<T>(marks: &[Mark<T>], onset: Ticks) -> Option<&Mark<T>> {
    let n = marks.partition_point(|m| m.onset <= onset);
    n.checked_sub(1).and_then(|i| marks.get(i))
}

/// A key signature as printed in the part it stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Key {
    /// Sharps, or flats when negative.
    pub fifths: i8,
    /// The file says it is a minor key.
    pub minor: bool,
}

/// A clef.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clef {
    /// `G`, `F`, `C`, or `P` for percussion.
    pub sign: char,
    /// Staff line from the bottom, 1-based.
    pub line: u8,
    /// Octaves the clef itself moves (-1 for the tenor voice's clef); pitches hold it already.
    pub octave: i8,
    /// 1-based staff of the part.
    pub staff: u8,
}

/// A hairpin's start or its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hairpin {
    /// Opens: getting louder from here.
    Crescendo,
    /// Closes: getting softer from here.
    Diminuendo,
    /// The hairpin ends here.
    Stop,
}

/// An end of a slur whose other end is nowhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LooseSlur {
    /// It starts and never ends.
    Start,
    /// It ends and never started.
    Stop,
}

/// Words over or under the staff.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// The words.
    pub text: String,
    /// 1-based staff of the part.
    pub staff: u8,
    /// They stand under the staff: said of the music, no order to the player.
    pub below: bool,
}

/// A chord symbol at concert pitch.
#[derive(Clone, Debug, PartialEq)]
pub struct ChordMark {
    /// The chord at concert pitch; `None` is "no chord".
    pub chord: Option<Chord>,
    /// The symbol as it stands in its part (written pitch).
    pub written: String,
    /// Set when the symbol could not be read: what is wrong with it.
    pub unread: Option<String>,
}

/// What a passage says of itself, from a place on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stated {
    /// The section the passage is for, in the user's words.
    pub section: Option<String>,
    /// The technique, in the user's words; [`FREE`] for none, empty where nothing is said any more.
    pub technique: Option<String>,
}

/// What is said of music that is held to no technique.
pub const FREE: &str = "free";
