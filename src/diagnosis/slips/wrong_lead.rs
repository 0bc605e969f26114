//! A lead note foreign to the chord, over a voicing that is right for a neighbouring lead: the lead itself
//! is wrong.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::outcome::SlipKind;

/// The lead at most a whole step away was meant.
pub(super) fn add<'a>(case: &Case<'a>, _at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    if !case.top_is_foreign() {
        return;
    }
    let top = case.top();
    for delta in [-1, 1, -2, 2] {
        for c in case.candidates(top + delta, i32::from(delta.abs())) {
            let off = difference(&case.written, &c.voicing);
            if *off.extra == [top] && *off.missing == [top + delta] && case.may_be_meant(&c) {
                let cost = c.cost + case.judging.costs.slip.lead + case.cost_of_places();
                readings.push(Case::meant(SlipKind::WrongNote, &c, cost));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_lead_a_half_step_off_over_the_right_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 Bb4 F4 |
             2     | F4 F4  D4 |
             3     | D4 D4  C4 |
             4     | C4 C4  A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "WrongNote, 1 Bb4 for A4");
    }

    #[test]
    fn with_a_lower_voice_off_as_well_it_is_left_to_two_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 Bb4 F4 |
             2     | F4 F#4 D4 |
             3     | D4 D4  C4 |
             4     | C4 C4  A3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "WrongNote, 2 F#4 for G4, 3 D4 for E4, 4 C4 for Db4"
        );
    }
}
