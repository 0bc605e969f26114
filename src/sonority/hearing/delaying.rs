//! Stretches of a part that come late or early: half a beat, a beat, two beats, a bar.

use super::displacing::Found;
use super::path::{border, cheapest, last_note, runs};
use super::witness::{Attack, FITS, Witness, cost_in};
use crate::ground::time::Ticks;
use crate::score::{Score, Stretch, StretchFault};

/// Fewer notes than this are no stretch.
const FEW: usize = 3;

/// How much easier the others must be to understand with a stretch at another time, in nats.
const GAIN: f32 = 11.0;

/// What it costs more to be early: copyists lose rests, and seldom win them.
const EARLY: f32 = 8.0;

/// A note that costs so much more as it stands does not go with the others, in nats.
const WORSE: f32 = 1.0;

/// What a note costs that is read at another time.
const OTHERWISE: f32 = 0.25;

/// What a note costs where nobody strikes with it though it is moved there.
const ALONE: f32 = 3.0;

/// As it stands, and eight ways to be late or early.
const STATES: usize = 9;

/// The stretch of a line that gains most by being read at another time.
pub fn delayed(score: &Score, witness: &Witness, line: usize) -> Option<Found> {
    let own = witness.lines.get(line)?;
    if !witness.may_be_late(line) {
        return None;
    }
    let alone = witness.alone(line);
    let stands: Vec<f32> = own
        .attacks
        .iter()
        .map(|a| together_at(witness, line, Some(a.moment), a).unwrap_or(alone))
        .collect();
    let hole = witness.hole(line);
    let strikes: Vec<usize> = own.attacks.iter().map(|a| a.moment).collect();
    let costs: Vec<[f32; STATES]> = own
        .attacks
        .iter()
        .zip(&stands)
        .map(|(attack, stands)| {
            let lates = lates(score, attack.onset);
            std::array::from_fn(|state| {
                let Some(late) = state.checked_sub(1).and_then(|i| lates.get(i)) else {
                    return *stands;
                };
                let moment = witness.moment_at(attack.onset - *late);
                let mut cost =
                    OTHERWISE + together_at(witness, line, moment, attack).unwrap_or(ALONE);
                // The others strike there, and this part does not as it stands.
                if moment
                    .is_some_and(|m| strikes.binary_search(&m).is_err() && witness.calls(m, line))
                {
                    cost -= hole;
                }
                // It leaves them, where no other note of it comes there.
                let later = witness.moment_at(attack.onset + *late);
                if witness.calls(attack.moment, line)
                    && later.is_none_or(|m| strikes.binary_search(&m).is_err())
                {
                    cost += hole;
                }
                cost
            })
        })
        .collect();
    let path = cheapest(
        &costs,
        |i| border(score, own, i),
        |state| if state == 0 { 0.0 } else { 2.0 },
    );
    let found = runs(&path, |_| true, |_| false)
        .into_iter()
        .filter_map(|(state, from, to)| {
            let counted = costs.get(from..to)?;
            let fit = counted.iter().filter(|c| c[state] < FITS).count();
            let stand = counted.iter().filter(|c| c[0] < c[state] + WORSE).count();
            let mut gain: f32 = counted.iter().map(|c| c[0] - c[state]).sum();
            if state > STATES / 2 {
                gain -= EARLY;
            }
            let all = counted.len();
            let moves = own.attacks.get(from..to)?.windows(2);
            let moves = moves
                .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
                .count();
            if gain < GAIN || all < FEW || moves < 2 || fit * 10 < all * 8 || stand * 5 > all * 3 {
                return None;
            }
            let first = own.attacks.get(from)?;
            let late = *lates(score, first.onset).get(state - 1)?;
            if !is_in_step(witness, line, own.attacks.get(from..to)?, late) {
                return None;
            }
            Some(Found {
                gain,
                stretch: Stretch {
                    part: own.part,
                    from: first.note,
                    to: last_note(score, own, to)?,
                    fault: StretchFault::Late(late),
                    compared: all,
                    fit,
                    stand,
                },
            })
        });
    found.max_by(|a, b| a.gain.total_cmp(&b.gain))
}

/// Whether the others of the section strike together there, and the notes with them at another time.
fn is_in_step(witness: &Witness, line: usize, attacks: &[Attack], late: Ticks) -> bool {
    let (Some(first), Some(last)) = (attacks.first(), attacks.last()) else {
        return false;
    };
    let range = witness.moments_in(first.onset - late, last.onset - late);
    let (mut all, mut calls, mut met) = (0, 0, 0);
    for moment in range {
        if !witness.others_strike(moment, line) {
            continue;
        }
        all += 1;
        if witness.calls(moment, line) {
            calls += 1;
            let there = |a: &&Attack| witness.moment_at(a.onset - late) == Some(moment);
            met += usize::from(attacks.iter().any(|a| there(&a)));
        }
    }
    let most = |part: usize, of: usize| part * 5 >= of * 4;
    most(calls, all) && most(met, calls) && most(met, attacks.len())
}

/// How late notes may come at a time, and how early.
fn lates(score: &Score, onset: Ticks) -> [Ticks; STATES - 1] {
    let beat = score.felt_beat_at(onset);
    let bar = score.meter_at(onset).bar(score.per_quarter);
    let [half, beat, two] = [Ticks(beat.0 / 2), beat, beat.times(2)];
    [beat, bar, two, half, -beat, -bar, -two, -half]
}

/// What an attack would cost in another moment; `None` where fewer than two strike there.
pub fn together_at(
    witness: &Witness,
    line: usize,
    moment: Option<usize>,
    attack: &Attack,
) -> Option<f32> {
    together(witness, line, moment, attack, moment == Some(attack.moment))
}

/// What an attack costs among what others strike in a moment; `None` where fewer than two do.
fn together(
    witness: &Witness,
    line: usize,
    moment: Option<usize>,
    attack: &Attack,
    stands: bool,
) -> Option<f32> {
    let moment = moment?;
    if let Some(company) = witness.company(moment, line) {
        let costs = witness.class_costs(company, stands.then_some(attack.midi));
        return Some(cost_in(&costs, attack.midi));
    }
    let mut others = witness.strikes(moment).iter().filter(|s| s.line != line);
    let first = others.next()?.midi;
    let mut count = 1;
    let mut alike = true;
    for other in others {
        count += 1;
        alike &= (other.midi - first) % 12 == 0;
    }
    (count >= 2).then_some(match alike {
        true if (attack.midi - first) % 12 == 0 => 0.3,
        true => 3.5,
        false => 1.0,
    })
}
