//! Stretches of a part that come late or early: half a beat, a beat, two beats, a bar.

use super::displacing::{Found, by_chance, goes_with_the_others};
use super::path::{border, cheapest, last_note, runs};
use super::witness::{Attack, FITS, Witness, cost_in};
use crate::ground::time::Ticks;
use crate::score::{Score, Stretch, StretchFault};

/// Fewer notes than this are no stretch.
const FEW: usize = 5;

/// How much easier the others must be to understand with a stretch at another time, in nats.
const GAIN: f32 = 10.0;

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
    let alone = witness.alone(line);
    let stands: Vec<f32> = own
        .attacks
        .iter()
        .map(|a| together_at(witness, line, Some(a.moment), a).unwrap_or(alone))
        .collect();
    if !is_suspicious(&stands) {
        return None;
    }
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
                OTHERWISE + together_at(witness, line, moment, attack).unwrap_or(ALONE)
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
            let gain: f32 = counted.iter().map(|c| c[0] - c[state]).sum();
            let all = counted.len();
            let moves = own.attacks.get(from..to)?.windows(2);
            let moves = moves
                .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
                .count();
            let elsewhere = own.attacks.iter().enumerate();
            let elsewhere = elsewhere
                .filter(|(i, _)| !(from..to).contains(i))
                .filter_map(|(_, a)| together_at(witness, line, Some(a.moment), a));
            if !goes_with_the_others(elsewhere) {
                return None;
            }
            if gain < GAIN + by_chance(witness)
                || all < FEW
                || moves < 2
                || fit * 10 < all * 9
                || stand * 2 > all
            {
                return None;
            }
            let first = own.attacks.get(from)?;
            let late = *lates(score, first.onset).get(state - 1)?;
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

/// How late notes may come at a time, and how early.
fn lates(score: &Score, onset: Ticks) -> [Ticks; STATES - 1] {
    let beat = score.felt_beat_at(onset);
    let bar = score.meter_at(onset).bar(score.per_quarter);
    let [half, beat, two] = [Ticks(beat.0 / 2), beat, beat.times(2)];
    [beat, bar, two, half, -beat, -bar, -two, -half]
}

fn is_suspicious(stands: &[f32]) -> bool {
    let mut sum: f32 = 0.0;
    stands.iter().any(|cost| {
        sum = (sum + cost - 1.6).max(0.0);
        sum >= GAIN - 3.0
    })
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
