//! What a git repository had at a revision, asked of the installed `git`. Nothing is ever written to
//! the repository.

use super::scores::path_of;
use std::collections::{HashMap, HashSet};
use std::ffi::OsStr;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Why a revision cannot be compared with.
#[derive(Debug, thiserror::Error)]
pub(super) enum GitError {
    /// There is no git program.
    #[error(
        "--since needs the program `git`, which could not be started ({0}): install git, or leave --since out"
    )]
    NoGit(io::Error),
    /// The file is in no repository.
    #[error("{} is in no git repository: --since compares with a revision of the repository that a score is in", .0.display())]
    NoRepository(PathBuf),
    /// There is no such revision.
    #[error("the git repository {} has no revision `{rev}`: name a commit, a branch or a tag that it has (a shallow clone may lack it)", .root.display())]
    NoRevision {
        /// The repository.
        root: PathBuf,
        /// What was asked for.
        rev: String,
    },
    /// git failed otherwise.
    #[error("git failed in {}: {why}", .root.display())]
    Failed {
        /// The repository.
        root: PathBuf,
        /// What git said.
        why: String,
    },
}

/// A file at a revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum FileAtRevision {
    /// It was not there.
    Absent,
    /// It was there with the same bytes.
    Same,
    /// It was there with these bytes.
    Other(Vec<u8>),
}

/// The working tree of a repository and what a revision of it had.
struct Repository {
    root: PathBuf,
    commit: String,
    /// The files of the revision, from the root.
    files: HashSet<Vec<u8>>,
    /// Files that are not what they were: the name at the revision by the name now, when there is one.
    changed: HashMap<Vec<u8>, Option<Vec<u8>>>,
    /// Files of the revision that are gone, and not known to be renamed.
    gone: Vec<Vec<u8>>,
}

/// One revision of all the repositories that scores are in.
pub(super) struct Revision {
    rev: String,
    /// By the folder of a score.
    roots: HashMap<PathBuf, PathBuf>,
    repositories: HashMap<PathBuf, Repository>,
}

impl Revision {
    pub(super) fn new(rev: &str) -> Self {
        Self {
            rev: rev.to_owned(),
            roots: HashMap::new(),
            repositories: HashMap::new(),
        }
    }

    /// What the revision had for a file of the working tree.
    pub(super) fn of(&mut self, file: &Path) -> Result<FileAtRevision, GitError> {
        let real = fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
        let folder = real.parent().unwrap_or(Path::new("/")).to_owned();
        let root = if let Some(root) = self.roots.get(&folder) {
            root.clone()
        } else {
            let root = root_of(&folder, file)?;
            self.roots.insert(folder, root.clone());
            root
        };
        if !self.repositories.contains_key(&root) {
            let opened = Repository::open(&root, &self.rev)?;
            self.repositories.insert(root.clone(), opened);
        }
        match (self.repositories.get(&root), real.strip_prefix(&root)) {
            (Some(repository), Ok(below)) => repository.then(&real, &name_of(below)),
            _ => Err(GitError::NoRepository(file.to_owned())),
        }
    }
}

impl Repository {
    fn open(root: &Path, rev: &str) -> Result<Self, GitError> {
        let commit = format!("{rev}^{{commit}}");
        let found = ask(
            root,
            &[
                "rev-parse",
                "--verify",
                "--quiet",
                "--end-of-options",
                &commit,
            ],
        )?;
        if !found.status.success() {
            return Err(GitError::NoRevision {
                root: root.to_owned(),
                rev: rev.to_owned(),
            });
        }
        let commit = String::from_utf8_lossy(&found.stdout).trim().to_owned();
        let files = answer(root, &["ls-tree", "-r", "-z", "--name-only", &commit])?;
        // What a user's own settings say of diffs must not change the answer.
        let diff = answer(
            root,
            &[
                "-c",
                "diff.renameLimit=0",
                "diff",
                "--name-status",
                "-z",
                "--find-renames",
                "--no-ext-diff",
                "--no-textconv",
                "--no-color",
                "--no-relative",
                "--ignore-submodules=all",
                &commit,
                "--",
            ],
        )?;
        let mut repository = Self {
            root: root.to_owned(),
            commit,
            files: files.split(|b| *b == 0).map(<[u8]>::to_vec).collect(),
            changed: HashMap::new(),
            gone: Vec::new(),
        };
        let mut words = diff.split(|b| *b == 0);
        while let Some(status) = words.next() {
            match status.first() {
                Some(b'R' | b'C') => {
                    if let (Some(old), Some(new)) = (words.next(), words.next()) {
                        repository.changed.insert(new.to_vec(), Some(old.to_vec()));
                    }
                }
                Some(b'A') => {
                    if let Some(new) = words.next() {
                        repository.changed.insert(new.to_vec(), None);
                    }
                }
                Some(b'D') => repository.gone.extend(words.next().map(<[u8]>::to_vec)),
                Some(_) => {
                    if let Some(name) = words.next() {
                        repository
                            .changed
                            .insert(name.to_vec(), Some(name.to_vec()));
                    }
                }
                None => {}
            }
        }
        Ok(repository)
    }

    fn then(&self, file: &Path, name: &[u8]) -> Result<FileAtRevision, GitError> {
        match self.changed.get(name) {
            Some(Some(old)) => return Ok(FileAtRevision::Other(self.bytes(old)?)),
            None if self.files.contains(name) && !self.gone.iter().any(|g| g == name) => {
                return Ok(FileAtRevision::Same);
            }
            Some(None) | None => {}
        }
        self.renamed(file, name)
    }

    /// A file that git does not know yet may have been renamed all the same: to another folder, or
    /// with the same bytes.
    fn renamed(&self, file: &Path, name: &[u8]) -> Result<FileAtRevision, GitError> {
        if self.gone.iter().any(|g| g == name) {
            return Ok(FileAtRevision::Other(self.bytes(name)?));
        }
        let last = |name: &[u8]| name.rsplit(|b| *b == b'/').next().map(<[u8]>::to_vec);
        let ending = |name: &[u8]| name.rsplit(|b| *b == b'.').next().map(<[u8]>::to_vec);
        let mut alike: Vec<&Vec<u8>> = self.gone.iter().filter(|g| last(g) == last(name)).collect();
        if let (Some(only), true) = (alike.pop(), alike.is_empty()) {
            return Ok(FileAtRevision::Other(self.bytes(only)?));
        }
        let now = fs::read(file).ok();
        for old in self.gone.iter().filter(|g| ending(g) == ending(name)) {
            if now.as_deref() == Some(&self.bytes(old)?) {
                return Ok(FileAtRevision::Same);
            }
        }
        Ok(FileAtRevision::Absent)
    }

    /// A file of the revision.
    fn bytes(&self, name: &[u8]) -> Result<Vec<u8>, GitError> {
        let mut object = format!("{}:", self.commit).into_bytes();
        object.extend_from_slice(name);
        let Some(object) = path_of(&object) else {
            return Err(self.failed(format!(
                "{} is not a name in UTF-8",
                String::from_utf8_lossy(name)
            )));
        };
        let mut command = git(&self.root);
        command.arg("cat-file").arg("blob").arg(object);
        let output = command.output().map_err(GitError::NoGit)?;
        if output.status.success() {
            Ok(output.stdout)
        } else {
            Err(self.failed(said(&output)))
        }
    }

    fn failed(&self, why: String) -> GitError {
        GitError::Failed {
            root: self.root.clone(),
            why,
        }
    }
}

/// The top folder of the working tree that a folder is in.
fn root_of(folder: &Path, file: &Path) -> Result<PathBuf, GitError> {
    let output = ask(folder, &["rev-parse", "--show-toplevel"])?;
    let mut name = output.stdout.as_slice();
    while let [rest @ .., b'\n' | b'\r'] = name {
        name = rest;
    }
    if !output.status.success() || name.is_empty() {
        let why = said(&output);
        // Git refuses to look into a folder of another owner: it says itself what to do.
        return Err(if why.contains("dubious ownership") {
            GitError::Failed {
                root: folder.to_owned(),
                why,
            }
        } else {
            GitError::NoRepository(file.to_owned())
        });
    }
    let root = path_of(name).unwrap_or_default();
    Ok(fs::canonicalize(&root).unwrap_or(root))
}

/// A path below the root as git names it.
#[cfg(unix)]
fn name_of(below: &Path) -> Vec<u8> {
    use std::os::unix::ffi::OsStrExt;
    below.as_os_str().as_bytes().to_vec()
}

#[cfg(not(unix))]
fn name_of(below: &Path) -> Vec<u8> {
    let steps: Vec<_> = below.iter().map(OsStr::to_string_lossy).collect();
    steps.join("/").into_bytes()
}

fn git(folder: &Path) -> Command {
    let mut command = Command::new("git");
    command
        .arg("-C")
        .arg(folder)
        // Looking must not refresh the index.
        .env("GIT_OPTIONAL_LOCKS", "0")
        .env("LC_ALL", "C")
        .stdin(Stdio::null());
    command
}

fn ask<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Result<Output, GitError> {
    let output = git(folder).args(arguments).output();
    output.map_err(GitError::NoGit)
}

fn answer(root: &Path, arguments: &[&str]) -> Result<Vec<u8>, GitError> {
    let output = ask(root, arguments)?;
    if output.status.success() {
        Ok(output.stdout)
    } else {
        Err(GitError::Failed {
            root: root.to_owned(),
            why: said(&output),
        })
    }
}

/// What git said of a failure, on one line.
fn said(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stderr);
    let lines: Vec<&str> = text
        .lines()
        .map(str::trim)
        .filter(|l| !l.is_empty())
        .collect();
    if lines.is_empty() {
        output.status.to_string()
    } else {
        lines.join("; ")
    }
}
