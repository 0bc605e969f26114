//! Building a slip: which notes are at fault, who has to play what, how it is spelled.

use super::outcome::{Fault, Slip, SlipKind};
use crate::ground::naming::Naming;
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use crate::sonority::{Sonority, voice_number};
use crate::style::Level;
use crate::voicing::{Label, Semitones};

/// A right voicing with the names of its notes.
#[derive(Clone, Copy)]
pub(super) struct NamedVoicing<'a> {
    /// Sounding semitones from the top; empty when nothing better is known.
    pub(super) voicing: &'a [i16],
    /// How its notes are named.
    pub(super) names: &'a [NoteName],
    /// What the harmony is called.
    pub(super) label: Option<Label<'a>>,
}

/// A sonority that is not right, in its key (concert, in fifths).
pub(super) struct SlipBuilder<'a> {
    pub(super) sonority: &'a Sonority,
    pub(super) key: i8,
}

impl SlipBuilder<'_> {
    /// Builds the slip: which notes are at fault and how the right ones are spelled.
    pub(super) fn slip(
        &self,
        kind: SlipKind,
        expected: &NamedVoicing<'_>,
        others: &[NamedVoicing<'_>],
    ) -> Slip {
        let spell = |midi: i16| self.spell(midi, expected.names);
        let by_seat = self.by_seat(expected.voicing, &spell);
        let by_pitch = self.by_pitch(kind, expected.voicing, &spell);
        // The seats say which part left its own voice when they need no more notes for it than the
        // pitches do, or the pitches would make parts cross that do not; another drop is the fault of the
        // voice that was (or was not) dropped.
        let seats_say = !matches!(kind, SlipKind::OtherDrop(_))
            && !by_seat.is_empty()
            && (by_seat.len() == by_pitch.len() || self.makes_cross(&by_pitch));
        let mut faults = if seats_say { by_seat.clone() } else { by_pitch };
        // Another voicing is taken up seat by seat, or the voices would cross.
        let anew = matches!(kind, SlipKind::OtherDrop(_) | SlipKind::MinorNinth(..));
        if matches!(kind, SlipKind::MinorNinth(..)) {
            for fault in &mut faults {
                let own = by_seat.iter().find(|s| s.note == fault.note);
                *fault = own.copied().unwrap_or(*fault);
            }
        }
        let moves = if anew && !by_seat.is_empty() {
            by_seat
        } else {
            faults.clone()
        };
        // A fix makes no more changes than the slip did.
        let most = moves.len().max(faults.len());
        let mut remedies = vec![moves, faults.clone()];
        for other in others {
            let spell = |midi: i16| self.spell(midi, other.names);
            let by_seat = self.by_seat(other.voicing, &spell);
            let way = if by_seat.is_empty() {
                self.by_pitch(kind, other.voicing, &spell)
            } else {
                by_seat
            };
            if way.len() <= most {
                remedies.push(way);
            }
        }
        Slip {
            kind,
            harmony: expected.label.map(|l| l.to_string()),
            expected: expected.voicing.iter().map(|&m| spell(m)).collect(),
            faults,
            remedies,
            margin: 0,
            at_most: Level::Error,
            rests_on_technique: false,
        }
    }

    /// How a note that should sound is spelled: as it stands, as the harmony names it, as another
    /// octave of it stands, as the key has it.
    fn spell(&self, midi: i16, names: &[NoteName]) -> Pitch {
        if let Some(v) = self.sonority.voices.iter().find(|v| v.midi == midi) {
            return v.pitch;
        }
        let naming = Naming {
            chord: names,
            key: self.key,
        };
        let standing = || self.sonority.voices.iter().map(|v| v.pitch.name());
        let octave = || standing().find(|n| n.class() == PitchClass::new(midi));
        if names.iter().all(|n| n.class() != PitchClass::new(midi))
            && let Some(pitch) = octave().and_then(|name| Pitch::named(name, midi))
        {
            return pitch;
        }
        naming.pitch(midi, |name| standing().any(|n| n == name))
    }

    fn fault(&self, index: usize, voice: usize, expected: Pitch) -> Option<Fault> {
        self.sonority.voices.get(index).map(|v| Fault {
            note: v.note,
            found: v.pitch,
            voice: voice_number(voice),
            expected,
        })
    }

    /// Whether parts that stand in the order of their seats would not if these notes were put right.
    fn makes_cross(&self, faults: &[Fault]) -> bool {
        let now = |wanted: bool| {
            let mut seated: Vec<(u16, i16)> = self
                .sonority
                .voices
                .iter()
                .map(|v| {
                    let fault = faults.iter().find(|f| wanted && f.note == v.note);
                    (v.seat, fault.map_or(v.midi, |f| f.expected.midi()))
                })
                .collect();
            seated.sort_by_key(|(seat, _)| *seat);
            seated.is_sorted_by(|a, b| a.1 >= b.1)
        };
        now(false) && !now(true)
    }

    /// The parts that do not sound their seat's voice; empty where seats say nothing (one part with
    /// several notes, or nothing expected).
    fn by_seat(&self, expected: &[i16], spell: &impl Fn(i16) -> Pitch) -> Vec<Fault> {
        let voices = &self.sonority.voices;
        let mut seats: Vec<usize> = (0..voices.len()).collect();
        let seat = |i: &usize| voices.get(*i).map(|v| v.seat);
        seats.sort_by_key(seat);
        if voices.len() != expected.len()
            || seats
                .windows(2)
                .any(|w| matches!(w, [a, b] if seat(a) == seat(b)))
        {
            return Vec::new();
        }
        seats
            .iter()
            .zip(expected)
            .enumerate()
            .filter(|(_, (i, wanted))| voices.get(**i).map(|v| v.midi) != Some(**wanted))
            .filter_map(|(rank, (i, wanted))| self.fault(*i, rank, spell(*wanted)))
            .collect()
    }

    /// The notes that are not in the right voicing, each with the nearest one that is missing (the
    /// same note in another octave first).
    fn by_pitch(
        &self,
        kind: SlipKind,
        expected: &[i16],
        spell: &impl Fn(i16) -> Pitch,
    ) -> Vec<Fault> {
        let voices = &self.sonority.voices;
        if expected.is_empty() {
            let SlipKind::MinorNinth(upper, lower) = kind else {
                return Vec::new();
            };
            return [upper as usize, lower as usize]
                .into_iter()
                .filter_map(|i| self.fault(i, i, voices.get(i)?.pitch))
                .collect();
        }
        let Difference { extra, mut missing } = difference(&self.sonority.midi(), expected);
        let mut used = Vec::new();
        let mut faults = Vec::new();
        for found in extra {
            let index = (0..voices.len())
                .find(|i| !used.contains(i) && voices.get(*i).is_some_and(|v| v.midi == found));
            let nearest = missing
                .iter()
                .enumerate()
                .min_by_key(|(_, m)| ((found - **m) % 12 != 0, (found - **m).abs()))
                .map(|(i, _)| i);
            let (Some(index), Some(nearest)) = (index, nearest) else {
                continue;
            };
            used.push(index);
            let wanted = missing.swap_remove(nearest);
            let voice = expected.iter().position(|&m| m == wanted).unwrap_or(index);
            faults.extend(self.fault(index, voice, spell(wanted)));
        }
        faults.sort_by_key(|f| f.voice);
        faults
    }
}

/// How the notes written differ from a right voicing, in semitones, each counted as often as it stands.
pub(super) struct Difference {
    /// Written, and not in the right voicing.
    pub(super) extra: Semitones,
    /// In the right voicing, and not written.
    pub(super) missing: Semitones,
}

/// The difference between the notes written and a right voicing.
pub(super) fn difference(written: &[i16], right: &[i16]) -> Difference {
    let mut missing = Semitones::from_slice(right);
    let mut extra = Semitones::new();
    for &w in written {
        match missing.iter().position(|&m| m == w) {
            Some(i) => {
                missing.remove(i);
            }
            None => extra.push(w),
        }
    }
    Difference { extra, missing }
}
