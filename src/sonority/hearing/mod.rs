//! How a score is meant to sound where its file cannot mean it as it stands: one fault of a whole
//! part or of a stretch is found here, and all that follows is judged as it was meant.

mod company;
mod convincing;
mod copying;
mod delaying;
mod displacing;
mod fit;
mod kinds;
mod likelihood;
mod looks;
mod missing;
mod order;
mod path;
mod transposing;
mod usage;
mod witness;

pub use transposing::signs;

use crate::score::{NoteFlags, Score, Stretch, StretchFault};
use std::ops::Range;
use witness::Witness;

/// How many stretches of a score are read otherwise than they stand, at most.
const MOST: usize = 8;

/// How often the accidentals of a line moved by steps are chosen again: what is right in one chord
/// speaks for the next.
const AGAIN: usize = 3;

/// Faults that the score as a whole speaks against, whatever single parts seem to say.
#[derive(Clone, Debug, Default)]
pub struct Doubts {
    /// Whole parts, by their 0-based index.
    pub parts: Vec<u32>,
    /// Stretches: a part, and its notes by their index.
    pub stretches: Vec<(u32, Range<u32>)>,
    /// Every stretch.
    pub all_stretches: bool,
}

impl Doubts {
    fn speak_against(&self, stretch: &Stretch) -> bool {
        self.stretches.iter().any(|(part, notes)| {
            *part == stretch.part && notes.start < stretch.to && stretch.from < notes.end
        })
    }
}

/// The score as it is meant to sound; `None` when every part sounds as its file says. What is doubted is
/// taken as it stands.
pub fn heard_but(score: &Score, doubts: &Doubts) -> Option<Score> {
    if !score.presumed.is_empty() || !score.stretches.is_empty() {
        return None;
    }
    let mut presumed = transposing::presumed(score);
    presumed.retain(|p| !doubts.parts.contains(&p.part));
    let mut meant = None;
    if !presumed.is_empty() {
        let mut read = score.clone();
        transposing::apply(&mut read, &mut presumed);
        read.presumed = presumed;
        read.lay_out();
        meant = Some(read);
    }
    for stretch in missing::bars(meant.as_ref().unwrap_or(score)) {
        let read = meant.get_or_insert_with(|| score.clone());
        apply(read, &stretch);
        read.stretches.push(stretch);
    }
    // The clearest first: what it explains is no second fault.
    let most = if doubts.all_stretches { 0 } else { MOST };
    for _ in 0..most {
        let Some(mut stretch) = clearest(meant.as_ref().unwrap_or(score), doubts) else {
            break;
        };
        let read = meant.get_or_insert_with(|| score.clone());
        apply(read, &stretch);
        for _ in 0..AGAIN {
            let Some(fault) = displacing::again(score, read, &stretch) else {
                break;
            };
            stretch.fault = fault;
            apply(read, &stretch);
        }
        read.stretches.push(stretch);
    }
    meant
}

/// The same with no doubt.
#[cfg(test)]
pub fn heard(score: &Score) -> Option<Score> {
    heard_but(score, &Doubts::default())
}

/// The stretch that makes the rest of the score easiest to understand.
fn clearest(score: &Score, doubts: &Doubts) -> Option<Stretch> {
    let witness = Witness::of(score);
    let taken = |s: &Stretch| {
        score
            .stretches
            .iter()
            .filter(|t| !matches!(t.fault, StretchFault::BarMissing(_)))
            .any(|t| t.part == s.part && t.from < s.to && s.from < t.to)
    };
    let mut all: Vec<displacing::Found> = (0..witness.lines.len())
        .flat_map(|line| {
            [
                displacing::displaced(score, &witness, line),
                delaying::delayed(score, &witness, line),
                copying::copied(score, &witness, line),
            ]
        })
        .flatten()
        .filter(|found| !taken(&found.stretch) && !doubts.speak_against(&found.stretch))
        .collect();
    all.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    all.iter()
        .find(|found| {
            !all.iter().any(|other| {
                other.stretch.part != found.stretch.part
                    && other.gain > found.gain * ALIKE
                    && together(score, &found.stretch, &other.stretch)
            })
        })
        .map(|found| found.stretch.clone())
}

/// Where two parts would do as well, nobody knows which of them is at fault.
const ALIKE: f32 = 0.8;

/// Whether two stretches are at one time.
fn together(score: &Score, a: &Stretch, b: &Stretch) -> bool {
    let times = |s: &Stretch| {
        let notes = &score.parts.get(s.part as usize)?.notes;
        let last = notes.get((s.to as usize).checked_sub(1)?)?;
        Some((notes.get(s.from as usize)?.onset, last.onset))
    };
    times(a)
        .zip(times(b))
        .is_some_and(|(a, b)| a.0 <= b.1 && b.0 <= a.1)
}

/// Reads the notes of a stretch as they are meant, or leaves them out.
fn apply(score: &mut Score, stretch: &Stretch) {
    if let StretchFault::BarMissing(bar) = stretch.fault {
        missing::put_in(score, stretch.part, bar);
        return;
    }
    let Some(part) = score.parts.get_mut(stretch.part as usize) else {
        return;
    };
    if let StretchFault::Displaced { meant, .. } = &stretch.fault {
        for (index, pitch) in meant {
            if let Some(note) = part.notes.get_mut(*index as usize) {
                note.sounding = *pitch;
            }
        }
        return;
    }
    let range = stretch.from as usize..stretch.to as usize;
    for note in part.notes.get_mut(range).unwrap_or_default() {
        note.flags = note.flags.with(NoteFlags::LEFT_OUT);
    }
}
