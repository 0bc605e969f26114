//! `chartproof ledger`: records today's findings, so that only new ones count.

use super::proof_scores::proof_scores;
use super::replacing::{Replaces, WriteError};
use super::scores::ScoreOptions;
use super::verbosity::Progress;
use super::write_out::{self, complain, complain_in_full, complain_of, shown, to_stdout};
use super::{CLEAN, UNUSABLE};
use crate::ground::disk::{self, FileError};
use crate::proof::Proofed;
use crate::proof::ledger::{self, FILE_NAME, RecordSums};
use crate::score::Score;
use clap::{Args, ValueHint};
use std::fs;
use std::path::{Path, PathBuf};

/// Records the findings of today, so that with `proof --ledger` only new ones count
///
/// The ledger is a text file to be kept with the scores. Run again, it is brought up to date: what
/// has been mended leaves it, what is new comes onto it, files that were not looked at keep what they
/// have. Findings are known again when bars are added or renumbered, parts change places, the
/// score is transposed or its file renamed. No score is ever written to.
///
/// Exit code: 0, or 2 when a file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Ledger {
    #[command(flatten)]
    scores: ScoreOptions,

    /// The ledger to write. Without this the nearest chartproof.ledger on the way up from the
    /// current folder, or a new one in it
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    ledger: Option<PathBuf>,
}

impl Ledger {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        let path = self.ledger.clone().unwrap_or_else(nearest);
        // Before it is read: no line of the file that a link leads to is shown.
        if path.is_symlink() && (!path.exists() || disk::open(&path).is_ok()) {
            complain(&WriteError::Link(path).to_string());
            return UNUSABLE;
        }
        let mut ledger = if path.exists() {
            match read_ledger(&path) {
                Ok(ledger) => ledger,
                Err(()) => return UNUSABLE,
            }
        } else {
            ledger::Ledger::new(&path)
        };
        let read = self.scores.read();
        let mut code = read.problems.code();
        let list_empty = read.problems.list_empty;
        let progress = Progress::new("proofing", Some(read.scores.len()));
        let (entries, _) = proof_scores(read.scores, None, &progress);
        drop(progress);
        for error in entries.iter().filter_map(|e| e.outcome.as_ref().err()) {
            complain_of(error);
            code = UNUSABLE;
        }
        let read = entries.iter().filter_map(|e| e.outcome.as_ref().ok());
        let scores: Vec<(&Score, &Proofed)> = read.map(|(s, p)| (&**s, p)).collect();
        if scores.is_empty() {
            // The reasons are reported already; nothing was proofed, and nothing is recorded.
            return if list_empty { CLEAN } else { UNUSABLE };
        }
        let before = path.exists().then(|| ledger.print());
        let sums = ledger.record(&scores);
        let text = ledger.print();
        if before.as_deref() != Some(&text)
            && let Err(error) = write_out::write(
                &path,
                text.as_bytes(),
                &self.scores.inputs,
                Replaces::Ledger,
            )
        {
            complain(&error.to_string());
            return UNUSABLE;
        }
        if let Err(message) = to_stdout(&sentence(&path, sums)) {
            complain(&message);
            return UNUSABLE;
        }
        code
    }
}

/// The nearest ledger on the way up from the current folder; none: one in it.
fn nearest() -> PathBuf {
    let here = PathBuf::from(FILE_NAME);
    if here.exists() {
        return here;
    }
    let above = fs::canonicalize(".").ok().and_then(|folder| {
        let mut ups = folder.ancestors().skip(1).map(|f| f.join(FILE_NAME));
        ups.find(|f| f.exists() && !f.is_dir())
    });
    above.unwrap_or(here)
}

fn sentence(path: &Path, sums: RecordSums) -> String {
    let findings = match sums.recorded {
        1 => "1 finding".to_owned(),
        n => format!("{n} findings"),
    };
    format!(
        "{}: {findings} recorded ({} new, {} gone)\n",
        shown(path),
        sums.new,
        sums.gone
    )
}

/// The largest ledger that is read, in bytes: some 60,000 findings. Reading takes up to thirty times as much memory.
const LARGEST: u64 = 16 << 20;

/// Reads a ledger; what is wrong with it has been said when there is none.
pub(super) fn read_ledger(path: &Path) -> Result<ledger::Ledger, ()> {
    let name = path.display();
    let bytes = disk::read(path, LARGEST).map_err(|error| {
        complain(&match error {
            FileError::Missing => format!(
                "there is no ledger {name}: `chartproof ledger PATH... --ledger {name}` makes one"
            ),
            _ if path.is_dir() => format!(
                "{name} is a folder: expected a ledger, such as {}",
                path.join(FILE_NAME).display()
            ),
            error => format!("the ledger {name} could not be read: {error}"),
        });
    })?;
    let Ok(text) = String::from_utf8(bytes) else {
        complain(&format!("{name} is not a ledger: it is not text in UTF-8"));
        return Err(());
    };
    ledger::Ledger::read(path, &text).map_err(|error| complain_in_full(&error))
}
