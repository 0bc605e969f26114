//! One voice is off a right voicing.

use super::build::VoiceOff;
use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;

/// Another lead than the note on top is believable only when a voice climbed over it, or the lead fell, by
/// octaves. The top seat that leads its phrase, on top, is the tune: it did not slip past another voice.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let is_tune = case.lead_seat_leads && case.seat_lead() == case.top();
    let others = if is_tune {
        // The tune itself may stand an octave too high, far above the others.
        let high = matches!(case.written.as_slice(), [a, b, ..] if a - b > 12);
        let down = high.then(|| (case.top() - 12, case.candidates(case.top() - 12, 4)));
        down.into_iter().collect()
    } else {
        case.under_other_leads()
    };
    let under_top = at_top.iter().map(|c| (c, false));
    let under_others = others
        .iter()
        .flat_map(|(_, candidates)| candidates)
        .map(|c| (c, true));
    for (c, only_octave) in under_top.chain(under_others) {
        let difference = difference(&case.written, &c.voicing);
        let ([found], [wanted]) = (difference.extra.as_slice(), difference.missing.as_slice())
        else {
            continue;
        };
        let off = VoiceOff {
            found: *found,
            wanted: *wanted,
        };
        if only_octave && !off.is_octave() || !case.may_be_meant(c) {
            continue;
        }
        // The lower voices before the lead: the lead is the tune.
        let tune = i32::from(*found == case.top());
        let cost = case.cost_of_one(c, off) + case.cost_of_places() + tune;
        readings.push(Case::meant(case.kind_of_one(c, off), c, cost));
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn a_note_foreign_to_the_chord() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 C5 G4  F4 |
             2     | F4 A4 E4  D4 |
             3     | D4 F4 C#4 C4 |
             4     | C4 B3 Bb3 A3 |",
        );
        assert_eq!(passage.account(1, 2.0), "WrongNote, 4 B3 for D4");
    }

    #[test]
    fn a_doubled_note_names_the_one_that_is_missing() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 C5 G4  F4 |
             2     | F4 A4 E4  D4 |
             3     | D4 F4 C#4 C4 |
             4     | C4 C4 Bb3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "DoubledNote, D is missing, 4 C4 for D4"
        );
    }

    #[test]
    fn a_doubling_that_is_not_an_octave_below_the_lead() {
        let passage = DiagnosedGrid::new(
            "technique: doubled lead
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 A4  C5 |
             2     | F4 F4  A4 |
             3     | D4 D4  F4 |
             4     | C4 C4  D4 |
             5     | A3 Bb3 C4 |",
        );
        assert_eq!(passage.account(1, 2.0), "LeadDoubling, 5 Bb3 for A3");
    }

    #[test]
    fn two_notes_off_are_left_to_two_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  | F6  |
             count | 1  2  3   4  | 1   |
             1     | A4 C5 G4  F4 | A4  |
             2     | F4 A4 E4  D4 | Gb4 |
             3     | D4 F4 C#4 C4 | Eb4 |
             4     | C4 D4 Bb3 A3 | C4  |",
        );
        assert_eq!(
            passage.account(2, 1.0),
            "WrongNote, 2 Gb4 for F4, 3 Eb4 for D4"
        );
    }
}
