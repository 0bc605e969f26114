//! Stretches of a part that are the line of a neighbour.

use super::displacing::Found;
use super::path::last_note;
use super::witness::{Attack, Line, Strike, Witness, bit, cost_in};
use crate::ground::pitch::PitchClass;
use crate::score::{Score, Stretch, StretchFault};

/// Fewer notes than this are no line.
const FEW: usize = 5;

/// How much easier the others must be to understand with a stretch as a copy, in nats.
const GAIN: f32 = 10.0;

/// In a section of more players several have one line by design.
const MOST_PLAYERS: usize = 12;

/// What each note of a copy costs: its neighbour says what it is.
const COPIED: f32 = 0.4;

/// The stretch of a line that is most plainly a neighbour's.
pub fn copied(score: &Score, witness: &Witness, line: usize) -> Option<Found> {
    let own = witness.lines.get(line)?;
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
        if to - from >= FEW && interval == 0 {
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
    best
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
    let in_unison = witness.unison(copy.line, copy.from..copy.to);
    let (mut gain, mut all, mut stand) = (0.0, 0, 0);
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
        // In a tutti one section fills up another: only by itself it has a line for each player.
        let by_itself = witness.strikes(attack.moment).iter().all(|s| {
            let line = witness.lines.get(s.line);
            line.is_some_and(|l| l.section == copy.own.section)
        });
        let cost = class + if same && by_itself { in_unison } else { 0.0 };
        stand += usize::from(cost < 2.0);
        gain += cost - COPIED;
    }
    let moves = attacks
        .windows(2)
        .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
        .count();
    if gain < GAIN || all < FEW || moves < 3 || all * 10 < attacks.len() * 8 || stand * 3 > all {
        return None;
    }
    // Of two with one line it is that of the one who usually stands there among the others.
    let strays = |line: usize| -> Option<i16> {
        let (mut here, mut elsewhere) = (Vec::new(), Vec::new());
        for attack in &witness.lines.get(line)?.attacks {
            let Some(apart) = from_others(witness, copy, attack) else {
                continue;
            };
            if (attacks.first()?.onset..=attacks.last()?.onset).contains(&attack.onset) {
                here.push(apart);
            } else {
                elsewhere.push(apart);
            }
        }
        Some((middle(here)? - middle(elsewhere)?).abs())
    };
    if strays(copy.line)? <= strays(copy.other)? {
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

/// How far a note is above the middle of what the others of the section strike with it, without the
/// two who have one line, in semitones.
fn from_others(witness: &Witness, copy: Doubling<'_>, attack: &Attack) -> Option<i16> {
    let strikes = witness.strikes(attack.moment).iter();
    let others = strikes.filter(|s| {
        s.line != copy.line
            && s.line != copy.other
            && witness
                .lines
                .get(s.line)
                .is_some_and(|l| l.section == copy.own.section)
    });
    let (sum, count) = others.fold((0, 0), |(sum, n), s| (sum + s.midi, n + 1));
    (count > 0).then(|| attack.midi - sum / count)
}

fn middle(mut notes: Vec<i16>) -> Option<i16> {
    notes.sort_unstable();
    notes.get(notes.len() / 2).copied()
}
