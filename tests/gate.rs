//! The gate as the keeper of a score repository meets it: a scripted git repository, the ledger, a
//! revision to compare with, lists of files.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use serde_json::Value;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A git repository in a folder of its own, out of reach of the user's settings.
pub struct Repository {
    folder: tempfile::TempDir,
}

pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Repository {
    pub fn new() -> Self {
        let repository = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        repository.git(&["init", "-q", "-b", "main"]);
        repository
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    /// Git with the settings every test needs.
    pub fn command(&self) -> Command {
        let mut command = Command::new("git");
        command
            .current_dir(self.folder.path())
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_NOSYSTEM", "1")
            .env("GIT_AUTHOR_NAME", "Keeper")
            .env("GIT_AUTHOR_EMAIL", "keeper@band.example")
            .env("GIT_COMMITTER_NAME", "Keeper")
            .env("GIT_COMMITTER_EMAIL", "keeper@band.example")
            // The hook finds the program that is tested.
            .env("PATH", with_program());
        command
    }

    pub fn try_git(&self, args: &[&str]) -> Ran {
        ran(self.command().args(args))
    }

    pub fn git(&self, args: &[&str]) -> String {
        let ran = self.try_git(args);
        assert_eq!(ran.code, 0, "git {args:?}: {}{}", ran.out, ran.err);
        ran.out
    }

    pub fn commit(&self, message: &str) {
        self.git(&["add", "-A"]);
        self.git(&["commit", "-q", "-m", message]);
    }

    /// chartproof in the repository's folder.
    pub fn run(&self, args: &[&str]) -> Ran {
        self.run_in("", args)
    }

    pub fn run_in(&self, folder: &str, args: &[&str]) -> Ran {
        ran(program().current_dir(self.path(folder)).args(args))
    }

    pub fn findings(&self, args: &[&str]) -> Vec<String> {
        let mut all = vec!["proof", "--format", "json"];
        all.extend(args);
        let ran = self.run(&all);
        let report: Value = serde_json::from_str(&ran.out)
            .unwrap_or_else(|e| panic!("{e}: {}{}", ran.out, ran.err));
        told(&report)
    }
}

pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_chartproof"));
    command.env_remove("COLUMNS");
    command
}

fn with_program() -> std::ffi::OsString {
    let program = Path::new(env!("CARGO_BIN_EXE_chartproof"));
    let mut places = vec![program.parent().unwrap().to_owned()];
    places.extend(std::env::split_paths(&std::env::var_os("PATH").unwrap()));
    std::env::join_paths(places).unwrap()
}

pub fn ran(command: &mut Command) -> Ran {
    let output = command.stdin(Stdio::null()).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Rule, bar and beat of every finding that counts.
fn told(report: &Value) -> Vec<String> {
    report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| {
            format!(
                "{} {} {}",
                f["rule"].as_str().unwrap(),
                f["bar"].as_str().unwrap(),
                f["beat"]
            )
        })
        .collect()
}

const HEAD: &str = "title: Evening on the Quay
key: F major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
";

/// Right bars, a bar with a wrong note in the second alto, and one with another in the first tenor.
pub const RIGHT: &str = "
chord   | F6   -   -   -  |
count   | 1    2   3   4  |
alto 1  | A4   C5  D5  C5 |
alto 2  | F4   A4  C5  A4 |
tenor 1 | D4   F4  A4  F4 |
tenor 2 | C4   D4  F4  D4 |
";
pub const WRONG_ALTO: &str = "
chord   | F6   -   -   -  |
count   | 1    2   3   4  |
alto 1  | A4   C5  D5  C5 |
alto 2  | F4   Ab4 C5  A4 |
tenor 1 | D4   F4  A4  F4 |
tenor 2 | C4   D4  F4  D4 |
";
const WRONG_TENOR: &str = "
chord   | F6   -   -   -  |
count   | 1    2   3   4  |
alto 1  | A4   C5  D5  C5 |
alto 2  | F4   A4  C5  A4 |
tenor 1 | D4   F4  Ab4 F4 |
tenor 2 | C4   D4  F4  D4 |
";

pub fn passage(systems: &[&str]) -> String {
    HEAD.to_owned() + &systems.concat()
}

#[test]
fn an_old_mistake_passes_a_new_one_does_not_and_mending_shrinks_the_ledger() {
    let repository = Repository::new();
    repository.write("scores/quay.passage", &passage(&[RIGHT, WRONG_ALTO]));
    let proof = ["proof", "--ledger", "chartproof.ledger", "scores"];
    assert_eq!(repository.findings(&["scores"]), ["wrong-note 2 2.0"]);
    let made = repository.run(&["ledger", "scores"]);
    assert_eq!((made.code, made.err.as_str()), (0, ""));
    assert_eq!(
        made.out,
        "chartproof.ledger: 1 finding recorded (1 new, 0 gone)\n"
    );
    let ledger = repository.read("chartproof.ledger");
    assert!(
        ledger.contains("file = \"scores/quay.passage\""),
        "{ledger}"
    );
    // What is on the ledger passes.
    let passed = repository.run(&proof);
    assert_eq!(passed.code, 0, "{}", passed.out);
    assert!(passed.out.contains("Nothing new found."), "{}", passed.out);
    assert!(
        passed.out.contains("1 finding on the ledger is not shown"),
        "{}",
        passed.out
    );
    // Four bars before it, and it still passes.
    repository.write(
        "scores/quay.passage",
        &passage(&[RIGHT, RIGHT, RIGHT, RIGHT, RIGHT, WRONG_ALTO]),
    );
    assert_eq!(repository.run(&proof).code, 0);
    // The same mistake once more, before the old one: exactly the new one.
    let known = ["--ledger", "chartproof.ledger", "scores"];
    repository.write(
        "scores/quay.passage",
        &passage(&[WRONG_ALTO, RIGHT, RIGHT, RIGHT, RIGHT, WRONG_ALTO]),
    );
    assert_eq!(repository.findings(&known), ["wrong-note 1 2.0"]);
    assert_eq!(repository.run(&proof).code, 1);
    // Another mistake, in the bar before the old one.
    repository.write(
        "scores/quay.passage",
        &passage(&[RIGHT, RIGHT, RIGHT, RIGHT, WRONG_TENOR, WRONG_ALTO]),
    );
    assert_eq!(repository.findings(&known), ["wrong-note 5 3.0"]);
    // Mended: it leaves the ledger.
    repository.write(
        "scores/quay.passage",
        &passage(&[RIGHT, RIGHT, RIGHT, RIGHT, RIGHT, RIGHT]),
    );
    let shrunk = repository.run(&["ledger", "scores"]);
    assert_eq!(
        shrunk.out,
        "chartproof.ledger: 0 findings recorded (0 new, 1 gone)\n"
    );
    assert!(!repository.read("chartproof.ledger").contains("[[finding]]"));
}

#[test]
fn the_commit_hook_lets_pass_what_is_clean_or_on_the_ledger_and_nothing_else() {
    let repository = Repository::new();
    let hook = repository.path(".git/hooks/pre-commit");
    fs::create_dir_all(hook.parent().unwrap()).unwrap();
    fs::copy(sample("gate/pre-commit"), &hook).unwrap();
    let commit = |message: &str| repository.try_git(&["commit", "-q", "-m", message]);
    let add = || repository.git(&["add", "-A"]);
    // Nothing but words: nothing to proof.
    repository.write("README.md", "Scores.\n");
    add();
    let words = commit("words");
    assert_eq!(words.code, 0, "{}{}", words.out, words.err);
    assert!(
        words.err.contains("nothing to do: the list names no score"),
        "{}",
        words.err
    );
    // A clean score, in a folder with blanks in its name.
    let name = "saxes, soli/evening quay.passage";
    repository.write(name, &passage(&[RIGHT, RIGHT]));
    add();
    assert_eq!(commit("clean").code, 0);
    // A new mistake: exactly that one is told, and there is no commit.
    repository.write(name, &passage(&[RIGHT, WRONG_ALTO]));
    add();
    let stopped = commit("wrong");
    assert_ne!(stopped.code, 0);
    let said = stopped.out + &stopped.err;
    assert_eq!(said.matches("error \u{b7} ").count(), 1, "{said}");
    assert!(said.contains("error \u{b7} wrong-note \u{b7} "), "{said}");
    assert!(said.contains("\u{d7} bar 2, beat 2: alto 2"), "{said}");
    assert!(said.contains("saxes, soli/evening quay.passage:"), "{said}");
    assert_eq!(repository.git(&["log", "--format=%s"]), "clean\nwords\n");
    // On the ledger it passes.
    repository.run(&["ledger", "."]);
    add();
    let passed = commit("on the ledger");
    assert_eq!(passed.code, 0, "{}{}", passed.out, passed.err);
    // What counts is what is committed: a mistake that is mended in the folder only is still there.
    repository.write(
        name,
        &passage(&[RIGHT, RIGHT, RIGHT, RIGHT, RIGHT, WRONG_ALTO, WRONG_TENOR]),
    );
    add();
    repository.write(
        name,
        &passage(&[RIGHT, RIGHT, RIGHT, RIGHT, RIGHT, WRONG_ALTO]),
    );
    let stopped = commit("mended in the folder only");
    assert_ne!(stopped.code, 0);
    assert!(stopped.out.contains("bar 7, beat 3") || stopped.err.contains("bar 7, beat 3"));
    // Four bars put in before it: it passes.
    add();
    assert_eq!(commit("four more bars").code, 0);
    // Mended: the ledger shrinks, and the commit passes.
    repository.write(name, &passage(&[RIGHT, RIGHT]));
    let shrunk = repository.run(&["ledger", "."]);
    assert!(
        shrunk.out.contains("0 findings recorded (0 new, 1 gone)"),
        "{}",
        shrunk.out
    );
    add();
    assert_eq!(commit("mended").code, 0);
    assert_eq!(repository.git(&["status", "--porcelain"]), "");
}

#[test]
fn the_build_servers_job_publishes_a_log_and_fails_on_what_is_new() {
    let repository = Repository::new();
    repository.write("quay.passage", &passage(&[RIGHT, WRONG_ALTO]));
    repository.commit("with a mistake");
    repository.git(&["checkout", "-q", "-b", "change"]);
    let job = |base: &str| {
        let mut command = Command::new("sh");
        command
            .arg(sample("gate/ci-job"))
            .current_dir(repository.folder.path())
            .env("PATH", with_program())
            .env("BASE", base);
        ran(&mut command)
    };
    let log = || -> Value { serde_json::from_str(&repository.read("chartproof.sarif")).unwrap() };
    // The mistake was there before.
    let passed = job("main");
    assert_eq!(passed.code, 0, "{}{}", passed.out, passed.err);
    assert_eq!(log()["runs"][0]["results"][0]["baselineState"], "unchanged");
    // Without a base it counts.
    assert_eq!(job("").code, 1);
    assert!(log()["runs"][0]["results"][0]["baselineState"].is_null());
    repository.write("quay.passage", &passage(&[RIGHT, WRONG_ALTO, WRONG_TENOR]));
    let failed = job("main");
    assert_eq!(failed.code, 1);
    assert!(
        failed.out.contains("bar 3, beat 3: tenor 1"),
        "{}",
        failed.out
    );
    assert!(
        failed
            .out
            .contains("1 finding that the revision has too is not shown"),
        "{}",
        failed.out
    );
    let states: Vec<Value> = log()["runs"][0]["results"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["baselineState"].clone())
        .collect();
    assert_eq!(states, ["unchanged", "new"]);
    // On the ledger it does not.
    repository.run(&["ledger", "."]);
    assert_eq!(job("main").code, 0);
    assert_eq!(
        log()["runs"][0]["results"][1]["suppressions"][0]["kind"],
        "external"
    );
    assert_eq!(job("no-such-branch").code, 2);
}

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-parts")
        .join(name)
}

#[test]
fn only_what_the_revision_did_not_have_counts_wherever_the_file_went() {
    let repository = Repository::new();
    let old = "first draft.passage";
    repository.write(old, &passage(&[RIGHT, WRONG_ALTO, RIGHT, RIGHT]));
    repository.write("unchanged.passage", &passage(&[WRONG_TENOR]));
    repository.commit("first");
    repository.git(&["tag", "v1"]);
    let since = |rev: &str| repository.findings(&["--since", rev, "."]);
    assert!(since("HEAD").is_empty());
    // Edited, not committed.
    repository.write(
        old,
        &passage(&[RIGHT, RIGHT, WRONG_ALTO, WRONG_TENOR, RIGHT, RIGHT]),
    );
    assert_eq!(since("HEAD"), ["wrong-note 4 3.0"]);
    // Renamed and committed.
    let new = "book/Quay Street \u{2014} saxes.passage";
    fs::create_dir(repository.path("book")).unwrap();
    repository.git(&["mv", old, new]);
    assert_eq!(since("v1"), ["wrong-note 4 3.0"]);
    repository.commit("second");
    assert_eq!(since("v1"), ["wrong-note 4 3.0"]);
    assert!(since("HEAD").is_empty());
    // Moved without telling git: by its name, or by its bytes.
    fs::rename(
        repository.path(new),
        repository.path("Quay Street \u{2014} saxes.passage"),
    )
    .unwrap();
    assert!(since("HEAD").is_empty());
    fs::rename(
        repository.path("unchanged.passage"),
        repository.path("book/other.passage"),
    )
    .unwrap();
    assert!(since("HEAD").is_empty());
    // A file that was not there: all of it is new.
    repository.write("new.passage", &passage(&[WRONG_ALTO]));
    assert_eq!(since("HEAD"), ["wrong-note 1 2.0"]);
    // From a folder below the top.
    let below = repository.run_in("book", &["proof", "--since", "HEAD", "other.passage"]);
    assert_eq!(below.code, 0, "{}{}", below.out, below.err);
    // Nothing of this touched the repository.
    assert_eq!(repository.git(&["stash", "list"]), "");
    assert_eq!(repository.git(&["diff", "--cached", "--name-only"]), "");
}

#[test]
fn part_files_of_one_score_are_compared_as_one_score() {
    let repository = Repository::new();
    fs::create_dir(repository.path("soli")).unwrap();
    for entry in fs::read_dir(sample("ferry-at-six-parts")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(
            &path,
            repository.path("soli").join(path.file_name().unwrap()),
        )
        .unwrap();
    }
    repository.commit("parts");
    let all = repository.findings(&["--one-score", "soli"]);
    assert!(all.len() > 2);
    let since = || repository.findings(&["--one-score", "--since", "HEAD", "soli"]);
    assert!(since().is_empty());
    // One part is edited: what is new is what that edit brings.
    let edited = repository.path("soli/2-alto-2.musicxml");
    let text = fs::read_to_string(&edited).unwrap();
    let bars: Vec<&str> = text.split("<measure ").collect();
    let last = bars.len() - 1;
    let changed = bars[last].replacen("<duration>", "<duration>1", 1);
    let whole = [&bars[..last], &[changed.as_str()][..]]
        .concat()
        .join("<measure ");
    fs::write(&edited, whole).unwrap();
    let new = since();
    assert!(!new.is_empty() && new.len() < all.len(), "{new:?}");
    // The ledger records where the finding stands: in the part at fault.
    assert_eq!(repository.run(&["ledger", "--one-score", "soli"]).code, 0);
    assert!(
        repository
            .read("chartproof.ledger")
            .contains("file = \"soli/2-alto-2.musicxml\"")
    );
    let known = ["--ledger", "chartproof.ledger", "--one-score", "soli"];
    assert!(repository.findings(&known).is_empty());
}

#[test]
fn what_cannot_be_compared_with_is_said_and_ends_with_code_2() {
    let repository = Repository::new();
    repository.write("quay.passage", &passage(&[RIGHT]));
    let fails = |args: &[&str], says: &str| {
        let ran = repository.run(args);
        assert_eq!(ran.code, 2, "{args:?}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(says), "{args:?}: {}", ran.err);
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
    };
    let quay = "quay.passage";
    fails(
        &["proof", "--since", "HEAD", quay],
        "has no revision `HEAD`",
    );
    repository.commit("first");
    fails(
        &["proof", "--since", "no-such", quay],
        "has no revision `no-such`",
    );
    fails(&["proof", "--since=--all", quay], "has no revision `--all`");
    fails(
        &["proof", "--ledger", "none.ledger", quay],
        "there is no ledger none.ledger",
    );
    fails(&["proof", "--ledger", ".", quay], "is a folder");
    fails(
        &["proof", "--ledger", quay, quay],
        "this is not a ledger: it does not say",
    );
    fails(
        &["ledger", "--ledger", quay, quay],
        "this is not a ledger: it does not say",
    );
    assert_eq!(repository.read(quay), passage(&[RIGHT]));
    repository.write(
        "later.ledger",
        "format = \"chartproof-ledger/9\"\nfuture = 1\n",
    );
    fails(
        &["proof", "--ledger", "later.ledger", quay],
        "expected `chartproof-ledger/1`",
    );
    repository.write(
        "broken.ledger",
        "<<<<<<< HEAD\nformat = \"chartproof-ledger/1\"\n",
    );
    fails(
        &["proof", "--ledger", "broken.ledger", quay],
        "broken.ledger:1:",
    );
    repository.write("odd.ledger", "format = \"chartproof-ledger/1\"\n[[finding]]\nfile = \"a\"\nrule = \"b\"\nfingerprint = \"xyz\"\n");
    fails(
        &["proof", "--ledger", "odd.ledger", quay],
        "`xyz` is not a fingerprint",
    );
    fails(
        &["proof", "--list", "no-such-list"],
        "the list no-such-list could not be read",
    );
    // Outside of any repository.
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join(quay), passage(&[RIGHT])).unwrap();
    let outside_ran = ran(program()
        .current_dir(outside.path())
        .env("GIT_CEILING_DIRECTORIES", outside.path().parent().unwrap())
        .args(["proof", "--since", "HEAD", quay]));
    assert_eq!(outside_ran.code, 2);
    assert!(
        outside_ran.err.contains("is in no git repository"),
        "{}",
        outside_ran.err
    );
    // Without git.
    let without = ran(program()
        .current_dir(repository.folder.path())
        .env("PATH", "")
        .args(["proof", "--since", "HEAD", quay]));
    assert_eq!(without.code, 2);
    assert!(
        without.err.contains("needs the program `git`"),
        "{}",
        without.err
    );
}

#[test]
fn lists_of_files_come_from_a_file_or_the_standard_input() {
    let repository = Repository::new();
    repository.write("a b.passage", &passage(&[WRONG_ALTO]));
    repository.write("notes.txt", "words");
    let listed = |bytes: &[u8], args: &[&str]| {
        let mut child = program()
            .current_dir(repository.folder.path())
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(bytes).unwrap();
        let output = child.wait_with_output().unwrap();
        (
            output.status.code().unwrap(),
            String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap(),
        )
    };
    for bytes in [
        &b"notes.txt\na b.passage\n"[..],
        b"a b.passage\0notes.txt\0",
    ] {
        let (code, said) = listed(bytes, &["proof", "--list", "-"]);
        assert_eq!(code, 1, "{said}");
        assert!(said.contains("1 file, 1 bar"), "{said}");
    }
    // Nothing to do is no mistake, for any command; a log is written all the same.
    let into = repository.path("copies");
    for args in [
        &["proof", "--list", "-"][..],
        &["ledger", "--list", "-"],
        &["analysis", "--list", "-"],
        &["correct", "--list", "-", "--into", into.to_str().unwrap()],
        &["mark", "--list", "-", "--into", into.to_str().unwrap()],
    ] {
        let (code, said) = listed(b"notes.txt\n", args);
        assert_eq!(code, 0, "{args:?}: {said}");
        assert!(
            said.contains("nothing to do: the list names no score"),
            "{args:?}: {said}"
        );
    }
    assert!(!repository.path("chartproof.ledger").exists());
    let (code, _) = listed(
        b"",
        &[
            "proof",
            "--list",
            "-",
            "--format",
            "sarif",
            "--into",
            "empty.sarif",
        ],
    );
    assert_eq!(code, 0);
    let log: Value = serde_json::from_str(&repository.read("empty.sarif")).unwrap();
    assert_eq!(log["runs"][0]["results"], serde_json::json!([]));
    // A file that is not there is a mistake.
    assert_eq!(listed(b"gone.passage\n", &["proof", "--list", "-"]).0, 2);
}

#[test]
fn a_ledger_keeps_reasons_and_what_was_not_looked_at_and_follows_a_renamed_file() {
    let repository = Repository::new();
    repository.write("a.passage", &passage(&[WRONG_ALTO]));
    repository.write("b.passage", &passage(&[WRONG_TENOR, RIGHT]));
    repository.run(&["ledger", "."]);
    let before = repository.read("chartproof.ledger");
    // Run again, not a byte changes.
    repository.run(&["ledger", "a.passage"]);
    assert_eq!(repository.read("chartproof.ledger"), before);
    let reasoned = before.replacen(
        "fingerprint",
        "reason = \"as on the recording\"\nfingerprint",
        1,
    );
    repository.write("chartproof.ledger", &reasoned);
    fs::rename(repository.path("a.passage"), repository.path("c.passage")).unwrap();
    let proof = ["proof", "--ledger", "chartproof.ledger", "."];
    assert_eq!(repository.run(&proof).code, 0);
    let recorded = repository.run(&["ledger", "c.passage"]);
    assert_eq!(
        recorded.out,
        "chartproof.ledger: 2 findings recorded (0 new, 0 gone)\n"
    );
    let after = repository.read("chartproof.ledger");
    assert!(
        after.contains("file = \"c.passage\"") && !after.contains("file = \"a.passage\""),
        "{after}"
    );
    assert!(
        after.contains("reason = \"as on the recording\""),
        "{after}"
    );
    // A copy of a file that is still there brings its mistakes anew.
    fs::copy(repository.path("b.passage"), repository.path("d.passage")).unwrap();
    assert_eq!(repository.run(&proof).code, 1);
    // The reason stands in the log.
    let ran = repository.run(&[
        "proof",
        "--ledger",
        "chartproof.ledger",
        "--format",
        "json",
        "c.passage",
    ]);
    let report: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(
        report["set_aside"][0]["because"]["reason"],
        "as on the recording"
    );
    assert_eq!(report["summary"]["set_aside"], 1);
    // From a folder below, the ledger above is the one.
    fs::create_dir(repository.path("below")).unwrap();
    repository.write("below/e.passage", &passage(&[WRONG_ALTO]));
    let below = repository.run_in("below", &["ledger", "e.passage"]);
    assert!(
        below.out.contains("3 findings recorded (1 new, 0 gone)"),
        "{}",
        below.out
    );
    assert!(!repository.path("below/chartproof.ledger").exists());
    assert!(
        repository
            .read("chartproof.ledger")
            .contains("file = \"below/e.passage\"")
    );
    // A file that cannot be read now keeps what it has.
    repository.write("c.passage", "count | 1 2 |\npiano | C4 |\n");
    assert_eq!(repository.run(&["ledger", "."]).code, 2);
    assert!(
        repository
            .read("chartproof.ledger")
            .contains("file = \"c.passage\"")
    );
}

#[test]
fn output_is_the_same_on_one_core_and_on_many_and_without_colour_in_a_pipe() {
    for format in ["text", "json", "jsonl", "sarif", "html"] {
        let on = |cores: &str| {
            let output = program()
                .current_dir(env!("CARGO_MANIFEST_DIR"))
                .env("RAYON_NUM_THREADS", cores)
                .env_remove("NO_COLOR")
                .env("TERM", "xterm-256color")
                .args([
                    "proof",
                    "--format",
                    format,
                    "sample-parts/ferry-at-six-parts",
                    "sample-parts/mistakes",
                    "sample-parts/copper-whistle.mxl",
                ])
                .output()
                .unwrap();
            assert_eq!(output.status.code(), Some(1), "{format}");
            output.stdout
        };
        let one = on("1");
        assert!(!one.is_empty() && !one.contains(&0x1b), "{format}");
        assert_eq!(one, on("4"), "{format}");
    }
}
