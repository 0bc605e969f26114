//! Walks: each folder once, no link followed unasked, nothing passed over in silence.

use crate::hostile::{Answer, run};
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

const GRID: &str = "count | 1 |\npiano | C4 |\n";

/// What no report may show.
const SECRET: &str = "s3cr3t of the house";

struct Room(tempfile::TempDir);

impl Room {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        let file = self.at(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
    }

    fn proof(&self, options: &[&str], folder: &str) -> Answer {
        let args = [&["proof"], options].concat();
        let folder = self.at(folder);
        run(args.into_iter().map(OsStr::new).chain([folder.as_os_str()]))
    }
}

/// So many files were read, and this is what was passed over.
fn walked(answer: &Answer, files: usize, passed_over: &str) {
    let count = match files {
        1 => "1 file,".to_owned(),
        n => format!("{n} files,"),
    };
    assert_eq!(answer.code, 0, "{}", answer.all());
    assert!(answer.out.contains(&count), "{files}: {}", answer.out);
    match passed_over {
        "" => assert_eq!(answer.err, ""),
        words => assert_eq!(answer.err, format!("passed over: {words}\n")),
    }
}

#[cfg(unix)]
fn link(to: impl AsRef<Path>, at: &Path) {
    std::os::unix::fs::symlink(to, at).unwrap();
}

#[cfg(unix)]
#[test]
fn links_to_folders_do_not_multiply() {
    let room = Room::new();
    let levels = 22;
    for level in 1..=levels {
        fs::create_dir_all(room.at(&format!("s/d{level}"))).unwrap();
    }
    for level in 1..levels {
        for name in ["a", "b"] {
            let next = format!("../d{}", level + 1);
            link(next, &room.at(&format!("s/d{level}/{name}")));
        }
    }
    room.write(&format!("s/d{levels}/x.passage"), GRID);
    let links = format!(
        "{} links that only --follow-links follows",
        2 * (levels - 1)
    );
    walked(&room.proof(&[], "s"), 1, &links);
    walked(&room.proof(&["--quiet"], "s"), 1, "");
    walked(&room.proof(&["--follow-links"], "s"), 1, "");
    walked(&room.proof(&["--follow-links"], "s/d1"), 1, "");
}

#[cfg(unix)]
#[test]
fn circles_end() {
    let room = Room::new();
    room.write("s/a/x.passage", GRID);
    link(".", &room.at("s/here"));
    link("..", &room.at("s/a/up"));
    link("/", &room.at("s/root"));
    link("../b", &room.at("s/a/b"));
    link("nowhere", &room.at("s/gone.passage"));
    link("again.passage", &room.at("s/again.passage"));
    walked(
        &room.proof(&[], "s"),
        1,
        "5 links that only --follow-links follows",
    );
    fs::remove_file(room.at("s/root")).unwrap();
    let followed = room.proof(&["--follow-links"], "s");
    walked(&followed, 1, "2 links that only --follow-links follows");
}

#[cfg(unix)]
#[test]
fn a_link_in_a_folder_opens_no_file_outside_of_it() {
    let room = Room::new();
    room.write("secret/id.passage", SECRET);
    room.write("secret/id_rsa", SECRET);
    room.write("s/x.passage", GRID);
    room.write("s/.git/config", SECRET);
    room.write("s/.env", SECRET);
    room.write("s/.hidden/y.passage", SECRET);
    room.write("s/token.txt", SECRET);
    let targets = [
        "../secret/id.passage",
        "../secret/id_rsa",
        ".git/config",
        ".env",
        ".hidden/y.passage",
        "token.txt",
        "/proc/self/environ",
    ];
    for (number, target) in targets.iter().enumerate() {
        link(target, &room.at(&format!("s/{number}.passage")));
        link(target, &room.at(&format!("s/{number}.mxl")));
    }
    link("../secret", &room.at("s/folder"));
    let links = 2 * targets.len() + 1;
    let words = format!("{links} links that only --follow-links follows");
    let answer = room.proof(&[], "s");
    walked(&answer, 1, &words);
    let asked = room.proof(&["--follow-links"], "s");
    assert_eq!(asked.code, 2, "{}", asked.all());
    // One to a score that the walk finds anyhow is no other file.
    link("x.passage", &room.at("s/latest.passage"));
    let words = format!("{words}; 1 link to a score that is read anyhow");
    walked(&room.proof(&[], "s"), 1, &words);
}

#[cfg(unix)]
#[test]
fn a_link_gives_way_to_the_file_it_leads_to() {
    let room = Room::new();
    room.write("s/v3.passage", GRID);
    link("v3.passage", &room.at("s/current.passage"));
    link("v3.passage", &room.at("s/z.passage"));
    let charts = room.at("s");
    let named = room.at("s/current.passage");
    let verbose = ["proof", "--verbose"].map(OsStr::new);
    for paths in [&[&charts][..], &[&named, &charts], &[&charts, &named]] {
        let paths = paths.iter().map(|path| path.as_os_str());
        let answer = run(verbose.into_iter().chain(paths));
        assert!(answer.err.contains("v3.passage: read"), "{}", answer.err);
        assert!(
            !answer.err.contains("current.passage: read"),
            "{}",
            answer.err
        );
        let left_out = "links to scores that are read anyhow";
        assert!(answer.err.contains(left_out), "{}", answer.err);
    }
    // A link alone is read; of a folder the name is its own where both are there.
    assert_eq!(run(verbose.into_iter().chain([named.as_os_str()])).code, 0);
    fs::create_dir(room.at("s/year")).unwrap();
    room.write("s/year/b.passage", GRID);
    link("year", &room.at("s/a"));
    link("year", &room.at("s/z"));
    let args = ["proof", "--verbose", "--follow-links"].map(OsStr::new);
    let answer = run(args.into_iter().chain([charts.as_os_str()]));
    assert_eq!(answer.code, 0, "{}", answer.all());
    for name in ["s/v3.passage: read", "s/year/b.passage: read"] {
        assert!(answer.err.contains(name), "{}", answer.err);
    }
    assert!(answer.out.contains("2 files,"), "{}", answer.out);
}

/// What a build server does with a stranger's branch.
#[cfg(unix)]
#[test]
fn a_link_in_a_list_leads_no_further_than_one_in_a_folder() {
    let room = Room::new();
    let secret = format!("count | 1 |\n{SECRET}\n");
    room.write("home/.git-credentials", &secret);
    room.write("home/other.passage", &secret);
    room.write("home/scores/other.passage", &secret);
    room.write("s/x.passage", GRID);
    room.write("s/parts/y.passage", GRID);
    room.write("s/.env", &secret);
    room.write("s/secret.txt", &secret);
    fs::create_dir(room.at("s/.git")).unwrap();
    let links = [
        ("../home/.git-credentials", "a.passage"),
        ("../home/other.passage", "b.passage"),
        ("../home/scores", "c"),
        ("../home/scores", "d.passage"),
        (".env", "e.passage"),
        ("secret.txt", "f.passage"),
        ("nowhere", "g.passage"),
    ];
    for (to, name) in links {
        link(to, &room.at(&format!("s/{name}")));
    }
    link("parts/y.passage", &room.at("s/inside.passage"));
    let whole = room.at("s/b.passage").display().to_string();
    let mut names: Vec<&str> = links.iter().map(|(_, name)| *name).collect();
    names.extend(["c/", "c/other.passage", "./c/../c/other.passage", &whole]);
    let passed_over = names.len();
    names.extend(["x.passage", "inside.passage"]);
    for (separator, folder) in [("\0", "s"), ("\n", "s")] {
        room.write("list", &names.join(separator));
        let listed = |more: &[&str]| {
            let output = std::process::Command::new(env!("CARGO_BIN_EXE_chartproof"))
                .current_dir(room.at(folder))
                .args(["proof", "--list", "../list"])
                .args(more)
                .output()
                .unwrap();
            let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
            Answer {
                code: output.status.code().unwrap(),
                out: text(&output.stdout),
                err: text(&output.stderr),
            }
        };
        let words = format!("{passed_over} links that only --follow-links follows");
        walked(&listed(&[]), 2, &words);
        // Who asks for it has them read, but no lines shown of a file that is no score.
        fs::write(room.at("list"), "a.passage\ne.passage\nf.passage\n").unwrap();
        let asked = listed(&["--follow-links"]);
        assert_eq!(asked.code, 2, "{}", asked.all());
        assert!(!asked.all().contains("s3cr3t"), "{}", asked.all());
        // A list of links alone is an empty one.
        let alone = listed(&[]);
        assert_eq!(alone.code, 0, "{}", alone.all());
        assert!(alone.err.contains("3 links"), "{}", alone.err);
    }
    // An ordinary file elsewhere that a list names is read.
    let elsewhere = room.at("s/x.passage").display().to_string();
    room.write("list", &elsewhere);
    let list = room.at("list");
    let args = ["proof", "--list"].map(OsStr::new);
    walked(&run(args.into_iter().chain([list.as_os_str()])), 1, "");
}

#[cfg(unix)]
#[test]
fn a_link_stays_in_the_repository_of_the_folder() {
    let room = Room::new();
    room.write("s/parts/x.passage", GRID);
    room.write("s/shared/y.passage", GRID);
    link("../shared/y.passage", &room.at("s/parts/y.passage"));
    let passed = "1 link that only --follow-links follows";
    walked(&room.proof(&[], "s/parts"), 1, passed);
    walked(&room.proof(&["--follow-links"], "s/parts"), 2, "");
    fs::create_dir(room.at("s/.git")).unwrap();
    walked(&room.proof(&[], "s/parts"), 2, "");
    // The folder itself may be named by a link.
    link("s/parts", &room.at("named"));
    walked(&room.proof(&[], "named"), 2, "");
}

#[cfg(unix)]
#[test]
fn a_pipe_among_scores_is_reported_and_not_waited_for() {
    let room = Room::new();
    room.write("s/x.passage", GRID);
    let pipe = room.at("s/y.passage");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.unwrap().success());
    let answer = room.proof(&[], "s");
    assert_eq!(answer.code, 2, "{}", answer.all());
    assert!(answer.all().contains("this is a pipe"), "{}", answer.all());
    assert!(answer.out.contains("1 file, 1 bar"), "{}", answer.out);
}

#[test]
fn only_gits_rules_of_that_repository_count_and_are_counted() {
    let room = Room::new();
    for name in ["x", "draft", "old/y", "build/z", "deep/in/w", "deep/keep/v"] {
        room.write(&format!("s/{name}.passage"), GRID);
    }
    // Rules that are none of git's, or of no repository of these scores.
    room.write("s/.ignore", "*.passage\n");
    room.write("s/.rgignore", "*.passage\n");
    room.write(".gitignore", "*.passage\n");
    fs::create_dir_all(room.at("s/.git/info")).unwrap();
    walked(&room.proof(&[], "s"), 6, "");
    walked(&room.proof(&[], "s/deep"), 2, "");
    room.write("s/.gitignore", "build/\ndraft.*\n");
    walked(
        &room.proof(&[], "s"),
        4,
        "1 score and 1 folder that git's ignore rules name",
    );
    room.write("s/.git/info/exclude", "deep/in\n!draft.passage\n");
    let ignored = "1 score and 2 folders that git's ignore rules name";
    walked(&room.proof(&[], "s"), 3, ignored);
    walked(&room.proof(&["--quiet"], "s"), 3, "");
    // Rules above the folder count as well, and nearer ones come before them.
    room.write("s/deep/.gitignore", "*.passage\n!in\n");
    room.write("s/deep/keep/.gitignore", "!v.passage\n");
    let ignored = "1 score that git's ignore rules name";
    walked(&room.proof(&[], "s/deep"), 1, ignored);
    walked(&room.proof(&[], "s/deep/keep"), 1, "");
    // A repository within has rules of its own.
    room.write("s/inner/draft.passage", GRID);
    fs::create_dir_all(room.at("s/inner/.git")).unwrap();
    walked(&room.proof(&[], "s/inner"), 1, "");
    // Named outright, a file is read.
    walked(&room.proof(&[], "s/build/z.passage"), 1, "");
}

/// A second working tree of a repository keeps what it leaves out with the first (gitrepository-layout(5)).
#[test]
fn a_second_working_tree_has_the_rules_of_its_repository() {
    let room = Room::new();
    room.write("main/.git/info/exclude", "draft.passage\n");
    room.write("main/.git/worktrees/s/commondir", "../..\n");
    room.write("s/.git", "gitdir: ../main/.git/worktrees/s\n");
    room.write("s/draft.passage", GRID);
    room.write("s/x.passage", GRID);
    let ignored = "1 score that git's ignore rules name";
    walked(&room.proof(&[], "s"), 1, ignored);
}

#[test]
fn rules_for_everybody_hide_nothing() {
    let room = Room::new();
    room.write("s/x.xml", "<score-partwise/>");
    room.write("home/.config/git/ignore", "*.xml\n");
    room.write("home/.gitconfig", "[core]\n\texcludesFile = ~/rules\n");
    room.write("home/rules", "*.xml\n");
    fs::create_dir_all(room.at("s/.git")).unwrap();
    let home = room.at("home");
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args([OsStr::new("proof"), room.at("s").as_os_str()])
        .env("HOME", &home)
        .env("XDG_CONFIG_HOME", home.join(".config"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("x.xml"), "it is looked at: {said}");
}

#[cfg(unix)]
#[test]
fn rules_that_cannot_be_used_are_said_and_not_obeyed() {
    let room = Room::new();
    room.write("s/x.passage", GRID);
    fs::create_dir(room.at("s/.git")).unwrap();
    let said = |words: &str| {
        let answer = room.proof(&[], "s");
        assert_eq!(answer.code, 0, "{}", answer.all());
        assert!(answer.out.contains("1 file, 1 bar"), "{}", answer.out);
        let start = "s/.gitignore: these rules of git are not obeyed: ";
        assert!(answer.err.contains(start), "{}", answer.err);
        assert!(answer.err.contains(words), "{}", answer.err);
        assert_eq!(room.proof(&["--quiet"], "s").err, "");
    };
    room.write("s/.gitignore", &"x.passage\n".repeat(30_000));
    said("the file has more than 262144 bytes");
    let many: Vec<String> = (0..18_000).map(|n| format!("*{n}?[a-z]*\n")).collect();
    room.write("s/.gitignore", &format!("x.passage\n{}", many.concat()));
    said("together they take more memory than rules may");
    fs::remove_file(room.at("s/.gitignore")).unwrap();
    fs::create_dir(room.at("s/.gitignore")).unwrap();
    said("this is a folder");
    fs::remove_dir(room.at("s/.gitignore")).unwrap();
    // Git does not follow a link there; nothing of a secret is said or obeyed.
    room.write("rules", "x.passage\n");
    link("../rules", &room.at("s/.gitignore"));
    walked(&room.proof(&[], "s"), 1, "");
}

#[test]
fn rules_of_git_have_an_end() {
    let room = Room::new();
    let folders = 24;
    let rules = format!("#{}\nx.passage\n", " ".repeat(250_000));
    for number in 0..folders {
        room.write(&format!("s/{number}/x.passage"), GRID);
        room.write(&format!("s/{number}/.gitignore"), &rules);
    }
    // Without a repository they are no rules of git.
    walked(&room.proof(&[], "s"), folders, "");
    fs::create_dir(room.at("s/.git")).unwrap();
    let answer = room.proof(&[], "s");
    assert_eq!(answer.code, 0, "{}", answer.all());
    let ignored = "16 scores that git's ignore rules name";
    assert!(answer.err.contains(ignored), "{}", answer.err);
    let end = "one run reads 4194304 bytes of such rules at most; nor are 7 more such files";
    assert!(answer.err.contains(end), "{}", answer.err);
    assert!(answer.out.contains("8 files,"), "{}", answer.out);
}

#[test]
fn folders_very_deep_in_each_other_end_with_an_error() {
    let room = Room::new();
    let deep = format!("s/{}", "d/".repeat(300));
    room.write(&format!("{deep}x.passage"), GRID);
    room.write("s/y.passage", GRID);
    let answer = room.proof(&[], "s");
    assert_eq!(answer.code, 2, "{}", answer.all());
    let said = answer.all();
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("more than 256 deep in each other"), "{said}");
    assert!(answer.out.contains("1 file, 1 bar"), "{}", answer.out);
    walked(&room.proof(&[], &deep), 1, "");
}

#[test]
fn folders_named_again_and_again_are_walked_once() {
    let room = Room::new();
    for number in 0..300 {
        room.write(&format!("s/{number}/x.passage"), GRID);
    }
    let folder = room.at("s").display().to_string();
    room.write("list", &format!("{folder}\n").repeat(20_000));
    let list = room.at("list");
    let answer = run([OsStr::new("proof"), OsStr::new("--list"), list.as_os_str()]);
    walked(&answer, 300, "");
}
