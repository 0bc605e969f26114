//! One mistake, one finding: where several rules speak of the same notes, which of them is heard.

use super::input::RuleInput;
use super::list::named;
use super::rule::{Group, Rule};
use super::voicing::{lead_not_on_top, voice_crossing};
use super::{agreement, harmony, lines, notation, players, rubs};
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::score::{Change, Displacement, NoteRef, Place, Score, Stretch, StretchFault};
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

/// A note that is wrong where it is struck rubs for as long as it is held, and one that is held into a chord
/// where it has no place is not struck with the others: that is one mistake.
pub(super) fn of_one_note(findings: &mut Vec<Finding>) {
    let in_a_chord = |f: &Finding| ON_ONE_CHORD.iter().any(|r| r.name == f.rule);
    let mut blamed: FxHashMap<NoteRef, (Place, &'static str)> = FxHashMap::default();
    let alone = findings
        .iter()
        .filter(|f| in_a_chord(f) && f.level > Level::Note && f.parts.len() == 1);
    for finding in alone {
        for note in &finding.notes {
            let first = blamed.entry(note.note);
            first.or_insert((finding.at, finding.rule));
        }
    }
    let late = agreement::rhythm_unison::RULE.name;
    findings.retain(|f| {
        let mut all = f.notes.iter().map(|n| blamed.get(&n.note));
        if f.rule == late {
            return f.notes.is_empty() || !all.all(|b| b.is_some_and(|(at, _)| *at == f.at));
        }
        let is_rub = named(f.rule).is_some_and(|r| r.group == Group::Rubs);
        let another = |(at, rule): &(Place, &str)| *at < f.at || *at == f.at && *rule != f.rule;
        !(is_rub && f.parts.len() > 1 && all.any(|b| b.is_some_and(another)))
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
    let outside = chords_out_of_range(findings, &outside);
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
            // What mends the note alone comes first.
            let mends = |r: &Vec<Change>| r.iter().any(|c| c.note == note);
            let mut more: Vec<_> = other.remedies.into_iter().filter(mends).collect();
            more.sort_by_key(|r| r.len() > 1);
            own.remedies.extend(more);
        }
    }
}

/// Notes that stand a step off are read with the accidental that is likeliest, and that is a guess: the finding
/// about their line is all there is to say of their pitch.
pub(super) fn in_displaced_lines(score: &Score, findings: &mut Vec<Finding>) {
    let by_steps = |s: &&Stretch| {
        let by = match &s.fault {
            StretchFault::Displaced { by, .. } => Some(by),
            _ => None,
        };
        matches!(by, Some(Displacement::Steps(_)))
    };
    let guessed: Vec<&Stretch> = score.stretches.iter().filter(by_steps).collect();
    if guessed.is_empty() {
        return;
    }
    let is_guessed = |note: NoteRef| {
        let mut all = guessed.iter();
        all.any(|s| s.part == note.part && (s.from..s.to).contains(&note.note))
    };
    let line = lines::displaced_line::RULE.name;
    findings.retain(|f| {
        f.rule == line
            || !is_of_pitch(f.rule)
            || f.notes.is_empty()
            || !f.notes.iter().all(|n| is_guessed(n.note))
    });
}

/// From so many notes that its remedy changes a finding is about the whole chord.
const WHOLE_CHORD: usize = 3;

/// Where the whole chord is another than was meant, its finding says of the notes outside a range that they
/// are, and takes their place. The notes that are left.
fn chords_out_of_range(findings: &mut Vec<Finding>, outside: &[NoteRef]) -> Vec<NoteRef> {
    let range = players::written_range::RULE.name;
    let mut explained: Vec<NoteRef> = Vec::new();
    for at in 0..findings.len() {
        let Some(chord) = findings.get(at).filter(|f| is_of_pitch(f.rule)) else {
            continue;
        };
        let first = chord.remedies.first().filter(|r| r.len() >= WHOLE_CHORD);
        let Some(changed) = first.filter(|_| chord.level > Level::Note) else {
            continue;
        };
        let changes = |note: NoteRef| changed.iter().any(|c| c.note == note);
        let within: Vec<&Finding> = findings
            .iter()
            .filter(|f| f.rule == range && f.at == chord.at && f.level == Level::Error)
            .filter(|f| !f.notes.is_empty() && f.notes.iter().all(|n| changes(n.note)))
            .collect();
        let alone = |r: &Vec<Change>| {
            let is_outside = |c: &Change| {
                within
                    .iter()
                    .any(|f| f.notes.iter().any(|n| n.note == c.note))
            };
            !r.is_empty() && r.iter().all(is_outside)
        };
        let crosses = [lead_not_on_top::RULE.name, voice_crossing::RULE.name].contains(&chord.rule);
        if within.is_empty() || crosses && within.len() == 1 || chord.remedies.iter().any(alone) {
            continue;
        }
        let words: Vec<String> = within.iter().map(|f| f.message.clone()).collect();
        explained.extend(within.iter().flat_map(|f| f.notes.iter().map(|n| n.note)));
        if let Some(chord) = findings.get_mut(at) {
            chord.level = Level::Error;
            chord.message = format!("{}; {}", chord.message, words.join("; "));
        }
    }
    let is_explained = |f: &Finding| {
        f.rule == range
            && !f.notes.is_empty()
            && f.notes.iter().all(|n| explained.contains(&n.note))
    };
    findings.retain(|f| !is_explained(f));
    let left = outside.iter().filter(|note| !explained.contains(note));
    left.copied().collect()
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
