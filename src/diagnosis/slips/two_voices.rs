//! Two voices are off a right voicing, or more where the technique was stated.

use crate::diagnosis::candidates::Candidate;
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::{Difference, difference};
use crate::diagnosis::outcome::{Slip, SlipKind};
use crate::diagnosis::technique::How;
use crate::ground::pitch::PitchClass;

/// The right voicing with the fewest voices off was meant. More than two are no slip of the pen, and are
/// reported only where the technique was stated.
pub(super) fn explain(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Slip> {
    let meant = at_top
        .iter()
        .filter(|c| case.may_be_meant(c))
        .min_by_key(|c| (difference(&case.written, &c.voicing).extra.len(), c.bias))?;
    let difference = difference(&case.written, &meant.voicing);
    if difference.extra.len() > 2 && case.how == How::Inferred {
        return None;
    }
    Some(case.slip_from(kind(case, meant, &difference), meant))
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
            "two voices: WrongNote, 2 Gb4 for F4, 3 Eb4 for D4"
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
        assert_eq!(passage.account(2, 1.0), "no row: left alone");
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
            "two voices: WrongNote, 2 Gb4 for F4, 3 Eb4 for D4, 4 B3 for C4"
        );
    }
}
