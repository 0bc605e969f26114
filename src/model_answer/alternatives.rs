//! The best other voicings of each note: what the whole line would cost with them, and what each gives up.

use super::answer::{Answer, Step, Weighed};
use super::cheapest::{cost_of_moving, own_cost};
use crate::ground::instrument::RangeVerdict;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::identity::identify_all;
use crate::score::{
    Clef, Key, Mark, Note, NoteFlags, Part, PartBar, Place, Rest, Score, SpokenPitch,
};
use crate::voicing::low;

/// One voicing of a note, in its place among the others.
#[derive(Clone, Debug)]
pub struct Alternative {
    /// The voicing.
    pub weighed: Weighed,
    /// How much more the whole line costs with it, in points; 0 for what was taken.
    pub more: i32,
    /// What it gives up beside what was taken, in words; empty for what was taken.
    pub gives_up: Vec<String>,
}

/// Of each step of an answer the best voicings, what was taken first: so many in all.
pub fn alternatives(answer: &Answer, count: usize) -> Vec<Vec<Alternative>> {
    let through = Through::of(&answer.steps);
    let seats = Seats::of(&answer.score);
    let steps = answer.steps.iter().enumerate();
    steps
        .map(|(at, step)| {
            let taken = through.cost(at, &step.chosen);
            let mut others: Vec<(i32, &Weighed)> = step
                .choices
                .iter()
                .filter(|c| c.voicing != step.chosen.voicing)
                .filter_map(|c| Some((through.cost(at, c)?, c)))
                .collect();
            others.sort_by_key(|(cost, c)| (*cost, c.cost));
            let first = Alternative {
                weighed: step.chosen.clone(),
                more: 0,
                gives_up: Vec::new(),
            };
            let neighbours = Neighbours {
                before: at.checked_sub(1).and_then(|i| answer.steps.get(i)),
                after: answer.steps.get(at + 1),
            };
            let mut seen = vec![&step.chosen.voicing];
            let others = others.into_iter().filter_map(|(cost, other)| {
                if seen.contains(&&other.voicing) {
                    return None;
                }
                seen.push(&other.voicing);
                Some(Alternative {
                    weighed: other.clone(),
                    more: cost - taken.unwrap_or(cost),
                    gives_up: seats.gives_up(step, other, &neighbours),
                })
            });
            std::iter::once(first)
                .chain(others)
                .take(count.max(1))
                .collect()
        })
        .collect()
}

/// What the best whole line costs through each option of each step.
struct Through<'a> {
    steps: &'a [Step],
    costs: Vec<Vec<i32>>,
}

impl<'a> Through<'a> {
    fn of(steps: &'a [Step]) -> Self {
        let forward = sweep(steps, &cost_of_moving);
        let back: Vec<Step> = steps.iter().rev().cloned().collect();
        let mut backward = sweep(&back, &|a, b| cost_of_moving(b, a));
        backward.reverse();
        let costs = forward.into_iter().zip(backward).zip(steps);
        let costs = costs.map(|((f, b), step)| {
            let own = step.choices.iter().map(own_cost);
            f.into_iter()
                .zip(b)
                .zip(own)
                .map(|((f, b), own)| f + b - own)
                .collect()
        });
        Self {
            steps,
            costs: costs.collect(),
        }
    }

    fn cost(&self, at: usize, option: &Weighed) -> Option<i32> {
        let step = self.steps.get(at)?;
        let index = step.choices.iter().position(|c| c == option)?;
        self.costs.get(at)?.get(index).copied()
    }
}

/// For each option of each step the cheapest way to it, its own cost with it.
fn sweep(steps: &[Step], moving: &dyn Fn(&Weighed, &Weighed) -> i32) -> Vec<Vec<i32>> {
    let mut table: Vec<Vec<i32>> = Vec::with_capacity(steps.len());
    for (at, step) in steps.iter().enumerate() {
        let from = at
            .checked_sub(1)
            .and_then(|i| Some((table.get(i)?, &steps.get(i)?.choices)));
        let row = step.choices.iter().map(|option| {
            let way = from.and_then(|(costs, options)| {
                let ways = costs.iter().zip(options);
                ways.map(|(cost, o)| cost + moving(o, option)).min()
            });
            own_cost(option) + way.unwrap_or(0)
        });
        let row = row.collect();
        table.push(row);
    }
    table
}

/// What was taken before and after.
struct Neighbours<'a> {
    before: Option<&'a Step>,
    after: Option<&'a Step>,
}

/// Who plays which voice.
struct Seats<'a> {
    score: &'a Score,
}

impl<'a> Seats<'a> {
    const fn of(score: &'a Score) -> Self {
        Self { score }
    }

    /// The names of the parts that have each voice at a step.
    fn parts(&self, step: &Step) -> Vec<Option<usize>> {
        let mut taken: Vec<usize> = Vec::new();
        let chordal = self.score.parts.len() < step.chosen.voicing.len();
        let voices = step.chosen.voicing.iter();
        voices
            .map(|&midi| {
                let sounds = |n: &&Note| {
                    n.onset <= step.onset && step.onset < n.end() && n.sounding.midi() == midi
                };
                let mut parts = self.score.parts.iter().enumerate();
                let found = parts.find(|(i, p)| {
                    (chordal || !taken.contains(i)) && p.notes.iter().any(|n| sounds(&n))
                });
                let index = found.map(|(i, _)| i);
                taken.extend(index);
                index
            })
            .collect()
    }

    fn name(&self, part: Option<usize>, voice: usize) -> String {
        let part = part.and_then(|i| self.score.parts.get(i));
        let single = self.score.parts.len() > 1;
        match part.filter(|_| single) {
            Some(part) => part.name.clone(),
            None => format!("voice {}", voice + 1),
        }
    }

    /// What a voicing gives up beside the one that was taken.
    fn gives_up(&self, step: &Step, other: &Weighed, neighbours: &Neighbours<'_>) -> Vec<String> {
        let taken = &step.chosen;
        let mut words = Vec::new();
        if other.technique != taken.technique {
            words.push(format!("{} ({} instead)", taken.technique, other.technique));
        }
        let label = |o: &Weighed| o.harmony.as_ref().map(|(_, l)| l.clone());
        if let (Some(own), Some(first)) = (label(other), label(taken))
            && own != first
        {
            words.push(format!("{first} ({own} instead)"));
        } else if !taken.names.is_empty() && taken.names.len() == other.names.len() {
            let missing = |a: &Weighed, b: &Weighed| -> Vec<String> {
                let lost = a.names.iter().filter(|n| !b.names.contains(n));
                lost.map(ToString::to_string).collect()
            };
            let (lost, new) = (missing(taken, other), missing(other, taken));
            if !lost.is_empty() {
                words.push(format!("{} ({} instead)", lost.join(" "), new.join(" ")));
            }
        }
        let parts = self.parts(step);
        words.extend(self.registers(taken, other, &parts));
        words.extend(self.leaps(step, other, neighbours, &parts));
        let low_before = lowest_rub(&taken.voicing);
        if lowest_rub(&other.voicing) && !low_before {
            words.push("distance from the low limits".to_owned());
        }
        if words.is_empty() {
            words.push("a little smoothness".to_owned());
        }
        words
    }

    /// The seats that leave their comfortable register.
    fn registers(
        &self,
        taken: &Weighed,
        other: &Weighed,
        parts: &[Option<usize>],
    ) -> Option<String> {
        let identities = identify_all(self.score.instruments.catalogue(), &self.score.parts);
        let strained = |part: Option<usize>, midi: i16| {
            let index = part?;
            let instrument = identities.get(index)?.as_ref()?.instrument;
            let by = self.score.parts.get(index)?.transposition(Ticks::ZERO);
            let verdict = instrument.judge_range(midi - by.chromatic, None);
            Some(verdict != RangeVerdict::Comfortable)
        };
        let mut names: Vec<String> = Vec::new();
        for (voice, (own, before)) in other.voicing.iter().zip(&taken.voicing).enumerate() {
            let part = parts.get(voice).copied().flatten();
            let now = strained(part, *own) == Some(true);
            if now && strained(part, *before) != Some(true) {
                names.push(self.name(part, voice));
            }
        }
        (!names.is_empty()).then(|| format!("the comfortable register of {}", names.join(" and ")))
    }

    /// The seats that leap over a fifth, or strike the same note again, where they did not.
    fn leaps(
        &self,
        step: &Step,
        other: &Weighed,
        neighbours: &Neighbours<'_>,
        parts: &[Option<usize>],
    ) -> Vec<String> {
        let mut leaping: Vec<String> = Vec::new();
        let mut repeating: Vec<String> = Vec::new();
        let sides = [neighbours.before, neighbours.after];
        for side in sides.into_iter().flatten() {
            let beside = &side.chosen.voicing;
            let lead = (side.lead - step.lead).abs();
            for (voice, &to) in other.voicing.iter().enumerate().skip(1) {
                let (Some(&at), Some(&before)) =
                    (beside.get(voice), step.chosen.voicing.get(voice))
                else {
                    continue;
                };
                let name = || self.name(parts.get(voice).copied().flatten(), voice);
                let (now, then) = ((at - to).abs(), (at - before).abs());
                if now > 7 && then <= 7 && !leaping.contains(&name()) {
                    leaping.push(name());
                }
                if now == 0 && then > 0 && lead > 0 && !repeating.contains(&name()) {
                    repeating.push(name());
                }
            }
        }
        let mut words = Vec::new();
        if !leaping.is_empty() {
            words.push(format!("a smooth line in {}", leaping.join(" and ")));
        }
        if !repeating.is_empty() {
            words.push(format!("movement in {}", repeating.join(" and ")));
        }
        words
    }
}

/// Whether an interval lies lower than it is usually let.
fn lowest_rub(voicing: &[i16]) -> bool {
    voicing
        .windows(2)
        .any(|w| matches!(w, [a, b] if low::below(*a, *b).is_some()))
}

/// The first, second, third ... voicings of each note as parts of two staves at sounding pitch, one above the
/// other.
pub fn one_above_the_other(answer: &Answer, all: &[Vec<Alternative>]) -> Score {
    let ranks = all.iter().map(Vec::len).max().unwrap_or(0);
    let mut score = Score {
        title: answer.score.title.clone(),
        per_quarter: answer.score.per_quarter,
        instruments: answer.score.instruments,
        // Choices are compared as they sound.
        spoken: SpokenPitch::Sounding,
        ..Score::default()
    };
    for rank in 0..ranks {
        let mut part = blank(&answer.score, rank);
        let chosen = answer.steps.iter().zip(all);
        for (step, alternatives) in chosen {
            if let Some(alternative) = alternatives.get(rank) {
                write(&answer.score, step, &alternative.weighed, &mut part);
            }
        }
        fill_with_rests(&answer.score, &mut part);
        score.parts.push(part);
    }
    score.lay_out();
    score
}

fn mark<T>(at: Place, value: T) -> Mark<T> {
    Mark::new(at, value, Span::default())
}

/// A part of two staves without notes.
fn blank(score: &Score, rank: usize) -> Part {
    let Some(own) = score.parts.first() else {
        return Part::default();
    };
    let clef = |sign, line, staff| {
        let octave = 0;
        mark(
            Place::default(),
            Clef {
                sign,
                line,
                octave,
                staff,
            },
        )
    };
    let keys = own.keys.iter().map(|m| {
        let fifths = own.concert_fifths(m.onset);
        mark(
            m.at,
            Key {
                fifths,
                minor: m.value.minor,
            },
        )
    });
    Part {
        name: match rank {
            0 => "taken".to_owned(),
            n => format!("choice {}", n + 1),
        },
        instrument: Some("piano".to_owned()),
        staves: 2,
        bars: own
            .bars
            .iter()
            .map(|b| PartBar {
                number: b.number.clone(),
                filled: b.filled,
                uncounted: b.uncounted,
                double_bar: b.double_bar,
                ..PartBar::default()
            })
            .collect(),
        keys: keys.collect(),
        meters: own.meters.iter().map(|m| mark(m.at, m.value)).collect(),
        clefs: vec![clef('G', 2, 1), clef('F', 4, 2)],
        chords: if rank == 0 {
            score.chords.clone()
        } else {
            Vec::new().into()
        },
        ..Part::default()
    }
}

/// The notes of a voicing, cut at the bar lines, from middle C up in the upper staff.
fn write(score: &Score, step: &Step, weighed: &Weighed, part: &mut Part) {
    let mut voicing = weighed.voicing.clone();
    voicing.sort_unstable_by(|a, b| b.cmp(a));
    voicing.dedup();
    let key = part.concert_fifths(step.onset);
    for (first, (from, to)) in pieces(score, step.onset, step.end) {
        let mut before = None;
        for &midi in &voicing {
            let staff = if midi >= 60 { 1 } else { 2 };
            let own = weighed
                .names
                .iter()
                .find(|n| n.class() == PitchClass::new(midi));
            let pitch = if midi == step.lead {
                Some(step.pitch)
            } else {
                own.and_then(|n| Pitch::named(*n, midi))
            };
            let pitch = pitch.unwrap_or_else(|| Pitch::in_key(midi, key));
            let mut flags = NoteFlags::default();
            if before == Some(staff) {
                flags = flags.with(NoteFlags::CHORD_MEMBER);
            }
            if !first {
                flags = flags.with(NoteFlags::TIED_IN);
            }
            if to < step.end {
                flags = flags.with(NoteFlags::TIED_OUT);
            }
            before = Some(staff);
            part.notes.push(Note {
                at: score.place_of(from),
                onset: from,
                duration: to - from,
                written: pitch,
                sounding: pitch,
                staff,
                voice: staff,
                flags,
                articulations: crate::score::Articulations::default(),
                span: Span::default(),
            });
        }
    }
}

/// A time cut at bar lines; whether each piece is the first.
fn pieces(score: &Score, from: Ticks, to: Ticks) -> Vec<(bool, (Ticks, Ticks))> {
    let bars = score.bars.iter();
    let cut = bars.filter_map(|bar| {
        let (start, end) = (bar.start.max(from), (bar.start + bar.length).min(to));
        (start < end).then_some((start == from, (start, end)))
    });
    cut.collect()
}

/// Rests where a staff has no notes.
fn fill_with_rests(score: &Score, part: &mut Part) {
    for staff in 1..=2 {
        let mut at = Ticks::ZERO;
        let mut gaps: Vec<(Ticks, Ticks)> = Vec::new();
        for note in part.notes.iter().filter(|n| n.staff == staff) {
            if note.onset > at {
                gaps.push((at, note.onset));
            }
            at = at.max(note.end());
        }
        let end = score.bars.last().map_or(at, |b| b.start + b.length);
        if end > at {
            gaps.push((at, end));
        }
        for (from, to) in gaps {
            for (_, (from, to)) in pieces(score, from, to) {
                part.rests.push(Rest {
                    at: score.place_of(from),
                    onset: from,
                    duration: to - from,
                    staff,
                    voice: staff,
                    whole_bar: false,
                    span: Span::default(),
                });
            }
        }
    }
}
