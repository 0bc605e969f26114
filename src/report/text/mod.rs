//! The report for people: each finding with its bar drawn as grid rows and marks under the notes.

mod finding;
mod layout;
mod shown;
mod snippets;
mod unreadable;

pub(super) use finding::{grid_of, headline, parts_shown, place_in_file};
pub use layout::Options;

use super::wrapping::{Columns, paragraph};
use super::{ProofedFile, Sums, counted, printable};
use crate::ground::problem::Problem;
use crate::proof::{Inferred, Proofed};
use crate::score::Score;
use codespan_reporting::term::termcolor::WriteColor;
use finding::{render_finding, render_line};
use layout::GRID_INDENT;
use shown::ShownWriter;
use std::io::{self, Write};
use unreadable::{render_unreadable, render_unreadable_line};

/// Writes the report: each file's findings, errors first, by bar and beat, then what was inferred in it and what
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
    let out = &mut ShownWriter::new(out);
    match &entry.outcome {
        Ok((score, proofed)) => {
            if options.short {
                for finding in entry.findings() {
                    render_line(entry, score, finding, out, options)?;
                }
                return out.flush();
            }
            for finding in entry.findings() {
                render_finding(entry, score, &proofed.sections, finding, out, options)?;
            }
            render_said(entry, score, proofed, out, options)?;
        }
        Err(error) if options.short => render_unreadable_line(error, out)?,
        Err(error) => render_unreadable(error, out, options)?,
    }
    out.flush()
}

/// What was inferred in a file, and what was not checked.
fn render_said(
    entry: &ProofedFile,
    score: &Score,
    proofed: &Proofed,
    out: &mut dyn WriteColor,
    options: Options,
) -> io::Result<()> {
    let name = printable(&entry.name());
    let mut lines = String::new();
    let columns = Columns {
        width: options.prose(),
        indent: GRID_INDENT,
    };
    let mut say = |sentence: &str| {
        paragraph(
            &mut lines,
            &format!("{name}: "),
            &printable(sentence),
            columns,
        );
    };
    // A technique that nothing fits says nothing of the passage.
    for i in proofed.inferred.iter().filter(|i| i.fits > 0) {
        say(&inferred(score, i));
    }
    for remark in &proofed.remarks {
        say(remark);
    }
    write!(out, "{lines}")?;
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
    let out = &mut ShownWriter::new(out);
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
    if sums.unreadable > 0 {
        writeln!(
            out,
            "{} could not be read",
            counted(sums.unreadable, "file")
        )?;
    }
    out.flush()
}

/// One error about a file, for the error output.
pub fn render_error(error: &Problem, out: &mut dyn WriteColor, options: Options) -> io::Result<()> {
    let out = &mut ShownWriter::new(out);
    render_unreadable(error, out, options)?;
    out.flush()
}

#[cfg(test)]
mod tests;
