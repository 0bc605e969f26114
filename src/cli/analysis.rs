//! `chartproof analysis`: every sonority named.

use super::UNUSABLE;
use super::replacing::Replaces;
use super::scores::{ReadScore, ScoreOptions};
use super::verbosity::Progress;
use super::write_out::{self, bytes_to_stdout, complain, complain_of};
use crate::analysis::analyse;
use crate::report::analysis::{AnalysedFile, json, text};
use clap::{Args, ValueEnum};
use rayon::prelude::*;
use std::path::PathBuf;

/// Names every sonority: chord, function of the lead, technique, members and intervals
///
/// One line for each sonority of two voices or more: the chord symbol, what the notes make by
/// themselves, what the lead note is for, the technique, the voices from the top at sounding pitch
/// (a hyphen after a note: held from before), their degrees over the chord, the intervals between
/// neighbours.
///
/// Exit code: 0, or 2 when a file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Analysis {
    #[command(flatten)]
    scores: ScoreOptions,

    /// The form: text for people, json for machines
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = Format::Text)]
    format: Format,

    /// Write to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
}

impl Analysis {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        let read = self.scores.read();
        let progress = Progress::new("naming sonorities", Some(read.scores.len()));
        let entries: Vec<AnalysedFile> = read
            .scores
            .into_par_iter()
            .map(|ReadScore { path, score, style }| AnalysedFile {
                path,
                outcome: score.map(|score| {
                    let analysed = analyse(&score, &style);
                    progress.step();
                    (score.into_score(), analysed)
                }),
            })
            .collect();
        let mut code = read.problems.code();
        for error in entries.iter().filter_map(|e| e.outcome.as_ref().err()) {
            complain_of(error);
            code = UNUSABLE;
        }
        let report = match self.format {
            Format::Text => Ok(text(&entries)),
            Format::Json => json(&entries).map_err(|e| e.to_string()),
        };
        let written = report.and_then(|report| match &self.into {
            Some(target) => {
                let inputs = &self.scores.inputs;
                write_out::write(target, report.as_bytes(), inputs, Replaces::Reports)
                    .map_err(|e| e.to_string())
            }
            None => bytes_to_stdout(report.as_bytes()),
        });
        if let Err(message) = written {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }
}
