//! Where things stand in the columns of the terminal.

use crate::report::wrapping::{self, hanging};
use codespan_reporting::term::termcolor::{ColorSpec, WriteColor};
use std::io;

/// Columns before a grid row.
pub(super) const GRID_INDENT: usize = 4;

/// How the report is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// How many terminal columns grid rows and sentences may take.
    pub width: usize,
    /// One line a finding.
    pub short: bool,
    /// The lines of a short report are cut to the width.
    pub cut: bool,
}

impl Options {
    /// How wide running text is.
    pub(super) fn prose(self) -> usize {
        self.width.min(wrapping::WIDEST)
    }
}

impl Default for Options {
    fn default() -> Self {
        Self {
            width: wrapping::WIDEST,
            short: false,
            cut: false,
        }
    }
}

/// A name, and the text in a column of its own.
pub(super) fn field(out: &mut String, name: &str, text: &str, width: usize) {
    // As wide as the longest name and two blanks.
    const NAME: usize = 15;
    let head = format!("{:GRID_INDENT$}{name:NAME$}", "");
    hanging(out, &head, text, width);
}

/// Writes a text in a colour.
pub(super) fn coloured(out: &mut dyn WriteColor, colour: &ColorSpec, text: &str) -> io::Result<()> {
    out.set_color(colour)?;
    write!(out, "{text}")?;
    out.reset()
}
