//! An answer with mistakes planted in it, for a class to hunt for.
//!
//! Each mistake is tried until `proof` finds it at its place, under its name, and finds nothing else beside: a
//! mistake that may be right, or that is two mistakes, is no exercise.

use super::answer::{Answer, Step};
use crate::finding::Finding;
use crate::ground::chord::parse;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::score::{Change, NoteFlags, NoteRef, Place, Score};
use crate::style::Style;
use crate::voicing::{Mechanical, Technique, Voicing, Way, close_position};

/// A kind of mistake that may be planted, named as the rule that finds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A note off the chord.
    WrongNote,
    /// A note an octave astray.
    WrongOctave,
    /// A chord note doubled, another missing.
    DoubledNote,
    /// The chord kept under a passing note.
    PassingDiminished,
    /// Another voice dropped.
    WrongVoiceDropped,
    /// The doubling of the lead a step off.
    LeadDoubling,
    /// Two seats exchanged.
    VoiceCrossing,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::WrongNote,
        Self::WrongOctave,
        Self::DoubledNote,
        Self::PassingDiminished,
        Self::WrongVoiceDropped,
        Self::LeadDoubling,
        Self::VoiceCrossing,
    ];

    /// The rule that finds it.
    pub const fn rule(self) -> &'static str {
        match self {
            Self::WrongNote => "wrong-note",
            Self::WrongOctave => "wrong-octave",
            Self::DoubledNote => "doubled-note",
            Self::PassingDiminished => "passing-diminished",
            Self::WrongVoiceDropped => "wrong-voice-dropped",
            Self::LeadDoubling => "lead-doubling",
            Self::VoiceCrossing => "voice-crossing",
        }
    }

    /// Reads a kind as people write it.
    pub fn named(text: &str) -> Option<Self> {
        let wanted = text.trim().to_lowercase().replace([' ', '_'], "-");
        Self::ALL.into_iter().find(|k| k.rule() == wanted)
    }
}

/// A mistake that was planted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// Where.
    pub at: Place,
    /// What.
    pub kind: Kind,
    /// The notes that were changed.
    pub notes: Vec<WrongNote>,
}

/// One note of a planted mistake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrongNote {
    /// Which.
    pub note: NoteRef,
    /// What it sounds.
    pub sounds: Pitch,
    /// What it should sound.
    pub right: Pitch,
}

/// An answer with mistakes.
#[derive(Clone, Debug)]
pub struct Planted {
    /// The score.
    pub score: Score,
    /// The mistakes, in order of time; fewer than were asked for where no more could be planted.
    pub mistakes: Vec<Mistake>,
}

/// How often a place is looked for, for each mistake that is asked for.
const TRIES: usize = 160;

/// Plants mistakes of these kinds (of all, when none is named), the kinds by turns. The same seed gives the
/// same mistakes.
pub fn plant(answer: &Answer, style: &Style, count: usize, kinds: &[Kind], seed: u64) -> Planted {
    let kinds = if kinds.is_empty() { &Kind::ALL } else { kinds };
    let mut dice = Dice(seed);
    let mut planted = Planted {
        score: answer.score.clone(),
        mistakes: Vec::new(),
    };
    if answer.steps.is_empty() {
        return planted;
    }
    // What the lead itself brings is no mistake that was planted.
    let before = proof(&answer.score, style).findings;
    let before = before.iter().map(|f| (f.rule, f.at)).collect::<Vec<_>>();
    let mut turn = dice.roll(kinds.len());
    let mut barren = 0;
    while planted.mistakes.len() < count && barren < kinds.len() {
        let kind = kinds.get(turn % kinds.len()).copied();
        turn += 1;
        let found = kind.is_some_and(|kind| {
            (0..TRIES).any(|_| planted.try_one(answer, style, &before, kind, &mut dice))
        });
        barren = if found { 0 } else { barren + 1 };
    }
    planted.mistakes.sort_by_key(|m| m.at);
    planted
}

impl Planted {
    /// Tries one mistake of a kind at a place by chance; whether it stays.
    fn try_one(
        &mut self,
        answer: &Answer,
        style: &Style,
        before: &[(&str, Place)],
        kind: Kind,
        dice: &mut Dice,
    ) -> bool {
        let at = dice.roll(answer.steps.len());
        let Some(step) = answer.steps.get(at) else {
            return false;
        };
        let place = answer.score.place_of(step.onset);
        let onsets: Vec<Ticks> = answer
            .steps
            .get(at.saturating_sub(1)..(at + 2).min(answer.steps.len()))
            .unwrap_or_default()
            .iter()
            .map(|s| s.onset)
            .collect();
        // Mistakes beside each other would explain each other.
        let near = |m: &Mistake| onsets.iter().any(|o| answer.score.place_of(*o) == m.at);
        if self.mistakes.iter().any(near) || before.iter().any(|(_, at)| *at == place) {
            return false;
        }
        let Some(changes) = changes(&self.score, step, kind, dice) else {
            return false;
        };
        let mut tried = self.score.clone();
        tried.change(&changes);
        let findings = proof(&tried, style).findings;
        let known = |f: &Finding| {
            self.mistakes.iter().any(|m| m.at == f.at) || before.contains(&(f.rule, f.at))
        };
        let mut new = findings.iter().filter(|f| !known(f));
        let found = new
            .next()
            .is_some_and(|f| f.rule == kind.rule() && f.at == place);
        if !found
            || new.next().is_some()
            || findings.len() != before.len() + self.mistakes.len() + 1
        {
            return false;
        }
        let notes = changes.iter().filter_map(|c| {
            let right = self.score.parts.get(c.note.part as usize)?;
            let right = right.notes.get(c.note.note as usize)?.sounding;
            Some(WrongNote {
                note: c.note,
                sounds: c.sounding,
                right,
            })
        });
        self.mistakes.push(Mistake {
            at: place,
            kind,
            notes: notes.collect(),
        });
        self.score = tried;
        true
    }
}

/// The notes of a step, seat by seat; `None` where one is held from before.
fn notes_of(score: &Score, step: &Step) -> Option<Vec<NoteRef>> {
    let mut taken: Vec<NoteRef> = Vec::new();
    for &midi in &step.chosen.voicing {
        let refs = (0u32..).zip(&score.parts).flat_map(|(part, p)| {
            (0u32..)
                .zip(p.notes.iter())
                .map(move |(note, n)| (NoteRef { part, note }, n))
        });
        let here = |(at, n): &(NoteRef, &crate::score::Note)| {
            n.onset == step.onset && n.sounding.midi() == midi && !taken.contains(at)
        };
        let (at, note) = refs.into_iter().find(here)?;
        if note.flags.has(NoteFlags::TIED_IN) {
            return None;
        }
        taken.push(at);
    }
    Some(taken)
}

/// The changes that make a mistake of a kind at a step.
fn changes(score: &Score, step: &Step, kind: Kind, dice: &mut Dice) -> Option<Vec<Change>> {
    let right = &step.chosen.voicing;
    let notes = notes_of(score, step)?;
    if right.len() < 2 {
        return None;
    }
    let lower = 1 + dice.roll(right.len() - 1);
    let mut wrong = right.clone();
    match kind {
        Kind::WrongNote => *wrong.get_mut(lower)? += *dice.pick(&[-2, -1, 1, 2])?,
        Kind::WrongOctave => *wrong.get_mut(lower)? += *dice.pick(&[-12, 12])?,
        Kind::DoubledNote => {
            let other = *dice.pick(right)?;
            let slot = wrong.get_mut(lower)?;
            let up = PitchClass::new(other).above(PitchClass::new(*slot));
            *slot += if up <= 6 { up } else { up - 12 };
        }
        Kind::PassingDiminished => wrong = on_the_chord(step, dice)?,
        Kind::WrongVoiceDropped => wrong = in_another_drop(step, dice)?,
        Kind::LeadDoubling => {
            let doubling = right.iter().position(|&m| m == step.lead - 12)?;
            *wrong.get_mut(doubling)? += *dice.pick(&[-2, -1, 1, 2])?;
        }
        Kind::VoiceCrossing => wrong.swap(
            lower,
            if lower > 1 { lower - 1 } else { lower + 1 }.min(right.len() - 1),
        ),
    }
    let key = score
        .parts
        .first()
        .map_or(0, |p| p.concert_fifths(step.onset));
    let changes: Vec<Change> = notes
        .iter()
        .zip(right.iter().zip(&wrong))
        .filter(|(_, (right, wrong))| right != wrong)
        .map(|(note, (_, wrong))| Change {
            note: *note,
            sounding: Pitch::in_key(*wrong, key),
        })
        .collect();
    (!changes.is_empty()).then_some(changes)
}

/// A passing note on three notes of its chord and itself.
fn on_the_chord(step: &Step, dice: &mut Dice) -> Option<Voicing> {
    let Technique::Mechanical(technique) = step.chosen.technique else {
        return None;
    };
    let (way, _) = step.chosen.harmony.as_ref()?;
    if !way.is_diminished() && *way <= Way::Tension {
        return None;
    }
    let chord = parse(step.symbol.as_deref()?).ok().flatten()?;
    let lead = PitchClass::new(step.lead);
    let mut classes: Vec<PitchClass> = chord.classes().filter(|c| *c != lead).collect();
    if classes.len() == 3 && chord.seventh().is_none() {
        classes.push(chord.root.class().plus(9));
    }
    while classes.len() > 3 {
        let at = dice.roll(classes.len());
        classes.remove(at);
    }
    classes.push(lead);
    Some(technique.apply(&close_position(step.lead, &classes)?))
}

/// The same notes with other voices dropped.
fn in_another_drop(step: &Step, dice: &mut Dice) -> Option<Voicing> {
    let Technique::Mechanical(own) = step.chosen.technique else {
        return None;
    };
    let classes: Vec<PitchClass> = step.chosen.names.iter().map(|n| n.class()).collect();
    let others: Vec<Mechanical> = Mechanical::ALL
        .into_iter()
        .filter(|t| *t != own && t.voices() == own.voices())
        .collect();
    let other = dice.pick(&others)?;
    Some(other.apply(&close_position(step.lead, &classes)?))
}

/// Chance that is the same for the same seed.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// One of 0 to `n` - 1.
    fn roll(&mut self, n: usize) -> usize {
        (self.next() % (n.max(1) as u64)) as usize
    }

    fn pick<'a, T>(&mut self, list: &'a [T]) -> Option<&'a T> {
        list.get(self.roll(list.len()))
    }
}

impl std::str::FromStr for Kind {
    type Err = NoSuchKind;

    fn from_str(text: &str) -> Result<Self, NoSuchKind> {
        Self::named(text).ok_or_else(|| NoSuchKind(text.trim().to_owned()))
    }
}

/// No mistake has this name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no kind of mistake that is planted: write some of {all}", all = Kind::ALL.map(Kind::rule).join(", "))]
pub struct NoSuchKind(String);
