//! One part alone is not on its seat's voice of a right voicing: a voice that climbed over the lead, a lead
//! that fell an octave, a wrong note above the lead.

use super::build::VoiceOff;
use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;

/// Only where some part sounds another voice than its seat's, and the top seat otherwise leads the phrase.
pub(super) fn add<'a>(case: &Case<'a>, _at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    if !case.lead_seat_leads || case.displaced() == 0 {
        return;
    }
    let seated = case.seated();
    if seated.windows(2).any(|w| matches!(w, [a, b] if a.0 == b.0)) {
        return;
    }
    let own = case.seat_lead();
    for (lead, cost) in [(own, 0), (own + 12, 2), (own - 12, 6)] {
        for c in case.candidates(lead, cost) {
            let mut off = seated
                .iter()
                .zip(c.voicing.iter().copied())
                .map(|((_, found), wanted)| VoiceOff {
                    found: *found,
                    wanted,
                })
                .filter(|off| off.found != off.wanted);
            let (Some(off), None) = (off.next(), off.next()) else {
                continue;
            };
            if case.may_be_meant(&c) {
                let cost = case.cost_of_one(&c, off);
                readings.push(Case::meant(case.kind_of_one(&c, off), &c, cost));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_second_voice_an_octave_up_is_no_drop_2_and_3() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   - | F6 |
             count | 1  2  3   4  | 1  |
             1     | A4 A4 G4  F4 | A4 |
             2     | F4 F4 E4  D4 | F5 |
             3     | D4 D4 C#4 C4 | D4 |
             4     | C4 C4 Bb3 A3 | C4 |",
        );
        assert_eq!(passage.account(2, 1.0), "WrongOctave, 2 F5 for F4");
    }

    #[test]
    fn a_bottom_voice_that_was_not_dropped_is_one_part() {
        let passage = DiagnosedGrid::new(
            "technique: drop 2
             chord | F6 -  -   - | F6 |
             count | 1  2  3   4  | 1  |
             1     | A4 C5 G4  F4 | A4 |
             2     | D4 F4 C#4 C4 | D4 |
             3     | C4 D4 Bb3 A3 | C4 |
             4     | F3 A3 E3  D3 | F4 |",
        );
        assert_eq!(passage.account(2, 1.0), "WrongOctave, 4 F4 for F3");
    }

    #[test]
    fn two_parts_exchanged_are_not_one_part_off() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -  |
             count | 1  2  3  |
             1     | A4 A4 F4 |
             2     | F4 D4 D4 |
             3     | D4 F4 C4 |
             4     | C4 C4 A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "Chord");
    }

    #[test]
    fn where_every_part_has_its_seat_one_voice_is_asked() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 C5  F4 |
             2     | F4 A4  D4 |
             3     | D4 F#4 C4 |
             4     | C4 D4  A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "WrongNote, 3 F#4 for F4");
    }
}
