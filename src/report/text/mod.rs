//! The report for people: each finding with its bar drawn as grid rows and marks under the notes.

mod finding;
mod snippets;
mod unreadable;

pub(super) use finding::parts_shown;

use super::{ProofedFile, Sums, counted, printable};
use crate::ground::problem::Problem;
use crate::proof::{Inferred, Proofed};
use crate::score::Score;
use codespan_reporting::term::termcolor::WriteColor;
use finding::render_finding;
use std::io;
use unicode_width::UnicodeWidthStr;
use unreadable::render_unreadable;

/// Columns before a grid row: the blanked number, its border, the spaces beside them.
const GRID_INDENT: usize = 5;

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
pub fn render(
    entries: &[ProofedFile],
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
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
pub fn render_file(
    entry: &ProofedFile,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
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

/// `name: text`, the text in a column of its own and broken between words.
fn wrapped(name: &str, text: &str, width: usize) -> String {
    // As wide as the longest name, its colon and a space.
    const NAME: usize = 15;
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
    entry: &ProofedFile,
    score: &Score,
    proofed: &Proofed,
    out: &mut dyn WriteColor,
) -> io::Result<()> {
    let name = printable(&entry.name());
    // A technique that nothing fits says nothing of the passage.
    for i in proofed.inferred.iter().filter(|i| i.fits > 0) {
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

#[cfg(test)]
mod tests;
