//! Holds the examples and exceptions of a rule to its findings. Each rule's file asks for it with one
//! line, `crate::rules::test_examples!(RULE);`.

use super::example::{ABOUT_STYLE, changed, unmarked};
use super::rule::{Example, Rule, Silent};
use crate::finding::Finding;
use crate::ground::text::Span;
use crate::proof::proof;
use crate::score::{Place, Score};
use crate::style::Style;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Every wrong passage has one finding, at its marks and with its fix. Every right one has none.
pub fn wrong_and_right(rule: &Rule) {
    assert!(!rule.examples.is_empty(), "{} has no example", rule.name);
    for example in rule.examples {
        let bare = unmarked(example.wrong);
        let (score, found) = findings(rule, &bare);
        let [finding] = found.as_slice() else {
            panic!("not one finding but {}:\n{bare}", said(&score, &found));
        };
        assert_eq!(finding.rule, rule.name, "{}", said(&score, &found));
        let drawn = marked(&bare, &score, finding);
        if drawn != example.wrong && std::env::var_os(ACCEPT).is_some() {
            accept(rule, example.wrong, &drawn);
            continue;
        }
        assert!(
            drawn == example.wrong,
            "the wrong passage of {} should show its finding:\n\n{drawn}\nIt shows:\n\n{}\n\
             `{ACCEPT}=1 cargo test --lib rules::` writes what it should show into the rule's file.",
            rule.name,
            example.wrong
        );
        let right = example.right_passage().unwrap();
        assert_ne!(
            right, bare,
            "the right passage of {} changes nothing",
            rule.name
        );
        let (score, found) = findings(rule, &right);
        assert!(found.is_empty(), "{} in:\n{right}", said(&score, &found));
    }
}

/// With this variable set, marks and fixes are written into the files of the rules as they are found.
const ACCEPT: &str = "ACCEPT_EXAMPLES";

/// Puts a passage with its marks in the place of the one in the rule's file.
fn accept(rule: &Rule, old: &str, new: &str) {
    let source = |text: &str| text.replace('\\', r"\\").replace('"', "\\\"");
    let file = file_of(rule);
    let text = std::fs::read_to_string(&file).unwrap();
    assert_eq!(text.matches(&source(old)).count(), 1, "{}", file.display());
    std::fs::write(&file, text.replace(&source(old), &source(new))).unwrap();
}

/// The file of a rule: its name, in the folder of its group.
pub fn file_of(rule: &Rule) -> PathBuf {
    let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/rules");
    let folder = format!("{:?}", rule.group).to_lowercase();
    let name = rule.name.replace('-', "_");
    rules.join(folder).join(name).with_extension("rs")
}

/// Every exception is silent in its passage, and close to a passage in which the rule finds something.
pub fn exceptions(rule: &Rule) {
    for exception in rule.exceptions {
        let base = |number: usize| {
            let example = number.checked_sub(1).and_then(|n| rule.examples.get(n));
            unmarked(
                example
                    .unwrap_or_else(|| panic!("there is no example {number}"))
                    .wrong,
            )
        };
        let (silent, near) = match exception.silent {
            Silent::With(rows) => (changed(&base(1), rows).unwrap(), base(1)),
            Silent::ExampleWith(number, rows) => {
                (changed(&base(number), rows).unwrap(), base(number))
            }
            Silent::Passage { passage, but } => {
                (passage.to_owned(), changed(passage, but).unwrap())
            }
        };
        let says = exception.says;
        assert_ne!(silent, near, "{says}: no row changes");
        let of_rule = |text: &str| {
            let (score, mut found) = findings(rule, text);
            found.retain(|f| f.rule == rule.name);
            (said(&score, &found), found.is_empty())
        };
        let (found, is_silent) = of_rule(&silent);
        assert!(
            is_silent,
            "not silent for \"{says}\": {found} in:\n{silent}"
        );
        let (_, is_silent) = of_rule(&near);
        assert!(
            !is_silent,
            "\"{says}\" proves nothing: no finding either in:\n{near}"
        );
    }
}

/// The findings in a passage. A rule that is off unless a style wants it is on for its own passages.
fn findings(rule: &Rule, text: &str) -> (Score, Vec<Finding>) {
    let score = Example::score(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let style = style(rule, text).unwrap_or_else(|line| panic!("`{line}` names no style"));
    let findings = proof(&score, &style).findings;
    (score, findings)
}

/// The style that the first lines of a passage ask for; the line that says nothing, if one does.
fn style<'t>(rule: &Rule, text: &'t str) -> Result<Style, &'t str> {
    let mut style = Style::default();
    let about = |line: &&str| ABOUT_STYLE.iter().any(|word| line.starts_with(word));
    for line in text.lines().filter(about) {
        let (word, rest) = line.split_once(':').ok_or(line)?;
        match word {
            "style" => style = crate::house_style::shipped(rest.trim()).ok_or(line)?,
            "off" => drop(style.levels.insert(rest.trim().to_owned(), None)),
            _ => {
                let (name, value) = rest.split_once('=').ok_or(line)?;
                let (rule, setting) = name.trim().split_once(' ').ok_or(line)?;
                let value = value.trim().parse().map_err(|_| line)?;
                let settings = style.settings.entry(rule.to_owned()).or_default();
                settings.insert(setting.trim().to_owned(), value);
            }
        }
    }
    if rule.off {
        style.levels.insert(rule.name.to_owned(), Some(rule.level));
    }
    Ok(style)
}

/// Findings in a few words each.
fn said(score: &Score, findings: &[Finding]) -> String {
    let each = findings.iter().map(|f| {
        let (bar, beat) = (score.bar_number(f.at.bar), score.beat_at(f.at));
        format!("{} {bar} {beat}: {}", f.rule, f.message)
    });
    each.collect::<Vec<_>>().join("\n")
}

/// Carets under a piece of a line, and the words after them.
struct MarkUnder {
    line: usize,
    column: usize,
    width: usize,
    label: String,
}

/// A passage with the marks of a finding under its rows and the fix at the end.
fn marked(bare: &str, score: &Score, finding: &Finding) -> String {
    let mut marks: Vec<MarkUnder> = Vec::new();
    let mut at_place = false;
    for at_fault in &finding.notes {
        let note = &score.parts[at_fault.note.part as usize].notes[at_fault.note.note as usize];
        at_place |= note.at == finding.at;
        marks.push(under(bare, note.span, at_fault.label.clone()));
    }
    if !at_place {
        let names: Vec<&str> = finding
            .parts
            .iter()
            .map(|p| score.parts[*p as usize].name.as_str())
            .collect();
        let names = if names.is_empty() {
            "here".to_owned()
        } else {
            names.join(", ")
        };
        marks.push(under(bare, count_cell(bare, score, finding.at), names));
    }
    marks.sort_by_key(|m| (m.line, m.column));
    let mut text = String::new();
    for (number, line) in bare.lines().enumerate() {
        let _ = writeln!(text, "{line}");
        let mut here: Vec<&MarkUnder> = marks.iter().filter(|m| m.line == number).collect();
        while let Some(label) = here.first().map(|m| m.label.clone()) {
            let mut carets = String::new();
            for mark in here.extract_if(.., |m| m.label == label) {
                let gap = mark.column.saturating_sub(carets.len());
                let _ = write!(carets, "{}{}", " ".repeat(gap), "^".repeat(mark.width));
            }
            let _ = writeln!(text, "{carets} {label}");
        }
    }
    match (&finding.fix, &finding.suggestion) {
        (Some(fix), _) => drop(writeln!(text, "fix: {}", fix.summary)),
        (None, Some(suggestion)) => drop(writeln!(text, "suggestion: {suggestion}")),
        (None, None) => {}
    }
    text
}

fn under(text: &str, span: Span, label: String) -> MarkUnder {
    let start = span.start as usize;
    let line = text[..start].matches('\n').count();
    MarkUnder {
        line,
        column: start - text[..start].rfind('\n').map_or(0, |i| i + 1),
        width: (span.end - span.start).max(1) as usize,
        label,
    }
}

/// The count of a place. Where its bar has no such count, the bar line that ends it.
fn count_cell(text: &str, score: &Score, at: Place) -> Span {
    let mut bar = 0;
    let mut start = 0;
    let wanted = score.beat_at(at).to_string();
    for line in text.split_inclusive('\n') {
        if line.trim_start().starts_with("count") && line.contains('|') {
            let mut from = line.find('|').unwrap() + 1;
            for cells in line[from..].split('|').filter(|c| !c.trim().is_empty()) {
                if bar == at.bar {
                    let mut beat = String::new();
                    for cell in cells.split_whitespace() {
                        let column =
                            start + from + (cell.as_ptr() as usize - cells.as_ptr() as usize);
                        if cell.starts_with(|c: char| c.is_ascii_digit()) {
                            beat = cell.trim_end_matches(['&', 'e', 'a']).to_owned();
                        }
                        let part = match cell.chars().last() {
                            Some('&') => "-and",
                            Some('e') => "-e",
                            Some('a') => "-a",
                            _ => "",
                        };
                        if format!("{beat}{part}") == wanted {
                            return Span::of(&(column..column + cell.len()));
                        }
                    }
                    let end = start + from + cells.len();
                    return Span::of(&(end..end + 1));
                }
                bar += 1;
                from += cells.len() + 1;
            }
        }
        start += line.len();
    }
    panic!("no count at bar {} in:\n{text}", at.bar);
}
