//! The chord is kept under a passing lead note, where the passage does not keep to that.

use crate::diagnosis::candidates::{Candidate, RightWhen};
use crate::diagnosis::case::Case;
use crate::diagnosis::outcome::{Slip, SlipKind};
use crate::voicing::Way;

/// The diminished seventh under the lead was meant.
pub(super) fn explain(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Slip> {
    if !case.keeps_chord_under_passing() {
        return None;
    }
    let meant = at_top
        .iter()
        .filter(|c| {
            c.right_when == RightWhen::Always
                && matches!(c.harmony.way, Way::PassingDiminished | Way::OtherDiminished)
        })
        .min_by_key(|c| c.bias)?;
    Some(case.slip_from(SlipKind::PassingOnChord, meant))
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn the_chord_kept_under_a_chromatic_neighbour() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  &   3  |
             1     | A4 A4 Ab4 A4 |
             2     | F4 F4 F4  F4 |
             3     | D4 D4 D4  D4 |
             4     | C4 C4 C4  C4 |",
        );
        assert_eq!(
            passage.account(1, 2.5),
            "passing on chord: PassingOnChord, 4 C4 for B3"
        );
    }

    #[test]
    fn a_passage_that_keeps_to_it_is_right() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  | F6  -  -   -  |
             count | 1  2  &   3  | 1   &  2   3  |
             1     | A4 A4 Ab4 A4 | Ab4 A4 Ab4 A4 |
             2     | F4 F4 F4  F4 | F4  F4 F4  F4 |
             3     | D4 D4 D4  D4 | D4  D4 D4  D4 |
             4     | C4 C4 C4  C4 | C4  C4 C4  C4 |",
        );
        assert_eq!(passage.account(1, 2.5), "chord kept by habit: Chord");
    }

    #[test]
    fn under_a_note_that_leaps_on_it_is_left_to_one_voice() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 G#4 D5 |
             2     | F4 F4  C5 |
             3     | D4 D4  A4 |
             4     | C4 C4  F4 |",
        );
        assert_eq!(passage.account(1, 2.0), "one voice: WrongNote, 4 C4 for B3");
    }
}
