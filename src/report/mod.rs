//! Reports: findings as text and as a page for people, as JSON for machines. They format and decide nothing.

pub mod alternatives;
pub mod analysis;
pub mod answer;
pub mod class;
mod frequency;
pub mod grid_view;
pub mod html;
pub mod json;
pub mod markdown;
pub mod marked_grid;
pub mod plan;
pub mod rulebook;
pub mod sarif;
pub mod table;
pub mod text;
pub mod wrapping;

use crate::finding::{Finding, Grounds, Level, SetAside};
use crate::ground::problem::Problem;
use crate::ground::shown::printable;
use crate::ground::text::Span;
use crate::proof::fingerprint::{self, Print};
use crate::proof::{Heard, Proofed};
use crate::score::{Score, Source};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What became of one file (or of several that were read as one score).
#[derive(Debug)]
pub struct ProofedFile {
    /// The file, as the user gave it or as the walk found it.
    pub path: PathBuf,
    /// The score and what proofing it gave, or why there is none.
    pub outcome: Result<(Heard, Proofed), Problem>,
}

impl ProofedFile {
    /// The path as text; bytes that are no text are replaced.
    fn name(&self) -> String {
        self.path.display().to_string()
    }

    /// The findings, errors first, then warnings, each in order of bar and beat; empty when the file could not
    /// be read.
    fn findings(&self) -> Vec<&Finding> {
        let mut all: Vec<&Finding> = match &self.outcome {
            Ok((_, proofed)) => proofed.findings.iter().collect(),
            Err(_) => Vec::new(),
        };
        all.sort_by_key(|f| (Reverse(f.level), f.at));
        all
    }

    /// The findings that do not count as well, in the same order, each with its fingerprint: what a
    /// finding is known by must not depend on what counts today.
    fn all(&self) -> Vec<ReportedFinding<'_>> {
        let Ok((score, proofed)) = &self.outcome else {
            return Vec::new();
        };
        let counting = proofed.findings.iter().map(|f| (f, None));
        let aside = proofed.set_aside.iter().map(|s| (&s.finding, Some(s)));
        let mut all: Vec<(&Finding, Option<&SetAside>)> = counting.chain(aside).collect();
        all.sort_by_key(|(finding, _)| finding.at);
        let findings: Vec<&Finding> = all.iter().map(|(finding, _)| *finding).collect();
        let prints = fingerprint::prints(score, &findings);
        all.into_iter()
            .zip(prints)
            .map(|((finding, aside), print)| ReportedFinding {
                score,
                finding,
                aside,
                print,
            })
            .collect()
    }
}

/// A finding as a report for machines has it.
struct ReportedFinding<'a> {
    score: &'a Score,
    finding: &'a Finding,
    /// Why it does not count, when it does not.
    aside: Option<&'a SetAside>,
    print: Print,
}

/// All files together in numbers: the end of a report, and all that has to be kept of a
/// file whose own piece is written.
#[derive(Clone, Debug, Default)]
pub struct Sums {
    /// Files that were read.
    pub files: usize,
    /// Files that could not be read.
    pub unreadable: usize,
    /// Bars of all scores.
    pub bars: usize,
    /// Sonorities that were looked at.
    pub sonorities: usize,
    /// Findings that count.
    pub tally: Tally,
    /// Findings that do not count.
    pub set_aside: usize,
    /// Of them, those on the ledger.
    pub on_ledger: usize,
    /// Of them, those that the revision has too.
    pub in_revision: usize,
}

impl Sums {
    /// The sums of some files.
    pub fn of<'a>(entries: impl IntoIterator<Item = &'a ProofedFile>) -> Self {
        let mut sums = Self::default();
        for entry in entries {
            sums.add(entry);
        }
        sums
    }

    /// Counts a file in.
    pub fn add(&mut self, entry: &ProofedFile) {
        let Ok((score, proofed)) = &entry.outcome else {
            self.unreadable += 1;
            return;
        };
        self.files += 1;
        self.bars += score.bars.len();
        self.sonorities += proofed.sonorities;
        self.tally.add(&proofed.findings);
        self.set_aside += proofed.set_aside.len();
        let on = |grounds| {
            let aside = proofed.set_aside.iter();
            aside.filter(|s| s.grounds == grounds).count()
        };
        self.on_ledger += on(Grounds::Ledger);
        self.in_revision += on(Grounds::Revision);
    }

    /// What is said of findings that were set aside for all files together. Those that the style or
    /// the score accepts are reported with their file.
    fn not_shown(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let not_counted = [
            (self.on_ledger, "on the ledger"),
            (self.in_revision, "that the revision has too"),
        ];
        for (count, what) in not_counted {
            match count {
                0 => {}
                1 => lines.push(format!("1 finding {what} is not shown")),
                n => lines.push(format!("{n} findings {what} are not shown")),
            }
        }
        lines
    }
}

/// How many findings there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Of level error.
    pub errors: usize,
    /// Of level warning.
    pub warnings: usize,
    /// Of level note.
    pub notes: usize,
    /// By rule name.
    pub by_rule: BTreeMap<&'static str, usize>,
}

impl Tally {
    /// Counts findings in.
    pub fn add(&mut self, findings: &[Finding]) {
        for finding in findings {
            match finding.level {
                Level::Error => self.errors += 1,
                Level::Warning => self.warnings += 1,
                Level::Note => self.notes += 1,
            }
            *self.by_rule.entry(finding.rule).or_default() += 1;
        }
    }

    /// The heaviest level found.
    pub fn worst(&self) -> Option<Level> {
        if self.errors > 0 {
            Some(Level::Error)
        } else if self.warnings > 0 {
            Some(Level::Warning)
        } else if self.notes > 0 {
            Some(Level::Note)
        } else {
            None
        }
    }
}

/// How the suggestion of a finding is introduced: a fix was tried on the score, so that the finding goes
/// and no new error or warning comes; any other suggestion was not, or would cause another finding.
pub(crate) fn advice(finding: &Finding) -> &'static str {
    if finding.fix.is_some() {
        "fix (checked)"
    } else {
        "suggestion"
    }
}

/// The names of parts; indices that no part has are left out.
pub(crate) fn part_names<'a>(score: &'a Score, parts: &[u32]) -> Vec<&'a str> {
    parts
        .iter()
        .filter_map(|&i| score.parts.get(i as usize))
        .map(|p| p.name.as_str())
        .collect()
}

/// Where a finding stands in its files: its first note in a bar, else the bar of its first part.
fn whereabouts<'a>(score: &'a Score, finding: &Finding, bar: u32) -> Option<(&'a Source, Span)> {
    let of_note = finding.notes.iter().find_map(|n| {
        let part = score.parts.get(n.note.part as usize)?;
        let note = part.notes.get(n.note.note as usize)?;
        (note.at.bar == bar).then_some(note.span)
    });
    let of_bar = || {
        finding.parts.iter().find_map(|&p| {
            let part = score.parts.get(p as usize)?;
            part.bars.get(bar as usize).map(|bar| bar.span)
        })
    };
    let span = of_note.or_else(of_bar)?;
    Some((score.sources.get(span.source as usize)?, span))
}

/// `1 error`, `2 errors`.
fn counted(n: usize, word: &str) -> String {
    let plural = if word == "sonority" {
        "sonorities".to_owned()
    } else {
        format!("{word}s")
    };
    match n {
        1 => format!("1 {word}"),
        _ => format!("{n} {plural}"),
    }
}

#[cfg(test)]
pub(crate) mod sample {
    //! A report's entries for the reports' tests.

    use super::*;
    use crate::ground::text::Text;
    pub(crate) use crate::proof::sample::*;

    pub(crate) fn entry() -> ProofedFile {
        let (score, proofed) = proofed();
        ProofedFile {
            path: PathBuf::from("quay.musicxml"),
            outcome: Ok((score.into(), proofed)),
        }
    }

    pub(crate) fn unreadable() -> ProofedFile {
        let path = PathBuf::from("broken.passage");
        let text = Text::from("title: x\nalto 1 | A4 H4 |\n");
        ProofedFile {
            outcome: Err(Problem::at(&path, &text, 21..23, "`H4` is not a pitch")
                .help("write a letter A to G, accidentals (b, #) and an octave, such as Bb4")),
            path,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tally_counts_levels_and_rules() {
        let tally = Sums::of(&[sample::entry(), sample::unreadable()]).tally;
        assert_eq!((tally.errors, tally.warnings, tally.notes), (1, 1, 0));
        assert_eq!(tally.worst(), Some(Level::Error));
        assert_eq!(tally.by_rule["bar-length"], 1);
        assert_eq!(Tally::default().worst(), None);
    }

    #[test]
    fn one_and_many() {
        assert_eq!(counted(1, "sonority"), "1 sonority");
        assert_eq!(counted(0, "sonority"), "0 sonorities");
        assert_eq!(counted(2, "error"), "2 errors");
    }

    #[test]
    fn a_finding_is_found_in_its_file() {
        let score = sample::score();
        let (source, span) = whereabouts(&score, &sample::finding(), 1).unwrap();
        assert_eq!(source.line_column(span.start), (4, 6));
    }
}
