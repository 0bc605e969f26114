//! The chord in force at a time, with where it leads.

use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::Section;
use crate::voicing::{Frame, leads};
use smallvec::SmallVec;

/// Chords with where they lead: hardly ever more than the one in force and the one ahead.
pub type Frames<'a> = SmallVec<[Frame<'a>; 2]>;

/// The concert key of a section at a time, in fifths.
pub(super) fn section_key<'a>(
    score: &'a Score,
    section: &Section,
) -> impl Fn(Ticks) -> i8 + use<'a> {
    let part = section
        .parts
        .first()
        .and_then(|p| score.parts.get(p.part as usize));
    move |onset| part.map_or(0, |p| p.concert_fifths(onset))
}

/// The chord symbol in force at a time: what it was read as, else as it is written.
pub fn symbol_at(score: &Score, onset: Ticks) -> Option<&str> {
    let mark = &score.chord_at(onset)?.value;
    Some(mark.chord.as_ref().map_or(&mark.written, |c| &c.text))
}

/// The chord in force at a time with where it leads.
pub fn frame_at(score: &Score, onset: Ticks, key: i8) -> Option<Frame<'_>> {
    let at = score.chords.partition_point(|m| m.onset <= onset);
    let chord = score.chords.get(at.checked_sub(1)?)?.value.chord.as_ref()?;
    let next = score.chords.get(at).and_then(|m| m.value.chord.as_ref());
    Some(Frame {
        chord,
        leads: leads(chord, next, key),
    })
}
