//! Problems of files: what cannot be read or used, where, and what to do about it.

use crate::ground::text::{LONGEST_SENTENCE, Text, shorten};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Why a file could not be read.
#[derive(Clone, Debug, thiserror::Error)]
#[error("{}", self.line())]
pub struct Problem {
    /// The file, as the user gave it.
    pub path: PathBuf,
    /// What is wrong, in one sentence without the path.
    pub message: String,
    /// Where, as bytes of `text`.
    pub at: Option<Range<usize>>,
    /// The text of the file, when it got that far.
    pub text: Option<Text>,
    /// What to do about it.
    pub help: Option<String>,
}

impl Problem {
    /// An error about a whole file.
    pub fn whole(path: &Path, message: impl Into<String>) -> Self {
        let mut message = message.into();
        shorten(&mut message, LONGEST_SENTENCE);
        Self {
            path: path.to_owned(),
            message,
            at: None,
            text: None,
            help: None,
        }
    }

    /// An error at bytes of the text.
    pub fn at(path: &Path, text: &Text, at: Range<usize>, message: impl Into<String>) -> Self {
        Self {
            at: Some(at),
            text: Some(text.clone()),
            ..Self::whole(path, message)
        }
    }

    /// The same error with advice.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        let mut help = help.into();
        shorten(&mut help, LONGEST_SENTENCE);
        self.help = Some(help);
        self
    }

    /// 1-based line and column (in characters) of the error.
    pub fn line_column(&self) -> Option<(usize, usize)> {
        let (text, at) = (self.text.as_ref()?, self.at.as_ref()?);
        let mut start = at.start.min(text.len());
        while !text.is_char_boundary(start) {
            start = start.saturating_sub(1);
        }
        let before = text.get(..start).unwrap_or_default();
        let line = before.matches('\n').count().saturating_add(1);
        let since = before.chars().rev().take_while(|c| *c != '\n');
        let column = since.count().saturating_add(1);
        Some((line, column))
    }

    fn line(&self) -> String {
        let path = self.path.display();
        match self.line_column() {
            Some((line, column)) => format!("{path}:{line}:{column}: {}", self.message),
            None => format!("{path}: {}", self.message),
        }
    }
}
