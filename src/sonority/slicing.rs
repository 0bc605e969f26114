//! Vertical slices of a section in exact time.

use super::Section;
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use crate::score::NoteRef;
use crate::score::{NoteFlags, Place, Score};
use rustc_hash::FxHashMap;
use smallvec::SmallVec;
use std::collections::VecDeque;

/// One sounding voice of a sonority.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Voice {
    /// The note that was attacked (the first of a tied chain).
    pub note: NoteRef,
    /// The part's place in its section from the top, 0-based; the last number for all from there down.
    pub seat: u16,
    /// Sounding pitch.
    pub pitch: Pitch,
    /// Sounding pitch in semitones (C4 is 60).
    pub midi: i16,
    /// It starts here; otherwise it is held from before.
    pub attacked: bool,
    /// When it stops sounding, ties followed.
    pub end: Ticks,
}

/// The voices of a sonority: as many as most sections have stand in it, more beside it.
pub type Voices = SmallVec<[Voice; 5]>;

/// All that a section sounds at one onset.
#[derive(Clone, Debug, PartialEq)]
pub struct Sonority {
    /// When it starts.
    pub onset: Ticks,
    /// When the next one starts or its last voice stops.
    pub end: Ticks,
    /// Bar and offset of the onset.
    pub at: Place,
    /// The voices by sounding pitch from the top; equal pitches by seat.
    pub voices: Voices,
    /// The chord changes here under a held lead, and voices below it are struck; what else is held
    /// has a place in the new chord or doubles the lead. Known once a passage is read, not by slicing.
    pub under_held_lead: bool,
}

impl Sonority {
    /// Whether its voices move as one: three or more, all attacked here, or all that have to move
    /// with the chord under a held lead.
    pub fn is_block(&self) -> bool {
        self.voices.len() >= 3 && (self.under_held_lead || self.voices.iter().all(|v| v.attacked))
    }

    /// Takes the pitches of its voices from the score again, where notes have changed.
    pub fn read_again(&mut self, score: &Score) {
        for voice in &mut self.voices {
            let note = score
                .parts
                .get(voice.note.part as usize)
                .and_then(|p| p.notes.get(voice.note.note as usize));
            if let Some(note) = note {
                voice.pitch = note.sounding;
                voice.midi = note.sounding.midi();
            }
        }
        self.voices.sort_by_key(|v| (-v.midi, v.seat));
    }

    /// Sounding semitones from the top.
    pub fn midi(&self) -> SmallVec<[i16; 8]> {
        self.voices.iter().map(|v| v.midi).collect()
    }

    /// Sounding pitches from the top.
    pub fn pitches(&self) -> Vec<Pitch> {
        self.voices.iter().map(|v| v.pitch).collect()
    }
}

/// The number of the voice at this place from the top: 1-based, 255 for all from there down.
pub fn voice_number(index: usize) -> u8 {
    u8::try_from(index.saturating_add(1)).unwrap_or(u8::MAX)
}

/// A note with its ties followed.
struct Tone {
    onset: Ticks,
    voice: Voice,
}

fn tones(score: &Score, section: &Section) -> Vec<Tone> {
    let members = section.parts.iter();
    let notes = members.filter_map(|m| Some(score.parts.get(m.part as usize)?.notes.len()));
    let mut all: Vec<Tone> = Vec::with_capacity(notes.fold(0, usize::saturating_add));
    for (seat, member) in section.parts.iter().enumerate() {
        let Some(part) = score.parts.get(member.part as usize) else {
            continue;
        };
        // Notes tied on, still waiting for their continuation, by their pitch and end: index into `all`.
        let mut open: FxHashMap<(i16, Ticks), VecDeque<usize>> = FxHashMap::default();
        for (index, note) in part.notes.iter().enumerate() {
            if !note.sounds() || note.duration <= Ticks::ZERO || !section.plays_at(note.onset) {
                continue;
            }
            let midi = note.sounding.midi();
            let continued = if note.flags.has(NoteFlags::TIED_IN) {
                let waiting = open.get_mut(&(midi, note.onset));
                waiting.and_then(VecDeque::pop_front)
            } else {
                None
            };
            let at = if let Some(at) = continued {
                if let Some(tone) = all.get_mut(at) {
                    tone.voice.end = note.end();
                }
                at
            } else {
                all.push(Tone {
                    onset: note.onset,
                    voice: Voice {
                        note: NoteRef {
                            part: member.part,
                            note: index as u32,
                        },
                        seat: u16::try_from(seat).unwrap_or(u16::MAX),
                        pitch: note.sounding,
                        midi,
                        attacked: true,
                        end: note.end(),
                    },
                });
                all.len() - 1
            };
            if note.flags.has(NoteFlags::TIED_OUT) {
                open.entry((midi, note.end())).or_default().push_back(at);
            }
        }
    }
    all.sort_by_key(|t| (t.onset, t.voice.seat, t.voice.note));
    all
}

/// The sonorities of a section where it plays together: one for each onset at which at least one of its
/// parts attacks.
pub fn slice(score: &Score, section: &Section) -> Vec<Sonority> {
    let tones = tones(score, section);
    let onsets = tones.chunk_by(|a, b| a.onset == b.onset).count();
    let mut sonorities: Vec<Sonority> = Vec::with_capacity(onsets);
    let mut sounding: Vec<Voice> = Vec::new();
    let mut next = 0;
    while let Some(onset) = tones.get(next).map(|t| t.onset) {
        sounding.retain(|v| v.end > onset);
        for voice in &mut sounding {
            voice.attacked = false;
        }
        while let Some(tone) = tones.get(next).filter(|t| t.onset == onset) {
            sounding.push(tone.voice);
            next += 1;
        }
        let mut voices = Voices::from_slice(&sounding);
        voices.sort_by_key(|v| (-v.midi, v.seat));
        let last = voices.iter().map(|v| v.end).max().unwrap_or(onset);
        let end = tones.get(next).map_or(last, |t| t.onset.min(last));
        sonorities.push(Sonority {
            onset,
            end,
            at: score.place_of(onset),
            under_held_lead: false,
            voices,
        });
    }
    // Where a member is left out nobody knows what it should have.
    let out = score.left_out(|part| section.parts.iter().any(|m| m.part == part));
    if !out.is_empty() {
        sonorities.retain(|s| !out.iter().any(|range| range.contains(&s.onset)));
    }
    sonorities
}

/// Sonorities of a lead by itself, cut at times at which the chord changes under it.
pub fn cut(score: &Score, sonorities: Vec<Sonority>, at: &[Ticks]) -> Vec<Sonority> {
    let mut all = Vec::with_capacity(sonorities.len() + at.len());
    for mut rest in sonorities {
        let (from, to) = (rest.onset, rest.end);
        for &onset in at.iter().filter(|t| from < **t && **t < to) {
            let mut held = rest.clone();
            held.onset = onset;
            held.at = score.place_of(onset);
            held.under_held_lead = true;
            for voice in &mut held.voices {
                voice.attacked = false;
            }
            rest.end = onset;
            all.push(std::mem::replace(&mut rest, held));
        }
        all.push(rest);
    }
    all
}
