//! Nothing is read without end: only ordinary files, within a limit, and no lines of a stranger's file shown.

use crate::hostile::{Answer, run};
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

const GRID: &str = "count | 1 |\npiano | C4 |\n";

/// A line of no file that is a house style, a ledger or a list.
const SECRET: &str = "TOKEN=s3cr3t-of-the-house";

/// A folder with a score in it.
struct Room(tempfile::TempDir);

impl Room {
    fn new() -> Self {
        let room = Self(tempfile::tempdir().unwrap());
        room.write("a/x.passage", GRID);
        room
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        let file = self.at(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
    }

    /// Proofs the score, with more before it.
    fn proof(&self, more: &[&OsStr]) -> Answer {
        let args = [OsStr::new("proof")]
            .into_iter()
            .chain(more.iter().copied());
        run(args.chain([self.at("a").as_os_str()]))
    }
}

/// A message without its line breaks.
fn flat(answer: &Answer) -> String {
    let all = answer.all();
    all.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn refused(what: &str, answer: &Answer, words: &str) {
    let said = flat(answer);
    assert_eq!(answer.code, 2, "{what}: {said}");
    assert!(said.contains(words), "{what}: no `{words}` in {said}");
    assert!(!said.contains("s3cr3t"), "{what}: {said}");
    assert!(!said.contains("CARGO_PKG_NAME"), "{what}: {said}");
    assert!(said.len() < 3_000, "{what}: {said}");
}

/// Each way in which a command line names a file that is read.
#[cfg(unix)]
fn named_in_each_way(file: &Path, words: &str) {
    let room = Room::new();
    let folder = room.at("a");
    for command in [
        &["proof", "FILE"][..],
        &["analysis", "FILE"],
        &["correct", "--into", "INTO", "FILE"],
        &["mark", "--into", "INTO", "FILE"],
        &["voice", "--technique", "drop 2", "FILE"],
        &["proof", "--one-score", "FILE"],
        &["proof", "--style", "FILE", "FOLDER"],
        &["style", "--style", "FILE", "FOLDER"],
        &["proof", "--ledger", "FILE", "FOLDER"],
        &["ledger", "--ledger", "FILE", "FOLDER"],
        &["proof", "--class", "--key", "FILE", "FOLDER"],
        &["proof", "--list", "FILE"],
    ] {
        let into = room.at("into");
        let args = command.iter().map(|arg| match *arg {
            "FILE" => file.as_os_str(),
            "FOLDER" => folder.as_os_str(),
            "INTO" => into.as_os_str(),
            other => OsStr::new(other),
        });
        let answer = run(args);
        refused(&format!("{command:?} {}", file.display()), &answer, words);
    }
}

#[cfg(unix)]
fn pipe(at: &Path) {
    let made = std::process::Command::new("mkfifo")
        .arg(at)
        .status()
        .unwrap();
    assert!(made.success());
}

#[cfg(unix)]
#[test]
fn a_pipe_is_refused_and_not_waited_for() {
    let room = Room::new();
    let file = room.at("x.passage");
    pipe(&file);
    named_in_each_way(&file, "a pipe, and an ordinary file was expected");
    let link = room.at("link.toml");
    std::os::unix::fs::symlink(&file, &link).unwrap();
    named_in_each_way(&link, "a pipe, and an ordinary file was expected");
}

#[cfg(unix)]
#[test]
fn a_socket_and_a_device_are_refused() {
    let room = Room::new();
    let file = room.at("x.passage");
    let _held = std::os::unix::net::UnixListener::bind(&file).unwrap();
    named_in_each_way(&file, "a socket, and an ordinary file was expected");
    for device in ["/dev/zero", "/dev/tty"].map(Path::new) {
        if device.exists() {
            named_in_each_way(device, "a device, and an ordinary file was expected");
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn files_of_the_system_itself_are_refused() {
    for file in [
        "/proc/self/environ",
        "/proc/self/pagemap",
        "/proc/self/mem",
        "/proc/version",
        "/sys/kernel/uevent_seqnum",
    ] {
        let file = Path::new(file);
        if file.exists() {
            named_in_each_way(file, "a file of the system itself");
            let room = Room::new();
            let link = room.at("link.toml");
            std::os::unix::fs::symlink(file, &link).unwrap();
            named_in_each_way(&link, "a file of the system itself");
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_style_that_lies_beside_a_score_does_not_open_the_system() {
    for file in [
        "/proc/self/environ",
        "/proc/self/pagemap",
        "/dev/zero",
        "/proc/kmsg",
    ] {
        let room = Room::new();
        room.write("a/chartproof.toml", &format!("extends = \"{file}\"\n"));
        refused(file, &room.proof(&[]), "leads out of");
        let style = room.at("a/chartproof.toml");
        // Who names the style trusts it; the system's files are none all the same.
        let by_name = room.proof(&[OsStr::new("--style"), style.as_os_str()]);
        refused(file, &by_name, "an ordinary file was expected");
        fs::remove_file(&style).unwrap();
        std::os::unix::fs::symlink(file, &style).unwrap();
        refused(file, &room.proof(&[]), "a link out of");
        fs::remove_file(&style).unwrap();
        pipe(&style);
        refused(file, &room.proof(&[]), "this is a pipe");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_ledger_that_is_found_is_an_ordinary_file() {
    for file in ["/dev/zero", "/proc/self/environ", "/proc/self/pagemap"] {
        let room = Room::new();
        let ledger = room.at("chartproof.ledger");
        std::os::unix::fs::symlink(file, &ledger).unwrap();
        let answer = run([
            "ledger".as_ref(),
            room.at("a").as_os_str(),
            "--ledger".as_ref(),
            ledger.as_os_str(),
        ]);
        refused(file, &answer, "an ordinary file was expected");
        let ledger = ledger.as_os_str();
        refused(
            file,
            &room.proof(&[OsStr::new("--ledger"), ledger]),
            "an ordinary file was expected",
        );
    }
}

#[test]
fn what_a_found_style_extends_stays_in_its_folder_or_repository() {
    let room = Room::new();
    room.write("house.toml", "extends = \"choir\"\n");
    room.write("secret.toml", SECRET);
    // Without a repository as far as the folder that is named.
    let all = room.0.path().as_os_str();
    room.write("a/chartproof.toml", "extends = \"../house.toml\"\n");
    assert_eq!(run([OsStr::new("proof"), all]).code, 0);
    room.write("list", &room.0.path().display().to_string());
    let list = room.at("list");
    let by_list = run([OsStr::new("proof"), OsStr::new("--list"), list.as_os_str()]);
    refused("nobody typed it", &by_list, "leads out of");
    room.write("a/chartproof.toml", "extends = \"../../house.toml\"\n");
    let further = run([OsStr::new("proof"), all]);
    refused("out of what is named", &further, "there is no file");
    for base in ["../house.toml", "./../a/../house.toml", "../secret.toml"] {
        room.write("a/chartproof.toml", &format!("extends = \"{base}\"\n"));
        refused(base, &room.proof(&[]), "leads out of");
    }
    let whole = room
        .at("house.toml")
        .display()
        .to_string()
        .replace('\\', "/");
    room.write("a/chartproof.toml", &format!("extends = \"{whole}\"\n"));
    refused("by its whole name", &room.proof(&[]), "leads out of");
    // Named, it is trusted; so is what lies in its own repository.
    let style = room.at("a/chartproof.toml");
    assert_eq!(
        room.proof(&[OsStr::new("--style"), style.as_os_str()]).code,
        0
    );
    room.write("a/chartproof.toml", "extends = \"../house.toml\"\n");
    fs::create_dir(room.at(".git")).unwrap();
    assert_eq!(room.proof(&[]).code, 0);
    // The nearest repository is its own.
    fs::create_dir(room.at("a/.git")).unwrap();
    refused("from an inner one", &room.proof(&[]), "leads out of");
    // But for a style that holds for the folder anyhow; that one leads no further by it.
    room.write("a/chartproof.toml", "extends = \"../chartproof.toml\"\n");
    room.write("chartproof.toml", "extends = \"house.toml\"\n");
    assert_eq!(room.proof(&[]).code, 0);
    fs::remove_dir(room.at(".git")).unwrap();
    assert_eq!(room.proof(&[]).code, 0);
    let other = tempfile::tempdir().unwrap();
    fs::write(other.path().join("other.toml"), SECRET).unwrap();
    let other = other.path().join("other.toml").display().to_string();
    let text = format!("extends = \"{}\"\n", other.replace('\\', "/"));
    room.write("chartproof.toml", &text);
    refused("by way of it", &room.proof(&[]), "leads out of");
    room.write("chartproof.toml", "[[score]]\nfiles = [\"../*.passage\"]\n");
    refused("by a pattern of it", &room.proof(&[]), "leads out of");
}

#[cfg(unix)]
#[test]
fn links_do_not_lead_a_found_style_out() {
    use std::os::unix::fs::symlink;
    let room = Room::new();
    room.write("house.toml", "extends = \"choir\"\n");
    symlink("../house.toml", room.at("a/base.toml")).unwrap();
    symlink("..", room.at("a/up")).unwrap();
    for base in ["base.toml", "up/house.toml"] {
        room.write("a/chartproof.toml", &format!("extends = \"{base}\"\n"));
        refused(base, &room.proof(&[]), "leads out of");
    }
    fs::remove_file(room.at("a/chartproof.toml")).unwrap();
    symlink("../house.toml", room.at("a/chartproof.toml")).unwrap();
    refused("itself", &room.proof(&[]), "a link out of");
}

#[test]
fn lines_of_a_file_that_is_no_style_are_not_shown() {
    let room = Room::new();
    for text in [
        SECRET,
        "TOKEN = s3cr3t",
        "s3cr3t: 1",
        "[s3cr3t",
        "gate = \"s3cr3t\"",
        "a = 1\na = \"s3cr3t\"",
    ] {
        room.write("a/.env", text);
        room.write("a/chartproof.toml", "extends = \"./.env\"\n");
        refused(text, &room.proof(&[]), "none of its lines are shown");
        let file = room.at("a/.env");
        let by_name = room.proof(&[OsStr::new("--style"), file.as_os_str()]);
        refused(text, &by_name, "none of its lines are shown");
        #[cfg(unix)]
        {
            let link = room.at("a/link.toml");
            std::os::unix::fs::symlink(".env", &link).unwrap();
            room.write("a/chartproof.toml", "extends = \"link.toml\"\n");
            refused(text, &room.proof(&[]), "none of its lines are shown");
            fs::remove_file(link).unwrap();
        }
    }
}

#[test]
fn lines_of_a_file_that_is_no_score_are_not_shown() {
    let room = Room::new();
    for text in [
        SECRET,
        "<a>s3cr3t</b>",
        "<s3cr3t/>",
        "count | 1 |\npiano | s3cr3t |\n",
    ] {
        room.write("credentials", text);
        let file = room.at("credentials");
        let all = |file: &Path| run([OsStr::new("proof"), file.as_os_str()]);
        refused(text, &all(&file), "none of its lines are shown");
        #[cfg(unix)]
        {
            let link = room.at("new.passage");
            std::os::unix::fs::symlink("credentials", &link).unwrap();
            refused(text, &all(&link), "none of its lines are shown");
            fs::remove_file(link).unwrap();
        }
    }
    // One without mistakes is read, whatever its name is.
    room.write("credentials", GRID);
    let file = room.at("credentials");
    assert_eq!(run([OsStr::new("proof"), file.as_os_str()]).code, 0);
}

#[test]
fn lines_of_a_file_that_is_no_ledger_or_list_are_not_shown() {
    let room = Room::new();
    for text in [
        SECRET,
        "format = \"s3cr3t\"",
        "format = s3cr3t",
        "s3cr3t",
        "format = \"x\"\ns3cr3t = 1",
    ] {
        room.write("other", text);
        let other = room.at("other");
        let answer = room.proof(&[OsStr::new("--ledger"), other.as_os_str()]);
        refused(text, &answer, "this is not a ledger");
        let answer = run([OsStr::new("proof"), OsStr::new("--list"), other.as_os_str()]);
        assert!(!answer.all().contains("s3cr3t"), "{}", answer.all());
    }
}

#[test]
fn files_beyond_any_style_ledger_or_list_are_refused_by_their_size() {
    let room = Room::new();
    let large = room.at("a/chartproof.toml");
    fs::File::create(&large).unwrap().set_len(5 << 30).unwrap();
    refused(
        "a found style",
        &room.proof(&[]),
        "at most 4194304 are read",
    );
    let large = large.as_os_str();
    refused(
        "a style",
        &room.proof(&[OsStr::new("--style"), large]),
        "at most 4194304 are read",
    );
    let ledger = [
        OsStr::new("--style"),
        OsStr::new("chart"),
        OsStr::new("--ledger"),
        large,
    ];
    refused(
        "a ledger",
        &room.proof(&ledger),
        "at most 16777216 are read",
    );
    let list = run([OsStr::new("proof"), OsStr::new("--list"), large]);
    refused("a list", &list, "longer than 67108864 bytes");
}

/// The files of a `[[score]]` are read, so they stay where the style is.
#[test]
fn the_part_files_of_a_found_style_stay_in_its_folder() {
    let room = Room::new();
    room.write("other/y.passage", SECRET);
    for (files, words) in [
        ("../other/*", "leads out of"),
        ("../**/*.passage", "leads out of"),
        ("sub/../../other/y.passage", "a `..` follows a name"),
        ("**/../../other/*", "a `..` follows a name"),
    ] {
        let text = format!("[[score]]\nfiles = [\"x.passage\", \"{files}\"]\n");
        room.write("a/chartproof.toml", &text);
        refused(files, &room.proof(&[]), words);
    }
    // Nor is a file of the repository opened that is no score: it would be read aloud.
    room.write("a/.git/config", SECRET);
    room.write("a/secrets.json", SECRET);
    for files in [".git/config", "secrets.json", "*.json", "**/*.json"] {
        let text = format!("[[score]]\nfiles = [\"x.passage\", \"{files}\"]\n");
        room.write("a/chartproof.toml", &text);
        let answer = run([OsStr::new("proof"), room.at("a/x.passage").as_os_str()]);
        refused(files, &answer, "this is not read");
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("../other", room.at("a/link")).unwrap();
        for files in [
            "link/*.passage",
            "*/y.passage",
            "link/y.passage",
            "li*/**/*.passage",
        ] {
            let text = format!("[[score]]\nfiles = [\"x.passage\", \"{files}\"]\n");
            room.write("a/chartproof.toml", &text);
            let answer = run([OsStr::new("proof"), room.at("a/x.passage").as_os_str()]);
            refused(files, &answer, "this is not read");
        }
    }
}
