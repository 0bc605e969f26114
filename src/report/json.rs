//! The report for machines: one JSON document ([`render`]) or one object a line ([`lines`]).
//!
//! Units: `bar` is the printed number as text, `bar_index` the 1-based position in the file,
//! `beat` is 1-based in units of the meter's lower figure; `line` and `column` are 1-based,
//! columns in characters; `start` and `end` are 0-based bytes of the file as UTF-8 text, `end` one
//! past the last (in a compressed file: of the score inside it, named by `member`). `written` is
//! the pitch as the player reads it; `sounding`, `found` and `expected` are at concert pitch, from
//! the top, in scientific octaves (C4 is middle C). `voice` is 1-based from the top.

use super::{Entry, Tally, part_names};
use crate::editing;
use crate::finding::{Finding, NoteAtFault};
use crate::pitch::{NoteName, Pitch, PitchClass, Step, read_accidentals};
use crate::score::{Score, Span};
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};

/// The name and version of the format.
pub const FORMAT: &str = "chartproof-report/1";

#[derive(Serialize)]
struct Report<'a> {
    format: &'static str,
    files: Vec<File<'a>>,
    findings: Vec<Reported<'a>>,
    summary: Summary,
}

#[derive(Serialize)]
struct File<'a> {
    path: String,
    title: Option<&'a str>,
    parts: Vec<&'a str>,
    bars: usize,
    sonorities: usize,
    unreadable: Option<String>,
    inferred: Vec<Inferred<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
struct Inferred<'a> {
    section: &'a str,
    technique: &'a str,
    from_bar: String,
    to_bar: String,
    fits: usize,
    of: usize,
}

#[derive(Serialize)]
struct Reported<'a> {
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
    notes: Vec<FoundNote<'a>>,
    found: Vec<String>,
    expected: Vec<String>,
    fix: Option<Fix<'a>>,
    suggestion: Option<&'a str>,
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
    replacement: String,
}

/// The fix of a finding as edits; none when its notes cannot be edited where they stand.
fn fix<'a>(score: &'a Score, finding: &'a Finding) -> Option<Fix<'a>> {
    let fix = finding.fix.as_ref()?;
    let edits = editing::edits(score, &fix.changes).ok()?;
    Some(Fix {
        summary: &fix.summary,
        verified: true,
        edits: edits
            .into_iter()
            .filter_map(|e| {
                let source = score.sources.get(e.source as usize)?;
                Some(FixEdit {
                    file: source.path.display().to_string(),
                    member: source.member.as_deref(),
                    start: e.start,
                    end: e.end,
                    replacement: e.replacement,
                })
            })
            .collect(),
    })
}

#[derive(Serialize)]
struct FoundNote<'a> {
    part: &'a str,
    voice: u8,
    written: String,
    sounding: String,
    expected: Option<String>,
    label: &'a str,
    at: Option<At<'a>>,
}

#[derive(Serialize)]
struct At<'a> {
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
    by_rule: BTreeMap<&'static str, usize>,
}

/// A line of the one-object-a-line form: `kind` says what the other members are.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
enum Line<'a> {
    File(File<'a>),
    Finding(Box<Reported<'a>>),
    Summary(Summary),
}

/// The whole report as one JSON document, with a line feed at its end.
///
/// # Errors
///
/// When the report cannot be serialised.
pub fn render(entries: &[Entry]) -> Result<String, serde_json::Error> {
    let report = Report {
        format: FORMAT,
        files: entries.iter().map(file).collect(),
        findings: entries.iter().flat_map(findings).collect(),
        summary: summary(entries),
    };
    let mut text = serde_json::to_string_pretty(&report)?;
    text.push('\n');
    Ok(text)
}

/// One JSON object a line. Each file gives a line of kind `file` and after it a line of kind
/// `finding` for each finding; the last line is of kind `summary`. The other members are those of
/// the document's `files`, `findings` and `summary`.
///
/// # Errors
///
/// When the report cannot be serialised.
pub fn lines(entries: &[Entry]) -> Result<String, serde_json::Error> {
    let mut text = String::new();
    let mut push = |line: &Line<'_>| -> Result<(), serde_json::Error> {
        text.push_str(&serde_json::to_string(line)?);
        text.push('\n');
        Ok(())
    };
    for entry in entries {
        push(&Line::File(file(entry)))?;
        for finding in findings(entry) {
            push(&Line::Finding(Box::new(finding)))?;
        }
    }
    push(&Line::Summary(summary(entries)))?;
    Ok(text)
}

fn summary(entries: &[Entry]) -> Summary {
    let tally = Tally::of(entries);
    Summary {
        errors: tally.errors,
        warnings: tally.warnings,
        notes: tally.notes,
        by_rule: tally.by_rule,
    }
}

fn file(entry: &Entry) -> File<'_> {
    match &entry.outcome {
        Ok((score, proofed)) => File {
            path: entry.name(),
            title: score.title.as_deref(),
            parts: score.parts.iter().map(|p| p.name.as_str()).collect(),
            bars: score.bars.len(),
            sonorities: proofed.sonorities,
            unreadable: None,
            inferred: proofed
                .inferred
                .iter()
                .map(|i| Inferred {
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
        Err(error) => File {
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
fn why_unreadable(error: &crate::reading::ReadError) -> String {
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

fn findings(entry: &Entry) -> Vec<Reported<'_>> {
    let Ok((score, _)) = &entry.outcome else {
        return Vec::new();
    };
    let all = entry.findings();
    let prints = fingerprints(score, &all);
    let pitches = |list: &[Pitch]| list.iter().map(Pitch::to_string).collect();
    all.into_iter()
        .zip(prints)
        .map(|(f, fingerprint)| Reported {
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
            fingerprint,
        })
        .collect()
}

fn note<'a>(score: &'a Score, fault: &'a NoteAtFault) -> Option<FoundNote<'a>> {
    let part = score.parts.get(fault.note.part as usize)?;
    let note = part.notes.get(fault.note.note as usize)?;
    Some(FoundNote {
        part: &part.name,
        voice: fault.voice,
        written: note.written.to_string(),
        sounding: note.sounding.to_string(),
        expected: fault.expected.map(|p| p.to_string()),
        label: &fault.label,
        at: at(score, note.span),
    })
}

fn at(score: &Score, span: Span) -> Option<At<'_>> {
    let source = score.sources.get(span.source as usize)?;
    let (line, column) = source.line_column(span.start);
    Some(At {
        file: source.path.display().to_string(),
        member: source.member.as_deref(),
        line,
        column,
        start: span.start,
        end: span.end,
    })
}

/// One fingerprint for each finding of a file. It holds what the finding is about and nothing that
/// an unrelated edit moves: rule, part names, section, chord and pitches relative to the lead, and
/// which of the findings alike in all that it is. Bar numbers, the order of the parts, the file's
/// name and its layout, and transposing the whole score leave it as it is.
pub fn fingerprints(score: &Score, findings: &[&Finding]) -> Vec<String> {
    let mut seen: HashMap<String, usize> = HashMap::new();
    findings
        .iter()
        .map(|f| {
            let about = about(score, f);
            let count = seen.entry(about.clone()).or_default();
            *count += 1;
            let hash = fnv1a(format!("{about}\u{1f}{count}").as_bytes());
            format!("{hash:016x}")
        })
        .collect()
}

/// What is hashed, as text; unit separators keep neighbouring members apart.
fn about(score: &Score, finding: &Finding) -> String {
    let mut names = part_names(score, &finding.parts);
    names.sort_unstable();
    let sounding = |n: &NoteAtFault| {
        let part = score.parts.get(n.note.part as usize)?;
        Some(part.notes.get(n.note.note as usize)?.sounding.midi())
    };
    let faults: Vec<(u8, i16)> = finding
        .notes
        .iter()
        .filter_map(|n| Some((n.voice, sounding(n)?)))
        .collect();
    let lead = finding
        .found
        .first()
        .map(|p| p.midi())
        .or_else(|| faults.first().map(|(_, midi)| *midi));
    let below = |midi: i16| (lead.unwrap_or(midi) - midi).to_string();
    let found: Vec<String> = finding.found.iter().map(|p| below(p.midi())).collect();
    let mut at_fault: Vec<String> = faults
        .iter()
        .map(|(voice, midi)| format!("{voice}:{}", below(*midi)))
        .collect();
    at_fault.sort_unstable();
    let chord = finding
        .chord
        .as_deref()
        .map(|text| relative_chord(text, lead));
    [
        finding.rule.to_owned(),
        names.join("\u{1e}"),
        finding.section.clone().unwrap_or_default(),
        chord.unwrap_or_default(),
        found.join(" "),
        at_fault.join(" "),
    ]
    .join("\u{1f}")
}

/// A chord symbol with root and bass as semitones below the lead: it stays as it is when the score
/// is transposed. A symbol without a root letter stands for itself.
fn relative_chord(text: &str, lead: Option<i16>) -> String {
    let Some(lead) = lead.map(PitchClass::new) else {
        return text.to_owned();
    };
    let Some((root, tail)) = read_name(text) else {
        return text.to_owned();
    };
    let (quality, bass) = match tail.rsplit_once('/') {
        Some((quality, bass)) => match read_name(bass) {
            Some((name, "")) => (quality, Some(name)),
            _ => (tail, None),
        },
        None => (tail, None),
    };
    let below = |name: NoteName| lead.above(name.class());
    match bass {
        Some(bass) => format!("{} {quality} /{}", below(root), below(bass)),
        None => format!("{} {quality}", below(root)),
    }
}

/// The note name at the start of a chord symbol, and the rest.
fn read_name(text: &str) -> Option<(NoteName, &str)> {
    let letter = text.chars().next().filter(char::is_ascii_uppercase)?;
    let step = Step::from_char(letter)?;
    let (alter, rest) = read_accidentals(text.get(1..)?);
    Some((NoteName::new(step, alter), rest))
}

/// FNV-1a, 64 bits: a published hash that stays the same on every machine and in every version.
fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Transposition;
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

    fn print(score: &Score, finding: &Finding) -> String {
        fingerprints(score, &[finding])[0].clone()
    }

    #[test]
    fn a_fingerprint_outlives_unrelated_edits() {
        let score = sample::score();
        let finding = sample::finding();
        let before = print(&score, &finding);

        // A bar is put in before it, and the parts change places.
        let mut other = score.clone();
        other.parts.reverse();
        let mut moved = finding.clone();
        moved.at.bar = 0;
        moved.parts = vec![2];
        moved.notes[0].note.part = 2;
        assert_eq!(print(&other, &moved), before);

        // Everything a whole tone up.
        let up = Transposition {
            diatonic: 1,
            chromatic: 2,
        };
        let mut higher = score.clone();
        for note in higher.parts.iter_mut().flat_map(|p| p.notes.iter_mut()) {
            note.sounding = note.sounding.transposed(up);
        }
        let mut moved = finding.clone();
        moved.chord = Some("G6".to_owned());
        moved.found = moved.found.iter().map(|p| p.transposed(up)).collect();
        assert_eq!(print(&higher, &moved), before);
    }

    #[test]
    fn a_fingerprint_changes_with_what_it_is_about() {
        let score = sample::score();
        let finding = sample::finding();
        let before = print(&score, &finding);
        let mut other = finding.clone();
        other.rule = "wrong-note";
        assert_ne!(print(&score, &other), before);
        let mut other = finding.clone();
        other.chord = Some("Fm6".to_owned());
        assert_ne!(print(&score, &other), before);
        let mut other = finding.clone();
        other.found[3] = sample::pitch("B3");
        assert_ne!(print(&score, &other), before);
        let twice = fingerprints(&score, &[&finding, &finding]);
        assert_eq!(twice[0], before);
        assert_ne!(twice[1], before);
    }

    #[test]
    fn chords_are_read_against_the_lead() {
        let a4 = Some(69);
        assert_eq!(relative_chord("F6", a4), "4 6");
        assert_eq!(relative_chord("Bb7/D", a4), "11 7 /7");
        assert_eq!(relative_chord("C6/9", a4), "9 6/9");
        assert_eq!(relative_chord("N.C.", a4), "N.C.");
        assert_eq!(relative_chord("", a4), "");
    }

    #[test]
    fn the_hash_is_the_published_one() {
        // Published: the FNV reference's test vectors for 64-bit FNV-1a.
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
