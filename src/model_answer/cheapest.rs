//! The line of voicings that costs least.

use super::answer::Weighed;
use crate::voicing::{Form, Technique, Voicing};
use std::collections::HashSet;

/// What is not taken: voicings at a note that the rules found fault with.
pub(super) type Banned = HashSet<(usize, Voicing)>;

/// A voicing's own cost counts so many times the cost of moving a voice.
const OWN: i32 = 2;
/// A leap of an inner voice over a fifth while the lead goes by step.
const LEAP_UNDER_A_STEP: i32 = 36;
/// A leap of an inner voice over a fifth that is wider than the lead's.
const LEAP: i32 = 4;
/// A leap over an octave.
const WIDE_LEAP: i32 = 12;
/// An inner note that is struck again under a lead that moves.
const REPEAT: i32 = 2;
/// Another technique than before, or a way out after none.
const CHANGE: i32 = 6;
/// A leap of a fourth or more inside spreads, whatever the lead does.
const LEAP_IN_SPREAD: i32 = 6;
/// The same of a guide tone alone under the lead, where it is wider than the lead's.
const LEAP_OF_GUIDE: i32 = 4;
/// The two lowest voices of spreads that go on in perfect fifths or octaves.
const PARALLEL_BELOW: i32 = 8;
/// Two voices alone that go on in octaves.
const BARE_OCTAVES: i32 = 12;
/// Two voices alone that go on in perfect fifths.
const BARE_FIFTHS: i32 = 4;

/// What a voicing costs by itself in a line.
pub(super) const fn own_cost(option: &Weighed) -> i32 {
    option.cost * OWN
}

/// What moving from one voicing to the next costs: how far the inner voices go, leaps and repetitions more.
pub(super) fn cost_of_moving(before: &Weighed, after: &Weighed) -> i32 {
    let (from, to) = (&before.voicing, &after.voicing);
    if from.len() != to.len() {
        return CHANGE;
    }
    let lead = match (from.first(), to.first()) {
        (Some(a), Some(b)) => (a - b).abs(),
        _ => 0,
    };
    let change = before.technique != after.technique || before.way_out != after.way_out;
    let mut cost = if change { CHANGE } else { 0 };
    let style = Lines::of(before, after);
    for (voice, (a, b)) in from.iter().zip(to).enumerate().skip(1) {
        let by = (a - b).abs();
        cost += i32::from(by / 2);
        cost += match by {
            0 if lead > 0 && style != Lines::Held => REPEAT,
            0..=7 => 0,
            _ if lead <= 2 => LEAP_UNDER_A_STEP,
            13.. => WIDE_LEAP,
            _ if by > lead => LEAP,
            _ => 0,
        };
        cost += match before.technique {
            Technique::Form(Form::Spread) if by >= 5 && voice + 1 < to.len() => LEAP_IN_SPREAD,
            Technique::Form(Form::TwoPart) if by >= 5 && by > lead => LEAP_OF_GUIDE,
            _ => 0,
        };
    }
    if before.technique == Form::Spread.into() {
        cost += parallel_below(from, to);
    }
    if let ([a, b], [c, d]) = (from.as_slice(), to.as_slice())
        && lead > 0
    {
        cost += match ((a - b) % 12, (c - d) % 12) {
            (0, 0) => BARE_OCTAVES,
            (7, 7) => BARE_FIFTHS,
            _ => 0,
        };
    }
    cost
}

/// What becomes of a note that two chords have in common.
#[derive(PartialEq, Eq)]
enum Lines {
    /// It moves, as the lead does.
    Move,
    /// It is held: in spreads, by one guide tone, and by two that go on into another chord.
    Held,
}

impl Lines {
    fn of(before: &Weighed, after: &Weighed) -> Self {
        match before.technique {
            Technique::Form(Form::Spread | Form::TwoPart) => Self::Held,
            Technique::Form(Form::ThreePart) if before.harmony != after.harmony => Self::Held,
            _ => Self::Move,
        }
    }
}

/// What it costs that the two lowest voices go on in perfect fifths or octaves.
fn parallel_below(from: &[i16], to: &[i16]) -> i32 {
    let ([.., a, b], [.., c, d]) = (from, to) else {
        return 0;
    };
    let perfect = matches!((a - b) % 12, 0 | 7) && (a - b) % 12 == (c - d) % 12;
    if perfect && b != d { PARALLEL_BELOW } else { 0 }
}

/// The line of voicings that costs least from first to last.
pub(super) fn cheapest(options: &[Vec<Weighed>], banned: &Banned) -> Option<Vec<Weighed>> {
    // For each note and each option that may be taken: its index, its cost with everything before it, and the
    // place in the row before that it comes from.
    let mut table: Vec<Vec<(usize, i32, usize)>> = Vec::with_capacity(options.len());
    for (at, here) in options.iter().enumerate() {
        let before = at
            .checked_sub(1)
            .and_then(|i| Some((table.get(i)?, options.get(i)?)));
        let mut row = Vec::with_capacity(here.len());
        for (index, option) in here.iter().enumerate() {
            if !banned.is_empty() && banned.contains(&(at, option.voicing.clone())) {
                continue;
            }
            let own = own_cost(option);
            let best = match before {
                None => Some((own, 0)),
                Some((costs, list)) => costs
                    .iter()
                    .enumerate()
                    .filter_map(|(place, (i, cost, _))| {
                        let moved = cost_of_moving(list.get(*i)?, option);
                        Some((cost + own + moved, place))
                    })
                    .min(),
            };
            if let Some((cost, place)) = best {
                row.push((index, cost, place));
            }
        }
        if row.is_empty() {
            return None;
        }
        table.push(row);
    }
    let last = table.last()?.iter().enumerate();
    let (mut place, _) = last.min_by_key(|(_, (_, cost, _))| *cost)?;
    let mut line = Vec::with_capacity(options.len());
    for at in (0..options.len()).rev() {
        let (index, _, before) = table.get(at)?.get(place)?;
        line.push(options.get(at)?.get(*index)?.clone());
        place = *before;
    }
    line.reverse();
    Some(line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model_answer::{Request, voice};
    use crate::reading::grid;
    use crate::style::Style;
    use std::path::Path;

    fn cost(line: &[&Weighed]) -> i32 {
        let own: i32 = line.iter().map(|o| own_cost(o)).sum();
        let moves = line.windows(2).map(|w| cost_of_moving(w[0], w[1]));
        own + moves.sum::<i32>()
    }

    /// The least cost of all lines there are.
    fn least<'o>(options: &'o [Vec<Weighed>], line: &mut Vec<&'o Weighed>, best: &mut i32) {
        let Some(here) = options.get(line.len()) else {
            *best = cost(line).min(*best);
            return;
        };
        for option in here {
            line.push(option);
            // What is dearer already cannot become the cheapest.
            let floor: i32 = cost(line)
                + options[line.len()..]
                    .iter()
                    .map(|o| o.iter().map(own_cost).min().unwrap_or(0))
                    .sum::<i32>();
            if floor < *best {
                least(options, line, best);
            }
            line.pop();
        }
    }

    #[test]
    fn no_line_of_all_there_are_costs_less() {
        let leads = [
            (
                "F6 - - | Gm7 C7 F6",
                "1 2 3 | 1 2 3",
                "A4 Bb4 C5 | D5 E5 F5",
            ),
            (
                "Cm6 - | G7b9 - | Cm6 -",
                "1 2 | 1 2 | 1 2",
                "Eb5 F5 | D5 Ab4 | G4 C5",
            ),
            (
                "Dm7 - G7 | Cmaj7 - -",
                "1 2 3 | 1 2 3",
                "E5 D5 A4 | B4 G4 E4",
            ),
            (
                "Bb7alt - | Ebmaj7 - Ab7sus4 -",
                "1 2 | 1 2 3 4",
                "F#4 Ab4 | G4 Bb4 Bb4 C5",
            ),
        ];
        let asked = [
            ("drop 2", "alto, alto, tenor, tenor"),
            ("doubled lead", "alto, alto, tenor, tenor, baritone"),
            (
                "spread",
                "soprano voice, alto voice, tenor voice, bass voice",
            ),
            ("fourths", "trumpet, alto, tenor, trombone"),
            ("guide tones", "trumpet, tenor sax"),
            ("cluster", "trumpet, trumpet, trumpet, trumpet"),
        ];
        let mut searched = 0;
        for (chord, count, notes) in leads {
            let text = format!(
                "key: C\nmeter: 4/4\npitch: sounding\nparts: lead = flute\n\n\
                 chord | {chord} |\ncount | {count} |\nlead | {notes} |\n"
            );
            let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
            for (technique, players) in asked {
                let request = Request {
                    players: Some(players.to_owned()),
                    ..Request::new(Technique::named(technique).unwrap())
                };
                let answer = voice(&score, &Style::default(), &request).unwrap();
                let options: Vec<Vec<Weighed>> =
                    answer.steps.iter().map(|s| s.choices.clone()).collect();
                assert!(options.len() <= 6);
                let found = cheapest(&options, &Banned::new()).unwrap();
                let found = cost(&found.iter().collect::<Vec<_>>());
                let mut best = i32::MAX;
                least(&options, &mut Vec::new(), &mut best);
                assert_eq!(found, best, "{technique}: {notes}");
                searched += 1;
            }
        }
        assert_eq!(searched, 24);
    }
}
