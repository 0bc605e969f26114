//! The meter of every bar, and parts that keep one of their own beside it: two meters at once, written on
//! purpose.

use crate::ground::time::{Meter, Ticks};
use crate::score::{Part, Score};
use std::ops::Range;

/// The meter of every bar of the score; `None` where it changes within the bar. A change that only a
/// minority of the parts makes is meter-agreement's matter.
pub fn meters(score: &Score) -> Vec<Option<Meter>> {
    let count = score.bars.len();
    let mut changes: Vec<Vec<Meter>> = vec![Vec::new(); count];
    let mut broken = vec![false; count];
    let telling = score.parts.iter().filter(|p| !p.meters.is_empty()).count();
    for mark in score.parts.iter().flat_map(|p| &p.meters) {
        let bar = mark.at.bar as usize;
        // Within a bar it counts from the next one on.
        let from = if mark.at.offset > Ticks::ZERO {
            if let Some(b) = broken.get_mut(bar) {
                *b = true;
            }
            bar + 1
        } else {
            bar
        };
        if let Some(slot) = changes.get_mut(from) {
            slot.push(mark.value);
        }
    }
    let own = changes.into_iter().map(|all| {
        let most = all
            .iter()
            .copied()
            .max_by_key(|m| all.iter().filter(|x| *x == m).count())?;
        let agree = all.iter().filter(|m| **m == most).count();
        (agree * 2 > telling).then_some(most)
    });
    let mut meter = Meter::COMMON;
    own.zip(broken)
        .map(|(own, broken)| {
            meter = own.unwrap_or(meter);
            (!broken).then_some(meter)
        })
        .collect()
}

/// Bars of a part with a meter of its own.
pub struct OwnMeter {
    /// 0-based index of the part.
    pub part: u32,
    /// Its meter.
    pub meter: Meter,
    /// 0-based; from the bar that has the signature to the next signature or the end.
    pub bars: Range<usize>,
    /// Its bars are at times as long as those of the score, at times in between: it is played beat by
    /// beat, whatever the lengths in the file.
    pub loose: bool,
}

/// So many bars of as many beats as conducted are no slip (4/4 beside 12/8).
const SAME_BEATS: usize = 4;

/// So many bars of another number of beats are none.
const OTHER_BEATS: usize = 8;

/// All stretches in which a part fills bars of its own meter, of another length than `meters` has for
/// these bars.
pub fn own_meters(score: &Score, meters: &[Option<Meter>]) -> Vec<OwnMeter> {
    let parts = score.parts.iter().zip(0u32..);
    parts
        .flat_map(|(part, index)| {
            let stretches = stretches(part).into_iter();
            stretches.filter_map(move |(meter, bars)| {
                let loose = is_kept(score, part, meter, &bars, meters)?;
                Some(OwnMeter {
                    part: index,
                    meter,
                    bars,
                    loose,
                })
            })
        })
        .collect()
}

/// The meter that a part keeps in a bar beside that of the score.
pub fn own_meter(all: &[OwnMeter], part: u32, bar: usize) -> Option<&OwnMeter> {
    all.iter().find(|o| o.part == part && o.bars.contains(&bar))
}

/// The bars of a part between its time signatures.
fn stretches(part: &Part) -> Vec<(Meter, Range<usize>)> {
    let ends = part.meters.iter().skip(1).map(|m| m.at.bar as usize);
    let ends = ends.chain([part.bars.len()]);
    let marks = part.meters.iter().zip(ends);
    marks
        .map(|(m, end)| (m.value, m.at.bar as usize..end))
        .filter(|(_, bars)| !bars.is_empty())
        .collect()
}

/// Whether a part keeps its own meter in its bars, and whether loosely.
fn is_kept(
    score: &Score,
    part: &Part,
    meter: Meter,
    bars: &Range<usize>,
    meters: &[Option<Meter>],
) -> Option<bool> {
    let length = meter.bar(score.per_quarter);
    let other = |bar: usize| {
        let theirs = meters.get(bar).copied().flatten()?;
        (theirs.bar(score.per_quarter) != length).then_some(theirs)
    };
    if !bars.clone().any(|bar| other(bar).is_some()) {
        return None;
    }
    let (mut kept, mut between, mut sounding, mut same_beats) = (0, 0, 0, true);
    let mut notes = &part.notes[..];
    for bar in bars.clone() {
        let before = notes.partition_point(|n| (n.at.bar as usize) < bar);
        notes = notes.get(before..).unwrap_or_default();
        let sounds = notes.first().is_some_and(|n| n.at.bar as usize == bar);
        let filled = part.bars.get(bar).map_or(Ticks::ZERO, |b| b.filled);
        if let (true, Some(theirs)) = (sounds, other(bar)) {
            sounding += 1;
            kept += usize::from(filled == length);
            let theirs_long = theirs.bar(score.per_quarter);
            between +=
                usize::from(length.min(theirs_long) <= filled && filled <= length.max(theirs_long));
            same_beats &= beats(theirs) == beats(meter);
        }
    }
    let least = if same_beats { SAME_BEATS } else { OTHER_BEATS };
    if kept >= least && kept * 10 >= sounding * 9 {
        return Some(false);
    }
    (same_beats && between >= least && between * 10 >= sounding * 9).then_some(true)
}

/// How many beats are conducted in a bar.
fn beats(meter: Meter) -> i64 {
    // Fine enough for every beat, whatever the score counts in.
    const PER_QUARTER: Ticks = Ticks(48);
    meter.bar(PER_QUARTER).0 / meter.felt_beat(PER_QUARTER).0.max(1)
}
