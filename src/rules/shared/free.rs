//! What rules about free writing share: the block sonorities that no technique explains.

use super::remedies::remedies;
use super::wording;
use crate::diagnosis::{Fault, Verdict};
use crate::finding::{Finding, NoteAtFault};
use crate::ground::naming::Naming;
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use crate::rules::diagnosed::{DiagnosedScore, SonorityAt};
use crate::rules::rule::Rule;
use crate::score::{Change, Score};
use crate::sonority::lead::LeadNote;
use crate::sonority::{Sonority, voice_number};
use crate::voicing::{Colour, Frame};
use smallvec::SmallVec;

/// A block sonority with a chord symbol over it that is held to no technique.
pub struct FreeChord<'a> {
    /// Where it stands.
    pub at: SonorityAt<'a>,
    pub sonority: &'a Sonority,
    pub frame: Frame<'a>,
    pub lead: LeadNote,
    /// Concert key in fifths.
    pub key: i8,
    /// The colour of each voice's note.
    colours: SmallVec<[Colour; 5]>,
    /// How many voices sound each pitch class.
    sounding: [u32; 12],
}

/// Every chord of free writing: three voices or more struck together, not one note in octaves, not
/// an approach chord, and no slip explains any of it.
pub fn chords<'a>(diagnosed: &DiagnosedScore<'a>) -> Vec<FreeChord<'a>> {
    diagnosed
        .sonorities()
        .filter_map(|at| free(diagnosed, at))
        .collect()
}

fn free<'a>(diagnosed: &DiagnosedScore<'a>, at: SonorityAt<'a>) -> Option<FreeChord<'a>> {
    let sonority = at.sonority;
    if !at.is_block()
        || at.verdict() != Some(&Verdict::LeftAlone)
        || sonority.voices.iter().any(|v| diagnosed.is_claimed(v.note))
    {
        return None;
    }
    let first = sonority.voices.first()?.midi;
    if sonority.voices.iter().all(|v| (v.midi - first) % 12 == 0) {
        return None;
    }
    let lead = at.lead()?;
    let key = at.passage.key_at(diagnosed.score, sonority.onset);
    let frame = at.frame(diagnosed.score)?;
    if frame.chord.family() == crate::ground::chord::Family::Other {
        return None;
    }
    // A short lead note foreign to the chord brings its own chord along, a pedal lets others pass.
    let top = frame.colour(PitchClass::new(lead.midi));
    if !top.may_sound() && (lead.duration() <= lead.beat || sonority.under_held_lead) {
        return None;
    }
    // So does one that leads on, or moves on by the same step in every voice.
    if lead.duration() < lead.beat && lead.approaches()
        || lead.duration() <= lead.beat && lead.approaches() && is_diminished_seventh(sonority)
        || at.passage.moves_on_in_parallel(at.index, lead.beat)
    {
        return None;
    }
    let voices = sonority.voices.iter();
    let mut sounding = [0u32; 12];
    for voice in voices.clone() {
        if let Some(count) = sounding.get_mut(usize::from(voice.pitch.class().get().unsigned_abs()))
        {
            *count += 1;
        }
    }
    Some(FreeChord {
        at,
        sonority,
        sounding,
        colours: voices
            .map(|v| colour_among(&frame, v.pitch.class(), &sounding))
            .collect(),
        frame,
        lead,
        key,
    })
}

/// Whether the notes are a whole diminished seventh and nothing else: what passing notes bring along.
fn is_diminished_seventh(sonority: &Sonority) -> bool {
    let lead = sonority.voices.first().map_or(0, |v| v.midi);
    let mut degrees = [false; 4];
    sonority.voices.iter().all(|v| {
        let below = (lead - v.midi).rem_euclid(12);
        if let Some(degree) = degrees.get_mut(usize::from(below.unsigned_abs() / 3)) {
            *degree = true;
        }
        below % 3 == 0
    }) && degrees == [true; 4]
}

/// What a note is to a chord beside what else sounds: a #9 without the third is no tension but a third too
/// low.
fn colour_among(frame: &Frame<'_>, class: PitchClass, sounding: &[u32; 12]) -> Colour {
    let raised_ninth = class.above(frame.chord.root.class()) == 3;
    let third = frame.third().map(|t| usize::from(t.get().unsigned_abs()));
    let without = third.is_some_and(|t| sounding.get(t) == Some(&0));
    if frame.is_dominant() && raised_ninth && without && !frame.chord.has(9, 1) {
        return Colour::Foreign;
    }
    frame.colour(class)
}

impl FreeChord<'_> {
    /// Longer than a beat.
    pub fn is_held(&self) -> bool {
        self.lead.is_long()
    }

    /// The voices under the lead whose notes have this colour.
    pub fn coloured(&self, wanted: Colour) -> Vec<usize> {
        let under = self.colours.iter().enumerate().skip(1);
        under
            .filter(|(_, own)| **own == wanted)
            .map(|(i, _)| i)
            .collect()
    }

    /// How a pitch class is named in this chord.
    pub fn name(&self, class: PitchClass) -> NoteName {
        let chord = self.frame.chord;
        let more = crate::ground::chord::tensions_leading(chord.family(), self.frame.leads);
        let names: SmallVec<[NoteName; 16]> = chord
            .degrees
            .iter()
            .chain(&more.available)
            .chain(&more.conditional)
            .map(|d| d.over(chord.root))
            .collect();
        let naming = Naming {
            chord: &names,
            key: self.key,
        };
        let voices = &self.sonority.voices;
        naming.name(class, |name| voices.iter().any(|v| v.pitch.name() == name))
    }

    /// How many voices sound a pitch class.
    fn count(&self, class: PitchClass) -> u32 {
        self.sounding
            .get(usize::from(class.get().unsigned_abs()))
            .copied()
            .unwrap_or_default()
    }

    /// Whether another voice sounds the pitch class of this one.
    pub fn is_doubled(&self, index: usize) -> bool {
        let voice = self.sonority.voices.get(index);
        voice.is_some_and(|v| self.count(v.pitch.class()) > 1)
    }

    fn pitch(&self, midi: i16) -> Pitch {
        Pitch::named(self.name(PitchClass::new(midi)), midi)
            .unwrap_or_else(|| Pitch::in_key(midi, self.key))
    }

    /// Notes that could stand for a voice: near it, between its neighbours, chord notes that are
    /// missing first, then chord notes, then tensions.
    pub fn alternatives(&self, index: usize) -> Vec<Pitch> {
        let voices = &self.sonority.voices;
        let Some(own) = voices.get(index) else {
            return Vec::new();
        };
        let above = index
            .checked_sub(1)
            .and_then(|i| voices.get(i))
            .map_or(i16::MAX, |v| v.midi);
        let below = voices.get(index + 1).map_or(i16::MIN, |v| v.midi);
        let sounds = |class: PitchClass| self.count(class) > u32::from(own.pitch.class() == class);
        let guides: Vec<PitchClass> = self
            .frame
            .third()
            .into_iter()
            .chain(self.frame.sevenths())
            .collect();
        let mut found: Vec<(i16, i16)> = (own.midi - 5..=own.midi + 5)
            .filter(|&m| m != own.midi && m < above && m > below)
            .filter_map(|m| {
                let class = PitchClass::new(m);
                let rank = match self.frame.colour(class) {
                    Colour::Member if guides.contains(&class) && !sounds(class) => 0,
                    Colour::Member if !sounds(class) => 1,
                    Colour::Member => 4,
                    Colour::Available if !sounds(class) => 4,
                    _ => return None,
                };
                Some(((m - own.midi).abs() + rank, m))
            })
            .collect();
        found.sort_unstable();
        found.into_iter().map(|(_, m)| self.pitch(m)).collect()
    }

    /// A fault at a voice; the first alternative is what is expected.
    pub fn fault(&self, index: usize, expected: Option<Pitch>) -> Option<Fault> {
        let v = self.sonority.voices.get(index)?;
        Some(Fault {
            note: v.note,
            found: v.pitch,
            voice: voice_number(index),
            expected: expected.unwrap_or(v.pitch),
        })
    }

    /// The finding of a rule about some voices of this chord.
    pub fn finding(
        &self,
        score: &Score,
        rule: &Rule,
        message: String,
        faults: &[Fault],
        label: &str,
    ) -> Finding {
        let mut ways: Vec<Vec<Change>> = Vec::new();
        if let [one] = faults {
            let index = usize::from(one.voice).saturating_sub(1);
            ways.extend(self.alternatives(index).into_iter().take(5).map(|p| {
                vec![Change {
                    note: one.note,
                    sounding: p,
                }]
            }));
        } else {
            ways = remedies([&faults.to_vec()]);
        }
        let marks = faults.iter().map(|f| NoteAtFault {
            note: f.note,
            voice: f.voice,
            expected: (f.expected != f.found).then_some(f.expected),
            label: label.to_owned(),
        });
        rule.finding(self.sonority.at, message)
            .section(&self.at.passage.section.name)
            .chord(Some(&self.frame.chord.text))
            .mark(marks)
            .sounding(self.sonority.pitches())
            .suggestion(wording::instead(score, faults))
            .may_mend(ways)
    }
}
