//! `chartproof proof`: reads and reports.

use super::class;
use super::ledger::read_ledger;
use super::scores::{Looked, Portions, Scores};
use super::since;
use super::talk::{self, Progress};
use super::write_out::{self, WriteError, complain, complain_of, say, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::finding::Level;
use crate::proof::Proofed;
use crate::reading::files;
use crate::report::{ProofedFile, Sums, html, json, sarif, text};
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

/// Makes reports of one format.
#[derive(Clone, Copy)]
struct Reporter {
    format: Format,
    /// The text report is in colour.
    colour: bool,
}

impl Reporter {
    /// What reports of pieces say of each file, in order.
    fn pieces(self, entries: &[ProofedFile]) -> Result<Vec<u8>, ReportError> {
        let pieces: Result<Vec<Vec<u8>>, ReportError> = entries
            .par_iter()
            .map(|entry| match self.format {
                Format::Jsonl => Ok(json::lines_of_file(entry)?.into_bytes()),
                _ => self.text(|out| text::render_file(entry, out, text::Options::default())),
            })
            .collect();
        Ok(pieces?.concat())
    }

    /// How they end.
    fn end(self, sums: Sums) -> Result<Vec<u8>, ReportError> {
        match self.format {
            Format::Jsonl => Ok(json::last_line(sums)?.into_bytes()),
            _ => self.text(|out| text::render_sums(&sums, out)),
        }
    }

    /// The whole report; `since` when it is about what a revision did not have.
    fn whole(self, entries: &[ProofedFile], since: bool) -> Result<Vec<u8>, ReportError> {
        Ok(match self.format {
            Format::Text => {
                self.text(|out| text::render(entries, out, text::Options::default()))?
            }
            Format::Jsonl => json::lines(entries)?.into_bytes(),
            Format::Json => json::render(entries)?.into_bytes(),
            // Refused before anything was read.
            Format::Html | Format::Csv => html::render(entries).into_bytes(),
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

/// How far a run has come.
#[derive(Default)]
struct Course {
    /// The files, as long as the report needs them.
    entries: Vec<ProofedFile>,
    gates: Vec<style::Gate>,
    styles: Vec<Arc<Style>>,
    style_unusable: bool,
    nothing_listed: bool,
    sums: Sums,
    /// The exit code that the files ask for.
    code: u8,
    /// What must not be written over.
    inputs: Vec<PathBuf>,
    /// Pieces of a report that goes into a file.
    written: Vec<u8>,
    /// Why the report cannot be had.
    failed: Option<String>,
}

impl Course {
    /// Counts files in; says which could not be read where `aloud`.
    fn count(&mut self, entries: &[ProofedFile], gates: &[style::Gate], aloud: bool) {
        for (entry, gate) in entries.iter().zip(gates) {
            self.sums.add(entry);
            self.code = self.code.max(exit_code(entry, *gate));
            self.inputs.push(entry.path.clone());
            match &entry.outcome {
                Ok((score, _)) => {
                    let sources = score.sources.iter().map(|s| s.path.clone());
                    self.inputs.extend(sources);
                }
                Err(error) if aloud => complain_of(error),
                Err(_) => {}
            }
        }
    }

    /// Takes more of the report: to the standard output at once.
    fn write(&mut self, pieces: Result<Vec<u8>, ReportError>, at_once: bool) {
        if self.failed.is_some() {
            return;
        }
        self.failed = match pieces {
            Ok(pieces) if at_once => to_stdout(&pieces).err(),
            // A report made at once may be large: it is not copied.
            Ok(pieces) if self.written.is_empty() => {
                self.written = pieces;
                None
            }
            Ok(pieces) => {
                self.written.extend(pieces);
                None
            }
            Err(error) => Some(error.to_string()),
        };
    }
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
        // What is compared with the past needs all files at once. Else a report of pieces is written
        // batch by batch, and nothing but sums is kept.
        let piecewise = matches!(self.format, Format::Text | Format::Jsonl)
            && ledger.is_none()
            && self.since.is_none();
        let portions = if piecewise {
            Portions::Batches
        } else {
            Portions::All
        };
        // The text report on the terminal shows unreadable files itself; elsewhere nobody may look.
        let aloud = self.format != Format::Text || self.into.is_some();
        let asked = self.gate.map(Gate::wanted);
        let reporter = self.reporter();
        let at_once = self.into.is_none();
        let mut course = Course::default();
        let mut progress = None;
        self.scores.read_in(portions, |desk| {
            course.style_unusable |= desk.style_unusable;
            course.nothing_listed |= desk.nothing_listed;
            let styles: Vec<_> = desk.scores.iter().map(|l| Arc::clone(&l.style)).collect();
            let progress =
                progress.get_or_insert_with(|| Progress::new("proofing", Some(desk.files)));
            let (entries, gates) = proofed(desk.scores, asked, progress);
            if piecewise {
                progress.aside(|| {
                    course.count(&entries, &gates, aloud);
                    course.write(reporter.pieces(&entries), at_once);
                });
                if desk.last {
                    // The program ends: the system takes back all memory at once.
                    std::mem::forget(entries);
                } else {
                    // Giving back what hundreds of scores took is work as well.
                    entries.into_par_iter().for_each(drop);
                }
            } else {
                course.entries.extend(entries);
                course.gates.extend(gates);
                course.styles.extend(styles);
            }
        });
        drop(progress);
        if let Some(ledger) = &ledger {
            ledger.set_aside(&mut open(&mut course.entries));
        }
        if let Some(rev) = &self.since
            && let Err(error) = since::set_aside(
                rev,
                &mut course.entries,
                &course.styles,
                &self.scores.limited.limits(),
            )
        {
            complain(&error.to_string());
            return UNUSABLE;
        }
        let entries = std::mem::take(&mut course.entries);
        let gates = std::mem::take(&mut course.gates);
        course.count(&entries, &gates, aloud);
        let nothing = course.sums.files + course.sums.unreadable == 0;
        if nothing && !course.nothing_listed {
            if !course.style_unusable {
                complain(
                    "no score was found in what was given: expected MusicXML (.musicxml, .xml, .mxl) \
                     or passage grids (.passage); check the paths",
                );
            }
            return UNUSABLE;
        }
        let mut code = match course {
            Course {
                nothing_listed: true,
                ..
            } => CLEAN,
            Course {
                style_unusable: true,
                ..
            } => UNUSABLE,
            Course { code, .. } => code,
        };
        let rest = if piecewise {
            reporter.end(course.sums.clone())
        } else {
            reporter.whole(&entries, self.since.is_some())
        };
        course.write(rest, at_once);
        if let Err(message) = self.deliver(course) {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }

    fn reporter(&self) -> Reporter {
        let to_terminal = self.into.is_none() && io::stdout().is_terminal();
        Reporter {
            format: self.format,
            colour: self.colour.on(to_terminal),
        }
    }

    /// Writes the report to the file that was named, when one was.
    fn deliver(&self, course: Course) -> Result<(), String> {
        if let Some(message) = course.failed {
            return Err(message);
        }
        if let Some(target) = &self.into {
            let mut inputs = course.inputs;
            inputs.extend_from_slice(&self.scores.paths);
            inputs.extend(self.ledger.clone());
            write_out::write(target, &course.written, &inputs)
                .map_err(|e: WriteError| e.to_string())?;
            let sums = text::in_one_line(&course.sums);
            talk::sum_up(&format!("{}: {sums}", target.display()));
        }
        Ok(())
    }
}

/// The scores that were read, with what was found in them.
fn open(entries: &mut [ProofedFile]) -> Vec<(&Score, &mut Proofed)> {
    let read = entries.iter_mut().filter_map(|e| e.outcome.as_mut().ok());
    read.map(|(score, proofed)| (&**score, proofed)).collect()
}

/// Proofs the scores side by side; the order stays that of the files. Each has the gate that holds
/// for it: the one asked for, else that of its style, else error.
pub(super) fn proofed(
    scores: Vec<Looked>,
    asked: Option<style::Gate>,
    progress: &Progress,
) -> (Vec<ProofedFile>, Vec<style::Gate>) {
    let sets = files::sets_of_parts(
        scores
            .iter()
            .map(|l| (l.path.as_path(), l.score.as_deref().ok())),
    );
    let (mut entries, gates): (Vec<ProofedFile>, Vec<style::Gate>) = scores
        .into_par_iter()
        .map(|Looked { path, score, style }| {
            let start = Instant::now();
            let mut entry = ProofedFile {
                path,
                outcome: score.map(|score| {
                    let proofed = score.proofed(&style);
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
            // No report asks for passages, and many scores may wait for theirs.
            if let Ok((_, proofed)) = &mut entry.outcome {
                proofed.passages = Vec::new();
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
fn exit_code(entry: &ProofedFile, gate: style::Gate) -> u8 {
    match &entry.outcome {
        Err(_) => UNUSABLE,
        Ok(_) if gate.stops(Sums::of([entry]).tally.worst()) => FOUND,
        Ok(_) => CLEAN,
    }
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
        let code = |entries: &[ProofedFile], gate: Gate| {
            let mut course = Course::default();
            let gates = vec![gate.wanted(); entries.len()];
            course.count(entries, &gates, false);
            course.code
        };
        assert_eq!(code(&[sample::entry()], Gate::Error), FOUND);
        assert_eq!(code(&[sample::entry()], Gate::Never), CLEAN);
        let both = [sample::unreadable(), sample::entry()];
        assert_eq!(code(&both, Gate::Error), UNUSABLE);
        assert_eq!(code(&both, Gate::Never), UNUSABLE);
    }

    #[test]
    fn colour_needs_a_terminal_unless_asked_for() {
        assert!(Colour::Always.on(false));
        assert!(!Colour::Never.on(true));
        assert!(!Colour::Auto.on(false));
    }
}
