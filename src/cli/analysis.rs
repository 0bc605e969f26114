//! `chartproof analysis`: every sonority named.

use super::UNUSABLE;
use super::columns;
use super::replacing::Replaces;
use super::scores::{ReadScore, ScoreOptions};
use super::verbosity::Progress;
use super::write_out::{self, bytes_to_stdout, complain, complain_of};
use crate::analysis::{analyse, why};
use crate::ground::shown::shown_xml;
use crate::model_answer::plan;
use crate::report;
use crate::report::analysis::{AnalysedFile, AnalysedScore, json, text, why_text};
use crate::report::plan::PlannedFile;
use crate::writing;
use clap::{Args, ValueEnum};
use rayon::prelude::*;
use std::path::PathBuf;
use std::str::FromStr;

/// Names every sonority: chord, function of the lead, technique, members and intervals
///
/// One line for each sonority of two voices or more: the chord symbol, what the notes make by
/// themselves, what the lead note is for, the technique, the voices from the top at sounding pitch
/// (a hyphen after a note: held from before), their degrees over the chord, the intervals between
/// neighbours.
///
/// With --lead it plans a melody instead: what each note is for (chord note, passing note ...), its
/// degree, what stands under it by the first choice, and the scale that each stretch uses.
///
/// Exit code: 0, or 2 when a file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Analysis {
    #[command(flatten)]
    scores: ScoreOptions,

    /// Plan the melody: mark chord notes and passing notes, and the scale of each stretch
    #[arg(long, conflicts_with = "why")]
    lead: bool,

    /// The name of the part that has the melody; the first part with notes when left out
    #[arg(long, value_name = "NAME", requires = "lead")]
    part: Option<String>,

    /// The form: text for people, json for machines; of a melody (--lead) text, html for a page with
    /// the music engraved, musicxml for the melody with its plan in words
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = Format::Text)]
    format: Format,

    /// Show the accounts that were weighed at this place, the cheapest first: bar and beat, as 12:2.5
    #[arg(long, value_name = "BAR:BEAT", conflicts_with = "format")]
    why: Option<WhichPlace>,

    /// Write to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
}

/// A printed bar number and a beat in units of the meter's lower figure.
#[derive(Clone, Debug)]
struct WhichPlace {
    bar: String,
    beat: f64,
}

impl FromStr for WhichPlace {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        const WANTED: &str = "write a bar and a beat as the reports have them: 12:2.5";
        let (bar, beat) = text.rsplit_once(':').ok_or(WANTED)?;
        let beat: f64 = beat.trim().parse().map_err(|_| WANTED)?;
        Ok(Self {
            bar: bar.trim().to_owned(),
            beat,
        })
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
    Html,
    #[value(name = "musicxml")]
    MusicXml,
}

impl Analysis {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        match (self.lead, self.format) {
            (true, Format::Json) => {
                complain("a melody's plan has no form json: write text, html or musicxml");
                return UNUSABLE;
            }
            (false, Format::Html | Format::MusicXml) => {
                complain(
                    "the forms html and musicxml are for a melody: add --lead, or write text or json",
                );
                return UNUSABLE;
            }
            (true, _) => return self.run_lead(),
            (false, _) => {}
        }
        let read = self.scores.read();
        let progress = Progress::new("naming sonorities", Some(read.scores.len()));
        let entries: Vec<AnalysedFile> = read
            .scores
            .into_par_iter()
            .map(|ReadScore { path, score, style }| AnalysedFile {
                path,
                outcome: score.map(|score| {
                    let analysed = analyse(&score, &style);
                    let place = self.why.as_ref();
                    let why = place.map(|p| why(&score, &style, &p.bar, p.beat));
                    progress.step();
                    AnalysedScore {
                        score: score.into_score(),
                        sections: analysed,
                        why,
                    }
                }),
            })
            .collect();
        let mut code = read.problems.code();
        for error in entries.iter().filter_map(|e| e.outcome.as_ref().err()) {
            complain_of(error);
            code = UNUSABLE;
        }
        let report = match self.format {
            Format::Text if self.why.is_some() => Ok(why_text(&entries)),
            Format::Text => Ok(text(&entries, self.columns())),
            _ => json(&entries).map_err(|e| e.to_string()),
        };
        let written = report.and_then(|report| self.deliver(&report, Replaces::Reports));
        if let Err(message) = written {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }

    /// The columns of what people read.
    fn columns(&self) -> usize {
        match self.into {
            Some(_) => columns::of_table_in_file(),
            None => columns::of_table(),
        }
    }

    fn deliver(&self, report: &str, replaces: Replaces<'_>) -> Result<(), String> {
        match &self.into {
            Some(target) => {
                let inputs = &self.scores.inputs;
                write_out::write(target, report.as_bytes(), inputs, replaces)
                    .map_err(|e| e.to_string())
            }
            None => bytes_to_stdout(report.as_bytes()),
        }
    }

    /// Plans the melody of each score.
    fn run_lead(mut self) -> u8 {
        let read = self.scores.read();
        let mut code = read.problems.code();
        let mut planned: Vec<PlannedFile> = Vec::new();
        let mut catalogues = Vec::new();
        for ReadScore { path, score, style } in read.scores {
            let plan = match &score {
                Ok(score) => plan(score, &style, self.part.as_deref()).map_err(|e| e.to_string()),
                Err(error) => {
                    complain_of(error);
                    code = UNUSABLE;
                    continue;
                }
            };
            match plan {
                Ok(plan) => {
                    catalogues.push(style.instruments);
                    planned.push(PlannedFile { path, plan });
                }
                Err(error) => {
                    complain(&format!("{}: {error}", path.display()));
                    code = UNUSABLE;
                }
            }
        }
        if planned.is_empty() {
            return UNUSABLE;
        }
        let mut replaces = Replaces::Reports;
        let report = match (self.format, planned.as_slice()) {
            (Format::MusicXml, [only]) => {
                replaces = Replaces::Scores {
                    limits: self.scores.limits.limits(),
                    instruments: &catalogues,
                };
                let options = writing::musicxml::Options {
                    software: Some(concat!("chartproof ", env!("CARGO_PKG_VERSION")).to_owned()),
                };
                Ok(writing::musicxml::write(&only.plan.in_words(), &options))
            }
            (Format::MusicXml, _) => {
                Err("one melody at a time is written as MusicXML: name one file".to_owned())
            }
            (Format::Html, all) => Ok(report::plan::page(all)),
            (_, all) => Ok(report::plan::text(all, self.columns())),
        };
        let report = report.map(|text| match (self.format, &self.into) {
            (Format::MusicXml, None) => shown_xml(text),
            _ => text,
        });
        if let Err(message) = report.and_then(|report| self.deliver(&report, replaces)) {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }
}
