//! Two voices or more are off a right voicing.

use super::build::VoiceOff;
use crate::diagnosis::account::Reading;
use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::{Difference, difference};
use crate::diagnosis::outcome::SlipKind;
use crate::ground::pitch::PitchClass;

/// Each note that is off is taken for the nearest that is missing, the same note in another octave first.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let further = case.judging.costs.slip.further_voice;
    for c in at_top.iter().filter(|c| case.may_be_meant(c)) {
        let difference = difference(&case.written, &c.voicing);
        if difference.extra.len() < 2 {
            continue;
        }
        let mut missing = difference.missing.clone();
        let mut voices = 0;
        for &found in &difference.extra {
            let nearest = missing
                .iter()
                .enumerate()
                .min_by_key(|(_, m)| ((found - **m) % 12 != 0, (found - **m).abs()))
                .map(|(i, _)| i);
            let Some(nearest) = nearest else { continue };
            let wanted = missing.swap_remove(nearest);
            let cost = case.cost_of_voice(VoiceOff { found, wanted });
            voices += if voices == 0 {
                cost
            } else {
                further + (cost - case.judging.costs.slip.step).max(0)
            };
        }
        let cost = c.cost + voices + case.cost_of_places();
        readings.push(Case::meant(kind(case, c, &difference), c, cost));
    }
}

fn kind(case: &Case<'_>, meant: &Candidate<'_>, difference: &Difference) -> SlipKind {
    let Difference { extra, missing } = difference;
    let octaves = extra
        .iter()
        .all(|e| missing.iter().any(|m| (e - m) % 12 == 0));
    if octaves {
        return SlipKind::WrongOctave;
    }
    if !extra
        .iter()
        .all(|&e| case.belongs(meant, PitchClass::new(e)))
    {
        return SlipKind::WrongNote;
    }
    missing
        .iter()
        .map(|&m| PitchClass::new(m))
        .find(|m| !case.written.iter().any(|&w| PitchClass::new(w) == *m))
        .and_then(|m| meant.harmony.name_of(m))
        .map_or(SlipKind::WrongOctave, SlipKind::DoubledNote)
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn two_are_reported_though_the_technique_is_inferred() {
        let passage = DiagnosedGrid::new(
            "chord | F6 -  -   -  | F6  |
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

    #[test]
    fn three_are_not_where_the_technique_is_inferred() {
        let passage = DiagnosedGrid::new(
            "chord | F6 -  -   -  | F6  |
             count | 1  2  3   4  | 1   |
             1     | A4 C5 G4  F4 | A4  |
             2     | F4 A4 E4  D4 | Gb4 |
             3     | D4 F4 C#4 C4 | Eb4 |
             4     | C4 D4 Bb3 A3 | B3  |",
        );
        assert_eq!(passage.account(2, 1.0), "left alone");
    }

    #[test]
    fn three_are_where_it_is_stated() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  | F6  |
             count | 1  2  3   4  | 1   |
             1     | A4 C5 G4  F4 | A4  |
             2     | F4 A4 E4  D4 | Gb4 |
             3     | D4 F4 C#4 C4 | Eb4 |
             4     | C4 D4 Bb3 A3 | B3  |",
        );
        assert_eq!(
            passage.account(2, 1.0),
            "WrongNote, 2 Gb4 for F4, 3 Eb4 for D4, 4 B3 for C4"
        );
    }
}
