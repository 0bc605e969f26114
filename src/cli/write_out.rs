//! Writing a result to a file: all of it or nothing, and never over a file that was read.

use super::columns;
use super::inputs::Inputs;
use super::output_folder::{OutputFolder, place_all};
use super::replacing::{Replaces, WriteError};
use crate::ground::shown::{closed, printable, shown_line, shown_lines};
use crate::report::text;
use codespan_reporting::term::termcolor::{ColorChoice, StandardStream};
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// Writes `bytes` to `target` by way of a new file beside it, so that nobody ever sees half of it
/// and a failure leaves what was there.
pub(super) fn write(
    target: &Path,
    bytes: &[u8],
    inputs: &Inputs,
    replaces: Replaces<'_>,
) -> Result<(), WriteError> {
    let Some(name) = target.file_name().map(Path::new) else {
        return Err(WriteError::NotAFile(target.to_owned()));
    };
    let folder = OutputFolder::around(target)?;
    folder.check([name], inputs, replaces)?;
    let staged = folder.stage(name, [bytes], inputs)?;
    place_all(vec![staged], inputs, replaces)
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
    let options = text::Options {
        width: columns::of_stderr(),
        ..text::Options::default()
    };
    let _ = text::render_error(error, &mut stream, options);
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn write_report(target: &Path, bytes: &[u8]) -> Result<(), WriteError> {
        write(target, bytes, &Inputs::default(), Replaces::Reports)
    }

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
        write_report(&target, b"one").unwrap();
        write_report(&target, b"two").unwrap();
        assert_eq!(fs::read(&target).unwrap(), b"two");
        assert_eq!(names(folder.path()), ["report.txt"]);
    }

    #[test]
    fn an_input_is_never_overwritten_by_whatever_name() {
        let folder = tempfile::tempdir().unwrap();
        let input = folder.path().join("score.txt");
        fs::write(&input, "score").unwrap();
        let mut inputs = Inputs::default();
        inputs.add(&input);
        let hard = folder.path().join("hard.txt");
        fs::hard_link(&input, &hard).unwrap();
        for target in [folder.path().join(".").join("score.txt"), hard] {
            let error = write(&target, b"x", &inputs, Replaces::AnyFile).unwrap_err();
            assert!(matches!(error, WriteError::IsInput(_)), "{error}");
            assert_eq!(fs::read(&input).unwrap(), b"score");
        }
    }

    #[test]
    fn a_report_takes_no_place_of_a_score_a_style_or_a_ledger() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a.MXL", "chartproof.toml", "chartproof.ledger", "b.xml"] {
            let target = folder.path().join(name);
            fs::write(&target, "x").unwrap();
            let error = write_report(&target, b"y").unwrap_err();
            assert!(matches!(error, WriteError::OtherName(_)), "{error}");
            assert_eq!(fs::read(&target).unwrap(), b"x");
        }
    }

    #[test]
    fn folders_and_missing_folders_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let error = write_report(folder.path(), b"x").unwrap_err();
        assert!(matches!(error, WriteError::NotAFile(_)), "{error}");
        let error = write_report(&folder.path().join("no/report.txt"), b"x").unwrap_err();
        assert!(matches!(error, WriteError::Io { .. }), "{error}");
        let error = write_report(&folder.path().join(".."), b"x").unwrap_err();
        assert!(matches!(error, WriteError::NotAFile(_)), "{error}");
        assert_eq!(names(folder.path()), [""; 0]);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_those_of_an_ordinary_file_or_of_the_file_before() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o7777;
        let ordinary = folder.path().join("ordinary");
        fs::write(&ordinary, "").unwrap();
        let target = folder.path().join("report.txt");
        write_report(&target, b"one").unwrap();
        assert_eq!(mode(&target), mode(&ordinary));
        // A bit by which others run what is written is not taken over.
        fs::set_permissions(&target, fs::Permissions::from_mode(0o4640)).unwrap();
        write_report(&target, b"two").unwrap();
        assert_eq!(mode(&target), 0o640);
    }
}
