//! The values of the names of each scope at one place of a score.

use super::facts::{ScoreFacts, rounded};
use super::value::FactValue;
use crate::condition::{DYNAMICS, Name, Player, Side, Var};
use crate::diagnosis::Passage;
use crate::ground::chord::Chord;
use crate::ground::instrument::Instrument;
use crate::ground::pitch::Pitch;
use crate::ground::time::{Beat, Ticks};
use crate::score::{Articulations, Note, NoteFlags, Part, Place, Score, in_force};
use crate::sonority::{SectionPart, Sonority, Voice};
use std::borrow::Cow;
use std::collections::HashMap;

/// A part in its section.
#[derive(Clone, Copy)]
pub(super) struct PartInSection<'r> {
    pub(super) passage: &'r Passage,
    pub(super) member: &'r SectionPart,
    pub(super) part: &'r Part,
}

impl<'r> PartInSection<'r> {
    pub(super) fn of(
        score: &'r Score,
        passage: &'r Passage,
        member: &'r SectionPart,
    ) -> Option<Self> {
        Some(Self {
            passage,
            member,
            part: score.parts.get(member.part as usize)?,
        })
    }

    fn instrument(&self) -> Option<&'static Instrument> {
        self.member.instrument
    }

    pub(super) fn value(&self, name: Name) -> FactValue<'r> {
        match name {
            Name::Part => FactValue::text(&self.part.name),
            Name::Instrument => FactValue::text(self.instrument().map_or("", |i| &i.name)),
            Name::Family => FactValue::text(self.instrument().map_or("", |i| i.family.as_str())),
            Name::Section => FactValue::text(&self.passage.section.name),
            Name::Seat => FactValue::Whole(self.member.seat.map_or(0, i64::from)),
            _ => FactValue::Missing,
        }
    }
}

/// A place where names have values.
pub(super) trait NameValues {
    /// The value that a condition asks for.
    fn value(&self, var: &Var) -> FactValue<'_>;

    /// The pitch behind it, spelled as it is written or sounds, for messages.
    fn pitch(&self, var: &Var) -> Option<Pitch>;

    /// The beat behind it, for messages.
    fn beat(&self, var: &Var) -> Option<Beat>;

    /// The concert key, to spell pitches that nobody wrote.
    fn key(&self) -> i8;
}

/// A note that is struck.
#[derive(Clone, Copy)]
pub(super) struct NoteView<'r> {
    pub(super) facts: &'r ScoreFacts<'r>,
    pub(super) in_section: PartInSection<'r>,
    /// The sonority it is struck in, and its place there from the top.
    pub(super) index: usize,
    pub(super) from_top: usize,
    pub(super) voice: &'r Voice,
    pub(super) note: &'r Note,
}

impl<'r> NoteView<'r> {
    fn named(&self, name: Name) -> FactValue<'r> {
        let (note, facts) = (self.note, self.facts);
        match name {
            Name::Written => FactValue::Whole(i64::from(note.written.midi())),
            Name::Sounding => FactValue::Whole(i64::from(note.sounding.midi())),
            Name::WrittenName => FactValue::Text(Cow::Owned(note.written.to_string())),
            Name::SoundingName => FactValue::Text(Cow::Owned(note.sounding.to_string())),
            Name::Duration => facts.beats(note.at.bar, self.voice.end - note.onset),
            Name::Articulations => FactValue::Texts(articulations(note.articulations)),
            Name::Dynamic => FactValue::Whole(loudness(self.in_section.part, note.onset)),
            Name::Tied => FactValue::Flag(note.flags.has(NoteFlags::TIED_OUT)),
            Name::Slurred => FactValue::Flag(facts.is_slurred(self.voice.note)),
            Name::ChordNote => FactValue::Flag(
                facts
                    .chord(note.onset)
                    .is_some_and(|c| c.contains(note.sounding.class())),
            ),
            Name::Degree => degree(facts.chord(note.onset), note.sounding),
            Name::Voice => FactValue::Whole(self.from_top as i64 + 1),
            Name::IsLead => FactValue::Flag(self.from_top == 0),
            Name::Technique => technique(self.in_section.passage, self.index),
            Name::Part | Name::Instrument | Name::Family | Name::Section | Name::Seat => {
                self.in_section.value(name)
            }
            _ => facts.of_place(self.in_section.passage, note.at, note.onset, name),
        }
    }
}

fn degree<'d>(chord: Option<&Chord>, pitch: Pitch) -> FactValue<'d> {
    match chord {
        Some(chord) => FactValue::Text(Cow::Owned(chord.degree_name(pitch.class()))),
        None => FactValue::text(""),
    }
}

fn technique(passage: &Passage, index: usize) -> FactValue<'static> {
    let force = passage.in_force.get(index).copied().flatten();
    FactValue::text(force.map_or("", |f| f.technique.name()))
}

impl NameValues for NoteView<'_> {
    fn value(&self, var: &Var) -> FactValue<'_> {
        match var {
            Var::Named(_, name) => self.named(*name),
            _ => FactValue::Missing,
        }
    }

    fn pitch(&self, var: &Var) -> Option<Pitch> {
        match var {
            Var::Named(_, Name::Written) => Some(self.note.written),
            Var::Named(_, Name::Sounding) => Some(self.note.sounding),
            _ => None,
        }
    }

    fn beat(&self, var: &Var) -> Option<Beat> {
        matches!(var, Var::Named(_, Name::Beat)).then(|| self.facts.beat(self.note.at))
    }

    fn key(&self) -> i8 {
        self.in_section
            .passage
            .key_at(self.facts.score, self.note.onset)
    }
}

/// Two notes of a part that follow each other.
pub(super) struct StepView<'r> {
    pub(super) from: NoteView<'r>,
    pub(super) to: NoteView<'r>,
}

impl StepView<'_> {
    fn interval(&self) -> i64 {
        i64::from(self.to.note.sounding.midi() - self.from.note.sounding.midi())
    }
}

impl NameValues for StepView<'_> {
    fn value(&self, var: &Var) -> FactValue<'_> {
        match var {
            Var::Named(Side::From, name) => self.from.named(*name),
            Var::Named(Side::To, name) => self.to.named(*name),
            Var::Named(Side::Here, Name::Interval) => FactValue::Whole(self.interval()),
            Var::Named(Side::Here, Name::Size) => FactValue::Whole(self.interval().abs()),
            Var::Named(Side::Here, Name::Rest) => self.to.facts.beats(
                self.to.note.at.bar,
                self.to.note.onset - self.from.voice.end,
            ),
            Var::Named(Side::Here, name) => self.to.in_section.value(*name),
            _ => FactValue::Missing,
        }
    }

    fn pitch(&self, var: &Var) -> Option<Pitch> {
        match var {
            Var::Named(Side::From, _) => self.from.pitch(var),
            Var::Named(Side::To, _) => self.to.pitch(var),
            _ => None,
        }
    }

    fn beat(&self, var: &Var) -> Option<Beat> {
        match var {
            Var::Named(Side::From, _) => self.from.beat(var),
            Var::Named(Side::To, _) => self.to.beat(var),
            _ => None,
        }
    }

    fn key(&self) -> i8 {
        self.to.key()
    }
}

/// A sonority of a section.
pub(super) struct SonorityView<'r> {
    pub(super) facts: &'r ScoreFacts<'r>,
    pub(super) passage: &'r Passage,
    pub(super) index: usize,
    pub(super) sonority: &'r Sonority,
    /// Whom the rule names, with the part that is meant.
    pub(super) players: &'r [(&'r Player, Option<u32>)],
}

impl<'r> SonorityView<'r> {
    /// The voice of a player; the top one where several are in one part.
    pub(super) fn voice(&self, who: &Player) -> Option<(usize, &'r Voice)> {
        let part = self.players.iter().find(|(p, _)| *p == who)?.1?;
        let mut voices = self.sonority.voices.iter().enumerate();
        voices.find(|(_, v)| v.note.part == part)
    }

    fn note(&self, voice: &Voice) -> Option<&'r Note> {
        let part = self.facts.score.parts.get(voice.note.part as usize)?;
        part.notes.get(voice.note.note as usize)
    }

    fn pitches(&self) -> impl Iterator<Item = i64> + use<'r> {
        self.sonority.voices.iter().map(|v| i64::from(v.midi))
    }

    fn top(&self) -> Option<&'r Voice> {
        self.sonority.voices.first()
    }
}

fn whole<'d>(n: Option<i64>) -> FactValue<'d> {
    n.map_or(FactValue::Missing, FactValue::Whole)
}

impl NameValues for SonorityView<'_> {
    fn value(&self, var: &Var) -> FactValue<'_> {
        let voices = &self.sonority.voices;
        let name = match var {
            Var::PitchOf { .. } => return whole(self.pitch(var).map(|p| i64::from(p.midi()))),
            Var::Plays(who) => return FactValue::Flag(self.voice(who).is_some()),
            Var::Named(_, name) => *name,
        };
        match name {
            Name::Section => FactValue::text(&self.passage.section.name),
            Name::Voices => FactValue::Wholes(self.pitches().collect()),
            Name::Count => FactValue::Whole(voices.len() as i64),
            Name::Lead => whole(self.pitches().next()),
            Name::Bottom => whole(self.pitches().last()),
            Name::Span => whole(
                self.pitches()
                    .next()
                    .zip(self.pitches().last())
                    .map(|(top, bottom)| top - bottom),
            ),
            Name::Gaps => FactValue::Wholes(
                self.pitches()
                    .zip(self.pitches().skip(1))
                    .map(|(upper, lower)| upper - lower)
                    .collect(),
            ),
            Name::Block => FactValue::Flag(self.sonority.is_block()),
            Name::Technique => technique(self.passage, self.index),
            Name::Degree => match self.top() {
                Some(top) => degree(self.facts.chord(self.sonority.onset), top.pitch),
                None => FactValue::text(""),
            },
            Name::Duration => self.facts.beats(
                self.sonority.at.bar,
                self.sonority.end - self.sonority.onset,
            ),
            _ => self
                .facts
                .of_place(self.passage, self.sonority.at, self.sonority.onset, name),
        }
    }

    fn pitch(&self, var: &Var) -> Option<Pitch> {
        match var {
            Var::PitchOf { written, who } => {
                let voice = self.voice(who)?.1;
                if *written {
                    Some(self.note(voice)?.written)
                } else {
                    Some(voice.pitch)
                }
            }
            Var::Named(_, Name::Lead) => Some(self.top()?.pitch),
            Var::Named(_, Name::Bottom) => Some(self.sonority.voices.last()?.pitch),
            _ => None,
        }
    }

    fn beat(&self, var: &Var) -> Option<Beat> {
        matches!(var, Var::Named(_, Name::Beat)).then(|| self.facts.beat(self.sonority.at))
    }

    fn key(&self) -> i8 {
        self.passage.key_at(self.facts.score, self.sonority.onset)
    }
}

/// A bar of a section.
pub(super) struct BarView<'r> {
    pub(super) facts: &'r ScoreFacts<'r>,
    pub(super) passage: &'r Passage,
    /// 0-based.
    pub(super) bar: u32,
    /// The sonorities that start in it.
    pub(super) sonorities: &'r [Sonority],
}

impl<'r> BarView<'r> {
    fn struck(&self) -> impl Iterator<Item = &'r Voice> + use<'r> {
        self.sonorities
            .iter()
            .flat_map(|s| s.voices.iter().filter(|v| v.attacked))
    }

    fn each_part(voices: impl Iterator<Item = &'r Voice>) -> HashMap<u32, i64> {
        let mut all = HashMap::new();
        for voice in voices {
            *all.entry(voice.note.part).or_default() += 1;
        }
        all
    }

    fn span(&self) -> (Ticks, Ticks) {
        let bar = self.facts.score.bars.get(self.bar as usize);
        bar.map_or((Ticks::ZERO, Ticks::ZERO), |b| {
            (b.start, b.start + b.length)
        })
    }

    /// Parts that sound in the bar, be it held from before.
    fn playing(&self) -> i64 {
        let (from, to) = self.span();
        let before = self.passage.sonorities.partition_point(|s| s.onset < from);
        let held = before
            .checked_sub(1)
            .and_then(|i| self.passage.sonorities.get(i))
            .into_iter()
            .flat_map(|s| s.voices.iter().filter(|v| v.end > from));
        let here = self.sonorities.iter().filter(|s| s.onset < to);
        Self::each_part(held.chain(here.flat_map(|s| &s.voices))).len() as i64
    }
}

impl NameValues for BarView<'_> {
    fn value(&self, var: &Var) -> FactValue<'_> {
        let Var::Named(_, name) = var else {
            return FactValue::Missing;
        };
        let (from, to) = self.span();
        match name {
            Name::Section => FactValue::text(&self.passage.section.name),
            Name::Players => FactValue::Whole(self.passage.section.parts.len() as i64),
            Name::Playing => FactValue::Whole(self.playing()),
            Name::Notes => FactValue::Whole(self.struck().count() as i64),
            Name::Busiest => FactValue::Whole(
                Self::each_part(self.struck())
                    .into_values()
                    .max()
                    .unwrap_or(0),
            ),
            Name::Sonorities => FactValue::Whole(self.sonorities.len() as i64),
            Name::Highest => whole(self.struck().map(|v| i64::from(v.midi)).max()),
            Name::Lowest => whole(self.struck().map(|v| i64::from(v.midi)).min()),
            Name::Chords => {
                let chords = &self.facts.score.chords;
                let here = |t: Ticks| chords.partition_point(|c| c.onset < t);
                FactValue::Whole((here(to) - here(from)) as i64)
            }
            name => {
                let at = Place {
                    bar: self.bar,
                    offset: Ticks::ZERO,
                };
                self.facts.of_place(self.passage, at, from, *name)
            }
        }
    }

    fn pitch(&self, var: &Var) -> Option<Pitch> {
        let voice = match var {
            Var::Named(_, Name::Highest) => self.struck().max_by_key(|v| v.midi),
            Var::Named(_, Name::Lowest) => self.struck().min_by_key(|v| v.midi),
            _ => None,
        };
        voice.map(|v| v.pitch)
    }

    fn beat(&self, _: &Var) -> Option<Beat> {
        None
    }

    fn key(&self) -> i8 {
        self.passage.key_at(self.facts.score, self.span().0)
    }
}

/// A part from beginning to end.
pub(super) struct PartView<'r> {
    pub(super) facts: &'r ScoreFacts<'r>,
    pub(super) in_section: PartInSection<'r>,
}

impl<'r> PartView<'r> {
    /// Notes that sound, without those that ties hold on.
    pub(super) fn notes(&self) -> impl Iterator<Item = &'r Note> + use<'r> {
        self.in_section
            .part
            .notes
            .iter()
            .filter(|n| n.sounds() && !n.flags.has(NoteFlags::TIED_IN))
    }

    /// The longest stretch without a rest.
    fn longest(&self) -> Ticks {
        let (mut from, mut to, mut longest) = (Ticks::ZERO, Ticks::ZERO, Ticks::ZERO);
        for note in self.in_section.part.notes.iter().filter(|n| n.sounds()) {
            if note.onset > to {
                from = note.onset;
            }
            to = to.max(note.end());
            longest = longest.max(to - from);
        }
        longest
    }

    fn extreme(&self, highest: bool) -> Option<Pitch> {
        let written = self.notes().map(|n| n.written);
        if highest {
            written.max_by_key(|p| p.midi())
        } else {
            written.min_by_key(|p| p.midi())
        }
    }
}

impl NameValues for PartView<'_> {
    fn value(&self, var: &Var) -> FactValue<'_> {
        let Var::Named(_, name) = var else {
            return FactValue::Missing;
        };
        let part = self.in_section.part;
        match name {
            Name::Notes => FactValue::Whole(self.notes().count() as i64),
            Name::Bars => FactValue::Whole(part.bars.len() as i64),
            Name::Playing => {
                let mut bars: Vec<u32> = part
                    .notes
                    .iter()
                    .filter(|n| n.sounds())
                    .map(|n| n.at.bar)
                    .collect();
                bars.dedup();
                FactValue::Whole(bars.len() as i64)
            }
            Name::Highest | Name::Lowest => whole(self.pitch(var).map(|p| i64::from(p.midi()))),
            Name::Longest => {
                let quarter = self.facts.score.per_quarter.0.max(1) as f64;
                FactValue::Decimal(rounded(self.longest().0 as f64 / quarter))
            }
            Name::Dynamics => FactValue::Whole(part.dynamics.len() as i64),
            name => self.in_section.value(*name),
        }
    }

    fn pitch(&self, var: &Var) -> Option<Pitch> {
        match var {
            Var::Named(_, Name::Highest) => self.extreme(true),
            Var::Named(_, Name::Lowest) => self.extreme(false),
            _ => None,
        }
    }

    fn beat(&self, _: &Var) -> Option<Beat> {
        None
    }

    fn key(&self) -> i8 {
        self.in_section
            .passage
            .key_at(self.facts.score, Ticks::ZERO)
    }
}

fn articulations(marks: Articulations) -> Vec<&'static str> {
    [
        (Articulations::ACCENT, "accent"),
        (Articulations::STACCATO, "staccato"),
        (Articulations::TENUTO, "tenuto"),
        (Articulations::MARCATO, "marcato"),
        (Articulations::FALL, "fall"),
        (Articulations::DOIT, "doit"),
        (Articulations::SCOOP, "scoop"),
        (Articulations::PLOP, "plop"),
        (Articulations::BREATH, "breath"),
        (Articulations::FERMATA, "fermata"),
        (Articulations::STACCATISSIMO, "staccatissimo"),
    ]
    .into_iter()
    .filter(|(mark, _)| marks.has(*mark))
    .map(|(_, word)| word)
    .collect()
}

/// The dynamic in force. An accent such as sfz is loud on its own note only.
fn loudness(part: &Part, onset: Ticks) -> i64 {
    let steady = |word: &str| {
        DYNAMICS
            .iter()
            .find(|(d, _)| *d == word)
            .map(|(_, n)| *n)
            .or(match word {
                "pppp" | "ppppp" | "pppppp" => Some(1),
                "ffff" | "fffff" | "ffffff" => Some(8),
                _ => None,
            })
    };
    let Some(last) = in_force(&part.dynamics, onset) else {
        return 0;
    };
    let word = last.value.trim();
    if let Some(n) = steady(word) {
        return n;
    }
    if last.onset == onset && word.contains('f') {
        return 6;
    }
    // After fp or sfp it is soft.
    if word.ends_with('p') {
        return 3;
    }
    let n = part.dynamics.partition_point(|m| m.onset <= onset);
    part.dynamics
        .get(..n)
        .unwrap_or_default()
        .iter()
        .rev()
        .find_map(|m| steady(m.value.trim()))
        .unwrap_or(0)
}

/// The part of a section that a player's name means.
pub(super) fn part_of(score: &Score, passage: &Passage, who: &Player) -> Option<u32> {
    let members = &passage.section.parts;
    let named = members.iter().find(|m| {
        score
            .parts
            .get(m.part as usize)
            .is_some_and(|p| p.name.trim().eq_ignore_ascii_case(&who.words))
    });
    let by_instrument = || {
        let wanted = who.instrument.as_deref()?;
        let mut those = members
            .iter()
            .filter(|m| m.instrument.is_some_and(|i| i.key == wanted));
        match who.seat {
            Some(seat) => those.find(|m| m.seat == Some(seat)),
            None => those.next(),
        }
    };
    named.or_else(by_instrument).map(|m| m.part)
}
