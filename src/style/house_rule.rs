//! Rules of a house's own, read and checked.

use super::level::Level;
use super::origin::Origin;
use crate::condition::{Condition, MessagePiece, Player, Scope, lists_within_lists};

/// The voice at fault in a sonority.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum VoiceAt {
    /// 1-based from the top; 1 is the lead.
    FromTop(u8),
    /// The bottom voice.
    Bottom,
    /// A player's.
    Of(Player),
}

/// A way to mend a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MendBy {
    /// By octaves, up or down.
    Octaves(i8),
    /// To the nearest note of this degree of the chord; without an alteration, as the chord has it.
    Degree {
        /// 1 to 13.
        number: u8,
        /// Semitones against the major scale.
        alter: Option<i8>,
    },
}

/// A rule of the house's own.
#[derive(Clone, Debug, PartialEq)]
pub struct HouseRule {
    /// Its name.
    pub name: &'static str,
    /// The things it looks at.
    pub scope: Scope,
    /// Its level; `None` when it is off until a style has it on.
    pub level: Option<Level>,
    /// When something is wrong, as it is written.
    pub when: String,
    /// The same, checked.
    pub condition: Condition,
    /// Its message, as it is written.
    pub said: String,
    /// The same, in pieces.
    pub message: Vec<MessagePiece>,
    /// Why.
    pub why: Option<String>,
    /// Where it comes from.
    pub source: Option<&'static str>,
    /// The voice at fault, in a sonority.
    pub voice: Option<(String, VoiceAt)>,
    /// Possible fixes, as they are written and as they are meant, the best first.
    pub fix: Vec<(String, MendBy)>,
    /// Its place in the style file.
    pub origin: Origin,
}

/// How often a rule looks at values of lists within lists.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ListLooks {
    lists: u32,
    values: u64,
}

impl ListLooks {
    /// How many values are looked at where a list has so many.
    pub fn at(self, length: usize) -> u64 {
        (length as u64)
            .saturating_pow(self.lists)
            .saturating_mul(self.values)
    }
}

impl HouseRule {
    /// The looks of its condition and its message; `None` where no list is looked through within another.
    pub fn list_looks(&self) -> Option<ListLooks> {
        let lists = lists_within_lists(&self.when).max(lists_within_lists(&self.said));
        let values = 1 + self.said.matches('{').count() as u64;
        (lists > 1 && self.scope == Scope::Sonority).then_some(ListLooks { lists, values })
    }
}
