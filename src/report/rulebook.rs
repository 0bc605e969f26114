//! The rulebook: what each rule asks, why, when it keeps silent, where it comes from, how often it speaks on
//! open scores, and a wrong and a right example drawn as grids. The rest comes from the rules themselves.

use super::grid_view::GridView;
use super::marked_grid::{GridLine, GridMark, marked};
use super::wrapping::hanging;
use super::{advice, frequency, table};
use crate::finding::Finding;
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::rules::{self, Example, Group, Rule};
use crate::score::NoteRef;
use crate::score::Score;
use crate::style::Style;
use std::fmt::Write as _;
use std::ops::Range;

/// The groups in the order of the book.
const GROUPS: [(Group, &str); 7] = [
    (Group::Harmony, "harmony"),
    (Group::Voicing, "voicing"),
    (Group::Rubs, "rubs"),
    (Group::Lines, "lines"),
    (Group::Players, "players"),
    (Group::Agreement, "agreement of parts"),
    (Group::Notation, "notation"),
];

/// The widest that running text gets here.
const WIDTH: usize = 92;

/// Every rule by group: its name, the level of its gravest finding, what it asks, in so many columns.
pub fn list(columns: usize) -> String {
    let width = columns.min(WIDTH);
    let mut out = String::new();
    for (group, name) in GROUPS {
        let _ = writeln!(out, "{name}");
        let rows: Vec<[String; 2]> = rules::ALL
            .into_iter()
            .filter(|r| r.group == group)
            .map(|r| [format!("  {}", r.name), level(r)])
            .collect();
        for (line, rule) in table::lines(["  rule", "level"], &rows)
            .into_iter()
            .skip(1)
            .zip(rules::ALL.into_iter().filter(|r| r.group == group))
        {
            let _ = writeln!(out, "{line}");
            hanging(&mut out, "      ", rule.asks, width);
        }
        out.push('\n');
    }
    let _ = writeln!(
        out,
        "{} rules. `chartproof rulebook RULE` explains one, with a wrong and a right example.",
        rules::ALL.len()
    );
    out
}

/// The name of the group a rule belongs to.
pub(super) fn group(rule: &Rule) -> &'static str {
    let of = GROUPS.into_iter().find(|(group, _)| *group == rule.group);
    of.map_or("", |(_, name)| name)
}

fn level(rule: &Rule) -> String {
    if rule.off {
        format!("{}, off unless the style has it on", rule.level.word())
    } else {
        rule.level.word().to_owned()
    }
}

/// All of one rule, in so many columns.
pub fn page(rule: &Rule, columns: usize) -> String {
    let width = columns.min(WIDTH);
    let mut out = format!("{} ({})\n\n", rule.name, level(rule));
    hanging(&mut out, "", rule.asks, width);
    out.push('\n');
    hanging(&mut out, "why: ", rule.why, width);
    if !rule.exceptions.is_empty() {
        let _ = writeln!(out, "silent for:");
        for exception in rule.exceptions {
            hanging(&mut out, "  * ", exception.says, width);
        }
    }
    if !rule.settings.is_empty() {
        let _ = writeln!(out, "settings of a house style:");
        for setting in rule.settings {
            hanging(
                &mut out,
                "  * ",
                &format!("{} = {}: {}", setting.name, setting.default, setting.about),
                width,
            );
        }
    }
    hanging(&mut out, "source: ", rule.source, width);
    out.push('\n');
    out.push_str(&frequency::lines(rule.name));
    for example in rule.examples {
        let _ = writeln!(out, "\nwrong:\n");
        show(&mut out, rule, example.wrong, columns);
        let _ = writeln!(out, "\nright:\n");
        if let Ok(right) = example.right_passage() {
            show(&mut out, rule, &right, columns);
        }
    }
    out
}

/// An example as the grid of the bar it is about, with marks under what the rule finds, and what it
/// says.
fn show(out: &mut String, rule: &Rule, passage: &str, columns: usize) {
    let width = columns.min(WIDTH);
    let Ok(score) = Example::score(passage) else {
        return; // the tests prove that every example can be read
    };
    let mut style = Style::default();
    if rule.off {
        style.levels.insert(rule.name.to_owned(), Some(rule.level));
    }
    let finding = proof(&score, &style)
        .findings
        .into_iter()
        .find(|f| f.rule == rule.name);
    match &finding {
        Some(finding) => {
            draw(out, &score, finding.at.bar, Some(finding), columns);
            out.push('\n');
            hanging(out, "  says: ", &finding.message, width);
            if let Some(suggestion) = &finding.suggestion {
                hanging(out, &format!("  {}: ", advice(finding)), suggestion, width);
            }
        }
        None => {
            for bar in 0..score.bars.len() as u32 {
                draw(out, &score, bar, None, columns);
            }
        }
    }
    for line in rules::signs(passage) {
        let _ = writeln!(out, "  on the page: {line}");
    }
}

fn draw(out: &mut String, score: &Score, bar: u32, finding: Option<&Finding>, width: usize) {
    let parts: Vec<u32> = (0..score.parts.len() as u32).collect();
    let room = width.saturating_sub(4);
    let focus = finding.map_or(Ticks::ZERO, |f| f.at.offset);
    let view = GridView::around(score, &parts, bar, focus, room);
    let marks: Vec<GridMark> = finding
        .into_iter()
        .flat_map(|f| marks(&view, f))
        .map(|range| GridMark {
            range,
            text: String::new(),
        })
        .collect();
    for line in marked(&view, &marks, true, room) {
        match line {
            GridLine::Row(line) if line.is_empty() => out.push('\n'),
            GridLine::Row(line) | GridLine::Marks(line) => {
                let _ = writeln!(out, "    {line}");
            }
        }
    }
}

fn marks(view: &GridView, finding: &Finding) -> Vec<Range<usize>> {
    let notes = |note: NoteRef| view.note(note, finding.at.offset);
    let mut found: Vec<Range<usize>> = finding.notes.iter().filter_map(|n| notes(n.note)).collect();
    if found.is_empty() {
        found = finding
            .parts
            .iter()
            .filter_map(|&p| view.cell(p, finding.at.offset).or_else(|| view.label(p)))
            .collect();
    }
    found.sort_by_key(|r| r.start);
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_complete() {
        let text = list(100);
        for rule in rules::ALL {
            assert!(text.contains(rule.name), "{}", rule.name);
        }
        assert!(text.contains(&format!("{} rules.", rules::ALL.len())));
        insta::assert_snapshot!("rulebook-list", text);
    }

    #[test]
    fn every_page_shows_a_marked_wrong_example_and_a_right_one() {
        for rule in rules::ALL {
            let text = page(rule, 100);
            let (wrong, right) = text.split_once("\nright:\n").unwrap();
            assert!(wrong.contains('^'), "{text}");
            assert!(wrong.contains("says: "), "{text}");
            assert!(!right.split("\nwrong:\n").next().unwrap().contains("says: "));
            assert!(text.contains("source: "));
        }
        let rule = rules::named("wrong-voice-dropped").unwrap();
        insta::assert_snapshot!("rulebook-page", page(rule, 100));
    }
}
