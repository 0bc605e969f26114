//! The readings in which nothing is wrong.

use super::account::Reading;
use super::candidates::{Candidate, RightWhen};
use super::case::Case;
use super::habits::ApproachHarmony;
use super::outcome::SlipKind;
use super::technique::How;
use crate::ground::chord::{Chord, Family};
use crate::ground::pitch::PitchClass;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Colour, Form, Frame, Mechanical, Semitones, Way, mechanical_of};

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

/// The cheapest right reading by a candidate of the notes written: the quick way to what most sonorities
/// are. Only where every part has its seat's voice, and only one that no other reading can beat.
pub(super) fn of_own_notes<'a>(case: &Case<'a>) -> Option<Reading<'a>> {
    if case.displaced() > 0 {
        return None;
    }
    let candidates = case.candidates_of(case.top(), 0, Some(&case.classes()));
    let mut readings = Vec::new();
    as_written(case, &candidates, &mut readings);
    let unbeaten = case.judging.costs.harmony.complete;
    readings
        .into_iter()
        .filter(|r| r.cost <= unbeaten)
        .min_by_key(|r| r.cost)
}

/// Every right reading: in the technique in force, or in one of the ways that depart from it rightly.
pub(super) fn add<'a>(case: &Case<'a>, at_top: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    as_written(case, at_top, readings);
    let costs = &case.judging.costs.harmony;
    let places = case.cost_of_places();
    if let Some(c) = rightly_in_another(case, at_top) {
        let cost = c.cost + costs.technique_left_for_a_rub + places;
        readings.push(Reading::right(cost, c.harmony.way, c.chord));
    }
    if has_free_bottom(case, at_top) {
        let cost = costs.bottom_of_its_own + places;
        readings.push(Reading::right(cost, Way::Chord, 0));
    }
    if is_five_note(case) {
        readings.push(Reading::right(costs.five_note + places, Way::Chord, 0));
    }
    if is_parallel_approach(case) {
        let cost = costs.parallel_approach + places;
        readings.push(Reading::right(cost, Way::Dominant, 0));
    }
    if let Some((cost, chord)) = complete(case, at_top) {
        readings.push(Reading {
            chord,
            ..Reading::left_alone(cost + places)
        });
    }
    if case.judging.habits.keeps_chord && case.keeps_chord_under_passing() {
        readings.push(Reading::right(places, Way::Chord, 0));
    }
}

/// Right because a candidate is just as written, and nothing rubs in it.
fn as_written<'a>(case: &Case<'a>, candidates: &[Candidate<'a>], readings: &mut Vec<Reading<'a>>) {
    let costs = &case.judging.costs.habit;
    let keeps_chord = case.judging.habits.keeps_chord;
    for c in candidates.iter().filter(|c| c.voicing == case.written) {
        if !case.stands(c) || rub_that_counts(case, c).is_some() {
            continue;
        }
        let diminished = c.harmony.way.is_diminished();
        let approach = if diminished {
            Some(ApproachHarmony::Diminished)
        } else {
            (c.right_when == RightWhen::ChordIsKept).then_some(ApproachHarmony::ChordIsKept)
        };
        let beside = if diminished && keeps_chord {
            costs.diminished_beside
        } else {
            0
        };
        readings.push(Reading {
            approach,
            ..Reading::right(
                c.cost + beside + case.cost_of_places(),
                c.harmony.way,
                c.chord,
            )
        });
    }
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

/// The candidate that is written in another technique because the one in force would rub here.
fn rightly_in_another<'c, 'a>(
    case: &Case<'a>,
    at_top: &'c [Candidate<'a>],
) -> Option<&'c Candidate<'a>> {
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

/// On a note of two thirds of a beat or more, where doubling the lead was not asked for, a tension may take the place of
/// the doubling.
fn is_five_note(case: &Case<'_>) -> bool {
    case.how == How::Inferred
        && case.classes().len() == case.written.len()
        && case.technique.doubles_lead()
        && case
            .lead
            .is_some_and(|l| l.duration().0 * 3 >= l.beat.0 * 2)
        && case
            .written
            .windows(2)
            .all(|w| matches!(w, [a, b] if a - b > 1))
        && case.frames.iter().any(|f| {
            Form::FiveNoteSoli.fits(&case.written, Some(f))
                && case.classes().iter().all(|c| may_complete(f, *c))
        })
}

/// Whether every voice moves with the lead into the target: by the same half or whole step, or
/// by one step of the key into a minor seventh chord. The first only under a lead that is no note of the
/// chord: over a chord note it is a chord with wrong accidentals.
pub(super) fn is_parallel_approach(case: &Case<'_>) -> bool {
    let (Some(chord), Some(target), Some(lead)) = (case.chord(), case.target, case.lead) else {
        return false;
    };
    if !lead.approaches() {
        return false;
    }
    let member = is_chord_note(chord, PitchClass::new(lead.midi));
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
    if matches!(first.abs(), 1 | 2) && moves.iter().all(|&m| m == first) && !member {
        return true;
    }
    let modal = case
        .coming
        .iter()
        .any(|c| matches!(c.family(), Family::MinorSeventh));
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

/// Four or five different notes, all of the chord or its tensions and the guide tones among them, under a
/// lead that does not pass: whatever the categories, nothing is wrong with the chord. What it costs, and
/// the chord it is. In another technique than one that is stated it is not asked.
fn complete(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<(i32, usize)> {
    let classes = case.classes();
    if classes.len() != case.written.len() || case.passes_weakly() {
        return None;
    }
    let costs = &case.judging.costs.harmony;
    let in_technique = mechanical_of(&case.written) == Some(case.technique);
    // The notes of a right voicing in other places are an octave or a drop astray.
    let displaced = || at_top.iter().any(|c| c.harmony.is_of(&classes));
    let cost = if in_technique {
        costs.complete
    } else if case.how == How::Inferred && !case.approaches() && !displaced() {
        costs.complete_elsewhere
    } else {
        return None;
    };
    let chord = case.frames.iter().position(|f| {
        let sevenths = f.sevenths();
        classes.iter().all(|c| may_complete(f, *c))
            && f.third().is_some_and(|t| classes.contains(&t))
            && (sevenths.is_empty() || sevenths.iter().any(|s| classes.contains(s)))
    })?;
    let in_rub = crate::voicing::minor_ninths(&case.written).next().is_some()
        || matches!(case.written.as_slice(), [a, b, ..] if a - b == 1);
    (!in_rub).then_some((cost, chord))
}

/// Whether a note may stand in a complete chord: a member, or a tension that needs no reason. An alteration
/// needs one, unless the symbol names it.
fn may_complete(frame: &Frame<'_>, class: PitchClass) -> bool {
    let altered =
        frame.is_dominant() && matches!(class.above(frame.chord.root.class()), 1 | 3 | 6 | 8);
    match frame.colour(class) {
        Colour::Member => true,
        Colour::Available => !altered,
        _ => false,
    }
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
        assert_eq!(passage.account(1, 1.0), "Chord");
        assert_eq!(passage.account(1, 2.0), "Chord");
        assert_eq!(passage.account(1, 3.0), "LeadDoubling, 5 Gb3 for A3");
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
        assert_eq!(passage.account(1, 2.0), "LeadDoubling, 5 F3 for C4");
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
        assert_eq!(passage.account(1, 2.0), "Dominant");
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
        assert_eq!(passage.account(2, 1.0), "left alone");
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
            "DoubledNote, G is missing, 2 C5 for B4, 3 E4 for G4, 4 B3 for E4"
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
        assert_eq!(passage.account(1, 1.0), "Chord");
    }
}
