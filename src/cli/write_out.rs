//! Writing a result to a file: all of it or nothing, and never over a file that was read.

use crate::ground::shown::{closed, printable, shown_line, shown_lines};
use crate::report::text;
use codespan_reporting::term::termcolor::{ColorChoice, StandardStream};
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::Duration;

/// Why a result was not written to a file.
#[derive(Debug, thiserror::Error)]
pub(super) enum WriteError {
    /// The target is one of the files that were read.
    #[error("{} is one of the files that are read: name another file for the result", .0.display())]
    IsInput(PathBuf),
    /// The target is a folder, a device or a pipe.
    #[error("{} is not an ordinary file: name a file for the result", .0.display())]
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
    write_pieces(target, [bytes], inputs)
}

/// The same for a result in pieces.
pub(super) fn write_pieces<'a>(
    target: &Path,
    pieces: impl IntoIterator<Item = &'a [u8]>,
    inputs: &[PathBuf],
) -> Result<(), WriteError> {
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
    replace(&place, pieces).map_err(failed)
}

/// How the name of a file begins and ends that is being filled.
const UNFINISHED: (&str, &str) = (".chartproof-", ".new");

/// No run takes so long over one file: an unfinished one that is older was left by a run that was
/// killed.
const ABANDONED: Duration = Duration::from_secs(600);

/// Takes away what killed runs have left in a folder; each folder once. What cannot be taken away
/// does no harm.
fn sweep(folder: &Path) {
    static SWEPT: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());
    let first = SWEPT
        .lock()
        .is_ok_and(|mut swept| swept.insert(folder.to_owned()));
    if !first {
        return;
    }
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let abandoned = name.starts_with(UNFINISHED.0)
            && name.ends_with(UNFINISHED.1)
            && entry
                .metadata()
                .ok()
                .filter(fs::Metadata::is_file)
                .and_then(|m| m.modified().ok()?.elapsed().ok())
                .is_some_and(|age| age > ABANDONED);
        if abandoned {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Fills a new file in the folder of `place`, then puts it in its place; on failure nothing stays.
fn replace<'a>(place: &Path, pieces: impl IntoIterator<Item = &'a [u8]>) -> io::Result<()> {
    let folder = match place.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    sweep(folder);
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED.0).suffix(UNFINISHED.1);
    // A result is as open to others as any file the user makes, and one that replaces another is
    // as open as that was.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let file = builder.tempfile_in(folder)?;
    if let Ok(before) = fs::metadata(place) {
        file.as_file().set_permissions(before.permissions())?;
    }
    let mut filling = BufWriter::new(file.as_file());
    for piece in pieces {
        filling.write_all(piece)?;
    }
    filling.flush()?;
    drop(filling);
    file.as_file().sync_all()?;
    file.persist(place).map_err(|e| e.error)?;
    Ok(())
}

/// A text for people. Whatever it holds, nothing in it steers a terminal or a build server.
pub(super) fn to_stdout(text: &str) -> Result<(), String> {
    bytes_to_stdout(shown_lines(text).as_bytes())
}

/// A report that its own format has made safe. A reader that closed the pipe (`| head`) has seen what
/// it wanted: that is no failure.
pub(super) fn bytes_to_stdout(report: &[u8]) -> Result<(), String> {
    let mut out = io::stdout().lock();
    match out.write_all(report).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(format!("the report could not be written: {error}"))
        }
        _ => Ok(()),
    }
}

/// A path as it may be shown: names of files can hold what steers a terminal.
pub(super) fn shown(path: &Path) -> String {
    closed(printable(&path.display().to_string()))
}

/// On the error output, where nothing can be done about a failure.
pub(super) fn complain(message: &str) {
    say(&format!("error: {message}"));
}

/// Something worth knowing that is not a part of a report.
pub(super) fn say(message: &str) {
    let _ = writeln!(io::stderr(), "{}", shown_line(message));
}

/// What is wrong with a file that could not be read, in one line.
pub(super) fn complain_of(error: &crate::ground::problem::Problem) {
    complain(&match &error.help {
        Some(help) => format!("{error}; {help}"),
        None => error.to_string(),
    });
}

/// The same with the line at fault, when it is known.
pub(super) fn complain_in_full(error: &crate::ground::problem::Problem) {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    let choice = if io::stderr().is_terminal() && !refused {
        ColorChoice::Auto
    } else {
        ColorChoice::Never
    };
    let mut stream = StandardStream::stderr(choice);
    let _ = text::render_error(error, &mut stream, text::Options::default());
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
    fn what_a_killed_run_left_goes_with_the_next_one() {
        let folder = tempfile::tempdir().unwrap();
        let old = std::time::SystemTime::now() - 2 * ABANDONED;
        for (name, when) in [
            (".chartproof-a1b2c3.new", Some(old)),
            (".chartproof-d4e5f6.new", None),
            (".other-a1b2c3.new", Some(old)),
            ("chartproof.ledger", Some(old)),
        ] {
            let file = fs::File::create(folder.path().join(name)).unwrap();
            if let Some(when) = when {
                file.set_modified(when).unwrap();
            }
        }
        write(&folder.path().join("report.txt"), b"one", &[]).unwrap();
        assert_eq!(
            names(folder.path()),
            [
                ".chartproof-d4e5f6.new",
                ".other-a1b2c3.new",
                "chartproof.ledger",
                "report.txt"
            ]
        );
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

    #[cfg(unix)]
    #[test]
    fn permissions_are_those_of_an_ordinary_file_or_of_the_file_before() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let ordinary = folder.path().join("ordinary");
        fs::write(&ordinary, "").unwrap();
        let target = folder.path().join("report.txt");
        write(&target, b"one", &[]).unwrap();
        assert_eq!(mode(&target), mode(&ordinary));
        fs::set_permissions(&target, fs::Permissions::from_mode(0o640)).unwrap();
        write(&target, b"two", &[]).unwrap();
        assert_eq!(mode(&target), 0o640);
    }
}
