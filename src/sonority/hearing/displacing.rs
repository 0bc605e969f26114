//! Stretches of a part that stand at another pitch than they are meant: an octave, another interval,
//! a step of the staff.

use super::convincing::{Counts, FEW, convinces, leaps};
use super::likelihood::{Reread, gain};
use super::path::{border, cheapest, follows, last_note, runs};
use super::witness::{Attack, Line, Witness, cost_in};
use crate::ground::pitch::{Pitch, Step, Transposition};
use crate::ground::time::Ticks;
use crate::score::{Displacement, NoteFlags, Score, Stretch, StretchFault};

/// How much easier the others must be to understand with a stretch read otherwise, in nats.
const GAIN: f32 = 10.0;

/// A note at the edge of a stretch is in it where that gains so much, in nats.
const PLAIN: f32 = 0.3;

/// Notes beside it that lose less go with the bar.
const LITTLE: f32 = 0.4;

/// What each note of a stretch must gain on average to be looked at, in nats.
const RATHER: f32 = 0.15;

/// What is against an accidental that the key does not have, in nats.
const ALTERED: f32 = 0.7;

/// What a note costs that is not the one that all others strike, in nats.
const FOREIGN: f32 = 3.0;

/// How much of what a class costs in this score counts for the accidental of a note that is moved by steps.
const TAUGHT: f32 = 0.3;

/// What a note costs that is read otherwise than it stands, in nats.
const OTHERWISE: f32 = 0.25;

/// A way to read notes: what is added to what stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Reading {
    /// Semitones up; none is as it stands.
    Up(i16),
    /// Steps of the staff.
    Steps(i8),
}

/// The widest interval that is tried: a ninth, as between a tenor and a trumpet.
const WIDEST: i16 = 14;

/// How many readings there are.
const READINGS: usize = 2 * WIDEST as usize + 3;

/// A reading by its number; 0 is as it stands.
fn reading(state: usize) -> Reading {
    match state {
        1 => Reading::Steps(1),
        2 => Reading::Steps(-1),
        _ => {
            let n = state.saturating_sub(2) as i16;
            Reading::Up(if n > WIDEST { WIDEST - n } else { n })
        }
    }
}

impl Reading {
    /// Semitones up, where it is an interval.
    const fn semitones(self) -> Option<i16> {
        match self {
            Self::Up(n) => Some(n),
            Self::Steps(_) => None,
        }
    }

    /// Octaves are heard by the order of seats alone.
    const fn is_octave(self) -> bool {
        matches!(self, Self::Up(n) if n % 12 == 0)
    }

    /// What taking it up costs in nats: the likelier the slip, the less.
    const fn prior(self) -> f32 {
        match self {
            Self::Up(0) => 0.0,
            Self::Up(12 | -12) => 0.5,
            Self::Steps(_) | Self::Up(2 | 5 | 7 | -2 | -5 | -7) => 1.0,
            Self::Up(3 | 9 | 10 | 14 | -3 | -9 | -10 | -14) => 1.8,
            Self::Up(_) => 3.0,
        }
    }
}

/// A stretch, and how much easier the score is to understand with it.
pub struct Found {
    pub gain: f32,
    pub stretch: Stretch,
}

/// The stretch of a line that gains most.
pub fn displaced(score: &Score, witness: &Witness, line: usize) -> Option<Found> {
    let own = witness.lines.get(line)?;
    if !witness.may_be_displaced(line) {
        return None;
    }
    let costs = all_costs(score, witness, line);
    let kinds: Vec<Option<[f32; READINGS]>> = own
        .attacks
        .iter()
        .map(|attack| {
            let company = witness.company(attack.moment, line)?;
            Some(std::array::from_fn(|state| {
                let midi = match reading(state) {
                    Reading::Up(n) => attack.midi + n,
                    Reading::Steps(n) => stepped(score, own, attack, n, |_| 0.0)
                        .map_or(attack.midi, |s| s.pitch.midi()),
                };
                company.unlikely(midi)
            }))
        })
        .collect();
    let mut best: Option<Found> = None;
    for (state, from, to) in candidates(score, own, &costs, &kinds) {
        let found = judged(score, witness, line, (state, from, to), &costs);
        if found.as_ref().map_or(0.0, |f| f.gain) > best.as_ref().map_or(0.0, |f| f.gain) {
            best = found;
        }
    }
    best
}

/// Stretches that may be meant otherwise, each with its reading.
fn candidates(
    score: &Score,
    own: &Line,
    costs: &[Option<[f32; READINGS]>],
    kinds: &[Option<[f32; READINGS]>],
) -> Vec<(usize, usize, usize)> {
    let silent = std::array::from_fn(|state| if state == 0 { 0.0 } else { 0.05 });
    let each: Vec<[f32; READINGS]> = costs.iter().map(|c| c.unwrap_or(silent)).collect();
    let path = cheapest(&each, |i| border(score, own, i), |s| reading(s).prior());
    let says = |i: usize| costs.get(i).is_some_and(Option::is_some);
    let mut all: Vec<(usize, usize, usize)> = runs(&path, says, |i| follows(own, i))
        .into_iter()
        .filter_map(|(state, from, to)| {
            let gains = |i: usize| each.get(i).map_or(0.0, |c| c[0] - c[state]);
            let mut first = (from..to).find(|i| gains(*i) > PLAIN)?;
            let mut last = (from..to).rev().find(|i| gains(*i) > PLAIN)?;
            while first > from && holds_on(score, own, first) && gains(first - 1) > -LITTLE {
                first -= 1;
            }
            while last + 1 < to && holds_on(score, own, last + 1) && gains(last + 1) > -LITTLE {
                last += 1;
            }
            Some((state, first, last + 1))
        })
        .collect();
    let mut add = |state: usize, from: usize, to: usize| {
        if let Some((from, to)) = cut(score, own, from, to, says) {
            all.push((state, from, to));
        }
    };
    for state in 1..READINGS {
        if reading(state).is_octave() {
            continue;
        }
        add(state, 0, costs.len());
        let gains = each.iter().map(|c| c[0] - c[state] - RATHER);
        if let Some((from, to)) = most(gains) {
            add(state, from, to);
        }
        let gains = kinds
            .iter()
            .map(|c| c.map_or(0.0, |c| c[0] - c[state] - RATHER));
        if let Some((from, to)) = most(gains) {
            add(state, from, to);
        }
    }
    all
}

/// A stretch cut down to the notes that say something, and those that follow them in their phrase.
fn cut(
    score: &Score,
    own: &Line,
    from: usize,
    to: usize,
    says: impl Fn(usize) -> bool,
) -> Option<(usize, usize)> {
    let mut first = (from..to).find(|i| says(*i))?;
    let mut last = (from..to).rev().find(|i| says(*i))?;
    while first > from && holds_on(score, own, first) {
        first -= 1;
    }
    while last + 1 < to && holds_on(score, own, last + 1) {
        last += 1;
    }
    // Nearly all of it is all of it.
    let all = own.attacks.len();
    if (last + 1 - first) * 10 >= all * 9 {
        return Some((0, all));
    }
    Some((first, last + 1))
}

/// Whether an attack goes on from the one before: no rest and no bar line stands between.
fn holds_on(score: &Score, own: &Line, index: usize) -> bool {
    let at = own.attacks.get(index).map(|a| score.place_of(a.onset));
    follows(own, index) && at.is_some_and(|at| at.offset > Ticks::ZERO)
}

/// The stretch with the greatest sum.
fn most(gains: impl Iterator<Item = f32>) -> Option<(usize, usize)> {
    let (mut best, mut found) = (GAIN / 2.0, None);
    let (mut sum, mut from) = (0.0, 0);
    for (i, gain) in gains.enumerate() {
        if sum <= 0.0 {
            (sum, from) = (0.0, i);
        }
        sum += gain;
        if sum > best {
            (best, found) = (sum, Some((from, i + 1)));
        }
    }
    found
}

/// The notes of a stretch as they are read, what their octaves gain, and what is against them, in nats.
fn reread(
    score: &Score,
    witness: &Witness,
    line: usize,
    attacks: &[Attack],
    state: usize,
) -> (Vec<Reread>, f32, f32) {
    let Some(own) = witness.lines.get(line) else {
        return (Vec::new(), 0.0, 0.0);
    };
    let mut seats = 0.0;
    let mut unlikely = 0.0;
    let reread = attacks
        .iter()
        .filter_map(|attack| {
            let midi = match reading(state) {
                Reading::Up(n) => attack.midi + n,
                Reading::Steps(n) => {
                    let company = witness.company(attack.moment, line);
                    let costs = |midi| company.map_or(0.0, |c| c.unlikely(midi));
                    let step = stepped(score, own, attack, n, costs)?;
                    unlikely += step.unlikely;
                    step.pitch.midi()
                }
            };
            seats += witness.cost_of_seat(attack.moment, line, attack.midi)
                - witness.cost_of_seat(attack.moment, line, midi);
            Some(Reread {
                attack: *attack,
                midi,
            })
        })
        .collect();
    (reread, seats, unlikely)
}

/// Judges a stretch by what all chords are with it.
fn judged(
    score: &Score,
    witness: &Witness,
    line: usize,
    (state, from, to): (usize, usize, usize),
    costs: &[Option<[f32; READINGS]>],
) -> Option<Found> {
    let own = witness.lines.get(line)?;
    let attacks = own.attacks.get(from..to)?;
    let (reread, seats, unlikely) = reread(score, witness, line, attacks, state);
    let all = costs.iter().flatten().count();
    let whole = counted_of(costs, from, to) * 10 >= all * 9;
    let (mut compared, mut fit, mut stand, mut outer) = (0, 0, 0, 0);
    let mut away = 0;
    for Reread { attack, midi } in &reread {
        let Some(company) = witness.company(attack.moment, line) else {
            continue;
        };
        compared += 1;
        outer += usize::from(witness.is_outer(attack.moment, line));
        away += witness.away(attack.moment, line, *midi)
            - witness.away(attack.moment, line, attack.midi);
        let crosses = |midi| witness.crosses(attack.moment, line, midi);
        fit += usize::from(company.is_usual(*midi) && !crosses(*midi));
        stand += usize::from(company.is_usual(attack.midi) && !crosses(attack.midi));
    }
    // Of two parts that may both be an octave off from beginning to end, it is the one far from the rest.
    if whole && reading(state).is_octave() && away > 0 {
        return None;
    }
    let chords = gain(witness, line, reread.into_iter());
    let seats = if whole && !reading(state).is_octave() {
        0.0
    } else {
        seats
    };
    let gain = chords + seats - unlikely - reading(state).prior();
    let counts = Counts {
        gain,
        compared,
        fit,
        stand,
        whole,
        outer: outer * 2 > compared,
        octave: reading(state).is_octave().then(|| {
            let away = reading(state).semitones();
            stand == 0 && (compared > FEW || away.is_some_and(|n| leaps(own, from, to, n)))
        }),
    };
    if gain < GAIN || !convinces(own, (from, to), &counts, reading(state).semitones()) {
        return None;
    }
    // What cannot be compared goes with a whole part, where it is in unison with the others so.
    let (from, to) = if whole && unisons(score, witness, line, state) {
        (0, own.attacks.len())
    } else {
        (from, to)
    };
    Some(Found {
        gain,
        stretch: Stretch {
            part: own.part,
            from: own.attacks.get(from)?.note,
            to: last_note(score, own, to)?,
            fault: read_otherwise(score, witness, line, (from, to), reading(state), TAUGHT)?,
            compared: counts.compared,
            fit: counts.fit,
            stand: counts.stand,
        },
    })
}

/// Whether a part has more notes in unison with all others as it is read than as it stands, or as many.
fn unisons(score: &Score, witness: &Witness, line: usize, state: usize) -> bool {
    let Some(own) = witness.lines.get(line) else {
        return false;
    };
    let (mut read, mut stand) = (0, 0);
    for attack in &own.attacks {
        let same =
            |midi: i16| usize::from(witness.in_unison(attack.moment, line, midi) == Some(true));
        let costs = |midi| FOREIGN * (1 - same(midi)) as f32;
        let midi = match reading(state) {
            Reading::Up(n) => Some(attack.midi + n),
            Reading::Steps(n) => stepped(score, own, attack, n, costs).map(|s| s.pitch.midi()),
        };
        read += midi.map_or(0, same);
        stand += same(attack.midi);
    }
    read >= stand
}

fn counted_of(costs: &[Option<[f32; READINGS]>], from: usize, to: usize) -> usize {
    costs
        .get(from..to)
        .map_or(0, |c| c.iter().flatten().count())
}

/// What each attack costs in each reading, where anything can be compared.
fn all_costs(score: &Score, witness: &Witness, line: usize) -> Vec<Option<[f32; READINGS]>> {
    let Some(own) = witness.lines.get(line) else {
        return Vec::new();
    };
    let costs = |a| costs(score, witness, line, a);
    own.attacks.iter().map(costs).collect()
}

/// What an attack costs in each reading.
fn costs(
    score: &Score,
    witness: &Witness,
    line: usize,
    attack: &Attack,
) -> Option<[f32; READINGS]> {
    let own = witness.lines.get(line)?;
    let company = witness.company(attack.moment, line)?;
    let by_class = witness.class_costs(company, Some(attack.midi));
    Some(std::array::from_fn(|state| {
        let (midi, unlikely) = match reading(state) {
            Reading::Up(0) => (attack.midi, 0.0),
            Reading::Up(n) => (attack.midi + n, OTHERWISE),
            Reading::Steps(n) => {
                match stepped(score, own, attack, n, |midi| cost_in(&by_class, midi)) {
                    Some(step) => (step.pitch.midi(), OTHERWISE + step.unlikely),
                    None => (attack.midi, OTHERWISE),
                }
            }
        };
        cost_in(&by_class, midi) + witness.cost_of_seat(attack.moment, line, midi) + unlikely
    }))
}

/// A note moved by steps of the staff.
struct Stepped {
    pitch: Pitch,
    /// What is against it, in nats: accidentals that a move by steps would not leave.
    unlikely: f32,
}

/// The note so many steps of the staff up, as the key has it; altered, where only that goes with the
/// others.
fn stepped(
    score: &Score,
    own: &Line,
    attack: &Attack,
    steps: i8,
    costs: impl Fn(i16) -> f32,
) -> Option<Stepped> {
    let part = score.parts.get(own.part as usize)?;
    let written = part.notes.get(attack.note as usize)?.written;
    let key = part.key(attack.onset).fifths;
    let letters = written.diatonic() + i16::from(steps);
    let step = Step::from_index(letters);
    let octave = letters.div_euclid(7) as i8;
    let by_key = step.altered_by_key(key);
    let by = part.transposition(attack.onset);
    let moved = |alter: i8| Pitch::new(step, alter, octave).transposed(by);
    let foreign = f32::from(u8::from(written.alter != written.step.altered_by_key(key)));
    let as_key = Stepped {
        pitch: moved(by_key),
        unlikely: foreign,
    };
    let altered = [by_key - 1, by_key + 1]
        .into_iter()
        .filter(|a| a.abs() <= 1)
        .map(|alter| Stepped {
            pitch: moved(alter),
            unlikely: foreign + ALTERED,
        });
    let cost = |s: &Stepped| costs(s.pitch.midi()) + s.unlikely;
    std::iter::once(as_key)
        .chain(altered)
        .min_by(|a, b| cost(a).total_cmp(&cost(b)))
}

/// Letters that go with semitones up.
const fn interval(semitones: i16) -> Transposition {
    const LETTERS: [i16; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    Transposition {
        diatonic: LETTERS[semitones.rem_euclid(12) as usize] + 7 * semitones.div_euclid(12),
        chromatic: semitones,
    }
}

/// A stretch that was moved by steps, its accidentals chosen again in the score as it is read.
pub fn again(score: &Score, read: &Score, stretch: &Stretch) -> Option<StretchFault> {
    let StretchFault::Displaced {
        by: Displacement::Steps(n),
        ..
    } = stretch.fault
    else {
        return None;
    };
    let witness = Witness::of(read);
    let line = witness.lines.iter().position(|l| l.part == stretch.part)?;
    let attacks = &witness.lines.get(line)?.attacks;
    let from = attacks.partition_point(|a| a.note < stretch.from);
    let to = attacks.partition_point(|a| a.note < stretch.to);
    read_otherwise(score, &witness, line, (from, to), Reading::Steps(-n), 1.0)
}

/// What the notes of a stretch were meant to sound.
fn read_otherwise(
    score: &Score,
    witness: &Witness,
    line: usize,
    range: (usize, usize),
    by: Reading,
    taught: f32,
) -> Option<StretchFault> {
    let own = witness.lines.get(line)?;
    let part = score.parts.get(own.part as usize)?;
    let attacks = own.attacks.get(range.0..range.1)?;
    let by = match by {
        Reading::Up(0) => return None,
        Reading::Up(n) => Displacement::Semitones(-n),
        Reading::Steps(n) => Displacement::Steps(-n),
    };
    let end = last_note(score, own, range.1)?;
    let first = attacks.first()?.note;
    let mut at = 0;
    let meant = (first..end)
        .filter_map(|index| {
            let note = part.notes.get(index as usize)?;
            if note.flags.has(NoteFlags::CUE) || note.flags.has(NoteFlags::SLASH) {
                return None;
            }
            while attacks.get(at + 1).is_some_and(|a| a.note <= index) {
                at += 1;
            }
            let pitch = match by {
                Displacement::Semitones(n) => note.sounding.transposed(interval(-n)),
                Displacement::Steps(n) => {
                    let attack = attacks.get(at).copied()?;
                    let attack = if note.flags.has(NoteFlags::TIED_IN) {
                        attack
                    } else {
                        Attack {
                            note: index,
                            ..attack
                        }
                    };
                    let company = witness.company(attack.moment, line);
                    let by_class = company.map(|c| (c, witness.class_costs(c, Some(attack.midi))));
                    // What is known of chords before this score counts as much: a fault that goes on for
                    // long has taught the score its own.
                    let costs = |midi| match by_class {
                        Some((c, costs)) => taught * cost_in(&costs, midi) + c.unlikely(midi),
                        None if witness.in_unison(attack.moment, line, midi) == Some(false) => {
                            FOREIGN
                        }
                        None => 0.0,
                    };
                    stepped(score, own, &attack, -n, costs)?.pitch
                }
            };
            Some((index, pitch))
        })
        .collect();
    Some(StretchFault::Displaced { by, meant })
}

#[cfg(test)]
mod tests {
    use crate::ground::pitch::{Pitch, Step};
    use crate::reading::grid;
    use crate::score::{Change, Displacement, NoteRef, Score, StretchFault};
    use crate::sonority::heard;
    use std::path::Path;

    /// Three phrases, the second of them the one that is spoiled. Voicings: four-way close with passing
    /// diminished chords, common practice, no source.
    const SOLI: &str = "key: F major
meter: 4/4
pitch: sounding
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

count   | 1   2   3   4   | 1   2   3   4   | 1   2   3   4   | 1   2   3   4   |
alto 1  | A4  Bb4 C5  D5  | C5  Bb4 A4  .   | A4  Bb4 C5  D5  | C5  Bb4 A4  C5  |
alto 2  | F4  G4  A4  C5  | A4  G4  F4  .   | F4  G4  A4  C5  | A4  G4  F4  A4  |
tenor 1 | D4  E4  F4  A4  | F4  E4  D4  .   | D4  E4  F4  A4  | F4  E4  D4  F4  |
tenor 2 | C4  Db4 D4  F4  | D4  Db4 C4  .   | C4  Db4 D4  F4  | D4  Db4 C4  D4  |

count   | 1   2   3   4   | 1   2   3   4   |
alto 1  | C5  A4  Bb4 D5  | C5  D5  C5  A4  |
alto 2  | A4  F4  G4  C5  | A4  C5  A4  F4  |
tenor 1 | F4  D4  E4  A4  | F4  A4  F4  D4  |
tenor 2 | D4  C4  Db4 F4  | D4  F4  D4  C4  |
";

    fn soli() -> Score {
        grid::read(Path::new("soli.passage"), SOLI.into()).unwrap()
    }

    /// The notes of a part in bars 3 and 4 moved by semitones.
    fn moved(part: u32, by: i16) -> Score {
        let mut score = soli();
        let changes: Vec<Change> = (0u32..)
            .zip(&score.parts[part as usize].notes)
            .filter(|(_, n)| (2..4).contains(&n.at.bar))
            .map(|(note, n)| Change {
                note: NoteRef { part, note },
                sounding: Pitch::in_key(n.sounding.midi() + by, -1),
            })
            .collect();
        score.change(&changes);
        score
    }

    #[test]
    fn a_line_that_was_moved_is_read_as_it_is_meant() {
        let good = soli();
        assert!(heard(&good).is_none());
        for (part, intervals) in [(1, &[12, -12, -5][..]), (2, &[12, -12, -5]), (3, &[12])] {
            for &by in intervals {
                let meant = heard(&moved(part, by)).unwrap();
                assert_eq!(meant.stretches.len(), 1, "part {part} by {by}");
                let found = &meant.stretches[0];
                assert_eq!(found.part, part);
                let StretchFault::Displaced { by: displaced, .. } = &found.fault else {
                    panic!("{:?}", found.fault);
                };
                assert_eq!(*displaced, Displacement::Semitones(by));
                let midi = |s: &Score| -> Vec<i16> {
                    let notes = s.parts[part as usize].notes.iter();
                    notes.map(|n| n.sounding.midi()).collect()
                };
                assert_eq!(midi(&meant), midi(&good), "part {part} by {by}");
                assert!(heard(&meant).is_none());
            }
        }
    }

    /// All notes of a part a step of the staff up.
    fn a_step_up(part: u32) -> Score {
        let mut score = soli();
        let changes: Vec<Change> = (0u32..)
            .zip(&score.parts[part as usize].notes)
            .map(|(note, n)| {
                let letters = n.sounding.diatonic() + 1;
                let step = Step::from_index(letters);
                let (alter, octave) = (step.altered_by_key(-1), letters.div_euclid(7) as i8);
                let sounding = Pitch::new(step, alter, octave);
                Change {
                    note: NoteRef { part, note },
                    sounding,
                }
            })
            .collect();
        score.change(&changes);
        score
    }

    #[test]
    fn a_part_a_step_off_from_beginning_to_end_is_no_witness_for_itself() {
        let part = 1;
        let count = soli().parts[part as usize].notes.len() as u32;
        let meant = heard(&a_step_up(part)).unwrap();
        assert_eq!(meant.stretches.len(), 1);
        let found = &meant.stretches[0];
        assert_eq!((found.part, found.from, found.to), (part, 0, count));
        let StretchFault::Displaced { by, .. } = &found.fault else {
            panic!("{:?}", found.fault);
        };
        assert_eq!(*by, Displacement::Steps(1));
    }

    #[test]
    fn the_bottom_voice_may_lie_an_octave_lower() {
        assert!(heard(&moved(3, -12)).is_none());
    }
}
