//! Ways of harmonising approach notes that are a writer's choice for a whole passage.

/// A way that is right only in a passage that keeps to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Habit {
    /// The chord kept under passing notes.
    SameChord,
    /// The dominant of an unchanged chord.
    Dominant,
}

/// How an approach note was harmonised, for counting habits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ApproachHarmony {
    /// On a diminished seventh.
    Diminished,
    /// By a habit.
    Habit(Habit),
}

/// How often a passage harmonises approach notes in each way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Habits {
    diminished: usize,
    same_chord: usize,
    dominant: usize,
}

impl Habits {
    /// Counts approach notes.
    pub(super) fn count(seen: impl IntoIterator<Item = ApproachHarmony>) -> Self {
        let mut habits = Self::default();
        for harmony in seen {
            match harmony {
                ApproachHarmony::Diminished => habits.diminished += 1,
                ApproachHarmony::Habit(Habit::SameChord) => habits.same_chord += 1,
                ApproachHarmony::Habit(Habit::Dominant) => habits.dominant += 1,
            }
        }
        habits
    }

    /// Whether the passage keeps to a habit: at least twice, and more often than to the diminished way.
    pub(super) fn allow(self, habit: Habit) -> bool {
        let n = match habit {
            Habit::SameChord => self.same_chord,
            Habit::Dominant => self.dominant,
        };
        n >= 2 && n > self.diminished
    }

    /// Whether the passage keeps to any habit.
    pub(super) fn allow_any(self) -> bool {
        self.allow(Habit::SameChord) || self.allow(Habit::Dominant)
    }
}

/// What a passage is judged by, beside its notes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judging {
    /// The habits it keeps to.
    pub(super) habits: Habits,
    /// The style wants the diminished seventh under passing notes, and nothing else.
    pub(super) only_diminished: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_case_is_no_habit_and_two_are() {
        let kept = ApproachHarmony::Habit(Habit::SameChord);
        let of = |n| Habits::count(std::iter::repeat_n(kept, n));
        assert!(!of(1).allow(Habit::SameChord));
        assert!(of(2).allow(Habit::SameChord));
        assert!(!of(2).allow(Habit::Dominant));
    }

    #[test]
    fn the_diminished_way_as_often_leaves_no_habit() {
        let kept = ApproachHarmony::Habit(Habit::Dominant);
        let diminished = ApproachHarmony::Diminished;
        let even = Habits::count([kept, diminished, kept, diminished]);
        assert!(!even.allow(Habit::Dominant));
        assert!(Habits::count([kept, diminished, kept, kept, diminished]).allow(Habit::Dominant));
    }
}
