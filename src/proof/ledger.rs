//! The ledger: findings that were there on a day, so that only new ones count.
//!
//! A ledger is a TOML file, one table for each finding, in an order that stays the same: who changes
//! a score and records it again changes the lines of its findings and no others. A finding is known
//! again by its fingerprint ([`crate::proof::fingerprint`]) and the file it stands in; everything else is
//! for people. Where a file is gone, its findings are looked for in the others: it was renamed.
//!
//! `file` is relative to the folder of the ledger, with `/` between its steps. `bar` is the printed
//! number and `beat` is 1-based in units of the meter's lower figure, both as they were when the
//! finding was recorded.

use crate::finding::{Finding, Grounds, SetAside};
use crate::ground::disk;
use crate::ground::problem::Problem;
use crate::ground::shown::shown_toml;
use crate::ground::text::Text;
use crate::proof::Proofed;
use crate::proof::fingerprint::{self, Known, Near, Print};
use crate::score::Score;
use serde::Deserialize;
use std::collections::{BTreeSet, HashMap};
use std::fmt::Write as _;
use std::path::{Component, Path, PathBuf};

/// The name and version of the format.
pub const FORMAT: &str = "chartproof-ledger/1";

/// The name a ledger has when none is given.
pub const FILE_NAME: &str = "chartproof.ledger";

/// What stands at the head of a ledger.
const HEAD: &str = "\
# Findings that were there already, and do not count with `chartproof proof --ledger`.
# `chartproof ledger` rewrites this file: mended findings leave it. A reason may be added
# to a finding (reason = \"...\"); it is kept. Other comments are not.
";

/// A finding on a ledger.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Recorded {
    /// The file, from the ledger's folder.
    pub file: String,
    /// The rule.
    pub rule: String,
    /// The parts at fault.
    pub parts: Vec<String>,
    /// The fingerprint without its ordinal.
    pub about: u64,
    /// The bars around it; without them it may stand anywhere in its file.
    pub near: Option<Near>,
    /// The printed bar when it was recorded.
    pub bar: String,
    /// The beat when it was recorded.
    pub beat: String,
    /// What the report said.
    pub says: String,
    /// Why it is left as it is, when a person has said so.
    pub reason: Option<String>,
}

/// What recording came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RecordSums {
    /// Findings on the ledger now.
    pub recorded: usize,
    /// Of these, the ones that were not on it before.
    pub new: usize,
    /// Findings that left it.
    pub gone: usize,
}

/// Findings on record.
#[derive(Clone, Debug)]
pub struct Ledger {
    path: PathBuf,
    /// The folder it stands in, free of links.
    folder: PathBuf,
    recorded: Vec<Recorded>,
}

#[derive(Deserialize)]
struct Head {
    format: toml::Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Document {
    #[serde(rename = "format")]
    _format: String,
    #[serde(default)]
    finding: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    file: String,
    rule: String,
    #[serde(default)]
    parts: Vec<String>,
    #[serde(default)]
    bar: String,
    #[serde(default)]
    beat: String,
    #[serde(default)]
    says: String,
    reason: Option<String>,
    fingerprint: toml::Spanned<String>,
    near: Option<toml::Spanned<String>>,
}

/// One finding of the scores that are looked at.
struct PrintedFinding<'a> {
    score: &'a Score,
    finding: &'a Finding,
    print: Print,
    file: String,
}

impl Ledger {
    /// A ledger with nothing on it.
    pub fn new(path: &Path) -> Self {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        Self {
            folder: real(folder),
            path: path.to_owned(),
            recorded: Vec::new(),
        }
    }

    /// Reads the text of a ledger.
    ///
    /// # Errors
    ///
    /// When it is not a ledger, or one of another version: with the place of the first mistake.
    pub fn read(path: &Path, text: &str) -> Result<Self, Problem> {
        let text = Text::from(text);
        let again = "`chartproof ledger` rewrites a ledger; of a merge that was left unfinished \
                     keep the lines of both sides first";
        let broken = |error: toml::de::Error| {
            let message = format!("this is not a ledger that can be read: {}", error.message());
            match error.span() {
                Some(span) => Problem::at(path, &text, span, message),
                None => Problem::whole(path, message),
            }
            .help(again)
        };
        // Of a file that is none, nothing is shown: a link may have led to it.
        if !says_format(&text) {
            let message = format!("this is not a ledger: it does not say format = \"{FORMAT}\"");
            return Err(Problem::whole(path, message)
                .help("name a ledger that `chartproof ledger` has written"));
        }
        let head: Head = toml::from_str(&text).map_err(broken)?;
        let format = head.format;
        if format.get_ref() != FORMAT {
            let message = format!(
                "this ledger is in the format `{}`: expected `{FORMAT}`",
                format.get_ref()
            );
            return Err(Problem::at(path, &text, format.span(), message)
                .help("use the version of chartproof that wrote it, or a newer one"));
        }
        let document: Document = toml::from_str(&text).map_err(broken)?;
        let mut ledger = Self::new(path);
        for row in document.finding {
            let about = match row.fingerprint.get_ref() {
                // A sign before the figures would be read too.
                word if word.len() == 16 && word.bytes().all(|b| b.is_ascii_hexdigit()) => {
                    u64::from_str_radix(word, 16).ok()
                }
                _ => None,
            };
            let Some(about) = about else {
                let message = format!(
                    "`{}` is not a fingerprint: sixteen hexadecimal figures were expected",
                    row.fingerprint.get_ref()
                );
                let at = row.fingerprint.span();
                return Err(Problem::at(path, &text, at, message).help(again));
            };
            let near = match &row.near {
                None => None,
                Some(near) => match near.get_ref().parse::<Near>() {
                    Ok(near) => Some(near),
                    Err(error) => {
                        let message =
                            format!("`{}` is not what stands in `near`: {error}", near.get_ref());
                        return Err(Problem::at(path, &text, near.span(), message).help(again));
                    }
                },
            };
            ledger.recorded.push(Recorded {
                file: row.file,
                rule: row.rule,
                parts: row.parts,
                about,
                near,
                bar: row.bar,
                beat: row.beat,
                says: row.says,
                reason: row.reason,
            });
        }
        Ok(ledger)
    }

    /// The findings on it.
    #[cfg(any(test, feature = "inside"))]
    pub fn recorded(&self) -> &[Recorded] {
        &self.recorded
    }

    /// The ledger as text. It ends with a line feed.
    pub fn print(&self) -> String {
        let mut out = format!("{HEAD}format = {}\n", shown_toml(FORMAT));
        for r in &self.recorded {
            let parts: Vec<String> = r.parts.iter().map(|p| shown_toml(p)).collect();
            let _ = write!(
                out,
                "\n[[finding]]\nfile = {}\nrule = {}\nparts = [{}]\nbar = {}\nbeat = {}\nsays = {}\n",
                shown_toml(&r.file),
                shown_toml(&r.rule),
                parts.join(", "),
                shown_toml(&r.bar),
                shown_toml(&r.beat),
                shown_toml(&r.says),
            );
            if let Some(reason) = &r.reason {
                let _ = writeln!(out, "reason = {}", shown_toml(reason));
            }
            let _ = writeln!(out, "fingerprint = \"{:016x}\"", r.about);
            if let Some(near) = r.near {
                let _ = writeln!(out, "near = \"{near}\"");
            }
        }
        out
    }

    /// Sets aside the findings that are on the ledger, each entry once.
    pub fn set_aside(&self, scores: &mut [(&Score, &mut Proofed)]) {
        let mut all = Vec::new();
        let mut whose = Vec::new();
        for (index, (score, proofed)) in scores.iter().enumerate() {
            let order = in_order(&proofed.findings);
            let findings: Vec<&Finding> = order
                .iter()
                .filter_map(|&i| proofed.findings.get(i))
                .collect();
            all.extend(self.found(score, &findings));
            whose.extend(order.into_iter().map(|i| (index, i)));
        }
        let matched = self.matched(&all);
        let mut why: Vec<HashMap<usize, usize>> = vec![HashMap::new(); scores.len()];
        for ((score, finding), entry) in whose.into_iter().zip(matched) {
            if let (Some(entry), Some(why)) = (entry, why.get_mut(score)) {
                why.insert(finding, entry);
            }
        }
        let origin = self.path.display().to_string();
        for ((_, proofed), why) in scores.iter_mut().zip(why) {
            proofed.set_aside_where(|index, finding| {
                let entry = self.recorded.get(*why.get(&index)?)?;
                Some(SetAside {
                    finding: finding.clone(),
                    grounds: Grounds::Ledger,
                    reason: entry.reason.clone(),
                    origin: origin.clone(),
                })
            });
        }
    }

    /// Records the findings of the scores that were looked at in place of those on record for their
    /// files. What is known already keeps its reason. Files that were not looked at keep theirs, as
    /// long as they are there.
    pub fn record(&mut self, scores: &[(&Score, &Proofed)]) -> RecordSums {
        let mut found = Vec::new();
        let mut looked_at: BTreeSet<String> = BTreeSet::new();
        for (score, proofed) in scores {
            looked_at.extend(score.sources.iter().map(|s| self.name_of(&s.path)));
            let order = in_order(&proofed.findings);
            let findings: Vec<&Finding> = order
                .iter()
                .filter_map(|&i| proofed.findings.get(i))
                .collect();
            found.extend(self.found(score, &findings));
        }
        let matched = self.matched(&found);
        let mut sums = RecordSums::default();
        let mut kept = vec![false; self.recorded.len()];
        let mut next: Vec<Recorded> = Vec::new();
        for (found, entry) in found.iter().zip(&matched) {
            let before = entry.and_then(|i| self.recorded.get(i));
            match entry.and_then(|i| kept.get_mut(i)) {
                Some(kept) => *kept = true,
                None => sums.new += 1,
            }
            next.push(Recorded {
                reason: before.and_then(|r| r.reason.clone()),
                ..found.recorded()
            });
        }
        for (entry, kept) in self.recorded.iter().zip(kept) {
            if kept {
                continue;
            }
            if looked_at.contains(&entry.file) || !self.is_there(&entry.file) {
                sums.gone += 1;
            } else {
                next.push(entry.clone());
            }
        }
        next.sort();
        sums.recorded = next.len();
        self.recorded = next;
        sums
    }

    fn found<'a>(&self, score: &'a Score, findings: &[&'a Finding]) -> Vec<PrintedFinding<'a>> {
        let prints = fingerprint::prints(score, findings);
        findings
            .iter()
            .zip(prints)
            .map(|(finding, print)| PrintedFinding {
                score,
                finding,
                print,
                file: file_of(score, finding).map_or_else(String::new, |f| self.name_of(f)),
            })
            .collect()
    }

    /// For each finding the entry that it is: of its own file first, then of files that are gone.
    fn matched(&self, found: &[PrintedFinding<'_>]) -> Vec<Option<usize>> {
        let mut by_file: HashMap<&str, Vec<usize>> = HashMap::new();
        for (index, f) in found.iter().enumerate() {
            by_file.entry(&f.file).or_default().push(index);
        }
        let mut own: HashMap<&str, Known> = HashMap::new();
        let mut moved = Known::default();
        let mut there: HashMap<&str, bool> = HashMap::new();
        for (index, entry) in self.recorded.iter().enumerate() {
            let known = if by_file.contains_key(entry.file.as_str()) {
                own.entry(&entry.file).or_default()
            } else if *there
                .entry(&entry.file)
                .or_insert_with(|| self.is_there(&entry.file))
            {
                continue;
            } else {
                &mut moved
            };
            known.add(entry.about, entry.near, index);
        }
        let mut out = vec![None; found.len()];
        let take = |known: &mut Known, indices: &[usize], out: &mut [Option<usize>]| {
            let prints: Vec<Print> = indices
                .iter()
                .filter_map(|&i| found.get(i).map(|f| f.print.clone()))
                .collect();
            for (&index, entry) in indices.iter().zip(known.take(&prints)) {
                if let Some(slot) = out.get_mut(index) {
                    *slot = entry;
                }
            }
        };
        for (file, indices) in &by_file {
            if let Some(known) = own.get_mut(file) {
                take(known, indices, &mut out);
            }
        }
        let unknown: Vec<usize> = (0..found.len())
            .filter(|&i| out.get(i).is_some_and(Option::is_none))
            .collect();
        take(&mut moved, &unknown, &mut out);
        out
    }

    fn is_there(&self, file: &str) -> bool {
        disk::exists(&self.folder.join(file))
    }

    /// A file as the ledger names it.
    fn name_of(&self, file: &Path) -> String {
        let file = real(file);
        let mut ups = 0;
        let mut from = self.folder.as_path();
        let below = loop {
            if let Ok(below) = file.strip_prefix(from) {
                break below.to_owned();
            }
            match from.parent() {
                Some(parent) => from = parent,
                None => break file, // another drive
            }
            ups += 1;
        };
        let steps = below.components().filter_map(|c| match c {
            Component::Normal(step) => Some(step.to_string_lossy().into_owned()),
            Component::Prefix(drive) => Some(drive.as_os_str().to_string_lossy().into_owned()),
            _ => None,
        });
        let all: Vec<String> = std::iter::repeat_n("..".to_owned(), ups)
            .chain(steps)
            .collect();
        all.join("/")
    }
}

impl PrintedFinding<'_> {
    fn recorded(&self) -> Recorded {
        let names = self
            .finding
            .parts
            .iter()
            .filter_map(|&p| self.score.parts.get(p as usize));
        Recorded {
            file: self.file.clone(),
            rule: self.finding.rule.to_owned(),
            parts: names.map(|p| p.name.clone()).collect(),
            about: self.print.about,
            near: Some(self.print.near),
            bar: self.score.bar_number(self.finding.at.bar),
            beat: self.score.beat_at(self.finding.at).to_string(),
            says: self.finding.message.clone(),
            reason: None,
        }
    }
}

/// Whether a line says that the text is a ledger, of whatever version.
fn says_format(text: &str) -> bool {
    let kind = FORMAT.split('/').next().unwrap_or(FORMAT);
    let value = |line: &'_ str| Some(line.trim_start().strip_prefix("format")?.contains(kind));
    text.lines().any(|line| value(line).unwrap_or(false))
}

/// The indices of findings in order of place.
fn in_order(findings: &[Finding]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..findings.len()).collect();
    order.sort_by_key(|&i| findings.get(i).map(|f| f.at));
    order
}

/// The file a finding stands in: of a score put together from parts, the one at fault.
fn file_of<'a>(score: &'a Score, finding: &Finding) -> Option<&'a Path> {
    let of_note = finding.notes.iter().find_map(|n| {
        let part = score.parts.get(n.note.part as usize)?;
        part.notes.get(n.note.note as usize).map(|n| n.span)
    });
    let of_part = || {
        let part = score.parts.get(*finding.parts.first()? as usize)?;
        part.bars.first().map(|b| b.span)
    };
    let source = of_note.or_else(of_part).map_or(0, |span| span.source);
    score
        .sources
        .get(usize::from(source))
        .map(|s| s.path.as_path())
}

/// The path without links and detours; as it is, made absolute, where there is no such file.
fn real(path: &Path) -> PathBuf {
    disk::true_name(path)
        .or_else(|| std::path::absolute(path).ok())
        .unwrap_or_else(|| path.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::sample;

    fn sample_ledger(path: &Path) -> Ledger {
        let (score, proofed) = sample::proofed();
        let mut ledger = Ledger::new(path);
        let sums = ledger.record(&[(&score, &proofed)]);
        assert_eq!((sums.recorded, sums.new, sums.gone), (2, 2, 0));
        ledger
    }

    #[test]
    fn a_ledger_is_read_as_it_is_printed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE_NAME);
        let mut ledger = sample_ledger(&path);
        ledger.recorded[0].reason = Some("as \"sung\",\n\ttwice \\ \u{1b}\u{7f}".to_owned());
        ledger.recorded[1].near = None;
        let again = Ledger::read(&path, &ledger.print()).unwrap();
        assert_eq!(again.recorded, ledger.recorded);
        assert_eq!(again.print(), ledger.print());
    }

    #[test]
    fn mistakes_have_a_place() {
        let place = |text: &str| {
            let error = Ledger::read(Path::new("l"), text).unwrap_err();
            (error.line_column(), error.message.clone())
        };
        let (at, why) = place("format = \"chartproof-ledger/1\"\nfinding = 3\n");
        assert_eq!(at.map(|a| a.0), Some(2), "{why}");
        let (at, why) = place("format = \"chartproof-ledger/2\"\n");
        assert_eq!(at, Some((1, 10)), "{why}");
        assert!(why.contains("chartproof-ledger/2"), "{why}");
        let (_, why) = place("");
        assert!(why.contains("does not say format"), "{why}");
        let row = "format = \"chartproof-ledger/1\"\n[[finding]]\nfile = \"a\"\nrule = \"b\"\n";
        let (at, _) = place(&format!("{row}fingerprint = \"-23456789abcdef0\"\n"));
        assert_eq!(at.map(|a| a.0), Some(5));
        let (at, _) = place(&format!(
            "{row}fingerprint = \"0123456789abcdef\"\nnear = \"1\"\n"
        ));
        assert_eq!(at.map(|a| a.0), Some(6));
        let (at, why) = place(&format!(
            "{row}fingerprint = \"0123456789abcdef\"\nraeson = \"1\"\n"
        ));
        assert_eq!(at.map(|a| a.0), Some(6), "{why}");
    }

    #[test]
    fn what_is_on_the_ledger_is_set_aside_once() {
        let folder = tempfile::tempdir().unwrap();
        let ledger = sample_ledger(&folder.path().join(FILE_NAME));
        let (score, mut proofed) = sample::proofed();
        proofed.findings.push(proofed.findings[0].clone());
        ledger.set_aside(&mut [(&score, &mut proofed)]);
        assert_eq!(proofed.findings.len(), 1);
        assert_eq!(proofed.set_aside.len(), 2);
        assert!(
            proofed
                .set_aside
                .iter()
                .all(|s| s.grounds == Grounds::Ledger)
        );
    }

    #[test]
    fn files_are_named_from_the_ledgers_folder() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("a/b");
        std::fs::create_dir_all(&inner).unwrap();
        let file = folder.path().join("a/x.mxl");
        std::fs::write(&file, "").unwrap();
        let from = |place: &Path| Ledger::new(&place.join(FILE_NAME)).name_of(&file);
        assert_eq!(from(folder.path()), "a/x.mxl");
        assert_eq!(from(&folder.path().join("a")), "x.mxl");
        assert_eq!(from(&inner), "../x.mxl");
        assert!(Ledger::new(&inner.join(FILE_NAME)).is_there("../x.mxl"));
    }
}
