//! Completions and man pages: every command and option is in them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use std::collections::BTreeSet;
use std::io::Write;
use std::process::{Command, Stdio};

const COMMANDS: [&str; 10] = [
    "proof", "correct", "mark", "voice", "analysis", "rulebook", "style", "ledger", "shell",
    "manual",
];

fn run(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args(args)
        .output()
        .unwrap();
    assert!(output.status.success(), "{args:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// The long options a command's help names.
fn options(command: &str) -> BTreeSet<String> {
    let help = run(&[command, "--help"]);
    let words = help.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
    let lines = help.lines().filter(|l| l.trim_start().starts_with('-'));
    let listed: BTreeSet<&str> = lines
        .flat_map(|l| l.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-')))
        .collect();
    words
        .filter(|w| w.starts_with("--") && w.len() > 2 && listed.contains(w))
        .map(str::to_owned)
        .collect()
}

/// Feeds text to a program; what it says, and whether it was content. `None`: it is not installed.
fn feed(program: &str, args: &[&str], text: &str) -> Option<(bool, String)> {
    let mut child = Command::new(program)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .ok()?;
    // It may stop reading early.
    let _ = child.stdin.take().unwrap().write_all(text.as_bytes());
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    Some((output.status.success(), said))
}

#[test]
fn completions_know_every_command_option_rule_and_technique() {
    for shell in ["bash", "zsh", "fish"] {
        let script = run(&["shell", shell]);
        for command in COMMANDS {
            assert!(script.contains(command), "{shell}: {command}");
            for option in options(command) {
                let option = if shell == "fish" {
                    option.trim_start_matches('-')
                } else {
                    &option
                };
                assert!(script.contains(option), "{shell}: {command} {option}");
            }
        }
        for rule in chartproof::inside::rules::ALL {
            assert!(script.contains(rule.name), "{shell}: {}", rule.name);
        }
        assert!(script.contains("drop-2-with-doubled-lead"), "{shell}");
        match feed(shell, &["-n"], &script) {
            Some((content, said)) => assert!(content, "{shell}: {said}"),
            None => println!("{shell} is not installed: its script was not read by it"),
        }
    }
}

#[test]
fn bash_completes_a_rule() {
    let script = run(&["shell", "bash"]);
    let question = "\nCOMP_WORDS=(chartproof rulebook minor)\nCOMP_CWORD=2\n\
                    _chartproof chartproof minor rulebook\necho \"${COMPREPLY[@]}\"\n";
    match feed("bash", &["--norc"], &(script + question)) {
        Some((_, said)) => assert!(said.contains("minor-ninth"), "{said}"),
        None => println!("bash is not installed: nothing was completed"),
    }
}

#[test]
fn every_option_stands_in_the_man_pages_and_they_are_well_formed() {
    let all = run(&["manual"]);
    for command in COMMANDS {
        assert!(
            all.contains(&format!("chartproof\\-{command}(1)")),
            "{command}"
        );
        let page = run(&["manual", command]);
        assert!(page.starts_with(".ie") || page.starts_with(".TH"), "{page}");
        assert!(page.contains(&format!("chartproof\\-{command}")), "{page}");
        for option in options(command) {
            let escaped = option.replace('-', "\\-");
            assert!(page.contains(&escaped), "{command}: {option}");
        }
        match feed("groff", &["-man", "-Tutf8", "-ww", "-z"], &page) {
            Some((content, said)) => assert!(content && said.is_empty(), "{command}: {said}"),
            None => println!("groff is not installed: the page was not set"),
        }
    }
}
