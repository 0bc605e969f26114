//! `chartproof proof`: reads and reports.

use super::class;
use super::ledger::read_ledger;
use super::scores::{Looked, Scores};
use super::since;
use super::talk::{self, Progress};
use super::write_out::{self, WriteError, complain, complain_of, say, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::finding::Level;
use crate::proof::{Proofed, proof};
use crate::reading::files;
use crate::report::{Entry, Tally, html, json, sarif, text};
use crate::score::Score;
use crate::style::{self, Style};
use clap::{Args, ValueEnum, ValueHint};
use codespan_reporting::term::termcolor::Buffer;
use rayon::prelude::*;
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

/// Reads scores and reports what is wrong, where, why, and what to write instead
///
/// Exit code: 0 when nothing at or above the gate was found, 1 when something was, 2 when a file
/// or an option could not be used (the files that can be read are still reported).
#[derive(Debug, Args)]
pub(super) struct Proof {
    #[command(flatten)]
    scores: Scores,

    #[command(flatten)]
    class: class::Options,

    /// The form of the report: text for people, html for a page with the music engraved, json for
    /// one document, jsonl for one object a line, sarif for a SARIF 2.1.0 log, csv for a spreadsheet
    /// (of a class only)
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = Format::Text)]
    format: Format,

    /// The lowest level that makes the exit code 1; without this the house style's, else error
    #[arg(long, value_enum, value_name = "LEVEL")]
    gate: Option<Gate>,

    /// Findings recorded on this ledger do not count and are not shown; `chartproof ledger` writes it
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    ledger: Option<PathBuf>,

    /// Only findings that this revision of the git repository did not have: a commit, a branch, a
    /// tag. Files that were renamed since are followed
    #[arg(long, value_name = "REV")]
    since: Option<String>,

    /// Write the report to this file instead of the terminal; a file that is read as a score is
    /// never overwritten
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,

    /// Colour in the text report; auto is on a terminal only, and not when NO_COLOR is set
    #[arg(long, alias = "color", value_enum, value_name = "WHEN", default_value_t = Colour::Auto)]
    colour: Colour,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    Text,
    Json,
    Jsonl,
    Html,
    Sarif,
    Csv,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Gate {
    Error,
    Warning,
    Note,
    Never,
}

impl Gate {
    /// The same as a house style has it.
    const fn wanted(self) -> style::Gate {
        match self {
            Self::Error => style::Gate::At(Level::Error),
            Self::Warning => style::Gate::At(Level::Warning),
            Self::Note => style::Gate::At(Level::Note),
            Self::Never => style::Gate::Never,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Colour {
    Auto,
    Always,
    Never,
}

impl Colour {
    fn on(self, to_terminal: bool) -> bool {
        let refused = || {
            std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
                || std::env::var_os("TERM").is_some_and(|v| v == "dumb")
        };
        match self {
            Self::Always => true,
            Self::Never => false,
            Self::Auto => to_terminal && !refused(),
        }
    }
}

/// Why a report could not be made.
#[derive(Debug, thiserror::Error)]
enum ReportError {
    #[error("the report could not be put together: {0}")]
    Text(#[from] io::Error),
    #[error("the report could not be put together: {0}")]
    Json(#[from] serde_json::Error),
}

impl Proof {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        if self.class.is_on() && (self.ledger.is_some() || self.since.is_some()) {
            complain(
                "--class marks all of the homework: leave out --ledger and --since, or leave out --class",
            );
            return UNUSABLE;
        }
        if self.class.is_on() {
            return self.class.run(&mut class::Asked {
                scores: &mut self.scores,
                format: self.format,
                gate: self.gate.map(Gate::wanted),
                into: self.into.as_deref(),
            });
        }
        if self.format == Format::Csv {
            complain(
                "--format csv is for the homework of a class: add --class, or name text, html, json, jsonl or sarif",
            );
            return UNUSABLE;
        }
        let Ok(ledger) = self.ledger.as_deref().map(read_ledger).transpose() else {
            return UNUSABLE; // what is wrong with it has been said
        };
        let desk = self.scores.read();
        let style_unusable = desk.style_unusable;
        let nothing_listed = desk.nothing_listed;
        let styles: Vec<Arc<Style>> = desk.scores.iter().map(|l| Arc::clone(&l.style)).collect();
        let (mut entries, gates) = proofed(desk.scores, self.gate.map(Gate::wanted));
        if let Some(ledger) = &ledger {
            ledger.set_aside(&mut open(&mut entries));
        }
        if let Some(rev) = &self.since
            && let Err(error) =
                since::set_aside(rev, &mut entries, &styles, &self.scores.limited.limits())
        {
            complain(&error.to_string());
            return UNUSABLE;
        }
        let mut code = exit_code(&entries, &gates);
        if style_unusable {
            code = UNUSABLE;
        }
        if nothing_listed {
            code = CLEAN;
        } else if entries.is_empty() {
            if style_unusable {
                return UNUSABLE;
            }
            complain(
                "no score was found in what was given: expected MusicXML (.musicxml, .xml, .mxl) \
                 or passage grids (.passage); check the paths",
            );
            return UNUSABLE;
        }
        // The text report on the terminal shows unreadable files itself; elsewhere nobody may look.
        if self.format != Format::Text || self.into.is_some() {
            for error in entries.iter().filter_map(|e| e.outcome.as_ref().err()) {
                complain_of(error);
            }
        }
        let written = match self.report(&entries) {
            Ok(report) => self.deliver(&report, &entries),
            Err(error) => Err(error.to_string()),
        };
        if let Err(message) = written {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }

    fn report(&self, entries: &[Entry]) -> Result<Vec<u8>, ReportError> {
        Ok(match self.format {
            Format::Text => {
                let to_terminal = self.into.is_none() && io::stdout().is_terminal();
                let mut buffer = if self.colour.on(to_terminal) {
                    Buffer::ansi()
                } else {
                    Buffer::no_color()
                };
                text::render(entries, &mut buffer, text::Options::default())?;
                buffer.into_inner()
            }
            Format::Json => json::render(entries)?.into_bytes(),
            Format::Jsonl => json::lines(entries)?.into_bytes(),
            // Refused before anything was read.
            Format::Html | Format::Csv => html::render(entries).into_bytes(),
            Format::Sarif => sarif::render(entries, self.since.is_some())?.into_bytes(),
        })
    }

    fn deliver(&self, report: &[u8], entries: &[Entry]) -> Result<(), String> {
        match &self.into {
            Some(target) => {
                let mut inputs = inputs(&self.scores.paths, entries);
                inputs.extend(self.ledger.clone());
                write_out::write(target, report, &inputs).map_err(|e: WriteError| e.to_string())?;
                talk::sum_up(&format!("{}: {}", target.display(), text::sums(entries)));
                Ok(())
            }
            None => to_stdout(report),
        }
    }
}

/// The scores that were read, with what was found in them.
fn open(entries: &mut [Entry]) -> Vec<(&Score, &mut Proofed)> {
    let read = entries.iter_mut().filter_map(|e| e.outcome.as_mut().ok());
    read.map(|(score, proofed)| (&*score, proofed)).collect()
}

/// Proofs the scores side by side; the order stays that of the files. Each has the gate that holds
/// for it: the one asked for, else that of its style, else error.
pub(super) fn proofed(
    scores: Vec<Looked>,
    asked: Option<style::Gate>,
) -> (Vec<Entry>, Vec<style::Gate>) {
    let sets = files::sets_of_parts(
        scores
            .iter()
            .map(|l| (l.path.as_path(), l.score.as_ref().ok())),
    );
    let progress = Progress::new("proofing", Some(scores.len()));
    let (mut entries, gates): (Vec<Entry>, Vec<style::Gate>) = scores
        .into_par_iter()
        .map(|Looked { path, score, style }| {
            let start = Instant::now();
            let entry = Entry {
                path,
                outcome: score.map(|score| {
                    let proofed = proof(&score, &style);
                    (score, proofed)
                }),
            };
            progress.step();
            if let Ok((score, proofed)) = &entry.outcome
                && talk::is_verbose()
            {
                let took = start.elapsed();
                let detail = talk::detail(score, proofed, &style, took);
                say(&format!("{}: {detail}", entry.path.display()));
            }
            let gate = asked.or(style.gate);
            (entry, gate.unwrap_or(style::Gate::At(Level::Error)))
        })
        .unzip();
    for (first, count) in sets {
        if let Some(Ok((_, proofed))) = entries.get_mut(first).map(|e| &mut e.outcome) {
            proofed.remarks.push(format!(
                "{count} files look like parts of one score; read them together with --one-score"
            ));
        }
    }
    (entries, gates)
}

/// A file that cannot be used weighs more than any finding.
fn exit_code(entries: &[Entry], gates: &[style::Gate]) -> u8 {
    let stopped = |(entry, gate): (&Entry, &style::Gate)| {
        gate.stops(Tally::of(std::slice::from_ref(entry)).worst())
    };
    if entries.is_empty() || entries.iter().any(|e| e.outcome.is_err()) {
        UNUSABLE
    } else if entries.iter().zip(gates).any(stopped) {
        FOUND
    } else {
        CLEAN
    }
}

/// Every file that was named or read.
fn inputs(paths: &[PathBuf], entries: &[Entry]) -> Vec<PathBuf> {
    let mut all = paths.to_vec();
    for entry in entries {
        all.push(entry.path.clone());
        if let Ok((score, _)) = &entry.outcome {
            all.extend(score.sources.iter().map(|s| s.path.clone()));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::{Arguments, Command};
    use crate::report::sample;
    use clap::Parser;

    fn parse(arguments: &[&str]) -> Result<Proof, clap::Error> {
        let all = ["chartproof", "proof"].iter().chain(arguments);
        Arguments::try_parse_from(all).map(|a| {
            let Command::Proof(proof) = a.command else {
                panic!("another command")
            };
            proof
        })
    }

    #[test]
    fn options_are_read() {
        let proof = parse(&[
            "a.musicxml",
            "b",
            "--format",
            "json",
            "--technique",
            "Drop 2",
            "--gate",
            "never",
            "--one-score",
            "--color",
            "never",
        ])
        .unwrap();
        assert_eq!(proof.scores.paths.len(), 2);
        assert_eq!(proof.format, Format::Json);
        assert_eq!(proof.gate, Some(Gate::Never));
        assert!(proof.scores.one_score);
        assert_eq!(proof.colour, Colour::Never);
        let style = proof.scores.styles().of(&proof.scores.paths[0]).unwrap();
        assert_eq!(style.technique.as_deref(), Some("drop 2"));
    }

    #[test]
    fn wrong_options_are_refused_with_code_two() {
        for wrong in [
            &["a", "--technique", "dorp 2"][..],
            &["a", "--gate", "loud"],
            &["a", "--format", "yaml"],
            &["a", "--style", "no such style"],
            &[],
        ] {
            assert_eq!(parse(wrong).unwrap_err().exit_code(), 2, "{wrong:?}");
        }
    }

    #[test]
    fn the_gate_lets_lighter_findings_through() {
        use Level::{Error, Note, Warning};
        let stops = |gate: Gate, worst| gate.wanted().stops(worst);
        assert!(stops(Gate::Error, Some(Error)));
        assert!(!stops(Gate::Error, Some(Warning)));
        assert!(stops(Gate::Warning, Some(Error)));
        assert!(stops(Gate::Note, Some(Note)));
        assert!(!stops(Gate::Warning, Some(Note)));
        assert!(!stops(Gate::Note, None));
        assert!(!stops(Gate::Never, Some(Error)));
    }

    #[test]
    fn an_unreadable_file_weighs_more_than_findings() {
        let (error, never) = (Gate::Error.wanted(), Gate::Never.wanted());
        assert_eq!(exit_code(&[sample::entry()], &[error]), FOUND);
        assert_eq!(exit_code(&[sample::entry()], &[never]), CLEAN);
        let both = [sample::entry(), sample::unreadable()];
        assert_eq!(exit_code(&both, &[never, never]), UNUSABLE);
        assert_eq!(exit_code(&[], &[]), UNUSABLE);
    }

    #[test]
    fn colour_needs_a_terminal_unless_asked_for() {
        assert!(Colour::Always.on(false));
        assert!(!Colour::Never.on(true));
        assert!(!Colour::Auto.on(false));
    }
}
