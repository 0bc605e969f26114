//! What keeps a text from being read, with its place in the text.

use crate::ground::problem::Problem;
use crate::ground::text::Text;
use std::ops::Range;
use std::path::Path;

/// Something wrong at some bytes of a text.
#[derive(Debug)]
pub(super) struct Fault {
    /// Bytes of the text.
    pub at: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub help: Option<String>,
}

/// The outcome of reading a piece of a text. A fault is rare: it is one pointer, so that the value read
/// need not be copied with room for one.
pub(super) type Parsed<T> = Result<T, Box<Fault>>;

impl Fault {
    pub(super) fn new(at: Range<usize>, message: impl Into<String>) -> Box<Self> {
        Box::new(Self {
            at,
            message: message.into(),
            help: None,
        })
    }

    pub(super) fn help(mut self: Box<Self>, help: impl Into<String>) -> Box<Self> {
        self.help = Some(help.into());
        self
    }

    /// The same as an error of the file that has this text.
    pub(super) fn in_file(self, path: &Path, text: &Text) -> Problem {
        let error = Problem::at(path, text, self.at, self.message);
        match self.help {
            Some(help) => error.help(help),
            None => error,
        }
    }
}
