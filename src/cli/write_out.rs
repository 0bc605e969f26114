//! Writing a result to a file: all of it or nothing, and never over a file that was read.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Why a result was not written to a file.
#[derive(Debug, thiserror::Error)]
pub(super) enum WriteError {
    /// The target is one of the files that were read.
    #[error("{} is one of the files that are read: name another file for the result", .0.display())]
    IsInput(PathBuf),
    /// The target is a folder, a device or a pipe.
    #[error("{} is no ordinary file: name a file for the result", .0.display())]
    NotAFile(PathBuf),
    /// The system refused.
    #[error("{} could not be written: {error}; check that its folder exists and may be written to", .path.display())]
    Io {
        /// The target.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
}

/// Writes `bytes` to `target` by way of a new file beside it, so that nobody ever sees half of it
/// and a failure leaves what was there.
pub(super) fn write(target: &Path, bytes: &[u8], inputs: &[PathBuf]) -> Result<(), WriteError> {
    let failed = |error| WriteError::Io {
        path: target.to_owned(),
        error,
    };
    // A link is followed: the file it names is replaced, not the link.
    let place = match fs::canonicalize(target) {
        Ok(place) => place,
        Err(error) if error.kind() == io::ErrorKind::NotFound => target.to_owned(),
        Err(error) => return Err(failed(error)),
    };
    let is_place = |input: &PathBuf| fs::canonicalize(input).is_ok_and(|path| path == place);
    if inputs.iter().any(is_place) {
        return Err(WriteError::IsInput(target.to_owned()));
    }
    if fs::metadata(&place).is_ok_and(|m| !m.is_file()) {
        return Err(WriteError::NotAFile(target.to_owned()));
    }
    let (temporary, file) = create_beside(&place).map_err(failed)?;
    let written = fill(file, bytes).and_then(|()| fs::rename(&temporary, &place));
    if written.is_err() {
        // The first error is the one to report; a leftover is all that can remain.
        let _ = fs::remove_file(&temporary);
    }
    written.map_err(failed)
}

fn fill(mut file: File, bytes: &[u8]) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_all()
}

/// A new file in the folder of `place`, under a name that nothing has yet.
fn create_beside(place: &Path) -> io::Result<(PathBuf, File)> {
    let name = place.file_name().ok_or(io::ErrorKind::InvalidInput)?;
    for attempt in 0..100u32 {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{attempt}.new", std::process::id()));
        let path = place.with_file_name(hidden);
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            other => return other.map(|file| (path, file)),
        }
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_report_replaces_the_one_before_and_leaves_nothing_beside() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("report.txt");
        write(&target, b"one", &[]).unwrap();
        write(&target, b"two", &[]).unwrap();
        assert_eq!(fs::read(&target).unwrap(), b"two");
        assert_eq!(names(folder.path()), ["report.txt"]);
    }

    #[test]
    fn an_input_is_never_overwritten_by_whatever_name() {
        let folder = tempfile::tempdir().unwrap();
        let input = folder.path().join("score.musicxml");
        fs::write(&input, "score").unwrap();
        let other_name = folder.path().join(".").join("score.musicxml");
        let error = write(&other_name, b"x", std::slice::from_ref(&input)).unwrap_err();
        assert!(matches!(error, WriteError::IsInput(_)));
        assert_eq!(fs::read(&input).unwrap(), b"score");
        #[cfg(unix)]
        {
            let link = folder.path().join("link");
            std::os::unix::fs::symlink(&input, &link).unwrap();
            assert!(write(&link, b"x", std::slice::from_ref(&input)).is_err());
            assert_eq!(fs::read(&input).unwrap(), b"score");
        }
    }

    #[test]
    fn folders_and_missing_folders_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let error = write(folder.path(), b"x", &[]).unwrap_err();
        assert!(matches!(error, WriteError::NotAFile(_)));
        let error = write(&folder.path().join("no/report.txt"), b"x", &[]).unwrap_err();
        assert!(matches!(error, WriteError::Io { .. }));
        assert_eq!(names(folder.path()), [""; 0]);
    }
}
