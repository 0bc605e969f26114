//! Stretches of a part that stand at another pitch than they are meant: an octave, another interval,
//! a step of the staff.

use super::path::{border, cheapest, follows, last_note, runs};
use super::witness::{Attack, ClassCosts, FITS, Line, Witness, cost_in};
use crate::ground::pitch::{Pitch, Step, Transposition};
use crate::score::{Displacement, NoteFlags, Score, Stretch, StretchFault};

/// Fewer notes than this that can be compared are single notes.
const FEW: usize = 5;

/// How much easier the others must be to understand with a stretch read otherwise, in nats.
const GAIN: f32 = 8.0;

/// A note that costs so much more as it stands does not go with the others, in nats.
const WORSE: f32 = 1.2;

/// A stretch is far cheaper as it is read by so much a note, in nats.
const CHEAPER: f32 = 2.3;

/// What a note costs that is read otherwise than it stands, in nats.
const OTHERWISE: f32 = 0.25;

/// From a fifth on, notes that are displaced lie away from where the part plays elsewhere.
const WIDE: i16 = 7;

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
    let stands: Vec<Option<f32>> = own
        .attacks
        .iter()
        .map(|a| {
            let company = witness.company(a.moment, line)?;
            let seat = witness.cost_of_seat(a.moment, line, a.midi);
            Some(cost_in(&witness.class_costs(company, Some(a.midi)), a.midi) + seat)
        })
        .collect();
    if !is_suspicious(&stands) {
        return None;
    }
    let costs: Vec<[f32; READINGS]> = own
        .attacks
        .iter()
        .map(|attack| costs(score, witness, line, attack))
        .collect();
    let path = cheapest(
        &costs,
        |i| border(score, own, i),
        |state| reading(state).prior(),
    );
    let says = |i: usize| stands.get(i).is_some_and(Option::is_some);
    let held_on = |i: usize| follows(own, i);
    let found = runs(&path, says, held_on)
        .into_iter()
        .filter_map(|(state, from, to)| {
            let counted: Vec<&[f32; READINGS]> = (from..to)
                .filter(|i| says(*i))
                .filter_map(|i| costs.get(i))
                .collect();
            let gain: f32 = counted.iter().map(|c| c[0] - c[state]).sum();
            let counts = Counts {
                gain,
                compared: counted.len(),
                fit: counted.iter().filter(|c| c[state] < FITS).count(),
                stand: counted.iter().filter(|c| c[0] < c[state] + WORSE).count(),
            };
            let elsewhere = stands.iter().enumerate();
            let elsewhere = elsewhere.filter(|(i, _)| !(from..to).contains(i));
            if gain < GAIN + by_chance(witness)
                || !convinces(own, from, to, &counts, reading(state))
                || !goes_with_the_others(elsewhere.filter_map(|(_, cost)| *cost))
            {
                return None;
            }
            Some(Found {
                gain,
                stretch: Stretch {
                    part: own.part,
                    from: own.attacks.get(from)?.note,
                    to: last_note(score, own, to)?,
                    fault: read_otherwise(score, witness, line, (from, to), reading(state))?,
                    compared: counts.compared,
                    fit: counts.fit,
                    stand: counts.stand,
                },
            })
        });
    found.max_by(|a, b| a.gain.total_cmp(&b.gain))
}

/// Whether some stretch costs so much that another reading may be worth it.
fn is_suspicious(stands: &[Option<f32>]) -> bool {
    let mut sum: f32 = 0.0;
    stands.iter().flatten().any(|cost| {
        sum = (sum + cost - 1.6).max(0.0);
        sum >= GAIN - 2.0
    })
}

/// What an attack costs in each reading.
fn costs(score: &Score, witness: &Witness, line: usize, attack: &Attack) -> [f32; READINGS] {
    // A note is read otherwise for a reason only.
    let mut costs = [0.05; READINGS];
    costs[0] = 0.0;
    let (Some(own), Some(company)) = (
        witness.lines.get(line),
        witness.company(attack.moment, line),
    ) else {
        return costs;
    };
    let by_class = witness.class_costs(company, Some(attack.midi));
    for (state, slot) in costs.iter_mut().enumerate() {
        let (midi, unlikely) = match reading(state) {
            Reading::Up(0) => (attack.midi, 0.0),
            Reading::Up(n) => (attack.midi + n, OTHERWISE),
            Reading::Steps(n) => {
                let Some(step) = stepped(score, own, attack, n, Some(&by_class)) else {
                    continue;
                };
                (step.pitch.midi(), OTHERWISE + step.unlikely)
            }
        };
        *slot =
            cost_in(&by_class, midi) + witness.cost_of_seat(attack.moment, line, midi) + unlikely;
    }
    costs
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
    costs: Option<&ClassCosts>,
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
    let Some(costs) = costs else {
        return Some(as_key);
    };
    let altered = [by_key - 1, by_key + 1]
        .into_iter()
        .filter(|a| a.abs() <= 1)
        .map(|alter| Stepped {
            pitch: moved(alter),
            unlikely: foreign + 0.9,
        });
    let cost = |s: &Stepped| cost_in(costs, s.pitch.midi()) + s.unlikely;
    std::iter::once(as_key)
        .chain(altered)
        .min_by(|a, b| cost(a).total_cmp(&cost(b)))
}

/// What a stretch must gain more in a long score of many parts, in nats: the more stretches there are to be
/// read otherwise, the more of them fit so by chance.
pub fn by_chance(witness: &Witness) -> f32 {
    const ATTACKS: f32 = 1000.0;
    let attacks: usize = witness.lines.iter().map(|l| l.attacks.len()).sum();
    2.0 * (attacks as f32 / ATTACKS).ln().max(0.0)
}

/// Whether a line goes with the others where it is not displaced. In counterpoint and where harmony is figured
/// by each part in its own way, notes that would fit elsewhere prove nothing.
pub fn goes_with_the_others(costs: impl Iterator<Item = f32>) -> bool {
    let (mut fit, mut all) = (0usize, 0usize);
    for cost in costs {
        all += 1;
        fit += usize::from(cost < FITS);
    }
    fit * 100 >= all * ELSEWHERE
}

/// How many notes in a hundred go with the others where a line is held to them.
const ELSEWHERE: usize = 90;

/// How many notes of a stretch could be compared, and how many went with the others.
struct Counts {
    compared: usize,
    fit: usize,
    stand: usize,
    /// How much cheaper the notes are as they are read, in nats.
    gain: f32,
}

impl Counts {
    /// Nearly all do as they are read; or half, where all are far cheaper so.
    fn go_with_the_others(&self) -> bool {
        self.fit * 10 >= self.compared * 9
            || self.fit * 2 >= self.compared && self.gain >= CHEAPER * self.compared as f32
    }
}

/// Enough moving notes of more than one pitch that nearly all fit, where as they stand many do not.
fn convinces(own: &Line, from: usize, to: usize, counts: &Counts, by: Reading) -> bool {
    let notes = own.attacks.get(from..to).unwrap_or_default();
    let moves = notes
        .windows(2)
        .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
        .count();
    let worse = counts.compared.saturating_sub(counts.stand);
    counts.compared >= FEW
        && worse >= FEW
        && moves >= 2
        && counts.compared * 10 >= notes.len() * 7
        && counts.go_with_the_others()
        && counts.stand * 2 <= counts.compared
        && comes_back(own, from, to, by)
}

/// Whether notes moved by a wide interval lie nearer to where the part plays elsewhere than they stand.
fn comes_back(own: &Line, from: usize, to: usize, by: Reading) -> bool {
    let Reading::Up(shift) = by else { return true };
    if shift.abs() < WIDE {
        return true;
    }
    let middle = |notes: &mut Vec<i16>| {
        notes.sort_unstable();
        notes.get(notes.len() / 2).copied()
    };
    let outside = own
        .attacks
        .iter()
        .take(from)
        .chain(own.attacks.iter().skip(to));
    let mut elsewhere: Vec<i16> = outside.map(|a| a.midi).collect();
    if elsewhere.len() < FEW {
        return true;
    }
    let here = own.attacks.get(from..to).unwrap_or_default();
    let mut here: Vec<i16> = here.iter().map(|a| a.midi).collect();
    let (Some(usual), Some(found)) = (middle(&mut elsewhere), middle(&mut here)) else {
        return false;
    };
    (found + shift - usual).abs() + 2 <= (found - usual).abs()
}

/// Letters that go with semitones up.
const fn interval(semitones: i16) -> Transposition {
    const LETTERS: [i16; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    Transposition {
        diatonic: LETTERS[semitones.rem_euclid(12) as usize] + 7 * semitones.div_euclid(12),
        chromatic: semitones,
    }
}

/// What the notes of a stretch were meant to sound.
fn read_otherwise(
    score: &Score,
    witness: &Witness,
    line: usize,
    range: (usize, usize),
    by: Reading,
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
                    let costs = company.map(|c| witness.class_costs(c, Some(attack.midi)));
                    stepped(score, own, &attack, -n, costs.as_ref())?.pitch
                }
            };
            Some((index, pitch))
        })
        .collect();
    Some(StretchFault::Displaced { by, meant })
}

#[cfg(test)]
mod tests {
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
                sounding: crate::ground::pitch::Pitch::in_key(n.sounding.midi() + by, -1),
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

    #[test]
    fn the_bottom_voice_may_lie_an_octave_lower() {
        assert!(heard(&moved(3, -12)).is_none());
    }
}
