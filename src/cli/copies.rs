//! Copies of files that were read: where they go, and what must never be written over.

use super::UNUSABLE;
use super::inputs::Inputs;
use super::output_folder::{OutputFolder, Staged, place_all};
use super::replacing::{Replaces, WriteError};
use super::scores::{ReadScore, ScoreOptions};
use super::write_out::{complain, complain_of};
use crate::editing::{Edited, Original};
use crate::file_text::Limits;
use crate::ground::disk;
use crate::ground::instrument::Catalogue;
use crate::ground::text::Edit;
use crate::proof::Heard;
use crate::score::{Score, Source};
use crate::style::Style;
use clap::Args;
use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

#[derive(Debug, Args)]
pub(super) struct CopyOptions {
    #[command(flatten)]
    pub(super) scores: ScoreOptions,

    /// The folder that the copies are written to; it is made when it is not there
    #[arg(long, value_name = "DIR")]
    pub(super) into: PathBuf,

    /// Replace files in that folder that are no scores, too. Without this only scores are replaced,
    /// such as the copies of an earlier run. Files that are read are never replaced
    #[arg(long)]
    replace: bool,
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
        self.scores.inputs.leave_out(&self.into);
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
    pub(super) fn copies(&self, doing: &'static str, styles: &[Arc<Style>]) -> Copies<'_> {
        let mut instruments: Vec<&'static Catalogue> = Vec::new();
        for style in styles {
            if !instruments
                .iter()
                .any(|i| std::ptr::eq(*i, style.instruments))
            {
                instruments.push(style.instruments);
            }
        }
        Copies {
            paths: &self.scores.paths,
            into: &self.into,
            doing,
            inputs: &self.scores.inputs,
            limits: self.scores.limits.limits(),
            instruments,
            replace: self.replace,
        }
    }
}

/// One file of a score with its copy.
pub(super) struct FileCopy<'a> {
    pub(super) source: u16,
    pub(super) from: &'a Source,
    /// The place of the copy, from the folder for the copies.
    pub(super) to: PathBuf,
}

/// Where copies go.
pub(super) struct Copies<'a> {
    /// The paths that the user named.
    paths: &'a [PathBuf],
    /// The folder for the copies.
    into: &'a Path,
    /// The command, for a message: `correct`.
    doing: &'static str,
    inputs: &'a Inputs,
    limits: Limits,
    /// Those of the house styles of the scores.
    instruments: Vec<&'static Catalogue>,
    /// Files that are no scores are replaced, too.
    replace: bool,
}

/// Why a copy was not made.
pub(super) enum CopyError {
    /// The score cannot be copied; others can.
    Score(String),
    /// The folder for the copies cannot take it: no copy of the run is written.
    Folder(WriteError),
}

/// Looks at a file that was read again.
pub(super) fn original(source: &Source) -> Result<Original, String> {
    let path = source.path.display();
    let (file, _) =
        disk::open(&source.path).map_err(|e| format!("{path} could not be read again: {e}"))?;
    Original::of(file, source).map_err(|e| format!("{path}: {e}"))
}

impl Copies<'_> {
    fn replaces(&self) -> Replaces<'_> {
        if self.replace {
            Replaces::AnyFile
        } else {
            Replaces::Scores {
                limits: self.limits,
                instruments: &self.instruments,
            }
        }
    }

    /// Opens the folder for the copies, when every copy has a place in it. Nothing is written
    /// before that is known.
    pub(super) fn folder(&self, scores: &[(PathBuf, Heard)]) -> Result<OutputFolder, String> {
        if let Some(message) = self.clash(scores) {
            return Err(message);
        }
        let refused = |error: WriteError| nothing_written(&error);
        if let Some(there) = OutputFolder::named(self.into).map_err(refused)? {
            let copies: Vec<FileCopy<'_>> = scores.iter().flat_map(|(_, s)| self.of(s)).collect();
            let places = copies.iter().map(|copy| &*copy.to);
            there
                .check(places, self.inputs, self.replaces())
                .map_err(refused)?;
            return Ok(there);
        }
        OutputFolder::made(self.into).map_err(refused)
    }

    /// Writes the copies of a score with the edits made, each beside its place.
    pub(super) fn stage<'f>(
        &self,
        folder: &'f OutputFolder,
        score: &Score,
        originals: impl IntoIterator<Item = Result<Original, String>>,
        edits: &[Edit],
    ) -> Result<Vec<Staged<'f>>, CopyError> {
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
        let made: Result<Vec<(PathBuf, Edited<'_>)>, String> = made.collect();
        let made = made.map_err(CopyError::Score)?.into_iter();
        made.map(|(to, new)| folder.stage(&to, new.pieces(), self.inputs))
            .collect::<Result<_, _>>()
            .map_err(CopyError::Folder)
    }

    /// Puts all copies of the run in their places, or none.
    pub(super) fn place(&self, staged: Vec<Staged<'_>>) -> Result<(), String> {
        place_all(staged, self.inputs, self.replaces()).map_err(|error| nothing_written(&error))
    }

    /// The place of the copy of a source in the folder for the copies: its place under the folder
    /// that was named, or its name.
    fn place_of(&self, source: &Path) -> PathBuf {
        let is_below = |rest: &&Path| {
            let mut steps = rest.components().peekable();
            steps.peek().is_some() && steps.all(|c| matches!(c, Component::Normal(_)))
        };
        let folders = self.paths.iter().filter(|p| p.is_dir());
        let below = folders
            .filter_map(|p| source.strip_prefix(p).ok())
            .find(is_below);
        let name = below.or_else(|| source.file_name().map(Path::new));
        name.unwrap_or(Path::new("")).to_owned()
    }

    fn of<'a>(&self, score: &'a Score) -> Vec<FileCopy<'a>> {
        score
            .sources
            .iter()
            .enumerate()
            .map(|(i, from)| FileCopy {
                source: i as u16,
                from,
                to: self.place_of(&from.path),
            })
            .collect()
    }

    /// Two files whose copies would have the same name.
    fn clash(&self, scores: &[(PathBuf, Heard)]) -> Option<String> {
        let mut seen: HashMap<PathBuf, &Path> = HashMap::new();
        for copy in scores.iter().flat_map(|(_, s)| self.of(s)) {
            let to = self.into.join(&copy.to);
            if let Some(other) = seen.insert(copy.to, &copy.from.path) {
                return Some(format!(
                    "{} and {} would both be written to {}: {} them in two runs, or name the \
                     folder that holds both",
                    other.display(),
                    copy.from.path.display(),
                    to.display(),
                    self.doing,
                ));
            }
        }
        None
    }
}

/// Why the folder for the copies has none of this run.
pub(super) fn nothing_written(error: &WriteError) -> String {
    format!("{error} (no copy was written)")
}
