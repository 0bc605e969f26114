//! Files that could not be read.

use super::layout::{Options, coloured, field};
use super::snippets::{Snippet, Snippets, emit};
use crate::ground::problem::Problem;
use crate::report::printable;
use crate::report::wrapping::{Columns, paragraph};
use codespan_reporting::diagnostic::{Diagnostic, Label, Severity};
use codespan_reporting::files::{Location, SimpleFile};
use codespan_reporting::term::termcolor::{Color, ColorSpec, WriteColor};
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
    let diagnostic = Diagnostic::new(Severity::Error);
    // The word before it takes seven columns.
    let wrapped = |message: &str| {
        let mut lines = String::new();
        let columns = Columns {
            width: options.prose().saturating_sub(7),
            indent: 7,
        };
        paragraph(&mut lines, "", &printable(message), columns);
        lines.trim_end().to_owned()
    };
    let (shown, diagnostic) = match excerpt(error, options) {
        Some((shown, range)) => (
            vec![shown],
            diagnostic
                .with_message(wrapped(&error.message))
                .with_label(Label::primary(0, range)),
        ),
        None => (
            Vec::new(),
            diagnostic.with_message(wrapped(&format!("{name}: {}", error.message))),
        ),
    };
    emit(&Snippets(shown), &diagnostic, &text_config(), out)?;
    if let Some(help) = &error.help {
        let mut lines = String::new();
        field(&mut lines, "advice", &printable(help), options.prose());
        writeln!(out, "{lines}")?;
    }
    Ok(())
}

/// The same in one line.
pub(super) fn render_unreadable_line(error: &Problem, out: &mut dyn WriteColor) -> io::Result<()> {
    coloured(
        out,
        ColorSpec::new().set_bold(true).set_fg(Some(Color::Red)),
        "\u{d7}",
    )?;
    let help = error.help.iter().map(|h| format!("; {h}"));
    let said = format!("{error}{}", help.collect::<String>());
    writeln!(out, " {}", printable(&said))
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

/// The line with its number beside it and nothing drawn around it: what stands in a file is easily taken for
/// a part of the frame, above all in a grid.
fn text_config() -> Config {
    let mut chars = Chars::ascii();
    "in".clone_into(&mut chars.snippet_start);
    chars.source_border_left = ' ';
    chars.source_border_left_break = ' ';
    Config {
        chars,
        ..Config::default()
    }
}
