//! `chartproof correct`: writes copies with the verified fixes applied, nothing else changed.

use super::copies::{self, Copies, CopyError, CopyOptions, ScoresToCopy, nothing_written};
use super::output_folder::{OutputFolder, Staged};
use super::verbosity::Progress;
use super::write_out::{complain, shown, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::correct::{Correction, correct};
use crate::editing::ScoreEdits;
use crate::finding::Level;
use crate::proof::Heard;
use crate::report::table;
use crate::score::Score;
use crate::style::Style;
use clap::Args;
use rayon::prelude::*;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Writes copies of scores with every verified fix applied and nothing else changed
///
/// A fix is verified when the finding goes and no new error or warning comes. The copies keep every other byte of
/// the files; what was changed is listed at written pitch. No file that is read is ever written to.
///
/// Exit code: 0 when no error is left, 1 when errors are left that a person has to mend, 2 when a
/// file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Correct {
    #[command(flatten)]
    options: CopyOptions,
}

/// What was changed in a score, or why it cannot be copied.
type Corrected = Result<Correction, String>;

impl Correct {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        let ScoresToCopy {
            scores,
            styles,
            mut code,
        } = self.options.read(|_, _| None);
        if scores.is_empty() {
            return code; // the reasons are reported already
        }
        let done = match self.write_copies(&scores, &styles) {
            Ok(done) => done,
            Err(message) => {
                complain(&message);
                return UNUSABLE;
            }
        };
        let mut report = String::new();
        let (mut notes, mut marks, mut left, mut errors, mut files) = (0, 0, 0, 0, 0);
        for ((path, score), corrected) in scores.iter().zip(&done) {
            let correction = match corrected {
                Ok(correction) => correction,
                Err(message) => {
                    complain(message);
                    code = UNUSABLE;
                    continue;
                }
            };
            files += score.sources.len();
            notes += correction.done.len();
            marks += correction.marked.len();
            left += correction.left.findings.len();
            errors += correction
                .left
                .findings
                .iter()
                .filter(|f| f.level == Level::Error)
                .count();
            list_changes(&mut report, path, score, correction);
            list_marks(&mut report, path, score, correction);
        }
        if files == 0 {
            return code; // the reason is reported already
        }
        let _ = writeln!(
            report,
            "{} changed{}; {} written to {}; {} left{}",
            counted(notes, "note"),
            if marks > 0 {
                format!(", marks added for {}", counted(marks, "finding"))
            } else {
                String::new()
            },
            counted(files, "file"),
            shown(&self.options.into),
            counted(left, "finding"),
            if left > 0 {
                ": proof the copies to see what a person has to decide"
            } else {
                ""
            }
        );
        if let Err(message) = to_stdout(&report) {
            complain(&message);
            return UNUSABLE;
        }
        match code {
            CLEAN if errors > 0 => FOUND,
            _ => code,
        }
    }

    /// Corrects the scores and writes their copies, all or none. There is one answer for each score.
    fn write_copies(
        &self,
        scores: &[(PathBuf, Heard)],
        styles: &[Arc<Style>],
    ) -> Result<Vec<Corrected>, String> {
        let copies = self.options.copies("correct", styles);
        let folder = copies.folder(scores)?;
        let progress = Progress::new("correcting", Some(scores.len()));
        let results: Vec<(Correction, Result<Vec<Staged<'_>>, CopyError>)> = scores
            .par_iter()
            .zip(styles)
            .map(|((_, score), style)| {
                let correction = correct(score, style);
                let staged = stage(&copies, &folder, score, &correction);
                progress.step();
                (correction, staged)
            })
            .collect();
        drop(progress);
        let mut staged = Vec::new();
        let mut done = Vec::with_capacity(results.len());
        for (correction, result) in results {
            done.push(match result {
                Ok(own) => {
                    staged.extend(own);
                    Ok(correction)
                }
                Err(CopyError::Score(message)) => Err(message),
                Err(CopyError::Folder(error)) => return Err(nothing_written(&error)),
            });
        }
        copies.place(staged)?;
        Ok(done)
    }
}

/// Writes the corrected copies of a score beside their places.
fn stage<'f>(
    copies: &Copies<'_>,
    folder: &'f OutputFolder,
    score: &Score,
    correction: &Correction,
) -> Result<Vec<Staged<'f>>, CopyError> {
    let edits = ScoreEdits::new(score).with_marks(&correction.changes, &correction.additions);
    let edits = edits.map_err(|e| CopyError::Score(e.to_string()))?;
    let originals = score.sources.iter().map(copies::original);
    copies.stage(folder, score, originals, &edits)
}

/// Adds the changes of a score, one a line, at the pitch that its file has.
fn list_changes(report: &mut String, path: &Path, score: &Score, correction: &Correction) {
    if correction.done.is_empty() {
        return;
    }
    let typed_sounding = correction
        .done
        .iter()
        .all(|d| score.speaks_sounding(d.part));
    let rows: Vec<[String; 6]> = correction
        .done
        .iter()
        .map(|d| {
            let (from, to) = if typed_sounding {
                d.sounding
            } else {
                (d.from, d.to)
            };
            [
                score
                    .parts
                    .get(d.part as usize)
                    .map(|p| p.name.clone())
                    .unwrap_or_default(),
                score.bar_number(d.at.bar),
                score.beat_at(d.at).to_string(),
                from.to_string(),
                to.to_string(),
                d.rule.to_owned(),
            ]
        })
        .collect();
    let word = if typed_sounding {
        "sounding"
    } else {
        "written"
    };
    let _ = writeln!(report, "{} ({word} pitch)", shown(path));
    for line in table::lines(["part", "bar", "beat", "from", "to", "rule"], &rows) {
        let _ = writeln!(report, "  {line}");
    }
    let _ = writeln!(report);
}

/// Adds the marks that a score got, one finding a line.
fn list_marks(report: &mut String, path: &Path, score: &Score, correction: &Correction) {
    if correction.marked.is_empty() {
        return;
    }
    let rows: Vec<[String; 4]> = correction
        .marked
        .iter()
        .map(|m| {
            [
                score.bar_number(m.at.bar),
                score.beat_at(m.at).to_string(),
                m.what.clone(),
                m.rule.to_owned(),
            ]
        })
        .collect();
    let _ = writeln!(report, "{} (marks)", shown(path));
    for line in table::lines(["bar", "beat", "added", "rule"], &rows) {
        let _ = writeln!(report, "  {line}");
    }
    let _ = writeln!(report);
}

fn counted(n: usize, word: &str) -> String {
    match n {
        1 => format!("1 {word}"),
        _ => format!("{n} {word}s"),
    }
}
