//! The right chord in close position, but with other voices dropped than the technique in force drops.

use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::outcome::SlipKind;
use crate::voicing::Mechanical;

/// Each technique of which the notes written are a candidate's.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let others = Mechanical::EVERY
        .into_iter()
        .filter(|t| *t != case.technique && t.voices() == case.written.len());
    for t in others {
        let costs = &case.judging.costs.slip;
        let drop = if Mechanical::ALL.contains(&t) {
            costs.other_drop
        } else {
            costs.odd_drop
        };
        for c in at_top.iter().filter(|c| case.may_be_meant(c)) {
            if t.apply(&c.close) == case.written {
                let cost = c.cost + drop + case.cost_of_places();
                readings.push(Case::meant(SlipKind::OtherDrop(t), c, cost));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn close_position_in_drop_2_is_not_one_voice_in_the_wrong_octave() {
        let passage = DiagnosedGrid::new(
            "technique: drop 2
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 C5 G4  F4 |
             2     | D4 A4 C#4 C4 |
             3     | C4 F4 Bb3 A3 |
             4     | F3 D4 E3  D3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "OtherDrop(FourWayClose), 2 A4 for A3"
        );
    }

    #[test]
    fn drop_2_in_close_position() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 A4 G4  F4 |
             2     | F4 D4 E4  D4 |
             3     | D4 C4 C#4 C4 |
             4     | C4 F3 Bb3 A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "OtherDrop(Drop2), 4 F3 for F4");
    }

    #[test]
    fn a_drop_with_a_note_off_the_chord_is_left_to_two_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 A4 G4  F4 |
             2     | F4 D4 E4  D4 |
             3     | D4 B3 C#4 C4 |
             4     | C4 F3 Bb3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "WrongNote, 2 D4 for F4, 3 B3 for D4, 4 F3 for C4"
        );
    }
}
