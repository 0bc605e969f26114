//! The analysis of scores as tables for people and as JSON.
//!
//! Units of the JSON: `bar` is the printed number as text, `bar_index` the 1-based position in the
//! file, `beat` 1-based in units of the meter's lower figure; pitches in scientific octaves (C4 is
//! middle C); voices and intervals from the top.

use super::{printable, table};
use crate::analysis::{Analysed, Named, Why};
use crate::diagnosis::{Weighed, WeighedAs};
use crate::ground::pitch::Pitch;
use crate::ground::problem::Problem;
use crate::ground::shown::{shown_json, shown_lines};
use crate::score::Score;
use crate::voicing::Technique;
use serde::Serialize;
use std::fmt::Write as _;
use std::path::PathBuf;

/// The name and version of the JSON format.
pub const FORMAT: &str = "chartproof-analysis/1";

/// What became of one file.
#[derive(Debug)]
pub struct AnalysedFile {
    /// The file.
    pub path: PathBuf,
    /// The score and its analysis, or why there is none.
    pub outcome: Result<AnalysedScore, Problem>,
}

/// A score and its analysis.
#[derive(Debug)]
pub struct AnalysedScore {
    /// The score.
    pub score: Score,
    /// Its sections, named.
    pub sections: Vec<Analysed>,
    /// The accounts of one place, where somebody asked.
    pub why: Option<Vec<Why>>,
}

/// Columns before the lines of a table.
const INDENT: usize = 2;

/// How many accounts of a place are shown.
const ACCOUNTS: usize = 3;

/// The best accounts of the place that was asked about, in each section.
pub fn why_text(entries: &[AnalysedFile]) -> String {
    let mut out = String::new();
    for entry in entries {
        let Ok(AnalysedScore { score, why, .. }) = &entry.outcome else {
            continue;
        };
        let path = printable(&entry.path.display().to_string());
        let places = why.as_deref().unwrap_or_default();
        if places.is_empty() {
            let _ = writeln!(out, "{path}: no section moves there as a block\n");
        }
        for place in places {
            let _ = write!(out, "{path}: {}", place_text(score, place));
            out.push('\n');
        }
    }
    out
}

/// A place and its best accounts, a line each.
pub fn place_text(score: &Score, place: &Why) -> String {
    let mut out = format!(
        "{}, bar {}, beat {}, {}: {}\n",
        printable(&place.section),
        score.bar_number(place.at.bar),
        score.beat_at(place.at),
        place.chord.as_deref().map_or("no chord", |c| c),
        pitches(&place.found)
    );
    for account in place.accounts.iter().take(ACCOUNTS) {
        let _ = writeln!(
            out,
            "    {:>4}  {}",
            account.cost,
            account_in_words(account)
        );
    }
    out
}

fn pitches(all: &[Pitch]) -> String {
    let names: Vec<String> = all.iter().map(ToString::to_string).collect();
    names.join(" ")
}

/// "drop 2, Bdim7 under C6, a passing note on the chord: meant D5 Ab4 F4 B3".
fn account_in_words(account: &Weighed) -> String {
    let mut words = vec![account.technique.map_or("free", Technique::name).to_owned()];
    match account.says {
        WeighedAs::Right(_) => words.push("right".to_owned()),
        WeighedAs::LeftAlone => words.push("left alone".to_owned()),
        WeighedAs::Slip(kind) => words.push(kind.in_words().into_owned()),
    }
    if let Some(chord) = &account.chord {
        words.push(format!("read under {}", printable(chord)));
    }
    if let WeighedAs::Right(Some(way)) = account.says {
        words.push(way.name().to_owned());
    }
    if !account.expected.is_empty() {
        let harmony = account.harmony.as_deref().unwrap_or("the chord");
        words.push(format!(
            "{} meant, {}",
            printable(harmony),
            pitches(&account.expected)
        ));
    }
    words.join("; ")
}

/// Tables, one for each section, in at most so many columns.
pub fn text(entries: &[AnalysedFile], columns: usize) -> String {
    let mut out = String::new();
    for entry in entries {
        let Ok(AnalysedScore {
            score, sections, ..
        }) = &entry.outcome
        else {
            continue;
        };
        if sections.is_empty() {
            let _ = writeln!(
                out,
                "{}: no section has two voices sounding at once\n",
                printable(&entry.path.display().to_string())
            );
        }
        for section in sections {
            let _ = writeln!(
                out,
                "{}: {}",
                printable(&entry.path.display().to_string()),
                printable(&section.section)
            );
            let rows: Vec<[String; 9]> = section.sonorities.iter().map(|n| row(score, n)).collect();
            let head = [
                "bar",
                "beat",
                "chord",
                "makes",
                "lead",
                "technique",
                "voices (sounding)",
                "members",
                "intervals",
            ];
            for line in table::lines_within(columns.saturating_sub(INDENT), head, &rows) {
                let _ = writeln!(out, "  {line}");
            }
            let _ = writeln!(out);
        }
    }
    shown_lines(&out)
}

fn row(score: &Score, named: &Named) -> [String; 9] {
    let words = |list: Vec<String>| list.join(" ");
    [
        score.bar_number(named.at.bar),
        score.beat_at(named.at).to_string(),
        named.chord.clone().unwrap_or_else(|| "-".to_owned()),
        named.sounds_like.clone().unwrap_or_else(|| "-".to_owned()),
        named
            .function
            .map_or_else(|| "-".to_owned(), |f| f.name().to_owned()),
        technique(named),
        words(
            named
                .voices
                .iter()
                .map(|v| {
                    let held = if v.attacked { "" } else { "-" };
                    format!("{}{held}", v.sounding)
                })
                .collect(),
        ),
        words(
            named
                .voices
                .iter()
                .map(|v| v.degree.clone().unwrap_or_else(|| "-".to_owned()))
                .collect(),
        ),
        named.intervals.join(" "),
    ]
}

/// The technique a sonority is in, marked where it is not that of its passage or is no right
/// voicing; `free` where it is in none.
fn technique(named: &Named) -> String {
    let own = named.technique.map_or("free", |t| t.name());
    match named.in_force {
        Some(force) if named.slip && named.technique == Some(force) => {
            format!("{own}, wrong notes")
        }
        Some(force) if named.slip => format!("{own}, not {force}"),
        _ => own.to_owned(),
    }
}

#[derive(Serialize)]
struct AnalysisReport<'a> {
    format: &'static str,
    files: Vec<FileAnalysis<'a>>,
}

#[derive(Serialize)]
struct FileAnalysis<'a> {
    path: String,
    title: Option<&'a str>,
    unreadable: Option<String>,
    sections: Vec<SectionAnalysis<'a>>,
}

#[derive(Serialize)]
struct SectionAnalysis<'a> {
    section: &'a str,
    sonorities: Vec<SonorityAnalysis<'a>>,
}

#[derive(Serialize)]
struct SonorityAnalysis<'a> {
    bar: String,
    bar_index: u64,
    beat: f64,
    chord: Option<&'a str>,
    makes: Option<&'a str>,
    function: Option<&'static str>,
    technique: Option<&'static str>,
    in_force: Option<&'static str>,
    right: bool,
    voices: Vec<VoiceAnalysis<'a>>,
    intervals: &'a [String],
}

#[derive(Serialize)]
struct VoiceAnalysis<'a> {
    part: &'a str,
    written: String,
    sounding: String,
    degree: Option<&'a str>,
    attacked: bool,
}

/// The same as one JSON document, with a line feed at its end.
///
/// # Errors
///
/// When the analysis cannot be serialised.
pub fn json(entries: &[AnalysedFile]) -> Result<String, serde_json::Error> {
    let report = AnalysisReport {
        format: FORMAT,
        files: entries.iter().map(file).collect(),
    };
    let mut text = shown_json(serde_json::to_string_pretty(&report)?);
    text.push('\n');
    Ok(text)
}

fn file(entry: &AnalysedFile) -> FileAnalysis<'_> {
    let path = entry.path.display().to_string();
    match &entry.outcome {
        Ok(AnalysedScore {
            score, sections, ..
        }) => FileAnalysis {
            path,
            title: score.title.as_deref(),
            unreadable: None,
            sections: sections
                .iter()
                .map(|s| SectionAnalysis {
                    section: &s.section,
                    sonorities: s.sonorities.iter().map(|n| sonority(score, n)).collect(),
                })
                .collect(),
        },
        Err(error) => FileAnalysis {
            path,
            title: None,
            unreadable: Some(error.message.clone()),
            sections: Vec::new(),
        },
    }
}

fn sonority<'a>(score: &'a Score, named: &'a Named) -> SonorityAnalysis<'a> {
    SonorityAnalysis {
        bar: score.bar_number(named.at.bar),
        bar_index: u64::from(named.at.bar) + 1,
        beat: score.beat_at(named.at).to_f64(),
        chord: named.chord.as_deref(),
        makes: named.sounds_like.as_deref(),
        function: named
            .function
            .map(crate::sonority::lead::LeadFunction::name),
        technique: named.technique.map(crate::voicing::Technique::name),
        in_force: named.in_force.map(crate::voicing::Technique::name),
        right: !named.slip,
        voices: named
            .voices
            .iter()
            .filter_map(|v| {
                let part = score.parts.get(v.note.part as usize)?;
                let note = part.notes.get(v.note.note as usize)?;
                Some(VoiceAnalysis {
                    part: &part.name,
                    written: note.written.to_string(),
                    sounding: v.sounding.to_string(),
                    degree: v.degree.as_deref(),
                    attacked: v.attacked,
                })
            })
            .collect(),
        intervals: &named.intervals,
    }
}
