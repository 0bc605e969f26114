//! Seats of a section that are out of order.

use super::remedies::remedies;
use super::wording;
use crate::diagnosis::{Fault, Passage};
use crate::finding::Finding;
use crate::rules::diagnosed::{DiagnosedScore, SonorityAt};
use crate::rules::rule::Rule;
use crate::score::{Change, NoteRef, Score};
use crate::sonority::{Sonority, Voice, voice_number};
use rustc_hash::FxHashMap;
use smallvec::SmallVec;
use std::cmp::Ordering;
use std::ops::Range;

/// More seats than any section has. Of these each is held against every other; in a crowd only
/// neighbours are, so that the work does not grow with the square of a section.
const MOST_SEATS: usize = 64;
/// Lines in order move at most nine tenths as far as the lines that cross.
const CLEARLY_LESS: (i32, i32) = (10, 9);

/// How much smoother the lines must be, in semitones, for another note in the chord.
const CHORD_CHANGED: i32 = 4;

/// How much smoother they must be for each part beyond two that is changed.
const FURTHER_PART: i32 = 30;

/// How much smoother they must be where the lead gets another note.
const TUNE_CHANGED: i32 = 6;

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
    /// The last of them.
    last: usize,
}

/// Every crossing of the passages that no slip explains, but for lines that are meant to cross.
pub fn crossings<'a>(diagnosed: &DiagnosedScore<'a>) -> Vec<Crossing<'a>> {
    let mut found = seats_out_of_order(diagnosed);
    found.retain(|crossing| {
        let choir = crossing.at.passage.section.is_choir();
        let asked_for = choir && diagnosed.style.counterpoint;
        asked_for || crossing.has_technique() || crossing.is_smoother_in_order()
    });
    found
}

fn seats_out_of_order<'a>(diagnosed: &DiagnosedScore<'a>) -> Vec<Crossing<'a>> {
    let mut found: Vec<Crossing<'a>> = Vec::new();
    for passage in diagnosed.passages {
        if passage.section.chordal || passage.section.parts.len() < 2 || !passage.keeps_order {
            continue;
        }
        let mut run: Option<(Vec<u16>, usize)> = None;
        let mut seating = Seating::default();
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
            let phrase = passage.phrase_of(index);
            let below = if by_seat.len() > MOST_SEATS {
                1
            } else {
                MOST_SEATS
            };
            let crossed: Vec<(u16, u16)> = by_seat
                .iter()
                .enumerate()
                .flat_map(|(i, a)| {
                    by_seat
                        .iter()
                        .skip(i + 1)
                        .take(below)
                        .map(move |b| (*a, *b))
                })
                .filter(|(a, b)| a.midi < b.midi)
                .map(|(a, b)| (a.seat, b.seat))
                .filter(|&pair| !seating.is_of(passage, &phrase, pair))
                .collect();
            if crossed.is_empty() {
                continue;
            }
            // In order of seat.
            let attacked = |seat: u16| {
                let at = by_seat.binary_search_by_key(&seat, |v| v.seat);
                at.is_ok_and(|at| by_seat.get(at).is_some_and(|v| v.attacked))
            };
            let struck = crossed.iter().any(|&(a, b)| attacked(a) || attacked(b));
            let mut seats: Vec<u16> = crossed.iter().flat_map(|&(a, b)| [a, b]).collect();
            seats.sort_unstable();
            seats.dedup();
            // Seats that stay crossed are one mistake, found where it begins.
            if let Some((last, at)) = &mut run
                && *last == seats
                && *at + 1 == index
            {
                *at = index;
                if let Some(open) = found.last_mut() {
                    open.length += usize::from(struck);
                    open.last = index;
                }
                continue;
            }
            if !struck {
                continue; // held from before, under other voices that move
            }
            let mut involved = by_seat;
            involved.retain(|v| seats.binary_search(&v.seat).is_ok());
            run = Some((seats, index));
            found.push(Crossing {
                length: 1,
                last: index,
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
    // Voices are in order of pitch from the top.
    let place = |midi: i16| sonority.voices.partition_point(|v| v.midi > midi);
    voices
        .iter()
        .zip(&sorted)
        .filter(|(v, want)| v.midi != want.midi)
        .map(|(v, want)| Fault {
            note: v.note,
            found: v.pitch,
            voice: voice_number(place(want.midi)),
            expected: want.pitch,
        })
        .collect()
}

/// Which seats of a passage have changed places, as far as somebody asked.
#[derive(Default)]
struct Seating {
    /// By the start of what says so, and two seats.
    known: FxHashMap<(usize, u16, u16), bool>,
    /// The phrase asked for last.
    phrase: Option<(Range<usize>, SeatPitches)>,
    whole: Option<SeatPitches>,
}

impl Seating {
    /// Whether two seats have changed places for a phrase. A short one says nothing of that: then the
    /// whole passage does. In a choir seats never change.
    fn is_of(&mut self, passage: &Passage, phrase: &Range<usize>, pair: (u16, u16)) -> bool {
        if passage.section.is_choir() {
            return false;
        }
        let short = phrase.len() < 3;
        let from = if short { usize::MAX } else { phrase.start };
        if let Some(known) = self.known.get(&(from, pair.0, pair.1)) {
            return *known;
        }
        let pitches = if short {
            let all = 0..passage.sonorities.len();
            self.whole
                .get_or_insert_with(|| SeatPitches::of(passage, all))
        } else {
            let last = self.phrase.take().filter(|(range, _)| range == phrase);
            let here = || (phrase.clone(), SeatPitches::of(passage, phrase.clone()));
            &mut self.phrase.insert(last.unwrap_or_else(here)).1
        };
        let is_seating = pitches.is_seating(pair);
        self.known.insert((from, pair.0, pair.1), is_seating);
        is_seating
    }
}

/// The pitch of each seat in some sonorities, `None` where it rests.
struct SeatPitches(Vec<Vec<Option<i16>>>);

impl SeatPitches {
    fn of(passage: &Passage, range: Range<usize>) -> Self {
        let sonorities = passage.sonorities.get(range).unwrap_or_default();
        let of_each = sonorities.iter().map(|sonority| {
            let mut by_seat = vec![None; passage.section.parts.len()];
            // From the bottom: of several notes of a seat the top one counts.
            for voice in sonority.voices.iter().rev() {
                if let Some(slot) = by_seat.get_mut(usize::from(voice.seat)) {
                    *slot = Some(voice.midi);
                }
            }
            by_seat
        });
        Self(of_each.collect())
    }

    /// Whether two seats have changed places more often than not: that is how the writer seated them.
    fn is_seating(&self, (upper, lower): (u16, u16)) -> bool {
        let mut more = 0i64;
        for by_seat in &self.0 {
            let of = |seat: u16| by_seat.get(usize::from(seat)).copied().flatten();
            if let (Some(a), Some(b)) = (of(upper), of(lower)) {
                match a.cmp(&b) {
                    Ordering::Less => more += 1,
                    Ordering::Greater => more -= 1,
                    Ordering::Equal => {}
                }
            }
        }
        more > 0
    }
}

/// Parts that, an octave away, put every seat in its order.
fn octaves_astray(crossing: &Crossing<'_>) -> Vec<Vec<Change>> {
    let mut seated: Vec<&Voice> = crossing.at.sonority.voices.iter().collect();
    seated.sort_unstable_by_key(|v| (v.seat, v.midi));
    let of_note: FxHashMap<NoteRef, usize> = seated.iter().map(|v| v.note).zip(0..).collect();
    let midi = |at: Option<usize>| Some(seated.get(at?)?.midi);
    // How many neighbours are out of order, of those at a place with this pitch there.
    let around = |at: usize, pitch: i16| {
        let above = midi(at.checked_sub(1)).is_some_and(|m| m <= pitch);
        let below = midi(Some(at + 1)).is_some_and(|m| pitch <= m);
        usize::from(above) + usize::from(below)
    };
    let out_of_order = |w: &[&Voice]| matches!(w, [a, b] if a.midi <= b.midi);
    let wrong = seated.windows(2).filter(|w| out_of_order(w)).count();
    let ways = crossing
        .faults
        .iter()
        .flat_map(|f| [-1i8, 1].map(|octave| (f.note, f.found.octaves(octave))));
    ways.filter(|(note, pitch)| {
        of_note.get(note).is_some_and(|&at| {
            midi(Some(at)).is_some_and(|own| wrong == around(at, own))
                && around(at, pitch.midi()) == 0
        })
    })
    .map(|(note, sounding)| vec![Change { note, sounding }])
    .collect()
}

/// How far the parts of a crossing move from the chord before and into the next, in semitones, when these
/// notes are changed.
fn motion(crossing: &Crossing<'_>, way: &[Change]) -> i32 {
    let SonorityAt { passage, index, .. } = crossing.at;
    let near = [index.checked_sub(1), index.checked_add(1)];
    let beside = near.map(|at| at.and_then(|i| passage.sonorities.get(i)));
    let moved = crossing.faults.iter().map(|fault| {
        let change = way.iter().find(|c| c.note == fault.note);
        let midi = change.map_or(fault.found, |c| c.sounding).midi();
        let steps = beside.iter().flatten().filter_map(|sonority| {
            let mut voices = sonority.voices.iter();
            let own = voices.find(|v| v.note.part == fault.note.part)?;
            Some(i32::from((own.midi - midi).abs()))
        });
        steps.sum::<i32>()
    });
    moved.sum()
}

impl Crossing<'_> {
    /// A technique is in force.
    pub fn has_technique(&self) -> bool {
        let diagnosis = self.at.passage.diagnoses.get(self.at.index);
        diagnosis.is_some_and(|d| d.technique.is_some())
    }

    /// With the seats in order, or one of them an octave away, the lines into the crossing and out of it
    /// move clearly less. Lines that cross by steps are written so.
    fn is_smoother_in_order(&self) -> bool {
        let passage = self.at.passage;
        let sonority = |at: Option<usize>| at.and_then(|i| passage.sonorities.get(i));
        let ends = [
            (self.at.index, self.at.index.checked_sub(1)),
            (self.last, self.last.checked_add(1)),
        ];
        let (mut as_written, mut in_order) = (0, 0);
        for (here, beside) in ends {
            if let (Some(here), Some(beside)) = (sonority(Some(here)), sonority(beside)) {
                let mut own: SmallVec<[&Voice; 8]> = here.voices.iter().collect();
                own.retain(|v| self.faults.iter().any(|f| f.note.part == v.note.part));
                // Voices are in order of pitch, so their seats in order have the pitches in turn.
                let mut seats = own.clone();
                seats.sort_unstable_by_key(|v| v.seat);
                for (seat, ordered) in seats.iter().zip(&own) {
                    let mut others = beside.voices.iter();
                    if let Some(other) = others.find(|v| v.seat == seat.seat) {
                        as_written += i32::from((other.midi - seat.midi).abs());
                        in_order += i32::from((other.midi - ordered.midi).abs());
                    }
                }
            }
        }
        let octave = octaves_astray(self)
            .into_iter()
            .map(|way| motion(self, &way));
        let octave = octave.min().filter(|_| self.last == self.at.index);
        CLEARLY_LESS.0 * octave.map_or(in_order, |o| o.min(in_order)) <= CLEARLY_LESS.1 * as_written
    }

    /// The finding of a rule for this crossing: `what`, and who has which note.
    pub fn finding(&self, score: &Score, rule: &Rule, what: &str) -> Finding {
        let mut message = format!("{what}: {}", wording::who_has(score, &self.faults));
        if self.length > 1 {
            message = format!("{message}; they stay so for {} chords", self.length);
        }
        let diagnosis = self.at.passage.diagnoses.get(self.at.index);
        // One part went up or down an octave, or seats have each other's notes: the smoother lines tell.
        let mut ways = octaves_astray(self);
        ways.extend(remedies([&self.faults]));
        // To give each other's notes back changes nothing of the chord; one slip changes few parts.
        // The top seat has the tune.
        let tune = self.at.sonority.voices.iter().find(|v| v.seat == 0);
        let unlikely = |way: &Vec<Change>| {
            let is_tune = |c: &Change| tune.is_some_and(|v| v.note == c.note);
            let tune = if way.iter().any(is_tune) {
                TUNE_CHANGED
            } else {
                0
            };
            tune + match way.len() {
                1 => CHORD_CHANGED,
                n => (n as i32 - 2) * FURTHER_PART,
            }
        };
        ways.sort_by_key(|way| motion(self, way) + unlikely(way));
        self.at
            .finding(score, rule, message)
            .technique(diagnosis.and_then(|d| d.technique).map(|t| t.technique))
            .mark(wording::marks(score, &self.faults))
            .expecting(self.at.sonority.pitches())
            .suggestion(wording::instead(score, &self.faults))
            .may_mend(ways)
    }
}
