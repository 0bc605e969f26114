//! Nothing of a repository is run or written by `--since`.
//!
//! The attacker has a repository that is cloned, or one whose settings came with it (an unpacked
//! archive, a shared disk). Each order in it leaves a mark file when it is run; a control run of git
//! shows that the orders work.
#![cfg(unix)]

use crate::gate::{RIGHT, Ran, Repository, WRONG_ALTO, passage, program, ran};
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::SystemTime;

/// A folder for marks, outside of the repository.
struct Marks(tempfile::TempDir);

impl Marks {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    /// A shell command that leaves a mark of this name and fails.
    fn order(&self, name: &str) -> String {
        format!("touch {}; false", self.0.path().join(name).display())
    }

    fn left(&self) -> Vec<String> {
        let entries = fs::read_dir(self.0.path()).unwrap();
        let mut names: Vec<String> = entries
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    fn clear(&self) {
        for name in self.left() {
            fs::remove_file(self.0.path().join(name)).unwrap();
        }
    }
}

/// A program of this text, named `git`, in a folder of its own.
fn stand_in(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("git");
    fs::write(&file, format!("#!/bin/sh\n{text}\n")).unwrap();
    fs::set_permissions(&file, fs::Permissions::from_mode(0o755)).unwrap();
    folder
}

/// The git that is installed.
fn installed_git() -> PathBuf {
    std::env::split_paths(&std::env::var_os("PATH").unwrap())
        .map(|folder| folder.join("git"))
        .find(|file| file.is_file())
        .unwrap()
}

fn path_with(first: &Path) -> OsString {
    let rest = std::env::var_os("PATH").unwrap();
    let places = std::iter::once(first.to_owned()).chain(std::env::split_paths(&rest));
    std::env::join_paths(places).unwrap()
}

/// Every file below a folder: its bytes and when it was changed.
fn all_below(folder: &Path) -> BTreeMap<PathBuf, (Vec<u8>, SystemTime)> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        let changed = fs::metadata(&folder).unwrap().modified().unwrap();
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            let about = fs::symlink_metadata(&path).unwrap();
            if about.is_dir() {
                folders.push(path);
            } else {
                let bytes = fs::read(&path).unwrap_or_default();
                found.insert(path, (bytes, about.modified().unwrap()));
            }
        }
        found.insert(folder, (Vec::new(), changed));
    }
    found
}

fn since(repository: &Repository, more: &[&str]) -> Ran {
    repository.run(&[&["proof", "--since", "HEAD"], more].concat())
}

/// The first reproduction: a committed folder that git takes for a repository, in a plain clone.
#[test]
fn a_committed_folder_that_looks_like_a_repository_is_not_one() {
    let marks = Marks::new();
    let evil = Repository::new();
    fs::create_dir_all(evil.path("scores/refs")).unwrap();
    fs::create_dir_all(evil.path("scores/objects")).unwrap();
    let inner = |args: &[&str]| {
        let scores = evil.path("scores");
        let mut git = evil.command();
        git.env("GIT_DIR", &scores).env("GIT_WORK_TREE", &scores);
        let done = ran(git
            .current_dir(&scores)
            .args(["-c", "core.fsmonitor=false"])
            .args(args));
        assert_eq!(done.code, 0, "{}", done.err);
    };
    evil.write("scores/HEAD", "ref: refs/heads/main\n");
    evil.write(
        "scores/config",
        &format!(
            "[core]\n\trepositoryformatversion = 0\n\tbare = false\n\tworktree = .\n\tfsmonitor = \"{}\"\n",
            marks.order("fsmonitor")
        ),
    );
    evil.write("scores/a.passage", &passage(&[RIGHT, WRONG_ALTO]));
    inner(&["add", "a.passage"]);
    inner(&["commit", "-qm", "inner"]);
    evil.write("scores/refs/keep", "");
    evil.commit("outer");
    let clone = tempfile::tempdir().unwrap();
    let from = evil.path("");
    evil.git(&[
        "clone",
        "-q",
        from.to_str().unwrap(),
        clone.path().to_str().unwrap(),
    ]);
    marks.clear();
    for folder in ["", "scores"] {
        let mut run = program();
        run.current_dir(clone.path().join(folder))
            .args(["proof", ".", "--since", "main"]);
        let done = ran(&mut run);
        assert_eq!(
            (done.code, done.err.as_str()),
            (0, ""),
            "{folder}: {}",
            done.out
        );
        assert!(
            done.out.contains("1 finding that the revision has too"),
            "{}",
            done.out
        );
        assert_eq!(marks.left(), Vec::<String>::new(), "{folder}");
    }
    // The order works: git runs it where it takes the folder for a repository.
    let mut git = evil.command();
    ran(git
        .current_dir(clone.path().join("scores"))
        .args(["status"]));
    assert_eq!(marks.left(), ["fsmonitor"]);
}

/// A repository whose own settings, attributes and hooks are full of orders, with a score that was
/// changed, one that was renamed and one that is as it was.
fn hostile(marks: &Marks) -> Repository {
    let repository = Repository::new();
    repository.write("same.passage", &passage(&[WRONG_ALTO]));
    repository.write("changed.passage", &passage(&[WRONG_ALTO]));
    repository.write("old name.passage", &passage(&[RIGHT, WRONG_ALTO]));
    repository.write(
        ".gitattributes",
        "*.passage filter=evil diff=evil merge=evil text=auto\nnew.passage filter=long\n",
    );
    repository.commit("first");
    repository.write("changed.passage", &passage(&[WRONG_ALTO, RIGHT]));
    let moved = (
        repository.path("old name.passage"),
        repository.path("new.passage"),
    );
    fs::rename(moved.0, moved.1).unwrap();
    // git looks into a file again when its time has changed.
    repository.write("same.passage", &passage(&[WRONG_ALTO]));
    let included = repository.path("more-settings");
    let order = |name: &str| marks.order(name);
    fs::write(
        &included,
        format!("[core]\n\tfsmonitor = \"{}\"\n", order("included")),
    )
    .unwrap();
    let settings = [
        ("filter.evil.clean", order("clean")),
        ("filter.evil.smudge", order("smudge")),
        ("filter.long.process", order("process")),
        ("diff.evil.textconv", order("textconv")),
        ("diff.evil.command", order("diff-command")),
        ("diff.external", order("diff-external")),
        ("merge.evil.driver", order("merge")),
        ("core.sshCommand", order("ssh")),
        ("core.gitProxy", order("proxy")),
        ("core.askPass", order("askpass")),
        ("core.editor", order("editor")),
        ("core.pager", order("pager")),
        ("core.alternateRefsCommand", order("alternates")),
        ("core.hooksPath", ".git/evil-hooks".to_owned()),
        ("credential.helper", format!("!{}", order("credential"))),
        ("gpg.program", order("gpg")),
        ("log.showSignature", "true".to_owned()),
        ("pager.rev-parse", order("pager-rev-parse")),
        ("pager.ls-tree", order("pager-ls-tree")),
        ("pager.cat-file", order("pager-cat-file")),
        ("alias.rev-parse", format!("!{}", order("alias"))),
        ("alias.ls-tree", format!("!{}", order("alias"))),
        ("alias.cat-file", format!("!{}", order("alias"))),
        ("uploadpack.packObjectsHook", order("pack-objects")),
        ("diff.renameLimit", "1".to_owned()),
        ("include.path", included.to_str().unwrap().to_owned()),
        ("core.fsmonitor", order("fsmonitor")),
    ];
    for (name, value) in settings {
        repository.git(&["config", "set", name, &value]);
    }
    for hook in [
        "post-index-change",
        "reference-transaction",
        "fsmonitor-watchman",
        "post-checkout",
    ] {
        for folder in [".git/hooks", ".git/evil-hooks"] {
            let file = repository.path(folder).join(hook);
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(&file, format!("#!/bin/sh\n{}\n", order(hook))).unwrap();
            fs::set_permissions(&file, fs::Permissions::from_mode(0o755)).unwrap();
        }
    }
    marks.clear();
    repository
}

#[test]
fn nothing_that_a_repositorys_own_settings_name_is_run() {
    let marks = Marks::new();
    let repository = hostile(&marks);
    let elsewhere = tempfile::tempdir().unwrap();
    for worktree in [None, Some(elsewhere.path())] {
        if let Some(folder) = worktree {
            let folder = folder.to_str().unwrap();
            repository.git(&["config", "set", "core.worktree", folder]);
        }
        let before = all_below(&repository.path(".git"));
        let done = since(&repository, &["."]);
        assert_eq!(marks.left(), Vec::<String>::new());
        assert!(
            before == all_below(&repository.path(".git")),
            "the repository was changed"
        );
        assert_eq!((done.code, done.err.as_str()), (0, ""), "{}", done.out);
        assert!(
            done.out.contains("3 findings that the revision has too"),
            "{}",
            done.out
        );
    }
    // The orders work.
    repository.git(&["config", "unset", "core.worktree"]);
    repository.try_git(&["diff", "--textconv", "HEAD"]);
    repository.try_git(&["add", "-A"]);
    let left = marks.left();
    for name in ["clean", "diff-command", "included", "process"] {
        assert!(left.iter().any(|mark| mark == name), "{name}: {left:?}");
    }
}

#[test]
fn a_promised_object_that_is_missing_is_not_fetched() {
    let marks = Marks::new();
    let repository = Repository::new();
    repository.write("a.passage", &passage(&[WRONG_ALTO]));
    repository.commit("first");
    let id = repository.git(&["rev-parse", "HEAD:a.passage"]);
    let (folder, file) = id.trim().split_at(2);
    fs::remove_file(repository.path(&format!(".git/objects/{folder}/{file}"))).unwrap();
    repository.write("a.passage", &passage(&[WRONG_ALTO, RIGHT]));
    for (name, value) in [
        ("core.repositoryformatversion", "1"),
        ("extensions.partialClone", "origin"),
        ("remote.origin.url", "ssh://nowhere.example/scores"),
        ("remote.origin.promisor", "true"),
        ("remote.origin.partialclonefilter", "blob:none"),
        ("protocol.allow", "always"),
        ("protocol.ssh.allow", "always"),
        ("core.sshCommand", &marks.order("ssh")),
    ] {
        repository.git(&["config", "set", name, value]);
    }
    // The second git stands for those before 2.45, which fetch what is missing whatever is said.
    let git = installed_git();
    let older = stand_in(&format!(
        "unset GIT_NO_LAZY_FETCH\nexec {} \"$@\"",
        git.display()
    ));
    for place in [git.parent().unwrap(), older.path()] {
        let mut run = program();
        run.current_dir(repository.path(""))
            .env("PATH", path_with(place))
            .args(["proof", "a.passage", "--since", "HEAD"]);
        let done = ran(&mut run);
        assert_eq!(done.code, 1, "every finding counts as new: {}", done.err);
        let said = "this clone lacks the old a.passage";
        assert!(done.out.contains(said), "{}", done.out);
        assert_eq!(marks.left(), Vec::<String>::new());
    }
    // The order works.
    let _ = ran(repository
        .command()
        .args(["cat-file", "blob", "HEAD:a.passage"]));
    assert_eq!(marks.left(), ["ssh"]);
}

#[test]
fn the_repository_is_byte_identical_after_a_run() {
    let repository = Repository::new();
    repository.write("a.passage", &passage(&[WRONG_ALTO]));
    repository.write("b.passage", &passage(&[RIGHT]));
    repository.commit("first");
    // The index is out of date: whoever looks is tempted to refresh it.
    let old = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1_577_836_800);
    let file = fs::File::options()
        .write(true)
        .open(repository.path("a.passage"));
    file.unwrap().set_modified(old).unwrap();
    fs::rename(repository.path("b.passage"), repository.path("c.passage")).unwrap();
    let before = all_below(&repository.path(".git"));
    let done = since(&repository, &["."]);
    assert_eq!(done.code, 0, "{}{}", done.out, done.err);
    assert!(
        before == all_below(&repository.path(".git")),
        "the repository was changed"
    );
}

/// A git that writes down each call of itself.
fn counting(log: &Path) -> tempfile::TempDir {
    let git = installed_git();
    stand_in(&format!(
        "echo \"$*\" >> {}\nexec {} \"$@\"",
        log.display(),
        git.display()
    ))
}

#[test]
fn five_hundred_files_moved_under_other_names_take_a_handful_of_calls() {
    let repository = Repository::new();
    let text = |number: usize| {
        passage(&[RIGHT, WRONG_ALTO, RIGHT]).replacen("Quay", &format!("Quay {number}"), 1)
    };
    for number in 0..500 {
        repository.write(&format!("old/{number}.passage"), &text(number));
    }
    repository.commit("first");
    fs::remove_dir_all(repository.path("old")).unwrap();
    for number in 0..500 {
        // Some were edited as well.
        let text = text(number) + if number % 50 == 0 { WRONG_ALTO } else { "" };
        repository.write(&format!("new/score {number}.passage"), &text);
    }
    let log = repository.path("calls");
    let git = counting(&log);
    let mut run = program();
    run.current_dir(repository.path(""))
        .env("PATH", path_with(git.path()))
        .args(["proof", "new", "--since", "HEAD", "--format", "json"]);
    let done = ran(&mut run);
    let report: serde_json::Value = serde_json::from_str(&done.out).unwrap();
    let new = report["findings"].as_array().unwrap();
    assert_eq!(new.len(), 10, "only those that the edits brought");
    assert!(new.iter().all(|finding| finding["bar"] == "4"));
    let calls = fs::read_to_string(&log).unwrap();
    assert!(calls.lines().count() <= 5, "{calls}");
}

#[test]
fn an_old_version_larger_than_the_limit_is_refused_and_never_loaded() {
    let repository = Repository::new();
    let large = passage(&[RIGHT, WRONG_ALTO]) + &" ".repeat(300_000);
    repository.write("a.passage", &large);
    repository.write("gone.passage", &large);
    repository.commit("first");
    repository.write("a.passage", &passage(&[RIGHT, WRONG_ALTO]));
    fs::rename(
        repository.path("gone.passage"),
        repository.path("b.passage"),
    )
    .unwrap();
    repository.write("b.passage", &passage(&[RIGHT, WRONG_ALTO, RIGHT]));
    let log = repository.path("calls");
    let git = counting(&log);
    let mut run = program();
    run.current_dir(repository.path(""))
        .env("PATH", path_with(git.path()))
        .args([
            "proof",
            "a.passage",
            "b.passage",
            "--since",
            "HEAD",
            "--limit",
            "file=100000",
        ]);
    let done = ran(&mut run);
    assert_eq!(done.code, 1, "{}{}", done.out, done.err);
    let said = done.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("a.passage had 300"), "{said}");
    assert!(
        said.contains("raise the limit: --limit file=NUMBER"),
        "{said}"
    );
    let calls = fs::read_to_string(&log).unwrap();
    assert!(calls.contains("cat-file --batch-check"), "{calls}");
    assert!(
        !calls.lines().any(|call| call.ends_with("cat-file --batch")),
        "{calls}"
    );
    // With the usual limit it is compared with.
    assert_eq!(since(&repository, &["a.passage"]).code, 0);
}

#[test]
fn only_the_repository_of_the_run_is_asked() {
    let marks = Marks::new();
    let outer = Repository::new();
    outer.write("a.passage", &passage(&[WRONG_ALTO]));
    outer.commit("first");
    // A repository within, with a revision of its own and an order.
    let within = outer.path("within");
    fs::create_dir(&within).unwrap();
    let git = |args: &[&str]| {
        let done = ran(outer.command().current_dir(&within).args(args));
        assert_eq!(done.code, 0, "{}", done.err);
    };
    git(&["init", "-q", "-b", "main"]);
    outer.write("within/b.passage", &passage(&[RIGHT, WRONG_ALTO]));
    git(&["add", "-A"]);
    git(&["commit", "-qm", "within"]);
    git(&["config", "set", "core.fsmonitor", &marks.order("fsmonitor")]);
    let new = outer.findings(&["--since", "HEAD", "."]);
    assert_eq!(
        new,
        ["wrong-note 2 2.0"],
        "what the outer one does not have is new"
    );
    let told = outer.run_in(".", &["proof", "--since", "HEAD", "."]);
    let words: Vec<&str> = told.out.split_whitespace().collect();
    let words = words.join(" ");
    assert!(words.contains("a repository of its own"), "{}", told.out);
    // As a submodule too.
    outer.git(&["-c", "core.fsmonitor=false", "add", "-A"]);
    outer.git(&[
        "-c",
        "core.fsmonitor=false",
        "commit",
        "-qm",
        "with a submodule",
    ]);
    marks.clear();
    assert_eq!(
        outer.findings(&["--since", "HEAD", "."]),
        ["wrong-note 2 2.0"]
    );
    assert_eq!(marks.left(), Vec::<String>::new());
    // Started in the inner one, that is the repository.
    let inner = outer.run_in("within", &["proof", "--since", "HEAD", "."]);
    assert_eq!(inner.code, 0, "{}{}", inner.out, inner.err);
    let outside = outer.run_in("within", &["proof", "--since", "HEAD", "../a.passage"]);
    assert_eq!(outside.code, 2);
    assert!(
        outside.err.contains("../a.passage is outside of"),
        "{}",
        outside.err
    );
    assert!(
        outside
            .err
            .contains("start the run in the repository of this score"),
        "{}",
        outside.err
    );
    assert_eq!(marks.left(), Vec::<String>::new());
}

#[test]
fn links_and_other_entries_of_a_revision_are_no_scores() {
    let repository = Repository::new();
    repository.write("aim.passage", &passage(&[WRONG_ALTO]));
    std::os::unix::fs::symlink("aim.passage", repository.path("link.passage")).unwrap();
    repository.commit("first");
    fs::remove_file(repository.path("link.passage")).unwrap();
    repository.write("link.passage", &passage(&[WRONG_ALTO]));
    let new = repository.findings(&["--since", "HEAD", "link.passage"]);
    assert_eq!(new, ["wrong-note 1 2.0"], "a link was no score");
    // A folder that is a link now: what was in it is gone, and found elsewhere.
    repository.write("one/b.passage", &passage(&[RIGHT, WRONG_ALTO]));
    repository.commit("second");
    fs::rename(repository.path("one"), repository.path("two")).unwrap();
    std::os::unix::fs::symlink("two", repository.path("one")).unwrap();
    assert!(repository.findings(&["--since", "HEAD", "two"]).is_empty());
}

#[test]
fn no_git_is_taken_from_the_folder_of_the_scores() {
    let marks = Marks::new();
    let repository = Repository::new();
    repository.write("a.passage", &passage(&[WRONG_ALTO]));
    repository.write("git", &format!("#!/bin/sh\n{}\n", marks.order("git")));
    let file = repository.path("git");
    fs::set_permissions(file, fs::Permissions::from_mode(0o755)).unwrap();
    repository.commit("first");
    let usual = std::env::var("PATH").unwrap();
    for places in [
        format!(".:{usual}"),
        format!(":{usual}"),
        format!("./:::{usual}"),
    ] {
        let mut run = program();
        run.current_dir(repository.path(""))
            .env("PATH", &places)
            .args(["proof", "a.passage", "--since", "HEAD"]);
        let done = ran(&mut run);
        assert_eq!(done.code, 0, "{places}: {}{}", done.out, done.err);
        assert_eq!(marks.left(), Vec::<String>::new(), "{places}");
    }
}

#[test]
fn line_ends_that_git_converts_do_not_make_findings_new() {
    let repository = Repository::new();
    let text = passage(&[RIGHT, WRONG_ALTO, RIGHT]);
    repository.write("a.passage", &text);
    repository.write("b.passage", &text.replacen("Evening", "Morning", 1));
    repository.commit("first");
    repository.git(&["config", "set", "core.autocrlf", "true"]);
    repository.write("a.passage", &text.replace('\n', "\r\n"));
    // And renamed.
    fs::remove_file(repository.path("b.passage")).unwrap();
    let other = text.replacen("Evening", "Morning", 1).replace('\n', "\r\n");
    repository.write("other/name.passage", &other);
    assert!(repository.findings(&["--since", "HEAD", "."]).is_empty());
}

#[test]
fn a_hook_names_its_repository() {
    let repository = Repository::new();
    repository.write("below/a.passage", &passage(&[WRONG_ALTO]));
    repository.commit("first");
    let run = |folder: &Path, environment: &[(&str, &Path)]| {
        let mut run: Command = program();
        run.current_dir(folder)
            .envs(environment.iter().copied())
            .args(["proof", ".", "--since", "HEAD"]);
        ran(&mut run)
    };
    let git_dir = repository.path(".git");
    let from_hook = run(&repository.path(""), &[("GIT_DIR", Path::new(".git"))]);
    assert_eq!(from_hook.code, 0, "{}", from_hook.err);
    let below = run(&repository.path("below"), &[("GIT_DIR", &git_dir)]);
    assert_eq!(below.code, 0, "{}", below.err);
    // A working tree that a hook has put together.
    let tree = tempfile::tempdir().unwrap();
    fs::create_dir(tree.path().join("below")).unwrap();
    fs::copy(
        repository.path("below/a.passage"),
        tree.path().join("below/a.passage"),
    )
    .unwrap();
    let named = [
        ("GIT_DIR", git_dir.as_path()),
        ("GIT_WORK_TREE", tree.path()),
    ];
    let elsewhere = run(tree.path(), &named);
    assert_eq!(elsewhere.code, 0, "{}", elsewhere.err);
    let without = run(tree.path(), &[("GIT_DIR", &git_dir)]);
    assert_eq!(without.code, 0, "{}", without.err);
    // A linked working tree has a file in the place of the repository.
    let linked = tempfile::tempdir().unwrap();
    let linked = linked.path().join("tree");
    repository.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
    assert_eq!(run(&linked.join("below"), &[]).code, 0);
    let gone = run(tree.path(), &[("GIT_DIR", Path::new("nowhere"))]);
    assert_eq!(gone.code, 2);
    assert!(gone.err.contains("not a git repository"), "{}", gone.err);
}
