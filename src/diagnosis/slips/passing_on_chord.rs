//! The chord is kept under a passing lead note, where the passage does not keep to that.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::{Candidate, RightWhen};
use crate::diagnosis::case::Case;
use crate::diagnosis::habits::ApproachHarmony;
use crate::diagnosis::outcome::SlipKind;

/// The first right voicing that asks for no habit was meant; a diminished seventh, if there is one.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    if case.judging.habits.keeps_chord {
        return;
    }
    let written = |c: &&Candidate<'_>| c.voicing == case.written;
    let kept = at_top
        .iter()
        .filter(written)
        .find(|c| c.right_when == RightWhen::ChordIsKept);
    if kept.is_none() && !case.keeps_chord_under_passing() {
        return;
    }
    let always = || {
        at_top
            .iter()
            .filter(|c| c.right_when == RightWhen::Always && c.voicing != case.written)
    };
    let meant = always()
        .filter(|c| c.harmony.way.is_diminished())
        .min_by_key(|c| c.cost)
        .or_else(|| always().min_by_key(|c| c.cost));
    if let Some(meant) = meant {
        let cost = case.judging.costs.slip.passing_on_chord + case.cost_of_places();
        let mut reading = Case::meant(SlipKind::PassingOnChord, meant, cost);
        reading.approach = Some(ApproachHarmony::ChordIsKept);
        readings.push(reading);
    }
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
        assert_eq!(passage.account(1, 2.5), "PassingOnChord, 4 C4 for B3");
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
        assert_eq!(passage.account(1, 2.5), "Chord");
    }

    #[test]
    fn under_a_note_that_leaps_on_the_lead_itself_is_wrong() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 G#4 D5 |
             2     | F4 F4  C5 |
             3     | D4 D4  A4 |
             4     | C4 C4  F4 |",
        );
        assert_eq!(passage.account(1, 2.0), "WrongNote, 1 G#4 for A4");
    }
}
