//! Ranges at written pitch, and how a note lies in them.

use super::Instrument;
use crate::ground::pitch::{Pitch, Step};
use serde::Deserialize;

/// A range that a common addition to the instrument gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Extension {
    /// Lowest and highest note with it, written pitch.
    pub range: (Pitch, Pitch),
    /// What it is: "high F# key".
    pub name: String,
    /// Nearly every instrument in use has it, so nothing need be said of it.
    pub usual: bool,
}

/// What is awkward about a register.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RegisterKind {
    /// Notes cannot start softly, and answer late.
    NoSoftStart,
    /// Slurs between the lower and the upper note of it change register.
    Break,
    /// Thin or dull: easily covered.
    Weak,
    /// Never soft.
    Thick,
    /// Not safe in section parts.
    Insecure,
    /// Out of tune on most instruments.
    OutOfTune,
    /// Not there without an addition.
    Missing,
    /// High enough to tire the player.
    Tiring,
}

/// A register that does not do everything, at written pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Register {
    /// Lowest and highest note.
    pub range: (Pitch, Pitch),
    /// What is awkward about it.
    pub kind: RegisterKind,
    /// The same in a sentence.
    pub about: String,
    /// Where it comes from.
    pub source: String,
}

/// What players of a school grade are asked for, at written pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GradeRange {
    /// The highest grade it holds for.
    pub to: u8,
    /// Lowest and highest note.
    pub range: (Pitch, Pitch),
    /// The same for the first seat.
    pub lead: Option<(Pitch, Pitch)>,
    /// Where it comes from.
    pub source: String,
}

/// Ranges at written pitch, each from lowest to highest note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ranges {
    /// What the instrument has at all; beyond it nothing sounds.
    pub possible: (Pitch, Pitch),
    /// What a professional player is asked for.
    pub professional: (Pitch, Pitch),
    /// What sounds well without effort.
    pub comfortable: Option<(Pitch, Pitch)>,
    /// What young players are asked for.
    pub school: Option<(Pitch, Pitch)>,
    /// What a common addition gives.
    pub extension: Option<Extension>,
    /// What replaces `professional` in seat 1.
    pub lead: Option<(Pitch, Pitch)>,
}

impl Ranges {
    /// The range of instruments that have none in the table: all notes.
    pub(super) const OPEN: (Pitch, Pitch) = (Pitch::new(Step::C, 0, -1), Pitch::new(Step::G, 0, 9));

    /// Whether the table says which notes the instrument has.
    pub fn is_known(&self) -> bool {
        self.possible != Self::OPEN
    }
}

/// How a written note lies on an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RangeVerdict<'a> {
    /// In the comfortable range (or in the professional one, when no narrower one is known).
    Comfortable,
    /// In the professional range.
    Professional,
    /// Only with an addition that not every instrument has.
    Extension {
        /// What it is: "F attachment".
        name: &'a str,
        /// The last note without it on that side, written pitch.
        limit: Pitch,
    },
    /// Beyond the professional range, but some players have it.
    Stretched {
        /// The professional range's end on that side, written pitch.
        limit: Pitch,
    },
    /// The instrument does not have it.
    Impossible {
        /// The last note it has on that side, written pitch.
        limit: Pitch,
    },
}

pub(super) fn holds(range: (Pitch, Pitch), midi: i16) -> bool {
    (range.0.midi()..=range.1.midi()).contains(&midi)
}

impl Instrument {
    /// How a note lies for a player in a seat (1 is the lead); `midi` is its written pitch in semitones.
    pub fn judge_range(&self, midi: i16, seat: Option<u8>) -> RangeVerdict<'_> {
        let professional = match (seat, self.range.lead) {
            (Some(1), Some(lead)) => lead,
            _ => self.range.professional,
        };
        let beyond = |range: (Pitch, Pitch)| {
            if midi < range.0.midi() {
                range.0
            } else {
                range.1
            }
        };
        if self
            .range
            .comfortable
            .map_or_else(|| holds(professional, midi), |r| holds(r, midi))
        {
            return RangeVerdict::Comfortable;
        }
        if holds(professional, midi) {
            return RangeVerdict::Professional;
        }
        if let Some(extension) = &self.range.extension
            && holds(extension.range, midi)
        {
            return if extension.usual {
                RangeVerdict::Professional
            } else {
                RangeVerdict::Extension {
                    name: &extension.name,
                    limit: beyond(professional),
                }
            };
        }
        if holds(self.range.possible, midi) {
            return RangeVerdict::Stretched {
                limit: beyond(professional),
            };
        }
        // What an extension reaches beyond everything else is the last note there is.
        let reach = self
            .range
            .extension
            .as_ref()
            .map_or(self.range.possible, |e| outer(self.range.possible, e.range));
        RangeVerdict::Impossible {
            limit: beyond(reach),
        }
    }

    /// What players of a school grade (1 to 6) are asked for in a seat, at written pitch. Grades that
    /// have no range of their own: 1 and 2 the school range, 3 and 4 the comfortable one, from 5 on
    /// the professional one.
    pub fn graded(&self, grade: u8, seat: Option<u8>) -> (Pitch, Pitch) {
        let own = self.grades.iter().find(|g| grade <= g.to);
        if let Some(own) = own {
            return match (seat, own.lead) {
                (Some(1), Some(lead)) => lead,
                _ => own.range,
            };
        }
        let range = &self.range;
        match grade {
            1 | 2 => range.school.or(range.comfortable),
            3 | 4 => range.comfortable,
            _ => None,
        }
        .unwrap_or(match (seat, range.lead) {
            (Some(1), Some(lead)) => lead,
            _ => range.professional,
        })
    }
}

/// The range from the lower low to the higher high.
fn outer(a: (Pitch, Pitch), b: (Pitch, Pitch)) -> (Pitch, Pitch) {
    (
        if b.0.midi() < a.0.midi() { b.0 } else { a.0 },
        if b.1.midi() > a.1.midi() { b.1 } else { a.1 },
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::instrument::catalogue;

    fn p(text: &str) -> Pitch {
        text.parse().unwrap()
    }

    #[test]
    fn verdicts_on_ranges() {
        let named = |text| catalogue().named(text).unwrap();
        let alto = named("Alto Sax");
        assert_eq!(
            alto.judge_range(p("C5").midi(), None),
            RangeVerdict::Comfortable
        );
        assert_eq!(
            alto.judge_range(p("E6").midi(), None),
            RangeVerdict::Professional
        );
        // Nearly every alto has the key.
        assert_eq!(
            alto.judge_range(p("F#6").midi(), None),
            RangeVerdict::Professional
        );
        assert_eq!(
            alto.judge_range(p("G6").midi(), None),
            RangeVerdict::Impossible { limit: p("F#6") }
        );
        assert_eq!(
            alto.judge_range(p("A3").midi(), None),
            RangeVerdict::Impossible { limit: p("Bb3") }
        );
        let trumpet = named("Trumpet");
        assert_eq!(
            trumpet.judge_range(p("E6").midi(), Some(1)),
            RangeVerdict::Professional
        );
        assert_eq!(
            trumpet.judge_range(p("E6").midi(), Some(2)),
            RangeVerdict::Stretched { limit: p("C6") }
        );
        assert_eq!(
            trumpet.judge_range(p("Ab6").midi(), Some(1)),
            RangeVerdict::Stretched { limit: p("G6") }
        );
        assert_eq!(
            trumpet.judge_range(p("C#7").midi(), Some(1)),
            RangeVerdict::Impossible { limit: p("C7") }
        );
        let trombone = named("Trombone");
        assert_eq!(
            trombone.judge_range(p("D2").midi(), None),
            RangeVerdict::Extension {
                name: "F attachment",
                limit: p("E2")
            }
        );
        assert_eq!(
            trombone.judge_range(p("G1").midi(), None),
            RangeVerdict::Stretched { limit: p("E2") }
        );
        let piano = named("Piano");
        assert_eq!(
            piano.judge_range(p("C8").midi(), None),
            RangeVerdict::Comfortable
        );
        // Far outside any range.
        let far = Pitch::new(crate::ground::pitch::Step::B, 3, 9);
        assert_eq!(
            piano.judge_range(far.midi(), Some(255)),
            RangeVerdict::Impossible { limit: p("C8") }
        );
    }
}
