//! What the voices under a lead note are, taken by themselves.

use super::case::Case;
use crate::ground::chord::Chord;
use crate::ground::pitch::PitchClass;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Classes, close_position};

impl Case<'_> {
    /// Whether the chord is kept under a lead note that passes: foreign to it, and moving on by step.
    pub(super) fn keeps_chord_under_passing(&self) -> bool {
        self.approaches()
            && self.top_is_foreign()
            && self.chord().is_some_and(|c| self.lower_voices_from(c))
    }

    /// Whether the voices under a lead foreign to the chord are three of the chord's own notes in
    /// the technique in force.
    fn lower_voices_from(&self, chord: &Chord) -> bool {
        let mut pool: Classes = chord.classes().collect();
        for up in [9, 10, 11, 0, 4, 3, 7] {
            let class = chord.root.class().plus(up);
            if is_chord_note(chord, class) && !pool.contains(&class) {
                pool.push(class);
            }
        }
        self.three_under(&pool)
    }

    /// Whether they are three notes of one diminished seventh that the lead is not in.
    pub(super) fn lower_voices_diminished(&self) -> bool {
        let own = PitchClass::new(self.top());
        [1, 2].into_iter().any(|shift| {
            let pool = [0, 3, 6, 9].map(|up| own.plus(shift + up));
            self.three_under(&pool)
        })
    }

    fn three_under(&self, pool: &[PitchClass]) -> bool {
        let own = PitchClass::new(self.top());
        let mut four = self.classes();
        four.retain(|c| *c != own);
        if four.len() != 3 || !four.iter().all(|c| pool.contains(c)) {
            return false;
        }
        four.push(own);
        close_position(self.top(), &four)
            .is_some_and(|close| self.technique.apply(&close) == self.written)
    }
}
