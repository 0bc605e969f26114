//! The report as SARIF 2.1.0, an open standard for results of checks: one run, with the rules, the
//! files, and every finding, those that do not count among them with the reason.
//!
//! Units: lines and columns are 1-based, columns in Unicode code points (`columnKind`), the end
//! exclusive; `charOffset` and `charLength` count code points of the text, a byte order mark not
//! counted. Paths of files are relative to the current folder (`ROOT`), percent-encoded; a score
//! inside a compressed file is an artifact of its own with that file as its parent. Bars, beats and
//! pitches stand in the `properties` of a result, with the names and units of the JSON report.

use super::{Entry, Told, part_names, printable, rulebook, shielded};
use crate::finding::{Finding, Grounds, Level};
use crate::ground::disk;
use crate::ground::pitch::Pitch;
use crate::ground::text::Span;
use crate::rules::{self, Rule};
use crate::score::{Score, Source};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Component, Path, PathBuf};

/// The base that paths are relative to.
const ROOT: &str = "ROOT";

/// The name of the fingerprint and its version.
const PRINT: &str = "chartproof/1";

#[derive(Serialize)]
struct Log<'a> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    version: &'static str,
    runs: [Run<'a>; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Run<'a> {
    tool: Tool,
    invocations: [Invocation; 1],
    original_uri_base_ids: BTreeMap<&'static str, Base>,
    artifacts: Vec<Artifact>,
    results: Vec<Found<'a>>,
    column_kind: &'static str,
    default_encoding: &'static str,
}

#[derive(Serialize)]
struct Base {
    description: Text,
}

#[derive(Serialize)]
struct Tool {
    driver: Driver,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Driver {
    name: &'static str,
    version: &'static str,
    semantic_version: &'static str,
    language: &'static str,
    short_description: Text,
    rules: Vec<Descriptor>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Descriptor {
    id: String,
    short_description: Text,
    full_description: Text,
    #[serde(skip_serializing_if = "Option::is_none")]
    help: Option<Help>,
    default_configuration: Configuration,
    #[serde(skip_serializing_if = "Option::is_none")]
    properties: Option<RuleFacts>,
}

#[derive(Serialize)]
struct Configuration {
    enabled: bool,
    level: &'static str,
}

#[derive(Serialize)]
struct RuleFacts {
    tags: [String; 1],
    source: &'static str,
}

#[derive(Serialize)]
struct Text {
    text: String,
}

impl Text {
    /// A message as the standard wants it: braces doubled, and no accidental link.
    fn message(text: &str) -> Self {
        let mut text = printable(text).replace('{', "{{").replace('}', "}}");
        if text.contains("](") {
            text = text
                .replace('\\', "\\\\")
                .replace('[', "\\[")
                .replace(']', "\\]");
        }
        Self { text }
    }
}

#[derive(Serialize)]
struct Help {
    text: String,
    markdown: String,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Invocation {
    execution_successful: bool,
    tool_execution_notifications: Vec<Notification>,
}

#[derive(Serialize)]
struct Notification {
    level: &'static str,
    message: Text,
    locations: Vec<Spot>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Artifact {
    location: Place,
    #[serde(skip_serializing_if = "Option::is_none")]
    parent_index: Option<usize>,
    roles: [&'static str; 1],
}

/// The place of an artifact.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "camelCase")]
struct Place {
    uri: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    uri_base_id: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    index: Option<usize>,
}

/// What the standard calls a location.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Spot {
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<usize>,
    physical_location: Physical,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    logical_locations: Vec<Logical>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message: Option<Text>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Physical {
    artifact_location: Place,
    #[serde(skip_serializing_if = "Option::is_none")]
    region: Option<Region>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Region {
    start_line: usize,
    start_column: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    end_line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    end_column: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    char_offset: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    char_length: Option<usize>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Logical {
    name: String,
    fully_qualified_name: String,
    kind: &'static str,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Found<'a> {
    rule_id: &'a str,
    rule_index: usize,
    level: &'static str,
    message: Text,
    locations: Vec<Spot>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    related_locations: Vec<Spot>,
    partial_fingerprints: BTreeMap<&'static str, String>,
    suppressions: Vec<Suppression>,
    #[serde(skip_serializing_if = "Option::is_none")]
    baseline_state: Option<&'static str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    fixes: Vec<Fix>,
    properties: Facts<'a>,
}

#[derive(Serialize)]
struct Suppression {
    kind: &'static str,
    status: &'static str,
    justification: String,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Fix {
    description: Text,
    artifact_changes: Vec<ArtifactChange>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct ArtifactChange {
    artifact_location: Place,
    replacements: Vec<Replacement>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Replacement {
    deleted_region: Region,
    inserted_content: Text,
}

/// What only music has.
#[derive(Serialize)]
struct Facts<'a> {
    section: Option<&'a str>,
    parts: Vec<&'a str>,
    bar: String,
    bar_index: u64,
    beat: f64,
    chord: Option<&'a str>,
    technique: Option<&'a str>,
    found: Vec<String>,
    expected: Vec<String>,
    why: &'a str,
    source: &'a str,
    suggestion: Option<&'a str>,
}

/// The log as one JSON document, with a line feed at its end. `compared` says that findings were
/// compared with those of a revision: each then is `new` or `unchanged`.
///
/// # Errors
///
/// When the log cannot be serialised.
pub fn render(entries: &[Entry], compared: bool) -> Result<String, serde_json::Error> {
    let here = disk::here();
    let mut shelf = Shelf {
        here,
        artifacts: Vec::new(),
        index: BTreeMap::new(),
    };
    let mut descriptors: Vec<Descriptor> = rules::ALL.into_iter().map(descriptor).collect();
    let mut results = Vec::new();
    let mut notifications = Vec::new();
    for entry in entries {
        let (score, proofed) = match &entry.outcome {
            Ok(read) => read,
            Err(error) => {
                notifications.push(unreadable(error, &mut shelf));
                continue;
            }
        };
        let desk = Desk::of(score, &mut shelf);
        for remark in &proofed.remarks {
            notifications.push(Notification {
                level: "note",
                message: Text::message(remark),
                locations: desk.whole().into_iter().collect(),
            });
        }
        for told in entry.all() {
            let index = rule_index(&mut descriptors, told.finding);
            results.push(result(&desk, &told, index, compared));
        }
    }
    let log = Log {
        schema: "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        version: "2.1.0",
        runs: [Run {
            tool: Tool {
                driver: Driver {
                    name: "chartproof",
                    version: env!("CARGO_PKG_VERSION"),
                    semantic_version: env!("CARGO_PKG_VERSION"),
                    language: "en",
                    short_description: Text {
                        text: "A proofreader that reads section parts vertically.".to_owned(),
                    },
                    rules: descriptors,
                },
            },
            invocations: [Invocation {
                execution_successful: entries.iter().all(|e| e.outcome.is_ok()),
                tool_execution_notifications: notifications,
            }],
            original_uri_base_ids: BTreeMap::from([(
                ROOT,
                Base {
                    description: Text {
                        text: "The folder that chartproof was run in.".to_owned(),
                    },
                },
            )]),
            artifacts: shelf.artifacts,
            results,
            column_kind: "unicodeCodePoints",
            default_encoding: "UTF-8",
        }],
    };
    let mut text = shielded(serde_json::to_string_pretty(&log)?);
    text.push('\n');
    Ok(text)
}

fn descriptor(rule: &Rule) -> Descriptor {
    Descriptor {
        id: rule.name.to_owned(),
        short_description: Text::message(rule.asks),
        full_description: Text::message(&format!("{} {}", rule.asks, rule.why)),
        help: Some(Help {
            text: rulebook::page(rule),
            markdown: markdown(rule),
        }),
        default_configuration: Configuration {
            enabled: !rule.off,
            level: rule.level.word(),
        },
        properties: Some(RuleFacts {
            tags: [rulebook::group(rule).to_owned()],
            source: rule.source,
        }),
    }
}

/// The page of the rulebook, its examples in blocks of their own.
fn markdown(rule: &Rule) -> String {
    let mut out = format!("{}\n\n{}\n", rule.asks, rule.why);
    if !rule.exceptions.is_empty() {
        out.push_str("\nSilent for:\n\n");
        for exception in rule.exceptions {
            let _ = writeln!(out, "* {exception}");
        }
    }
    let _ = writeln!(out, "\nSource: {}", rule.source);
    for example in rule.examples {
        for (name, passage) in [("Wrong", example.wrong), ("Right", example.right)] {
            let _ = writeln!(out, "\n{name}:\n\n```text\n{}\n```", passage.trim_end());
        }
    }
    out
}

/// Where the rule of a finding stands in the list; a rule that is not the program's own joins it.
fn rule_index(descriptors: &mut Vec<Descriptor>, finding: &Finding) -> usize {
    if let Some(index) = descriptors.iter().position(|d| d.id == finding.rule) {
        return index;
    }
    let about = if finding.why.is_empty() {
        finding.rule
    } else {
        &finding.why
    };
    descriptors.push(Descriptor {
        id: finding.rule.to_owned(),
        short_description: Text::message(about),
        full_description: Text::message(about),
        help: None,
        default_configuration: Configuration {
            enabled: true,
            level: finding.level.word(),
        },
        properties: None,
    });
    descriptors.len() - 1
}

fn unreadable(error: &crate::ground::problem::Problem, shelf: &mut Shelf) -> Notification {
    let message = match &error.help {
        Some(help) => format!("could not be read: {}; {help}", error.message),
        None => format!("could not be read: {}", error.message),
    };
    let region = error.line_column().map(|(line, column)| Region {
        start_line: line,
        start_column: column,
        end_line: None,
        end_column: None,
        char_offset: None,
        char_length: None,
    });
    let artifact_location = shelf.file(&error.path);
    Notification {
        level: "error",
        message: Text::message(&message),
        locations: vec![Spot {
            id: None,
            physical_location: Physical {
                artifact_location,
                region,
            },
            logical_locations: Vec::new(),
            message: None,
        }],
    }
}

fn result<'a>(desk: &Desk<'a>, told: &Told<'a>, rule_index: usize, compared: bool) -> Found<'a> {
    let (score, finding) = (told.score, told.finding);
    let on_revision = told.aside.is_some_and(|a| a.grounds == Grounds::Revision);
    let pitches = |list: &[Pitch]| list.iter().map(Pitch::to_string).collect();
    let mut suppressions = Vec::new();
    if let Some(aside) = told.aside.filter(|_| !on_revision) {
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
    let (locations, related_locations) = locations(desk, finding);
    Found {
        rule_id: finding.rule,
        rule_index,
        level: match finding.level {
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Note => "note",
        },
        message: Text::message(&format!(
            "Bar {}, beat {}: {}",
            score.bar_number(finding.at.bar),
            score.beat_at(finding.at),
            finding.message
        )),
        locations,
        related_locations,
        partial_fingerprints: BTreeMap::from([(PRINT, told.print.to_string())]),
        suppressions,
        baseline_state: compared.then_some(if on_revision { "unchanged" } else { "new" }),
        fixes: fix(desk, finding).into_iter().collect(),
        properties: Facts {
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
fn locations(desk: &Desk<'_>, finding: &Finding) -> (Vec<Spot>, Vec<Spot>) {
    let score = desk.score;
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
        .filter_map(|(span, part, label)| Some((desk.at(span)?, part, label)))
        .map(|(physical_location, part, label)| Spot {
            id: None,
            physical_location,
            logical_locations: vec![logical(score, finding, part)],
            message: label.filter(|l| !l.is_empty()).map(Text::message),
        });
    let first = all.next();
    let related: Vec<Spot> = all
        .zip(1..)
        .map(|(location, id)| Spot {
            id: Some(id),
            ..location
        })
        .collect();
    (
        first.or_else(|| desk.whole()).into_iter().collect(),
        related,
    )
}

/// Section, part, bar and beat.
fn logical(score: &Score, finding: &Finding, part: usize) -> Logical {
    let part = score.parts.get(part).map_or("", |p| p.name.as_str());
    let bar = score.bar_number(finding.at.bar);
    let beat = score.beat_at(finding.at);
    let mut name = String::new();
    if let Some(section) = &finding.section {
        let _ = write!(name, "{section}/");
    }
    let _ = write!(name, "{part}/bar {bar}/beat {beat}");
    Logical {
        name: printable(part),
        fully_qualified_name: printable(&name),
        kind: "part",
    }
}

/// The verified fix of a finding.
fn fix(desk: &Desk<'_>, finding: &Finding) -> Option<Fix> {
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
            deleted_region: desk.region(span)?,
            inserted_content: Text {
                text: edit.replacement.clone(),
            },
        });
    }
    let artifact_changes = changes
        .into_iter()
        .filter_map(|(source, replacements)| {
            Some(ArtifactChange {
                artifact_location: desk.places.get(usize::from(source))?.clone(),
                replacements,
            })
        })
        .collect();
    Some(Fix {
        description: Text::message(&fix.summary),
        artifact_changes,
    })
}

/// A score with its files among the artifacts.
struct Desk<'a> {
    score: &'a Score,
    places: Vec<Place>,
    counts: Vec<Characters<'a>>,
}

impl<'a> Desk<'a> {
    fn of(score: &'a Score, shelf: &mut Shelf) -> Self {
        Self {
            score,
            places: score.sources.iter().map(|s| shelf.source(s)).collect(),
            counts: score
                .sources
                .iter()
                .map(|s| Characters::of(&s.text))
                .collect(),
        }
    }

    fn region(&self, span: Span) -> Option<Region> {
        let source = self.score.sources.get(usize::from(span.source))?;
        let count = self.counts.get(usize::from(span.source))?;
        let (start_line, start_column) = source.line_column(span.start);
        let (end_line, end_column) = source.line_column(span.end.max(span.start));
        let start = count.before(span.start as usize);
        let end = count.before(span.end as usize);
        Some(Region {
            start_line,
            start_column,
            end_line: Some(end_line),
            end_column: Some(end_column),
            char_offset: Some(start),
            char_length: Some(end.saturating_sub(start)),
        })
    }

    fn at(&self, span: Span) -> Option<Physical> {
        Some(Physical {
            artifact_location: self.places.get(usize::from(span.source))?.clone(),
            region: self.region(span),
        })
    }

    /// The score's first file.
    fn whole(&self) -> Option<Spot> {
        let artifact_location = self.places.first()?.clone();
        Some(Spot {
            id: None,
            physical_location: Physical {
                artifact_location,
                region: None,
            },
            logical_locations: Vec::new(),
            message: None,
        })
    }
}

/// How many characters a text has before a byte, with a count kept now and then: a file may have
/// megabytes and thousands of findings.
struct Characters<'a> {
    text: &'a str,
    /// Characters before each multiple of [`STRIDE`]; empty where every character is one byte.
    counts: Vec<usize>,
}

const STRIDE: usize = 4096;

/// Whether a byte starts a character.
fn starts(byte: u8) -> bool {
    byte & 0xC0 != 0x80
}

impl<'a> Characters<'a> {
    fn of(text: &'a str) -> Self {
        let mut counts = Vec::new();
        if !text.is_ascii() {
            let mut sum = 0;
            for piece in text.as_bytes().chunks(STRIDE) {
                counts.push(sum);
                sum += piece.iter().filter(|b| starts(**b)).count();
            }
        }
        Self { text, counts }
    }

    fn before(&self, at: usize) -> usize {
        let at = at.min(self.text.len());
        if self.counts.is_empty() {
            return at;
        }
        let stride = (at / STRIDE).min(self.counts.len().saturating_sub(1));
        let known = self.counts.get(stride).copied().unwrap_or_default();
        let rest = self.text.as_bytes().get(stride * STRIDE..at);
        known + rest.map_or(0, |r| r.iter().filter(|b| starts(**b)).count())
    }
}

/// The artifacts of the run, each once.
struct Shelf {
    here: PathBuf,
    artifacts: Vec<Artifact>,
    index: BTreeMap<(PathBuf, Option<String>), usize>,
}

impl Shelf {
    fn source(&mut self, source: &Source) -> Place {
        let file = self.file(&source.path);
        let Some(member) = &source.member else {
            return file;
        };
        let key = (source.path.clone(), Some(member.clone()));
        let member = member.trim_start_matches('/').replace('\\', "/");
        let place = Place {
            uri: format!("/{}", encoded(member.as_bytes())),
            uri_base_id: None,
            index: None,
        };
        self.put(key, place, file.index)
    }

    fn file(&mut self, path: &Path) -> Place {
        let place = self.place(path);
        self.put((path.to_owned(), None), place, None)
    }

    fn put(
        &mut self,
        key: (PathBuf, Option<String>),
        place: Place,
        parent_index: Option<usize>,
    ) -> Place {
        let next = self.artifacts.len();
        let index = *self.index.entry(key).or_insert(next);
        if index == next {
            self.artifacts.push(Artifact {
                location: place.clone(),
                parent_index,
                roles: ["analysisTarget"],
            });
        }
        Place {
            index: Some(index),
            ..place
        }
    }

    /// Relative to the current folder when the file is below it, else the whole path.
    fn place(&self, path: &Path) -> Place {
        let mut whole = PathBuf::new();
        for step in self.here.join(path).components() {
            match step {
                Component::CurDir => {}
                Component::ParentDir => {
                    whole.pop();
                }
                step => whole.push(step),
            }
        }
        match whole.strip_prefix(&self.here) {
            Ok(below) if !below.as_os_str().is_empty() => Place {
                uri: steps(below),
                uri_base_id: Some(ROOT),
                index: None,
            },
            _ => Place {
                uri: format!("file:///{}", steps(&whole)),
                uri_base_id: None,
                index: None,
            },
        }
    }
}

/// A path as a reference: its steps percent-encoded, `/` between them.
fn steps(path: &Path) -> String {
    let steps: Vec<String> = path
        .components()
        .filter(|c| !matches!(c, Component::RootDir))
        .map(|c| encoded(c.as_os_str().as_encoded_bytes()))
        .collect();
    steps.join("/")
}

/// Percent-encoding (published: RFC 3986) of everything but unreserved characters and `/`.
fn encoded(bytes: &[u8]) -> String {
    let mut out = String::with_capacity(bytes.len());
    for &byte in bytes {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::SetAside;
    use crate::report::sample;
    use serde_json::Value;

    fn log(entries: &[Entry], compared: bool) -> Value {
        serde_json::from_str(&render(entries, compared).unwrap()).unwrap()
    }

    #[test]
    fn a_result_has_rule_place_and_fingerprint() {
        let log = log(&[sample::entry(), sample::unreadable()], false);
        let run = &log["runs"][0];
        let result = &run["results"][1];
        assert_eq!(result["ruleId"], "wrong-voice-dropped");
        let index = result["ruleIndex"].as_u64().unwrap() as usize;
        assert_eq!(
            run["tool"]["driver"]["rules"][index]["id"],
            result["ruleId"]
        );
        let place = &result["locations"][0]["physicalLocation"];
        assert_eq!(place["artifactLocation"]["uri"], "quay.musicxml");
        assert_eq!(place["region"]["startLine"], 4);
        assert_eq!(result["suppressions"], serde_json::json!([]));
        assert!(result["baselineState"].is_null());
        assert_eq!(run["invocations"][0]["executionSuccessful"], false);
        let told = &run["invocations"][0]["toolExecutionNotifications"][1];
        assert_eq!(told["level"], "error");
        assert_eq!(
            told["locations"][0]["physicalLocation"]["region"]["startLine"],
            2
        );
    }

    #[test]
    fn what_does_not_count_is_there_with_the_reason() {
        let mut entry = sample::entry();
        if let Ok((_, proofed)) = &mut entry.outcome {
            let grounds = [Grounds::Ledger, Grounds::Revision];
            for (finding, grounds) in proofed.findings.drain(..).zip(grounds) {
                proofed.set_aside.push(SetAside {
                    finding,
                    grounds,
                    reason: Some("as in {1959}".to_owned()),
                    origin: String::new(),
                });
            }
        }
        let log = log(&[entry], true);
        let results = log["runs"][0]["results"].as_array().unwrap();
        let of = |rule: &str| results.iter().find(|r| r["ruleId"] == rule).unwrap();
        let ledger = of("wrong-voice-dropped");
        assert_eq!(ledger["suppressions"][0]["kind"], "external");
        assert_eq!(ledger["suppressions"][0]["justification"], "as in {1959}");
        assert_eq!(ledger["baselineState"], "new");
        let old = of("bar-length");
        assert_eq!(old["suppressions"], serde_json::json!([]));
        assert_eq!(old["baselineState"], "unchanged");
    }

    #[test]
    fn messages_hold_no_placeholders_links_or_control_characters() {
        assert_eq!(Text::message("{0} \u{1b}[1m").text, "{{0}} ?[1m");
        assert_eq!(Text::message("[a](1)").text, "\\[a\\](1)");
        assert_eq!(Text::message("Alto [solo]").text, "Alto [solo]");
    }

    #[test]
    fn paths_are_references() {
        let shelf = Shelf {
            here: PathBuf::from("/band/book"),
            artifacts: Vec::new(),
            index: BTreeMap::new(),
        };
        let of = |path: &str| shelf.place(Path::new(path));
        assert_eq!(of("./a b/\u{e9}%.mxl").uri, "a%20b/%C3%A9%25.mxl");
        assert_eq!(of("x/../y.mxl").uri, "y.mxl");
        assert_eq!(of("y.mxl").uri_base_id, Some(ROOT));
        let outside = of("../other/y.mxl");
        assert_eq!(
            (outside.uri.as_str(), outside.uri_base_id),
            ("file:///band/other/y.mxl", None)
        );
    }

    #[test]
    fn characters_are_counted() {
        let text = "a\u{e9}\u{266d}".repeat(3000);
        let count = Characters::of(&text);
        for (characters, (at, _)) in text.char_indices().enumerate().step_by(97) {
            assert_eq!(count.before(at), characters);
        }
        assert_eq!(count.before(text.len() + 9), 9000);
        assert_eq!(Characters::of("abc").before(2), 2);
    }
}
