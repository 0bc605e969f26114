//! `.pre-commit-hooks.yaml`, read by the framework it is for (pre-commit, PyPI), on a scripted repository of scores.

use crate::gate::{RIGHT, Ran, Repository, WRONG_ALTO, passage, ran};
use crate::outside::skipped;
use std::process::Command;

/// The framework, with git's settings of the repository and its store in a folder of that.
fn framework(scores: &Repository, args: &[&str]) -> Ran {
    let git = scores.command();
    let settings = git
        .get_envs()
        .filter_map(|(name, value)| Some((name, value?)));
    let mut own = Command::new("pre-commit");
    own.envs(settings)
        .args(args)
        .current_dir(scores.path(""))
        .env("PRE_COMMIT_HOME", scores.path(".git/hooks-store"));
    ran(&mut own)
}

#[test]
fn the_framework_stops_a_commit_with_a_mistake() {
    if Command::new("pre-commit")
        .arg("--version")
        .output()
        .is_err()
    {
        return skipped("hook_framework.rs", "pre-commit cannot be started");
    }
    let hooks = Repository::new();
    hooks.write(
        ".pre-commit-hooks.yaml",
        include_str!("../.pre-commit-hooks.yaml"),
    );
    hooks.commit("hooks");
    let scores = Repository::new();
    scores.write(
        ".pre-commit-config.yaml",
        &format!(
            "repos:\n- repo: {}\n  rev: {}\n  hooks:\n  - id: chartproof-installed\n",
            hooks.path("").display(),
            hooks.git(&["rev-parse", "HEAD"]).trim(),
        ),
    );
    scores.write("notes.txt", "no score\n");
    scores.write("quay.passage", &passage(&[RIGHT]));
    scores.git(&["add", "-A"]);
    let right = framework(&scores, &["run"]);
    assert_eq!(right.code, 0, "{}{}", right.out, right.err);
    assert!(right.out.contains("Passed"), "{}", right.out);
    scores.commit("a right score");

    scores.write("quay.passage", &passage(&[RIGHT, WRONG_ALTO]));
    scores.git(&["add", "-A"]);
    let wrong = framework(&scores, &["run"]);
    assert_eq!(wrong.code, 1, "{}{}", wrong.out, wrong.err);
    assert!(wrong.out.contains("wrong-note"), "{}", wrong.out);
    // What is no score does not start the program.
    scores.git(&["reset", "-q", "--hard"]);
    scores.write("notes.txt", "still no score\n");
    scores.git(&["add", "-A"]);
    let other = framework(&scores, &["run"]);
    assert!(other.out.contains("Skipped"), "{}{}", other.out, other.err);
}
