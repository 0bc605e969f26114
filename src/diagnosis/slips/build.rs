//! What several slips share: how far-fetched one voice is, and a slip made from a candidate.

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

impl Case<'_> {
    /// How far-fetched it is that one voice is off: least when only the octave is wrong, more when the
    /// chord has a place for the note found.
    pub(super) fn cost_of_one(&self, c: &Candidate<'_>, off: VoiceOff) -> i32 {
        if off.is_octave() {
            return c.bias + 6;
        }
        let at_home = self.frames.iter().any(|f| f.may_sound(off.found));
        let distance = i32::from((off.found - off.wanted).abs().min(12));
        c.bias * 2 + distance + if at_home { 6 } else { 0 }
    }

    /// The kind of slip that one voice off is.
    pub(super) fn kind_of_one(&self, c: &Candidate<'_>, off: VoiceOff) -> SlipKind {
        let doubling = self.technique.doubles_lead()
            && c.voicing
                .first()
                .is_some_and(|&lead| off.wanted == lead - 12);
        if doubling {
            return SlipKind::LeadDoubling;
        }
        if off.is_octave() {
            return SlipKind::WrongOctave;
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
            || c.harmony.way <= Way::Tension && self.chords.iter().any(|ch| ch.contains(class))
    }

    /// A slip from a candidate that was meant.
    pub(super) fn slip_from(&self, kind: SlipKind, meant: &Candidate<'_>) -> Slip {
        self.slip(kind, Some(&meant.harmony), &meant.voicing)
    }

    /// A slip from the voicing that was meant, in semitones from the top; empty where none is known.
    /// Other right voicings that are no further off stand behind it.
    pub(super) fn slip(
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
            let most = cost(expected).0 + 1;
            for c in self.candidates(lead, 0) {
                if c.right_when == RightWhen::Always
                    && *c.voicing != *expected
                    && cost(&c.voicing).0 <= most
                    && self.rub(&c, &c.voicing).is_none()
                {
                    others.push(c);
                }
            }
            others.sort_by_key(|c| (cost(&c.voicing), c.bias));
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
