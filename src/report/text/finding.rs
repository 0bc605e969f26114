//! One finding: its bars drawn as grid rows, with marks under the notes.

use super::layout::{GRID_INDENT, Options, coloured, field};
use crate::file_text::limits::LONGEST_NAME;
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::text::cut;
use crate::report::grid_view::GridView;
use crate::report::marked_grid::{GridLine, GridMark, marked};
use crate::report::wrapping::{self, Columns};
use crate::report::{ProofedFile, advice, printable, whereabouts};
use crate::score::{Place, Score, Source};
use crate::sonority::Section;
use codespan_reporting::term::termcolor::{Color, ColorSpec, WriteColor};
use std::fmt::Write as _;
use std::io;
use unicode_width::UnicodeWidthStr;

/// The most parts drawn under one finding.
const MOST_PARTS: usize = 32;

/// The most bars drawn under one finding.
const MOST_BARS: usize = 4;

/// The most notes marked in one bar; how many more are at fault there is said at the last of them.
const MOST_MARKS: usize = 48;

/// The shortest a sentence gets in a report of one line a finding.
const SHORTEST: usize = 24;

/// Writes a finding: where, who and what first, then its bars as grid rows with marks under the notes, what
/// to write instead and why; its level, its rule and its place in the file close it.
pub(super) fn render_finding(
    entry: &ProofedFile,
    score: &Score,
    sections: &[Section],
    finding: &Finding,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    let sign = sign(finding.level);
    coloured(out, &level_colour(finding.level), sign)?;
    let mut head = String::new();
    let width = options.prose();
    wrapping::paragraph(
        &mut head,
        "  ",
        &printable(&headline(score, finding)),
        Columns { width, indent: 2 },
    );
    coloured(
        out,
        ColorSpec::new().set_bold(true),
        head.get(1..).unwrap_or_default(),
    )?;
    let parts = parts_shown(score, sections, finding);
    let room = options.width.saturating_sub(GRID_INDENT);
    let places = places(score, finding);
    for place in &places {
        let view = GridView::around(score, &parts, place.bar, place.offset, room);
        let marks = marks(&view, score, finding, *place);
        let elsewhere = places.len() > 1 || place.bar != finding.at.bar;
        writeln!(out)?;
        for line in marked(&view, &marks, elsewhere, room) {
            match line {
                GridLine::Row(row) if row.is_empty() => writeln!(out)?,
                GridLine::Row(row) => writeln!(out, "{:GRID_INDENT$}{row}", "")?,
                GridLine::Marks(marks) => {
                    write!(out, "{:GRID_INDENT$}", "")?;
                    coloured(out, &level_colour(finding.level), &marks)?;
                    writeln!(out)?;
                }
            }
        }
    }
    writeln!(out)?;
    write!(out, "{}", said(finding, options))?;
    write!(out, "{:GRID_INDENT$}", "")?;
    coloured(out, &level_colour(finding.level), finding.level.word())?;
    let quiet = format!(
        " \u{b7} {} \u{b7} {}",
        finding.rule,
        in_files(entry, score, finding, &places)
    );
    coloured(out, ColorSpec::new().set_dimmed(true), &quiet)?;
    writeln!(out, "\n")
}

/// Writes a finding in one line: the same first words, then what it is known by. A line that may not be wider than the
/// terminal loses the end of its sentence.
pub(super) fn render_line(
    entry: &ProofedFile,
    score: &Score,
    finding: &Finding,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    coloured(out, &level_colour(finding.level), sign(finding.level))?;
    let places = in_files(entry, score, finding, &[finding.at]);
    let tail = format!(" \u{b7} {} \u{b7} {places}", finding.rule);
    let mut head = format!(" {}", printable(&headline(score, finding)));
    let level = format!("  {}", finding.level.word());
    if options.cut {
        let room = options
            .width
            .saturating_sub(1 + level.width() + tail.width());
        head = wrapping::end_cut(&head, room.max(SHORTEST));
    }
    write!(out, "{head}")?;
    coloured(out, &level_colour(finding.level), &level)?;
    coloured(out, ColorSpec::new().set_dimmed(true), &tail)?;
    writeln!(out)
}

/// The bars of a finding as grid rows with marks under the notes, each line with its end.
pub(in crate::report) fn grid_of(
    score: &Score,
    sections: &[Section],
    finding: &Finding,
    width: usize,
) -> String {
    let parts = parts_shown(score, sections, finding);
    let places = places(score, finding);
    let mut out = String::new();
    for place in &places {
        let view = GridView::around(score, &parts, place.bar, place.offset, width);
        let marks = marks(&view, score, finding, *place);
        let elsewhere = places.len() > 1 || place.bar != finding.at.bar;
        for line in marked(&view, &marks, elsewhere, width) {
            let (GridLine::Row(text) | GridLine::Marks(text)) = line;
            out.push_str(&text);
            out.push('\n');
        }
    }
    out
}

/// File, line and column of a finding.
pub(in crate::report) fn place_in_file(
    entry: &ProofedFile,
    score: &Score,
    finding: &Finding,
) -> String {
    in_files(entry, score, finding, &[finding.at])
}

/// Where, then what. A message that names its player first goes on from the place.
pub(in crate::report) fn headline(score: &Score, finding: &Finding) -> String {
    let bar = score.bar_number(finding.at.bar);
    let beat = score.beat_at(finding.at);
    let message = &finding.message;
    let player = finding.parts.iter().any(|&p| {
        let part = score.parts.get(p as usize);
        let after = part.and_then(|part| message.strip_prefix(part.name.as_str()));
        after.is_some_and(|rest| rest.starts_with(": "))
    });
    let joint = if player { "," } else { ":" };
    format!("bar {bar}, beat {beat}{joint} {message}")
}

/// Each place of a finding in its files, a file named once.
fn in_files(entry: &ProofedFile, score: &Score, finding: &Finding, places: &[Place]) -> String {
    let mut all = String::new();
    let mut named = None;
    for place in places {
        let Some((source, span)) = whereabouts(score, finding, place.bar) else {
            continue;
        };
        let (line, column) = source.line_column(span.start);
        if named == Some(span.source) {
            let _ = write!(all, ", {line}:{column}");
        } else {
            let joint = if named.is_some() { ", " } else { "" };
            let _ = write!(all, "{joint}{}:{line}:{column}", source_name(source));
            named = Some(span.source);
        }
    }
    if all.is_empty() {
        all = printable(&entry.name());
    }
    all
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
/// the parts at fault.
fn marks(view: &GridView, score: &Score, finding: &Finding, place: Place) -> Vec<GridMark> {
    let here = |n: &&NoteAtFault| place_of(score, n).is_some_and(|at| at.bar == place.bar);
    let at_fault: Vec<&NoteAtFault> = finding.notes.iter().filter(here).collect();
    let mut marks: Vec<GridMark> = at_fault
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
            let text = printable(&text);
            Some(GridMark { range, text })
        })
        .collect();
    let more = at_fault.len().saturating_sub(MOST_MARKS);
    let notes = if more == 1 { "note" } else { "notes" };
    if more > 0
        && let Some(last) = marks.last_mut()
    {
        let _ = write!(last.text, " ... and {more} more {notes}");
    }
    if marks.is_empty() {
        let names = finding.parts.iter().filter_map(|&p| view.label(p));
        marks.extend(names.map(|range| GridMark {
            range,
            text: String::new(),
        }));
    }
    marks
}

/// The lines under the grid: what to do first.
fn said(finding: &Finding, options: Options) -> String {
    let mut lines = String::new();
    let mut add = |name: &str, text: &str| {
        if !text.is_empty() {
            field(&mut lines, name, &printable(text), options.prose());
        }
    };
    add(
        advice(finding),
        finding.suggestion.as_deref().unwrap_or_default(),
    );
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
    add("why", &finding.why);
    add("source", finding.source);
    lines
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

/// The sign of a level, which stands before its findings. It is in every font.
const fn sign(level: Level) -> &'static str {
    match level {
        Level::Error => "\u{d7}",
        Level::Warning => "!",
        Level::Note => "\u{b7}",
    }
}

fn level_colour(level: Level) -> ColorSpec {
    let mut spec = ColorSpec::new();
    spec.set_bold(true).set_fg(Some(match level {
        Level::Error => Color::Red,
        Level::Warning => Color::Yellow,
        Level::Note => Color::Cyan,
    }));
    spec
}
