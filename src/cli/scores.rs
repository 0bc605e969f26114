//! The scores a command works on, and their house styles: options every command shares.

use super::inputs::Inputs;
use super::verbosity::{self, Progress};
use super::write_out::{complain, complain_in_full, say};
use super::{CLEAN, UNUSABLE};
use crate::file_text::Limits;
use crate::ground::disk::{self, FileError};
use crate::ground::instrument::{self, Catalogue};
use crate::ground::problem::Problem;
use crate::house_style::{self, FILE_NAME, HouseStyles, StyleError};
use crate::proof::Heard;
use crate::reading::Outcome;
use crate::reading::files::{self, PassedOver, Plan, Set, WalkOptions};
use crate::score::SpokenPitch;
use crate::style::Style;
use crate::voicing::{Technique, UnknownTechnique};
use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Arg, Args, Command, ValueHint};
use rayon::prelude::*;
use std::ffi::OsStr;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

#[derive(Debug, Args)]
pub(super) struct ScoreOptions {
    /// Scores to read: MusicXML (.musicxml, .xml, .mxl), passage grids (.passage), or folders of
    /// them
    #[arg(required_unless_present = "list", value_name = "PATH", value_hint = ValueHint::AnyPath)]
    pub(super) paths: Vec<PathBuf>,

    /// Read the names of more files from this file, - for the standard input: one a line, or
    /// separated by zero bytes where there is one. Files without a score's ending are skipped, so
    /// that a list of changed files will do; a list without a score is not an error
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) list: Option<PathBuf>,

    /// Follow links in folders and in a list: links to other folders, and to files outside of the folder that is
    /// named (of a list, the current one) and of its repository. Without this they are passed over, and counted
    #[arg(long)]
    pub(super) follow_links: bool,

    /// Read all files together as the parts of one score, one player's part each
    #[arg(long)]
    pub(super) one_score: bool,

    /// The technique the passages are meant to be in, such as "drop 2", "four-way close", "doubled
    /// lead", "spread" or "fourths"; a passage that names its own keeps it. Without this it is
    /// inferred phrase by phrase
    #[arg(long, value_name = "TECHNIQUE", value_parser = TechniqueName, hide_possible_values = true)]
    pub(super) technique: Option<Technique>,

    /// The house style: chart (big-band proofreading, the usual one), homework (strict technique),
    /// choir, or a house style file. Without this the nearest chartproof.toml on the way up from
    /// each score holds
    #[arg(long, value_name = "NAME|FILE", value_parser = style, value_hint = ValueHint::FilePath)]
    pub(super) style: Option<ChosenStyle>,

    #[command(flatten)]
    pub(super) limits: LimitOptions,

    /// How many of the paths are not from the command line but from the list; they are the last.
    #[arg(skip)]
    pub(super) from_list: usize,

    /// How many links in the list are not followed.
    #[arg(skip)]
    pub(super) links_in_list: usize,

    /// At which pitch notes are reported to people.
    #[arg(skip)]
    pub(super) spoken: SpokenPitch,

    /// What was read, once it is read.
    #[arg(skip)]
    pub(super) inputs: Inputs,
}

/// How much is read at most.
#[derive(Debug, Args)]
pub(super) struct LimitOptions {
    /// Raise a limit of what is read, for files that are to be trusted: file or unpacked (bytes),
    /// ratio (unpacked to packed), depth (of XML), parts or bars (of a score), bar (notes and signs
    /// in one bar of a part). May be given several times
    #[arg(long = "limit", value_name = "NAME=NUMBER", value_parser = limit)]
    set: Vec<(&'static str, u64)>,
}

impl LimitOptions {
    pub(super) fn limits(&self) -> Limits {
        let mut limits = Limits::USUAL;
        for (name, value) in &self.set {
            limits.set(name, *value);
        }
        limits
    }
}

/// A limit on the command line that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum NoSuchLimit {
    #[error("a name, `=` and a whole number were expected, such as bars=2000000")]
    Form,
    #[error("there is no limit called `{found}`{}; the limits are {}",
        match nearest { Some(name) => format!(", did you mean `{name}`?"), None => String::new() },
        Limits::NAMES.map(|(name, what)| format!("{name} ({what})")).join(", "))]
    Name {
        found: String,
        nearest: Option<&'static str>,
    },
}

/// `bars=2000000`
fn limit(text: &str) -> Result<(&'static str, u64), NoSuchLimit> {
    let (name, value) = text.split_once('=').ok_or(NoSuchLimit::Form)?;
    let names = || Limits::NAMES.into_iter().map(|(known, _)| known);
    let known = names()
        .find(|known| *known == name)
        .ok_or_else(|| NoSuchLimit::Name {
            found: name.to_owned(),
            nearest: names().find(|known| strsim::damerau_levenshtein(known, name) <= 2),
        })?;
    let value = value.parse().map_err(|_| NoSuchLimit::Form)?;
    Ok((known, value))
}

/// A score with the style it is proofed in.
pub(super) struct ReadScore {
    pub(super) path: PathBuf,
    pub(super) score: Result<Heard, Problem>,
    pub(super) style: Arc<Style>,
}

/// Why not all scores that were asked for are there. All of it is reported already.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct InputProblems {
    /// A house style has mistakes: the scores it holds for are left out.
    pub(super) style_unusable: bool,
    /// The list of files could not be read.
    pub(super) list_unusable: bool,
    /// The list of files names no score, which is no mistake.
    pub(super) list_empty: bool,
}

impl InputProblems {
    /// Whether something that was asked for could not be used.
    pub(super) const fn are_mistakes(self) -> bool {
        self.style_unusable || self.list_unusable
    }

    /// The exit code they ask for.
    pub(super) const fn code(self) -> u8 {
        if self.are_mistakes() { UNUSABLE } else { CLEAN }
    }

    /// Adds those of another portion.
    pub(super) const fn add(&mut self, other: Self) {
        self.style_unusable |= other.style_unusable;
        self.list_unusable |= other.list_unusable;
        self.list_empty |= other.list_empty;
    }
}

/// The scores that were read, all or a portion of them.
#[derive(Default)]
pub(super) struct ReadScores {
    pub(super) scores: Vec<ReadScore>,
    pub(super) problems: InputProblems,
    /// How many files were listed in all, for this portion and the others.
    pub(super) files: usize,
    /// No other portion comes after it.
    pub(super) last: bool,
}

/// How much is read at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ReadIn {
    /// Everything.
    All,
    /// So many files that memory is no matter, however many there are in all.
    Batches,
}

impl ScoreOptions {
    /// Reads them all, each with the style that holds for it. From here on the files of the list are
    /// among the paths.
    pub(super) fn read(&mut self) -> ReadScores {
        let mut all = ReadScores::default();
        self.read_in(ReadIn::All, |read| all = read);
        all
    }

    /// Reads them in portions, and gives each to `work` before the next is read. From here on the
    /// files of the list are among the paths.
    pub(super) fn read_in(&mut self, portions: ReadIn, mut work: impl FnMut(ReadScores)) {
        if let Some(list) = self.list.take() {
            self.inputs.add(&list);
            match listed(&list) {
                Ok(files) => self.add_from_list(files),
                Err(message) => {
                    complain(&message);
                    return work(ReadScores {
                        problems: InputProblems {
                            list_unusable: true,
                            ..InputProblems::default()
                        },
                        ..ReadScores::default()
                    });
                }
            }
            if self.paths.is_empty() {
                say_passed_over(&self.passed_over(PassedOver::default()));
                say("nothing to do: the list names no score");
                return work(ReadScores {
                    problems: InputProblems {
                        list_empty: true,
                        ..InputProblems::default()
                    },
                    ..ReadScores::default()
                });
            }
        }
        share_out(&self.paths);
        let mut reading = (portions == ReadIn::All).then(|| Progress::new("reading", None));
        let styles = self.styles();
        self.paths.iter().for_each(|p| self.inputs.add(p));
        self.say_left_out();
        self.read_parts(portions, &styles, &mut reading, &mut work);
        self.inputs.add_styles(&styles);
    }

    /// Reads what the paths name, in portions.
    fn read_parts(
        &mut self,
        portions: ReadIn,
        styles: &HouseStyles,
        reading: &mut Option<Progress>,
        work: &mut impl FnMut(ReadScores),
    ) {
        let by_styles = self.by_styles(styles);
        let mut reported = Vec::new();
        if self.one_score {
            let (outcomes, passed_over) = files::read_as_one_by(&self.paths, &by_styles);
            let passed_over = self.passed_over(passed_over);
            self.inputs.add_outcomes(&outcomes);
            drop(reading.take());
            say_passed_over(&passed_over);
            return work(ReadScores {
                files: outcomes.len(),
                last: true,
                ..with_styles(outcomes, styles, &mut reported)
            });
        }
        let (listed, passed_over) = files::list(&self.paths, &by_styles);
        let passed_over = self.passed_over(passed_over);
        self.inputs.add_listed(&listed);
        let batches = match portions {
            ReadIn::All => vec![listed],
            ReadIn::Batches => files::batches(listed),
        };
        let files = batches.iter().map(Vec::len).sum();
        let count = batches.len();
        for (number, batch) in batches.into_iter().enumerate() {
            let outcomes = files::read_listed(batch, &by_styles);
            drop(reading.take());
            if number == 0 {
                say_passed_over(&passed_over);
            }
            work(ReadScores {
                files,
                last: number + 1 == count,
                ..with_styles(outcomes, styles, &mut reported)
            });
        }
    }

    /// Adds the files of the list. Nobody typed their names, so links among them are not followed anywhere.
    fn add_from_list(&mut self, mut files: Vec<PathBuf>) {
        if !self.follow_links {
            self.links_in_list = files::take_out_links(&mut files);
        }
        self.from_list = files.len();
        self.paths.extend(files);
    }

    /// What was passed over in folders, with what was in the list.
    fn passed_over(&self, mut in_folders: PassedOver) -> PassedOver {
        in_folders.links = in_folders.links.saturating_add(self.links_in_list);
        in_folders
    }

    fn say_left_out(&self) {
        if let Some(results) = self.inputs.left_out()
            && self.inputs.is_left_out()
            && results.is_dir()
            && verbosity::is_verbose()
        {
            say(&format!(
                "{}: not read, since the results go there",
                results.display()
            ));
        }
    }

    /// How its files are read when these styles hold.
    pub(super) fn by_styles<'a>(&self, styles: &'a HouseStyles) -> ByStyles<'a> {
        ByStyles {
            styles,
            limits: self.limits.limits(),
            walk: WalkOptions {
                follow_links: self.follow_links,
                leave_out: self.inputs.left_out().map(Path::to_owned),
            },
        }
    }

    pub(super) fn styles(&self) -> HouseStyles {
        let typed = self.paths.len().saturating_sub(self.from_list);
        styles(self.style.as_ref())
            .with_paths(self.paths.get(..typed).unwrap_or_default())
            .with_technique(self.technique.map(Technique::name))
            .with_spoken(self.spoken)
    }
}

/// The styles that hold when one was chosen, or none.
pub(super) fn styles(chosen: Option<&ChosenStyle>) -> HouseStyles {
    chosen.map_or_else(HouseStyles::found, |c| HouseStyles::named(c.read()))
}

/// A score of so many bytes is done before a second thread is of much use, and that would hold memory
/// of its own.
const ALONE: u64 = 2 << 20;

/// How many times smaller a packed score is, at least.
const PACKED: u64 = 16;

/// Has this thread work on a single file, alone where that is small. For more it only waits.
fn share_out(paths: &[PathBuf]) {
    let [only] = paths else { return };
    let Some(file) = fs::metadata(only).ok().filter(fs::Metadata::is_file) else {
        return;
    };
    let packed = only.extension().is_some_and(|e| e == "mxl");
    let most = if packed { ALONE / PACKED } else { ALONE };
    // Zero stands for as many as the machine has. Where there are threads already, those work.
    let _ = rayon::ThreadPoolBuilder::new()
        .num_threads(usize::from(file.len() <= most))
        .use_current_thread()
        .build_global();
}

/// The longest list that is read, in bytes.
const MAX_LIST: u64 = 64 << 20;

/// The scores that a list names.
fn listed(list: &Path) -> Result<Vec<PathBuf>, String> {
    let from_input = list == Path::new("-");
    let name = if from_input {
        "the list on the standard input".to_owned()
    } else {
        format!("the list {}", list.display())
    };
    let bytes = if from_input {
        let mut bytes = Vec::new();
        let input = io::stdin().lock();
        let read = input.take(MAX_LIST + 1).read_to_end(&mut bytes);
        read.map_err(FileError::from).and_then(|_| {
            let size = bytes.len() as u64;
            let most = MAX_LIST;
            let fits = size <= most;
            fits.then_some(bytes)
                .ok_or(FileError::TooLarge { size, most })
        })
    } else {
        disk::read(list, MAX_LIST)
    };
    let bytes = bytes.map_err(|error| match error {
        FileError::TooLarge { .. } => {
            format!("{name} is longer than {MAX_LIST} bytes: expected names of files")
        }
        FileError::NotOrdinary { found } if !from_input => format!(
            "{name} is {found}, and an ordinary file was expected: `--list -` reads the standard input"
        ),
        error => format!("{name} could not be read: {error}"),
    })?;
    names(&bytes).map_err(|line| {
        format!(
            "{name}, entry {line}: the name is not a text in UTF-8, which this system's files have"
        )
    })
}

/// A name as git quotes it when it is not plain ASCII: between double quotes, with a backslash before
/// signs and before bytes in octal. `None` when it is not quoted.
fn unquoted(name: &[u8]) -> Option<Vec<u8>> {
    let inside = name.strip_prefix(b"\"")?.strip_suffix(b"\"")?;
    let mut out = Vec::with_capacity(inside.len());
    let mut rest = inside.iter().copied();
    while let Some(byte) = rest.next() {
        if byte != b'\\' {
            out.push(byte);
            continue;
        }
        out.push(match rest.next()? {
            b't' => b'\t',
            b'n' => b'\n',
            b'r' => b'\r',
            digit @ b'0'..=b'3' => {
                let mut value = digit - b'0';
                for _ in 0..2 {
                    let next = rest.next().filter(|d| matches!(d, b'0'..=b'7'))?;
                    value = value * 8 + (next - b'0');
                }
                value
            }
            other => other,
        });
    }
    Some(out)
}

/// The names in a list that may be scores; the 1-based number of one that cannot be a name.
fn names(bytes: &[u8]) -> Result<Vec<PathBuf>, usize> {
    let separator = if bytes.contains(&0) { 0 } else { b'\n' };
    let mut paths = Vec::new();
    for (name, number) in bytes.split(|b| *b == separator).zip(1usize..) {
        let name = match separator {
            0 => name,
            _ => name.strip_suffix(b"\r").unwrap_or(name),
        };
        if name.is_empty() {
            continue;
        }
        let unquoted = match separator {
            0 => None,
            _ => unquoted(name),
        };
        let path = path_of(unquoted.as_deref().unwrap_or(name)).ok_or(number)?;
        if files::may_be_score(&path) || path.is_dir() {
            paths.push(path);
        }
    }
    Ok(paths)
}

#[cfg(unix)]
#[allow(clippy::unnecessary_wraps)] // elsewhere a name must be Unicode
pub(super) fn path_of(name: &[u8]) -> Option<PathBuf> {
    use std::os::unix::ffi::OsStrExt;
    Some(PathBuf::from(std::ffi::OsStr::from_bytes(name)))
}

#[cfg(not(unix))]
pub(super) fn path_of(name: &[u8]) -> Option<PathBuf> {
    std::str::from_utf8(name).ok().map(PathBuf::from)
}

/// Gives each score its style; reports the mistakes of styles, each once.
pub(super) fn with_styles(
    outcomes: Vec<Outcome>,
    styles: &HouseStyles,
    reported: &mut Vec<Arc<StyleError>>,
) -> ReadScores {
    let mut read = ReadScores::default();
    let mut usable = Vec::with_capacity(outcomes.len());
    for Outcome { path, score } in outcomes {
        let of = match &score {
            Ok(score) => score.sources.first().map_or(&path, |s| &s.path),
            Err(_) => &path,
        };
        let style = match styles.of(of) {
            Ok(style) => style,
            Err(error) => {
                read.problems.style_unusable = true;
                if !reported.iter().any(|known| Arc::ptr_eq(known, &error)) {
                    complain_of_style(&error);
                    reported.push(error);
                }
                continue;
            }
        };
        if let Ok(score) = &score
            && verbosity::is_verbose()
        {
            let (bars, parts) = (score.bars.len(), score.parts.len());
            say(&format!(
                "{}: read, bars {bars}, parts {parts}, style {}",
                path.display(),
                style.name
            ));
        }
        usable.push((path, score, style));
    }
    read.scores = usable
        .into_par_iter()
        .map(|(path, score, style)| ReadScore {
            path,
            score: score.map(|score| Heard::new(score, &style)),
            style,
        })
        .collect();
    read
}

/// Reports the mistakes of a house style, each with its line.
pub(super) fn complain_of_style(error: &StyleError) {
    for mistake in &error.mistakes {
        complain_in_full(mistake);
    }
}

/// Says how much of the folders was passed over, unless it is nothing.
pub(super) fn say_passed_over(passed_over: &PassedOver) {
    if !passed_over.is_nothing() {
        verbosity::sum_up(&passed_over.to_string());
    }
    if let Some(remark) = passed_over.remark() {
        verbosity::sum_up(&remark);
    }
}

/// What house styles and options say of files before they are read.
pub(super) struct ByStyles<'a> {
    pub(super) styles: &'a HouseStyles,
    pub(super) limits: Limits,
    pub(super) walk: WalkOptions,
}

impl Plan for ByStyles<'_> {
    fn instruments(&self, file: &Path) -> &'static Catalogue {
        self.styles
            .of(file)
            .map_or_else(|_| instrument::catalogue(), |style| style.instruments)
    }

    fn set(&self, file: &Path) -> Option<Set> {
        let style = self.styles.of(file).ok()?;
        let set = style.set_of(file)?;
        let there = set.files_there();
        Some(Set {
            title: set.title.clone(),
            files: there.files,
            outside: there.outside,
        })
    }

    fn limits(&self) -> Limits {
        self.limits
    }

    fn walk(&self) -> WalkOptions {
        self.walk.clone()
    }
}

/// Reads a technique's name; shells complete it.
#[derive(Clone, Debug)]
pub(super) struct TechniqueName;

impl TypedValueParser for TechniqueName {
    type Value = Technique;

    fn parse_ref(
        &self,
        command: &Command,
        argument: Option<&Arg>,
        value: &OsStr,
    ) -> Result<Technique, clap::Error> {
        let read: fn(&str) -> Result<Technique, UnknownTechnique> = technique;
        read.parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        // One word each: some shells part a list of values at its blanks.
        let names = Technique::all().map(|t| PossibleValue::new(one_word(t.name())));
        Some(Box::new(names))
    }
}

/// `drop 2 & 3` as `drop-2-3`, which is read as the same.
fn one_word(name: &str) -> String {
    name.replace(" & ", "-").replace(' ', "-")
}

pub(super) fn technique(text: &str) -> Result<Technique, UnknownTechnique> {
    Technique::read(text)
}

/// A style named on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum ChosenStyle {
    /// One that comes with the program.
    Shipped(String),
    /// A house style file.
    File(PathBuf),
}

impl ChosenStyle {
    pub(super) fn read(&self) -> Result<Style, StyleError> {
        match self {
            Self::Shipped(name) => Ok(house_style::shipped(name).unwrap_or_default()),
            Self::File(path) => house_style::read(path),
        }
    }
}

/// No such house style.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "no house style of the name `{found}` comes with chartproof, and there is no such file: {}",
    match nearest { Some(name) => format!("did you mean `{name}`?"), None => format!("the names are {}; a house style file is usually called {FILE_NAME}", house_style::shipped_names().collect::<Vec<_>>().join(", ")) }
)]
pub(super) struct NoSuchStyle {
    found: String,
    nearest: Option<&'static str>,
}

pub(super) fn style(name: &str) -> Result<ChosenStyle, NoSuchStyle> {
    if house_style::shipped_names().any(|n| n == name) {
        return Ok(ChosenStyle::Shipped(name.to_owned()));
    }
    let path = PathBuf::from(name);
    // A folder stands for the house style in it.
    let inside = path.join(FILE_NAME);
    if disk::is_no_folder(&inside) {
        return Ok(ChosenStyle::File(inside));
    }
    // A pipe or a device is refused where it would be read.
    if disk::is_no_folder(&path) {
        return Ok(ChosenStyle::File(path));
    }
    Err(NoSuchStyle {
        found: name.to_owned(),
        nearest: house_style::shipped_names()
            .find(|n| strsim::damerau_levenshtein(n, &name.to_lowercase()) <= 2),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_technique_in_one_word_is_the_same() {
        for t in Technique::all() {
            assert_eq!(technique(&one_word(t.name())).unwrap(), t, "{t}");
        }
    }

    #[test]
    fn a_mistyped_technique_names_the_nearest_and_all() {
        let message = technique("dorp 2").unwrap_err().to_string();
        assert!(message.contains("did you mean `drop 2`?"), "{message}");
        let message = technique("zzz").unwrap_err().to_string();
        assert!(!message.contains("did you mean"), "{message}");
        assert!(message.contains("four-way close"), "{message}");
    }

    #[test]
    fn a_limit_is_a_known_name_and_a_number() {
        assert_eq!(limit("bars=7"), Ok(("bars", 7)));
        let message = limit("part=7").unwrap_err().to_string();
        assert!(message.contains("did you mean `parts`?"), "{message}");
        let message = limit("voices=7").unwrap_err().to_string();
        assert!(message.contains("parts (parts of a score)"), "{message}");
        for text in ["bars", "bars=", "bars=-1", "bars=many"] {
            assert_eq!(limit(text), Err(NoSuchLimit::Form), "{text}");
        }
    }

    #[test]
    fn a_mistyped_style_names_the_nearest_or_all() {
        let message = style("chior").unwrap_err().to_string();
        assert!(message.contains("did you mean `choir`?"), "{message}");
        let message = style("our-band.toml").unwrap_err().to_string();
        assert!(message.contains("chart, choir, homework"), "{message}");
    }

    #[test]
    fn a_list_has_a_name_a_line_or_between_zero_bytes() {
        let read = |bytes: &[u8]| names(bytes).unwrap();
        let two = [PathBuf::from("a b.musicxml"), PathBuf::from("c/d.MXL")];
        assert_eq!(read(b"a b.musicxml\nREADME.md\r\n\nc/d.MXL\r\n"), two);
        assert_eq!(read(b"a b.musicxml\0x.png\0c/d.MXL\0"), two);
        assert_eq!(
            read(b"one\nline.passage\0"),
            [PathBuf::from("one\nline.passage")]
        );
        assert_eq!(
            read(b"\"F\\303\\252te \\\"1\\\".passage\"\n"),
            [PathBuf::from("F\u{ea}te \"1\".passage")]
        );
        assert!(read(b"").is_empty());
        assert!(read(b"no.pdf\n").is_empty());
    }
}
