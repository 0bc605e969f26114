//! One voice is off a right voicing.

use super::build::VoiceOff;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::outcome::Slip;
use smallvec::SmallVec;

/// The cheapest explanation by one voice. Another lead than the note on top is believable only when a voice
/// climbed over it, or the lead fell, by octaves. The top seat that leads its phrase, on top, is the tune: it
/// did not slip past another voice.
pub(super) fn explain(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Slip> {
    let is_tune = case.lead_seat_leads && case.seat_lead() == case.top();
    let others = if is_tune {
        SmallVec::default()
    } else {
        case.under_other_leads()
    };
    let under_top = at_top.iter().map(|c| (c, false));
    let under_others = others
        .iter()
        .flat_map(|(_, candidates)| candidates)
        .map(|c| (c, true));
    let mut best: Option<(i32, &Candidate<'_>, VoiceOff)> = None;
    for (c, only_octave) in under_top.chain(under_others) {
        if !case.may_be_meant(c) {
            continue;
        }
        let difference = difference(&case.written, &c.voicing);
        let ([found], [wanted]) = (difference.extra.as_slice(), difference.missing.as_slice())
        else {
            continue;
        };
        let off = VoiceOff {
            found: *found,
            wanted: *wanted,
        };
        if only_octave && !off.is_octave() {
            continue;
        }
        let cost = case.cost_of_one(c, off);
        if best.as_ref().is_none_or(|(b, ..)| cost < *b) {
            best = Some((cost, c, off));
        }
    }
    best.map(|(_, c, off)| case.slip_from(case.kind_of_one(c, off), c))
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
        assert_eq!(passage.account(1, 2.0), "one voice: WrongNote, 4 B3 for D4");
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
            "one voice: DoubledNote, D is missing, 4 C4 for D4"
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
        assert_eq!(
            passage.account(1, 2.0),
            "one voice: LeadDoubling, 5 Bb3 for A3"
        );
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
            "two voices: WrongNote, 2 Gb4 for F4, 3 Eb4 for D4"
        );
    }
}
