//! Files that could not be read.

use super::layout::{Options, wrapped};
use super::snippets::{Snippet, Snippets, emit};
use crate::ground::problem::Problem;
use crate::report::printable;
use codespan_reporting::diagnostic::{Diagnostic, Label, Severity};
use codespan_reporting::files::{Location, SimpleFile};
use codespan_reporting::term::termcolor::WriteColor;
use codespan_reporting::term::{Chars, Config};
use std::io;
use std::ops::Range;

/// Writes why a file could not be read: the line at fault with a mark, when it is known.
pub(super) fn render_unreadable(
    error: &Problem,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    let name = printable(&error.path.display().to_string());
    let help = error.help.iter();
    let notes: Vec<String> = help
        .map(|h| wrapped("advice", &printable(h), options.width))
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
    emit(&Snippets(shown), &diagnostic, &text_config(), true, out)
}

/// The line that an error stands in, cut to the width (a file may be one line of megabytes), and
/// the bytes of the mark in it.
fn excerpt(error: &Problem, options: Options) -> Option<(Snippet, Range<usize>)> {
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
    shown.push_str(&printable(text.get(from..start)?));
    let mark = shown.len();
    let end = end.min(to);
    shown.push_str(&printable(text.get(start..end)?));
    let mark_end = shown.len();
    shown.push_str(&printable(text.get(end..to)?));
    if to < line_end {
        shown.push_str(" ...");
    }
    let shown = Snippet {
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

fn text_config() -> Config {
    let mut chars = Chars::ascii();
    chars.note_bullet = ' ';
    Config {
        chars,
        ..Config::default()
    }
}
