//! The report for people: each finding with its bar drawn as grid rows and marks under the notes.

use super::grid_view::GridView;
use super::{Entry, Sums, counted, printable, whereabouts};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::problem::Problem;
use crate::proof::{Inferred, Proofed};
use crate::score::{Place, Score, Source};
use crate::sonority::Section;
use codespan_reporting::diagnostic::{Diagnostic, Label, LabelStyle, Severity};
use codespan_reporting::files::{self, Files, Location, SimpleFile};
use codespan_reporting::term::termcolor::WriteColor;
use codespan_reporting::term::{Chars, Config, Styles, WriteStyle, emit_to_write_style};
use std::fmt::Write as _;
use std::io::{self, Write};
use std::ops::Range;
use unicode_width::UnicodeWidthStr;

/// The most parts drawn under one finding.
const MOST_PARTS: usize = 32;

/// The most bars drawn under one finding.
const MOST_BARS: usize = 4;

/// How the report is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// How many terminal columns grid rows and sentences may take.
    pub width: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { width: 100 }
    }
}

/// Writes the report: each file's findings by bar and beat, then what was inferred in it and what
/// was not checked; at the end the sums.
///
/// # Errors
///
/// When `out` cannot be written to.
pub fn render(entries: &[Entry], out: &mut dyn WriteColor, options: Options) -> io::Result<()> {
    for entry in entries {
        render_file(entry, out, options)?;
    }
    render_sums(&Sums::of(entries), out)
}

/// The report's piece about one file.
///
/// # Errors
///
/// When `out` cannot be written to.
pub fn render_file(entry: &Entry, out: &mut dyn WriteColor, options: Options) -> io::Result<()> {
    match &entry.outcome {
        Ok((score, proofed)) => {
            for finding in entry.findings() {
                render_finding(entry, score, &proofed.sections, finding, out, options)?;
            }
            render_said(entry, score, proofed, out)
        }
        Err(error) => render_unreadable(error, out, options),
    }
}

fn render_finding(
    entry: &Entry,
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
        shown.push(Shown {
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
    emit(&Pages(shown), &diagnostic, &grid_config(), false, out)
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
pub(super) fn parts_shown(score: &Score, sections: &[Section], finding: &Finding) -> Vec<u32> {
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
    let mut labels: Vec<Label<usize>> = finding
        .notes
        .iter()
        .filter(|n| place_of(score, n).is_some_and(|at| at.bar == place.bar))
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
    // "do" was tried and mends it; "try" was not, or would bring something else up.
    let advice = if finding.fix.is_some() { "do" } else { "try" };
    add(advice, finding.suggestion.as_deref().unwrap_or_default());
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

/// `name: text`, the text in a column of its own and broken between words.
fn wrapped(name: &str, text: &str, width: usize) -> String {
    const NAME: usize = 10;
    let room = width.saturating_sub(GRID_INDENT + NAME).max(20);
    let mut out = String::with_capacity(NAME + text.len());
    out.push_str(name);
    out.push(':');
    out.extend(std::iter::repeat_n(' ', NAME.saturating_sub(out.len())));
    let mut used = 0;
    for word in text.split_whitespace() {
        let wide = word.width();
        if used > 0 && used + 1 + wide > room {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', NAME));
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += wide;
    }
    out
}

/// What was inferred in a file, and what was not checked.
fn render_said(
    entry: &Entry,
    score: &Score,
    proofed: &Proofed,
    out: &mut dyn WriteColor,
) -> io::Result<()> {
    let name = printable(&entry.name());
    for i in &proofed.inferred {
        let sentence = inferred(score, i);
        writeln!(out, "{name}: {}", printable(&sentence))?;
    }
    for remark in &proofed.remarks {
        writeln!(out, "{name}: {}", printable(remark))?;
    }
    if !proofed.inferred.is_empty() || !proofed.remarks.is_empty() {
        writeln!(out)?;
    }
    Ok(())
}

pub(super) fn inferred(score: &Score, inferred: &Inferred) -> String {
    let (from, to) = (
        score.bar_number(inferred.from.bar),
        score.bar_number(inferred.to.bar),
    );
    let bars = if inferred.from.bar == inferred.to.bar {
        format!("bar {from}")
    } else {
        format!("bars {from}-{to}")
    };
    format!(
        "{}, {bars}: {}, inferred from {} of {}",
        inferred.section,
        inferred.technique,
        inferred.fits,
        counted(inferred.of, "sonority"),
    )
}

/// Everything in numbers, in one line: `2 files, 32 bars, 120 sonorities: 2 errors, 1 warning, 0 notes`.
pub fn in_one_line(sums: &Sums) -> String {
    format!(
        "{}, {}, {}: {}, {}, {}",
        counted(sums.files, "file"),
        counted(sums.bars, "bar"),
        counted(sums.sonorities, "sonority"),
        counted(sums.tally.errors, "error"),
        counted(sums.tally.warnings, "warning"),
        counted(sums.tally.notes, "note"),
    )
}

/// The report's end: everything in numbers.
///
/// # Errors
///
/// When `out` cannot be written to.
pub fn render_sums(sums: &Sums, out: &mut dyn WriteColor) -> io::Result<()> {
    let not_shown = sums.not_shown();
    if sums.files > 0 && sums.tally.worst().is_none() {
        // A passage nobody looked at is not a clean one.
        let sentence = if !not_shown.is_empty() {
            "Nothing new found."
        } else if sums.sonorities == 0 {
            "Nothing found, but no section sounds together anywhere: no voicing was looked at."
        } else {
            "Nothing found that needs correcting."
        };
        writeln!(out, "{sentence}")?;
    }
    writeln!(out, "{}", in_one_line(sums))?;
    for line in not_shown {
        writeln!(out, "{line}")?;
    }
    match sums.unreadable {
        0 => Ok(()),
        n => writeln!(out, "{} could not be read", counted(n, "file")),
    }
}

/// One error about a file, for the error output.
pub fn render_error(error: &Problem, out: &mut dyn WriteColor, options: Options) -> io::Result<()> {
    render_unreadable(error, out, options)
}

/// A file that could not be read: the line at fault with a mark, when it is known.
fn render_unreadable(
    error: &Problem,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    let name = printable(&error.path.display().to_string());
    let help = error.help.iter();
    let notes: Vec<String> = help
        .map(|h| wrapped("do", &printable(h), options.width))
        .collect();
    let diagnostic = Diagnostic::new(Severity::Error).with_notes(notes);
    let message = printable(&error.message);
    let (shown, diagnostic) = match excerpt(error, options) {
        Some((shown, range)) => (
            vec![shown],
            diagnostic
                .with_message(message)
                .with_label(Label::primary(0, range)),
        ),
        None => (
            Vec::new(),
            diagnostic.with_message(format!("{name}: {message}")),
        ),
    };
    emit(&Pages(shown), &diagnostic, &text_config(), true, out)
}

/// The line that an error stands in, cut to the width (a file may be one line of megabytes), and
/// the bytes of the mark in it.
fn excerpt(error: &Problem, options: Options) -> Option<(Shown, Range<usize>)> {
    let (line, column) = error.line_column()?;
    let (text, at) = (error.text.as_deref()?, error.at.clone()?);
    let start = floor(text, at.start);
    let end = floor(text, at.end.max(start));
    let line_start = text.get(..start)?.rfind('\n').map_or(0, |i| i + 1);
    let line_end = text
        .get(start..)?
        .find(['\n', '\r'])
        .map_or(text.len(), |i| start + i);
    let half = options.width / 2;
    let from = floor(text, start.saturating_sub(half)).max(line_start);
    let to = floor(text, start.saturating_add(half))
        .min(line_end)
        .max(start);
    let mut shown = String::new();
    if from > line_start {
        shown.push_str("... ");
    }
    let mark = shown.len() + (start - from);
    shown.push_str(&printable(text.get(from..to)?));
    let mark_end = (mark + end.saturating_sub(start))
        .min(shown.len())
        .max(mark);
    if to < line_end {
        shown.push_str(" ...");
    }
    let shown = Shown {
        file: SimpleFile::new(printable(&error.path.display().to_string()), shown),
        first_line: line,
        location: Location {
            line_number: line,
            column_number: column,
        },
    };
    Some((shown, mark..mark_end))
}

/// The nearest start of a character at or before `at`.
fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

fn source_name(source: &Source) -> String {
    let path = source.path.display();
    match &source.member {
        Some(member) => printable(&format!("{path} ({member})")),
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

/// The number the first grid row has in the gutter, where it is blanked: with two digits from the
/// first row on all rows are indented alike.
const FIRST_ROW: usize = 10;

/// Columns before a grid row: the blanked number, its border, the spaces beside them.
const GRID_INDENT: usize = 5;

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

fn text_config() -> Config {
    let mut chars = Chars::ascii();
    chars.note_bullet = ' ';
    Config {
        chars,
        ..Config::default()
    }
}

/// A text in memory that stands for a place in a file: it is drawn, but the place is named.
struct Shown {
    file: SimpleFile<String, String>,
    first_line: usize,
    location: Location,
}

/// The texts that one diagnostic shows.
struct Pages(Vec<Shown>);

impl Pages {
    fn page(&self, id: usize) -> Result<&Shown, files::Error> {
        self.0.get(id).ok_or(files::Error::FileMissing)
    }
}

impl<'a> Files<'a> for Pages {
    type FileId = usize;
    type Name = &'a str;
    type Source = &'a str;

    fn name(&'a self, id: usize) -> Result<&'a str, files::Error> {
        self.page(id).map(|p| p.file.name().as_str())
    }

    fn source(&'a self, id: usize) -> Result<&'a str, files::Error> {
        self.page(id).map(|p| p.file.source().as_str())
    }

    fn line_index(&'a self, id: usize, byte: usize) -> Result<usize, files::Error> {
        self.page(id)?.file.line_index((), byte)
    }

    fn line_number(&'a self, id: usize, index: usize) -> Result<usize, files::Error> {
        Ok(self.page(id)?.first_line.saturating_add(index))
    }

    fn line_range(&'a self, id: usize, index: usize) -> Result<Range<usize>, files::Error> {
        self.page(id)?.file.line_range((), index)
    }

    fn location(&'a self, id: usize, _byte: usize) -> Result<Location, files::Error> {
        Ok(self.page(id)?.location)
    }
}

fn emit(
    shown: &Pages,
    diagnostic: &Diagnostic<usize>,
    config: &Config,
    numbers: bool,
    out: &mut dyn WriteColor,
) -> io::Result<()> {
    let mut page = Page {
        out,
        styles: Styles::default(),
        numbers,
        in_number: false,
        spaces: 0,
    };
    emit_to_write_style(&mut page, config, shown, diagnostic).map_err(|error| match error {
        files::Error::Io(error) => error,
        other => io::Error::other(other),
    })
}

/// Writes through to the terminal, without spaces at the ends of lines, and without the numbers of
/// lines where they mean nothing (grid rows).
struct Page<'a> {
    out: &'a mut dyn WriteColor,
    styles: Styles,
    numbers: bool,
    in_number: bool,
    spaces: usize,
}

impl Write for Page<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.in_number && !self.numbers {
            self.spaces += bytes.len();
            return Ok(bytes.len());
        }
        let mut rest = bytes;
        while let [first, after @ ..] = rest {
            rest = match first {
                b' ' => {
                    self.spaces += 1;
                    after
                }
                b'\n' => {
                    self.spaces = 0;
                    self.out.write_all(b"\n")?;
                    after
                }
                _ => {
                    let end = rest.iter().position(|b| matches!(b, b' ' | b'\n'));
                    let (word, after) = rest.split_at(end.unwrap_or(rest.len()));
                    for _ in 0..std::mem::take(&mut self.spaces) {
                        self.out.write_all(b" ")?;
                    }
                    self.out.write_all(word)?;
                    after
                }
            };
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl WriteStyle for Page<'_> {
    fn set_header(&mut self, severity: Severity) -> io::Result<()> {
        self.out.set_color(self.styles.header(severity))
    }

    fn set_header_message(&mut self) -> io::Result<()> {
        self.out.set_color(&self.styles.header_message)
    }

    fn set_line_number(&mut self) -> io::Result<()> {
        self.in_number = true;
        self.out.set_color(&self.styles.line_number)
    }

    fn set_note_bullet(&mut self) -> io::Result<()> {
        self.out.set_color(&self.styles.note_bullet)
    }

    fn set_source_border(&mut self) -> io::Result<()> {
        self.out.set_color(&self.styles.source_border)
    }

    fn set_label(&mut self, severity: Severity, style: LabelStyle) -> io::Result<()> {
        self.out.set_color(self.styles.label(severity, style))
    }

    fn reset(&mut self) -> io::Result<()> {
        self.in_number = false;
        self.out.reset()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::text::Text;
    use crate::report::sample;
    use codespan_reporting::term::termcolor::Buffer;
    use std::path::{Path, PathBuf};

    fn text(entries: &[Entry], width: usize) -> String {
        let mut buffer = Buffer::no_color();
        render(entries, &mut buffer, Options { width }).unwrap();
        String::from_utf8(buffer.into_inner()).unwrap()
    }

    #[test]
    fn findings_are_shown_under_their_bar() {
        insta::assert_snapshot!(text(&[sample::entry(), sample::unreadable()], 100));
    }

    #[test]
    fn a_clean_file_gets_a_plain_sentence() {
        let entry = Entry {
            path: PathBuf::from("quay.musicxml"),
            outcome: Ok((
                sample::score().into(),
                Proofed {
                    sonorities: 1,
                    ..Proofed::default()
                },
            )),
        };
        insta::assert_snapshot!(text(&[entry], 100), @r"
        Nothing found that needs correcting.
        1 file, 2 bars, 1 sonority: 0 errors, 0 warnings, 0 notes
        ");
    }

    #[test]
    fn a_score_without_sonorities_is_not_called_right() {
        let entry = Entry {
            path: PathBuf::from("solo.musicxml"),
            outcome: Ok((Score::default().into(), Proofed::default())),
        };
        let out = text(&[entry], 100);
        assert!(out.starts_with("Nothing found, but no section"), "{out}");
    }

    #[test]
    fn nothing_is_called_clean_that_was_not_read() {
        let path = Path::new("gone.musicxml");
        let entry = Entry {
            path: path.to_owned(),
            outcome: Err(Problem::whole(path, "there is no such file").help("check the path")),
        };
        insta::assert_snapshot!(text(&[entry], 100), @r"
        error: gone.musicxml: there is no such file
           do:       check the path

        0 files, 0 bars, 0 sonorities: 0 errors, 0 warnings, 0 notes
        1 file could not be read
        ");
    }

    #[test]
    fn an_error_in_an_endless_line_is_cut_out_of_it() {
        let path = PathBuf::from("long.xml");
        let long = Text::from(format!(
            "{}<oops>{}",
            "é".repeat(90_000),
            "x".repeat(90_000)
        ));
        let at = 180_000..180_006;
        let entry = Entry {
            outcome: Err(Problem::at(&path, &long, at, "an element is not closed")),
            path,
        };
        insta::assert_snapshot!(text(&[entry], 60), @r"
        error: an element is not closed
          --> long.xml:1:90001
          |
        1 | ... ééééééééééééééé<oops>xxxxxxxxxxxxxxxxxxxxxxxx ...
          |                    ^^^^^^

        0 files, 0 bars, 0 sonorities: 0 errors, 0 warnings, 0 notes
        1 file could not be read
        ");
    }

    #[test]
    fn errors_outside_their_text_do_no_harm() {
        let path = PathBuf::from("x.passage");
        for (body, at) in [
            ("", 0..0),
            ("é", 1..1),
            ("ab", 2..2),
            ("ab", 9..12),
            ("a\nb", 0..3),
        ] {
            let body = Text::from(body);
            let entry = Entry {
                path: path.clone(),
                outcome: Err(Problem::at(&path, &body, at, "wrong")),
            };
            assert!(text(&[entry], 60).contains("error: wrong"));
        }
    }

    #[test]
    fn nothing_from_a_file_steers_the_terminal() {
        let mut entry = sample::entry();
        entry.path = PathBuf::from("a\u{1b}[2Jb");
        if let Ok((score, proofed)) = &mut entry.outcome {
            let bad = "x\u{1b}]0;t\u{7}\r\n\u{9b}1m";
            bad.clone_into(&mut score.parts[1].name);
            bad.clone_into(&mut score.bars[1].number);
            score.sources[0].path = PathBuf::from(bad);
            let finding = &mut proofed.findings[0];
            bad.clone_into(&mut finding.message);
            bad.clone_into(&mut finding.why);
            bad.clone_into(&mut finding.notes[0].label);
            finding.suggestion = Some(bad.to_owned());
            finding.chord = Some(bad.to_owned());
            bad.clone_into(&mut proofed.remarks[0]);
            bad.clone_into(&mut proofed.inferred[0].technique);
        }
        let out = text(&[entry], 100);
        assert!(!out.chars().any(|c| c.is_control() && c != '\n'), "{out:?}");
    }

    #[test]
    fn a_fault_over_the_bar_line_shows_both_bars() {
        let mut entry = sample::entry();
        if let Ok((_, proofed)) = &mut entry.outcome {
            proofed.findings.truncate(1);
            let finding = &mut proofed.findings[0];
            finding.section = None;
            finding.found.clear();
            finding.at = Place::default();
            let mut from = finding.notes[0].clone();
            from.note.note = 0;
            from.label = "from here".to_owned();
            finding.notes[0].note.note = 1;
            finding.notes[0].label = String::new();
            finding.notes.insert(0, from);
        }
        let out = text(&[entry], 100);
        insta::assert_snapshot!(out);
    }

    #[test]
    fn colour_is_set_and_reset() {
        let mut buffer = Buffer::ansi();
        render(&[sample::entry()], &mut buffer, Options::default()).unwrap();
        let out = String::from_utf8(buffer.into_inner()).unwrap();
        assert!(out.contains("\u{1b}[31m"));
        assert!(out.contains("\u{1b}[0m"));
    }

    #[test]
    fn rows_fit_a_narrow_terminal_and_lines_end_clean() {
        let out = text(&[sample::entry()], 40);
        let rows: Vec<&str> = out.lines().filter(|l| l.ends_with('|')).collect();
        assert!(!rows.is_empty());
        assert!(rows.iter().all(|l| l.width() <= 40), "{out}");
        assert!(out.lines().all(|l| !l.ends_with(' ')), "{out}");
    }
}
