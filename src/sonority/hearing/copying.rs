//! Stretches of a part that are the line of a neighbour.

use super::displacing::Found;
use super::kinds::bit;
use super::path::last_note;
use super::witness::{Line, Strike, Witness, cost_in};
use crate::ground::pitch::PitchClass;
use crate::score::{Score, Stretch, StretchFault};

/// Fewer notes than this are no line.
const FEW: usize = 5;

/// How much easier the others must be to understand with a stretch as a copy, in nats.
const GAIN: f32 = 10.0;

/// How much easier each note of a copy must make it, in nats.
const EACH: f32 = 2.3;

/// In a section of more players several have one line by design.
const MOST_PLAYERS: usize = 12;

/// What each note of a copy costs: its neighbour says what it is.
const COPIED: f32 = 0.4;

/// The stretch of a line that is most plainly a neighbour's.
pub fn copied(score: &Score, witness: &Witness, line: usize) -> Option<Found> {
    let own = witness.lines.get(line)?;
    if !witness.may_be_copied(line) {
        return None;
    }
    let lines = witness.lines.iter().enumerate();
    let players = lines.filter(|(_, other)| other.section == own.section);
    let players: Vec<usize> = players
        .map(|(index, _)| index)
        .take(MOST_PLAYERS + 1)
        .collect();
    if players.len() > MOST_PLAYERS {
        return None;
    }
    let neighbours = players.into_iter().filter(|other| *other != line);
    neighbours
        .filter_map(|other| copy_of(score, witness, line, other))
        .max_by(|a, b| a.gain.total_cmp(&b.gain))
}

fn copy_of(score: &Score, witness: &Witness, line: usize, other: usize) -> Option<Found> {
    let (own, model) = (witness.lines.get(line)?, witness.lines.get(other)?);
    let apart = |index: usize| {
        let attack = own.attacks.get(index)?;
        let with = witness
            .strikes(attack.moment)
            .iter()
            .find(|s| s.line == other)?;
        // In unison and octaves there is one line for all: harmony is another class, and a third part
        // with this one only where there is more than one other.
        let is_third = |s: &&Strike| {
            s.line != line
                && s.line != other
                && witness
                    .lines
                    .get(s.line)
                    .is_some_and(|l| l.section == own.section)
        };
        let strikes = witness.strikes(attack.moment).iter();
        let thirds = strikes.filter(is_third);
        let classes = thirds.fold(0, |set, s| set | bit(PitchClass::new(s.midi)));
        let own_class = bit(PitchClass::new(attack.midi));
        let others = (classes & !own_class).count_ones();
        let harmony = others > 1 || others == 1 && classes & own_class == 0;
        harmony.then(|| with.midi - attack.midi)
    };
    let mut best: Option<Found> = None;
    // Lines that are one elsewhere too are so by design: a copy is pasted once.
    let (mut copies, mut elsewhere, mut parted) = (0, 0, true);
    let mut from = 0;
    while from < own.attacks.len() {
        let Some(interval) = apart(from) else {
            from += 1;
            continue;
        };
        let mut to = from + 1;
        while apart(to) == Some(interval) {
            to += 1;
        }
        if interval != 0 {
            parted = true;
        } else if to - from < FEW {
            elsewhere += to - from;
        } else {
            copies += usize::from(parted);
            parted = false;
            let found = judge(
                score,
                witness,
                Doubling {
                    own,
                    model,
                    line,
                    other,
                    from,
                    to,
                },
            );
            if found.as_ref().map_or(0.0, |f| f.gain) > best.as_ref().map_or(0.0, |f| f.gain) {
                best = found;
            }
        }
        from = to;
    }
    best.filter(|_| copies < 2 && elsewhere < FEW)
}

/// A run of notes of one line that are those of another.
#[derive(Clone, Copy)]
struct Doubling<'a> {
    own: &'a Line,
    model: &'a Line,
    line: usize,
    other: usize,
    from: usize,
    to: usize,
}

fn judge(score: &Score, witness: &Witness, copy: Doubling<'_>) -> Option<Found> {
    let attacks = copy.own.attacks.get(copy.from..copy.to)?;
    // By design both have one line now and then, or neither.
    let range = attacks.first()?.onset..attacks.last()?.end;
    let in_unison = [false, true].map(|tutti| {
        let of = |line: usize| witness.unison(line, range.clone(), tutti);
        of(copy.line).min(of(copy.other))
    });
    let (mut gain, mut all, mut stand, mut spare) = (0.0, 0, 0, 0);
    for attack in attacks {
        let Some(company) = witness.company(attack.moment, copy.line) else {
            continue;
        };
        all += 1;
        let model = witness
            .strikes(attack.moment)
            .iter()
            .find(|s| s.line == copy.other);
        let same = model.is_some_and(|s| s.midi == attack.midi);
        let class = cost_in(
            &witness.class_costs(company, Some(attack.midi)),
            attack.midi,
        );
        // In a tutti one section may fill up another: there it counts how often it does.
        let tutti = witness.is_tutti(attack.moment, copy.line);
        spare += usize::from(tutti && witness.is_complete_without(attack.moment, copy.line));
        let cost = class
            + if same {
                in_unison[usize::from(tutti)]
            } else {
                0.0
            };
        stand += usize::from(cost < 2.0);
        gain += cost - COPIED;
    }
    let moves = attacks
        .windows(2)
        .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
        .count();
    // In a tutti a section of five may double one of its four.
    if spare * 3 > all * 2 {
        return None;
    }
    if gain < GAIN.max(EACH * all as f32)
        || all < FEW
        || moves < 3
        || all * 10 < attacks.len() * 8
        || stand * 3 > all
    {
        return None;
    }
    if strays(witness, copy, copy.line, copy.other)?
        <= strays(witness, copy, copy.other, copy.line)?
    {
        return None;
    }
    Some(Found {
        gain,
        stretch: Stretch {
            part: copy.own.part,
            from: attacks.first()?.note,
            to: last_note(score, copy.own, copy.to)?,
            fault: StretchFault::Copied(copy.model.part),
            compared: all,
            fit: attacks.len(),
            stand,
        },
    })
}

/// How far a line is from where it usually stands among the others of its section in harmony, while
/// another has the same notes, and how far it leaps there and back, in semitones.
fn strays(witness: &Witness, copy: Doubling<'_>, line: usize, twin: usize) -> Option<i16> {
    let here = copy.own.attacks.get(copy.from..copy.to)?;
    let time = here.first()?.onset..=here.last()?.onset;
    let own = witness.lines.get(line)?;
    let others = || {
        (0..witness.lines.len()).filter(|other| {
            *other != line
                && *other != twin
                && witness
                    .lines
                    .get(*other)
                    .is_some_and(|l| l.section == own.section)
        })
    };
    let mut away = Vec::new();
    for other in others() {
        let (mut here, mut elsewhere) = (Vec::new(), Vec::new());
        for attack in &own.attacks {
            let strikes = witness.strikes(attack.moment);
            let Some(with) = strikes.iter().find(|s| s.line == other) else {
                continue;
            };
            let apart = attack.midi - with.midi;
            if time.contains(&attack.onset) {
                here.push(apart);
            } else if apart % 12 != 0 {
                elsewhere.push(apart);
            }
        }
        if let Some((here, elsewhere)) = middle(here).zip(middle(elsewhere)) {
            away.push((here - elsewhere).abs());
        }
    }
    // A phrase begins somewhere else for all: what counts is how differently this line goes there.
    let leaps_of = |line: usize| -> Option<[Option<i16>; 2]> {
        let attacks = &witness.lines.get(line)?.attacks;
        let midi = |i: Option<usize>| i.and_then(|i| attacks.get(i)).map(|a| a.midi);
        let first = attacks.partition_point(|a| a.onset < *time.start());
        let last = attacks.partition_point(|a| a.onset <= *time.end());
        let leap = |a: Option<i16>, b: Option<i16>| a.zip(b).map(|(a, b)| b - a);
        Some([
            leap(midi(first.checked_sub(1)), midi(Some(first))),
            leap(midi(last.checked_sub(1)), midi(Some(last))),
        ])
    };
    let all: Vec<[Option<i16>; 2]> = others().filter_map(leaps_of).collect();
    let own_leaps = leaps_of(line)?;
    let leaps: i16 = (0..2)
        .filter_map(|end| {
            let usual = middle(all.iter().filter_map(|l| l[end]).collect())?;
            Some((own_leaps[end]? - usual).abs())
        })
        .sum();
    let count = i16::try_from(away.len()).unwrap_or(1).max(1);
    Some(4 * away.iter().sum::<i16>() / count + leaps)
}

fn middle(mut notes: Vec<i16>) -> Option<i16> {
    notes.sort_unstable();
    notes.get(notes.len() / 2).copied()
}
