//! One mistake, one finding: where several rules speak of the same notes, which of them is heard.

use super::input::RuleInput;
use super::list::named;
use super::rule::{Group, Rule};
use super::{harmony, notation, players, rubs};
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::score::{Change, NoteRef, Place, StretchFault};
use rustc_hash::FxHashMap;
use std::cmp::Reverse;

/// Rules that ask one question of a chord: is every note of it right? The first that speaks is heard.
const ON_ONE_CHORD: [&Rule; 5] = [
    &harmony::wrong_note::RULE,
    &rubs::minor_ninth::RULE,
    &harmony::unavailable_tension::RULE,
    &harmony::missing_guide_tone::RULE,
    &rubs::semitone_cluster::RULE,
];

/// One mistake in a chord is one finding: of several rules that ask about its notes the gravest is kept, and
/// of those the first in the order above. What is wrong in other parts stays.
pub(super) fn in_a_chord(findings: &mut Vec<Finding>) {
    let rank = |f: &Finding| ON_ONE_CHORD.iter().position(|r| r.name == f.rule);
    let weight = |f: &Finding| rank(f).map(|rank| (Reverse(f.level), rank));
    let mut first: FxHashMap<(Place, Option<String>), _> = FxHashMap::default();
    for finding in findings.iter() {
        if let Some(own) = weight(finding) {
            let kept = first
                .entry((finding.at, finding.section.clone()))
                .or_insert(own);
            *kept = own.min(*kept);
        }
    }
    findings.retain(|f| {
        let Some(own) = weight(f) else { return true };
        first
            .get(&(f.at, f.section.clone()))
            .is_none_or(|kept| *kept >= own)
    });
}

/// Rules that a note which its instrument does not have breaks as well.
fn is_of_pitch(rule: &str) -> bool {
    named(rule).is_some_and(|r| {
        matches!(
            r.group,
            Group::Voicing | Group::Rubs | Group::Lines | Group::Harmony
        )
    })
}

/// A note that no player of the instrument has is one mistake: other findings about its pitch go, and their
/// remedies may mend it.
pub(super) fn out_of_range(findings: &mut Vec<Finding>) {
    let range = players::written_range::RULE.name;
    let is_range = |f: &&Finding| f.rule == range && f.level == Level::Error;
    let outside: Vec<NoteRef> = findings
        .iter()
        .filter(is_range)
        .flat_map(|f| f.notes.iter().map(|n| n.note))
        .collect();
    if outside.is_empty() {
        return;
    }
    let blames = |f: &Finding| {
        let note = f.notes.iter().find(|n| outside.contains(&n.note))?;
        is_of_pitch(f.rule).then_some(note.note)
    };
    let (gone, left): (Vec<Finding>, Vec<Finding>) = std::mem::take(findings)
        .into_iter()
        .partition(|f| blames(f).is_some());
    *findings = left;
    for other in gone {
        let Some(note) = blames(&other) else { continue };
        let mut all = findings.iter_mut();
        let own = all.find(|f| f.rule == range && f.notes.iter().any(|n| n.note == note));
        if let Some(own) = own.filter(|f| f.at == other.at) {
            let only = |r: &Vec<Change>| r.iter().all(|c| c.note == note);
            own.remedies.extend(other.remedies.into_iter().filter(only));
        }
    }
}

/// Music in which a section is not whole: a bar of one of its parts is missing, or stops short.
struct Gap {
    /// 0-based; the first bar and the last.
    bars: (u32, u32),
    /// In the first bar, from here on.
    from: Ticks,
    /// The parts of the section, 0-based.
    parts: Vec<u32>,
}

/// Chords that lack the note of a part whose bar is missing or too short say nothing: their findings about
/// pitch go.
pub(super) fn in_whole_bars(input: &RuleInput<'_>, findings: &mut Vec<Finding>) {
    let gaps = gaps(input, findings);
    if gaps.is_empty() {
        return;
    }
    findings.retain(|f| {
        let inside = |gap: &Gap| {
            let bar = f.at.bar;
            (gap.bars.0..=gap.bars.1).contains(&bar)
                && (bar > gap.bars.0 || f.at.offset >= gap.from)
                && f.parts.iter().any(|p| gap.parts.contains(p))
        };
        !(is_of_pitch(f.rule) && gaps.iter().any(inside))
    });
}

fn gaps(input: &RuleInput<'_>, findings: &[Finding]) -> Vec<Gap> {
    let sections = || input.passages.iter().map(|p| &p.section);
    let with = |part: u32| -> Vec<u32> {
        let of = sections().filter(|s| s.parts.iter().any(|m| m.part == part));
        of.flat_map(|s| s.parts.iter().map(|m| m.part)).collect()
    };
    let mut gaps = Vec::new();
    let short = |f: &&Finding| f.rule == notation::bar_length::RULE.name && f.level == Level::Error;
    for finding in findings.iter().filter(short) {
        gaps.extend(finding.parts.iter().map(|part| Gap {
            bars: (finding.at.bar, finding.at.bar),
            from: finding.at.offset,
            parts: with(*part),
        }));
    }
    for stretch in &input.score.stretches {
        if let StretchFault::BarMissing(bar) = stretch.fault {
            gaps.push(Gap {
                bars: (bar, bar),
                from: Ticks::ZERO,
                parts: with(stretch.part),
            });
        }
    }
    let whole = input.whole();
    for (count, parts) in &whole.out_of_step {
        let last = u32::try_from(count.min(&whole.bars).saturating_sub(1)).unwrap_or(u32::MAX);
        gaps.extend(parts.iter().map(|part| Gap {
            bars: (last, u32::MAX),
            from: Ticks::ZERO,
            parts: with(*part),
        }));
    }
    gaps
}
