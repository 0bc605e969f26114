//! A chord note stands on a diminished seventh, as if it were a passing note.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::outcome::SlipKind;

/// The first right voicing under the lead was meant.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    if case.top_is_foreign() || !case.lower_voices_diminished() {
        return;
    }
    if let Some(meant) = case.first_meant(at_top) {
        let cost = meant.cost + case.judging.costs.slip.chord_note_on_passing;
        let cost = cost + case.cost_of_places();
        readings.push(Case::meant(SlipKind::ChordNoteOnPassing, meant, cost));
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_chord_note_over_the_passing_diminished_seventh() {
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

    #[test]
    fn with_one_voice_on_no_diminished_seventh_it_is_left_to_two_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 A4  F4 |
             2     | F4 E4  D4 |
             3     | D4 C#4 C4 |
             4     | C4 B3  A3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "WrongNote, 2 E4 for F4, 3 C#4 for E4, 4 B3 for C4"
        );
    }
}
