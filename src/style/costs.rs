//! What the accounts of a passage cost, from `rules/diagnosis.toml`, which says what each one is.

use serde::Deserialize;
use std::sync::LazyLock;

/// All costs. They are points; a note a step off the right one costs 30.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Costs {
    /// What is unusual about a harmonisation in which nothing is wrong.
    pub harmony: HarmonyCosts,
    /// What a slip costs.
    pub slip: SlipCosts,
    /// Writing that no account explains.
    pub free: FreeCosts,
    /// Staying in a technique, and changing it.
    pub technique: TechniqueCosts,
    /// What a technique must be kept by.
    pub evidence: Evidence,
    /// How near a voicing of a form is.
    pub form: FormCosts,
    /// What a part must gain to be read other than it stands.
    pub hearing: HearingCosts,
    /// Habits of a passage.
    pub habit: HabitCosts,
    /// The margins of the levels.
    pub margin: Margins,
}

/// What is unusual about a harmonisation in which nothing is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct HarmonyCosts {
    pub other_chord: i32,
    pub tension: i32,
    pub named_tension_unheard: i32,
    pub lead_shut_out: i32,
    pub passing_diminished: i32,
    pub passing_diminished_under_member: i32,
    pub other_diminished: i32,
    pub second_reading: i32,
    pub tonic_of_dominant: i32,
    pub related_second: i32,
    pub dominant_approach: i32,
    pub dominant_inside: i32,
    pub parallel_approach: i32,
    pub tension_on_the_beat: i32,
    pub accented_tension: i32,
    pub complete: i32,
    pub complete_elsewhere: i32,
    pub technique_left_for_a_rub: i32,
    pub bottom_of_its_own: i32,
    pub five_note: i32,
    pub seat_exchanged: i32,
}

/// What a slip costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct SlipCosts {
    pub octave: i32,
    pub step: i32,
    pub leap: i32,
    pub at_home: i32,
    pub further_voice: i32,
    pub doubling: i32,
    pub doubling_far: i32,
    pub other_drop: i32,
    pub odd_drop: i32,
    pub passing_on_chord: i32,
    pub wrong_passing_chord: i32,
    pub chord_note_on_passing: i32,
    pub lead: i32,
    pub missed_change: i32,
    pub rub: i32,
    pub altered_tension: i32,
}

/// Writing that no account explains.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct FreeCosts {
    pub inferred: i32,
    pub stated: i32,
    pub writing: i32,
}

/// Staying in a technique, and changing it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct TechniqueCosts {
    pub change: i32,
    pub change_at_border: i32,
    pub change_to_free: i32,
    pub misfit: i32,
    pub unison: i32,
    pub octaves: i32,
    pub upper_structure: i32,
    pub five_note_soli: i32,
    pub fourths: i32,
    pub cluster: i32,
    pub triad_over_bass: i32,
    pub spread: i32,
    pub three_part: i32,
    pub two_part: i32,
}

/// What a technique must be kept by, in percent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct Evidence {
    pub is_one: usize,
    pub convicts: usize,
    pub leave_a_unison: usize,
}

/// How near a voicing of a form is, in semitones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct FormCosts {
    pub lead: i32,
    pub at_home: i32,
    pub octave: i32,
}

/// What a part must gain to be read other than it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct HearingCosts {
    pub each_chord: i32,
    pub all_chords: i32,
}

/// Habits of a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct HabitCosts {
    pub once: i32,
    pub diminished_beside: i32,
}

/// The margins of the levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the table says what each row is")]
pub struct Margins {
    pub clear: i32,
    pub thin: i32,
}

#[allow(
    clippy::expect_used,
    reason = "built-in data, proved by the test `the_costs_are_read`"
)]
static BUILT_IN: LazyLock<Costs> = LazyLock::new(|| {
    let table = include_str!(concat!(env!("OUT_DIR"), "/diagnosis.json"));
    serde_json::from_str(table).expect("built-in data")
});

impl Default for Costs {
    fn default() -> Self {
        *BUILT_IN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_costs_are_read() {
        let costs = Costs::default();
        assert_eq!(costs.slip.step, 30);
    }

    #[test]
    fn what_is_right_is_cheaper_than_every_slip() {
        let Costs { harmony, slip, .. } = Costs::default();
        let right = [
            harmony.tonic_of_dominant,
            harmony.related_second,
            harmony.dominant_approach,
            harmony.dominant_inside,
            harmony.parallel_approach,
            harmony.complete_elsewhere,
        ];
        let least = slip.rub.min(slip.other_drop).min(slip.altered_tension);
        assert!(right.iter().all(|c| *c < least), "{right:?} {least}");
    }
}
