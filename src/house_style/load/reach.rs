//! How far the paths in a house style may lead.

use crate::ground::disk;
use std::path::{Path, PathBuf};

/// Where the files may lie that a house style names, by their true names.
#[derive(Clone, Debug)]
pub(super) enum Reach {
    /// Anywhere: the user has named the style.
    Anywhere,
    /// In this folder or below it.
    Within(PathBuf),
}

impl Reach {
    /// That of a style which was found on the way up from a score, so that anybody may have written it: the
    /// repository that it stands in. Where there is none it is the widest of the folders that the user named
    /// (true names) in which it stands, else its own folder.
    pub(super) fn of_found(style: &Path, named: &[PathBuf]) -> Self {
        let folder = match style.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let folder = disk::true_name(folder).unwrap_or_else(|| folder.to_owned());
        let around = named.iter().filter(|named| folder.starts_with(named));
        let widest = around.min_by_key(|named| named.components().count());
        let reach = disk::repository_of(&folder).or(widest.map(PathBuf::as_path));
        Self::Within(reach.unwrap_or(&folder).to_owned())
    }

    /// The folder that it ends at; none when it is everything.
    pub(super) fn folder(&self) -> Option<&Path> {
        match self {
            Self::Anywhere => None,
            Self::Within(folder) => Some(folder),
        }
    }

    /// The folder that a path leads out of, when it does.
    pub(super) fn left_by(&self, path: &Path) -> Option<&Path> {
        let folder = self.folder()?;
        let within = disk::true_name(path).is_some_and(|path| path.starts_with(folder));
        (!within).then_some(folder)
    }
}
