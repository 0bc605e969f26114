//! An inner voice has an altered tension that neither symbol nor lead brings in.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::{Candidate, RightWhen};
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::outcome::SlipKind;

/// The right voicing nearest to the notes written was meant.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    for written in at_top.iter().filter(|c| c.voicing == case.written) {
        let RightWhen::TensionIsNamed(name) = written.right_when else {
            continue;
        };
        // The eleventh is no alteration: in the place of the third it is a note off.
        let root = case.chords.get(written.chord).map(|c| c.root.class());
        if root.is_some_and(|root| name.class().above(root) == 5) {
            continue;
        }
        let right = at_top.iter().filter(|c| case.is_right_anywhere(c));
        let nearest =
            right.min_by_key(|c| (difference(&case.written, &c.voicing).extra.len(), c.cost));
        if let Some(nearest) = nearest {
            let cost = written.cost + case.cost_of_places();
            readings.push(Case::meant(SlipKind::AlteredTension(name), nearest, cost));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_flat_thirteenth_and_a_flat_ninth_that_nobody_asked_for() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | G7  -   | G7 |
             count | 1   3   | 1  |
             1     | F4  D4  | D4 |
             2     | Eb4 B3  | B3 |
             3     | B3  Ab3 | G3 |
             4     | G3  F3  | F3 |",
        );
        assert_eq!(passage.account(1, 1.0), "AlteredTension Eb, 2 Eb4 for D4");
        assert_eq!(passage.account(1, 3.0), "AlteredTension Ab, 3 Ab3 for G3");
    }

    #[test]
    fn over_a_dominant_that_leads_on_they_are_right() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | G7  -   | C6 |
             count | 1   3   | 1  |
             1     | F4  D4  | E4 |
             2     | Eb4 B3  | C4 |
             3     | B3  Ab3 | A3 |
             4     | G3  F3  | G3 |",
        );
        assert_eq!(passage.account(1, 1.0), "Tension");
        assert_eq!(passage.account(1, 3.0), "Tension");
    }

    #[test]
    fn a_note_that_is_no_tension_is_left_to_one_voice() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | G7  -  | G7 |
             count | 1   3  | 1  |
             1     | F4  D4 | D4 |
             2     | D4  B3 | B3 |
             3     | B3  G3 | G3 |
             4     | Gb3 F3 | F3 |",
        );
        assert_eq!(passage.account(1, 1.0), "WrongNote, 4 Gb3 for G3");
    }
}
