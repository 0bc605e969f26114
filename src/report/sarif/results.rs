//! Findings as results.

use super::artifacts::ScoreArtifacts;
use super::log::{
    ArtifactChange, Fix, Location, LogicalLocation, Message, MusicProperties, Replacement,
    RunResult, Suppression,
};
use crate::finding::{Finding, Grounds, Level};
use crate::ground::pitch::Pitch;
use crate::ground::text::Span;
use crate::report::{ReportedFinding, part_names, printable};
use crate::score::Score;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The name of the fingerprint and its version.
const PRINT: &str = "chartproof/1";

/// A finding as a result; `rule_index` is the place of its rule in the list.
pub(super) fn result<'a>(
    files: &ScoreArtifacts<'a>,
    reported: &ReportedFinding<'a>,
    rule_index: usize,
    compared: bool,
) -> RunResult<'a> {
    let (score, finding) = (reported.score, reported.finding);
    let on_revision = reported
        .aside
        .is_some_and(|a| a.grounds == Grounds::Revision);
    let pitches = |list: &[Pitch]| list.iter().map(Pitch::to_string).collect();
    let mut suppressions = Vec::new();
    if let Some(aside) = reported.aside.filter(|_| !on_revision) {
        let (kind, without) = match aside.grounds {
            Grounds::Waiver => ("inSource", "waived in the score"),
            Grounds::Style => ("external", "accepted by the house style"),
            _ => ("external", "recorded on the ledger"),
        };
        suppressions.push(Suppression {
            kind,
            status: "accepted",
            justification: printable(aside.reason.as_deref().unwrap_or(without)),
        });
    }
    let (locations, related_locations) = locations(files, finding);
    RunResult {
        rule_id: finding.rule,
        rule_index,
        level: match finding.level {
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Note => "note",
        },
        message: Message::new(&format!(
            "Bar {}, beat {}: {}",
            score.bar_number(finding.at.bar),
            score.beat_at(finding.at),
            finding.message
        )),
        locations,
        related_locations,
        partial_fingerprints: BTreeMap::from([(PRINT, reported.print.to_string())]),
        suppressions,
        baseline_state: compared.then_some(if on_revision { "unchanged" } else { "new" }),
        fixes: fix(files, finding).into_iter().collect(),
        properties: MusicProperties {
            section: finding.section.as_deref(),
            parts: part_names(score, &finding.parts),
            bar: score.bar_number(finding.at.bar),
            bar_index: u64::from(finding.at.bar) + 1,
            beat: score.beat_at(finding.at).to_f64(),
            chord: finding.chord.as_deref(),
            technique: finding.technique.as_deref(),
            found: pitches(&finding.found),
            expected: pitches(&finding.expected),
            why: &finding.why,
            source: finding.source,
            suggestion: finding.suggestion.as_deref(),
        },
    }
}

/// The first note at fault, or the bar of the first part; and the other notes at fault.
fn locations(files: &ScoreArtifacts<'_>, finding: &Finding) -> (Vec<Location>, Vec<Location>) {
    let score = files.score;
    let mut spans: Vec<(Span, usize, Option<&str>)> = Vec::new();
    for fault in &finding.notes {
        let part = fault.note.part as usize;
        let note = score
            .parts
            .get(part)
            .and_then(|p| p.notes.get(fault.note.note as usize));
        spans.extend(note.map(|n| (n.span, part, Some(fault.label.as_str()))));
    }
    if spans.is_empty() {
        let bar = |&part: &u32| {
            let bars = &score.parts.get(part as usize)?.bars;
            let bar = bars.get(finding.at.bar as usize)?;
            Some((bar.span, part as usize, None))
        };
        spans.extend(finding.parts.iter().find_map(bar));
    }
    let mut all = spans
        .into_iter()
        .filter_map(|(span, part, label)| Some((files.at(span)?, part, label)))
        .map(|(physical_location, part, label)| Location {
            id: None,
            physical_location,
            logical_locations: vec![logical(score, finding, part)],
            message: label.filter(|l| !l.is_empty()).map(Message::new),
        });
    let first = all.next();
    let related: Vec<Location> = all
        .zip(1..)
        .map(|(location, id)| Location {
            id: Some(id),
            ..location
        })
        .collect();
    (
        first.or_else(|| files.whole()).into_iter().collect(),
        related,
    )
}

/// Section, part, bar and beat.
fn logical(score: &Score, finding: &Finding, part: usize) -> LogicalLocation {
    let part = score.parts.get(part).map_or("", |p| p.name.as_str());
    let bar = score.bar_number(finding.at.bar);
    let beat = score.beat_at(finding.at);
    let mut name = String::new();
    if let Some(section) = &finding.section {
        let _ = write!(name, "{section}/");
    }
    let _ = write!(name, "{part}/bar {bar}/beat {beat}");
    LogicalLocation {
        name: printable(part),
        fully_qualified_name: printable(&name),
        kind: "part",
    }
}

/// The verified fix of a finding.
fn fix(files: &ScoreArtifacts<'_>, finding: &Finding) -> Option<Fix> {
    let fix = finding.fix.as_ref()?;
    let edits = fix.edits.as_ref()?;
    let mut changes: BTreeMap<u16, Vec<Replacement>> = BTreeMap::new();
    for edit in edits {
        let span = Span {
            source: edit.source,
            start: edit.start,
            end: edit.end,
        };
        changes.entry(edit.source).or_default().push(Replacement {
            deleted_region: files.region(span)?,
            inserted_content: Message {
                text: edit.replacement.clone(),
            },
        });
    }
    let artifact_changes = changes
        .into_iter()
        .filter_map(|(source, replacements)| {
            Some(ArtifactChange {
                artifact_location: files.locations.get(usize::from(source))?.clone(),
                replacements,
            })
        })
        .collect();
    Some(Fix {
        description: Message::new(&fix.summary),
        artifact_changes,
    })
}
