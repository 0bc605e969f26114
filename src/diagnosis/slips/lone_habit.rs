//! An approach note is harmonised in a way that is right in a passage that keeps to it, and this one does
//! not.

use crate::diagnosis::candidates::{Candidate, RightWhen};
use crate::diagnosis::case::Case;
use crate::diagnosis::habits::Habit;
use crate::diagnosis::outcome::{Slip, SlipKind};

/// The way that would have to be a habit of the passage, for what is written to be right.
pub(in crate::diagnosis) fn unproven(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Habit> {
    let mut as_written = at_top.iter().filter(|c| c.voicing == case.written);
    match as_written.find(|c| !case.stands(c))?.right_when {
        RightWhen::HabitOfPassage(habit) => Some(habit),
        _ => None,
    }
}

/// The first right voicing that asks for no habit was meant.
pub(super) fn explain(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Slip> {
    let kind = match unproven(case, at_top)? {
        Habit::SameChord => SlipKind::PassingOnChord,
        Habit::Dominant => SlipKind::WrongPassingChord,
    };
    let best = at_top
        .iter()
        .filter(|c| c.right_when == RightWhen::Always)
        .min_by_key(|c| c.bias)?;
    Some(case.slip_from(kind, best))
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn the_chord_kept_under_one_passing_note_is_no_habit() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -  -  |
             count | 1  2  &  3  |
             1     | A4 A4 G4 F4 |
             2     | F4 F4 D4 D4 |
             3     | D4 D4 C4 C4 |
             4     | C4 C4 A3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.5),
            "lone habit: PassingOnChord, 2 D4 for E4, 3 C4 for Db4, 4 A3 for Bb3"
        );
    }

    #[test]
    fn the_chord_kept_under_two_passing_notes_is_one() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -  -  | F6 -  -  -  |
             count | 1  2  &  3  | 1  2  &  3  |
             1     | A4 A4 G4 F4 | A4 A4 G4 F4 |
             2     | F4 F4 D4 D4 | F4 F4 D4 D4 |
             3     | D4 D4 C4 C4 | D4 D4 C4 C4 |
             4     | C4 C4 A3 A3 | C4 C4 A3 A3 |",
        );
        assert_eq!(passage.account(1, 2.5), "right: Tension");
        assert_eq!(passage.account(2, 2.5), "right: Tension");
    }

    #[test]
    fn the_dominant_of_an_unchanged_chord_wants_a_habit_too() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  &   3  |
             1     | A4 A4 G4  F4 |
             2     | F4 F4 E4  D4 |
             3     | D4 D4 C4  C4 |
             4     | C4 C4 Bb3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.5),
            "lone habit: WrongPassingChord, 3 C4 for Db4"
        );
    }

    #[test]
    fn a_note_off_the_chord_is_left_to_two_voices() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  &   3  |
             1     | A4 A4 G4  F4 |
             2     | F4 F4 D4  D4 |
             3     | D4 D4 C4  C4 |
             4     | C4 C4 Bb3 A3 |",
        );
        assert_eq!(
            passage.account(1, 2.5),
            "two voices: WrongNote, 2 D4 for E4, 3 C4 for Db4"
        );
    }
}
