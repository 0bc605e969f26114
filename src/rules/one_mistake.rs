//! One mistake, one finding: where several rules speak of the same notes, which of them is heard.

use super::list::named;
use super::rule::{Group, Rule};
use super::{harmony, players, rubs};
use crate::finding::{Finding, Level};
use crate::score::{Change, NoteRef, Place};
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
