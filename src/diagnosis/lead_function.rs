//! What a lead note is for, for whoever explains it.

use super::case::Context;
use super::passage::Passage;
use crate::ground::pitch::PitchClass;
use crate::score::Score;
use crate::sonority::lead::LeadFunction;
use crate::voicing::harmonise::is_chord_note;

/// What the lead note at an index of a passage is for, and the chord symbol that it is read under: of the
/// symbols that it may belong to the first whose note it is.
pub fn lead_function(
    score: &Score,
    passage: &Passage,
    at: usize,
) -> (Option<LeadFunction>, Option<String>) {
    let Some(context) = Context::at(score, passage, at) else {
        return (None, None);
    };
    let top = context.sonority.voices.first();
    let class = top.map(|v| PitchClass::new(v.midi));
    let own =
        |chord: &&&crate::ground::chord::Chord| class.is_some_and(|c| is_chord_note(chord, c));
    let chord = context.chords.iter().find(own);
    let chord = chord.or(context.chords.first());
    (context.function(), chord.map(|c| c.text.clone()))
}
