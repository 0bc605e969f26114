//! What several slips share: what one voice off costs, and a slip made from a candidate.

use crate::diagnosis::account::{Meant, Reading, Says};
use crate::diagnosis::candidates::{Candidate, RightWhen};
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::{NamedVoicing, SlipBuilder, difference};
use crate::diagnosis::outcome::{Slip, SlipKind};
use crate::ground::pitch::PitchClass;
use crate::voicing::{Harmonisation, Way};

/// How many other right voicings stand behind the one that is expected.
const OTHERS: usize = 4;

/// One voice that sounds one note for another, in semitones.
#[derive(Clone, Copy)]
pub(super) struct VoiceOff {
    pub(super) found: i16,
    pub(super) wanted: i16,
}

impl VoiceOff {
    /// Only the octave is wrong.
    pub(super) const fn is_octave(self) -> bool {
        (self.found - self.wanted) % 12 == 0
    }
}

impl<'a> Case<'a> {
    /// What it costs that one voice is off: least when only the octave is wrong, more when the
    /// chord has a place for the note found and no other voice sounds it.
    pub(super) fn cost_of_voice(&self, off: VoiceOff) -> i32 {
        let costs = &self.judging.costs.slip;
        if off.is_octave() {
            return costs.octave;
        }
        let near = (off.found - off.wanted).abs() <= 2;
        let doubled = self
            .written
            .iter()
            .filter(|m| (**m - off.found) % 12 == 0)
            .count()
            > 1;
        let at_home = !doubled && self.frames.iter().any(|f| f.may_sound(off.found));
        let distance = if near { costs.step } else { costs.leap };
        distance + if at_home { costs.at_home } else { 0 }
    }

    /// What one voice off a candidate costs.
    pub(super) fn cost_of_one(&self, c: &Candidate<'_>, off: VoiceOff) -> i32 {
        let cost = if self.is_doubling(c, off) && !off.is_octave() {
            self.cost_of_doubling(off)
        } else {
            self.cost_of_voice(off)
        };
        c.cost + cost
    }

    /// What it costs that the voice that should double the lead has another note.
    pub(super) fn cost_of_doubling(&self, off: VoiceOff) -> i32 {
        let costs = &self.judging.costs.slip;
        let far = (off.found - off.wanted).abs() > 2;
        costs.doubling + if far { costs.doubling_far } else { 0 }
    }

    /// Whether a voice off is the one that should double the lead.
    fn is_doubling(&self, c: &Candidate<'_>, off: VoiceOff) -> bool {
        self.technique.doubles_lead()
            && c.voicing
                .first()
                .is_some_and(|&lead| off.wanted == lead - 12)
    }

    /// The kind of slip that one voice off is.
    pub(super) fn kind_of_one(&self, c: &Candidate<'_>, off: VoiceOff) -> SlipKind {
        if off.is_octave() {
            return SlipKind::WrongOctave;
        }
        if self.is_doubling(c, off) {
            return SlipKind::LeadDoubling;
        }
        if self.belongs(c, PitchClass::new(off.found)) {
            return c
                .harmony
                .name_of(PitchClass::new(off.wanted))
                .map_or(SlipKind::WrongNote, SlipKind::DoubledNote);
        }
        SlipKind::WrongNote
    }

    /// Whether a note is one of a candidate's, or of the chord where that stands under the lead.
    pub(super) fn belongs(&self, c: &Candidate<'_>, class: PitchClass) -> bool {
        c.harmony.classes().contains(&class)
            || c.harmony.way <= Way::Tension
                && self
                    .chords
                    .get(c.chord)
                    .is_some_and(|ch| ch.contains(class))
    }

    /// The reading that a candidate was meant.
    pub(super) fn meant(kind: SlipKind, meant: &Candidate<'a>, cost: i32) -> Reading<'a> {
        Reading {
            cost,
            says: Says::Slip(Meant {
                kind,
                harmony: Some(meant.harmony),
                voicing: meant.voicing.clone(),
            }),
            chord: meant.chord,
            approach: None,
        }
    }

    /// A slip from the voicing that was meant, in semitones from the top; empty where none is known.
    /// Other right voicings that are no further off stand behind it.
    pub(in crate::diagnosis) fn slip(
        &self,
        kind: SlipKind,
        harmony: Option<&Harmonisation<'_>>,
        expected: &[i16],
    ) -> Slip {
        let mut others: Vec<Candidate<'_>> = Vec::new();
        let cost = |v: &[i16]| {
            let moved: i16 = v
                .iter()
                .zip(&self.written)
                .map(|(a, b)| (a - b).abs())
                .sum();
            (difference(&self.written, v).extra.len(), moved)
        };
        if let Some(&lead) = expected.first() {
            let most = cost(expected).0;
            for c in self.candidates(lead, 0) {
                if c.right_when == RightWhen::Always
                    && *c.voicing != *expected
                    && cost(&c.voicing).0 <= most
                    && self.rub(&c, &c.voicing).is_none()
                {
                    others.push(c);
                }
            }
            others.sort_by_key(|c| (cost(&c.voicing), c.cost));
            others.dedup_by(|a, b| a.voicing == b.voicing);
            others.truncate(OTHERS);
        }
        let others: Vec<NamedVoicing<'_>> = others
            .iter()
            .map(|c| NamedVoicing {
                voicing: &c.voicing,
                names: &c.harmony.names,
                label: Some(c.harmony.label),
            })
            .collect();
        let expected = NamedVoicing {
            voicing: expected,
            names: harmony.map_or(&[], |h| &h.names),
            label: harmony.map(|h| h.label),
        };
        let builder = SlipBuilder {
            sonority: self.sonority,
            key: self.key,
        };
        builder.slip(kind, &expected, &others)
    }
}
