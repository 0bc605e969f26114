//! What could not be read, with the line it stands in, written to a terminal.

use codespan_reporting::diagnostic::{Diagnostic, LabelStyle, Severity};
use codespan_reporting::files::{self, Files, Location, SimpleFile};
use codespan_reporting::term::termcolor::WriteColor;
use codespan_reporting::term::{Config, Styles, WriteStyle, emit_to_write_style};
use std::io::{self, Write};
use std::ops::Range;

/// A text in memory that stands for a place in a file: it is drawn, but the place is named.
pub(super) struct Snippet {
    pub file: SimpleFile<String, String>,
    pub first_line: usize,
    pub location: Location,
}

/// The snippets that one diagnostic shows.
pub(super) struct Snippets(pub Vec<Snippet>);

impl Snippets {
    fn snippet(&self, id: usize) -> Result<&Snippet, files::Error> {
        self.0.get(id).ok_or(files::Error::FileMissing)
    }
}

impl<'a> Files<'a> for Snippets {
    type FileId = usize;
    type Name = &'a str;
    type Source = &'a str;

    fn name(&'a self, id: usize) -> Result<&'a str, files::Error> {
        self.snippet(id).map(|p| p.file.name().as_str())
    }

    fn source(&'a self, id: usize) -> Result<&'a str, files::Error> {
        self.snippet(id).map(|p| p.file.source().as_str())
    }

    fn line_index(&'a self, id: usize, byte: usize) -> Result<usize, files::Error> {
        self.snippet(id)?.file.line_index((), byte)
    }

    fn line_number(&'a self, id: usize, index: usize) -> Result<usize, files::Error> {
        Ok(self.snippet(id)?.first_line.saturating_add(index))
    }

    fn line_range(&'a self, id: usize, index: usize) -> Result<Range<usize>, files::Error> {
        self.snippet(id)?.file.line_range((), index)
    }

    fn location(&'a self, id: usize, _byte: usize) -> Result<Location, files::Error> {
        Ok(self.snippet(id)?.location)
    }
}

/// Writes a diagnostic with its snippets.
pub(super) fn emit(
    shown: &Snippets,
    diagnostic: &Diagnostic<usize>,
    config: &Config,
    out: &mut dyn WriteColor,
) -> io::Result<()> {
    let mut writer = TidyWriter {
        out,
        styles: Styles::default(),
        spaces: 0,
    };
    emit_to_write_style(&mut writer, config, shown, diagnostic).map_err(|error| match error {
        files::Error::Io(error) => error,
        other => io::Error::other(other),
    })
}

/// Writes through to the terminal, without spaces at the ends of lines.
struct TidyWriter<'a> {
    out: &'a mut dyn WriteColor,
    styles: Styles,
    spaces: usize,
}

impl Write for TidyWriter<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
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

impl WriteStyle for TidyWriter<'_> {
    fn set_header(&mut self, severity: Severity) -> io::Result<()> {
        self.out.set_color(self.styles.header(severity))
    }

    fn set_header_message(&mut self) -> io::Result<()> {
        self.out.set_color(&self.styles.header_message)
    }

    fn set_line_number(&mut self) -> io::Result<()> {
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
        self.out.reset()
    }
}
