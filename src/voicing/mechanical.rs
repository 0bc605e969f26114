//! The mechanical techniques: close position, voices dropped an octave, the lead doubled.

use super::Voicing;
use std::fmt;

/// A mechanical technique: which voices of close position (numbered from the top) go an
/// octave down, and whether the lead is doubled an octave below.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mechanical {
    /// Four voices inside an octave.
    FourWayClose,
    /// Close, the lead doubled an octave below.
    DoubledLead,
    /// The second voice an octave down.
    Drop2,
    /// The third voice an octave down.
    Drop3,
    /// The second and third voices an octave down.
    Drop23,
    /// The second and fourth voices an octave down.
    Drop24,
    /// Drop 2, the lead doubled an octave below.
    Drop2DoubledLead,
    /// Drop 3, the lead doubled an octave below.
    Drop3DoubledLead,
    /// Drop 2 and 3, the lead doubled an octave below.
    Drop23DoubledLead,
    /// Drop 2 and 4, the lead doubled an octave below.
    Drop24DoubledLead,
}

impl Mechanical {
    /// Those a passage may be written in.
    pub const ALL: [Self; 7] = [
        Self::FourWayClose,
        Self::DoubledLead,
        Self::Drop2,
        Self::Drop3,
        Self::Drop23,
        Self::Drop24,
        Self::Drop2DoubledLead,
    ];

    /// All of them and the rarer ones with a doubled lead, which explain slips.
    pub const EVERY: [Self; 10] = [
        Self::FourWayClose,
        Self::DoubledLead,
        Self::Drop2,
        Self::Drop3,
        Self::Drop23,
        Self::Drop24,
        Self::Drop2DoubledLead,
        Self::Drop3DoubledLead,
        Self::Drop23DoubledLead,
        Self::Drop24DoubledLead,
    ];

    /// The trade's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FourWayClose => "four-way close",
            Self::DoubledLead => "doubled lead",
            Self::Drop2 => "drop 2",
            Self::Drop3 => "drop 3",
            Self::Drop23 => "drop 2 & 3",
            Self::Drop24 => "drop 2 & 4",
            Self::Drop2DoubledLead => "drop 2 with doubled lead",
            Self::Drop3DoubledLead => "drop 3 with doubled lead",
            Self::Drop23DoubledLead => "drop 2 & 3 with doubled lead",
            Self::Drop24DoubledLead => "drop 2 & 4 with doubled lead",
        }
    }

    /// Reads a technique as people write it: over a staff, in a grid, on the command line.
    pub fn named(text: &str) -> Option<Self> {
        let lower = text.to_lowercase();
        let words: Vec<&str> = lower
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|w| {
                !w.is_empty()
                    && !matches!(
                        *w,
                        "and"
                            | "the"
                            | "with"
                            | "voicing"
                            | "voicings"
                            | "soli"
                            | "an"
                            | "octave"
                            | "below"
                            | "8vb"
                            | "in"
                    )
            })
            .collect();
        let joined = words.join(" ");
        let (base, doubled) = match joined
            .strip_suffix("doubled lead")
            .or_else(|| joined.strip_suffix("double lead"))
            .or_else(|| joined.strip_suffix("lead doubled"))
        {
            Some(base) => (base.trim().to_owned(), true),
            None => (joined, false),
        };
        Some(match (base.as_str(), doubled) {
            (
                "4 way close" | "four way close" | "4wc" | "close" | "close position" | "4 way"
                | "four part close" | "4 part close",
                false,
            ) => Self::FourWayClose,
            ("" | "4 way close" | "four way close" | "4wc" | "close", true)
            | ("block chords" | "locked hands" | "block", false)
            | ("4wc dl" | "double lead 4wc" | "doubled lead close", _) => Self::DoubledLead,
            ("drop 2" | "drop2" | "d2", false) => Self::Drop2,
            ("drop 3" | "drop3" | "d3", false) => Self::Drop3,
            ("drop 2 3" | "drop 2 drop 3" | "drop2 3" | "drop23" | "drop2 drop3", false) => {
                Self::Drop23
            }
            ("drop 2 4" | "drop 2 drop 4" | "drop2 4" | "drop24" | "drop2 drop4", false) => {
                Self::Drop24
            }
            ("drop 2" | "drop2" | "d2", true) => Self::Drop2DoubledLead,
            ("drop 3" | "drop3", true) => Self::Drop3DoubledLead,
            ("drop 2 3" | "drop23", true) => Self::Drop23DoubledLead,
            ("drop 2 4" | "drop24", true) => Self::Drop24DoubledLead,
            _ => return None,
        })
    }

    /// Which voices of close position go an octave down, numbered from 1 at the top.
    pub const fn drops(self) -> &'static [usize] {
        match self {
            Self::FourWayClose | Self::DoubledLead => &[],
            Self::Drop2 | Self::Drop2DoubledLead => &[2],
            Self::Drop3 | Self::Drop3DoubledLead => &[3],
            Self::Drop23 | Self::Drop23DoubledLead => &[2, 3],
            Self::Drop24 | Self::Drop24DoubledLead => &[2, 4],
        }
    }

    /// Whether the lead is doubled an octave below.
    pub const fn doubles_lead(self) -> bool {
        matches!(
            self,
            Self::DoubledLead
                | Self::Drop2DoubledLead
                | Self::Drop3DoubledLead
                | Self::Drop23DoubledLead
                | Self::Drop24DoubledLead
        )
    }

    /// How many voices it has.
    pub const fn voices(self) -> usize {
        if self.doubles_lead() { 5 } else { 4 }
    }

    /// The same drops for another number of voices: five voices double the lead, four do not.
    /// `None` when the trade has no such form.
    pub fn for_voices(self, voices: usize) -> Option<Self> {
        Self::EVERY
            .into_iter()
            .find(|t| t.voices() == voices && t.drops() == self.drops())
    }

    /// The voicing made from close position (four voices from the top).
    pub fn apply(self, close: &[i16]) -> Voicing {
        let drops = self.drops();
        let mut voicing: Voicing = close
            .iter()
            .enumerate()
            .map(|(i, &m)| if drops.contains(&(i + 1)) { m - 12 } else { m })
            .collect();
        if self.doubles_lead()
            && let Some(&lead) = close.first()
        {
            voicing.push(lead - 12);
        }
        voicing.sort_unstable_by(|a, b| b.cmp(a));
        voicing
    }

    /// What was done to close position, in words: for the reason given with a finding.
    pub const fn recipe(self) -> &'static str {
        match self {
            Self::FourWayClose => "no voice is dropped: four different notes inside an octave",
            Self::DoubledLead => {
                "close position, and the bottom voice doubles the lead an octave below"
            }
            Self::Drop2 => "the second voice of close position goes down an octave",
            Self::Drop3 => "the third voice of close position goes down an octave",
            Self::Drop23 => "the second and third voices of close position go down an octave",
            Self::Drop24 => "the second and fourth voices of close position go down an octave",
            Self::Drop2DoubledLead => {
                "the second voice of close position goes down an octave, and the voice above it doubles the lead an octave below"
            }
            Self::Drop3DoubledLead => {
                "the third voice goes down an octave, and the lead is doubled an octave below"
            }
            Self::Drop23DoubledLead => {
                "the second and third voices go down an octave, and the lead is doubled an octave below"
            }
            Self::Drop24DoubledLead => {
                "the second and fourth voices go down an octave, and the lead is doubled an octave below"
            }
        }
    }
}

impl fmt::Display for Mechanical {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_as_people_write_them() {
        for (text, want) in [
            ("drop 2", Mechanical::Drop2),
            ("Drop-2", Mechanical::Drop2),
            ("drop 2 & 4", Mechanical::Drop24),
            ("Drop 2 and 3", Mechanical::Drop23),
            ("4-way close", Mechanical::FourWayClose),
            ("four-way close", Mechanical::FourWayClose),
            ("four-way close, doubled lead", Mechanical::DoubledLead),
            ("block chords", Mechanical::DoubledLead),
            ("double lead", Mechanical::DoubledLead),
            ("drop 2 with doubled lead", Mechanical::Drop2DoubledLead),
            ("drop 2 + double lead", Mechanical::Drop2DoubledLead),
        ] {
            assert_eq!(Mechanical::named(text), Some(want), "{text}");
        }
        for t in Mechanical::EVERY {
            assert_eq!(Mechanical::named(t.name()), Some(t));
        }
        for text in ["", "unis.", "drop", "drop 5", "solo", "mf"] {
            assert_eq!(Mechanical::named(text), None, "{text}");
        }
    }

    #[test]
    fn spans_stay_in_the_trades_table() {
        // Computed from the definitions: spans in semitones over four-note qualities.
        let qualities = [
            [0, 4, 7, 9],
            [0, 3, 7, 10],
            [0, 4, 7, 10],
            [0, 3, 6, 9],
            [0, 4, 7, 11],
        ];
        for (t, low, high) in [
            (Mechanical::FourWayClose, 7, 11),
            (Mechanical::DoubledLead, 12, 12),
            (Mechanical::Drop2, 13, 17),
            (Mechanical::Drop3, 16, 20),
            (Mechanical::Drop23, 16, 20),
            (Mechanical::Drop24, 19, 23),
            (Mechanical::Drop2DoubledLead, 13, 17),
        ] {
            for q in qualities {
                for lead in q {
                    let classes: Vec<_> = q
                        .iter()
                        .map(|&c| crate::ground::pitch::PitchClass::new(c))
                        .collect();
                    let close = crate::voicing::close_position(72 + lead, &classes).unwrap();
                    let v = t.apply(&close);
                    let span = v[0] - v[v.len() - 1];
                    assert!((low..=high).contains(&span), "{t} {q:?} {lead}: {span}");
                }
            }
        }
    }
}
