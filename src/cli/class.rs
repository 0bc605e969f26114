//! `chartproof proof --class`: the homework of a class.

use super::proof::Format;
use super::scores::{ByStyles, Looked, Scores, desk};
use super::talk::{self, Progress};
use super::write_out::{self, complain, complain_of, say, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::finding::Level;
use crate::homework::roll::{self, HandedIn, Order};
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
    /// Read the files as the homework of a class and report it as a whole: how many sonorities of
    /// each student are right, the mistakes of the class with the most frequent first, and what each
    /// student is to look at. As text, as html with engraved examples, or as csv for a spreadsheet.
    /// ORDER says where the students' names are; without it this is seen from the files
    #[arg(long, value_enum, value_name = "ORDER", num_args = 0..=1, require_equals = true, default_missing_value = "auto", conflicts_with = "one_score")]
    class: Option<How>,

    /// With --class, the answer key: a score with the melody, its chord symbols and its technique
    /// (what `voice` writes, say), or a folder of one for each exercise, called as the exercises are.
    /// A sonority is right when it is any right voicing of these, and one that is missing is not
    #[arg(long, value_name = "FILE|DIR", requires = "class")]
    key: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum How {
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

impl How {
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

/// What `proof` was told beside the options of the class.
pub(super) struct Asked<'a> {
    pub(super) scores: &'a mut Scores,
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
    pub(super) fn run(&self, asked: &mut Asked<'_>) -> u8 {
        if !matches!(asked.format, Format::Text | Format::Html | Format::Csv) {
            complain(
                "a class is reported as text, html or csv: name one of these with --format, or leave out --class",
            );
            return UNUSABLE;
        }
        let Ok(keys) = self.keys(asked.scores) else {
            return UNUSABLE;
        };
        let desk = asked.scores.read();
        let mut code = if desk.style_unusable { UNUSABLE } else { CLEAN };
        let is_key = |path: &Path| {
            let own = fs::canonicalize(path).ok();
            own.is_some() && keys.iter().any(|k| fs::canonicalize(&k.path).ok() == own)
        };
        // A key may lie among the homework.
        let looked: Vec<Looked> = desk
            .scores
            .into_iter()
            .filter(|l| !is_key(&l.path))
            .collect();
        if looked.is_empty() {
            if !desk.style_unusable {
                complain(
                    "no homework was found in what was given: expected MusicXML (.musicxml, .xml, .mxl) \
                     or passage grids (.passage), one file for each student and exercise; check the paths",
                );
            }
            return UNUSABLE;
        }
        let handed_in: Vec<HandedIn> = looked
            .iter()
            .map(|l| HandedIn {
                path: l.path.clone(),
                title: l.score.as_ref().ok().and_then(|s| s.title.clone()),
            })
            .collect();
        let order = self.class.and_then(How::order);
        let roll = roll::read(&asked.scores.paths, &handed_in, order);
        let single = roll.exercises.len() == 1;
        let mut unused: Vec<&Answer> = keys.iter().collect();
        let chosen: Vec<Option<&Answer>> = roll
            .files
            .iter()
            .zip(&handed_in)
            .map(|((_, e), file)| {
                let exercise = roll.exercises.get(*e).map_or("", String::as_str);
                let found = match keys.as_slice() {
                    [only] if single => Some(only),
                    all => Answer::of(all, exercise, file),
                };
                if let Some(found) = found {
                    unused.retain(|k| !std::ptr::eq(*k, found));
                }
                found
            })
            .collect();
        for key in unused {
            complain(&format!(
                "the answer key {} belongs to no exercise: the exercises are {}; call the key as its exercise is called",
                key.path.display(),
                roll.exercises.join(", ")
            ));
            code = UNUSABLE;
        }
        let (sheets, gates) = marked(looked, &chosen, asked.gate);
        let class = Class { roll, sheets };
        code = code.max(exit_code(&class, &gates));
        if asked.format != Format::Text || asked.into.is_some() {
            for error in class.sheets.iter().filter_map(|s| s.outcome.as_ref().err()) {
                complain_of(error);
            }
        }
        let report = match asked.format {
            Format::Csv => class::csv(&class),
            Format::Html => html::class(&class),
            _ => class::text(&class),
        };
        let written = match asked.into {
            Some(target) => {
                let mut inputs = asked.scores.paths.clone();
                inputs.extend(class.sheets.iter().map(|s| s.path.clone()));
                inputs.extend(keys.iter().map(|k| k.path.clone()));
                let written = write_out::write(target, report.as_bytes(), &inputs);
                if written.is_ok() {
                    talk::sum_up(&format!("{}: {}", target.display(), class::sums(&class)));
                }
                written.map_err(|e| e.to_string())
            }
            None => to_stdout(report.as_bytes()),
        };
        if let Err(message) = written {
            complain(&message);
            code = UNUSABLE;
        }
        code
    }

    /// The answer keys; what is wrong with them has been told.
    fn keys(&self, scores: &Scores) -> Result<Vec<Answer>, ()> {
        let Some(path) = &self.key else {
            return Ok(Vec::new());
        };
        let styles = scores.styles();
        let by_styles = ByStyles(&styles, scores.limited.limits());
        let outcomes = files::read_by(std::slice::from_ref(path), &by_styles);
        let desk = desk(outcomes, &styles, &mut Vec::new());
        let mut usable = !desk.style_unusable;
        let mut keys = Vec::new();
        for Looked { path, score, style } in desk.scores {
            let name = path.display().to_string();
            match score {
                Ok(score) => {
                    let own = score.proofed(&style).findings;
                    let errors = own.iter().filter(|f| f.level == Level::Error).count();
                    if errors > 0 {
                        talk::sum_up(&format!(
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
                        Ok(key) => keys.push(Answer { path, key }),
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
struct Answer {
    path: PathBuf,
    key: Key,
}

impl Answer {
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
    looked: Vec<Looked>,
    chosen: &[Option<&Answer>],
    asked: Option<style::Gate>,
) -> (Vec<Sheet>, Vec<style::Gate>) {
    let progress = Progress::new("marking", Some(looked.len()));
    looked
        .into_par_iter()
        .zip(chosen)
        .map(|(Looked { path, score, style }, key)| {
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
                && talk::is_verbose()
            {
                let took = start.elapsed();
                let detail = talk::detail(&marked.score, &marked.proofed, &style, took);
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
