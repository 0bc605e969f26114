//! The record of all that a run reads: no result lands on any of it.

use crate::house_style::HouseStyles;
use crate::reading::Outcome;
use crate::reading::files::Listed;
use cap_fs_ext::MetadataExt;
use std::collections::{HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A file as the system knows it, whatever its names are: hard links and letter case make no
/// difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Identity {
    device: u64,
    number: u64,
}

impl Identity {
    /// Of a file that was looked at through its folder.
    pub(super) fn of(facts: &cap_std::fs::Metadata) -> Self {
        Self {
            device: facts.dev(),
            number: facts.ino(),
        }
    }

    /// Of a file by its name, links followed. Nothing is opened: a pipe would wait.
    #[cfg(unix)]
    pub(super) fn of_path(path: &Path) -> Option<Self> {
        let facts = fs::metadata(path).ok()?;
        Some(Self {
            device: facts.dev(),
            number: facts.ino(),
        })
    }

    /// The same where a file has to be opened for it.
    #[cfg(not(unix))]
    pub(super) fn of_path(path: &Path) -> Option<Self> {
        let file = fs::File::open(path).ok()?;
        let facts = cap_std::fs::Metadata::from_file(&file).ok()?;
        Some(Self::of(&facts))
    }
}

/// The folder that a file is in, which may be the current one.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The true name of a folder that may not be there yet.
fn true_place(path: &Path) -> Option<PathBuf> {
    let mut above = std::path::absolute(path).ok()?;
    let mut below = Vec::new();
    loop {
        if let Ok(real) = fs::canonicalize(&above) {
            return Some(
                below
                    .iter()
                    .rev()
                    .fold(real, |place, name| place.join(name)),
            );
        }
        below.push(above.file_name()?.to_owned());
        above.pop();
    }
}

/// All that a run reads, reads from or was asked to read: scores, also those that were refused,
/// lists, ledgers, answer keys and house styles, and the folders that were walked.
#[derive(Debug, Default)]
pub(super) struct Inputs {
    files: HashSet<Identity>,
    /// True names, of files that are not there as well.
    names: HashSet<PathBuf>,
    /// True names of the folders that were walked.
    walked: Vec<PathBuf>,
    /// The true name of the folder for results, which a walk of a folder above it leaves out.
    left_out: Option<PathBuf>,
    /// True names of folders, each asked for once.
    folders: HashMap<PathBuf, Option<PathBuf>>,
}

impl Inputs {
    /// The folder for results. Walks of folders above it leave it out: what is in it are results of
    /// an earlier run.
    pub(super) fn leave_out(&mut self, results: &Path) {
        self.left_out = true_place(results);
    }

    /// The true name of the folder that walks leave out.
    pub(super) fn left_out(&self) -> Option<&Path> {
        self.left_out.as_deref()
    }

    /// Adds a file, or a folder that is walked.
    pub(super) fn add(&mut self, path: &Path) {
        self.files.extend(Identity::of_path(path));
        if path.is_dir() {
            self.walked.extend(fs::canonicalize(path));
            return;
        }
        if path.is_symlink() {
            self.names.extend(fs::canonicalize(path));
        }
        let (folder, Some(name)) = (folder_of(path), path.file_name()) else {
            return;
        };
        if !self.folders.contains_key(folder) {
            let real = fs::canonicalize(folder).ok();
            self.folders.insert(folder.to_owned(), real);
        }
        if let Some(Some(real)) = self.folders.get(folder) {
            self.names.insert(real.join(name));
        }
    }

    /// Adds what is to be read.
    pub(super) fn add_listed(&mut self, listed: &[Listed]) {
        for path in listed.iter().flat_map(Listed::paths) {
            self.add(path);
        }
    }

    /// Adds what was read, and what could not be.
    pub(super) fn add_outcomes(&mut self, outcomes: &[Outcome]) {
        for outcome in outcomes {
            match &outcome.score {
                Ok(score) => score.sources.iter().for_each(|s| self.add(&s.path)),
                // The folder of a set that could not be read is not walked.
                Err(error) if !error.path.is_dir() => self.add(&error.path),
                Err(_) => {}
            }
        }
    }

    /// Adds the files of all house styles that were looked at.
    pub(super) fn add_styles(&mut self, styles: &HouseStyles) {
        for path in styles.files() {
            self.add(&path);
        }
    }

    /// Whether a place is that of an input. `existing` is the file in that place.
    pub(super) fn hold(&self, true_name: &Path, existing: Option<Identity>) -> bool {
        self.names.contains(true_name) || existing.is_some_and(|file| self.files.contains(&file))
    }

    /// Whether a place lies in a folder that was walked, so that whatever is in it was walked over.
    pub(super) fn walked_over(&self, true_name: &Path) -> bool {
        let left_out = |walked: &PathBuf| {
            self.left_out.as_ref().is_some_and(|results| {
                results != walked && results.starts_with(walked) && true_name.starts_with(results)
            })
        };
        let mut walked = self.walked.iter().filter(|w| true_name.starts_with(w));
        walked.any(|w| !left_out(w))
    }

    /// Whether a walk leaves the folder for results out.
    pub(super) fn is_left_out(&self) -> bool {
        self.left_out.as_ref().is_some_and(|results| {
            let mut walked = self.walked.iter();
            walked.any(|w| w != results && results.starts_with(w))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_input_is_known_by_any_name() {
        let dir = tempfile::tempdir().unwrap();
        let real = fs::canonicalize(dir.path()).unwrap();
        let score = dir.path().join("a.musicxml");
        fs::write(&score, "x").unwrap();
        let hard = dir.path().join("hard.musicxml");
        fs::hard_link(&score, &hard).unwrap();
        let mut inputs = Inputs::default();
        inputs.add(&dir.path().join(".").join("a.musicxml"));
        inputs.add(&dir.path().join("not there"));
        assert!(inputs.hold(&real.join("a.musicxml"), None));
        assert!(inputs.hold(&real.join("not there"), None));
        assert!(inputs.hold(&real.join("other"), Identity::of_path(&hard)));
        assert!(!inputs.hold(&real.join("other"), None));
        assert!(!inputs.walked_over(&score));
    }

    #[test]
    fn the_folder_for_results_is_left_out_of_walks_from_above_alone() {
        let dir = tempfile::tempdir().unwrap();
        let real = fs::canonicalize(dir.path()).unwrap();
        let results = dir.path().join("results");
        fs::create_dir(&results).unwrap();
        let place = real.join("results/a.musicxml");
        let mut inputs = Inputs::default();
        inputs.leave_out(&results);
        inputs.add(dir.path());
        assert!(inputs.is_left_out() && !inputs.walked_over(&place));
        assert!(inputs.walked_over(&real.join("a.musicxml")));
        inputs.add(&results);
        assert!(inputs.walked_over(&place));
        let mut inputs = Inputs::default();
        inputs.leave_out(dir.path());
        inputs.add(&results);
        assert!(!inputs.is_left_out() && inputs.walked_over(&place));
    }
}
