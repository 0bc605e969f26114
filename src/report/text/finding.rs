//! One finding: its bars drawn as grid rows, with marks under the notes.

use super::layout::{GRID_INDENT, Options, wrapped};
use super::snippets::{Snippet, Snippets, emit};
use crate::file_text::limits::LONGEST_NAME;
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::text::cut;
use crate::report::grid_view::GridView;
use crate::report::{ProofedFile, advice, printable, whereabouts};
use crate::score::{Place, Score, Source};
use crate::sonority::Section;
use codespan_reporting::diagnostic::{Diagnostic, Label, Severity};
use codespan_reporting::files::{Location, SimpleFile};
use codespan_reporting::term::termcolor::WriteColor;
use codespan_reporting::term::{Chars, Config};
use std::fmt::Write as _;
use std::io;

/// The most parts drawn under one finding.
const MOST_PARTS: usize = 32;

/// The most bars drawn under one finding.
const MOST_BARS: usize = 4;

/// The most notes marked in one bar; how many more are at fault there is said at the last of them.
const MOST_MARKS: usize = 48;

/// The number the first grid row has in the gutter, where it is blanked: with two digits from the
/// first row on all rows are indented alike.
const FIRST_ROW: usize = 10;

/// Writes a finding: its bars as grid rows with marks under the notes, and the lines under them.
pub(super) fn render_finding(
    entry: &ProofedFile,
    score: &Score,
    sections: &[Section],
    finding: &Finding,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    let parts = parts_shown(score, sections, finding);
    let room = options.width.saturating_sub(GRID_INDENT);
    let mut shown = Vec::new();
    let mut marks = Vec::new();
    for place in places(score, finding) {
        let view = GridView::around(score, &parts, place.bar, place.offset, room);
        marks.extend(labels(&view, score, finding, place, shown.len()));
        let (name, (line, column)) = match whereabouts(score, finding, place.bar) {
            Some((source, span)) => (source_name(source), source.line_column(span.start)),
            None => (printable(&entry.name()), (1, 1)),
        };
        shown.push(Snippet {
            file: SimpleFile::new(name, view.text),
            first_line: FIRST_ROW,
            location: Location {
                line_number: line,
                column_number: column,
            },
        });
    }
    let beat = score.beat_at(finding.at);
    let bar = score.bar_number(finding.at.bar);
    let message = format!("bar {bar}, beat {beat}: {}", finding.message);
    let diagnostic = Diagnostic::new(severity(finding.level))
        .with_code(finding.rule)
        .with_message(printable(&message))
        .with_labels(marks)
        .with_notes(notes(finding, options));
    emit(&Snippets(shown), &diagnostic, &grid_config(), false, out)
}

/// The bars to draw: the finding's own, then others that notes at fault stand in (a leap over the
/// bar line has two), each with the first place at fault in it.
fn places(score: &Score, finding: &Finding) -> Vec<Place> {
    let mut places = vec![finding.at];
    for fault in &finding.notes {
        let Some(at) = place_of(score, fault) else {
            continue;
        };
        if places.len() < MOST_BARS && places.iter().all(|p| p.bar != at.bar) {
            places.push(at);
        }
    }
    places
}

fn place_of(score: &Score, fault: &NoteAtFault) -> Option<Place> {
    let part = score.parts.get(fault.note.part as usize)?;
    part.notes.get(fault.note.note as usize).map(|n| n.at)
}

/// The section's parts; without one, those that sound the pitches found, and those at fault.
pub(in crate::report) fn parts_shown(
    score: &Score,
    sections: &[Section],
    finding: &Finding,
) -> Vec<u32> {
    let section = finding
        .section
        .as_deref()
        .and_then(|name| sections.iter().find(|s| s.name == name));
    let mut parts: Vec<u32> = match section {
        Some(section) => section.parts.iter().map(|p| p.part).collect(),
        None => sounding_parts(score, finding),
    };
    let at_fault = finding
        .parts
        .iter()
        .copied()
        .chain(finding.notes.iter().map(|n| n.note.part));
    for part in at_fault {
        if !parts.contains(&part) && (part as usize) < score.parts.len() {
            parts.push(part);
            if section.is_none() {
                parts.sort_unstable();
            }
        }
    }
    if parts.len() > MOST_PARTS {
        let concerned =
            |p: &u32| finding.parts.contains(p) || finding.notes.iter().any(|n| n.note.part == *p);
        parts.sort_by_key(|p| !concerned(p));
        parts.truncate(MOST_PARTS);
        parts.sort_unstable();
    }
    parts
}

/// Parts that sound one of the pitches found where the finding is, in score order.
fn sounding_parts(score: &Score, finding: &Finding) -> Vec<u32> {
    let here = |part: &crate::score::Part| {
        let first = part.notes.partition_point(|n| n.at.bar < finding.at.bar);
        part.notes
            .iter()
            .skip(first)
            .take_while(|n| n.at.bar == finding.at.bar)
            .filter(|n| n.sounds() && n.at.offset <= finding.at.offset)
            .filter(|n| finding.at.offset < n.at.offset + n.duration)
            .any(|n| finding.found.iter().any(|p| p.midi() == n.sounding.midi()))
    };
    score
        .parts
        .iter()
        .zip(0u32..)
        .filter(|(part, _)| here(part))
        .map(|(_, index)| index)
        .collect()
}

/// Marks under the notes at fault in the bar of `place`; without such notes, under the names of
/// the parts at fault, else under the bar's number: there is always one, or the bar would not be
/// drawn. `page` is the bar's position among those drawn.
fn labels(
    view: &GridView,
    score: &Score,
    finding: &Finding,
    place: Place,
    page: usize,
) -> Vec<Label<usize>> {
    let here = |n: &&NoteAtFault| place_of(score, n).is_some_and(|at| at.bar == place.bar);
    let at_fault: Vec<&NoteAtFault> = finding.notes.iter().filter(here).collect();
    let mut labels: Vec<Label<usize>> = at_fault
        .iter()
        .take(MOST_MARKS)
        .filter_map(|n| {
            let range = view
                .note(n.note, place.offset)
                .or_else(|| view.cell(n.note.part, place.offset))?;
            let text = match (&n.label, n.expected) {
                (label, Some(pitch)) if label.is_empty() => format!("should sound {pitch}"),
                (label, _) => label.clone(),
            };
            Some(Label::primary(page, range).with_message(printable(&text)))
        })
        .collect();
    let more = at_fault.len().saturating_sub(MOST_MARKS);
    let notes = if more == 1 { "note" } else { "notes" };
    if more > 0
        && let Some(last) = labels.last_mut()
    {
        last.message = format!("{} ... and {more} more {notes}", last.message);
    }
    if labels.is_empty() {
        let names = finding.parts.iter().filter_map(|&p| view.label(p));
        labels.extend(names.map(|range| Label::primary(page, range)));
    }
    if labels.is_empty() {
        let end = view.text.find('\n').unwrap_or(view.text.len());
        labels.push(Label::primary(page, 0..end));
    }
    labels
}

/// The lines under the grid.
fn notes(finding: &Finding, options: Options) -> Vec<String> {
    let mut notes = Vec::new();
    let mut add = |name: &str, text: &str| {
        if !text.is_empty() {
            notes.push(wrapped(name, &printable(text), options.width));
        }
    };
    // Where only the parts are exchanged, the sonority is as it should be.
    if finding.expected != finding.found {
        add("expected", &pitches(&finding.expected));
    }
    add("found", &pitches(&finding.found));
    let in_force: Vec<&str> = [&finding.chord, &finding.technique]
        .into_iter()
        .filter_map(|t| t.as_deref())
        .collect();
    add("in force", &in_force.join(", "));
    add(
        advice(finding),
        finding.suggestion.as_deref().unwrap_or_default(),
    );
    add("why", &finding.why);
    add("source", finding.source);
    notes
}

fn pitches(list: &[Pitch]) -> String {
    let how = match list.len() {
        0 => return String::new(),
        1 => "(sounding)",
        _ => "(sounding, from the top)",
    };
    let mut all = String::new();
    for pitch in list {
        let _ = write!(all, "{pitch} ");
    }
    all.push_str(how);
    all
}

fn source_name(source: &Source) -> String {
    let path = source.path.display();
    match &source.member {
        Some(member) => {
            let member = cut(member, LONGEST_NAME);
            printable(&format!("{path} ({member})"))
        }
        None => printable(&path.to_string()),
    }
}

const fn severity(level: Level) -> Severity {
    match level {
        Level::Error => Severity::Error,
        Level::Warning => Severity::Warning,
        Level::Note => Severity::Note,
    }
}

/// The whole bar is drawn, without borders: the grid has its own.
fn grid_config() -> Config {
    let mut chars = Chars::ascii();
    chars.source_border_left = ' ';
    chars.note_bullet = ' ';
    Config {
        chars,
        before_label_lines: MOST_PARTS + 3,
        after_label_lines: MOST_PARTS + 3,
        ..Config::default()
    }
}
