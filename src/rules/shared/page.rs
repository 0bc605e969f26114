//! What rules about the page share: findings about one part at one place, lengths in words.

use crate::ground::time::{Meter, Ticks};
use crate::rules::shared::wording;
use crate::score::{LooseSlur, Mark, Note, Part, Score};
use num_rational::Ratio;

/// Near a repeat sign, an ending or a double bar a slur may come from elsewhere or go on there.
pub fn is_slur_at_joint(part: &Part, mark: &Mark<LooseSlur>) -> bool {
    let bar = mark.at.bar as usize;
    let closes = |i: usize| {
        part.bars
            .get(i)
            .is_some_and(|b| b.double_bar || b.repeat_end)
    };
    let opens = |i: usize| part.bars.get(i).is_none_or(|b| b.repeat_start);
    match mark.value {
        LooseSlur::Start => closes(bar) || opens(bar + 1),
        LooseSlur::Stop => opens(bar) || bar.checked_sub(1).is_none_or(closes),
    }
}

/// Parts that play pitched notes, with their index: no drums, no empty staves.
pub fn pitched(score: &Score) -> impl Iterator<Item = (u32, &Part)> {
    score
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| p.notes.iter().any(Note::sounds))
        .map(|(i, p)| (i as u32, p))
}

/// The names of parts, joined; the first few of many.
pub fn names(score: &Score, parts: &[u32]) -> String {
    const FEW: usize = 6;
    let mut names: Vec<String> = parts
        .iter()
        .take(FEW)
        .map(|&p| wording::part(score, p).to_owned())
        .collect();
    match parts.len().checked_sub(FEW) {
        Some(more) if more > 0 => names.push(format!("{more} more parts")),
        _ => {}
    }
    wording::join(&names)
}

/// A length in beats of the meter's lower figure: "3", "2+1/2".
pub fn in_beats(length: Ticks, meter: Meter, per_quarter: Ticks) -> String {
    let unit = meter.unit_quarters() * per_quarter.0.max(1);
    let beats = Ratio::from_integer(length.0) / unit;
    let whole = beats.trunc();
    let rest = beats - whole;
    match (whole.to_integer(), *rest.numer()) {
        (n, 0) => n.to_string(),
        (0, _) => rest.to_string(),
        (n, _) => format!("{n}+{rest}"),
    }
}

/// "1 beat", "2+1/2 beats"; what a beat is, when it is no quarter.
pub fn beats(length: Ticks, meter: Meter, per_quarter: Ticks) -> String {
    let count = in_beats(length, meter, per_quarter);
    let one = count == "1" || !count.contains('+') && count.contains('/');
    let name = match meter.unit {
        1 => "whole note",
        2 => "half note",
        8 => "eighth",
        16 => "sixteenth",
        _ => "beat",
    };
    format!("{count} {name}{}", if one { "" } else { "s" })
}

/// The tempos of a score, quarter notes a minute, in order of time.
pub struct Tempos {
    marks: Vec<(Ticks, f64)>,
    per_quarter: f64,
}

impl Tempos {
    pub fn of(score: &Score) -> Self {
        let mut marks: Vec<(Ticks, f64)> = score
            .parts
            .iter()
            .flat_map(|p| &p.tempos)
            .filter(|m| m.value.is_finite() && m.value > 0.0)
            .map(|m| (m.onset, m.value))
            .collect();
        marks.sort_by_key(|m| m.0);
        Self {
            marks,
            per_quarter: score.per_quarter.0.max(1) as f64,
        }
    }

    /// Whether the score gives a tempo at all before this time.
    pub fn is_given(&self, at: Ticks) -> bool {
        self.marks.first().is_some_and(|m| m.0 <= at)
    }

    /// Seconds between two times; `assumed` is the tempo before the first that is given.
    pub fn seconds(&self, from: Ticks, to: Ticks, assumed: f64) -> f64 {
        let next = self.marks.partition_point(|m| m.0 <= from);
        let mut tempo = next
            .checked_sub(1)
            .and_then(|i| self.marks.get(i))
            .map_or(assumed, |m| m.1);
        let mut at = from;
        let mut total = 0.0;
        let length = |a: Ticks, b: Ticks, tempo: f64| {
            (b - a).0.max(0) as f64 / self.per_quarter * 60.0 / tempo
        };
        for (onset, new) in self.marks.iter().skip(next).take_while(|m| m.0 < to) {
            total += length(at, *onset, tempo);
            at = *onset;
            tempo = *new;
        }
        total + length(at, to, tempo)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_told_in_beats() {
        let four = Meter::COMMON;
        let six = Meter { beats: 6, unit: 8 };
        assert_eq!(beats(Ticks(4), four, Ticks(4)), "1 beat");
        assert_eq!(beats(Ticks(10), four, Ticks(4)), "2+1/2 beats");
        assert_eq!(beats(Ticks(2), four, Ticks(4)), "1/2 beat");
        assert_eq!(beats(Ticks(10), six, Ticks(4)), "5 eighths");
    }

    #[test]
    fn seconds_follow_the_tempo() {
        let tempos = Tempos {
            marks: vec![(Ticks(0), 60.0), (Ticks(8), 120.0)],
            per_quarter: 4.0,
        };
        // Two quarters at 60, two at 120.
        let two = tempos.seconds(Ticks(0), Ticks(16), 90.0);
        assert!((two - 3.0).abs() < 1e-9, "{two}");
        assert!(tempos.is_given(Ticks(0)));
    }
}
