//! The folder that results are written to, opened once. Everything beneath it is reached from the
//! open folder, step by step, and no step follows a link: nothing is written outside of it, not even
//! when a link is put there while the run goes.

use super::inputs::{Identity, Inputs, folder_of};
use super::replacing::{Replaces, WriteError};
use cap_fs_ext::{DirExt, FollowSymlinks, OpenOptionsFollowExt, OpenOptionsSyncExt};
use cap_std::ambient_authority;
use cap_std::fs::{Dir, File, Metadata, OpenOptions};
use std::collections::BTreeSet;
use std::ffi::{OsStr, OsString};
use std::fs;
use std::io::{self, BufWriter, Read as _, Write as _};
use std::path::{Component, Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// An open folder for results.
#[derive(Debug)]
pub(super) struct OutputFolder {
    /// As the user named it.
    path: PathBuf,
    /// Its true name, for the comparison with inputs.
    true_name: PathBuf,
    dir: Dir,
    /// The folders beneath it that leftovers were taken away from.
    swept: Mutex<BTreeSet<PathBuf>>,
}

/// A result that is complete, under a name of its own beside its place.
#[derive(Debug)]
pub(super) struct Staged<'a> {
    folder: &'a OutputFolder,
    place: PathBuf,
    temporary: OsString,
    identity: Identity,
}

/// A result in its place.
struct Placed<'a> {
    staged: Staged<'a>,
    dir: Dir,
    /// The name under which the file that was there is kept.
    before: Option<OsString>,
}

/// A file that stands in the place of a result.
struct Existing {
    identity: Identity,
    facts: Metadata,
}

/// How the name of a file begins that is ours for a while.
const OURS: &str = ".chartproof-";
/// How the name of a file ends that is being filled.
const UNFINISHED: &str = ".new";
/// How the name of a file ends that was replaced by one of a set that is not complete yet.
const REPLACED: &str = ".old";

/// No run takes so long over its results: what is older was left by a run that was killed.
const ABANDONED: Duration = Duration::from_secs(3600);

/// How often the file in a place may be exchanged by others before that is a failure.
const TRIES: usize = 20;

impl OutputFolder {
    /// Opens the folder that a user named for results. `None` when it is not there yet.
    ///
    /// # Errors
    ///
    /// When it is a link or no folder: a stranger's archive may hold a link of the usual name.
    pub(super) fn named(path: &Path) -> Result<Option<Self>, WriteError> {
        let failed = |error| WriteError::io(path, error);
        let dir = match path.file_name() {
            None => Dir::open_ambient_dir(path, ambient_authority()).map_err(failed)?,
            Some(name) => {
                let above = match Dir::open_ambient_dir(folder_of(path), ambient_authority()) {
                    Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
                    above => above.map_err(failed)?,
                };
                match step(&above, name, path)? {
                    Some(dir) => dir,
                    None => return Ok(None),
                }
            }
        };
        Self::of(dir, path).map(Some)
    }

    /// The same, made when it is not there.
    ///
    /// # Errors
    ///
    /// As for [`Self::named`], and when it cannot be made.
    pub(super) fn made(path: &Path) -> Result<Self, WriteError> {
        if let Some(open) = Self::named(path)? {
            return Ok(open);
        }
        fs::create_dir_all(path).map_err(|error| WriteError::Folder {
            path: path.to_owned(),
            error,
        })?;
        let gone = || WriteError::io(path, io::ErrorKind::NotFound.into());
        Self::named(path)?.ok_or_else(gone)
    }

    /// Opens the folder that a file is in, as the user named it.
    ///
    /// # Errors
    ///
    /// When there is no such folder.
    pub(super) fn around(file: &Path) -> Result<Self, WriteError> {
        let folder = folder_of(file);
        let dir = Dir::open_ambient_dir(folder, ambient_authority());
        let folder = if file.parent().is_some_and(|p| p.as_os_str().is_empty()) {
            Path::new("")
        } else {
            folder
        };
        Self::of(dir.map_err(|e| WriteError::io(file, e))?, folder)
    }

    fn of(dir: Dir, path: &Path) -> Result<Self, WriteError> {
        let failed = |error| WriteError::io(path, error);
        let named = if path.as_os_str().is_empty() {
            Path::new(".")
        } else {
            path
        };
        let true_name = fs::canonicalize(named).map_err(failed)?;
        let open = Identity::of(&dir.dir_metadata().map_err(failed)?);
        if Identity::of_path(&true_name).is_some_and(|named| named != open) {
            return Err(failed(io::Error::other(
                "another folder has taken its place",
            )));
        }
        Ok(Self {
            true_name,
            path: path.to_owned(),
            dir,
            swept: Mutex::default(),
        })
    }

    fn shown(&self, place: &Path) -> PathBuf {
        self.path.join(place)
    }

    /// The folder of a place beneath this one; `None` when it is not there and not to be made.
    fn inner(&self, place: &Path, make: bool) -> Result<Option<Dir>, WriteError> {
        let mut dir = self.dir.try_clone();
        let mut so_far = self.path.clone();
        for component in place.parent().into_iter().flat_map(Path::components) {
            let Component::Normal(name) = component else {
                return Err(WriteError::NotAFile(self.shown(place)));
            };
            so_far.push(name);
            let failed = |error| WriteError::io(&so_far, error);
            let above = dir.map_err(failed)?;
            dir = Ok(match step(&above, name, &so_far)? {
                Some(inner) => inner,
                None if !make => return Ok(None),
                None => {
                    match above.create_dir(name) {
                        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => {
                            return Err(WriteError::Folder {
                                path: so_far,
                                error,
                            });
                        }
                        _ => {}
                    }
                    let gone = || failed(io::ErrorKind::NotFound.into());
                    step(&above, name, &so_far)?.ok_or_else(gone)?
                }
            });
        }
        dir.map(Some).map_err(|e| WriteError::io(&so_far, e))
    }

    /// Refuses a place that no result may take: that of an input, of a link, of a folder, or of a
    /// file that `replaces` does not allow. `taken` are the files of this run's other results.
    fn existing(
        &self,
        dir: &Dir,
        place: &Path,
        inputs: &Inputs,
        replaces: Replaces<'_>,
        taken: &[Identity],
    ) -> Result<Option<Existing>, WriteError> {
        let shown = || self.shown(place);
        let Some(name) = place.file_name() else {
            return Err(WriteError::NotAFile(shown()));
        };
        let true_name = self.true_name.join(place);
        if !replaces.allows_name(Path::new(name)) && !inputs.hold(&true_name, None) {
            return Err(WriteError::OtherName(shown()));
        }
        let facts = match dir.symlink_metadata(name) {
            Ok(facts) => facts,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return if inputs.hold(&true_name, None) {
                    Err(WriteError::IsInput(shown()))
                } else {
                    Ok(None)
                };
            }
            Err(error) => return Err(WriteError::io(&shown(), error)),
        };
        if facts.is_symlink() {
            return Err(WriteError::Link(shown()));
        }
        if !facts.is_file() {
            return Err(WriteError::NotAFile(shown()));
        }
        let identity = Identity::of(&facts);
        if taken.contains(&identity) {
            return Err(WriteError::Twice(shown()));
        }
        let walked = replaces.takes_no_neighbour() && inputs.walked_over(&true_name);
        if walked || inputs.hold(&true_name, Some(identity)) {
            return Err(WriteError::IsInput(shown()));
        }
        let read = |most| contents(dir, name, identity, most);
        if !replaces.allows(Path::new(name), read) {
            return Err(WriteError::NoScore(shown()));
        }
        Ok(Some(Existing { identity, facts }))
    }

    /// Refuses places that results may not take, before anything is written.
    ///
    /// # Errors
    ///
    /// The first place that is not free.
    pub(super) fn check<'a>(
        &self,
        places: impl IntoIterator<Item = &'a Path>,
        inputs: &Inputs,
        replaces: Replaces<'_>,
    ) -> Result<(), WriteError> {
        for place in places {
            if let Some(dir) = self.inner(place, false)? {
                self.existing(&dir, place, inputs, replaces, &[])?;
            }
        }
        Ok(())
    }

    /// Writes a result beside its place, under a name of its own.
    ///
    /// # Errors
    ///
    /// Those of the system, and those of folders on the way that are links.
    pub(super) fn stage<'p>(
        &self,
        place: &Path,
        pieces: impl IntoIterator<Item = &'p [u8]>,
        inputs: &Inputs,
    ) -> Result<Staged<'_>, WriteError> {
        let failed = |error| WriteError::io(&self.shown(place), error);
        let gone = || failed(io::ErrorKind::NotFound.into());
        let dir = self.inner(place, true)?.ok_or_else(gone)?;
        self.sweep(&dir, folder_of(place), inputs);
        let (temporary, file) = new_file(&dir).map_err(failed)?;
        let facts = file.metadata();
        let staged = Staged {
            folder: self,
            place: place.to_owned(),
            temporary,
            identity: Identity::of(&facts.map_err(failed)?),
        };
        let mut filling = BufWriter::new(&file);
        for piece in pieces {
            filling.write_all(piece).map_err(failed)?;
        }
        filling.flush().map_err(failed)?;
        drop(filling);
        file.sync_all().map_err(failed)?;
        Ok(staged)
    }

    /// Takes away leftovers of killed runs, once in each folder. Failure does no harm.
    fn sweep(&self, dir: &Dir, folder: &Path, inputs: &Inputs) {
        let mut swept = self.swept.lock().unwrap_or_else(PoisonError::into_inner);
        if !swept.insert(folder.to_owned()) {
            return;
        }
        drop(swept);
        for entry in dir.entries().into_iter().flatten().flatten() {
            let name = entry.file_name();
            let Some(facts) = entry.metadata().ok().filter(Metadata::is_file) else {
                continue;
            };
            let true_name = self.true_name.join(folder).join(&name);
            if is_abandoned(&name, &facts) && !inputs.hold(&true_name, Some(Identity::of(&facts))) {
                let _ = dir.remove_file(&name);
            }
        }
    }
}

/// A folder in a folder, no link followed; `None` when there is nothing of this name.
fn step(above: &Dir, name: &OsStr, shown: &Path) -> Result<Option<Dir>, WriteError> {
    match above.open_dir_nofollow(name) {
        Ok(dir) => Ok(Some(dir)),
        Err(error) => match above.symlink_metadata(name) {
            Ok(facts) if facts.is_symlink() => Err(WriteError::LinkedFolder(shown.to_owned())),
            Ok(facts) if !facts.is_dir() => Err(WriteError::NotAFolder(shown.to_owned())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            _ => Err(WriteError::io(shown, error)),
        },
    }
}

/// The first bytes of the file that was looked at, at most so many, when it is still the same.
fn contents(dir: &Dir, name: &OsStr, identity: Identity, most: u64) -> Option<Vec<u8>> {
    let mut options = OpenOptions::new();
    // A pipe that was put there meanwhile is not waited for.
    options.read(true).follow(FollowSymlinks::No).nonblock(true);
    let file = dir.open_with(name, &options).ok()?;
    let facts = file.metadata().ok()?;
    if !facts.is_file() || Identity::of(&facts) != identity {
        return None;
    }
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

/// A name that no other run has, with the time in it.
fn own_name(ending: &str) -> OsString {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let now = SystemTime::now().duration_since(UNIX_EPOCH);
    let now = now.unwrap_or_default().as_millis();
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let process = std::process::id();
    format!("{OURS}{now:x}-{process:x}-{count:x}{ending}").into()
}

/// The time in a name of ours.
fn time_in(name: &str) -> Option<SystemTime> {
    let millis = name.strip_prefix(OURS)?.split('-').next()?;
    let millis = u64::from_str_radix(millis, 16).ok()?;
    UNIX_EPOCH.checked_add(Duration::from_millis(millis))
}

fn is_abandoned(name: &OsStr, facts: &Metadata) -> bool {
    let name = name.to_string_lossy();
    let since = if name.starts_with(OURS) && name.ends_with(UNFINISHED) {
        facts
            .modified()
            .ok()
            .map(cap_std::time::SystemTime::into_std)
    } else if name.ends_with(REPLACED) {
        time_in(&name) // that of the file says when its music was written
    } else {
        None
    };
    let age = since.and_then(|since| since.elapsed().ok());
    age.is_some_and(|age| age > ABANDONED)
}

fn new_file(dir: &Dir) -> io::Result<(OsString, File)> {
    let mut options = OpenOptions::new();
    options
        .write(true)
        .create_new(true)
        .follow(FollowSymlinks::No);
    let mut tries = 0;
    loop {
        let name = own_name(UNFINISHED);
        match dir.open_with(&name, &options) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && tries < TRIES => {
                tries += 1;
            }
            file => return Ok((name, file?)),
        }
    }
}

/// Puts all results in their places, or none of them: when one place cannot be taken, those that
/// were are as they were before.
///
/// # Errors
///
/// The first failure.
pub(super) fn place_all(
    staged: Vec<Staged<'_>>,
    inputs: &Inputs,
    replaces: Replaces<'_>,
) -> Result<(), WriteError> {
    let mut placed: Vec<Placed<'_>> = Vec::with_capacity(staged.len());
    let mut taken = Vec::with_capacity(staged.len());
    for one in staged {
        let identity = one.identity;
        match one.place(inputs, replaces, &taken) {
            Ok(done) => placed.push(done),
            Err(error) => {
                placed.into_iter().rev().for_each(Placed::undo);
                return Err(error);
            }
        }
        taken.push(identity);
    }
    placed.into_iter().for_each(Placed::settle);
    Ok(())
}

impl<'a> Staged<'a> {
    fn place(
        self,
        inputs: &Inputs,
        replaces: Replaces<'_>,
        taken: &[Identity],
    ) -> Result<Placed<'a>, WriteError> {
        let shown = self.folder.shown(&self.place);
        let failed = |error| WriteError::io(&shown, error);
        let gone = || failed(io::ErrorKind::NotFound.into());
        let dir = self.folder.inner(&self.place, false)?.ok_or_else(gone)?;
        let name = self.place.file_name().unwrap_or_default().to_owned();
        let mut tries = 0;
        loop {
            let existing = self
                .folder
                .existing(&dir, &self.place, inputs, replaces, taken)?;
            let outcome = match &existing {
                None => self.take_free(&dir, &name).map(|()| None),
                Some(existing) => self.take_over(&dir, &name, existing).map(Some),
            };
            match outcome {
                Ok(before) => {
                    return Ok(Placed {
                        staged: self,
                        dir,
                        before,
                    });
                }
                // Another program was faster: its file is looked at like any other.
                Err(error) if is_exchanged(&error) && tries < TRIES => tries += 1,
                Err(error) => return Err(failed(error)),
            }
        }
    }

    /// Takes a place that has no file; one that has come meanwhile is not replaced.
    fn take_free(&self, dir: &Dir, name: &OsStr) -> io::Result<()> {
        // The other name stays until the set is whole: as long as it does, no other file has this
        // identity.
        match dir.hard_link(&self.temporary, dir, name) {
            Ok(()) => Ok(()),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(error),
            // Some file systems have no second names.
            Err(_) => match dir.symlink_metadata(name) {
                Ok(_) => Err(io::ErrorKind::AlreadyExists.into()),
                Err(_) => dir.rename(&self.temporary, dir, name),
            },
        }
    }

    /// Takes the place of a file, which stays under another name, the one that is returned.
    fn take_over(&self, dir: &Dir, name: &OsStr, existing: &Existing) -> io::Result<OsString> {
        let before = own_name(REPLACED);
        let kept = match dir.hard_link(name, dir, &before) {
            Ok(()) => match dir.symlink_metadata(&before) {
                Ok(facts) if Identity::of(&facts) == existing.identity => Ok(()),
                _ => Err(io::ErrorKind::AlreadyExists.into()),
            },
            Err(error) if error.kind() == io::ErrorKind::NotFound => Err(error),
            // Some file systems have no second names.
            Err(_) => keep_copy(dir, name, &before, existing),
        };
        let done = kept.and_then(|()| {
            self.as_open_as(dir, existing)?;
            dir.rename(&self.temporary, dir, name)
        });
        match done {
            Ok(()) => Ok(before),
            Err(error) => {
                let _ = dir.remove_file(&before);
                Err(error)
            }
        }
    }

    /// A result that replaces a file is as open to others as that was.
    #[cfg(unix)]
    fn as_open_as(&self, dir: &Dir, existing: &Existing) -> io::Result<()> {
        use cap_std::fs::{Permissions, PermissionsExt};
        let mut options = OpenOptions::new();
        options.write(true).follow(FollowSymlinks::No);
        let mode = existing.facts.permissions().mode() & 0o777;
        let file = dir.open_with(&self.temporary, &options)?;
        if Identity::of(&file.metadata()?) != self.identity {
            return Err(io::ErrorKind::NotFound.into());
        }
        file.set_permissions(Permissions::from_mode(mode))
    }

    #[cfg(not(unix))]
    #[allow(clippy::unused_self, clippy::unnecessary_wraps)]
    fn as_open_as(&self, _dir: &Dir, existing: &Existing) -> io::Result<()> {
        let _ = &existing.facts;
        Ok(())
    }
}

/// Whether a file has come or gone since it was looked at.
fn is_exchanged(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotFound
    )
}

/// Keeps what a file holds, as it was looked at.
fn keep_copy(dir: &Dir, name: &OsStr, copy: &OsStr, existing: &Existing) -> io::Result<()> {
    let length = existing.facts.len();
    let bytes = contents(dir, name, existing.identity, length);
    let bytes = bytes.ok_or(io::ErrorKind::AlreadyExists)?;
    let mut options = OpenOptions::new();
    options
        .write(true)
        .create_new(true)
        .follow(FollowSymlinks::No);
    let mut file = dir.open_with(copy, &options)?;
    file.write_all(&bytes)?;
    file.sync_all()
}

impl Placed<'_> {
    /// All results are in their places: what was there before goes.
    fn settle(self) {
        if let Some(before) = &self.before {
            let _ = self.dir.remove_file(before);
        }
    }

    /// Puts back what was there before.
    fn undo(self) {
        let Some(name) = self.staged.place.file_name() else {
            return;
        };
        let facts = self.dir.symlink_metadata(name);
        // What others have put there since is theirs.
        let ours = facts.is_ok_and(|f| Identity::of(&f) == self.staged.identity);
        let _ = match &self.before {
            Some(before) if ours => self.dir.rename(before, &self.dir, name),
            Some(before) => self.dir.remove_file(before),
            None if ours => self.dir.remove_file(name),
            None => Ok(()),
        };
    }
}

impl Drop for Staged<'_> {
    /// A result that did not take its place leaves nothing.
    fn drop(&mut self) {
        if let Ok(Some(dir)) = self.folder.inner(&self.place, false) {
            let _ = dir.remove_file(&self.temporary);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANY: Replaces<'_> = Replaces::AnyFile;

    fn files(folder: &Path) -> Vec<(String, String)> {
        let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
        let files = entries.filter(|e| e.file_type().unwrap().is_file());
        let mut files: Vec<(String, String)> = files
            .map(|e| {
                let name = e.file_name().into_string().unwrap();
                (name, fs::read_to_string(e.path()).unwrap())
            })
            .collect();
        files.sort();
        files
    }

    fn stage<'a>(folder: &'a OutputFolder, names: &[&str]) -> Vec<Staged<'a>> {
        let inputs = Inputs::default();
        let one = |name: &&str| folder.stage(Path::new(name), [&b"new"[..]], &inputs);
        names.iter().map(one).collect::<Result<_, _>>().unwrap()
    }

    #[test]
    fn a_set_is_placed_whole_or_not_at_all() {
        let dir = tempfile::tempdir().unwrap();
        for name in ["a", "c"] {
            fs::write(dir.path().join(name), "before").unwrap();
        }
        let before = files(dir.path());
        let folder = OutputFolder::made(dir.path()).unwrap();
        let staged = stage(&folder, &["a", "b", "c", "d", "e"]);
        // It comes after every place was looked at.
        fs::create_dir(dir.path().join("d")).unwrap();
        let error = place_all(staged, &Inputs::default(), ANY).unwrap_err();
        assert!(matches!(error, WriteError::NotAFile(_)), "{error}");
        assert_eq!(files(dir.path()), before);
        fs::remove_dir(dir.path().join("d")).unwrap();
        let staged = stage(&folder, &["a", "b", "c", "d", "e"]);
        place_all(staged, &Inputs::default(), ANY).unwrap();
        let after = files(dir.path());
        assert_eq!(after.len(), 5);
        assert!(after.iter().all(|(_, text)| text == "new"), "{after:?}");
    }

    #[test]
    fn a_result_that_is_gone_undoes_the_set() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("a"), "before").unwrap();
        let before = files(dir.path());
        let folder = OutputFolder::made(dir.path()).unwrap();
        let staged = stage(&folder, &["a", "b", "c"]);
        fs::remove_file(dir.path().join(&staged[2].temporary)).unwrap();
        assert!(place_all(staged, &Inputs::default(), ANY).is_err());
        assert_eq!(files(dir.path()), before);
    }

    #[test]
    fn undoing_leaves_alone_what_others_have_put_there() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("a"), "before").unwrap();
        let folder = OutputFolder::made(dir.path()).unwrap();
        let staged = stage(&folder, &["a", "b"]);
        let mut placed: Vec<Placed<'_>> = staged
            .into_iter()
            .map(|s| s.place(&Inputs::default(), ANY, &[]).unwrap())
            .collect();
        fs::remove_file(dir.path().join("b")).unwrap();
        fs::write(dir.path().join("b"), "theirs").unwrap();
        placed.drain(..).for_each(Placed::undo);
        let text = |text: &str| text.to_owned();
        let both = [(text("a"), text("before")), (text("b"), text("theirs"))];
        assert_eq!(files(dir.path()), both);
    }

    #[test]
    fn a_file_that_comes_meanwhile_is_looked_at_like_any_other() {
        let dir = tempfile::tempdir().unwrap();
        let folder = OutputFolder::made(dir.path()).unwrap();
        let only_scores = Replaces::Scores {
            limits: crate::file_text::Limits::USUAL,
            instruments: &[crate::ground::instrument::catalogue()],
        };
        let staged = stage(&folder, &["a"]);
        fs::write(dir.path().join("a"), "theirs").unwrap();
        let error = place_all(staged, &Inputs::default(), only_scores).unwrap_err();
        let error = error.to_string();
        assert!(error.contains("is there already"), "{error}");
        assert_eq!(files(dir.path()).len(), 1);
    }

    #[test]
    fn no_result_is_called_as_what_the_next_run_would_read() {
        let dir = tempfile::tempdir().unwrap();
        let folder = OutputFolder::made(dir.path()).unwrap();
        for (name, replaces) in [
            ("chartproof.toml", Replaces::Reports),
            ("x.MUSICXML", Replaces::Reports),
            ("chartproof.ledger", Replaces::Reports),
            ("x.musicxml", Replaces::Ledger),
            ("chartproof.toml", Replaces::Ledger),
        ] {
            let error = place_all(stage(&folder, &[name]), &Inputs::default(), replaces);
            let error = error.unwrap_err();
            assert!(matches!(error, WriteError::OtherName(_)), "{name}: {error}");
        }
        assert_eq!(files(dir.path()), []);
    }

    #[test]
    fn two_results_are_never_one_file() {
        let dir = tempfile::tempdir().unwrap();
        let folder = OutputFolder::made(dir.path()).unwrap();
        let inputs = Inputs::default();
        // As it is where letter case makes no difference, before and after the first run.
        let staged = stage(&folder, &["a", "a"]);
        let error = place_all(staged, &inputs, ANY).unwrap_err();
        assert!(matches!(error, WriteError::Twice(_)), "{error}");
        assert_eq!(files(dir.path()), []);
        fs::write(dir.path().join("a"), "before").unwrap();
        let staged = stage(&folder, &["a", "a"]);
        assert!(place_all(staged, &inputs, ANY).is_err());
        // Two files of an earlier run that somebody has made one are two again.
        fs::hard_link(dir.path().join("a"), dir.path().join("b")).unwrap();
        assert_eq!(files(dir.path()).len(), 2);
        place_all(stage(&folder, &["a", "b"]), &inputs, ANY).unwrap();
        fs::write(dir.path().join("a"), "changed").unwrap();
        assert_eq!(fs::read(dir.path().join("b")).unwrap(), b"new");
    }

    #[test]
    fn no_place_is_outside() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("in")).unwrap();
        let folder = OutputFolder::made(&dir.path().join("in")).unwrap();
        let inputs = Inputs::default();
        let outside = dir.path().join("out");
        for place in [
            Path::new("../out"),
            Path::new(""),
            Path::new("a/../../out"),
            &outside,
        ] {
            let staged = folder.stage(place, [&b"new"[..]], &inputs);
            let written = staged.and_then(|s| place_all(vec![s], &inputs, ANY));
            assert!(written.is_err(), "{}", place.display());
        }
        assert!(!outside.exists());
    }

    #[test]
    fn what_a_killed_run_left_goes_with_the_next_one() {
        let dir = tempfile::tempdir().unwrap();
        let old = SystemTime::now() - 2 * ABANDONED;
        let stamp = |time: SystemTime| time.duration_since(UNIX_EPOCH).unwrap().as_millis();
        let replaced = format!("{OURS}{:x}-1-0{REPLACED}", stamp(old));
        let in_use = format!("{OURS}{:x}-1-0{REPLACED}", stamp(SystemTime::now()));
        for (name, when) in [
            (".chartproof-a1b2c3.new", Some(old)),
            (".chartproof-d4e5f6.new", None),
            (".chartproof-input.new", Some(old)),
            (".other-a1b2c3.new", Some(old)),
            ("chartproof.ledger", Some(old)),
            (".chartproof-notes.old", Some(old)),
            (&replaced, None),
            (&in_use, Some(old)),
        ] {
            let file = fs::File::create(dir.path().join(name)).unwrap();
            if let Some(when) = when {
                file.set_modified(when).unwrap();
            }
        }
        let folder = OutputFolder::made(dir.path()).unwrap();
        let mut inputs = Inputs::default();
        inputs.add(&dir.path().join(".chartproof-input.new"));
        let staged = folder.stage(Path::new("r"), [&b"new"[..]], &inputs);
        place_all(vec![staged.unwrap()], &inputs, ANY).unwrap();
        let names: Vec<String> = files(dir.path())
            .into_iter()
            .map(|(name, _)| name)
            .collect();
        assert_eq!(
            names,
            [
                in_use.as_str(),
                ".chartproof-d4e5f6.new",
                ".chartproof-input.new",
                ".chartproof-notes.old",
                ".other-a1b2c3.new",
                "chartproof.ledger",
                "r"
            ]
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_nowhere() {
        use std::os::unix::fs::symlink;
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        fs::create_dir(at("out")).unwrap();
        fs::create_dir(at("victim")).unwrap();
        fs::write(at("victim.txt"), "precious").unwrap();
        symlink("../victim", at("out/sub")).unwrap();
        symlink("../victim.txt", at("out/file")).unwrap();
        symlink("nothing", at("out/dangling")).unwrap();
        symlink("out", at("link")).unwrap();
        let inputs = Inputs::default();
        let folder = OutputFolder::made(&at("out")).unwrap();
        for place in ["sub/a", "file", "dangling"].map(Path::new) {
            let error = folder.check([place], &inputs, ANY).unwrap_err();
            assert!(error.to_string().contains("is a link"), "{error}");
            let staged = folder.stage(place, [&b"new"[..]], &inputs);
            let error = staged
                .and_then(|s| place_all(vec![s], &inputs, ANY))
                .unwrap_err();
            assert!(error.to_string().contains("is a link"), "{error}");
        }
        let error = OutputFolder::made(&at("link")).unwrap_err();
        assert!(matches!(error, WriteError::LinkedFolder(_)), "{error}");
        assert_eq!(fs::read(at("victim.txt")).unwrap(), b"precious");
        assert_eq!(fs::read_dir(at("victim")).unwrap().count(), 0);
    }
}
