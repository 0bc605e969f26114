//! The page laid out: how a part's bars look on paper.
//!
//! A score says when a note starts and how long it sounds. A page needs more: note values and ties,
//! tuplets, beams, stems and accidentals. [`lay_out`] works them out for one part, in this order:
//!
//! 1. `voices` divides the notes and rests of a bar into printed voices and adds missing rests;
//! 2. `beats` and `cuts` cut at the beat what no single value holds or what would hide a beat;
//! 3. `tuplets` and `values` give each piece its note value;
//! 4. `beams`, `stems` and `accidentals` add the rest; `clefs` says on which lines notes stand.
//!
//! Files written by `writing` and pictures drawn by `engraving` are both made from the result.
//!
//! Times are exact, in quarter notes since the bar line. Pitches are whatever is printed, written or
//! sounding: the caller says which, with a [`PlayersPage`].

mod accidentals;
mod beams;
mod beats;
pub(crate) mod clefs;
mod cuts;
mod event;
mod note_value;
mod page;
mod quarters;
mod stems;
pub(crate) mod tuplets;
mod values;
mod voices;

pub(crate) use event::{Beam, EventKind, Notehead, PrintedEvent, PrintedVoice, Stem};
pub(crate) use note_value::NoteValue;
pub(crate) use page::PlayersPage;
pub(crate) use quarters::{Quarters, ZERO, quarters};

use crate::ground::time::{Meter, Ticks};
use crate::score::{Mark, Part, Score};
use beats::Beats;
use page::bar_length;
use std::ops::Range;

/// The bars of one part, each with its printed voices.
pub(crate) struct PrintedPart {
    pub bars: Vec<Vec<PrintedVoice>>,
}

/// The meters that hold for a part. A passage states its meter once, in its first part.
pub(crate) fn meters<'a>(score: &'a Score, part: &'a Part) -> &'a [Mark<Meter>] {
    if part.meters.is_empty() {
        score
            .parts
            .iter()
            .map(|p| p.meters.as_slice())
            .find(|m| !m.is_empty())
            .unwrap_or_default()
    } else {
        &part.meters
    }
}

/// Works out what the voices of a bar (0-based) lack, where their note values stand: stems and accidentals, and beams when
/// they are `wanted`.
pub(crate) fn complete(
    score: &Score,
    voices: &mut [PrintedVoice],
    bar: usize,
    wanted: bool,
    page: &impl PlayersPage,
) {
    let start = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
    let pickup = score.bars.get(bar).is_some_and(|b| b.pickup);
    let beats = Beats::new(page.meter(start), bar_length(score, bar), pickup);
    if wanted {
        for voice in voices.iter_mut() {
            beams::set_all(&mut voice.events, &beats);
        }
    }
    let when = |at: Quarters| start + Ticks((at * score.per_quarter.0).to_integer());
    stems::set_all(voices, &|staff, at| page.clef(staff, when(at)));
    accidentals::set_all(voices, &|at| page.fifths(when(at)));
}

/// Lays out the bars in `range` (0-based) of a part; the others stay empty.
pub(crate) fn lay_out(
    score: &Score,
    part: &Part,
    range: Range<usize>,
    page: &impl PlayersPage,
) -> PrintedPart {
    let per_quarter = score.per_quarter;
    let mut bars = voices::collect(score, part, &range, page);
    for (bar, voices) in bars.iter_mut().enumerate() {
        if !range.contains(&bar) {
            continue;
        }
        let own = part.bars.get(bar);
        let start = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        let length = bar_length(score, bar);
        let pickup = score.bars.get(bar).is_some_and(|b| b.pickup);
        let beats = Beats::new(page.meter(start), length, pickup);
        let filled = own
            .map(|b| quarters(b.filled, per_quarter))
            .filter(|f| *f > ZERO)
            .unwrap_or(length);
        // Notes without pitch take time too, but a score does not say when.
        if part.unpitched == 0 && !own.is_some_and(|b| b.slashes) {
            voices::fill_with_rests(voices, part.staves.max(1), filled);
        }
        voices.sort_by_key(|v| v.number);
        for voice in voices.iter_mut() {
            let mut events = std::mem::take(&mut voice.events);
            // Cutting a tuplet's rests can leave rests that belong together again.
            for _ in 0..8 {
                let joined = cuts::bar_rest(cuts::join_rests(events.clone()), &beats, filled);
                let before: Vec<Quarters> = events.iter().map(|p| p.start).collect();
                events = cuts::cut_all(joined, &beats);
                if events.iter().map(|p| p.start).eq(before) {
                    break;
                }
            }
            tuplets::mark(&mut events);
            values::set_all(&mut events);
            beams::set_all(&mut events, &beats);
            tuplets::set_brackets(&mut events);
            voice.events = events;
        }
        let when = |at: Quarters| start + Ticks((at * per_quarter.0).to_integer());
        stems::set_all(voices, &|staff, at| page.clef(staff, when(at)));
        accidentals::set_all(voices, &|at| page.fifths(when(at)));
    }
    PrintedPart { bars }
}
