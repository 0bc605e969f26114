//! What a lead note is for: chord note, passing note, neighbour, anticipation, tension ...
//!
//! Steps are one or two semitones, leaps three or more; a rest longer than a beat breaks the line.
//! Sources: published definitions of non-chord tones (Open Music Theory; jazz composition and
//! harmony course cards); the order of the tests: common practice, no source.

use crate::ground::time::Ticks;

/// A lead note with its neighbours in the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own about the line
pub struct LeadNote {
    /// Sounding semitones of the previous lead note, when no long rest lies between.
    pub previous: Option<i16>,
    /// Sounding semitones.
    pub midi: i16,
    /// Sounding semitones of the next lead note, when no long rest lies between.
    pub next: Option<i16>,
    /// The note after the next.
    pub after_next: Option<i16>,
    /// When it starts.
    pub onset: Ticks,
    /// When it stops sounding, ties followed.
    pub end: Ticks,
    /// It stands on a felt beat.
    pub strong: bool,
    /// The length of the felt beat here.
    pub beat: Ticks,
    /// Silence comes directly before it.
    pub after_rest: bool,
    /// Whether the previous note is a chord note of the chord in force at it.
    pub previous_stable: bool,
    /// Whether the next note is a chord note of the chord in force at it.
    pub next_stable: bool,
}

/// The functions of lead notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LeadFunction {
    /// A member of the chord, or a tension its symbol names.
    ChordNote,
    /// Belongs to the chord that comes.
    Anticipation,
    /// A chord note that comes after a rest on its beat, half a beat or a beat late.
    DelayedAttack,
    /// Prepared, struck or held on a strong beat, resolved down by step.
    Suspension,
    /// Held longer than a beat, left by leap, or resolved from strong to weak.
    Tension,
    /// First or second of two half steps in one direction to the target.
    DoubleChromatic,
    /// Above and below the target, in any order.
    Enclosure,
    /// Step in, step on, same direction.
    PassingNote,
    /// Step away and back.
    NeighbourNote,
    /// Left by step, come to by leap or after a rest.
    UnpreparedNeighbour,
    /// Leap in, step out against it, on a strong beat.
    Appoggiatura,
    /// Step in, leap out.
    EscapeTone,
    /// None of these.
    Unclassified,
}

impl LeadFunction {
    /// The trade's word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ChordNote => "chord note",
            Self::Anticipation => "anticipation",
            Self::DelayedAttack => "delayed attack",
            Self::Suspension => "suspension",
            Self::Tension => "tension",
            Self::DoubleChromatic => "double chromatic approach",
            Self::Enclosure => "enclosure",
            Self::PassingNote => "passing note",
            Self::NeighbourNote => "neighbour note",
            Self::UnpreparedNeighbour => "incomplete neighbour note",
            Self::Appoggiatura => "approach note on the beat",
            Self::EscapeTone => "escape tone",
            Self::Unclassified => "unclassified note",
        }
    }
}

const fn is_step(interval: i16) -> bool {
    matches!(interval.abs(), 1 | 2)
}

impl LeadNote {
    /// How long it sounds.
    pub fn duration(&self) -> Ticks {
        self.end - self.onset
    }

    /// Longer than a beat.
    pub fn is_long(&self) -> bool {
        self.duration() > self.beat
    }

    /// The interval to the next note in semitones, up positive.
    pub fn out(&self) -> Option<i16> {
        self.next.map(|n| n - self.midi)
    }

    /// The interval from the previous note in semitones, up positive.
    pub fn into(&self) -> Option<i16> {
        self.previous.map(|p| self.midi - p)
    }

    /// Short, and moves on by step: the shape of an approach note.
    pub fn approaches(&self) -> bool {
        !self.is_long() && self.out().is_some_and(is_step)
    }

    /// What a note that is no chord note (and no anticipation) is for.
    pub fn function(&self) -> LeadFunction {
        let (into, out) = (self.into(), self.out());
        let steps_out = out.is_some_and(is_step);
        if into == Some(0) && self.strong && matches!(out, Some(-1 | -2)) && self.previous_stable {
            return LeadFunction::Suspension;
        }
        if self.is_long() {
            return LeadFunction::Tension;
        }
        if let (Some(a), Some(b)) = (into, out)
            && a.abs() == 1
            && a == b
            && (self.next_stable || self.after_next.is_some_and(|n| n - self.midi == 2 * a))
        {
            return if self.next_stable && self.previous_stable {
                LeadFunction::PassingNote
            } else {
                LeadFunction::DoubleChromatic
            };
        }
        // First of a pair around its target: leaves by a third or less, the other resolves.
        if let (Some(next), Some(target)) = (self.next, self.after_next)
            && !self.next_stable
            && is_step(target - next)
            && is_step(target - self.midi)
            && (self.midi < target) != (next < target)
        {
            return LeadFunction::Enclosure;
        }
        match (into, out) {
            (Some(a), Some(b)) if is_step(a) && is_step(b) && (a > 0) == (b > 0) => {
                LeadFunction::PassingNote
            }
            (Some(a), Some(b)) if is_step(a) && is_step(b) => LeadFunction::NeighbourNote,
            (Some(a), Some(b))
                if a.abs() > 2 && is_step(b) && self.strong && (a > 0) != (b > 0) =>
            {
                LeadFunction::Appoggiatura
            }
            (_, Some(_)) if steps_out => LeadFunction::UnpreparedNeighbour,
            (Some(a), Some(b))
                if is_step(a) && b.abs() > 2 && (a > 0) != (b > 0) && !self.strong =>
            {
                LeadFunction::EscapeTone
            }
            (_, Some(b)) if b.abs() > 2 => LeadFunction::Tension,
            (_, Some(0)) => LeadFunction::Tension,
            _ => LeadFunction::Unclassified,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(previous: i16, midi: i16, next: i16) -> LeadNote {
        LeadNote {
            previous: Some(previous),
            midi,
            next: Some(next),
            after_next: None,
            onset: Ticks(6),
            end: Ticks(12),
            strong: false,
            beat: Ticks(12),
            after_rest: false,
            previous_stable: true,
            next_stable: true,
        }
    }

    #[test]
    fn shapes_have_their_names() {
        // Published: Open Music Theory, embellishing tones.
        assert_eq!(note(72, 74, 76).function(), LeadFunction::PassingNote);
        assert_eq!(note(72, 74, 72).function(), LeadFunction::NeighbourNote);
        assert_eq!(
            note(67, 74, 72).function(),
            LeadFunction::UnpreparedNeighbour
        );
        assert_eq!(note(72, 74, 67).function(), LeadFunction::EscapeTone);
        let strong = LeadNote {
            strong: true,
            ..note(67, 74, 72)
        };
        assert_eq!(strong.function(), LeadFunction::Appoggiatura);
        let held = LeadNote {
            end: Ticks(30),
            ..note(72, 74, 76)
        };
        assert_eq!(held.function(), LeadFunction::Tension);
        let suspended = LeadNote {
            strong: true,
            ..note(77, 77, 76)
        };
        assert_eq!(suspended.function(), LeadFunction::Suspension);
        assert!(note(72, 74, 76).approaches());
        assert!(!held.approaches());
    }

    #[test]
    fn a_pair_around_its_target_is_an_enclosure() {
        let first = LeadNote {
            next: Some(71),
            after_next: Some(72),
            next_stable: false,
            ..note(67, 74, 71)
        };
        assert_eq!(first.function(), LeadFunction::Enclosure);
    }
}
