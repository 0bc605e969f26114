//! The same answer in many keys: the lead moved, voiced anew in each, and all put one after the other.

use super::answer::{Answer, Step};
use super::request::{Request, VoiceError};
use super::voice;
use crate::ground::chord::Chord;
use crate::ground::pitch::{NoteName, Transposition};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{Mark, Part, PartBar, Place, Rest, Score, Shared};
use crate::style::Style;

/// The keys that are asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Keys {
    /// All twelve, the lead's own first, then always a fourth up.
    All,
    /// These, by their keynotes, in this order.
    These(Vec<NoteName>),
}

/// An answer in one key.
#[derive(Clone, Debug)]
pub struct KeyedAnswer {
    /// "Bb major".
    pub key: String,
    /// The answer, or why there is none.
    pub answer: Result<Answer, VoiceError>,
}

/// Voices a lead in each of the keys asked for: as near to where it stands as the ranges let it.
pub fn voice_in_keys(
    score: &Score,
    style: &Style,
    request: &Request,
    keys: &Keys,
) -> Vec<KeyedAnswer> {
    let own = own_key(score);
    keys.fifths(own)
        .into_iter()
        .map(|fifths| {
            let answer = nearest(score, style, request, own.fifths, fifths);
            KeyedAnswer {
                key: own.name(fifths),
                answer,
            }
        })
        .collect()
}

/// The concert key at the start of a score.
#[derive(Clone, Copy)]
struct OwnKey {
    fifths: i16,
    minor: bool,
}

impl OwnKey {
    /// What a key of so many fifths is called.
    fn name(self, fifths: i16) -> String {
        let tonic = fifths + if self.minor { 3 } else { 0 };
        let mode = if self.minor { "minor" } else { "major" };
        format!("{} {mode}", NoteName::from_fifths(tonic))
    }
}

fn own_key(score: &Score) -> OwnKey {
    let part = score.parts.iter().find(|p| !p.keys.is_empty());
    part.map_or(
        OwnKey {
            fifths: 0,
            minor: false,
        },
        |p| OwnKey {
            fifths: i16::from(p.concert_fifths(Ticks::ZERO)),
            minor: p.key(Ticks::ZERO).minor,
        },
    )
}

/// Within six flats and five sharps: Gb, not F#.
const fn usual(fifths: i16) -> i16 {
    (fifths + 6).rem_euclid(12) - 6
}

impl Keys {
    /// The signatures in order.
    fn fifths(&self, own: OwnKey) -> Vec<i16> {
        match self {
            Self::All => (0..12)
                .map(|n| {
                    if n == 0 {
                        own.fifths
                    } else {
                        usual(own.fifths - n)
                    }
                })
                .collect(),
            Self::These(tonics) => tonics
                .iter()
                .map(|tonic| {
                    let fifths = fifths_of(*tonic) - if own.minor { 3 } else { 0 };
                    if (-7..=7).contains(&fifths) {
                        fifths
                    } else {
                        usual(fifths)
                    }
                })
                .collect(),
        }
    }
}

/// A note's place in the circle of fifths, C at 0.
fn fifths_of(name: NoteName) -> i16 {
    let found = (-15..=15).find(|&n| NoteName::from_fifths(n) == name);
    found.unwrap_or(0)
}

/// The interval between two keys, by an octave that lies nearest.
fn interval(from: i16, to: i16) -> Transposition {
    let by = to - from;
    let (mut diatonic, mut chromatic) = (by * 4, by * 7);
    while chromatic > 6 {
        chromatic -= 12;
        diatonic -= 7;
    }
    while chromatic < -5 {
        chromatic += 12;
        diatonic += 7;
    }
    Transposition {
        diatonic,
        chromatic,
    }
}

/// The answer in a key, in the octave that lies best for the players, of equals the one nearest to the lead's own;
/// where not all of it can be written in any, in the nearest.
fn nearest(
    score: &Score,
    style: &Style,
    request: &Request,
    from: i16,
    to: i16,
) -> Result<Answer, VoiceError> {
    let near = interval(from, to);
    let octave = |up: i16| Transposition {
        diatonic: near.diatonic + 7 * up,
        chromatic: near.chromatic + 12 * up,
    };
    let strict = Request {
        strict: true,
        ..request.clone()
    };
    let answers = [0, 1, -1].map(octave).into_iter().filter_map(|way| {
        let answer = voice(&moved(score, way, to - from), style, &strict).ok()?;
        Some((strain(&answer), way.chromatic.abs(), answer))
    });
    if let Some((_, _, answer)) = answers.min_by_key(|(strain, far, _)| (*strain, *far)) {
        return Ok(answer);
    }
    voice(&moved(score, near, to - from), style, request)
}

/// What the voicings of an answer cost on the average, in quarters of a point: high where players leave their
/// comfortable registers.
fn strain(answer: &Answer) -> i32 {
    let steps = i32::try_from(answer.steps.len()).unwrap_or(i32::MAX).max(1);
    let sum: i32 = answer.steps.iter().map(|s| s.chosen.cost).sum();
    sum.saturating_mul(4) / steps
}

/// A score moved by an interval, its signatures by so many fifths.
fn moved(score: &Score, by: Transposition, fifths: i16) -> Score {
    let mut moved = score.clone();
    for part in &mut moved.parts {
        for note in &mut part.notes {
            note.sounding = note.sounding.transposed(by);
            note.written = note.written.transposed(by);
        }
        for mark in &mut part.keys {
            let key = i16::from(mark.value.fifths) + fifths;
            let key = if (-7..=7).contains(&key) {
                key
            } else {
                usual(key)
            };
            mark.value.fifths = i8::try_from(key).unwrap_or(0);
        }
        for mark in &mut part.chords {
            mark.value.chord = mark.value.chord.as_ref().map(|c| plainly(c.transposed(by)));
        }
    }
    moved.lay_out();
    moved
}

/// A chord whose root has one accidental at most.
fn plainly(chord: Chord) -> Chord {
    match chord.root.alter {
        ..=-2 => chord.transposed(Transposition {
            diatonic: -1,
            chromatic: 0,
        }),
        2.. => chord.transposed(Transposition {
            diatonic: 1,
            chromatic: 0,
        }),
        _ => chord,
    }
}

/// Answers one after the other as one: each begins with its key as a rehearsal mark and ends with a bar of rest and
/// a double bar.
/// `None` when there is none.
pub fn joined(answers: &[(String, &Answer)]) -> Option<Answer> {
    let (_, first) = answers.first()?;
    let mut score = Score {
        title: first.score.title.clone(),
        per_quarter: first.score.per_quarter,
        instruments: first.score.instruments,
        parts: first.score.parts.iter().map(blank).collect(),
        ..Score::default()
    };
    let mut steps: Vec<Step> = Vec::new();
    let mut remarks = Vec::new();
    let mut bars_before = 0;
    let mut time_before = Ticks::ZERO;
    let count = answers.len();
    for (index, (key, answer)) in answers.iter().enumerate() {
        let moved = Moved::new(&answer.score, bars_before, index + 1 == count);
        for (into, from) in score.parts.iter_mut().zip(&answer.score.parts) {
            moved.append(from, into);
            if let Some(bar) = into.bars.get_mut(bars_before as usize) {
                bar.rehearsal = Some(key.clone());
            }
            if let Some(bar) = into.bars.last_mut() {
                bar.double_bar = true;
            }
        }
        let stated = answer.score.stated.iter();
        score.stated.extend(stated.map(|m| moved.mark(m)));
        let later = |onset: Ticks| onset + time_before + moved.pickup;
        steps.extend(answer.steps.iter().map(|s| Step {
            onset: later(s.onset),
            end: later(s.end),
            ..s.clone()
        }));
        remarks.extend(answer.remarks.iter().map(|r| {
            let mut remark = r.clone();
            remark.onset = r.onset.map(later);
            remark.place = format!("{key}, {}", r.place);
            remark
        }));
        let end = answer.score.bars.last().map(|b| b.start + b.length);
        time_before =
            later(end.unwrap_or_default()) + moved.lacks + moved.pause.unwrap_or_default();
        let bars = u32::try_from(answer.score.bars.len()).unwrap_or(0);
        bars_before += bars + u32::from(moved.pause.is_some());
    }
    score.lay_out();
    Some(Answer {
        score,
        remarks,
        steps,
    })
}

/// A part without its music.
fn blank(part: &Part) -> Part {
    Part {
        notes: Shared::default(),
        rests: Shared::default(),
        bars: Shared::default(),
        keys: Vec::new(),
        meters: Vec::new(),
        clefs: Vec::new(),
        words: Shared::default(),
        dynamics: Shared::default(),
        chords: Shared::default(),
        tempos: Vec::new(),
        ..part.clone()
    }
}

/// How far the music of an answer is moved back, and what its bars are filled with.
struct Moved {
    bars: u32,
    /// The rest that fills its first bar.
    pickup: Ticks,
    /// The rest that fills its last bar.
    lacks: Ticks,
    /// The bar of rest after it: players breathe, and read the next key.
    pause: Option<Ticks>,
}

impl Moved {
    fn new(score: &Score, bars: u32, is_last: bool) -> Self {
        let full = |at: Ticks| score.meter_at(at).bar(score.per_quarter);
        let first = score.bars.first().filter(|b| b.pickup && bars > 0);
        let last = score.bars.last().filter(|_| !is_last);
        Self {
            bars,
            pickup: first.map_or(Ticks::ZERO, |b| full(b.start) - b.length),
            lacks: last.map_or(Ticks::ZERO, |b| (full(b.start) - b.length).max(Ticks::ZERO)),
            pause: last.map(|b| full(b.start)),
        }
    }

    fn place(&self, at: Place) -> Place {
        let first = at.bar == 0;
        Place {
            bar: at.bar + self.bars,
            offset: if first {
                at.offset + self.pickup
            } else {
                at.offset
            },
        }
    }

    fn mark<T: Clone>(&self, mark: &Mark<T>) -> Mark<T> {
        // What holds from the start holds from the bar line.
        let at = if mark.at == Place::default() {
            Place {
                bar: self.bars,
                offset: Ticks::ZERO,
            }
        } else {
            self.place(mark.at)
        };
        Mark::new(at, mark.value.clone(), Span::default())
    }

    /// The rests before a pickup, in a last bar that is short, and the bar of rest.
    fn fill(&self, from: &Part, into: &mut Part) {
        let last = self.bars + u32::try_from(from.bars.len()).unwrap_or(0);
        let ends = from.bars.last().map_or(Ticks::ZERO, |b| b.filled);
        if let Some(length) = self.pause {
            into.bars.push(PartBar {
                number: (last + 1).to_string(),
                filled: length,
                ..PartBar::default()
            });
        }
        let rests = [
            (self.bars, Ticks::ZERO, self.pickup, false),
            (last.saturating_sub(1), ends, self.lacks, false),
            (last, Ticks::ZERO, self.pause.unwrap_or_default(), true),
        ];
        for (bar, offset, duration, whole_bar) in rests {
            for staff in 1..=from.staves.max(1) {
                if duration > Ticks::ZERO {
                    into.rests.push(Rest {
                        at: Place { bar, offset },
                        onset: Ticks::ZERO,
                        duration,
                        staff,
                        voice: staff,
                        whole_bar,
                        span: Span::default(),
                    });
                }
            }
        }
    }

    fn append(&self, from: &Part, into: &mut Part) {
        let number = |index: usize| (self.bars as usize + index + 1).to_string();
        for (index, bar) in from.bars.iter().enumerate() {
            let mut bar = bar.clone();
            if self.bars > 0 {
                bar.number = number(index);
            }
            if index == 0 && self.pickup > Ticks::ZERO {
                bar.filled += self.pickup;
                bar.uncounted = false;
            }
            if index + 1 == from.bars.len() {
                bar.filled += self.lacks;
            }
            into.bars.push(bar);
        }
        for note in &from.notes {
            let mut note = *note;
            note.at = self.place(note.at);
            into.notes.push(note);
        }
        for rest in &from.rests {
            let mut rest = *rest;
            rest.at = self.place(rest.at);
            into.rests.push(rest);
        }
        self.fill(from, into);
        into.keys.extend(from.keys.iter().map(|m| self.mark(m)));
        into.meters.extend(from.meters.iter().map(|m| self.mark(m)));
        into.clefs.extend(from.clefs.iter().map(|m| self.mark(m)));
        into.words.extend(from.words.iter().map(|m| self.mark(m)));
        into.dynamics
            .extend(from.dynamics.iter().map(|m| self.mark(m)));
        into.chords.extend(from.chords.iter().map(|m| self.mark(m)));
        if self.bars == 0 {
            into.tempos.extend(from.tempos.iter().map(|m| self.mark(m)));
        }
    }
}

impl std::str::FromStr for Keys {
    type Err = NoSuchKey;

    /// Reads `all`, or keynotes such as `F, Bb, Eb`.
    fn from_str(text: &str) -> Result<Self, NoSuchKey> {
        if text.trim().eq_ignore_ascii_case("all") {
            return Ok(Self::All);
        }
        let names = text.split([',', ' ']).filter(|t| !t.is_empty());
        let read = names.map(|name| {
            let known = (-8..=11).map(NoteName::from_fifths);
            let mut known = known.filter(|n| n.to_string().eq_ignore_ascii_case(name));
            known.next().ok_or_else(|| NoSuchKey(name.to_owned()))
        });
        let all: Vec<NoteName> = read.collect::<Result<_, _>>()?;
        if all.is_empty() {
            return Err(NoSuchKey(text.to_owned()));
        }
        Ok(Self::These(all))
    }
}

/// No key has this name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no keynote: write all, or keynotes such as F, Bb, Eb")]
pub struct NoSuchKey(String);
