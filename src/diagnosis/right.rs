//! Whether a sonority is right.

use super::account::Account;
use super::candidates::{Candidate, RightWhen};
use super::case::Case;
use super::habits::{ApproachHarmony, Habit};
use super::outcome::{SlipKind, Verdict};
use super::technique::How;
use crate::ground::chord::{Chord, Family};
use crate::ground::pitch::PitchClass;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Colour, Form, Mechanical, Semitones, Way, mechanical_of};

/// A triad voiced as a triad (three of its notes, one doubled) is right under its own symbol.
pub(super) fn plain_triad(case: &Case<'_>, chord: &Chord) -> bool {
    matches!(
        chord.family(),
        Family::MajorTriad | Family::MinorTriad | Family::AugmentedTriad | Family::SuspendedTriad
    ) && case
        .written
        .iter()
        .all(|&m| chord.contains(PitchClass::new(m)))
        && chord
            .classes()
            .all(|c| case.written.iter().any(|&m| PitchClass::new(m) == c))
}

/// Right by a candidate of the notes written: the quick way to what most sonorities are. Only where every
/// part has its seat's voice.
pub(super) fn of_own_notes(case: &Case<'_>) -> Option<Account> {
    if case.displaced() > 0 {
        return None;
    }
    as_written(
        case,
        &case.candidates_of(case.top(), 0, Some(&case.classes())),
    )
}

/// Right in the technique in force, or in one of the ways that depart from it rightly.
pub(super) fn right(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Account> {
    let in_another = || rightly_in_another(case, at_top);
    let free = || has_free_bottom(case, at_top) || is_five_note(case);
    as_written(case, at_top)
        .or_else(|| in_another().map(Account::right))
        .or_else(|| free().then_some(Account::right(Way::Chord)))
        .or_else(|| is_parallel_approach(case).then_some(Account::right(Way::Dominant)))
}

/// Right because a candidate is just as written, and nothing rubs in it.
fn as_written(case: &Case<'_>, candidates: &[Candidate<'_>]) -> Option<Account> {
    let c = candidates
        .iter()
        .filter(|c| c.voicing == case.written && case.stands(c))
        .find(|c| rub_that_counts(case, c).is_none())?;
    let approach = match (c.harmony.way, c.right_when) {
        (Way::PassingDiminished | Way::OtherDiminished, _) => Some(ApproachHarmony::Diminished),
        (_, RightWhen::HabitOfPassage(habit)) => Some(ApproachHarmony::Habit(habit)),
        _ => None,
    };
    Some(Account {
        verdict: Verdict::Right(Some(c.harmony.way)),
        approach,
    })
}

/// What rubs in the notes written, read as a candidate's. A minor ninth that is gone at once does not count.
pub(super) fn rub_that_counts(case: &Case<'_>, c: &Candidate<'_>) -> Option<SlipKind> {
    case.rub(c, &case.written)
        .filter(|kind| !(case.is_fleeting() && matches!(kind, SlipKind::MinorNinth(..))))
}

/// A candidate with what rubs in the notes written.
#[derive(Clone, Copy)]
pub(super) struct Rubbing<'c, 'a> {
    pub(super) candidate: &'c Candidate<'a>,
    pub(super) kind: SlipKind,
}

/// The notes of a candidate in which something rubs: one in the technique in force, else one in
/// another.
pub(super) fn rubbing<'c, 'a>(
    case: &Case<'_>,
    at_top: &'c [Candidate<'a>],
) -> Option<Rubbing<'c, 'a>> {
    let rubs = |candidate: &'c Candidate<'a>| {
        let kind = rub_that_counts(case, candidate)?;
        Some(Rubbing { candidate, kind })
    };
    let mut as_written = at_top.iter().filter(|c| c.voicing == case.written);
    as_written
        .find_map(rubs)
        .or_else(|| rubbing_in_another(case, at_top))
}

/// A right chord in another technique than the one in force, where that makes a minor ninth: the
/// rub is the mistake, not the notes one by one.
fn rubbing_in_another<'c, 'a>(
    case: &Case<'_>,
    at_top: &'c [Candidate<'a>],
) -> Option<Rubbing<'c, 'a>> {
    let found = mechanical_of(&case.written)?;
    at_top
        .iter()
        .filter(|c| case.stands(c) && c.harmony.changes == 0)
        .filter(|c| found.apply(&c.close) == case.written)
        .find_map(|candidate| {
            let kind = case.rub(candidate, &case.written)?;
            Some(Rubbing { candidate, kind })
        })
        .filter(|r| matches!(r.kind, SlipKind::MinorNinth(..)) && !case.is_fleeting())
}

/// How the lead is harmonised where a technique that would rub here is left for another.
fn rightly_in_another(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Way> {
    if rubbing(case, at_top).is_some() {
        return None;
    }
    at_top
        .iter()
        .filter(|c| c.right_when == RightWhen::Always && c.harmony.changes == 0)
        .filter(|c| case.rub(c, &c.voicing).is_some())
        .find(|c| {
            Mechanical::EVERY.into_iter().any(|t| {
                t.voices() == case.written.len()
                    && t.apply(&c.close) == case.written
                    && case.rub(c, &case.written).is_none()
            })
        })
        .map(|c| c.harmony.way)
}

/// Five voices where close position or a drop was stated for four: the bottom voice is its own
/// (a baritone on the root).
fn has_free_bottom(case: &Case<'_>, at_top: &[Candidate<'_>]) -> bool {
    let (Some(four), Some((bottom, upper))) = (case.stated_for_four, case.written.split_last())
    else {
        return false;
    };
    let class = PitchClass::new(*bottom);
    case.chords
        .iter()
        .any(|c| c.contains(class) || c.bass.is_some_and(|b| b.class() == class))
        && at_top
            .iter()
            .any(|c| case.stands(c) && *four.apply(&c.close) == *upper)
}

/// On a held note, where doubling the lead was not asked for, a tension may take the place of
/// the doubling.
fn is_five_note(case: &Case<'_>) -> bool {
    case.how == How::Inferred
        && case.technique.doubles_lead()
        && case.lead.is_some_and(|l| l.is_long())
        && case
            .written
            .windows(2)
            .all(|w| matches!(w, [a, b] if a - b > 1))
        && case
            .frames
            .iter()
            .any(|f| Form::FiveNoteSoli.fits(&case.written, Some(f)))
}

/// Whether every voice moves with the lead into the target: by the same half or whole step, or
/// by one step of the key into a minor seventh chord.
fn is_parallel_approach(case: &Case<'_>) -> bool {
    let (Some(chord), Some(target), Some(lead)) = (case.chord(), case.target, case.lead) else {
        return false;
    };
    if !lead.approaches()
        || is_chord_note(chord, PitchClass::new(lead.midi))
            && case.chords.len() == 1
            && case.coming == Some(chord)
            && fits_any_member(case, chord)
    {
        return false;
    }
    let up = PitchClass::new(lead.midi).above(chord.root.class());
    if case.judging.only_diminished && matches!(up, 2 | 5 | 8 | 11) {
        return false;
    }
    let moves: Semitones = target
        .iter()
        .zip(&case.written)
        .map(|(t, w)| t - w)
        .collect();
    let Some(&first) = moves.first() else {
        return false;
    };
    if matches!(first.abs(), 1 | 2) && moves.iter().all(|&m| m == first) {
        return true;
    }
    let modal = case
        .coming
        .is_some_and(|c| matches!(c.family(), Family::MinorSeventh));
    modal
        && matches!(first.abs(), 1 | 2)
        && moves
            .iter()
            .all(|m| matches!(m.abs(), 1 | 2) && (*m > 0) == (first > 0))
        && case
            .written
            .iter()
            .chain(target)
            .all(|&m| in_major_scale(m, case.key))
}

/// A chord note of an unchanged chord is not an approach note, unless nothing of the chord
/// stands under it.
fn fits_any_member(case: &Case<'_>, chord: &Chord) -> bool {
    case.written
        .iter()
        .skip(1)
        .filter(|&&m| chord.contains(PitchClass::new(m)))
        .count()
        >= 2
}

/// Where nobody stated a technique: four or five different notes, all of the chord or its
/// tensions and the guide tones among them, under a lead that stays. One category may be there
/// twice (root and 9), but nothing is wrong with the chord.
fn is_complete(case: &Case<'_>, at_top: &[Candidate<'_>]) -> bool {
    let classes = case.classes();
    let distinct = classes.len() == case.written.len();
    // The notes of a right voicing in other places are an octave or a drop astray.
    let displaced = at_top.iter().any(|c| c.harmony.is_of(&classes));
    case.how == How::Inferred
        && distinct
        && !displaced
        && !case.approaches()
        && case.frames.iter().any(|f| {
            let sevenths = f.sevenths();
            classes.iter().all(|c| f.colour(*c) <= Colour::Available)
                && f.third().is_some_and(|t| classes.contains(&t))
                && (sevenths.is_empty() || sevenths.iter().any(|s| classes.contains(s)))
        })
}

/// Right because the passage keeps the chord under passing notes.
pub(super) fn chord_kept_by_habit(case: &Case<'_>, _at_top: &[Candidate<'_>]) -> Option<Account> {
    let keeps = case.judging.habits.allow(Habit::SameChord) && case.keeps_chord_under_passing();
    keeps.then_some(Account::right(Way::Chord))
}

/// Left alone because nothing is wrong with the chord, whatever the technique.
pub(super) fn complete(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<Account> {
    is_complete(case, at_top).then_some(Account::LEFT_ALONE)
}

/// Whether a note belongs to the major scale of a key signature.
fn in_major_scale(midi: i16, fifths: i8) -> bool {
    let tonic = PitchClass::new(i16::from(fifths) * 7);
    matches!(
        PitchClass::new(midi).above(tonic),
        0 | 2 | 4 | 5 | 7 | 9 | 11
    )
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn five_voices_where_four_are_stated_have_a_bottom_of_their_own() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 C5 A4  F4 |
             2     | F4 A4 F4  D4 |
             3     | D4 F4 D4  C4 |
             4     | C4 D4 C4  A3 |
             5     | F3 F3 Gb3 F3 |",
        );
        assert_eq!(passage.account(1, 1.0), "right: Chord");
        assert_eq!(passage.account(1, 2.0), "right: Chord");
        assert_eq!(
            passage.account(1, 3.0),
            "one voice: LeadDoubling, 5 Gb3 for A3"
        );
    }

    #[test]
    fn a_bottom_of_its_own_is_wrong_where_five_are_stated() {
        let passage = DiagnosedGrid::new(
            "technique: doubled lead
             chord | F6 -  -  |
             count | 1  2  3  |
             1     | A4 C5 F4 |
             2     | F4 A4 D4 |
             3     | D4 F4 C4 |
             4     | C4 D4 A3 |
             5     | A3 F3 F3 |",
        );
        assert_eq!(
            passage.account(1, 2.0),
            "one voice: LeadDoubling, 5 F3 for C4"
        );
    }

    #[test]
    fn all_voices_a_half_step_into_the_target_are_right() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -   -  |
             count | 1  2   3  |
             1     | A4 G#4 A4 |
             2     | F4 E4  F4 |
             3     | D4 C#4 D4 |
             4     | C4 B3  C4 |",
        );
        assert_eq!(passage.account(1, 2.0), "right: Dominant");
    }

    #[test]
    fn a_complete_chord_is_left_alone_where_the_technique_is_inferred() {
        let passage = DiagnosedGrid::new(
            "chord | Cmaj7 -  -  -  | Cmaj7 |
             count | 1     2  3  4  | 1     |
             1     | B4    G4 E4 B4 | D5    |
             2     | G4    E4 C4 G4 | C5    |
             3     | E4    C4 B3 E4 | E4    |
             4     | C4    A3 G3 C4 | B3    |",
        );
        assert_eq!(passage.account(2, 1.0), "complete: left alone");
    }

    #[test]
    fn it_is_judged_where_the_technique_is_stated() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | Cmaj7 -  -  -  | Cmaj7 |
             count | 1     2  3  4  | 1     |
             1     | B4    G4 E4 B4 | D5    |
             2     | G4    E4 C4 G4 | C5    |
             3     | E4    C4 A3 E4 | E4    |
             4     | C4    A3 G3 C4 | B3    |",
        );
        assert_eq!(
            passage.account(2, 1.0),
            "two voices: DoubledNote, G is missing, 2 C5 for B4, 4 B3 for G4"
        );
    }

    #[test]
    fn a_triad_under_its_own_symbol_is_right() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F  -  -  |
             count | 1  2  3  |
             1     | A4 F4 A4 |
             2     | F4 D4 F4 |
             3     | C4 C4 D4 |
             4     | A3 A3 C4 |",
        );
        assert_eq!(passage.account(1, 1.0), "shape or triad: Chord");
    }
}
