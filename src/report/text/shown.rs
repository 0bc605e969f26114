//! The way of a text report to the terminal or the log: nothing gets there but through here.

use crate::ground::shown::{begins_as_order, printable};
use codespan_reporting::term::termcolor::{ColorSpec, WriteColor};
use std::io::{self, Write};

/// Writes text so that only colours and line feeds of the program itself have an effect: all that is
/// written as text becomes printable, and no line begins as an order to a build server.
pub(super) struct ShownWriter<'a> {
    out: &'a mut dyn WriteColor,
    /// Text of the line that is not written yet.
    held: Vec<u8>,
    /// Nothing but blanks stands on the line so far.
    blank: bool,
}

impl<'a> ShownWriter<'a> {
    pub(super) fn new(out: &'a mut dyn WriteColor) -> Self {
        Self {
            out,
            held: Vec::new(),
            blank: true,
        }
    }

    fn write_held(&mut self) -> io::Result<()> {
        if self.held.is_empty() {
            return Ok(());
        }
        let mut safe = printable(&String::from_utf8_lossy(&self.held));
        self.held.clear();
        if self.blank && begins_as_order(&safe) {
            let blanks = safe.len() - safe.trim_start().len();
            safe.insert(blanks, '\\');
        }
        self.blank &= safe.trim_start().is_empty();
        self.out.write_all(safe.as_bytes())
    }

    /// Colour codes take text apart; where there are none, a line is looked at as a whole.
    fn before_colour(&mut self) -> io::Result<()> {
        if self.out.supports_color() {
            self.write_held()?;
        }
        Ok(())
    }
}

impl Write for ShownWriter<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut lines = bytes.split(|b| *b == b'\n');
        if let Some(rest) = lines.next() {
            self.held.extend_from_slice(rest);
        }
        for line in lines {
            self.write_held()?;
            self.out.write_all(b"\n")?;
            self.blank = true;
            self.held.extend_from_slice(line);
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.write_held()?;
        self.out.flush()
    }
}

impl WriteColor for ShownWriter<'_> {
    fn supports_color(&self) -> bool {
        self.out.supports_color()
    }

    fn set_color(&mut self, colour: &ColorSpec) -> io::Result<()> {
        self.before_colour()?;
        self.out.set_color(colour)
    }

    fn reset(&mut self) -> io::Result<()> {
        self.before_colour()?;
        self.out.reset()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use codespan_reporting::term::termcolor::{Buffer, Color};

    fn written(mut buffer: Buffer) -> String {
        let mut shown = ShownWriter::new(&mut buffer);
        for piece in ["  :", ":error\u{1b}[2J\n", "a ##v"] {
            shown.write_all(piece.as_bytes()).unwrap();
        }
        shown
            .set_color(ColorSpec::new().set_fg(Some(Color::Red)))
            .unwrap();
        shown.write_all("so[x]\n\u{202e}::y".as_bytes()).unwrap();
        shown.reset().unwrap();
        shown.write_all(b"\n::z\n").unwrap();
        shown.flush().unwrap();
        String::from_utf8(buffer.into_inner()).unwrap()
    }

    #[test]
    fn only_the_program_itself_has_colours() {
        assert_eq!(
            written(Buffer::no_color()),
            "  \\::error\u{fffd}[2J\na #\\#vso[x]\n\u{fffd}::y\n\\::z\n"
        );
        assert_eq!(
            written(Buffer::ansi()),
            "  \\::error\u{fffd}[2J\na ##v\u{1b}[0m\u{1b}[31mso[x]\n\u{fffd}::y\u{1b}[0m\n\\::z\n"
        );
    }
}
