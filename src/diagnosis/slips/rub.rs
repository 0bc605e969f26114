//! The notes are those of a right voicing, but two of them make a minor ninth, or the second voice stands a
//! half step under the lead.

use crate::diagnosis::account::{Meant, Reading, Says};
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::right::rubbing;
use crate::voicing::Voicing;

/// The chord as it is made in this technique rubs; the nearest voicing that does not is right.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let Some(rubbing) = rubbing(case, at_top) else {
        return;
    };
    let cost = rubbing.candidate.cost + case.judging.costs.slip.rub + case.cost_of_places();
    let right = at_top.iter().filter(|c| case.is_right_anywhere(c));
    let nearest = right.min_by_key(|c| (difference(&case.written, &c.voicing).extra.len(), c.cost));
    readings.push(match nearest {
        Some(nearest) => Case::meant(rubbing.kind, nearest, cost),
        None => Reading {
            cost,
            says: Says::Slip(Meant {
                kind: rubbing.kind,
                harmony: Some(rubbing.candidate.harmony),
                voicing: Voicing::new(),
            }),
            chord: rubbing.candidate.chord,
            approach: None,
        },
    });
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_minor_ninth_of_a_beat_rubs() {
        let passage = DiagnosedGrid::new(
            "technique: drop 2
             chord | Fmaj7 -  -  |
             count | 1     2  3  |
             1     | A4    F4 A4 |
             2     | E4    C4 E4 |
             3     | C4    A3 C4 |
             4     | F3    E3 F3 |",
        );
        assert_eq!(passage.account(1, 2.0), "MinorNinth(0, 3), 4 E3 for D3");
    }

    #[test]
    fn a_minor_ninth_of_half_a_beat_that_moves_on_is_right() {
        let passage = DiagnosedGrid::new(
            "technique: drop 2
             chord | Fmaj7 -  -  |
             count | 1     2  &  |
             1     | A4    F4 A4 |
             2     | E4    C4 E4 |
             3     | C4    A3 C4 |
             4     | F3    E3 F3 |",
        );
        assert_eq!(passage.account(1, 2.0), "Chord");
    }

    #[test]
    fn a_half_step_under_the_lead_rubs_however_short() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | Fmaj7 -  -  |
             count | 1     2  &  |
             1     | A4    F4 A4 |
             2     | F4    E4 F4 |
             3     | E4    C4 E4 |
             4     | C4    A3 C4 |",
        );
        assert_eq!(passage.account(1, 2.0), "SemitoneUnderLead, 2 E4 for D4");
    }

    #[test]
    fn a_rub_that_is_no_candidate_is_left_to_one_voice() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 C5  F4 |
             2     | F4 A4  D4 |
             3     | D4 F4  C4 |
             4     | C4 B3  A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "WrongNote, 4 B3 for D4");
    }
}
