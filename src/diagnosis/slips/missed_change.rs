//! The chord has changed, and the voices stand on the one before.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::outcome::SlipKind;
use crate::ground::pitch::PitchClass;
use crate::voicing::close_position;
use crate::voicing::harmonise::{is_chord_note, on_chord};

/// At the first attack under a new symbol: the chord before, whole, in the technique in force. The first
/// right voicing under the new one was meant.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let Some(before) = case.chord_before() else {
        return;
    };
    let lead = case.top();
    if !is_chord_note(before, PitchClass::new(lead)) {
        return;
    }
    let is_it = on_chord(before, PitchClass::new(lead), false)
        .into_iter()
        .filter(|h| h.changes == 0)
        .filter_map(|h| close_position(lead, &h.classes()))
        .any(|close| case.technique.apply(&close) == case.written);
    if !is_it {
        return;
    }
    let meant = case.first_meant(at_top);
    if let Some(meant) = meant.filter(|c| c.voicing != case.written) {
        let cost = case.judging.costs.slip.missed_change + case.cost_of_places();
        readings.push(Case::meant(SlipKind::WrongNote, meant, cost));
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn the_chord_before_under_a_new_symbol() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -  | Fm7 |
             count | 1  2  3  | 1   |
             1     | A4 C5 F4 | F4  |
             2     | F4 A4 D4 | D4  |
             3     | D4 F4 C4 | C4  |
             4     | C4 D4 A3 | A3  |",
        );
        assert_eq!(
            passage.account(2, 1.0),
            "WrongNote, 2 D4 for Eb4, 4 A3 for Ab3"
        );
    }
}
