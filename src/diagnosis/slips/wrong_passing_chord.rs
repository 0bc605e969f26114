//! A passing lead note stands on a diminished seventh that it is no note of.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::outcome::SlipKind;

/// The first right voicing under the lead was meant.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    if !case.top_is_foreign() || !case.approaches() || !case.lower_voices_diminished() {
        return;
    }
    if let Some(meant) = case.first_meant(at_top) {
        let cost = meant.cost + case.judging.costs.slip.wrong_passing_chord;
        let cost = cost + case.cost_of_places();
        readings.push(Case::meant(SlipKind::WrongPassingChord, meant, cost));
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_diminished_seventh_without_the_passing_lead() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  &   3  |
             1     | A4 A4 G4  F4 |
             2     | F4 F4 Eb4 D4 |
             3     | D4 D4 C4  C4 |
             4     | C4 C4 A3  A3 |",
        );
        assert_eq!(
            passage.account(1, 2.5),
            "WrongPassingChord, 2 Eb4 for E4, 3 C4 for Db4, 4 A3 for Bb3"
        );
    }

    #[test]
    fn under_a_chord_note_it_is_left_to_the_slip_of_chord_notes() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 A4  F4 |
             2     | F4 E4  D4 |
             3     | D4 C#4 C4 |
             4     | C4 Bb3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "ChordNoteOnPassing, 2 E4 for F4, 3 C#4 for D4, 4 Bb3 for C4"
        );
    }
}
