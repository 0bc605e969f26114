//! Who handed in what: students and exercises from where files lie and what they are called.

use crate::ground::disk;
use crate::ground::text::natural;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// How students and exercises are distinguished.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Order {
    /// A folder for each student; the files in it are the exercises.
    StudentFolders,
    /// A folder for each exercise; the files in it are the students.
    ExerciseFolders,
    /// File names `student - exercise` (or `student--exercise`).
    StudentFirst,
    /// File names `exercise - student` (or `exercise--student`).
    ExerciseFirst,
    /// The file name is the student; the exercise is the score's title.
    FileNames,
}

impl Order {
    /// How the class was read, in a sentence.
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::StudentFolders => {
                "Each folder was read as a student, each file name in it as an exercise."
            }
            Self::ExerciseFolders => {
                "Each folder was read as an exercise, each file name in it as a student."
            }
            Self::StudentFirst => "File names were read as student - exercise.",
            Self::ExerciseFirst => "File names were read as exercise - student.",
            Self::FileNames => {
                "Each file name was read as a student; the exercise is the title of the score."
            }
        }
    }
}

/// One file of the class.
#[derive(Clone, Debug)]
pub struct HandedIn {
    /// The file.
    pub path: PathBuf,
    /// The title of its score.
    pub title: Option<String>,
}

/// Students, exercises, and which file is whose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Roll {
    /// How it was read.
    pub order: Order,
    /// The students, sorted as people sort.
    pub students: Vec<String>,
    /// The exercises, sorted as people sort.
    pub exercises: Vec<String>,
    /// Student and exercise (0-based) of each file.
    pub files: Vec<(usize, usize)>,
}

/// Reads the roll of a class. `roots` are the paths the user named.
pub fn read(roots: &[PathBuf], files: &[HandedIn], asked: Option<Order>) -> Roll {
    let places: Vec<Vec<String>> = files.iter().map(|f| place(roots, &f.path)).collect();
    let order = asked.unwrap_or_else(|| guess(&places));
    let titles = titles(roots, files);
    let mut named: Vec<(String, String)> = places
        .iter()
        .zip(&titles)
        .map(|(place, title)| names(place, title, order))
        .collect();
    tell_apart(&mut named, files);
    let sorted = |words: BTreeSet<&String>| -> Vec<String> {
        let mut all: Vec<String> = words.into_iter().cloned().collect();
        all.sort_by_cached_key(|n| natural(Path::new(n)));
        all
    };
    let students = sorted(named.iter().map(|n| &n.0).collect());
    let exercises = sorted(named.iter().map(|n| &n.1).collect());
    let at = |list: &[String], word: &String| list.iter().position(|w| w == word).unwrap_or(0);
    let files = named
        .iter()
        .map(|(s, e)| (at(&students, s), at(&exercises, e)))
        .collect();
    Roll {
        order,
        students,
        exercises,
        files,
    }
}

/// The folders a file lies in below what the user named, then its name without the ending.
fn place(roots: &[PathBuf], path: &Path) -> Vec<String> {
    let root = roots
        .iter()
        .filter(|r| path.starts_with(r) && path != r.as_path())
        .max_by_key(|r| r.components().count());
    let mut below = match root {
        Some(root) => path.strip_prefix(root).unwrap_or(path).to_owned(),
        None => path.file_name().map(PathBuf::from).unwrap_or_default(),
    };
    // Several folders that were named one by one are folders of one class.
    if let Some(folder) = root.and_then(|r| r.file_name())
        && roots.len() > 1
    {
        below = Path::new(folder).join(below);
    }
    below.set_extension("");
    below
        .components()
        .map(|c| c.as_os_str().to_string_lossy().trim().to_owned())
        .collect()
}

/// The two halves of a name `one - other` or `one--other`.
fn halves(name: &str) -> Option<(&str, &str)> {
    let (a, b) = name
        .split_once(" - ")
        .or_else(|| name.split_once("--"))
        .or_else(|| name.split_once(" \u{2013} "))?;
    let (a, b) = (a.trim(), b.trim());
    (!a.is_empty() && !b.is_empty()).then_some((a, b))
}

fn guess(places: &[Vec<String>]) -> Order {
    if places.iter().any(|p| p.len() > 1) {
        return Order::StudentFolders;
    }
    let split: Option<Vec<(&str, &str)>> = places.iter().map(|p| halves(p.last()?)).collect();
    match split {
        Some(split) if !split.is_empty() => {
            // There are fewer exercises than students, as a rule.
            let first: BTreeSet<&str> = split.iter().map(|s| s.0).collect();
            let second: BTreeSet<&str> = split.iter().map(|s| s.1).collect();
            if first.len() < second.len() {
                Order::ExerciseFirst
            } else {
                Order::StudentFirst
            }
        }
        _ => Order::FileNames,
    }
}

fn names(place: &[String], title: &str, order: Order) -> (String, String) {
    let stem = place.last().cloned().unwrap_or_default();
    let by_name = || (stem.clone(), title.to_owned());
    match (order, place) {
        (Order::StudentFolders, [folder, rest @ ..]) if !rest.is_empty() => {
            (folder.clone(), rest.join("/"))
        }
        (Order::ExerciseFolders, [folder, rest @ ..]) if !rest.is_empty() => {
            (rest.join("/"), folder.clone())
        }
        (Order::StudentFirst, _) => {
            halves(&stem).map_or_else(by_name, |(a, b)| (a.to_owned(), b.to_owned()))
        }
        (Order::ExerciseFirst, _) => {
            halves(&stem).map_or_else(by_name, |(a, b)| (b.to_owned(), a.to_owned()))
        }
        _ => by_name(),
    }
}

/// The exercise each file would be by its title. Titles that differ nearly everywhere name students,
/// not exercises: then all files are one exercise, called as their folder is.
fn titles(roots: &[PathBuf], files: &[HandedIn]) -> Vec<String> {
    let plain = |title: &str| -> String {
        let letters = title.chars().filter(|c| c.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect()
    };
    let mut first: BTreeMap<String, String> = BTreeMap::new();
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for title in files.iter().filter_map(|f| f.title.as_deref()) {
        let key = plain(title);
        first
            .entry(key.clone())
            .or_insert_with(|| title.trim().to_owned());
        *counts.entry(key).or_default() += 1;
    }
    let folder = roots
        .first()
        .filter(|r| disk::is_folder(r))
        .and_then(|r| disk::true_name(r))
        .and_then(|r| r.file_name().map(|n| n.to_string_lossy().into_owned()))
        .unwrap_or_else(|| "exercise".to_owned());
    let titled: usize = counts.values().sum();
    let usable = titled > 0 && counts.len() * 2 <= titled.max(2);
    let most = counts.iter().max_by_key(|(_, n)| **n).map(|(k, _)| k);
    files
        .iter()
        .map(|f| {
            if !usable {
                return folder.clone();
            }
            let key = f.title.as_deref().map(plain);
            // A file without a title (one that cannot be read, say) is of the usual exercise.
            let name = key.as_ref().or(most).and_then(|k| first.get(k));
            name.cloned().unwrap_or_else(|| folder.clone())
        })
        .collect()
}

/// Two files of one student for one exercise keep their whole names.
fn tell_apart(named: &mut [(String, String)], files: &[HandedIn]) {
    let mut seen: BTreeMap<(String, String), usize> = BTreeMap::new();
    for pair in named.iter() {
        *seen.entry(pair.clone()).or_default() += 1;
    }
    let mut taken: BTreeSet<(String, String)> = BTreeSet::new();
    for (pair, file) in named.iter_mut().zip(files) {
        if seen.get(pair).is_some_and(|n| *n > 1) {
            let name = file.path.file_name().unwrap_or_default().to_string_lossy();
            pair.1 = format!("{} ({name})", pair.1);
        }
        let mut number = 2;
        while !taken.insert(pair.clone()) {
            pair.1 = format!("{} [{number}]", pair.1);
            number += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn roll(files: &[(&str, Option<&str>)], asked: Option<Order>) -> Roll {
        let files: Vec<HandedIn> = files
            .iter()
            .map(|(path, title)| HandedIn {
                path: PathBuf::from(path),
                title: title.map(str::to_owned),
            })
            .collect();
        read(&[PathBuf::from("class")], &files, asked)
    }

    fn pairs(roll: &Roll) -> Vec<(&str, &str)> {
        roll.files
            .iter()
            .map(|(s, e)| (roll.students[*s].as_str(), roll.exercises[*e].as_str()))
            .collect()
    }

    #[test]
    fn folders_are_students_and_files_exercises() {
        let files = [
            ("class/Ben/2.passage", None),
            ("class/Ben/10.passage", None),
            ("class/Ada/2.passage", None),
        ];
        let read = roll(&files, None);
        assert_eq!(read.order, Order::StudentFolders);
        assert_eq!(read.students, ["Ada", "Ben"]);
        assert_eq!(read.exercises, ["2", "10"]);
        assert_eq!(pairs(&read), [("Ben", "2"), ("Ben", "10"), ("Ada", "2")]);
        let other = roll(&files, Some(Order::ExerciseFolders));
        assert_eq!(pairs(&other), [("2", "Ben"), ("10", "Ben"), ("2", "Ada")]);
    }

    #[test]
    fn file_names_are_students_and_titles_exercises() {
        let read = roll(
            &[
                ("class/ada.passage", Some("Week 3")),
                ("class/ben.passage", Some("week 3")),
                ("class/cy.passage", None),
            ],
            None,
        );
        assert_eq!(read.order, Order::FileNames);
        assert_eq!(
            pairs(&read),
            [("ada", "Week 3"), ("ben", "Week 3"), ("cy", "Week 3")]
        );
        // Titles that are the students' own say nothing of the exercise.
        let own = roll(
            &[
                ("class/ada.passage", Some("Ada's homework")),
                ("class/ben.passage", Some("Ben's homework")),
                ("class/cy.passage", Some("by Cy")),
            ],
            None,
        );
        assert_eq!(own.exercises, ["exercise"]);
    }

    #[test]
    fn names_in_halves_are_student_and_exercise() {
        let read = roll(
            &[("class/Ada - 1.xml", None), ("class/Ben - 1.xml", None)],
            None,
        );
        assert_eq!(read.order, Order::StudentFirst);
        assert_eq!(pairs(&read), [("Ada", "1"), ("Ben", "1")]);
        let read = roll(
            &[("class/soli--ada.xml", None), ("class/soli--ben.xml", None)],
            None,
        );
        assert_eq!(read.order, Order::ExerciseFirst);
        assert_eq!(pairs(&read), [("ada", "soli"), ("ben", "soli")]);
    }

    #[test]
    fn two_files_for_one_exercise_are_two_columns() {
        let read = roll(
            &[("class/Ada/1.xml", None), ("class/Ada/1.passage", None)],
            None,
        );
        assert_eq!(read.exercises, ["1 (1.passage)", "1 (1.xml)"]);
    }
}
