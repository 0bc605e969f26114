//! What the git repository in which the run was started had at a revision.
//!
//! The installed `git` is asked, and about objects only: the commit, its list of files, the bytes of
//! some of them. This program compares them with the working tree itself, so that no filter, hook,
//! monitor or conversion of the repository is run, and neither index nor anything else of it is
//! written. A git in pure Rust (gix, with revisions, trees and blobs alone) would bring 61 crates
//! beside our 110 and read the same settings; git itself costs a handful of processes a run.

mod program;
mod renames;
mod working_tree;

use super::scores::path_of;
use crate::file_text::Limits;
use crate::ground::disk;
use crate::reading::files::may_be_score;
use program::{Program, Running};
use renames::{Gone, New, Origin};
use std::collections::{BTreeMap, HashMap};
use std::io::{self, BufRead, Read};
use std::path::{Path, PathBuf};
use working_tree::{StillThere, WorkingTree};

/// Why a revision cannot be compared with.
#[derive(Debug, thiserror::Error)]
pub(super) enum GitError {
    /// There is no git program.
    #[error(
        "--since needs the program `git`, which is in no folder of PATH (relative ones do not count): install git, or leave --since out"
    )]
    NoGit,
    /// The current folder is gone.
    #[error(
        "--since compares with the git repository around the current folder, which does not exist any more: start the run in another folder"
    )]
    NoFolder,
    /// The current folder is in no repository.
    #[error("{} is in no git repository: --since compares with the repository in which the run is started; start it in that of the scores", .0.display())]
    NoRepository(PathBuf),
    /// A score is in none, or in another one.
    #[error("{} is outside of {}, the git repository in which the run was started: start the run in the repository of this score", file.display(), root.display())]
    Outside {
        /// The score.
        file: PathBuf,
        /// The top folder of the repository.
        root: PathBuf,
    },
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

/// Bytes of the list of a revision's files, at most: two million files or so. A few small objects can
/// list more files than any disk holds.
const MAX_LIST: u64 = 256 << 20;

/// So many files that are gone are looked at for one that was renamed.
const MAX_GONE: usize = 20_000;

/// Objects that are asked for their size before the answers are read: both fit into a pipe.
const AT_A_TIME: usize = 256;

/// The bytes of a file at a revision, where git has them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Blob {
    /// The name of the object, in hexadecimal figures.
    id: String,
    /// How many bytes it has.
    pub(super) size: u64,
}

/// A file at a revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum FileAtRevision {
    /// It was not there.
    Absent,
    /// It was there, but this clone does not have its bytes. The name is that below the top.
    NotFetched(String),
    /// It was there with the same bytes.
    Same(Blob),
    /// It was there with these bytes.
    Other(Blob),
}

/// One revision of the repository in which the run was started.
pub(super) struct Revision {
    git: Program,
    /// The full name of the commit.
    commit: String,
    /// git, asked for sizes and asked for bytes, once it was needed.
    sizes: Option<Running>,
    bytes: Option<Running>,
    /// Bytes of a file that is read, at most.
    most: u64,
}

/// The files of a revision that matter.
#[derive(Default)]
struct Listed {
    /// Those under the name of a file that is asked for: the object of each.
    same_name: HashMap<Vec<u8>, String>,
    /// Scores that are not in the working tree any more: name and object.
    gone: Vec<(Vec<u8>, String)>,
}

impl Revision {
    /// Finds the revision.
    pub(super) fn open(rev: &str, limits: &Limits) -> Result<Self, GitError> {
        let git = Program::find(WorkingTree::around_here()?)?;
        let commit = format!("{rev}^{{commit}}");
        let mut running = git.start(&[
            "rev-parse",
            "--verify",
            "--quiet",
            "--end-of-options",
            &commit,
        ])?;
        let mut name = String::new();
        let read = running.output().take(200).read_to_string(&mut name);
        let name = name.trim();
        if read.is_ok() && is_id(name) {
            return Ok(Self {
                git,
                commit: name.to_owned(),
                sizes: None,
                bytes: None,
                most: limits.file,
            });
        }
        let failed = read.err().map(|error| error.to_string());
        let why = running.complaint(failed.as_deref().unwrap_or_default());
        // Where there is no such revision, git fails quietly.
        Err(if failed.is_some() || why.contains("fatal:") {
            git.failed(why)
        } else {
            GitError::NoRevision {
                root: git.tree().folder.clone(),
                rev: rev.to_owned(),
            }
        })
    }

    /// What the revision had for files of the working tree, one answer for each.
    pub(super) fn find(&mut self, files: &[PathBuf]) -> Result<Vec<FileAtRevision>, GitError> {
        let mut names = Vec::with_capacity(files.len());
        let mut wanted = BTreeMap::new();
        for file in files {
            let (real, name) = self.git.tree().locate(file)?;
            wanted.insert(name.clone(), real);
            names.push(name);
        }
        let listed = self.list(&wanted)?;
        let mut found: HashMap<&[u8], FileAtRevision> = HashMap::new();
        let mut new = Vec::new();
        let ids: Vec<&str> = listed.same_name.values().map(String::as_str).collect();
        let sizes = self.sizes(&ids)?;
        for (name, path) in &wanted {
            let Some(id) = listed.same_name.get(name) else {
                let size = path.metadata().map_or(0, |about| about.len());
                new.push(New { name, path, size });
                continue;
            };
            let Some(size) = sizes.get(id) else {
                let name_then = String::from_utf8_lossy(name).into_owned();
                found.insert(name, FileAtRevision::NotFetched(name_then));
                continue;
            };
            let blob = Blob {
                id: id.clone(),
                size: *size,
            };
            let same = self.has_the_bytes_of(&blob, path)?;
            found.insert(
                name,
                if same {
                    FileAtRevision::Same(blob)
                } else {
                    FileAtRevision::Other(blob)
                },
            );
        }
        if !new.is_empty() && !listed.gone.is_empty() {
            let renamed = self.renamed(&new, listed.gone)?;
            for (file, was) in new.iter().zip(renamed) {
                found.insert(file.name, was);
            }
        }
        let answers = names.iter().map(|name| found.get(name.as_slice()).cloned());
        Ok(answers
            .map(|was| was.unwrap_or(FileAtRevision::Absent))
            .collect())
    }

    /// The repository of its own that a file lies in, within the one that is asked.
    pub(super) fn within(&self, file: &Path) -> Option<PathBuf> {
        self.git.tree().within(file)
    }

    /// The bytes of a file.
    pub(super) fn read(&mut self, blob: &Blob) -> Result<Vec<u8>, GitError> {
        let mut git = match self.bytes.take() {
            Some(running) => running,
            None => self.git.start(&["cat-file", "--batch"])?,
        };
        match read(&mut git, blob) {
            Ok(bytes) => {
                self.bytes = Some(git);
                Ok(bytes)
            }
            Err(error) => Err(self.git.failed(git.complaint(&error.to_string()))),
        }
    }

    /// Whether a file of the working tree has the same bytes.
    fn has_the_bytes_of(&mut self, blob: &Blob, path: &Path) -> Result<bool, GitError> {
        let alike = |about: std::fs::Metadata| about.len() == blob.size && blob.size <= self.most;
        if !path.metadata().is_ok_and(alike) {
            return Ok(false);
        }
        let then = self.read(blob)?;
        Ok(disk::read(path, self.most).is_ok_and(|now| now == then))
    }

    /// The files of the revision: ordinary ones alone, neither links nor repositories within.
    fn list(&self, wanted: &BTreeMap<Vec<u8>, PathBuf>) -> Result<Listed, GitError> {
        let arguments = ["ls-tree", "-r", "-z", "--full-tree", &self.commit];
        let mut git = self.git.start(&arguments)?;
        let mut listed = Listed::default();
        let mut there = StillThere::new(self.git.tree());
        let mut output = git.output().take(MAX_LIST);
        let mut record = Vec::new();
        loop {
            record.clear();
            if let Err(error) = output.read_until(0, &mut record) {
                return Err(self.git.failed(git.complaint(&error.to_string())));
            }
            if record.pop() != Some(0) {
                break; // the end
            }
            let Some((name, id)) = ordinary_file(&record) else {
                continue;
            };
            if wanted.contains_key(name) {
                listed.same_name.insert(name.to_vec(), id.to_owned());
                continue;
            }
            let Some(path) = path_of(name).filter(|path| may_be_score(path)) else {
                continue;
            };
            if listed.gone.len() < MAX_GONE && !there.has(&path) {
                listed.gone.push((name.to_vec(), id.to_owned()));
            }
        }
        if output.limit() == 0 {
            return Err(self.git.failed(format!(
                "the list of the revision's files is longer than {MAX_LIST} bytes"
            )));
        }
        git.end().map_err(|why| self.git.failed(why))?;
        Ok(listed)
    }

    /// The sizes of objects; one that the repository lacks has none.
    fn sizes(&mut self, ids: &[&str]) -> Result<HashMap<String, u64>, GitError> {
        let mut sizes = HashMap::with_capacity(ids.len());
        if ids.is_empty() {
            return Ok(sizes);
        }
        let mut git = match self.sizes.take() {
            Some(running) => running,
            None => self.git.start(&["cat-file", "--batch-check"])?,
        };
        for some in ids.chunks(AT_A_TIME) {
            let question = some.iter().flat_map(|id| [id, "\n"]).collect::<String>();
            let mut answers = git.ask(question.as_bytes());
            for id in some {
                answers = answers.and_then(|()| {
                    if let Header::Blob(size) = header(&mut git, id)? {
                        sizes.insert((*id).to_owned(), size);
                    }
                    Ok(())
                });
            }
            if let Err(error) = answers {
                return Err(self.git.failed(git.complaint(&error.to_string())));
            }
        }
        self.sizes = Some(git);
        Ok(sizes)
    }

    /// Files that the revision has under another name, or not at all.
    fn renamed(
        &mut self,
        new: &[New<'_>],
        gone: Vec<(Vec<u8>, String)>,
    ) -> Result<Vec<FileAtRevision>, GitError> {
        let ids: Vec<&str> = gone.iter().map(|(_, id)| id.as_str()).collect();
        let sizes = self.sizes(&ids)?;
        // What the repository lacks cannot be compared.
        let gone: Vec<Gone> = gone
            .into_iter()
            .filter_map(|(name, id)| {
                let size = *sizes.get(&id)?;
                let blob = Blob { id, size };
                Some(Gone { name, blob })
            })
            .collect();
        let most = self.most;
        let origins = renames::origins(new, &gone, most, &mut |blob| self.read(blob))?;
        let was = |origin: Origin| match origin {
            Origin::None => FileAtRevision::Absent,
            Origin::Same(index) => gone.get(index).map_or(FileAtRevision::Absent, |gone| {
                FileAtRevision::Same(gone.blob.clone())
            }),
            Origin::Other(index) => gone.get(index).map_or(FileAtRevision::Absent, |gone| {
                FileAtRevision::Other(gone.blob.clone())
            }),
        };
        Ok(origins.into_iter().map(was).collect())
    }
}

/// Whether git names an object so.
fn is_id(name: &str) -> bool {
    name.len() >= 40 && name.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// Name and object of an entry of `ls-tree -z`, when it is an ordinary file.
fn ordinary_file(record: &[u8]) -> Option<(&[u8], &str)> {
    let tab = record.iter().position(|byte| *byte == b'\t')?;
    let (about, name) = record.split_at_checked(tab)?;
    let mut words = std::str::from_utf8(about).ok()?.split(' ');
    let (mode, kind, id) = (words.next()?, words.next()?, words.next()?);
    let ordinary = mode.starts_with("100") && kind == "blob" && is_id(id);
    ordinary.then_some((name.get(1..)?, id))
}

/// The first line of an answer of `cat-file`.
enum Header {
    Blob(u64),
    /// Not there, or something else than a file.
    Other,
}

fn header(git: &mut Running, id: &str) -> io::Result<Header> {
    let mut line = Vec::new();
    git.output().take(500).read_until(b'\n', &mut line)?;
    let line = String::from_utf8_lossy(&line);
    let mut words = line.split_whitespace();
    if words.next() != Some(id) {
        let why = format!("it does not know the object {id}");
        return Err(io::Error::new(io::ErrorKind::UnexpectedEof, why));
    }
    let blob = words.next() == Some("blob");
    let size = words.next().and_then(|size| size.parse().ok());
    Ok(size.filter(|_| blob).map_or(Header::Other, Header::Blob))
}

fn read(git: &mut Running, blob: &Blob) -> io::Result<Vec<u8>> {
    git.ask(format!("{}\n", blob.id).as_bytes())?;
    let cut = || {
        let why = format!("the object {} cannot be read", blob.id);
        io::Error::new(io::ErrorKind::UnexpectedEof, why)
    };
    match header(git, &blob.id)? {
        Header::Blob(size) if size == blob.size => {}
        Header::Blob(_) | Header::Other => return Err(cut()),
    }
    let mut bytes = Vec::new();
    git.output().take(blob.size).read_to_end(&mut bytes)?;
    let mut end = [0];
    git.output().read_exact(&mut end).map_err(|_| cut())?;
    if bytes.len() as u64 == blob.size && end == *b"\n" {
        Ok(bytes)
    } else {
        Err(cut())
    }
}
