//! Copies of files that were read: where they go, and what must never be written over.

use super::UNUSABLE;
use super::scores::{ReadScore, ScoreOptions};
use super::write_out::{self, complain, complain_of};
use crate::editing::{Edited, Original};
use crate::ground::text::Edit;
use crate::proof::Heard;
use crate::score::{Score, Source};
use crate::style::Style;
use clap::Args;
use std::collections::HashMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::Arc;

#[derive(Debug, Args)]
pub(super) struct CopyOptions {
    #[command(flatten)]
    pub(super) scores: ScoreOptions,

    /// The folder that the copies are written to; it is made when it is not there
    #[arg(long, value_name = "DIR")]
    pub(super) into: PathBuf,
}

/// The scores of which copies are to be written.
pub(super) struct ScoresToCopy {
    pub(super) scores: Vec<(PathBuf, Heard)>,
    /// One for each score.
    pub(super) styles: Vec<Arc<Style>>,
    /// The exit code that the other scores ask for.
    pub(super) code: u8,
}

impl CopyOptions {
    /// Reads the scores. Those that cannot be read are reported, and so are those that `refused` has
    /// a reason against.
    pub(super) fn read(
        &mut self,
        refused: impl Fn(&Path, &Score) -> Option<String>,
    ) -> ScoresToCopy {
        let read = self.scores.read();
        let mut to_copy = ScoresToCopy {
            scores: Vec::new(),
            styles: Vec::new(),
            code: read.problems.code(),
        };
        for ReadScore { path, score, style } in read.scores {
            match score {
                Ok(score) => {
                    if let Some(reason) = refused(&path, &score) {
                        complain(&reason);
                        to_copy.code = UNUSABLE;
                    } else {
                        to_copy.scores.push((path, score));
                        to_copy.styles.push(style);
                    }
                }
                Err(error) => {
                    complain_of(&error);
                    to_copy.code = UNUSABLE;
                }
            }
        }
        to_copy
    }

    /// Where the copies go; `doing` is the command, for a message.
    pub(super) fn copies(&self, doing: &'static str) -> Copies<'_> {
        Copies {
            paths: &self.scores.paths,
            into: &self.into,
            doing,
        }
    }
}

/// One file of a score with its copy.
pub(super) struct FileCopy<'a> {
    pub(super) source: u16,
    pub(super) from: &'a Source,
    pub(super) to: PathBuf,
}

/// Where copies go.
pub(super) struct Copies<'a> {
    /// The paths that the user named.
    pub(super) paths: &'a [PathBuf],
    /// The folder for the copies.
    pub(super) into: &'a Path,
    /// The command, for a message: `correct`.
    pub(super) doing: &'static str,
}

/// Looks at a file that was read again.
pub(super) fn original(source: &Source) -> Result<Original, String> {
    let path = source.path.display();
    let file =
        File::open(&source.path).map_err(|e| format!("{path} could not be read again: {e}"))?;
    Original::of(file, source).map_err(|e| format!("{path}: {e}"))
}

impl Copies<'_> {
    /// Writes the copies of a score with the edits made: all of them or none.
    pub(super) fn write(
        &self,
        score: &Score,
        originals: impl IntoIterator<Item = Result<Original, String>>,
        edits: &[Edit],
        inputs: &[PathBuf],
    ) -> Result<(), String> {
        // Every copy is made before the first is written.
        let made = self.of(score).into_iter().zip(originals);
        let made = made.map(|(copy, original)| {
            let own: Vec<&Edit> = edits.iter().filter(|e| e.source == copy.source).collect();
            let new = original?.edited(copy.from, &own);
            Ok((
                copy.to,
                new.map_err(|e| format!("{}: {e}", copy.from.path.display()))?,
            ))
        });
        let made: Vec<(PathBuf, Edited<'_>)> = made.collect::<Result<_, String>>()?;
        for (to, new) in made {
            if let Some(folder) = to.parent() {
                fs::create_dir_all(folder)
                    .map_err(|e| format!("{} could not be made: {e}", folder.display()))?;
            }
            write_out::write_pieces(&to, new.pieces(), inputs).map_err(|e| e.to_string())?;
        }
        Ok(())
    }

    /// Where the copy of a source goes: its place under the folder that was named, or its name.
    fn target(&self, source: &Path) -> PathBuf {
        let below = self
            .paths
            .iter()
            .filter(|p| p.is_dir())
            .filter_map(|p| source.strip_prefix(p).ok())
            .find(|rest| !rest.as_os_str().is_empty());
        let name = below.map_or_else(
            || source.file_name().map(PathBuf::from),
            |rest| Some(rest.to_owned()),
        );
        self.into.join(name.unwrap_or_default())
    }

    pub(super) fn of<'a>(&self, score: &'a Score) -> Vec<FileCopy<'a>> {
        score
            .sources
            .iter()
            .enumerate()
            .map(|(i, from)| FileCopy {
                source: i as u16,
                from,
                to: self.target(&from.path),
            })
            .collect()
    }

    /// Two files whose copies would have the same name.
    pub(super) fn clash(&self, scores: &[(PathBuf, Heard)]) -> Option<String> {
        let mut seen: HashMap<PathBuf, &Path> = HashMap::new();
        for copy in scores.iter().flat_map(|(_, s)| self.of(s)) {
            if let Some(other) = seen.insert(copy.to.clone(), &copy.from.path) {
                return Some(format!(
                    "{} and {} would both be written to {}: {} them in two runs, or name the \
                     folder that holds both",
                    other.display(),
                    copy.from.path.display(),
                    copy.to.display(),
                    self.doing,
                ));
            }
        }
        None
    }

    /// The files that must not be written over.
    pub(super) fn inputs(&self, scores: &[(PathBuf, Heard)]) -> Vec<PathBuf> {
        let mut all: Vec<PathBuf> = self.paths.iter().filter(|p| !p.is_dir()).cloned().collect();
        all.extend(
            scores
                .iter()
                .flat_map(|(_, s)| s.sources.iter().map(|x| x.path.clone())),
        );
        all
    }
}
