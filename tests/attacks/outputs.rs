//! Inputs stay: no result lands on anything that was read, and no link leads out of the folder of results.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A folder for one attack; commands run in it.
struct Place(tempfile::TempDir);

struct Ran {
    code: i32,
    err: String,
}

fn sample(name: &str) -> PathBuf {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    samples.join(name)
}

fn score() -> Vec<u8> {
    fs::read(sample("ferry-at-six.musicxml")).unwrap()
}

impl Place {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::create_dir_all(self.at(name).parent().unwrap()).unwrap();
        fs::write(self.at(name), bytes).unwrap();
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_chartproof"));
        command.args(args).current_dir(self.0.path());
        command
    }

    fn run(&self, args: &[&str]) -> Ran {
        let output = self.command(args).output().unwrap();
        Ran {
            code: output.status.code().expect("the run was killed"),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Every file and link with its bytes, without following a link.
    fn files(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.0.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
                let (path, kind) = (entry.path(), entry.file_type().unwrap());
                if kind.is_dir() {
                    folders.push(path);
                } else if kind.is_symlink() {
                    let to = fs::read_link(&path).unwrap();
                    found.insert(path, to.into_os_string().into_encoded_bytes());
                } else if kind.is_file() {
                    let bytes = fs::read(&path).unwrap();
                    found.insert(path, bytes);
                }
            }
        }
        found
    }

    /// The run is refused with this sentence, and no file is another than before.
    fn refused(&self, args: &[&str], sentence: &str) {
        let before = self.files();
        let ran = self.run(args);
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.err);
        assert!(ran.err.contains(sentence), "{args:?}: {}", ran.err);
        assert!(before == self.files(), "{args:?} has written: {}", ran.err);
    }

    /// The run ends well.
    fn done(&self, args: &[&str]) -> Ran {
        let ran = self.run(args);
        assert!(matches!(ran.code, 0 | 1), "{args:?}: {}", ran.err);
        ran
    }
}

const INPUT: &str = "is one of the files that are read";
const LINK: &str = "is a link";

#[test]
fn a_file_of_a_walked_folder_that_cannot_be_read_stays() {
    let place = Place::new();
    place.put("a/x.musicxml", score());
    place.put("b/x.musicxml", &score()[..3000]);
    for command in ["correct", "mark"] {
        place.refused(&[command, "a/x.musicxml", "b", "--into", "b"], INPUT);
        let args = [command, "a/x.musicxml", "b", "--into", "b", "--replace"];
        place.refused(&args, INPUT);
    }
}

#[test]
fn a_file_of_a_walked_folder_that_is_no_score_stays() {
    let place = Place::new();
    place.put("a/build.xml", score());
    place.put("b/build.xml", "<project/>");
    place.put("b/y.musicxml", score());
    for command in ["correct", "mark"] {
        for more in [&[][..], &["--replace"]] {
            let args = [&[command, "a/build.xml", "b", "--into", "b"], more].concat();
            place.refused(&args, INPUT);
        }
    }
}

#[test]
fn a_copy_goes_nowhere_outside_by_the_way_up() {
    let place = Place::new();
    place.put("a/y.musicxml", score());
    place.put("b/x.musicxml", score());
    fs::create_dir(place.at("out")).unwrap();
    let args = ["correct", "a", "a/../b/x.musicxml", "--into", "out"];
    let before = fs::read(place.at("b/x.musicxml")).unwrap();
    place.done(&args);
    assert_eq!(fs::read(place.at("b/x.musicxml")).unwrap(), before);
    assert!(place.at("out/x.musicxml").is_file());
}

#[test]
fn a_report_takes_no_place_of_what_was_read() {
    let place = Place::new();
    place.put("a/x.musicxml", score());
    place.put("my.toml", "extends = \"./base.style\"");
    place.put("base.style", "extends = \"chart\"");
    place.put("other.style", "extends = \"./base.style\"");
    place.put("two/x.musicxml", score());
    place.put("two/bad/y.musicxml", score());
    place.put("two/bad/chartproof.toml", "extends = \"./bad.style\"");
    place.put("two/bad/bad.style", "abuot = 1");
    place.put("a/chartproof.toml", "extends = \"./deep/base.style\"");
    place.put("a/deep/base.style", "extends = \"chart\"");
    place.put("l", "a/x.musicxml\n");
    place.put("key/x.musicxml", score());
    place.done(&["ledger", "a", "--ledger", "kept"]);
    fs::hard_link(place.at("base.style"), place.at("hard")).unwrap();
    for (args, target) in [
        (&["proof", "a", "--style", "my.toml"][..], "my.toml"),
        (&["proof", "a", "--style", "other.style"], "other.style"),
        // One of the styles has mistakes, the other scores are reported.
        (&["proof", "two"], "two/bad/bad.style"),
        (&["proof", "two"], "two/bad/chartproof.toml"),
        (&["proof", "a"], "a/chartproof.toml"),
        (&["proof", "a"], "a/deep/base.style"),
        (&["proof", "--list", "l"], "l"),
        (&["proof", "--list", "l"], "./a/../l"),
        (&["proof", "a", "--ledger", "kept"], "kept"),
        (&["proof", "a"], "a/x.musicxml"),
        (&["proof", "a", "--class", "--key", "key"], "key/x.musicxml"),
        (&["proof", "a", "--class", "--style", "other.style"], "hard"),
        (&["analysis", "a", "--style", "other.style"], "base.style"),
        (&["analysis", "a", "--style", "other.style"], "hard"),
        (&["analysis", "--list", "l"], "l"),
    ] {
        place.refused(&[args, &["--into", target]].concat(), INPUT);
    }
    place.refused(&["ledger", "--list", "l", "--ledger", "l"], "ledger");
    let voice = |more: &[&str]| {
        let args = ["voice", "a/x.musicxml", "--technique", "drop 2"];
        place.refused(&[&args, more].concat(), INPUT);
    };
    voice(&["--into", "a/x.musicxml"]);
    voice(&["--into", "a/x.musicxml", "--replace"]);
    // What was read by one name is not replaced by another.
    fs::hard_link(place.at("a/x.musicxml"), place.at("hard.musicxml")).unwrap();
    voice(&["--into", "hard.musicxml", "--replace"]);
}

#[test]
fn a_report_takes_no_place_of_another_score_or_style() {
    let place = Place::new();
    place.put("x.musicxml", score());
    for name in ["y.musicxml", "chartproof.TOML", "chartproof.ledger"] {
        place.put(name, "kept");
        place.refused(
            &["proof", "x.musicxml", "--into", name],
            "name another file",
        );
    }
    place.put("report.html", "an earlier one");
    place.done(&[
        "proof",
        "x.musicxml",
        "--format",
        "html",
        "--into",
        "report.html",
    ]);
    // In a folder that is walked as well, run after run.
    for _ in 0..2 {
        let ran = place.run(&["proof", ".", "--into", "report.txt"]);
        assert!(!ran.err.contains("is one of"), "{}", ran.err);
    }
    assert!(place.at("report.txt").is_file());
}

#[test]
fn hard_links_of_inputs_are_inputs() {
    let place = Place::new();
    place.put("a/x.musicxml", score());
    place.put("notes.txt", "precious");
    fs::create_dir(place.at("out")).unwrap();
    fs::hard_link(place.at("a/x.musicxml"), place.at("out/x.musicxml")).unwrap();
    for command in ["correct", "mark"] {
        let args = [command, "a/x.musicxml", "--into", "out", "--replace"];
        place.refused(&args, INPUT);
    }
    fs::remove_file(place.at("out/x.musicxml")).unwrap();
    fs::hard_link(place.at("notes.txt"), place.at("out/x.musicxml")).unwrap();
    place.refused(&["correct", "a/x.musicxml", "--into", "out"], "--replace");
    place.done(&["correct", "a/x.musicxml", "--into", "out", "--replace"]);
    assert_eq!(fs::read(place.at("notes.txt")).unwrap(), b"precious");
    assert!(fs::read(place.at("out/x.musicxml")).unwrap().len() > 1000);
}

#[test]
fn only_scores_are_replaced_unless_it_is_said() {
    let place = Place::new();
    place.put("x.musicxml", score());
    let copies = |command| [command, "x.musicxml", "--into", "out"];
    for command in ["correct", "mark"] {
        for other in ["", "a shopping list", "<svg/>", "PK\u{3}\u{4}"] {
            place.put("out/x.musicxml", other);
            place.refused(&copies(command), "--replace");
        }
        place.done(&[&copies(command)[..], &["--replace"]].concat());
        // The copy of an earlier run is replaced as ever.
        let whole = fs::read(place.at("out/x.musicxml")).unwrap();
        place.put("out/x.musicxml", score());
        place.done(&copies(command));
        assert!(fs::read(place.at("out/x.musicxml")).unwrap() == whole);
    }
    let voice = ["voice", "x.musicxml", "--technique", "four-way close"];
    let voice = [
        &voice[..],
        &["--section", "saxes", "--into", "answer.musicxml"],
    ]
    .concat();
    place.put("answer.musicxml", "a shopping list");
    place.refused(&voice, "--replace");
    place.done(&[&voice[..], &["--replace"]].concat());
    place.done(&voice);
}

#[test]
fn an_earlier_copy_is_known_by_the_instruments_of_its_house_style() {
    let place = Place::new();
    place.put(
        "chartproof.toml",
        "[[instrument]]\nkey = \"slide-horn\"\nname = \"slide horn\"\nlabel = \"slide horn\"\n\
         section = \"trombones\"\nfamily = \"brass\"\nclefs = [\"F\"]\nsingle_line = true\n\
         transpose = { diatonic = 0, chromatic = 0, octave = 0 }\n\
         professional = [\"E2\", \"F4\"]\nnames = [\"slide horn\"]\n",
    );
    place.put(
        "in/x.passage",
        "parts: one = slide horn\n\ncount | 1 2 |\none | C3 D3 |\n",
    );
    for _ in 0..2 {
        place.done(&["correct", "in", "--into", "out"]);
    }
}

#[test]
fn results_of_an_earlier_run_are_not_read_by_the_next() {
    let place = Place::new();
    place.put("x.musicxml", score());
    place.put("sub/y.musicxml", score());
    for command in ["correct", "mark"] {
        let into = format!("{command}ed");
        let args = [command, "x.musicxml", "sub", ".", "--into", &into];
        place.done(&args);
        let once = place.files();
        for _ in 0..2 {
            place.done(&args);
            assert!(once == place.files());
        }
        fs::remove_dir_all(place.at(&into)).unwrap();
    }
    place.done(&["correct", ".", "--into", "out"]);
    let ran = place.done(&["-v", "correct", ".", "--into", "./out/"]);
    assert!(ran.err.contains("out: not read"), "{}", ran.err);
    // Named outright it is read, and stays.
    place.refused(&["correct", ".", "out", "--into", "out"], "");
    place.refused(&["correct", "out", "--into", "out"], INPUT);
    place.refused(&["correct", "out/x.musicxml", "--into", "out"], INPUT);
    // A score of its own under a folder for results is not one of the walk.
    place.done(&["correct", "--one-score", "sub", "--into", "sub/out"]);
    place.done(&["correct", "--one-score", "sub", "--into", "sub/out"]);
}

fn parts(place: &Place) -> Vec<String> {
    let mut names = Vec::new();
    for entry in fs::read_dir(sample("ferry-at-six-parts")).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().into_string().unwrap();
        place.put(&format!("parts/{name}"), fs::read(entry.path()).unwrap());
        names.push(name);
    }
    names.sort();
    names
}

#[test]
fn the_copies_of_a_set_are_written_all_or_none() {
    let place = Place::new();
    let names = parts(&place);
    assert_eq!(names.len(), 5);
    let fifth = place.at("out").join(&names[4]);
    fs::create_dir_all(&fifth).unwrap();
    for command in ["correct", "mark"] {
        for more in [&[][..], &["--replace"]] {
            let args = [&[command, "--one-score", "parts", "--into", "out"], more].concat();
            place.refused(&args, "is not an ordinary file");
            // Also as five scores.
            let args = [&[command, "parts", "--into", "out"], more].concat();
            place.refused(&args, "no copy was written");
        }
    }
    fs::remove_dir(&fifth).unwrap();
    place.done(&["correct", "--one-score", "parts", "--into", "out"]);
    for name in &names {
        assert!(place.at("out").join(name).is_file());
    }
}

#[test]
fn two_copies_of_one_name_are_refused_before_anything_is_written() {
    let place = Place::new();
    place.put("a/x.musicxml", score());
    place.put("b/x.musicxml", score());
    let args = ["correct", "a/x.musicxml", "b/x.musicxml", "--into", "out"];
    place.refused(&args, "would both be written to");
    assert!(!place.at("out").exists());
}

#[cfg(unix)]
mod links {
    use super::*;
    use std::os::unix::fs::symlink;
    use std::sync::atomic::{AtomicBool, Ordering};

    #[test]
    fn no_link_is_followed_out_of_the_folder_of_results() {
        let place = Place::new();
        place.put("a/x.musicxml", score());
        place.put("a/sub/q.musicxml", score());
        place.put("victim.txt", "precious");
        place.put("elsewhere/kept.txt", "precious");
        fs::create_dir(place.at("out")).unwrap();
        let linked = |to: &str, link: &str, args: &[&str]| {
            symlink(to, place.at(link)).unwrap();
            place.refused(args, LINK);
            fs::remove_file(place.at(link)).unwrap();
        };
        for command in ["correct", "mark"] {
            for more in [&[][..], &["--replace"]] {
                let one = [&[command, "a/x.musicxml", "--into", "out"], more].concat();
                linked("../victim.txt", "out/x.musicxml", &one);
                linked("nothing-there", "out/x.musicxml", &one);
                linked("x.musicxml", "out/x.musicxml", &one);
                let all = [&[command, "a", "--into", "out"], more].concat();
                linked("../elsewhere", "out/sub", &all);
                linked("inside", "out/sub", &all);
                let whole = [&[command, "a", "--into", "corrected"], more].concat();
                linked("elsewhere", "corrected", &whole);
                linked("nothing-there", "corrected", &whole);
            }
        }
        let voice = ["voice", "a/x.musicxml", "--technique", "four-way close"];
        let voice = [&voice[..], &["--section", "saxes", "--into", "v.musicxml"]].concat();
        linked("victim.txt", "v.musicxml", &voice);
        let class = ["proof", "a", "--class", "--into", "report"];
        for args in [&["proof", "a", "--into", "report"][..], &class] {
            linked("victim.txt", "report", args);
            linked("nothing-there", "report", args);
        }
        linked("victim.txt", "r", &["analysis", "a", "--into", "r"]);
        let ledger = "chartproof.ledger";
        linked("victim.txt", ledger, &["ledger", "a"]);
        linked("nothing-there", ledger, &["ledger", "a"]);
        linked("victim.txt", "l", &["ledger", "a", "--ledger", "l"]);
    }

    #[test]
    fn pipes_and_devices_are_not_written_to() {
        let place = Place::new();
        place.put("a/x.musicxml", score());
        fs::create_dir(place.at("out")).unwrap();
        let made = Command::new("mkfifo")
            .arg(place.at("out/x.musicxml"))
            .status();
        assert!(made.unwrap().success());
        let ordinary = "is not an ordinary file";
        place.refused(&["correct", "a", "--into", "out", "--replace"], ordinary);
        place.refused(&["mark", "a", "--into", "out"], ordinary);
        place.refused(&["proof", "a", "--into", "/dev/null"], ordinary);
        place.refused(&["proof", "a", "--into", "out"], ordinary);
        place.refused(&["correct", "a", "--into", "/dev/null"], "is not a folder");
    }

    /// The link is put in place of the folder or the file while the runs go, and taken away again.
    #[test]
    fn a_link_that_is_put_there_meanwhile_is_not_followed() {
        let place = Place::new();
        place.put("a/x.musicxml", score());
        place.put("a/sub/q.musicxml", score());
        place.put("victim.txt", "precious");
        place.put("elsewhere/kept.txt", "precious");
        fs::create_dir_all(place.at("out/sub")).unwrap();
        let going = AtomicBool::new(true);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let (sub, aside) = (place.at("out/sub"), place.at("out/aside"));
                while going.load(Ordering::Relaxed) {
                    let _ = fs::rename(&sub, &aside);
                    let _ = symlink("../elsewhere", &sub);
                    let _ = symlink("../victim.txt", place.at("out/x.musicxml"));
                    std::thread::yield_now();
                    let _ = fs::remove_file(&sub);
                    let _ = fs::rename(&aside, &sub);
                    let _ = fs::remove_file(place.at("out/x.musicxml"));
                }
            });
            for turn in 0..30 {
                let command = ["correct", "mark"][turn % 2];
                place.run(&[command, "a", "--into", "out"]);
            }
            going.store(false, Ordering::Relaxed);
        });
        assert_eq!(fs::read(place.at("victim.txt")).unwrap(), b"precious");
        let elsewhere: Vec<_> = fs::read_dir(place.at("elsewhere")).unwrap().collect();
        assert_eq!(elsewhere.len(), 1, "{elsewhere:?}");
        assert_eq!(fs::read(place.at("a/x.musicxml")).unwrap(), score());
    }
}
