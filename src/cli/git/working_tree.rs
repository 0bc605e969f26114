//! The working tree of the repository in which the run was started.

use super::GitError;
use crate::ground::disk;
use std::collections::HashMap;
use std::env;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// The top folder of a working tree.
pub(super) struct WorkingTree {
    /// As the system names it to a program that is started there.
    pub(super) folder: PathBuf,
    /// The same without links.
    real: PathBuf,
    /// The repository that the environment names, as git's hooks have it.
    pub(super) git_dir: Option<PathBuf>,
}

impl WorkingTree {
    /// The working tree around the current folder: the nearest folder that holds a repository named
    /// `.git`. A folder that itself looks like a repository is not one, whoever committed it.
    pub(super) fn around_here() -> Result<Self, GitError> {
        let here = env::current_dir().map_err(|_| GitError::NoFolder)?;
        let found = top_above(&here);
        let Some(named) = env::var_os("GIT_DIR").filter(|dir| !dir.is_empty()) else {
            return match found {
                Some(top) => Ok(Self::new(top, None)),
                None => Err(GitError::NoRepository(here)),
            };
        };
        // A hook names the repository it runs in. It may have put a working tree of its own together.
        let named = here.join(named);
        let own = |top: &PathBuf| is_same(&top.join(".git"), &named);
        Ok(match found.filter(own) {
            Some(top) if env::var_os("GIT_WORK_TREE").is_none() => Self::new(top, Some(named)),
            _ => {
                let top = env::var_os("GIT_WORK_TREE").filter(|top| !top.is_empty());
                Self::new(
                    top.map_or_else(|| here.clone(), |top| here.join(top)),
                    Some(named),
                )
            }
        })
    }

    fn new(folder: PathBuf, git_dir: Option<PathBuf>) -> Self {
        Self {
            real: fs::canonicalize(&folder).unwrap_or_else(|_| folder.clone()),
            folder,
            git_dir,
        }
    }

    /// A file of the working tree without links, and its name below the top as git has it.
    pub(super) fn locate(&self, file: &Path) -> Result<(PathBuf, Vec<u8>), GitError> {
        let real = fs::canonicalize(file).or_else(|_| std::path::absolute(file));
        let real = real.unwrap_or_else(|_| file.to_owned());
        match real.strip_prefix(&self.real) {
            Ok(below) => {
                let name = name_of(below);
                Ok((real, name))
            }
            Err(_) => Err(GitError::Outside {
                file: file.to_owned(),
                root: self.folder.clone(),
            }),
        }
    }
}

impl WorkingTree {
    /// The folder below the top that holds a repository of its own around a file.
    pub(super) fn within(&self, file: &Path) -> Option<PathBuf> {
        let (real, _) = self.locate(file).ok()?;
        let below = real.ancestors().skip(1).take_while(|up| **up != self.real);
        let own = |up: &&Path| disk::exists(&up.join(".git"));
        below.into_iter().find(own).map(Path::to_owned)
    }
}

/// Which files of a revision are still in the working tree.
pub(super) struct StillThere<'a> {
    tree: &'a WorkingTree,
    /// By the folder below the top: whether it is one, and not a link to elsewhere.
    folders: HashMap<PathBuf, bool>,
}

impl<'a> StillThere<'a> {
    pub(super) fn new(tree: &'a WorkingTree) -> Self {
        Self {
            tree,
            folders: HashMap::new(),
        }
    }

    /// Whether a file of this name is there. Names come from the repository and may be anything; one
    /// that leads out of the tree counts as there, so that nobody looks for it.
    pub(super) fn has(&mut self, name: &Path) -> bool {
        if !name.components().all(|c| matches!(c, Component::Normal(_))) {
            return true;
        }
        let Some(folder) = name.parent() else {
            return true;
        };
        let real = if let Some(known) = self.folders.get(folder) {
            *known
        } else {
            let full = self.tree.real.join(folder);
            let is_real = fs::canonicalize(&full).is_ok_and(|real| real == full);
            self.folders.insert(folder.to_owned(), is_real);
            is_real
        };
        real && fs::symlink_metadata(self.tree.real.join(name)).is_ok_and(|about| about.is_file())
    }
}

/// The nearest folder, this or one above, that holds a repository named `.git`.
fn top_above(here: &Path) -> Option<PathBuf> {
    let ceilings = env::var_os("GIT_CEILING_DIRECTORIES").unwrap_or_default();
    let ceilings: Vec<PathBuf> = env::split_paths(&ceilings)
        .filter(|folder| folder.is_absolute())
        .map(|folder| fs::canonicalize(&folder).unwrap_or(folder))
        .collect();
    for folder in here.ancestors() {
        let is_ceiling = ceilings.iter().any(|ceiling| ceiling == folder);
        if is_ceiling && folder != here {
            return None;
        }
        if is_repository(&folder.join(".git")) {
            return Some(folder.to_owned());
        }
    }
    None
}

/// Whether git takes this for a repository: a folder with certain things in it, or a file that names
/// one.
fn is_repository(place: &Path) -> bool {
    let Ok(about) = fs::metadata(place) else {
        return false;
    };
    let has = |name: &str| fs::symlink_metadata(place.join(name)).is_ok();
    about.is_file() || (about.is_dir() && has("HEAD") && has("objects") && has("refs"))
}

/// Whether `.git` of a working tree is the repository of this name, or a file that names it.
fn is_same(place: &Path, named: &Path) -> bool {
    let real = |path: &Path| fs::canonicalize(path).ok();
    if real(place).is_some() && real(place) == real(named) {
        return true;
    }
    let Ok(text) = disk::read(place, 1 << 16) else {
        return false;
    };
    let text = String::from_utf8_lossy(&text);
    let target = text.strip_prefix("gitdir:").map(str::trim);
    target.is_some_and(|target| {
        let target = place.parent().unwrap_or(place).join(target);
        real(&target).is_some() && real(&target) == real(named)
    })
}

/// A path below the top as git names it.
#[cfg(unix)]
fn name_of(below: &Path) -> Vec<u8> {
    use std::os::unix::ffi::OsStrExt;
    below.as_os_str().as_bytes().to_vec()
}

#[cfg(not(unix))]
fn name_of(below: &Path) -> Vec<u8> {
    let steps: Vec<_> = below.iter().map(|step| step.to_string_lossy()).collect();
    steps.join("/").into_bytes()
}
