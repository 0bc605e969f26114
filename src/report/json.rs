//! The report for machines: one JSON document ([`render`]) or one object a line ([`lines`]).
//!
//! Units: `bar` is the printed number as text, `bar_index` the 1-based position in the file,
//! `beat` is 1-based in units of the meter's lower figure; `line` and `column` are 1-based,
//! columns in characters; `start` and `end` are 0-based bytes of the file as UTF-8 text, `end` one
//! past the last (in a compressed file: of the score inside it, named by `member`). `written` is
//! the pitch as the player reads it; `sounding`, `found` and `expected` are at concert pitch, from
//! the top, in scientific octaves (C4 is middle C). `voice` is 1-based from the top.
//!
//! `findings` are those that count; `set_aside` are the others, with `because`: the `grounds`
//! (`style`, `ledger`, `waiver`, `revision`), a `reason` where somebody gave one, and where it is said.

use super::{ProofedFile, ReportedFinding, Sums, part_names};
use crate::finding::{Finding, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::shown::shown_json;
use crate::ground::text::Span;
use crate::score::Score;
use serde::Serialize;
use std::collections::BTreeMap;

/// The name and version of the format.
pub const FORMAT: &str = "chartproof-report/1";

#[derive(Serialize)]
struct JsonReport<'a> {
    format: &'static str,
    files: Vec<JsonFile<'a>>,
    findings: Vec<JsonFinding<'a>>,
    set_aside: Vec<SetAside<'a>>,
    summary: Summary,
}

/// A finding that does not count, with all its members and the reason.
#[derive(Serialize)]
struct SetAside<'a> {
    because: Because<'a>,
    #[serde(flatten)]
    finding: JsonFinding<'a>,
}

#[derive(Serialize)]
struct Because<'a> {
    grounds: &'static str,
    reason: Option<&'a str>,
    origin: &'a str,
}

#[derive(Serialize)]
struct JsonFile<'a> {
    path: String,
    title: Option<&'a str>,
    parts: Vec<&'a str>,
    bars: usize,
    sonorities: usize,
    unreadable: Option<String>,
    inferred: Vec<JsonInferred<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
struct JsonInferred<'a> {
    section: &'a str,
    technique: &'a str,
    from_bar: String,
    to_bar: String,
    fits: usize,
    of: usize,
}

#[derive(Serialize)]
struct JsonFinding<'a> {
    rule: &'a str,
    level: &'static str,
    file: String,
    section: Option<&'a str>,
    parts: Vec<&'a str>,
    bar: String,
    bar_index: u64,
    beat: f64,
    message: &'a str,
    why: &'a str,
    source: &'a str,
    chord: Option<&'a str>,
    technique: Option<&'a str>,
    notes: Vec<JsonNote<'a>>,
    found: Vec<String>,
    expected: Vec<String>,
    fix: Option<Fix<'a>>,
    suggestion: Option<&'a str>,
    margin: Option<i32>,
    fingerprint: String,
}

/// A verified fix: edits of the sources, which do not overlap.
#[derive(Serialize)]
struct Fix<'a> {
    summary: &'a str,
    verified: bool,
    edits: Vec<FixEdit<'a>>,
}

#[derive(Serialize)]
struct FixEdit<'a> {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    member: Option<&'a str>,
    start: u32,
    end: u32,
    replacement: &'a str,
}

/// The fix of a finding as edits; none when its notes cannot be edited where they stand.
fn fix<'a>(score: &'a Score, finding: &'a Finding) -> Option<Fix<'a>> {
    let fix = finding.fix.as_ref()?;
    let edits = fix.edits.as_ref()?;
    Some(Fix {
        summary: &fix.summary,
        verified: true,
        edits: edits
            .iter()
            .filter_map(|e| {
                let source = score.sources.get(usize::from(e.source))?;
                Some(FixEdit {
                    file: source.path.display().to_string(),
                    member: source.member.as_deref(),
                    start: e.start,
                    end: e.end,
                    replacement: &e.replacement,
                })
            })
            .collect(),
    })
}

#[derive(Serialize)]
struct JsonNote<'a> {
    part: &'a str,
    voice: u8,
    written: String,
    sounding: String,
    expected: Option<String>,
    label: &'a str,
    at: Option<JsonPlace<'a>>,
}

#[derive(Serialize)]
struct JsonPlace<'a> {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    member: Option<&'a str>,
    line: usize,
    column: usize,
    start: u32,
    end: u32,
}

#[derive(Serialize)]
struct Summary {
    errors: usize,
    warnings: usize,
    notes: usize,
    set_aside: usize,
    by_rule: BTreeMap<&'static str, usize>,
}

/// A line of the one-object-a-line form: `kind` says what the other members are.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
enum JsonLine<'a> {
    File(JsonFile<'a>),
    Finding(Box<JsonFinding<'a>>),
    #[serde(rename = "set_aside")]
    SetAside(Box<SetAside<'a>>),
    Summary(Summary),
}

/// The whole report as one JSON document, with a line feed at its end.
///
/// # Errors
///
/// When the report cannot be serialised.
pub fn render(entries: &[ProofedFile]) -> Result<String, serde_json::Error> {
    let report = JsonReport {
        format: FORMAT,
        files: entries.iter().map(file).collect(),
        findings: entries.iter().flat_map(findings).collect(),
        set_aside: entries.iter().flat_map(set_aside).collect(),
        summary: summary(Sums::of(entries)),
    };
    let mut text = shown_json(serde_json::to_string_pretty(&report)?);
    text.push('\n');
    Ok(text)
}

/// One JSON object a line. Each file gives a line of kind `file`, after it a line of kind `finding` for
/// each finding and one of kind `set_aside` for each that does not count; the last line is of kind
/// `summary`. The other members are those of the document's `files`, `findings`, `set_aside` and
/// `summary`.
///
/// # Errors
///
/// When the report cannot be serialised.
pub fn lines(entries: &[ProofedFile]) -> Result<String, serde_json::Error> {
    let files: Result<String, _> = entries.iter().map(lines_of_file).collect();
    Ok(files? + &last_line(Sums::of(entries))?)
}

/// The lines about one file.
///
/// # Errors
///
/// When they cannot be serialised.
pub fn lines_of_file(entry: &ProofedFile) -> Result<String, serde_json::Error> {
    let mut text = line(&JsonLine::File(file(entry)))?;
    for finding in findings(entry) {
        text.push_str(&line(&JsonLine::Finding(Box::new(finding)))?);
    }
    for aside in set_aside(entry) {
        text.push_str(&line(&JsonLine::SetAside(Box::new(aside)))?);
    }
    Ok(text)
}

/// The line about all files together.
///
/// # Errors
///
/// When it cannot be serialised.
pub fn last_line(sums: Sums) -> Result<String, serde_json::Error> {
    line(&JsonLine::Summary(summary(sums)))
}

fn line(line: &JsonLine<'_>) -> Result<String, serde_json::Error> {
    let mut text = shown_json(serde_json::to_string(line)?);
    text.push('\n');
    Ok(text)
}

fn summary(sums: Sums) -> Summary {
    Summary {
        errors: sums.tally.errors,
        warnings: sums.tally.warnings,
        notes: sums.tally.notes,
        set_aside: sums.set_aside,
        by_rule: sums.tally.by_rule,
    }
}

fn file(entry: &ProofedFile) -> JsonFile<'_> {
    match &entry.outcome {
        Ok((score, proofed)) => JsonFile {
            path: entry.name(),
            title: score.title.as_deref(),
            parts: score.parts.iter().map(|p| p.name.as_str()).collect(),
            bars: score.bars.len(),
            sonorities: proofed.sonorities,
            unreadable: None,
            inferred: proofed
                .inferred
                .iter()
                .map(|i| JsonInferred {
                    section: &i.section,
                    technique: &i.technique,
                    from_bar: score.bar_number(i.from.bar),
                    to_bar: score.bar_number(i.to.bar),
                    fits: i.fits,
                    of: i.of,
                })
                .collect(),
            remarks: &proofed.remarks,
        },
        Err(error) => JsonFile {
            path: entry.name(),
            title: None,
            parts: Vec::new(),
            bars: 0,
            sonorities: 0,
            unreadable: Some(why_unreadable(error)),
            inferred: Vec::new(),
            remarks: &[],
        },
    }
}

/// The error without its path, which stands beside it, but with the line.
fn why_unreadable(error: &crate::ground::problem::Problem) -> String {
    let mut why = match error.line_column() {
        Some((line, column)) => format!("line {line}, column {column}: {}", error.message),
        None => error.message.clone(),
    };
    if let Some(help) = &error.help {
        why.push_str("; ");
        why.push_str(help);
    }
    why
}

fn findings(entry: &ProofedFile) -> Vec<JsonFinding<'_>> {
    let all = entry.all().into_iter();
    all.filter(|reported| reported.aside.is_none())
        .map(|reported| finding_of(entry, &reported))
        .collect()
}

fn set_aside(entry: &ProofedFile) -> Vec<SetAside<'_>> {
    let all = entry.all().into_iter();
    all.filter_map(|reported| {
        let aside = reported.aside?;
        Some(SetAside {
            because: Because {
                grounds: aside.grounds.word(),
                reason: aside.reason.as_deref(),
                origin: &aside.origin,
            },
            finding: finding_of(entry, &reported),
        })
    })
    .collect()
}

fn finding_of<'a>(entry: &ProofedFile, reported: &ReportedFinding<'a>) -> JsonFinding<'a> {
    let (score, f) = (reported.score, reported.finding);
    let pitches = |list: &[Pitch]| list.iter().map(Pitch::to_string).collect();
    JsonFinding {
        rule: f.rule,
        level: f.level.word(),
        file: entry.name(),
        section: f.section.as_deref(),
        parts: part_names(score, &f.parts),
        bar: score.bar_number(f.at.bar),
        bar_index: u64::from(f.at.bar) + 1,
        beat: score.beat_at(f.at).to_f64(),
        message: &f.message,
        why: &f.why,
        source: f.source,
        chord: f.chord.as_deref(),
        technique: f.technique.as_deref(),
        notes: f.notes.iter().filter_map(|n| note(score, n)).collect(),
        found: pitches(&f.found),
        expected: pitches(&f.expected),
        fix: fix(score, f),
        suggestion: f.suggestion.as_deref(),
        margin: f.margin,
        fingerprint: reported.print.to_string(),
    }
}

fn note<'a>(score: &'a Score, fault: &'a NoteAtFault) -> Option<JsonNote<'a>> {
    let part = score.parts.get(fault.note.part as usize)?;
    let note = part.notes.get(fault.note.note as usize)?;
    Some(JsonNote {
        part: &part.name,
        voice: fault.voice,
        written: note.written.to_string(),
        sounding: note.sounding.to_string(),
        expected: fault.expected.map(|p| p.to_string()),
        label: &fault.label,
        at: at(score, note.span),
    })
}

fn at(score: &Score, span: Span) -> Option<JsonPlace<'_>> {
    let source = score.sources.get(span.source as usize)?;
    let (line, column) = source.line_column(span.start);
    Some(JsonPlace {
        file: source.path.display().to_string(),
        member: source.member.as_deref(),
        line,
        column,
        start: span.start,
        end: span.end,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn the_report_is_the_contract() {
        let text = render(&[sample::entry(), sample::unreadable()]).unwrap();
        insta::assert_snapshot!(text);
    }

    #[test]
    fn every_line_is_an_object_with_its_kind() {
        let text = lines(&[sample::entry(), sample::unreadable()]).unwrap();
        let kinds: Vec<String> = text
            .lines()
            .map(|l| serde_json::from_str::<serde_json::Value>(l).unwrap())
            .map(|v| v["kind"].as_str().unwrap().to_owned())
            .collect();
        assert_eq!(kinds, ["file", "finding", "finding", "file", "summary"]);
    }

    #[test]
    fn a_finding_on_a_note_that_is_not_there_is_still_reported() {
        let mut entry = sample::entry();
        if let Ok((score, proofed)) = &mut entry.outcome {
            proofed.findings[0].notes[0].note.note = 900;
            proofed.findings[0].parts = vec![77];
            score.sources.clear();
        }
        let value: serde_json::Value = serde_json::from_str(&render(&[entry]).unwrap()).unwrap();
        assert_eq!(value["findings"][1]["notes"], serde_json::json!([]));
        assert_eq!(value["summary"]["errors"], 1);
    }
}
