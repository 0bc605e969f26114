//! `chartproof proof --class`: the homework of a class.

use super::columns;
use super::replacing::Replaces;
use super::report_format::Format;
use super::scores::{ReadScore, ScoreOptions, say_passed_over, with_styles};
use super::verbosity::{self, Progress};
use super::write_out::{self, bytes_to_stdout, complain, complain_of, say};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::finding::Level;
use crate::homework::roll::{self, HandedIn, Order, Roll};
use crate::homework::{Class, Key, Sheet, mark};
use crate::reading::files;
use crate::report::{class, html};
use crate::style::{self, Style};
use clap::{Args, ValueEnum};
use rayon::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

/// The options of a class.
#[derive(Debug, Args)]
pub(super) struct Options {
    /// Read the files as the homework of a class and report it as a whole: how many chords of
    /// each student are right, the mistakes of the class with the most frequent first, and what each
    /// student is to look at. As text, as html with engraved examples, or as csv for a spreadsheet.
    /// ORDER says where the students' names are; without it this is seen from the files
    #[arg(long, value_enum, value_name = "ORDER", num_args = 0..=1, require_equals = true, default_missing_value = "auto", conflicts_with = "one_score")]
    class: Option<NameOrder>,

    /// With --class, the answer key: a score with the melody, its chord symbols and its technique
    /// (what `voice` writes, say), or a folder of one for each exercise, with the exercises' names.
    /// A chord is right when it is any right voicing of these, and one that is missing is not
    #[arg(long, value_name = "FILE|DIR", requires = "class")]
    key: Option<PathBuf>,
}

/// Where the students' names are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum NameOrder {
    /// Seen from the files: folders are students; else names "student - exercise"; else each file
    /// name is a student, and the title the exercise
    Auto,
    /// A folder for each student
    Folders,
    /// A folder for each exercise
    ExerciseFolders,
    /// File names "student - exercise"
    StudentExercise,
    /// File names "exercise - student"
    ExerciseStudent,
    /// Each file name is a student
    Files,
}

impl NameOrder {
    const fn order(self) -> Option<Order> {
        match self {
            Self::Auto => None,
            Self::Folders => Some(Order::StudentFolders),
            Self::ExerciseFolders => Some(Order::ExerciseFolders),
            Self::StudentExercise => Some(Order::StudentFirst),
            Self::ExerciseStudent => Some(Order::ExerciseFirst),
            Self::Files => Some(Order::FileNames),
        }
    }
}

/// The options of `proof` that hold for a class as well.
pub(super) struct ClassRequest<'a> {
    pub(super) scores: &'a mut ScoreOptions,
    pub(super) format: Format,
    pub(super) gate: Option<style::Gate>,
    pub(super) into: Option<&'a Path>,
}

impl Options {
    /// Whether the files are a class.
    pub(super) const fn is_on(&self) -> bool {
        self.class.is_some()
    }

    /// Runs the command on a class; returns the exit code.
    pub(super) fn run(&self, request: &mut ClassRequest<'_>) -> u8 {
        if !matches!(request.format, Format::Text | Format::Html | Format::Csv) {
            complain(
                "a class is reported as text, html or csv: name one of these with --format, or leave out --class",
            );
            return UNUSABLE;
        }
        let Ok(keys) = self.keys(request.scores) else {
            return UNUSABLE;
        };
        let read = request.scores.read();
        let mut code = read.problems.code();
        let is_key = |path: &Path| {
            let own = fs::canonicalize(path).ok();
            own.is_some() && keys.iter().any(|k| fs::canonicalize(&k.path).ok() == own)
        };
        // A key may lie among the homework.
        let scores: Vec<ReadScore> = read
            .scores
            .into_iter()
            .filter(|l| !is_key(&l.path))
            .collect();
        if scores.is_empty() {
            if !read.problems.are_mistakes() {
                complain(
                    "no homework was found in what was given: expected MusicXML (.musicxml, .xml, .mxl) \
                     or passage grids (.passage), one file for each student and exercise; check the paths",
                );
            }
            return UNUSABLE;
        }
        let handed_in: Vec<HandedIn> = scores
            .iter()
            .map(|l| HandedIn {
                path: l.path.clone(),
                title: l.score.as_ref().ok().and_then(|s| s.title.clone()),
            })
            .collect();
        let order = self.class.and_then(NameOrder::order);
        let roll = roll::read(&request.scores.paths, &handed_in, order);
        let (chosen, unused) = AnswerKey::choose(&keys, &roll, &handed_in);
        for key in unused {
            complain(&format!(
                "the answer key {} belongs to no exercise: the exercises are {}; give the key its exercise's name",
                key.path.display(),
                roll.exercises.join(", ")
            ));
            code = UNUSABLE;
        }
        let (sheets, gates) = marked(scores, &chosen, request.gate);
        let class = Class { roll, sheets };
        code = code.max(exit_code(&class, &gates));
        if request.format != Format::Text || request.into.is_some() {
            for error in class.sheets.iter().filter_map(|s| s.outcome.as_ref().err()) {
                complain_of(error);
            }
        }
        let report = match request.format {
            Format::Csv => class::csv(&class),
            Format::Html => html::class(&class),
            _ => {
                let columns = match request.into {
                    Some(_) => columns::of_file(),
                    None => columns::of_stdout(),
                };
                class::text(&class, columns)
            }
        };
        let written = match request.into {
            Some(target) => {
                let inputs = &request.scores.inputs;
                let written =
                    write_out::write(target, report.as_bytes(), inputs, Replaces::Reports);
                if written.is_ok() {
                    verbosity::sum_up(&format!("{}: {}", target.display(), class::sums(&class)));
                }
                written.map_err(|e| e.to_string())
            }
            None => bytes_to_stdout(report.as_bytes()),
        };
        if let Err(message) = written {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }

    /// The answer keys; their mistakes are reported already.
    fn keys(&self, scores: &mut ScoreOptions) -> Result<Vec<AnswerKey>, ()> {
        let Some(path) = &self.key else {
            return Ok(Vec::new());
        };
        let styles = scores.styles();
        let by_styles = scores.by_styles(&styles);
        scores.inputs.add(path);
        let (listed, passed_over) = files::list(std::slice::from_ref(path), &by_styles);
        scores.inputs.add_listed(&listed);
        let outcomes = files::read_listed(listed, &by_styles);
        say_passed_over(&passed_over);
        let read = with_styles(outcomes, &styles, &mut Vec::new());
        scores.inputs.add_styles(&styles);
        let mut usable = !read.problems.are_mistakes();
        let mut keys = Vec::new();
        for ReadScore { path, score, style } in read.scores {
            let name = path.display().to_string();
            match score {
                Ok(score) => {
                    let own = score.proofed(&style).findings;
                    let errors = own.iter().filter(|f| f.level == Level::Error).count();
                    if errors > 0 {
                        verbosity::sum_up(&format!(
                            "{name}: the answer key has {} of its own, which count against nobody; \
                             chartproof proof {name} shows them",
                            if errors == 1 {
                                "an error".to_owned()
                            } else {
                                format!("{errors} errors")
                            }
                        ));
                    }
                    match Key::new(name, score.into_score(), &style) {
                        Ok(key) => keys.push(AnswerKey { path, key }),
                        Err(error) => {
                            complain(&error.to_string());
                            usable = false;
                        }
                    }
                }
                Err(error) => {
                    complain_of(&error);
                    usable = false;
                }
            }
        }
        if usable { Ok(keys) } else { Err(()) }
    }
}

/// An answer key and its file.
struct AnswerKey {
    path: PathBuf,
    key: Key,
}

impl AnswerKey {
    /// The key of each file, and the keys that belong to none. A single key is that of a single
    /// exercise, whatever it is called.
    fn choose<'a>(
        keys: &'a [Self],
        roll: &Roll,
        handed_in: &[HandedIn],
    ) -> (Vec<Option<&'a Self>>, Vec<&'a Self>) {
        let single = roll.exercises.len() == 1;
        let mut unused: Vec<&Self> = keys.iter().collect();
        let chosen = roll
            .files
            .iter()
            .zip(handed_in)
            .map(|((_, e), file)| {
                let exercise = roll.exercises.get(*e).map_or("", String::as_str);
                let found = match keys {
                    [only] if single => Some(only),
                    all => Self::of(all, exercise, file),
                };
                if let Some(found) = found {
                    unused.retain(|k| !std::ptr::eq(*k, found));
                }
                found
            })
            .collect();
        (chosen, unused)
    }

    /// The key of an exercise: the one called as it is, else the only one of its title.
    fn of<'a>(keys: &'a [Self], exercise: &str, file: &HandedIn) -> Option<&'a Self> {
        let plain = |text: &str| -> String {
            let letters = text.chars().filter(|c| c.is_alphanumeric());
            letters.flat_map(char::to_lowercase).collect()
        };
        let same = |a: &str, b: &str| !plain(a).is_empty() && plain(a) == plain(b);
        let called = |k: &&Self| {
            let stem = k.path.file_stem().unwrap_or_default();
            same(&stem.to_string_lossy(), exercise)
        };
        let titled = |k: &&Self| {
            let title = k.key.title().unwrap_or_default();
            same(title, exercise) || file.title.as_deref().is_some_and(|t| same(title, t))
        };
        keys.iter().find(called).or_else(|| {
            let mut of_title = keys.iter().filter(titled);
            of_title.next().filter(|_| of_title.next().is_none())
        })
    }
}

/// Marks all files side by side.
fn marked(
    scores: Vec<ReadScore>,
    chosen: &[Option<&AnswerKey>],
    asked: Option<style::Gate>,
) -> (Vec<Sheet>, Vec<style::Gate>) {
    let progress = Progress::new("marking", Some(scores.len()));
    scores
        .into_par_iter()
        .zip(chosen)
        .map(|(ReadScore { path, score, style }, key)| {
            let style: Arc<Style> = style;
            let gate = asked.or(style.gate);
            let start = Instant::now();
            let sheet = Sheet {
                path,
                outcome: score.map(|score| mark(score.into_score(), &style, key.map(|k| &k.key))),
                key: key.map(|k| k.key.name.clone()),
            };
            progress.step();
            if let Ok(marked) = &sheet.outcome
                && verbosity::is_verbose()
            {
                let took = start.elapsed();
                let detail = verbosity::detail(&marked.score, &marked.proofed, &style, took);
                say(&format!("{}: {detail}", sheet.path.display()));
            }
            (sheet, gate.unwrap_or(style::Gate::At(Level::Error)))
        })
        .unzip()
}

fn exit_code(class: &Class, gates: &[style::Gate]) -> u8 {
    let stopped = |(sheet, gate): (&Sheet, &style::Gate)| {
        let findings = sheet.outcome.iter().flat_map(|m| &m.proofed.findings);
        gate.stops(findings.map(|f| f.level).max())
    };
    if class.unreadable() > 0 {
        UNUSABLE
    } else if class.sheets.iter().zip(gates).any(stopped) {
        FOUND
    } else {
        CLEAN
    }
}
