//! The formats of a report, and reports made in one of them.

use crate::report::{ProofedFile, Sums, html, json, markdown, sarif, text};
use clap::ValueEnum;
use codespan_reporting::term::termcolor::Buffer;
use rayon::prelude::*;
use std::io;

/// The formats of a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    Text,
    Json,
    Jsonl,
    Html,
    Sarif,
    Csv,
    Markdown,
}

/// Why a report could not be made.
#[derive(Debug, thiserror::Error)]
pub(super) enum ReportError {
    #[error("the report could not be put together: {0}")]
    Text(#[from] io::Error),
    #[error("the report could not be put together: {0}")]
    Json(#[from] serde_json::Error),
}

/// Makes reports of one format.
#[derive(Clone, Copy)]
pub(super) struct Reporter {
    pub(super) format: Format,
    /// The text report is in colour.
    pub(super) colour: bool,
    /// How the text report is laid out.
    pub(super) layout: text::Options,
}

impl Reporter {
    /// What reports of pieces say of each file, in order.
    pub(super) fn pieces(self, entries: &[ProofedFile]) -> Result<Vec<u8>, ReportError> {
        let pieces: Result<Vec<Vec<u8>>, ReportError> = entries
            .par_iter()
            .map(|entry| match self.format {
                Format::Jsonl => Ok(json::lines_of_file(entry)?.into_bytes()),
                _ => self.text(|out| text::render_file(entry, out, self.layout)),
            })
            .collect();
        Ok(pieces?.concat())
    }

    /// How they end.
    pub(super) fn end(self, sums: Sums) -> Result<Vec<u8>, ReportError> {
        match self.format {
            Format::Jsonl => Ok(json::last_line(sums)?.into_bytes()),
            _ => self.text(|out| text::render_sums(&sums, out)),
        }
    }

    /// The whole report; `since` when it is about what a revision did not have.
    pub(super) fn whole(
        self,
        entries: &[ProofedFile],
        since: bool,
    ) -> Result<Vec<u8>, ReportError> {
        Ok(match self.format {
            Format::Text => self.text(|out| text::render(entries, out, self.layout))?,
            Format::Jsonl => json::lines(entries)?.into_bytes(),
            Format::Json => json::render(entries)?.into_bytes(),
            // Refused before anything was read.
            Format::Html | Format::Csv => html::render(entries).into_bytes(),
            Format::Markdown => markdown::render(entries).into_bytes(),
            Format::Sarif => sarif::render(entries, since)?.into_bytes(),
        })
    }

    fn text(
        self,
        write: impl FnOnce(&mut Buffer) -> io::Result<()>,
    ) -> Result<Vec<u8>, ReportError> {
        let mut buffer = if self.colour {
            Buffer::ansi()
        } else {
            Buffer::no_color()
        };
        write(&mut buffer)?;
        Ok(buffer.into_inner())
    }
}
