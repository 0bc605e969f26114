//! The phrases of a section, and how each of them moves.

use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::{Section, Sonority};
use std::ops::Range;

/// Phrases end at a rest of a beat or more in every voice, at double bars, and where the section ends to
/// play together.
pub(super) fn phrases(
    score: &Score,
    section: &Section,
    sonorities: &[Sonority],
) -> Vec<Range<usize>> {
    let double_bars: Vec<Ticks> = section
        .parts
        .first()
        .and_then(|p| score.parts.get(p.part as usize))
        .map(|part| {
            part.bars
                .iter()
                .zip(&score.bars)
                .filter(|(p, _)| p.double_bar || p.repeat_end)
                .map(|(_, b)| b.start + b.length)
                .collect()
        })
        .unwrap_or_default();
    let mut phrases = Vec::new();
    let mut start = 0;
    for at in 1..sonorities.len() {
        let (Some(a), Some(b)) = (sonorities.get(at - 1), sonorities.get(at)) else {
            continue;
        };
        let beat = score.felt_beat_at(b.onset);
        let rest = b.onset - a.end >= beat;
        let bar_line = double_bars.partition_point(|&d| d <= a.onset);
        let double = double_bars.get(bar_line).is_some_and(|&d| d <= b.onset);
        let elsewhere = section.stretch_at(a.onset) != section.stretch_at(b.onset);
        if rest || double || elsewhere {
            phrases.push(start..at);
            start = at;
        }
    }
    if start < sonorities.len() {
        phrases.push(start..sonorities.len());
    }
    phrases
}

pub(super) fn moves_as_block(sonorities: &[Sonority]) -> bool {
    // A block that stands under a held lead says nothing of how the lead moves.
    let full = sonorities
        .iter()
        .filter(|s| s.voices.len() >= 3 && !s.under_held_lead);
    let blocks = full.clone().filter(|s| s.is_block()).count();
    blocks * 10 >= full.count() * 6
}

pub(super) fn led_by_top_seat(sonorities: &[Sonority]) -> bool {
    let (mut leads, mut all) = (0, 0);
    for s in sonorities.iter().filter(|s| s.is_block()) {
        let top_seat = s.voices.iter().map(|v| v.seat).min();
        all += 1;
        leads += usize::from(s.voices.first().map(|v| v.seat) == top_seat);
    }
    all > 0 && leads * 2 >= all
}
