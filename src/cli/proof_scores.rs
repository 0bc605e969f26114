//! Proofs scores side by side.

use super::scores::ReadScore;
use super::verbosity::{self, Progress};
use super::write_out::say;
use crate::analysis::why_found;
use crate::finding::Level;
use crate::reading::files;
use crate::report::ProofedFile;
use crate::report::analysis::place_text;
use crate::style;
use rayon::prelude::*;
use std::time::Instant;

/// Proofs the scores side by side; the order stays that of the files. Each has the gate that holds
/// for it: the one asked for, else that of its style, else error.
pub(super) fn proof_scores(
    scores: Vec<ReadScore>,
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
        .map(|ReadScore { path, score, style }| {
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
                && verbosity::is_verbose()
            {
                let took = start.elapsed();
                let detail = verbosity::detail(score, proofed, &style, took);
                let path = entry.path.display();
                say(&format!("{path}: {detail}"));
                for line in verbosity::players(score) {
                    say(&format!("{path}: {line}"));
                }
                for place in why_found(score.judged(), &style, &proofed.passages, &proofed.findings)
                {
                    let accounts = place_text(score, &place);
                    for line in accounts.lines() {
                        say(&format!("{path}: what was weighed: {line}"));
                    }
                }
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
