//! Paths to scores: files, folders that are walked, sets of part files read as one score.
//!
//! A file named outright is read whatever its ending, by what is in it; in a folder the endings
//! `.musicxml`, `.xml`, `.mxl` and `.passage` are looked for, hidden files and those that git's rules
//! name are passed over, and an `.xml` file that is not a score is not an error.

pub use super::bytes::{HEAD, Kind, kind, may_be_score, read_bytes_by};
pub use super::sets::{Set, sets_of_parts};
pub use super::walk::{PassedOver, WalkOptions, take_out_links};

use super::bytes::is_other_xml;
use super::sets::strangers;
use super::walk::Walk;
use crate::file_text::limits::{self, Limits};
use crate::ground::disk::{self, FileError};
use crate::ground::instrument::{self, Catalogue};
use crate::ground::problem::Problem;
use crate::ground::threads;
use crate::score::{self, Score};
use bytes::Bytes;
use std::collections::HashMap;
use std::fs;
use std::io::{Read as _, Seek as _};
use std::path::{Path, PathBuf};

/// What reading one file (or one set of part files) gave.
#[derive(Debug)]
pub struct Outcome {
    /// The file as the user gave it or as the walk found it; the folder of a set.
    pub path: PathBuf,
    /// The score, or why there is none.
    pub score: Result<Score, Problem>,
}

/// What a house style has to say before files are read.
pub trait Plan: Sync {
    /// The instruments that a file's parts may be.
    fn instruments(&self, file: &Path) -> &'static Catalogue;

    /// The set of part files that a file belongs to.
    fn set(&self, file: &Path) -> Option<Set>;

    /// How much is read at most.
    fn limits(&self) -> Limits {
        Limits::USUAL
    }

    /// How folders are walked.
    fn walk(&self) -> WalkOptions {
        WalkOptions::default()
    }
}

/// Nothing is known but what ships with the program.
#[cfg(any(test, feature = "inside"))]
struct NoPlan;

#[cfg(any(test, feature = "inside"))]
impl Plan for NoPlan {
    fn instruments(&self, _file: &Path) -> &'static Catalogue {
        instrument::catalogue()
    }

    fn set(&self, _file: &Path) -> Option<Set> {
        None
    }
}

/// A file to read, and whether the user named it or a walk found it.
#[derive(Clone, Debug, PartialEq, Eq)]
struct ListedFile {
    path: PathBuf,
    named: bool,
}

/// Reads files and folders, in the order given; within a folder by name.
#[cfg(any(test, feature = "inside"))]
pub fn read_paths(paths: &[PathBuf]) -> Vec<Outcome> {
    read_by(paths, &NoPlan).0
}

/// The same as house styles plan it: a file of a set stands for the whole set, which is one score in
/// the place of the first of its files. With it comes how much of the folders was passed over.
#[cfg(any(test, feature = "inside"))]
pub fn read_by(paths: &[PathBuf], plan: &dyn Plan) -> (Vec<Outcome>, PassedOver) {
    let (listed, passed_over) = list(paths, plan);
    (read_listed(listed, plan), passed_over)
}

/// Something that is to be read.
#[derive(Debug)]
pub struct Listed(Job);

#[derive(Debug)]
enum Job {
    File(ListedFile),
    Set(Set),
    Unlisted(Problem),
}

impl Listed {
    /// The files, also those that are refused, or the path that nothing could be listed for.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        let (one, set) = match &self.0 {
            Job::File(found) => (Some(&found.path), None),
            Job::Set(set) => (None, Some(set.files.iter().chain(&set.outside))),
            Job::Unlisted(error) => (Some(&error.path), None),
        };
        one.into_iter()
            .chain(set.into_iter().flatten())
            .map(PathBuf::as_path)
    }

    fn folder(&self) -> Option<&Path> {
        match &self.0 {
            Job::File(found) => found.path.parent(),
            Job::Set(set) => set.files.first()?.parent(),
            Job::Unlisted(_) => None,
        }
    }
}

/// What there is to read at the paths, in order, and how much of the folders was passed over. No score has
/// been opened yet.
pub fn list(paths: &[PathBuf], plan: &dyn Plan) -> (Vec<Listed>, PassedOver) {
    let mut finder = Finder::new(plan);
    let mut jobs = Vec::new();
    for path in paths {
        finder.find(path, &mut jobs);
    }
    let jobs = finder.each_once(jobs);
    let mut sets: Vec<Set> = Vec::new();
    let mut listed = Vec::new();
    for job in jobs {
        listed.push(Listed(match job {
            Err(error) => Job::Unlisted(error),
            Ok(found) => match plan.set(&found.path) {
                None => Job::File(found),
                Some(set) if sets.contains(&set) => continue,
                Some(set) => {
                    sets.push(set.clone());
                    Job::Set(set)
                }
            },
        }));
    }
    (listed, finder.walk.passed_over)
}

/// How many files a batch has at least, when there are more: from there on it ends with its folder.
const BATCH: usize = 128;

/// How many it has at most.
const MOST_IN_BATCH: usize = 512;

/// Parts a list into batches, each of which fits into memory: small folders stay whole.
pub fn batches(listed: Vec<Listed>) -> Vec<Vec<Listed>> {
    let mut batches: Vec<Vec<Listed>> = Vec::new();
    for one in listed {
        let fits = |batch: &&mut Vec<Listed>| {
            let same_folder = batch.last().is_some_and(|l| l.folder() == one.folder());
            batch.len() < BATCH || same_folder && batch.len() < MOST_IN_BATCH
        };
        match batches.last_mut().filter(fits) {
            Some(batch) => batch.push(one),
            None => batches.push(vec![one]),
        }
    }
    batches
}

/// Reads what was listed.
pub fn read_listed(listed: Vec<Listed>, plan: &dyn Plan) -> Vec<Outcome> {
    let mut out = Vec::new();
    let mut alone = Vec::new();
    for Listed(job) in listed {
        match job {
            Job::File(found) => alone.push(Ok(found)),
            Job::Unlisted(error) => alone.push(Err(error)),
            Job::Set(set) => {
                out.extend(read_all(std::mem::take(&mut alone), plan));
                out.extend(read_set(&set, plan));
            }
        }
    }
    out.extend(read_all(alone, plan));
    out
}

/// The files of a set as one score.
fn read_set(set: &Set, plan: &dyn Plan) -> Vec<Outcome> {
    let outside = set.outside.iter().map(|path| {
        let message = "this is not read: a house style that was found names scores in its own repository or folder";
        let help = "copy the score there, under a name that ends in .musicxml, .xml, .mxl or .passage; \
                    or name the house style with --style";
        Err(Problem::whole(path, message).help(help))
    });
    let there = set.files.iter().map(|path| {
        Ok(ListedFile {
            path: path.clone(),
            named: true,
        })
    });
    let jobs = there.chain(outside);
    let folder = set
        .files
        .first()
        .and_then(|f| f.parent())
        .filter(|p| !p.as_os_str().is_empty())
        .map_or_else(|| PathBuf::from("."), Path::to_owned);
    let mut outcomes = merged(vec![(folder, jobs.collect())], plan);
    for score in outcomes.iter_mut().filter_map(|o| o.score.as_mut().ok()) {
        if let Some(title) = &set.title {
            score.title = Some(title.clone());
        }
    }
    outcomes
}

/// Reads each folder as one score; all files named outright are one score together. What cannot be
/// read is reported by itself, and the rest is still one score.
#[cfg(any(test, feature = "inside"))]
pub fn read_as_one(paths: &[PathBuf]) -> Vec<Outcome> {
    read_as_one_by(paths, &NoPlan).0
}

/// The same with the instruments of a plan. With it comes how much of the folders was passed over.
pub fn read_as_one_by(paths: &[PathBuf], plan: &dyn Plan) -> (Vec<Outcome>, PassedOver) {
    let mut finder = Finder::new(plan);
    let mut sets: Vec<(PathBuf, Vec<Result<FoundFile, Problem>>)> = Vec::new();
    let mut named: Vec<Result<FoundFile, Problem>> = Vec::new();
    for path in paths {
        if path.is_dir() {
            let mut jobs = Vec::new();
            finder.find(path, &mut jobs);
            sets.push((path.clone(), jobs));
        } else {
            finder.find(path, &mut named);
        }
    }
    if !named.is_empty() {
        let folder = paths
            .iter()
            .find(|p| !p.is_dir())
            .and_then(|p| p.parent())
            .filter(|p| !p.as_os_str().is_empty())
            .map_or_else(|| PathBuf::from("."), Path::to_owned);
        sets.push((folder, named));
    }
    let sets = sets
        .into_iter()
        .map(|(folder, jobs)| (folder, finder.each_once(jobs)))
        .collect();
    (merged(sets, plan), finder.walk.passed_over)
}

/// The files of each set merged into one score.
fn merged(sets: Vec<(PathBuf, Vec<Result<ListedFile, Problem>>)>, plan: &dyn Plan) -> Vec<Outcome> {
    let mut out = Vec::new();
    for (folder, jobs) in sets {
        let mut read = Vec::new();
        for outcome in read_all(jobs, plan) {
            match outcome.score {
                Ok(score) => read.push((outcome.path, score)),
                Err(_) => out.push(outcome),
            }
        }
        let mut scores = Vec::new();
        let strangers = strangers(&read);
        for ((path, score), why) in read.into_iter().zip(strangers) {
            match why {
                None => scores.push(score),
                Some(error) => out.push(Outcome {
                    path,
                    score: Err(error),
                }),
            }
        }
        match score::merge(scores) {
            Ok(score) => out.push(Outcome {
                path: folder,
                score: Ok(score),
            }),
            Err(score::MergeError::Empty) if !out.is_empty() => {}
            Err(error) => out.push(Outcome {
                score: Err(Problem::whole(&folder, error.to_string())),
                path: folder,
            }),
        }
    }
    out
}

/// A file that was found, by the name that led to it.
struct FoundFile {
    path: PathBuf,
    /// Its true name.
    real: PathBuf,
}

/// Finds the files of one run, each once.
struct Finder {
    walk: Walk,
    /// By its true name each file so far, as it is to be read.
    files: HashMap<PathBuf, ListedFile>,
}

impl Finder {
    fn new(plan: &dyn Plan) -> Self {
        Self {
            walk: Walk::new(plan.walk()),
            files: HashMap::new(),
        }
    }

    fn find(&mut self, path: &Path, jobs: &mut Vec<Result<FoundFile, Problem>>) {
        if !path.is_dir() {
            self.add(path.to_owned(), true, jobs);
            return;
        }
        let mut problems = Vec::new();
        let Some(files) = self.walk.scores(path, &mut problems) else {
            return;
        };
        if files.is_empty() && problems.is_empty() {
            let problem = Problem::whole(path, "there is no score in this folder");
            problems.push(
                problem.help("files ending in .musicxml, .xml, .mxl and .passage are looked for"),
            );
        }
        jobs.extend(problems.into_iter().map(Err));
        for file in files {
            self.add(file, false, jobs);
        }
    }

    /// Adds a file, unless it is there by another name. A link gives way to the file it leads to.
    fn add(&mut self, path: PathBuf, named: bool, jobs: &mut Vec<Result<FoundFile, Problem>>) {
        let real = disk::true_name(&path).unwrap_or_else(|| path.clone());
        match self.files.get_mut(&real) {
            None => {
                let path = path.clone();
                self.files.insert(real.clone(), ListedFile { path, named });
            }
            Some(known) if known.path == path => return,
            Some(known) => {
                let links = (disk::is_link(&known.path), disk::is_link(&path));
                if links != (false, false) {
                    let PassedOver { doubles, .. } = &mut self.walk.passed_over;
                    *doubles = doubles.saturating_add(1);
                }
                known.named |= named;
                if links != (true, false) {
                    return;
                }
                known.path.clone_from(&path);
            }
        }
        jobs.push(Ok(FoundFile { path, real }));
    }

    /// Of files that were found, those that did not give way to another.
    fn each_once(&self, jobs: Vec<Result<FoundFile, Problem>>) -> Vec<Result<ListedFile, Problem>> {
        let listed = |found: FoundFile| {
            let file = self.files.get(&found.real)?;
            (file.path == found.path).then(|| file.clone())
        };
        let jobs = jobs.into_iter();
        jobs.filter_map(|job| job.map(listed).transpose()).collect()
    }
}

fn read_all(jobs: Vec<Result<ListedFile, Problem>>, plan: &dyn Plan) -> Vec<Outcome> {
    let outcomes = threads::map(jobs, |job| match job {
        Ok(found) => {
            let score = match read_found(&found, plan) {
                Ok(score) => score?,
                Err(error) => {
                    return Some(Outcome {
                        path: found.path,
                        score: Err(error),
                    });
                }
            };
            Some(Outcome {
                path: found.path,
                score: Ok(score),
            })
        }
        Err(error) => Some(Outcome {
            path: error.path.clone(),
            score: Err(error),
        }),
    });
    outcomes.into_iter().flatten().collect()
}

/// `Ok(None)` is a file of a walked folder that is not a score at all.
fn read_found(found: &ListedFile, plan: &dyn Plan) -> Result<Option<Score>, Problem> {
    let limits = plan.limits();
    let bytes = load(&found.path, &limits)?;
    let xml = found
        .path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("xml"));
    if xml && !found.named && is_other_xml(&bytes) {
        return Ok(None);
    }
    let score = read_bytes_by(&found.path, bytes, plan.instruments(&found.path), &limits);
    score.map(Some).map_err(fit_to_be_shown)
}

/// Reads one file, whatever its ending.
pub fn read_file(path: &Path) -> Result<Score, Problem> {
    let bytes = load(path, &Limits::USUAL)?;
    let score = read_bytes_by(path, bytes, instrument::catalogue(), &Limits::USUAL);
    score.map_err(fit_to_be_shown)
}

/// The problem without the words of a file that is no score by its true name: it may be anything, such as
/// one with a password in it that a link leads to.
fn fit_to_be_shown(problem: Problem) -> Problem {
    let real = disk::true_name(&problem.path);
    if problem.text.is_none() || may_be_score(real.as_deref().unwrap_or(&problem.path)) {
        return problem;
    }
    let message = "this is not a score, or one with mistakes; none of its lines are shown, since its true name \
                   does not end as a score's does";
    let help = "give a score a name that ends in .musicxml, .xml, .mxl or .passage";
    Problem::whole(&problem.path, message).help(help)
}

fn load(path: &Path, limits: &Limits) -> Result<Bytes, Problem> {
    let refused = |error: FileError| {
        let problem = Problem::whole(path, error.to_string());
        match error {
            FileError::TooLarge { .. } => problem.help(limits::raise("file")),
            _ => problem,
        }
    };
    let (file, size) = disk::open(path).map_err(refused)?;
    if size <= limits.file
        && let Some(bytes) = in_large_pages(&file, size)
    {
        return Ok(bytes);
    }
    let bytes = (&file).rewind().map_err(FileError::from);
    let bytes = bytes.and_then(|()| disk::read_opened(file, size, limits.file));
    bytes.map(Bytes::from).map_err(refused)
}

/// From how many bytes on a file is read into large pages.
#[cfg(target_os = "linux")]
const LARGE: u64 = 4 << 20;

/// A large file in memory of its own, in pages as large as the system has them: with usual ones, asking
/// for each is much of what reading takes. `None` is for what is better read in the usual way.
#[cfg(target_os = "linux")]
fn in_large_pages(mut file: &fs::File, size: u64) -> Option<Bytes> {
    use memmap2::{Advice, MmapMut};
    let size = usize::try_from(size).ok().filter(|_| size >= LARGE)?;
    let mut pages = MmapMut::map_anon(size).ok()?;
    // Where there are none the usual ones do.
    let _ = pages.advise(Advice::HugePage);
    file.read_exact(&mut pages).ok()?;
    let has_grown = file.read(&mut [0]).ok()? > 0;
    (!has_grown).then(|| Bytes::from_owner(pages))
}

#[cfg(not(target_os = "linux"))]
fn in_large_pages(_file: &fs::File, _size: u64) -> Option<Bytes> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: &str = "count | 1 |\npiano | C4 |\n";
    const XML: &str = "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part></part-list><part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>";

    #[test]
    fn a_batch_ends_with_its_folder_unless_that_is_too_large() {
        let file = |folder: &str, i: usize| {
            let path = Path::new(folder).join(format!("{i}.passage"));
            Listed(Job::File(ListedFile { path, named: false }))
        };
        let sizes = |folders: &[(&str, usize)]| -> Vec<usize> {
            let listed = folders
                .iter()
                .flat_map(|&(folder, count)| (0..count).map(move |i| file(folder, i)))
                .collect();
            batches(listed).iter().map(Vec::len).collect()
        };
        assert_eq!(sizes(&[("a", 3), ("b", 4)]), [7]);
        assert_eq!(sizes(&[("a", 100), ("b", 100), ("c", 100)]), [200, 100]);
        assert_eq!(sizes(&[("a", 1100)]), [512, 512, 76]);
        assert!(sizes(&[]).is_empty());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn large_files_are_read_as_small_ones_are() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("large.musicxml");
        let mut text = format!("{XML}<!--");
        while (text.len() as u64) < LARGE {
            text.push_str("\u{e9}\r\n");
        }
        text.push_str("-->");
        fs::write(&path, &text).unwrap();
        let size = text.len() as u64;
        let pages = |size: u64| in_large_pages(&fs::File::open(&path).unwrap(), size);
        assert_eq!(pages(size).unwrap(), text);
        assert_eq!(&*read_file(&path).unwrap().sources[0].text, text);
        // Another size than the file has by now, a small file, none at all: for the usual way.
        assert!(pages(size - 1).is_none());
        assert!(pages(size + 1).is_none());
        fs::write(&path, XML).unwrap();
        assert!(pages(XML.len() as u64).is_none());
        fs::write(&path, format!("{text}\u{0}")).unwrap();
        let error = read_file(&path).unwrap_err();
        assert!(error.message.contains("is zero"), "{}", error.message);
    }

    #[test]
    fn folders_are_walked_in_natural_order() {
        let dir = tempfile::tempdir().unwrap();
        for name in [
            "10 b.musicxml",
            "2 a.musicxml",
            ".hidden.musicxml",
            "notes.txt",
        ] {
            fs::write(dir.path().join(name), XML).unwrap();
        }
        fs::write(
            dir.path().join("build.xml"),
            "<?xml version=\"1.0\"?><project/>",
        )
        .unwrap();
        fs::write(dir.path().join("c.PASSAGE"), GRID).unwrap();
        let outcomes = read_paths(&[dir.path().to_owned()]);
        let names: Vec<_> = outcomes
            .iter()
            .map(|o| o.path.file_name().unwrap().to_string_lossy().into_owned())
            .collect();
        assert_eq!(names, ["2 a.musicxml", "10 b.musicxml", "c.PASSAGE"]);
        assert!(outcomes.iter().all(|o| o.score.is_ok()));
    }

    #[test]
    fn a_file_reached_twice_is_read_once() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a.passage");
        fs::write(&file, GRID).unwrap();
        assert_eq!(read_paths(&[file, dir.path().to_owned()]).len(), 1);
    }

    #[test]
    fn what_cannot_be_read_says_why() {
        let dir = tempfile::tempdir().unwrap();
        let message = |name: &str, bytes: &[u8]| {
            let path = dir.path().join(name);
            fs::write(&path, bytes).unwrap();
            read_file(&path).unwrap_err().message
        };
        assert_eq!(message("empty.musicxml", b""), "the file is empty");
        assert!(message("page.musicxml", b"<!DOCTYPE html><html></html>").contains("html"));
        assert!(message("cut.musicxml", &XML.as_bytes()[..200]).len() > 10);
        assert!(!message("noise.musicxml", &[0, 159, 146, 150, 7, 0, 1]).is_empty());
        assert!(!message("noise.mxl", &[7, 1, 2, 3]).is_empty());
        let empty = tempfile::tempdir().unwrap();
        let outcome = &read_paths(&[empty.path().to_owned()])[0];
        assert_eq!(
            outcome.score.as_ref().unwrap_err().message,
            "there is no score in this folder"
        );
        let missing = read_paths(&[dir.path().join("nowhere.musicxml")]);
        assert_eq!(
            missing[0].score.as_ref().unwrap_err().message,
            "there is no such file or folder"
        );
    }

    #[test]
    fn part_files_are_one_score() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("1.musicxml"), XML).unwrap();
        fs::write(dir.path().join("2.musicxml"), XML).unwrap();
        fs::write(dir.path().join("3.musicxml"), "<html/>").unwrap();
        let outcomes = read_as_one(&[dir.path().to_owned()]);
        assert_eq!(outcomes.len(), 2);
        assert!(outcomes[0].score.is_err());
        assert_eq!(outcomes[1].score.as_ref().unwrap().parts.len(), 2);
    }
}
