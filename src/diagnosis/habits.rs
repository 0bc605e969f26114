//! Ways of harmonising approach notes that are a writer's choice for a whole passage.

use crate::style::Costs;

/// How an approach note is harmonised, for counting habits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ApproachHarmony {
    /// On a diminished seventh.
    Diminished,
    /// On the chord that prevails.
    ChordIsKept,
}

/// The habits of a passage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Habits {
    /// The chord is kept under passing notes.
    pub keeps_chord: bool,
}

impl Habits {
    /// The habits that make the passage's account cheaper than it is without: a habit costs once, and
    /// each diminished seventh beside it a little; a slip costs each time.
    pub(super) fn cheapest(seen: impl IntoIterator<Item = ApproachHarmony>, costs: &Costs) -> Self {
        let (mut diminished, mut kept) = (0, 0);
        for harmony in seen {
            match harmony {
                ApproachHarmony::Diminished => diminished += 1,
                ApproachHarmony::ChordIsKept => kept += 1,
            }
        }
        let with = costs.habit.once + diminished * costs.habit.diminished_beside;
        Self {
            keeps_chord: kept * costs.slip.passing_on_chord > with,
        }
    }
}

/// What a passage is judged by, beside its notes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judging<'a> {
    /// The habits it has.
    pub(super) habits: Habits,
    /// The style wants the diminished seventh under passing notes, and nothing else.
    pub(super) only_diminished: bool,
    /// What accounts cost.
    pub(super) costs: &'a Costs,
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::iter::repeat_n;

    fn keeps(kept: usize, diminished: usize) -> bool {
        let seen = repeat_n(ApproachHarmony::ChordIsKept, kept)
            .chain(repeat_n(ApproachHarmony::Diminished, diminished));
        Habits::cheapest(seen, &Costs::default()).keeps_chord
    }

    #[test]
    fn one_case_is_no_habit_and_two_are() {
        assert!(!keeps(1, 0));
        assert!(keeps(2, 0));
    }

    #[test]
    fn two_among_many_diminished_sevenths_are_no_habit() {
        assert!(!keeps(2, 10));
        assert!(keeps(3, 2));
    }
}
