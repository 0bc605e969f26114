//! `--since`: findings that a revision of the repository had as well are set aside.

use super::git::{FileAtRevision, GitError, Revision};
use crate::file_text::Limits;
use crate::finding::{Finding, Grounds, SetAside};
use crate::proof::fingerprint::{self, Known};
use crate::proof::{Heard, Proofed};
use crate::reading::files::read_bytes_by;
use crate::report::ProofedFile;
use crate::score::{self, Score};
use crate::style::Style;
use rayon::prelude::*;
use std::path::PathBuf;
use std::sync::Arc;

/// A file as it was.
struct OldFile {
    path: PathBuf,
    bytes: Vec<u8>,
}

/// What a score was at the revision.
enum ScoreAtRevision {
    /// The same.
    Same,
    /// These files, those that were there.
    Files(Vec<OldFile>),
}

/// Sets aside what the revision had, the scores of then read in the house style of today. `styles`
/// has one for each entry.
pub(super) fn set_aside(
    rev: &str,
    entries: &mut [ProofedFile],
    styles: &[Arc<Style>],
    limits: &Limits,
) -> Result<(), GitError> {
    let mut revision = Revision::new(rev);
    let mut before = Vec::with_capacity(entries.len());
    for entry in entries.iter() {
        before.push(match &entry.outcome {
            Ok((score, _)) => at_revision(&mut revision, score)?,
            Err(_) => ScoreAtRevision::Same, // has no findings
        });
    }
    entries
        .par_iter_mut()
        .zip(styles)
        .zip(before)
        .for_each(|((entry, style), before)| {
            if let Ok((score, proofed)) = &mut entry.outcome {
                compare(rev, score, proofed, (style, limits), before);
            }
        });
    Ok(())
}

fn at_revision(revision: &mut Revision, score: &Score) -> Result<ScoreAtRevision, GitError> {
    let mut files = Vec::new();
    let mut same = true;
    for source in &score.sources {
        let path = source.path.clone();
        match revision.of(&path)? {
            FileAtRevision::Absent => same = false,
            FileAtRevision::Same => {
                // Only needed when another file of the score has changed.
                let bytes = if score.sources.len() > 1 {
                    std::fs::read(&path).unwrap_or_default()
                } else {
                    Vec::new()
                };
                files.push(OldFile { path, bytes });
            }
            FileAtRevision::Other(bytes) => {
                same = false;
                files.push(OldFile { path, bytes });
            }
        }
    }
    Ok(if same {
        ScoreAtRevision::Same
    } else {
        ScoreAtRevision::Files(files)
    })
}

fn compare(
    rev: &str,
    score: &Score,
    proofed: &mut Proofed,
    (style, limits): (&Style, &Limits),
    before: ScoreAtRevision,
) {
    let old = match before {
        ScoreAtRevision::Same => None,
        ScoreAtRevision::Files(files) if files.is_empty() => return,
        ScoreAtRevision::Files(files) => match read(files, style, limits) {
            Ok(old) => Some(old),
            Err(why) => {
                proofed.remarks.push(format!(
                    "at revision {rev} this could not be read ({why}): every finding counts as new"
                ));
                return;
            }
        },
    };
    let mut order: Vec<usize> = (0..proofed.findings.len()).collect();
    order.sort_by_key(|&i| proofed.findings.get(i).map(|f| f.at));
    let known: Vec<bool> = match old {
        None => vec![true; order.len()],
        Some(old) => {
            let was = old.proofed(style);
            let mut all: Vec<&Finding> = was.findings.iter().collect();
            all.sort_by_key(|f| f.at);
            let mut known = Known::default();
            for print in fingerprint::prints(&old, &all) {
                known.add(print.about, Some(print.near), 0);
            }
            let now: Vec<&Finding> = order
                .iter()
                .filter_map(|&i| proofed.findings.get(i))
                .collect();
            let taken = known.take(&fingerprint::prints(score, &now));
            let mut by_index = vec![false; order.len()];
            for (&index, taken) in order.iter().zip(taken) {
                if let Some(slot) = by_index.get_mut(index) {
                    *slot = taken.is_some();
                }
            }
            by_index
        }
    };
    proofed.set_aside_where(|index, finding| {
        known
            .get(index)
            .copied()
            .unwrap_or(false)
            .then(|| SetAside {
                finding: finding.clone(),
                grounds: Grounds::Revision,
                reason: None,
                origin: rev.to_owned(),
            })
    });
}

/// The score as it was.
fn read(files: Vec<OldFile>, style: &Style, limits: &Limits) -> Result<Heard, String> {
    let mut scores = files
        .into_iter()
        .map(|f| read_bytes_by(&f.path, f.bytes, style.instruments, limits).map_err(|e| e.message))
        .collect::<Result<Vec<Score>, String>>()?;
    let score = match scores.pop() {
        Some(only) if scores.is_empty() => only,
        last => {
            scores.extend(last);
            score::merge(scores).map_err(|e| e.to_string())?
        }
    };
    Ok(Heard::new(score, style))
}
