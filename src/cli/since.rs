//! `--since`: findings that a revision of the repository had as well are set aside.

use super::git::{FileAtRevision, GitError, Revision};
use crate::file_text::Limits;
use crate::file_text::limits::raise;
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
    /// Nothing that can be compared with, and why.
    Unusable(String),
}

/// So many bytes of old files are in memory together, if one is not larger.
const AT_ONCE: usize = 64 << 20;

/// Sets aside what the revision had, the scores of then read in the house style of today. `styles`
/// has one for each entry.
pub(super) fn set_aside(
    rev: &str,
    entries: &mut [ProofedFile],
    styles: &[Arc<Style>],
    limits: &Limits,
) -> Result<(), GitError> {
    let files: Vec<PathBuf> = entries.iter().flat_map(sources).collect();
    if files.is_empty() {
        return Ok(()); // there are no findings
    }
    let mut revision = Revision::open(rev, limits)?;
    let mut at_revision = revision.find(&files)?.into_iter();
    let mut todo = entries.iter_mut().zip(styles).peekable();
    while todo.peek().is_some() {
        let mut batch = Vec::new();
        let mut bytes = 0;
        while let Some((entry, style)) = todo.next_if(|_| bytes < AT_ONCE) {
            let files = sources(entry);
            let was = at_revision.by_ref().take(files.len());
            let before = before(&mut revision, files.into_iter().zip(was).collect(), limits)?;
            if let ScoreAtRevision::Files(files) = &before {
                bytes += files.iter().map(|file| file.bytes.len()).sum::<usize>();
            }
            batch.push((entry, style, before));
        }
        batch.into_par_iter().for_each(|(entry, style, before)| {
            if let Ok((score, proofed)) = &mut entry.outcome {
                compare(rev, score, proofed, (style, limits), before);
            }
        });
    }
    Ok(())
}

/// The files that a score was read from.
fn sources(entry: &ProofedFile) -> Vec<PathBuf> {
    let score = entry.outcome.as_ref().ok();
    let sources = score
        .into_iter()
        .flat_map(|(score, _)| score.sources.iter());
    sources.map(|source| source.path.clone()).collect()
}

/// What a score of these files was.
fn before(
    revision: &mut Revision,
    files: Vec<(PathBuf, FileAtRevision)>,
    limits: &Limits,
) -> Result<ScoreAtRevision, GitError> {
    let is_same = |(_, was): &(_, FileAtRevision)| matches!(was, FileAtRevision::Same(_));
    if files.iter().all(is_same) {
        return Ok(ScoreAtRevision::Same);
    }
    let is_new = |(_, was): &(_, FileAtRevision)| *was == FileAtRevision::Absent;
    let inner = || files.iter().find_map(|(path, _)| revision.within(path));
    if files.iter().all(is_new)
        && let Some(inner) = inner()
    {
        return Ok(ScoreAtRevision::Unusable(format!(
            "it lies in {}, a repository of its own: start the run there",
            inner.display()
        )));
    }
    let mut old = Vec::new();
    for (path, was) in files {
        if let FileAtRevision::NotFetched(name) = was {
            return Ok(ScoreAtRevision::Unusable(format!(
                "this clone lacks the old {name}: `git show REVISION:{name}` fetches it"
            )));
        }
        let (FileAtRevision::Same(blob) | FileAtRevision::Other(blob)) = was else {
            continue;
        };
        if blob.size > limits.file {
            return Ok(ScoreAtRevision::Unusable(format!(
                "{} had {} bytes; at most {} are read; {}",
                path.display(),
                blob.size,
                limits.file,
                raise("file")
            )));
        }
        let bytes = revision.read(&blob)?;
        old.push(OldFile { path, bytes });
    }
    Ok(ScoreAtRevision::Files(old))
}

fn compare(
    rev: &str,
    score: &Score,
    proofed: &mut Proofed,
    (style, limits): (&Style, &Limits),
    before: ScoreAtRevision,
) {
    let old = match before {
        ScoreAtRevision::Same => Ok(None),
        ScoreAtRevision::Files(files) if files.is_empty() => return,
        ScoreAtRevision::Files(files) => read(files, style, limits).map(Some),
        ScoreAtRevision::Unusable(why) => Err(why),
    };
    let old = match old {
        Ok(old) => old,
        Err(why) => {
            proofed.remarks.push(format!(
                "at revision {rev} this could not be read ({why}): every finding counts as new"
            ));
            return;
        }
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
