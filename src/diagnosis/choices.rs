//! The right voicings of a lead note, for whoever voices it.

use super::case::{Case, Context, HeldTo};
use super::habits::{Habits, Judging};
use super::passage::Passage;
use super::technique::How;
use crate::ground::chord::Family;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::score::Score;
use crate::style::Style;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Harmonisation, Mechanical, Voicing, Way};

/// A right voicing for a lead note, and how far from the first choice it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Sounding semitones from the top.
    pub voicing: Voicing,
    /// How its notes are named.
    pub names: Vec<NoteName>,
    /// How the lead is harmonised.
    pub way: Way,
    /// What the harmony is called: `C6`, `Bdim7`.
    pub label: String,
    /// 0 is the first choice.
    pub cost: i32,
}

/// Every right voicing of a mechanical technique under the lead note at an index of a passage that
/// holds the lead alone; the first choice first.
pub fn choices(
    score: &Score,
    passage: &Passage,
    at: usize,
    technique: Mechanical,
    style: &Style,
) -> Vec<Choice> {
    let Some(around) = Context::at(score, passage, at) else {
        return Vec::new();
    };
    let Some(lead) = around.sonority.voices.first() else {
        return Vec::new();
    };
    let held = around.lead.is_some_and(|l| l.duration() > l.beat);
    let named: Vec<PitchClass> = around
        .chords
        .first()
        .into_iter()
        .flat_map(|c| {
            // The major seventh of a minor chord is what its symbol is written for.
            let minor_major = c.family() == Family::MinorMajor;
            let tensions = c
                .degrees
                .iter()
                .filter(move |d| matches!(d.number, 9 | 11 | 13) || minor_major && d.number == 7);
            tensions.map(|d| c.root.class().plus(d.semitones()))
        })
        .collect();
    let passes = around.lead.is_some_and(|l| l.approaches())
        && around
            .chords
            .first()
            .is_some_and(|c| !is_chord_note(c, PitchClass::new(lead.midi)));
    let held_to = HeldTo {
        technique,
        how: How::Stated,
        stated_for_four: None,
    };
    let judging = Judging {
        habits: Habits::default(),
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    let case = Case::new(around, held_to, None, judging);
    let mut found: Vec<Choice> = case
        .candidates(lead.midi, 0)
        .into_iter()
        .filter(|c| case.is_right_anywhere(c))
        .map(|c| {
            // A second under a held lead is legal and unloved; a short note that leads on takes a
            // passing chord rather than a tension.
            let crowded = held && matches!(c.voicing.as_slice(), [a, b, ..] if a - b == 2);
            let idle = passes && c.harmony.way == Way::Tension;
            // A b9 over its root is accepted, and not what one writes where the fifth can stand for it.
            let rub = c.harmony.way == Way::Tension && has_root_under_flat_nine(&c.harmony, &case);
            // A tension the symbol names is asked for.
            let unheard = if c.harmony.way <= Way::Tension {
                named
                    .iter()
                    .filter(|t| !c.harmony.classes().contains(t))
                    .count() as i32
            } else {
                0
            };
            Choice {
                names: c.harmony.names.to_vec(),
                way: c.harmony.way,
                label: c.harmony.label.to_string(),
                cost: c.cost
                    + if crowded { 4 } else { 0 }
                    + if idle { 6 } else { 0 }
                    + unheard * 5
                    + if rub { 10 } else { 0 },
                voicing: c.voicing,
            }
        })
        .collect();
    found.sort_by_key(|c| c.cost);
    found
}

/// Whether the root of the chord stands beside its b9.
fn has_root_under_flat_nine(harmony: &Harmonisation<'_>, case: &Case<'_>) -> bool {
    let root = case.chord().map(|c| c.root.class());
    let holds = |up: i16| root.is_some_and(|r| harmony.classes().contains(&r.plus(up)));
    holds(0) && holds(1)
}
