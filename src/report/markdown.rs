//! The report as Markdown, for the page of a proposed change: a table of all findings, then each with its grid, its
//! reason folded away. It stays under a size that such pages take; what does not fit is counted.
//!
//! All text from scores is escaped: a part's name can make neither markup, nor a link, nor call a person.

use super::text::{grid_of, headline, in_one_line, place_in_file};
use super::{ProofedFile, Sums, advice, counted, part_names, printable};
use crate::finding::{Finding, Level};
use crate::proof::Proofed;
use crate::score::Score;
use std::cmp::Reverse;
use std::fmt::Write;

/// Bytes that the whole may take: common hosts take 65,536 characters.
const ROOM: usize = 60_000;

/// Bytes of them for the table.
const TABLE_ROOM: usize = 20_000;

/// Bytes kept for what closes the report.
const END_ROOM: usize = 400;

/// Columns of a grid: pages show it in a box that scrolls.
const WIDTH: usize = 120;

/// One finding with what it stands in.
struct Entry<'a> {
    file: &'a ProofedFile,
    score: &'a Score,
    proofed: &'a Proofed,
    finding: &'a Finding,
}

/// Writes the report.
pub fn render(entries: &[ProofedFile]) -> String {
    let sums = Sums::of(entries);
    let mut all: Vec<Entry<'_>> = entries.iter().flat_map(entries_of).collect();
    // Whoever reads the first screen only has read the gravest.
    all.sort_by_key(|e| Reverse(e.finding.level));
    let mut out = format!("## {}\n\n", escaped(&in_one_line(&sums)));
    for line in sums.not_shown() {
        let _ = writeln!(out, "{}\n", escaped(&line));
    }
    unreadable(&mut out, entries);
    if all.is_empty() {
        out.push_str("Nothing found that needs correcting.\n");
        return out;
    }
    let rows = table(&mut out, &all);
    if rows < all.len() {
        let _ = writeln!(
            out,
            "\n{} more in no row.",
            counted(all.len() - rows, "finding")
        );
    }
    let mut shown = 0;
    for entry in &all {
        let section = section(entry);
        if out.len() + section.len() + END_ROOM > ROOM {
            break;
        }
        out.push_str(&section);
        shown += 1;
    }
    if shown < all.len() {
        let _ = write!(
            out,
            "\n---\n\n{} not drawn here: the report as text or as a page has all.\n",
            counted(all.len() - shown, "more finding")
        );
    }
    out
}

fn entries_of(file: &ProofedFile) -> Vec<Entry<'_>> {
    let Ok((score, proofed)) = &file.outcome else {
        return Vec::new();
    };
    let all = file.findings().into_iter();
    all.map(|finding| Entry {
        file,
        score,
        proofed,
        finding,
    })
    .collect()
}

/// Files that could not be read, as long as there is room for them.
fn unreadable(out: &mut String, entries: &[ProofedFile]) {
    let mut left_out = 0;
    for entry in entries {
        let Err(problem) = &entry.outcome else {
            continue;
        };
        let line = format!(
            "- {} could not be read: {}\n",
            escaped(&entry.name()),
            escaped(&problem.message)
        );
        if out.len() + line.len() > TABLE_ROOM / 2 {
            left_out += 1;
        } else {
            out.push_str(&line);
        }
    }
    if left_out > 0 {
        let _ = writeln!(
            out,
            "- {} could not be read",
            counted(left_out, "more file")
        );
    }
    if entries.iter().any(|e| e.outcome.is_err()) {
        out.push('\n');
    }
}

/// The table; how many findings have a row.
fn table(out: &mut String, all: &[Entry<'_>]) -> usize {
    out.push_str("| | file | bar, beat | part | what |\n|---|---|---|---|---|\n");
    let end = out.len() + TABLE_ROOM;
    for (rows, entry) in all.iter().enumerate() {
        let finding = entry.finding;
        let parts = match part_names(entry.score, &finding.parts).as_slice() {
            [] => "all".to_owned(),
            names => names.join(", "),
        };
        let row = format!(
            "| {} | {} | {}, {} | {} | {} |\n",
            level(finding.level),
            escaped(&entry.file.name()),
            escaped(&entry.score.bar_number(finding.at.bar)),
            entry.score.beat_at(finding.at),
            escaped(&parts),
            escaped(&finding.message),
        );
        if out.len() + row.len() > end {
            return rows;
        }
        out.push_str(&row);
    }
    all.len()
}

const fn level(level: Level) -> &'static str {
    match level {
        Level::Error => "**error**",
        Level::Warning => "warning",
        Level::Note => "note",
    }
}

/// A finding with its grid, what to do, and why.
fn section(entry: &Entry<'_>) -> String {
    let finding = entry.finding;
    let mut out = format!(
        "\n### {}\n\n{}, {}\n",
        escaped(&headline(entry.score, finding)),
        level(finding.level),
        escaped(&place_in_file(entry.file, entry.score, finding)),
    );
    let grid = grid_of(entry.score, &entry.proofed.sections, finding, WIDTH);
    if !grid.is_empty() {
        // Longer than any fence that stands in a part's name.
        let fence = "`".repeat(longest_run(&grid, '`').max(2) + 1);
        let _ = write!(out, "\n{fence}text\n{grid}{fence}\n");
    }
    if let Some(words) = &finding.suggestion {
        let name = advice(finding);
        let _ = write!(out, "\n**{name}**: {}\n", escaped(words));
    }
    let mut why = escaped(&finding.why);
    if !finding.source.is_empty() {
        let _ = write!(why, " Source: {}.", escaped(finding.source));
    }
    let _ = write!(
        out,
        "\n<details><summary>why ({})</summary>\n\n{why}\n\n</details>\n",
        finding.rule
    );
    out
}

/// How often a letter stands side by side at most.
fn longest_run(text: &str, letter: char) -> usize {
    let runs = text.split(|c| c != letter);
    runs.map(str::len).max().unwrap_or(0)
}

/// Text that means itself. A person's handle, a number of an issue and an address are no links either.
fn escaped(text: &str) -> String {
    let text = printable(text);
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    for (i, c) in text.char_indices() {
        let rest = text.get(i..).unwrap_or_default();
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '@' => out.push_str("&#64;"),
            // A sharp stands behind its letter.
            '#' if !before.is_alphanumeric() => out.push_str("&#35;"),
            ':' if rest.starts_with("://") => out.push_str("&#58;"),
            '.' if before.eq_ignore_ascii_case(&'w') => out.push_str("&#46;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '$' => {
                out.push('\\');
                out.push(c);
            }
            '\n' | '\r' => out.push(' '),
            _ => out.push(c),
        }
        before = c;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::escaped;

    #[test]
    fn text_means_itself() {
        let hostile = "<b>@one *two* [a](b) `c` a|b #3 C#5 www.a http://b: c";
        let out = "&lt;b&gt;&#64;one \\*two\\* \\[a\\](b) \\`c\\` a\\|b &#35;3 C#5 www&#46;a http&#58;//b: c";
        assert_eq!(escaped(hostile), out);
    }
}
