//! `chartproof proof`: reads and reports.

use super::class;
use super::columns;
use super::git::GitError;
use super::ledger::read_ledger;
use super::proof_scores::proof_scores;
use super::replacing::Replaces;
use super::report_format::{Format, ReportError, Reporter};
use super::scores::{InputProblems, ReadIn, ReadScores, ScoreOptions};
use super::since;
use super::verbosity::{self, Progress};
use super::write_out::{self, bytes_to_stdout, complain, complain_of};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::file_text::Limits;
use crate::finding::Level;
use crate::proof::Proofed;
use crate::proof::ledger::Ledger;
use crate::report::{ProofedFile, Sums, text};
use crate::score::{Score, SpokenPitch};
use crate::style::{self, Style};
use clap::{Args, ValueEnum, ValueHint};
use rayon::prelude::*;
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use std::sync::Arc;

/// Reads scores and reports what is wrong, where, why, and what to write instead
///
/// Exit code: 0 when nothing at or above the gate was found, 1 when something was, 2 when a file
/// or an option could not be used (the files that can be read are still reported).
#[derive(Debug, Args)]
pub(super) struct Proof {
    #[command(flatten)]
    scores: ScoreOptions,

    #[command(flatten)]
    class: class::Options,

    /// The form of the report: text for people, html for a page with the music engraved, json for
    /// one document, jsonl for one object a line, sarif for a SARIF 2.1.0 log, markdown for the page
    /// of a proposed change (at most 60 kB, the rest counted), csv for a spreadsheet (of a class only)
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = Format::Text)]
    format: Format,

    /// The pitch of notes in a text or html report: both is the one that stands in the file first and
    /// the other in brackets, written is what the players read, sounding is concert pitch. Chords as a
    /// whole are always at sounding pitch
    #[arg(long, value_enum, value_name = "PITCH", default_value_t = PitchChoice::Both)]
    pitch: PitchChoice,

    /// The lowest level that makes the exit code 1; without this the house style's, else error
    #[arg(long, value_enum, value_name = "LEVEL")]
    gate: Option<Gate>,

    /// Findings recorded on this ledger do not count and are not shown; `chartproof ledger` writes it
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    ledger: Option<PathBuf>,

    /// Only findings that this revision did not have: a commit, a branch or a tag of the git
    /// repository in which the run is started. Files that were renamed since are followed
    #[arg(long, value_name = "REV")]
    since: Option<String>,

    /// One line a finding in the text report: where, who and what, then level, rule and place in the file.
    /// On a terminal a sentence that is too long for its line loses its end
    #[arg(long)]
    short: bool,

    /// Write the report to this file instead of the terminal; a file that is read is never
    /// overwritten, nor is a score, a house style or a ledger
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,

    /// Colour in the text report; auto is on a terminal only, and not when NO_COLOR is set
    #[arg(long, alias = "color", value_enum, value_name = "WHEN", default_value_t = Colour::Auto)]
    colour: Colour,
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
enum PitchChoice {
    Both,
    Written,
    Sounding,
}

impl PitchChoice {
    /// The same as a score has it.
    const fn spoken(self) -> SpokenPitch {
        match self {
            Self::Both => SpokenPitch::Both,
            Self::Written => SpokenPitch::Written,
            Self::Sounding => SpokenPitch::Sounding,
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

/// How a run is done.
#[derive(Clone, Copy)]
struct ProofPlan {
    reporter: Reporter,
    /// The report is written file by file, and nothing but sums is kept. What is compared with the
    /// past needs all files at once.
    file_by_file: bool,
    /// The report goes to the standard output as it is made.
    at_once: bool,
    /// Unreadable files are named on the error output. The text report on the terminal shows them
    /// itself; elsewhere nobody may look.
    names_unreadable: bool,
    /// The gate on the command line.
    gate: Option<style::Gate>,
}

/// A run of the command, as far as it has come.
struct ProofRun {
    plan: ProofPlan,
    /// The files, as long as the report needs them.
    files: Vec<ProofedFile>,
    /// One for each file.
    gates: Vec<style::Gate>,
    /// One for each file.
    styles: Vec<Arc<Style>>,
    problems: InputProblems,
    progress: Option<Progress>,
    sums: Sums,
    /// The exit code that the files ask for.
    code: u8,
    /// The report, as far as it goes into a file.
    written: Vec<u8>,
    /// Why the report cannot be had.
    failed: Option<String>,
}

impl ProofRun {
    fn new(plan: ProofPlan) -> Self {
        Self {
            plan,
            files: Vec::new(),
            gates: Vec::new(),
            styles: Vec::new(),
            problems: InputProblems::default(),
            progress: None,
            sums: Sums::default(),
            code: CLEAN,
            written: Vec::new(),
            failed: None,
        }
    }

    /// Proofs a portion of the scores.
    fn proof(&mut self, read: ReadScores) {
        self.problems.add(read.problems);
        let styles: Vec<_> = read.scores.iter().map(|s| Arc::clone(&s.style)).collect();
        let progress = self
            .progress
            .take()
            .unwrap_or_else(|| Progress::new("proofing", Some(read.files)));
        let (files, gates) = proof_scores(read.scores, self.plan.gate, &progress);
        if self.plan.file_by_file {
            progress.aside(|| {
                self.count(&files, &gates);
                self.write(self.plan.reporter.pieces(&files));
            });
            if read.last {
                // The program ends: the system takes back all memory at once.
                std::mem::forget(files);
            } else {
                // Giving back the memory of hundreds of scores is work as well.
                files.into_par_iter().for_each(drop);
            }
        } else {
            self.files.extend(files);
            self.gates.extend(gates);
            self.styles.extend(styles);
        }
        self.progress = Some(progress);
    }

    /// Counts files in.
    fn count(&mut self, files: &[ProofedFile], gates: &[style::Gate]) {
        for (file, gate) in files.iter().zip(gates) {
            self.sums.add(file);
            self.code = self.code.max(exit_code(file, *gate));
            if let Err(error) = &file.outcome
                && self.plan.names_unreadable
            {
                complain_of(error);
            }
        }
    }

    /// Takes more of the report: to the standard output at once, or for the file.
    fn write(&mut self, more: Result<Vec<u8>, ReportError>) {
        if self.failed.is_some() {
            return;
        }
        self.failed = match more {
            Ok(more) if self.plan.at_once => bytes_to_stdout(&more).err(),
            // A report made at once may be large: it is not copied.
            Ok(more) if self.written.is_empty() => {
                self.written = more;
                None
            }
            Ok(more) => {
                self.written.extend(more);
                None
            }
            Err(error) => Some(error.to_string()),
        };
    }

    /// Sets aside findings that are on the ledger or that a revision had too.
    fn set_aside(
        &mut self,
        ledger: Option<&Ledger>,
        since: Option<&str>,
        limits: &Limits,
    ) -> Result<(), GitError> {
        if let Some(ledger) = ledger {
            ledger.set_aside(&mut open(&mut self.files));
        }
        match since {
            Some(rev) => since::set_aside(rev, &mut self.files, &self.styles, limits),
            None => Ok(()),
        }
    }

    /// Whether no file at all was given. An empty list is no mistake.
    fn found_nothing(&self) -> bool {
        self.sums.files + self.sums.unreadable == 0 && !self.problems.list_empty
    }

    /// The exit code, when the report can be had.
    fn code(&self) -> u8 {
        if self.problems.list_empty {
            CLEAN
        } else {
            self.code.max(self.problems.code())
        }
    }
}

impl Proof {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        if self.pitch != PitchChoice::Both && !matches!(self.format, Format::Text | Format::Html) {
            complain(
                "--pitch is for reports that people read: name --format text or html, or leave --pitch out",
            );
            return UNUSABLE;
        }
        if self.short && (self.format != Format::Text || self.class.is_on()) {
            complain(
                "--short is for the text report of findings: leave out --format and --class, or leave --short out",
            );
            return UNUSABLE;
        }
        self.scores.spoken = self.pitch.spoken();
        if self.class.is_on() {
            return self.run_class();
        }
        if self.format == Format::Csv {
            complain(
                "--format csv is for the homework of a class: add --class, or name text, html, json, jsonl, sarif or markdown",
            );
            return UNUSABLE;
        }
        let Ok(ledger) = self.ledger.as_deref().map(read_ledger).transpose() else {
            return UNUSABLE; // its mistakes are reported already
        };
        let plan = self.plan();
        let portions = if plan.file_by_file {
            ReadIn::Batches
        } else {
            ReadIn::All
        };
        if let Some(ledger) = &self.ledger {
            self.scores.inputs.add(ledger);
        }
        let mut run = ProofRun::new(plan);
        self.scores.read_in(portions, |read| run.proof(read));
        run.progress = None;
        let limits = self.scores.limits.limits();
        if let Err(error) = run.set_aside(ledger.as_ref(), self.since.as_deref(), &limits) {
            complain(&error.to_string());
            return UNUSABLE;
        }
        let files = std::mem::take(&mut run.files);
        let gates = std::mem::take(&mut run.gates);
        run.count(&files, &gates);
        if run.found_nothing() {
            if !run.problems.are_mistakes() {
                complain(
                    "no score was found in what was given: expected MusicXML (.musicxml, .xml, .mxl) \
                     or passage grids (.passage); check the paths",
                );
            }
            return UNUSABLE;
        }
        let rest = if plan.file_by_file {
            plan.reporter.end(run.sums.clone())
        } else {
            plan.reporter.whole(&files, self.since.is_some())
        };
        run.write(rest);
        let code = run.code();
        match self.deliver(run) {
            Ok(()) => code,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }

    /// Runs the command on the homework of a class; returns the exit code.
    fn run_class(mut self) -> u8 {
        if self.ledger.is_some() || self.since.is_some() {
            complain(
                "--class marks all of the homework: leave out --ledger and --since, or leave out --class",
            );
            return UNUSABLE;
        }
        self.class.run(&mut class::ClassRequest {
            scores: &mut self.scores,
            format: self.format,
            gate: self.gate.map(Gate::wanted),
            into: self.into.as_deref(),
        })
    }

    fn plan(&self) -> ProofPlan {
        let to_terminal = self.into.is_none() && io::stdout().is_terminal();
        ProofPlan {
            reporter: Reporter {
                format: self.format,
                colour: self.colour.on(to_terminal),
                layout: text::Options {
                    width: match self.into {
                        Some(_) => columns::of_file(),
                        None => columns::of_stdout(),
                    },
                    short: self.short,
                    cut: to_terminal,
                },
            },
            file_by_file: matches!(self.format, Format::Text | Format::Jsonl)
                && self.ledger.is_none()
                && self.since.is_none(),
            at_once: self.into.is_none(),
            names_unreadable: self.format != Format::Text || self.into.is_some(),
            gate: self.gate.map(Gate::wanted),
        }
    }

    /// Writes the report to the file that was named, when one was.
    fn deliver(&self, run: ProofRun) -> Result<(), String> {
        if let Some(message) = run.failed {
            return Err(message);
        }
        if let Some(target) = &self.into {
            write_out::write(target, &run.written, &self.scores.inputs, Replaces::Reports)
                .map_err(|e| e.to_string())?;
            let sums = text::in_one_line(&run.sums);
            verbosity::sum_up(&format!("{}: {sums}", target.display()));
        }
        Ok(())
    }
}

/// The scores that were read, with what was found in them.
fn open(entries: &mut [ProofedFile]) -> Vec<(&Score, &mut Proofed)> {
    let read = entries.iter_mut().filter_map(|e| e.outcome.as_mut().ok());
    read.map(|(score, proofed)| (&**score, proofed)).collect()
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
            let plan = parse(&["a"]).unwrap().plan();
            let mut run = ProofRun::new(ProofPlan {
                names_unreadable: false,
                ..plan
            });
            let gates = vec![gate.wanted(); entries.len()];
            run.count(entries, &gates);
            run.code
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
