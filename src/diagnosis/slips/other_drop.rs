//! The right chord in close position, but with other voices dropped than the technique in force drops.

use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::outcome::{Slip, SlipKind};
use crate::voicing::{Mechanical, close_position};

/// Techniques that are none of the trade's own count only when more than one voice is out of place.
pub(super) fn explain(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Slip> {
    let mut best: Option<(&Candidate<'_>, Mechanical)> = None;
    for c in at_top.iter().filter(|c| case.stands(c)) {
        for t in Mechanical::EVERY {
            if t != case.technique
                && t.voices() == case.written.len()
                && t.apply(&c.close) == case.written
                && case.rub(c, &c.voicing).is_none()
                && (Mechanical::ALL.contains(&t)
                    || case.displaced() > 0
                    || difference(&case.written, &c.voicing).extra.len() > 1)
                && best.is_none_or(|(b, _)| c.bias < b.bias)
            {
                best = Some((c, t));
            }
        }
    }
    best.map(|(c, t)| case.slip_from(SlipKind::OtherDrop(t), c))
}

/// The same without a chord symbol: four notes in the technique `found`.
pub(in crate::diagnosis) fn of_shape(case: &Case<'_>, found: Mechanical) -> Option<Slip> {
    let close = close_position(case.top(), &case.classes())?;
    let expected = case.technique.apply(&close);
    Some(case.slip(SlipKind::OtherDrop(found), None, &expected))
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
            "other drop: OtherDrop(FourWayClose), 2 A4 for A3"
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
        assert_eq!(
            passage.account(1, 2.0),
            "other drop: OtherDrop(Drop2), 4 F3 for F4"
        );
    }

    #[test]
    fn without_symbols_the_shape_is_judged() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | .  -  -  -  |
             count | 1  2  3  4  |
             1     | A4 A4 F4 A4 |
             2     | F4 D4 D4 F4 |
             3     | D4 C4 C4 D4 |
             4     | C4 F3 A3 D4 |",
        );
        assert_eq!(passage.account(1, 1.0), "shape or triad: right");
        assert_eq!(
            passage.account(1, 2.0),
            "shape or triad: OtherDrop(Drop2), 4 F3 for F4"
        );
        assert_eq!(passage.account(1, 4.0), "no row: left alone");
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
            "two voices: WrongNote, 4 F3 for F4, 3 B3 for C4"
        );
    }
}
