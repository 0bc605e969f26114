//! The installed program `git`, asked about the objects of one repository.
//!
//! It never looks at the working tree or the index, and nothing that a repository's own settings
//! name is run: every call turns off what could, on git 2.30 and all later ones.

use super::GitError;
use super::working_tree::WorkingTree;
use std::env;
use std::ffi::OsStr;
use std::hash::{BuildHasher, RandomState};
use std::io::{self, BufRead, Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SyncSender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// So long git may be silent. A repository may hold a pipe in the place of a file, which never ends.
const PATIENCE: Duration = Duration::from_secs(15);

/// Settings that weigh more than those of the repository, the user and the system.
const SETTINGS: [&str; 6] = [
    // A committed folder that looks like a repository is none. (Known from git 2.38 on; the
    // repository is looked for by this program in any case.)
    "safe.bareRepository=explicit",
    "core.fsmonitor=false",
    "core.hooksPath=/dev/null",
    "core.untrackedCache=false",
    "diff.autoRefreshIndex=false",
    "protocol.allow=never",
];

/// So much of a complaint of git is kept, in bytes.
const COMPLAINT: u64 = 2_000;

/// The installed git and the repository that it is asked about.
pub(super) struct Program {
    git: PathBuf,
    tree: WorkingTree,
}

impl Program {
    /// Looks for git in the absolute folders of PATH. A relative one could lead into the repository,
    /// as could the system's own search, which takes an empty entry for the current folder.
    pub(super) fn find(tree: WorkingTree) -> Result<Self, GitError> {
        let name = format!("git{}", env::consts::EXE_SUFFIX);
        let places = env::var_os("PATH").unwrap_or_default();
        let git = env::split_paths(&places)
            .filter(|folder| folder.is_absolute())
            .map(|folder| folder.join(&name))
            .find(|file| may_be_started(file))
            .ok_or(GitError::NoGit)?;
        Ok(Self { git, tree })
    }

    /// The repository's working tree.
    pub(super) const fn tree(&self) -> &WorkingTree {
        &self.tree
    }

    /// Starts git with these arguments.
    pub(super) fn start<S: AsRef<OsStr>>(&self, arguments: &[S]) -> Result<Running, GitError> {
        let mut command = Command::new(&self.git);
        command.current_dir(&self.tree.folder).arg("--no-pager");
        for setting in SETTINGS {
            command.args(["-c", setting]);
        }
        command
            .args(arguments)
            .env("GIT_OPTIONAL_LOCKS", "0")
            .env("GIT_NO_REPLACE_OBJECTS", "1")
            .env("GIT_TERMINAL_PROMPT", "0")
            // Missing objects stay missing. Older gits do not know the first; they may start a
            // fetch, which then knows no way to anywhere: the repository's settings cannot allow
            // what this does not name, and cannot know the name.
            .env("GIT_NO_LAZY_FETCH", "1")
            .env("GIT_ALLOW_PROTOCOL", unguessable())
            .env("LC_ALL", "C")
            .env_remove("GIT_WORK_TREE")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        match &self.tree.git_dir {
            Some(named) => command.env("GIT_DIR", named),
            None => command.env_remove("GIT_DIR"),
        };
        if let Some(above) = self.tree.folder.parent() {
            command.env("GIT_CEILING_DIRECTORIES", above);
        }
        let child = command.spawn();
        Running::new(child.map_err(|error| self.failed(error.to_string()))?)
            .ok_or_else(|| self.failed("it has no pipes".to_owned()))
    }

    /// git could not do something.
    pub(super) fn failed(&self, why: String) -> GitError {
        GitError::Failed {
            root: self.tree.folder.clone(),
            why,
        }
    }
}

/// Whether the file is a program.
fn may_be_started(file: &std::path::Path) -> bool {
    let Ok(about) = file.metadata() else {
        return false;
    };
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        about.is_file() && about.permissions().mode() & 0o111 != 0
    }
    #[cfg(not(unix))]
    about.is_file()
}

/// A word that nobody can have written into a file before.
fn unguessable() -> String {
    format!("none-{:x}", RandomState::new().hash_one(0))
}

/// A git that runs. It is ended when this is dropped.
pub(super) struct Running {
    child: Child,
    input: Option<ChildStdin>,
    output: Output,
    complaint: Option<JoinHandle<Vec<u8>>>,
}

impl Running {
    fn new(mut child: Child) -> Option<Self> {
        let (output, complaint) = (child.stdout.take()?, child.stderr.take()?);
        Some(Self {
            input: child.stdin.take(),
            output: Output::of(output),
            complaint: Some(thread::spawn(move || first_of(complaint))),
            child,
        })
    }

    /// Asks for more.
    pub(super) fn ask(&mut self, question: &[u8]) -> io::Result<()> {
        match &mut self.input {
            Some(input) => input.write_all(question).and_then(|()| input.flush()),
            None => Err(io::ErrorKind::BrokenPipe.into()),
        }
    }

    /// The answers, which end with an error when git is silent for too long.
    pub(super) const fn output(&mut self) -> &mut Output {
        &mut self.output
    }

    /// Waits for the end. The error is the complaint of git.
    pub(super) fn end(mut self) -> Result<(), String> {
        self.input = None;
        if let Err(error) = io::copy(&mut self.output, &mut io::sink()) {
            return Err(self.complaint(&error.to_string()));
        }
        match self.child.wait() {
            Ok(status) if status.success() => Ok(()),
            Ok(status) => Err(self.complaint(&status.to_string())),
            Err(error) => Err(self.complaint(&error.to_string())),
        }
    }

    /// What git said of a failure, on one line; `otherwise` where it said nothing.
    pub(super) fn complaint(&mut self, otherwise: &str) -> String {
        let _ = self.child.kill(); // it may wait for somebody to read
        let _ = self.child.wait();
        let said = self.complaint.take().and_then(|reader| reader.join().ok());
        let said = said.unwrap_or_default();
        let text = String::from_utf8_lossy(&said);
        let lines: Vec<&str> = text
            .lines()
            .map(str::trim)
            .filter(|line| !line.is_empty())
            .collect();
        if lines.is_empty() || self.output.silent {
            otherwise.to_owned()
        } else {
            lines.join("; ")
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The first bytes of a stream, which is read to its end.
fn first_of(mut stream: impl Read) -> Vec<u8> {
    let mut first = Vec::new();
    let _ = (&mut stream).take(COMPLAINT).read_to_end(&mut first);
    let _ = io::copy(&mut stream, &mut io::sink());
    first
}

/// The standard output of a git. Another thread reads it, so that this one need not wait for ever.
pub(super) struct Output {
    pieces: Receiver<Vec<u8>>,
    piece: Vec<u8>,
    /// So much of the piece is taken.
    taken: usize,
    /// git gave no answer in time.
    silent: bool,
}

impl Output {
    fn of(stream: impl Read + Send + 'static) -> Self {
        let (sender, pieces) = mpsc::sync_channel(4);
        thread::spawn(move || pass_on(stream, &sender));
        Self {
            pieces,
            piece: Vec::new(),
            taken: 0,
            silent: false,
        }
    }
}

/// Passes a stream on, piece by piece, as long as somebody takes it.
fn pass_on(mut stream: impl Read, to: &SyncSender<Vec<u8>>) {
    let mut piece = vec![0; 1 << 16];
    while let Ok(length) = stream.read(&mut piece) {
        let sent = to.send(piece.get(..length).unwrap_or_default().to_vec());
        if length == 0 || sent.is_err() {
            return;
        }
    }
}

impl BufRead for Output {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.taken >= self.piece.len() {
            self.taken = 0;
            self.piece = match self.pieces.recv_timeout(PATIENCE) {
                Ok(piece) => piece,
                Err(RecvTimeoutError::Disconnected) => Vec::new(),
                Err(RecvTimeoutError::Timeout) => {
                    self.piece = Vec::new();
                    self.silent = true;
                    return Err(io::Error::new(
                        io::ErrorKind::TimedOut,
                        format!(
                            "it gave no answer for {} seconds; is a file of the repository a pipe?",
                            PATIENCE.as_secs()
                        ),
                    ));
                }
            };
        }
        Ok(self.piece.get(self.taken..).unwrap_or_default())
    }

    fn consume(&mut self, amount: usize) {
        self.taken += amount;
    }
}

impl Read for Output {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let length = self.fill_buf()?.read(into)?;
        self.consume(length);
        Ok(length)
    }
}
