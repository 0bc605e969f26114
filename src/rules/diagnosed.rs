//! A score with its diagnosed passages: the facts that every rule looks at.

use super::rule::Rule;
use crate::diagnosis::{Diagnosis, How, Passage, Slip, SlipKind, Verdict, frame_at};
use crate::ground::instrument::Property;
use crate::ground::time::Ticks;
use crate::score::{Note, NoteRef, Score};
use crate::sonority::Sonority;
use crate::sonority::lead::LeadNote;
use crate::style::Style;
use crate::voicing::{Frame, Technique};
use rustc_hash::FxHashSet;
use std::ops::Range;

/// A score, the style it is held to, and its diagnosed passages.
pub struct DiagnosedScore<'a> {
    /// The score.
    pub score: &'a Score,
    /// The house style.
    pub style: &'a Style,
    /// Each section's sonorities and their diagnoses.
    pub passages: &'a [Passage],
    /// Only these bars (0-based) are looked at; all when `None`.
    pub(super) bars: Option<Range<u32>>,
    /// The notes that a reported slip explains.
    pub(super) claimed: FxHashSet<NoteRef>,
}

impl<'a> DiagnosedScore<'a> {
    /// The notes of a part in the bars looked at, with their index.
    pub fn notes(&self, part: u32) -> impl Iterator<Item = (u32, &'a Note)> + use<'a> {
        let notes = self
            .score
            .parts
            .get(part as usize)
            .map_or(&[][..], |p| &p.notes);
        let (from, to) = self.bars.as_ref().map_or((0, notes.len()), |b| {
            (
                notes.partition_point(|n| n.at.bar < b.start),
                notes.partition_point(|n| n.at.bar < b.end),
            )
        });
        notes
            .iter()
            .enumerate()
            .take(to)
            .skip(from)
            .map(|(i, n)| (i as u32, n))
    }

    /// Whether only a few bars are looked at, again, after notes have changed their pitch.
    pub fn is_recheck(&self) -> bool {
        self.bars.is_some()
    }

    /// A setting of a rule, as the style has it or as the rule does.
    pub fn setting(&self, rule: &Rule, name: &str) -> f64 {
        self.style.setting(rule.name, name).unwrap_or_else(|| {
            rule.settings
                .iter()
                .find(|s| s.name == name)
                .map_or(0.0, |s| s.default)
        })
    }

    /// Whether a slip explains this note.
    pub fn is_claimed(&self, note: NoteRef) -> bool {
        self.claimed.contains(&note)
    }

    /// "3-and": the beat of a time.
    pub fn beat_of(&self, onset: Ticks) -> String {
        self.score.beat_at(self.score.place_of(onset)).to_string()
    }

    /// Every sonority of every passage.
    pub fn sonorities(&self) -> impl Iterator<Item = SonorityAt<'a>> + use<'a> {
        self.passages.iter().flat_map(|passage| {
            let all = passage.sonorities.iter().enumerate();
            all.map(move |(index, sonority)| SonorityAt {
                passage,
                index,
                sonority,
            })
        })
    }

    /// Whether the score has chord symbols or instruments of a band: its sections move as one. Winds of an
    /// orchestra go their own ways now and then.
    pub fn is_charted(&self) -> bool {
        let mut members = self.passages.iter().flat_map(|p| &p.section.parts);
        self.score.chords.iter().any(|m| m.value.chord.is_some())
            || members.any(|m| m.instrument.is_some_and(|i| i.is(Property::Band)))
    }

    /// Every sonority that a slip explains, but for a part with a line of its own beside a doubled one.
    pub fn slips(&self) -> impl Iterator<Item = SlipAt<'a>> + use<'a> {
        let score = self.score;
        self.sonorities().filter_map(move |at| {
            let diagnosis = at.passage.diagnoses.get(at.index)?;
            match &diagnosis.verdict {
                Verdict::Slip(slip)
                    if !has_own_line(&at, diagnosis, slip)
                        && !is_keyboard_music(score, &at, diagnosis) =>
                {
                    Some(SlipAt {
                        place: at,
                        diagnosis,
                        slip,
                    })
                }
                _ => None,
            }
        })
    }

    /// Every sonority that a slip of this kind explains.
    pub fn slips_of(&self, kind: SlipKind) -> impl Iterator<Item = SlipAt<'a>> + use<'a> {
        self.slips().filter(move |at| at.slip.kind == kind)
    }
}

/// Chords to either side in which a part with a line of its own shows it.
const NEAR: usize = 4;

/// Of these chords, those in which it is off as well.
const OFF_TOO: usize = 2;

/// Whether the others are in unison or octaves by inference, and the part at fault goes its own way
/// around this place too.
fn has_own_line(at: &SonorityAt<'_>, diagnosis: &Diagnosis, slip: &Slip) -> bool {
    let inferred = |d: &Diagnosis| {
        d.technique.is_some_and(|t| {
            t.how == How::Inferred && matches!(t.technique, Technique::Form(f) if f.is_doubling())
        })
    };
    let (Some(fault), true) = (slip.faults.first(), inferred(diagnosis)) else {
        return false;
    };
    let around = at.passage.stretch(at.index, NEAR);
    let others = around.filter(|i| *i != at.index);
    let off = others
        .filter_map(|i| at.passage.diagnoses.get(i))
        .filter(|d| match &d.verdict {
            Verdict::Slip(other) => {
                inferred(d) && other.faults.iter().any(|f| f.note.part == fault.note.part)
            }
            _ => false,
        });
    off.count() >= OFF_TOO
}

/// One player's chords without symbols, in a technique that nobody stated: hands fall into its shapes.
fn is_keyboard_music(score: &Score, at: &SonorityAt<'_>, diagnosis: &Diagnosis) -> bool {
    let symbol = score.chord_at(at.sonority.onset);
    at.passage.section.chordal
        && diagnosis.technique.is_some_and(|t| t.how == How::Inferred)
        && symbol.is_none_or(|m| m.value.chord.is_none())
}

/// A sonority and where it stands.
#[derive(Clone, Copy)]
pub struct SonorityAt<'a> {
    /// The passage of its section.
    pub passage: &'a Passage,
    /// 0-based index into the passage's sonorities.
    pub index: usize,
    /// The sonority itself.
    pub sonority: &'a Sonority,
}

impl<'a> SonorityAt<'a> {
    /// The verdict of its diagnosis.
    pub fn verdict(&self) -> Option<&'a Verdict> {
        self.passage.diagnoses.get(self.index).map(|d| &d.verdict)
    }

    /// The chord it was read under, with where it leads: the coming one where it anticipates that.
    pub fn frame<'s>(&self, score: &'s Score) -> Option<Frame<'s>> {
        let key = self.passage.key_at(score, self.sonority.onset);
        frame_at(score, self.read_at(), key)
    }

    /// A time at which the chord it was read under is in force.
    pub fn read_at(&self) -> Ticks {
        let diagnosis = self.passage.diagnoses.get(self.index);
        let under = diagnosis.and_then(|d| d.under);
        under.unwrap_or(self.sonority.onset)
    }

    /// Its lead note.
    pub fn lead(&self) -> Option<LeadNote> {
        self.passage.leads.get(self.index).copied().flatten()
    }

    /// Whether its voices are struck as one, in a phrase of such sonorities.
    pub fn is_block(&self) -> bool {
        self.sonority.is_block() && self.passage.is_block_phrase(self.index)
    }
}

/// A slip and where it stands.
#[derive(Clone, Copy)]
pub struct SlipAt<'a> {
    /// The sonority it explains.
    pub place: SonorityAt<'a>,
    /// The diagnosis of that sonority.
    pub diagnosis: &'a Diagnosis,
    /// The slip itself.
    pub slip: &'a Slip,
}
