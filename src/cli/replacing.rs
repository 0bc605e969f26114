//! Which files a result may take the place of, and why one was not written.

use crate::file_text::{Limits, container};
use crate::ground::instrument::Catalogue;
use crate::reading::files::{self, Kind};
use bytes::Bytes;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The files that a result may take the place of, when they are no inputs.
#[derive(Clone, Copy, Debug)]
pub(super) enum Replaces<'a> {
    /// Only scores: those of an earlier run.
    Scores {
        /// How much of one is read, where its first bytes do not tell.
        limits: Limits,
        /// The instruments that its parts may be, those of one house style after another.
        instruments: &'a [&'static Catalogue],
    },
    /// Any file: the user said `--replace`.
    AnyFile,
    /// Any file that is not called as a score, a house style or a ledger is.
    Reports,
    /// The ledger, which was read as one.
    Ledger,
}

impl Replaces<'_> {
    /// Whether whatever lies in a folder that was walked stays. A report and a ledger usually lie
    /// beside the scores, and their names keep them from replacing one.
    pub(super) const fn takes_no_neighbour(self) -> bool {
        matches!(self, Self::Scores { .. } | Self::AnyFile)
    }

    /// Whether a result may have this name, whether or not there is such a file: a report that is
    /// called as a house style is would be read as one by the next run.
    pub(super) fn allows_name(self, name: &Path) -> bool {
        let ending = name.extension().unwrap_or_default();
        let is = |kept: &str| ending.eq_ignore_ascii_case(kept);
        match self {
            Self::Reports => !files::may_be_score(name) && !is("toml") && !is("ledger"),
            Self::Ledger => !files::may_be_score(name) && !is("toml"),
            Self::Scores { .. } | Self::AnyFile => true,
        }
    }

    /// Whether a file may be replaced; `read` gives its first bytes, as many as it is asked for.
    pub(super) fn allows(self, name: &Path, read: impl Fn(u64) -> Option<Vec<u8>>) -> bool {
        match self {
            Self::AnyFile | Self::Ledger | Self::Reports => true,
            Self::Scores {
                limits,
                instruments,
            } => match read(files::HEAD).and_then(|head| files::kind(name, &head)) {
                Some(Kind::MusicXml) => true,
                Some(Kind::Container) => {
                    read(limits.file).is_some_and(|bytes| container::names_a_score(&bytes, &limits))
                }
                // A grid is known only by reading it.
                Some(Kind::Text) => read(limits.file).is_some_and(|bytes| {
                    let bytes = Bytes::from(bytes);
                    let reads = |i| files::read_bytes_by(name, bytes.clone(), i, &limits).is_ok();
                    instruments.iter().copied().any(reads)
                }),
                None => false,
            },
        }
    }
}

/// Why a result was not written to a file.
#[derive(Debug, thiserror::Error)]
pub(super) enum WriteError {
    /// The target is one of the files that were read.
    #[error("{} is one of the files that are read: name another file or folder for the result", .0.display())]
    IsInput(PathBuf),
    /// The target is a link.
    #[error("{} is a link{}: nothing is written through a link; name the file itself, or remove the link", .0.display(), leads_to(.0))]
    Link(PathBuf),
    /// A folder on the way is a link.
    #[error("{} is a link{}: nothing is written through a link; name the folder itself, or remove the link", .0.display(), leads_to(.0))]
    LinkedFolder(PathBuf),
    /// A folder was expected.
    #[error("{} is not a folder: name a folder for the results", .0.display())]
    NotAFolder(PathBuf),
    /// The target is a folder, a device or a pipe.
    #[error("{} is not an ordinary file: name a file for the result", .0.display())]
    NotAFile(PathBuf),
    /// The target is a file of another kind.
    #[error("{} is there already and is not a score, so that it is no earlier result: name another place, or give --replace to replace it", .0.display())]
    NoScore(PathBuf),
    /// The target of a report or a ledger is called as something else is.
    #[error("{} is called as a score, a house style or a ledger is: name another file for the result", .0.display())]
    OtherName(PathBuf),
    /// Two results would be one file.
    #[error("{} is another result of this run: the names differ only in letter case, or are one file; name another folder for one of them", .0.display())]
    Twice(PathBuf),
    /// A folder could not be made.
    #[error("{} could not be made: {error}", .path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
    /// The system refused.
    #[error("{} could not be written: {error}; check that its folder exists and may be written to", .path.display())]
    Io {
        /// The target.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
}

impl WriteError {
    pub(super) fn io(path: &Path, error: io::Error) -> Self {
        Self::Io {
            path: path.to_owned(),
            error,
        }
    }
}

/// The place that a link leads to, in brackets.
fn leads_to(link: &Path) -> String {
    fs::read_link(link).map_or_else(|_| String::new(), |to| format!(" to {}", to.display()))
}
