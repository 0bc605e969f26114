//! The melody's sheet for people: as tables, and as a page.

use super::html::sheet::{SaidOfPlace, Sheet, render};
use super::wrapping::{Columns, paragraph};
use super::{printable, table};
use crate::engraving::{Highlight, WordsClass, WordsUnder};
use crate::ground::shown::shown_lines;
use crate::model_answer::{Plan, PlannedNote, Stands};
use crate::score::NoteRef;
use std::fmt::Write as _;
use std::path::PathBuf;

/// Why one diminished seventh has several names on the sheet.
const FOUR_NAMES: &str = "A diminished seventh may be called after any of its four notes: Edim7, Gdim7, Bbdim7 and \
                          Dbdim7 are one chord.";

/// A melody that was planned.
#[derive(Debug)]
pub struct PlannedFile {
    /// Its file.
    pub path: PathBuf,
    /// The plan.
    pub plan: Plan,
}

impl PlannedFile {
    fn name(&self) -> String {
        self.path.display().to_string()
    }
}

/// Of each melody two tables: the scales, and the notes; in at most so many columns.
pub fn text(files: &[PlannedFile], columns: usize) -> String {
    let within = columns.saturating_sub(2);
    let mut out = String::new();
    for file in files {
        let plan = &file.plan;
        let part = plan.lead.parts.first().map_or("", |p| p.name.as_str());
        let _ = writeln!(out, "{}: {}", printable(&file.name()), printable(part));
        for line in table::lines_within(
            within,
            ["bars", "chords", "scale", "its notes", "in turns"],
            &scales(plan),
        ) {
            let _ = writeln!(out, "  {line}");
        }
        out.push('\n');
        let rows: Vec<[String; 7]> = plan.notes.iter().map(|n| row(plan, n)).collect();
        let head = [
            "bar",
            "beat",
            "note",
            "chord",
            "degree",
            "what it is",
            "under it",
        ];
        for line in table::lines_within(within, head, &rows) {
            let _ = writeln!(out, "  {line}");
        }
        out.push('\n');
    }
    paragraph(
        &mut out,
        "",
        FOUR_NAMES,
        Columns {
            width: columns,
            indent: 0,
        },
    );
    shown_lines(&out)
}

fn scales(plan: &Plan) -> Vec<[String; 5]> {
    let stretches = plan.stretches.iter();
    stretches
        .map(|s| {
            let (first, last) = (s.from.bar, s.last_bar);
            let first = plan.lead.bar_number(first);
            let last = plan.lead.bar_number(last);
            let bars = if first == last {
                first
            } else {
                format!("{first}-{last}")
            };
            let names = |scale: &crate::voicing::Scale| {
                let names: Vec<String> = scale.names.iter().map(ToString::to_string).collect();
                names.join(" ")
            };
            let scale = s.scale.as_ref();
            let none = || "-".to_owned();
            [
                bars,
                s.symbols.join(" "),
                scale.map_or_else(none, crate::voicing::Scale::name),
                scale.map_or_else(none, names),
                scale.map_or_else(none, |s| format!("{}, {}", s.chord, s.passing)),
            ]
        })
        .collect()
}

fn row(plan: &Plan, note: &PlannedNote) -> [String; 7] {
    let or_none = |text: &Option<String>| text.clone().unwrap_or_else(|| "-".to_owned());
    [
        plan.lead.bar_number(note.at.bar),
        plan.lead.beat_at(note.at).to_string(),
        note.pitch.to_string(),
        or_none(&note.symbol),
        or_none(&note.degree),
        note.function.map_or("-", |f| f.name()).to_owned(),
        or_none(&note.harmony),
    ]
}

/// A page of melodies, engraved: degrees, harmonies and scales under the staff.
pub fn page(files: &[PlannedFile]) -> String {
    let sheets: Vec<Sheet<'_>> = files
        .iter()
        .map(|file| {
            let title = file.plan.lead.title.clone();
            Sheet {
                heading: (files.len() > 1).then(|| title.unwrap_or_else(|| file.name())),
                score: &file.plan.lead,
                under: under(&file.plan),
                marks: marks(&file.plan),
                said: said(&file.plan),
                after: String::new(),
            }
        })
        .collect();
    let title = match files {
        [only] => only.plan.lead.title.clone().unwrap_or_else(|| only.name()),
        _ => format!("{} melodies", files.len()),
    };
    let facts = [
        "Under the staff, from the top: the degree of each note over its chord; the chord that stands under \
         it by the first choice, where it changes; the scale that the stretch uses. A note that is no chord \
         note is in colour, its degree in bold."
            .to_owned(),
        FOUR_NAMES.to_owned(),
    ];
    render(&format!("Plan of a melody: {title}"), &facts, &sheets)
}

/// Degrees, harmonies where they change, scales where they begin.
fn under(plan: &Plan) -> Vec<WordsUnder> {
    let mut words = Vec::new();
    let mut before = None;
    for note in &plan.notes {
        let class = match note.stands {
            Stands::OnChord | Stands::NoChord => WordsClass::Plain,
            Stands::OnDiminished | Stands::Outside => WordsClass::Strong,
        };
        words.push(WordsUnder {
            at: note.at,
            row: 0,
            class,
            text: note.degree.clone().unwrap_or_else(|| "-".to_owned()),
        });
        if note.harmony != before
            && let Some(text) = note.harmony.clone()
        {
            words.push(WordsUnder {
                at: note.at,
                row: 1,
                class,
                text,
            });
        }
        before.clone_from(&note.harmony);
    }
    words.extend(plan.stretches.iter().filter_map(|s| {
        Some(WordsUnder {
            at: s.from,
            row: 2,
            class: WordsClass::Soft,
            text: s.scale.as_ref()?.name(),
        })
    }));
    words
}

/// The notes that are no chord notes.
fn marks(plan: &Plan) -> Vec<(NoteRef, Highlight)> {
    let passing = |n: &&PlannedNote| matches!(n.stands, Stands::OnDiminished | Stands::Outside);
    let notes = plan.notes.iter().filter(passing);
    notes.map(|n| (n.note, Highlight::Passing)).collect()
}

/// A line for each stretch, and for each note that is no plain chord note.
fn said(plan: &Plan) -> Vec<SaidOfPlace> {
    let mut said: Vec<SaidOfPlace> = Vec::new();
    said.extend(plan.stretches.iter().map(|s| SaidOfPlace {
        at: s.from,
        line: s.line(),
    }));
    let others = plan.notes.iter().filter(|n| n.stands != Stands::OnChord);
    said.extend(others.map(|n| SaidOfPlace {
        at: n.at,
        line: n.line(),
    }));
    said.sort_by_key(|s| s.at);
    said
}
