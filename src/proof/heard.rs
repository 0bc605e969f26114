//! A score as it is meant to sound under a house style: the one way from a score to its proofing.

use crate::diagnosis::{Fault, Passage, Verdict, passages};
use crate::ground::time::Ticks;
use crate::ground::words::{is_among, known_words};
use crate::rules;
use crate::score::Score;
use crate::score::{Displacement, NoteFlags, PartFault, Presumed, Stretch, StretchFault};
use crate::sonority::{Doubts, Sonority, heard_but};
use crate::style::Style;
use std::ops::Deref;

/// A score as it is meant to sound. Parts are the instruments the style names; a part whose
/// transposition is plainly missing or wrong sounds as it was meant ([`heard_but`]).
///
/// It dereferences to that score: places, notes and files are those of the score that was read.
#[derive(Clone, Debug)]
pub struct Heard {
    score: Score,
    /// The same under chord symbols that are read as meant, where they were never transposed.
    judged: Option<Score>,
}

impl Heard {
    /// Hears a score under a house style.
    pub fn new(mut score: Score, style: &Style) -> Self {
        style.prepare(&mut score);
        let score = as_meant(&score, style).unwrap_or(score);
        let judged = rules::with_symbols_as_meant(&score, style);
        Self { score, judged }
    }

    /// The same without a look for faults of whole parts: for a score that was made here, part by part.
    pub(crate) fn as_it_stands(mut score: Score, style: &Style) -> Self {
        style.prepare(&mut score);
        Self {
            score,
            judged: None,
        }
    }

    /// The score that rules judge. Symbols that were never transposed are one mistake, not one at
    /// every chord.
    pub fn judged(&self) -> &Score {
        self.judged.as_ref().unwrap_or(&self.score)
    }

    /// The score, as it is meant to sound.
    pub fn into_score(self) -> Score {
        self.score
    }
}

impl Deref for Heard {
    type Target = Score;

    fn deref(&self) -> &Score {
        &self.score
    }
}

/// How often a score is heard again without what it speaks against.
const DOUBTED: usize = 2;

/// So many notes tell a late or copied line where no symbols stand.
const ENOUGH: usize = 8;

/// A score as it is meant to sound, where that makes it cheaper to explain by a clear margin: a part that goes
/// with the others as it stands is not at fault, whatever else would fit as well.
fn as_meant(score: &Score, style: &Style) -> Option<Score> {
    let least = &style.costs.hearing;
    let mut doubts = Doubts::default();
    let mut as_written: Option<Vec<Passage>> = None;
    for _ in 0..DOUBTED {
        let meant = heard_but(score, &doubts)?;
        let asked = |p: &&Presumed| p.fault == PartFault::ConcertNotes;
        let parts: Vec<u32> = meant
            .presumed
            .iter()
            .filter(asked)
            .map(|p| p.part)
            .collect();
        let stretches: Vec<&Stretch> = meant
            .stretches
            .iter()
            .filter(|s| !matches!(s.fault, StretchFault::BarMissing(_)))
            .collect();
        if parts.is_empty() && stretches.is_empty() {
            return Some(meant);
        }
        let before = &*as_written.get_or_insert_with(|| passages(score, style));
        let after = passages(&meant, style);
        let before_parts = doubts.parts.len();
        let before_stretches = doubts.stretches.len();
        let whole = (Ticks(i64::MIN), Ticks(i64::MAX));
        let gain = |part: u32, times: (Ticks, Ticks)| {
            let (old, chords) = cost(before, part, times);
            let (new, more) = cost(&after, part, times);
            (old - new, chords.max(more))
        };
        let is_cheaper = |part: u32, times: (Ticks, Ticks)| {
            let (gain, chords) = gain(part, times);
            chords >= 3 && gain >= least.all_chords.max(least.each_chord * chords)
        };
        // A part that plays no chords with others is judged by its own notes and signature. Chords without
        // symbols say too little, unless they are right as they stand.
        let wrong = parts.into_iter().filter(|p| {
            let (gain, chords) = gain(*p, whole);
            let (old, _) = cost(before, *p, whole);
            chords >= 3
                && gain < least.each_chord * chords
                && (has_symbols(score, before, *p) || old < least.each_chord * chords)
        });
        doubts.parts.extend(wrong);
        for stretch in stretches {
            // Without symbols a few chords say too little.
            let enough = stretch.compared >= ENOUGH || has_symbols(score, before, stretch.part);
            let believed = times(&meant, stretch).is_some_and(|times| match stretch.fault {
                StretchFault::Late(_) => enough && keeps_together(before, stretch.part, times),
                StretchFault::Copied(of) => {
                    let mut both = [stretch.part, of].into_iter();
                    enough
                        && keeps_together(before, stretch.part, times)
                        && is_cheaper(stretch.part, times)
                        && !both.any(|p| is_said_to_double(score, p, times.0))
                }
                _ => is_cheaper(stretch.part, times),
            });
            if !believed {
                doubts
                    .stretches
                    .push((stretch.part, stretch.from..stretch.to));
            }
        }
        if doubts.parts.len() == before_parts && doubts.stretches.len() == before_stretches {
            return Some(with_accidentals(meant, &after));
        }
    }
    // What is doubted again and again is left: only what is missing or stands in the file is believed.
    doubts.all_stretches = true;
    heard_but(score, &doubts)
}

/// Notes that stand a step off are read with the likeliest accidental; where the account of a chord says that
/// such a note is a semitone off, it has the other one.
fn with_accidentals(mut meant: Score, passages: &[Passage]) -> Score {
    let slips = passages.iter().flat_map(|p| &p.diagnoses);
    let faults: Vec<Fault> = slips
        .filter_map(|d| match &d.verdict {
            Verdict::Slip(slip) => Some(slip),
            _ => None,
        })
        .flat_map(|slip| slip.faults.iter().copied())
        .filter(|f| (f.expected.midi() - f.found.midi()).abs() == 1)
        .collect();
    let Score {
        parts, stretches, ..
    } = &mut meant;
    for stretch in stretches {
        let StretchFault::Displaced {
            by: Displacement::Steps(_),
            meant,
        } = &mut stretch.fault
        else {
            continue;
        };
        let Some(part) = parts.get_mut(stretch.part as usize) else {
            continue;
        };
        let own = faults.iter().filter(|f| f.note.part == stretch.part);
        for fault in own {
            // A note that is held on changes with its beginning.
            let mut at = fault.note.note;
            while let Some((_, pitch)) = meant.iter_mut().find(|(note, _)| *note == at) {
                let alter = pitch.alter + (fault.expected.midi() - fault.found.midi()) as i8;
                let Some(note) = part.notes.get_mut(at as usize) else {
                    break;
                };
                if *pitch != fault.found || alter.abs() > 1 {
                    break;
                }
                pitch.alter = alter;
                note.sounding = *pitch;
                if !note.flags.has(NoteFlags::TIED_OUT) {
                    break;
                }
                at += 1;
            }
        }
    }
    meant
}

/// Whether words over a part say that two players have one line here, or near before it.
fn is_said_to_double(score: &Score, part: u32, from: Ticks) -> bool {
    let words = score.parts.get(part as usize).map_or(&[][..], |p| &p.words);
    let bar = score
        .bars
        .get(score.place_of(from).bar as usize)
        .map_or(Ticks::ZERO, |b| b.length);
    words
        .iter()
        .filter(|w| from - bar <= w.onset && w.onset <= from + bar)
        .any(|w| {
            let text = w.value.text.to_lowercase();
            let bare = text.trim_matches(|c: char| !c.is_alphanumeric());
            is_among(&known_words().technique.one_line, bare)
        })
}

/// Whether most chords of a part's section stand under a symbol.
fn has_symbols(score: &Score, passages: &[Passage], part: u32) -> bool {
    let blocks = of_part(passages, part)
        .flat_map(|p| &p.sonorities)
        .filter(|s| s.is_block());
    let under = |s: &Sonority| {
        let mark = score.chord_at(s.onset);
        mark.is_some_and(|m| m.value.chord.is_some())
    };
    let (with, all) = blocks.fold((0usize, 0usize), |(with, all), s| {
        (with + usize::from(under(s)), all + 1)
    });
    with * 2 > all
}

/// When a stretch begins and ends.
fn times(score: &Score, stretch: &Stretch) -> Option<(Ticks, Ticks)> {
    let notes = &score.parts.get(stretch.part as usize)?.notes;
    let last = notes.get((stretch.to as usize).checked_sub(1)?)?;
    Some((notes.get(stretch.from as usize)?.onset, last.onset))
}

/// The passages that a part plays in.
fn of_part(passages: &[Passage], part: u32) -> impl Iterator<Item = &Passage> {
    let plays = move |p: &&Passage| p.section.parts.iter().any(|m| m.part == part);
    passages.iter().filter(plays)
}

/// What the chords of a part's section cost between two times, and how many there are.
fn cost(passages: &[Passage], part: u32, (from, to): (Ticks, Ticks)) -> (i32, i32) {
    let costs = of_part(passages, part).flat_map(|p| p.sonorities.iter().zip(&p.costs));
    let within = costs.filter(|(s, _)| s.is_block() && from <= s.onset && s.onset <= to);
    within.fold((0i32, 0i32), |(sum, n), (_, cost)| {
        (sum.saturating_add(*cost), n.saturating_add(1))
    })
}

/// Whether a part moves with its section as a block outside these times: only then it can be late, or
/// a copy of its neighbour's line: others double each other by design.
fn keeps_together(passages: &[Passage], part: u32, (from, to): (Ticks, Ticks)) -> bool {
    let sonorities = of_part(passages, part).flat_map(|p| &p.sonorities);
    let outside = sonorities.filter(|s| s.onset < from || to < s.onset);
    let with =
        outside.filter(|s| s.voices.len() >= 2 && s.voices.iter().any(|v| v.note.part == part));
    let (mut blocks, mut full, mut all) = (0usize, 0usize, 0usize);
    for sonority in with {
        all += 1;
        let is_full = sonority.voices.len() >= 3;
        full += usize::from(is_full);
        blocks += usize::from(is_full && sonority.is_block());
    }
    // Of two that are joined by others now and then nobody is missing.
    blocks >= 4 && blocks * 4 >= full * 3 && full * 2 >= all
}

/// Scores that tests make up are heard as they are, and changed afterwards.
#[cfg(test)]
mod made_up {
    use super::{Heard, Score};
    use std::ops::DerefMut;

    impl From<Score> for Heard {
        fn from(score: Score) -> Self {
            let judged = None;
            Self { score, judged }
        }
    }

    impl DerefMut for Heard {
        fn deref_mut(&mut self) -> &mut Score {
            &mut self.score
        }
    }
}
