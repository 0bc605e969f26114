//! Seats of a section that are out of order.

use super::remedies::remedies;
use super::wording;
use crate::diagnosis::{Fault, Passage};
use crate::finding::Finding;
use crate::rules::diagnosed::{DiagnosedScore, SonorityAt};
use crate::rules::rule::Rule;
use crate::score::{Change, Score};
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;
use std::collections::HashMap;
use std::ops::Range;

/// The seats of a sonority that are out of order, by seat, with the order they should have.
pub struct Crossing<'a> {
    /// Where the first of them sounds.
    pub at: SonorityAt<'a>,
    /// The voices out of order, each with the pitch its seat should have.
    pub faults: Vec<Fault>,
    /// The top seat is among them.
    pub lead: bool,
    /// How many sonorities in a row it goes on for.
    pub length: usize,
}

/// Every crossing of the passages that no slip explains.
pub fn crossings<'a>(diagnosed: &DiagnosedScore<'a>) -> Vec<Crossing<'a>> {
    let mut found: Vec<Crossing<'a>> = Vec::new();
    for passage in diagnosed.passages {
        if passage.section.chordal || passage.section.parts.len() < 2 || !passage.keeps_order {
            continue;
        }
        let mut run: Option<(Vec<u8>, usize)> = None;
        let mut seating: HashMap<(usize, u8, u8), bool> = HashMap::new();
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            let counterpoint = passage.section.is_choir() && diagnosed.style.counterpoint;
            if !(sonority.is_block() && passage.is_block_phrase(index) || counterpoint)
                || !sonority.voices.iter().any(|v| v.attacked)
                || sonority.voices.iter().any(|v| diagnosed.is_claimed(v.note))
            {
                continue;
            }
            let Some(by_seat) = by_seat(sonority) else {
                continue;
            };
            let crossed: Vec<(u8, u8)> = by_seat
                .iter()
                .enumerate()
                .flat_map(|(i, a)| by_seat.iter().skip(i + 1).map(move |b| (*a, *b)))
                .filter(|(a, b)| a.midi < b.midi)
                .map(|(a, b)| (a.seat, b.seat))
                .filter(|&pair| {
                    let phrase = passage.phrase_of(index).start;
                    !*seating
                        .entry((phrase, pair.0, pair.1))
                        .or_insert_with(|| is_seating(passage, index, pair))
                })
                .collect();
            if crossed.is_empty() {
                continue;
            }
            let struck = crossed.iter().any(|&(a, b)| {
                by_seat
                    .iter()
                    .any(|v| v.attacked && (v.seat == a || v.seat == b))
            });
            let mut seats: Vec<u8> = crossed.iter().flat_map(|&(a, b)| [a, b]).collect();
            seats.sort_unstable();
            seats.dedup();
            // Seats that stay crossed are one mistake, found where it begins.
            if let Some((last, at)) = &mut run
                && *last == seats
                && *at + 1 == index
            {
                *at = index;
                if let Some(open) = found.last_mut().filter(|_| struck) {
                    open.length += 1;
                }
                continue;
            }
            if !struck {
                continue; // held from before, under other voices that move
            }
            let mut involved = by_seat;
            involved.retain(|v| seats.contains(&v.seat));
            run = Some((seats, index));
            found.push(Crossing {
                length: 1,
                at: SonorityAt {
                    passage,
                    index,
                    sonority,
                },
                // Where the top part rests nobody has the lead by seat.
                lead: crossed.iter().any(|&(a, _)| a == 0),
                faults: out_of_order(sonority, &involved),
            });
        }
    }
    found
}

/// The voices by seat; `None` where several notes on one staff have no seat of their own.
fn by_seat(sonority: &Sonority) -> Option<SmallVec<[&Voice; 8]>> {
    let mut by_seat: SmallVec<[&Voice; 8]> = sonority.voices.iter().collect();
    by_seat.sort_by_key(|v| (v.seat, -v.midi));
    let shares = |w: &[&Voice]| matches!(w, [a, b] if a.seat == b.seat);
    (!by_seat.windows(2).any(shares)).then_some(by_seat)
}

/// Of these voices by seat, those that have not the pitch of their place from the top.
fn out_of_order(sonority: &Sonority, voices: &[&Voice]) -> Vec<Fault> {
    let mut sorted = voices.to_vec();
    sorted.sort_by_key(|v| -v.midi);
    let place = |midi: i16| sonority.voices.iter().position(|v| v.midi == midi);
    voices
        .iter()
        .zip(&sorted)
        .filter(|(v, want)| v.midi != want.midi)
        .map(|(v, want)| Fault {
            note: v.note,
            found: v.pitch,
            voice: place(want.midi).unwrap_or(0) as u8 + 1,
            expected: want.pitch,
        })
        .collect()
}

/// Whether two seats have changed places for the phrase (more often so than not): that is how the
/// writer seated them. In a choir seats never change.
fn is_seating(passage: &Passage, index: usize, (upper, lower): (u8, u8)) -> bool {
    if passage.section.is_choir() {
        return false;
    }
    let count = |range: Range<usize>| {
        let mut crossed = 0;
        let mut straight = 0;
        for s in passage.sonorities.get(range).unwrap_or_default() {
            let of = |seat: u8| s.voices.iter().find(|v| v.seat == seat).map(|v| v.midi);
            if let (Some(a), Some(b)) = (of(upper), of(lower)) {
                match a.cmp(&b) {
                    std::cmp::Ordering::Less => crossed += 1,
                    std::cmp::Ordering::Greater => straight += 1,
                    std::cmp::Ordering::Equal => {}
                }
            }
        }
        (crossed, straight)
    };
    let phrase = passage.phrase_of(index);
    let (crossed, straight) = if phrase.len() >= 3 {
        count(phrase)
    } else {
        count(0..passage.sonorities.len())
    };
    crossed > straight
}

/// One part an octave off: moved back, it puts every seat in its order.
fn octave_astray(crossing: &Crossing<'_>) -> Option<Vec<Change>> {
    let voices = &crossing.at.sonority.voices;
    let ways = crossing
        .faults
        .iter()
        .flat_map(|f| [-1i8, 1].map(|octave| (f.note, f.found.octaves(octave))));
    ways.into_iter()
        .find(|(note, pitch)| {
            let mut seated: Vec<(u8, i16)> = voices
                .iter()
                .map(|v| {
                    let midi = if v.note == *note {
                        pitch.midi()
                    } else {
                        v.midi
                    };
                    (v.seat, midi)
                })
                .collect();
            seated.sort_unstable();
            seated.windows(2).all(|w| matches!(w, [a, b] if a.1 > b.1))
        })
        .map(|(note, sounding)| vec![Change { note, sounding }])
}

impl Crossing<'_> {
    /// The finding of a rule for this crossing: `what`, and who has which note.
    pub fn finding(&self, score: &Score, rule: &Rule, what: &str) -> Finding {
        let mut message = format!("{what}: {}", wording::who_has(score, &self.faults));
        if self.length > 1 {
            message = format!("{message}; they stay so for {} chords", self.length);
        }
        let diagnosis = self.at.passage.diagnoses.get(self.at.index);
        self.at
            .finding(score, rule, message)
            .technique(diagnosis.and_then(|d| d.technique).map(|t| t.technique))
            .mark(wording::marks(score, &self.faults))
            .expecting(self.at.sonority.pitches())
            .suggestion(wording::instead(score, &self.faults))
            .may_mend(octave_astray(self))
            .may_mend(remedies([&self.faults]))
    }
}
