//! Paths to scores: files, folders that are walked, sets of part files read as one score.
//!
//! A file named outright is read whatever its ending, by what is in it; in a folder the endings
//! `.musicxml`, `.xml`, `.mxl` and `.passage` are looked for, hidden files and those a `.gitignore`
//! names are passed over, and an `.xml` file that is no score is not an error.

use super::{grid, musicxml};
use crate::file_text::{container, encoding, limits, limits::Limits};
use crate::ground::problem::Problem;
use crate::ground::text::{self, Text};
use crate::ground::time::{Meter, Ticks};
use crate::instrument::{self, Catalogue};
use crate::score::{self, Score};
use bytes::Bytes;
use rayon::prelude::*;
use std::collections::{BTreeMap, HashSet};
use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

const ENDINGS: [&str; 4] = ["musicxml", "xml", "mxl", "passage"];

/// Whether a file's name ends as that of a score does.
pub fn may_be_score(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|e| ENDINGS.contains(&e.as_str()))
}

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
}

/// Part files that are one score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    /// The title of the score.
    pub title: Option<String>,
    /// The files in score order.
    pub files: Vec<PathBuf>,
}

/// Nothing is known but what ships with the program.
struct NoPlan;

impl Plan for NoPlan {
    fn instruments(&self, _file: &Path) -> &'static Catalogue {
        instrument::catalogue()
    }

    fn set(&self, _file: &Path) -> Option<Set> {
        None
    }
}

/// A file to read, and whether the user named it or a walk found it.
#[derive(Debug)]
struct Found {
    path: PathBuf,
    named: bool,
}

/// Reads files and folders, in the order given; within a folder by name.
pub fn read_paths(paths: &[PathBuf]) -> Vec<Outcome> {
    read_by(paths, &NoPlan)
}

/// The same as house styles plan it: a file of a set stands for the whole set, which is one score in
/// the place of the first of its files.
pub fn read_by(paths: &[PathBuf], plan: &dyn Plan) -> Vec<Outcome> {
    read_listed(list(paths, plan), plan)
}

/// Something that is to be read.
#[derive(Debug)]
pub struct Listed(Job);

#[derive(Debug)]
enum Job {
    File(Found),
    Set(Set),
    Unlisted(Problem),
}

impl Listed {
    fn folder(&self) -> Option<&Path> {
        match &self.0 {
            Job::File(found) => found.path.parent(),
            Job::Set(set) => set.files.first()?.parent(),
            Job::Unlisted(_) => None,
        }
    }
}

/// What there is to read at the paths, in order. Nothing has been opened yet.
pub fn list(paths: &[PathBuf], plan: &dyn Plan) -> Vec<Listed> {
    let mut seen = HashSet::new();
    let mut jobs: Vec<Result<Found, Problem>> = Vec::new();
    for path in paths {
        find(path, &mut seen, &mut jobs);
    }
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
    listed
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
    let jobs = set.files.iter().map(|path| {
        Ok(Found {
            path: path.clone(),
            named: true,
        })
    });
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
pub fn read_as_one(paths: &[PathBuf]) -> Vec<Outcome> {
    read_as_one_by(paths, &NoPlan)
}

/// The same with the instruments of a plan.
pub fn read_as_one_by(paths: &[PathBuf], plan: &dyn Plan) -> Vec<Outcome> {
    let mut seen = HashSet::new();
    let mut sets: Vec<(PathBuf, Vec<Result<Found, Problem>>)> = Vec::new();
    let mut named: Vec<Result<Found, Problem>> = Vec::new();
    for path in paths {
        if path.is_dir() {
            let mut jobs = Vec::new();
            find(path, &mut seen, &mut jobs);
            sets.push((path.clone(), jobs));
        } else {
            find(path, &mut seen, &mut named);
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
    merged(sets, plan)
}

/// The files of each set merged into one score.
fn merged(sets: Vec<(PathBuf, Vec<Result<Found, Problem>>)>, plan: &dyn Plan) -> Vec<Outcome> {
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

/// For each file of a set, why it cannot be a player's part of the same score as the others: a whole
/// score among single parts, or another title together with another key or meter.
fn strangers(set: &[(PathBuf, Score)]) -> Vec<Option<Problem>> {
    let single = |s: &Score| s.parts.len() <= 1;
    let singles = set.iter().filter(|(_, s)| single(s)).count();
    let about = |s: &Score| (title(s), opening(s));
    let most = most_common(
        set.iter()
            .filter(|(_, s)| single(s) || singles == 0)
            .map(|(_, s)| about(s)),
    );
    set.iter()
        .map(|(path, score)| {
            if singles > 0 && !single(score) {
                return Some(
                    Problem::whole(
                        path,
                        format!(
                            "this is a score of {} parts, among files of one part each: it was left out of the score that is put together",
                            score.parts.len()
                        ),
                    )
                    .help("read a score by itself, without --one-score; keep only the players' parts together"),
                );
            }
            let (name, opening) = about(score);
            let (wanted, theirs) = most.as_ref()?;
            let differs = |a: &Option<String>, b: &Option<String>| a.is_some() && b.is_some() && a != b;
            if !differs(&name, wanted) || opening == *theirs {
                return None;
            }
            Some(
                Problem::whole(
                    path,
                    format!(
                        "this is no part of the same score: its title is \u{201c}{}\u{201d} and its {}, the others' \u{201c}{}\u{201d} and {}",
                        score.title.as_deref().unwrap_or_default(),
                        opening_words(opening),
                        set.iter()
                            .find(|(_, s)| about(s).0 == *wanted)
                            .and_then(|(_, s)| s.title.as_deref())
                            .unwrap_or_default(),
                        opening_words(*theirs),
                    ),
                )
                .help("give --one-score the parts of one piece only"),
            )
        })
        .collect()
}

/// A title as it is compared: letters and figures only.
pub(crate) fn title(score: &Score) -> Option<String> {
    let text: String = score
        .title
        .as_deref()?
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect();
    (!text.is_empty()).then_some(text)
}

/// The concert key (in fifths) and the meter a score starts with.
fn opening(score: &Score) -> (i8, Meter) {
    let key = score
        .parts
        .first()
        .map_or(0, |p| p.concert_fifths(Ticks::ZERO));
    (key, score.meter_at(Ticks::ZERO))
}

fn opening_words((fifths, meter): (i8, Meter)) -> String {
    let key = match fifths {
        0 => "no sharps or flats".to_owned(),
        n => {
            let (count, sign) = (n.unsigned_abs(), if n > 0 { "sharp" } else { "flat" });
            format!("{count} {sign}{}", if count == 1 { "" } else { "s" })
        }
    };
    format!("key signature {key} (concert), meter {meter}")
}

/// The value that comes most often; the first one's among equals.
fn most_common<T: PartialEq>(values: impl Iterator<Item = T>) -> Option<T> {
    let mut counts: Vec<(T, usize)> = Vec::new();
    for value in values {
        match counts.iter_mut().find(|(v, _)| *v == value) {
            Some((_, n)) => *n = n.saturating_add(1),
            None => counts.push((value, 1)),
        }
    }
    let best = counts.iter().map(|(_, n)| *n).max()?;
    counts.into_iter().find(|(_, n)| *n == best).map(|(v, _)| v)
}

/// Files that were read one by one and look like the parts of one score: the index of the first, and
/// how many there are. They lie in one folder, have one title and one number of bars, one part each,
/// and no two of them are for the same player.
pub fn sets_of_parts<'a>(
    read: impl Iterator<Item = (&'a Path, Option<&'a Score>)>,
) -> Vec<(usize, usize)> {
    type Key = (PathBuf, String, usize);
    let mut sets: BTreeMap<Key, Vec<(usize, &str)>> = BTreeMap::new();
    for (index, (path, score)) in read.enumerate() {
        let Some(score) = score else { continue };
        let ([part], Some(title)) = (score.parts.as_slice(), title(score)) else {
            continue;
        };
        let folder = path.parent().map(Path::to_owned).unwrap_or_default();
        sets.entry((folder, title, score.bars.len()))
            .or_default()
            .push((index, part.name.as_str()));
    }
    let mut found: Vec<(usize, usize)> = sets
        .into_values()
        .filter(|set| {
            let names: HashSet<&str> = set.iter().map(|(_, name)| *name).collect();
            set.len() > 1 && names.len() == set.len()
        })
        .filter_map(|set| Some((set.first()?.0, set.len())))
        .collect();
    found.sort_unstable();
    found
}

fn find(path: &Path, seen: &mut HashSet<PathBuf>, jobs: &mut Vec<Result<Found, Problem>>) {
    let mut add = |found: Found, jobs: &mut Vec<Result<Found, Problem>>| {
        let key = fs::canonicalize(&found.path).unwrap_or_else(|_| found.path.clone());
        if seen.insert(key) {
            jobs.push(Ok(found));
        }
    };
    if !path.is_dir() {
        let found = Found {
            path: path.to_owned(),
            named: true,
        };
        add(found, jobs);
        return;
    }
    let mut files = Vec::new();
    let mut any = false;
    for entry in ignore::WalkBuilder::new(path)
        .require_git(false)
        .follow_links(true)
        .build()
    {
        match entry {
            Ok(entry) => {
                let file = entry.into_path();
                if file.is_file() && may_be_score(&file) {
                    files.push(file);
                }
            }
            Err(error) => {
                any = true;
                jobs.push(Err(Problem::whole(
                    path,
                    format!("cannot be walked: {error}"),
                )));
            }
        }
    }
    files.sort_by_cached_key(|f| text::natural(f));
    if files.is_empty() && !any {
        jobs.push(Err(Problem::whole(
            path,
            "there is no score in this folder",
        )
        .help(
            "files ending in .musicxml, .xml, .mxl and .passage are looked for",
        )));
    }
    for file in files {
        add(
            Found {
                path: file,
                named: false,
            },
            jobs,
        );
    }
}

fn read_all(jobs: Vec<Result<Found, Problem>>, plan: &dyn Plan) -> Vec<Outcome> {
    jobs.into_par_iter()
        .filter_map(|job| match job {
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
        })
        .collect()
}

/// `Ok(None)` is a file of a walked folder that is no score at all.
fn read_found(found: &Found, plan: &dyn Plan) -> Result<Option<Score>, Problem> {
    let limits = plan.limits();
    let bytes = load(&found.path, &limits)?;
    let xml = found
        .path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("xml"));
    if xml && !found.named && is_other_xml(&bytes) {
        return Ok(None);
    }
    read_bytes_by(&found.path, bytes, plan.instruments(&found.path), &limits).map(Some)
}

/// Reads one file, whatever its ending.
pub fn read_file(path: &Path) -> Result<Score, Problem> {
    let bytes = load(path, &Limits::USUAL)?;
    read_bytes_by(path, bytes, instrument::catalogue(), &Limits::USUAL)
}

fn load(path: &Path, limits: &Limits) -> Result<Bytes, Problem> {
    let fails = |error: std::io::Error| {
        let what = match error.kind() {
            std::io::ErrorKind::NotFound => "there is no such file or folder".to_owned(),
            std::io::ErrorKind::PermissionDenied => {
                "the file may not be read (permission denied)".to_owned()
            }
            _ => format!("the file cannot be read: {error}"),
        };
        Problem::whole(path, what)
    };
    let size = fs::metadata(path).map_err(fails)?.len();
    let most = limits.file;
    let too_large = |size: u64| {
        Problem::whole(
            path,
            format!("the file has {size} bytes or more; at most {most} are read"),
        )
        .help(limits::raise("file"))
    };
    if size > most {
        return Err(too_large(size));
    }
    if let Some(bytes) = in_large_pages(path, size) {
        return Ok(bytes);
    }
    // What is no ordinary file (a pipe, a device) has no size to go by and may have no end.
    let mut bytes = Vec::with_capacity(usize::try_from(size).unwrap_or(0));
    fs::File::open(path)
        .and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(fails)?;
    if bytes.len() as u64 > most {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes.into())
}

/// From how many bytes on a file is read into large pages.
#[cfg(target_os = "linux")]
const LARGE: u64 = 4 << 20;

/// A large file in memory of its own, in pages as large as the system has them: with usual ones, asking
/// for each is much of what reading takes. `None` is for what is better read in the usual way.
#[cfg(target_os = "linux")]
fn in_large_pages(path: &Path, size: u64) -> Option<Bytes> {
    use memmap2::{Advice, MmapMut};
    let size = usize::try_from(size).ok().filter(|_| size >= LARGE)?;
    let mut file = fs::File::open(path).ok()?;
    let mut pages = MmapMut::map_anon(size).ok()?;
    // Where there are none the usual ones do.
    let _ = pages.advise(Advice::HugePage);
    file.read_exact(&mut pages).ok()?;
    let has_grown = file.read(&mut [0]).ok()? > 0;
    (!has_grown).then(|| Bytes::from_owner(pages))
}

#[cfg(not(target_os = "linux"))]
fn in_large_pages(_path: &Path, _size: u64) -> Option<Bytes> {
    None
}

/// Reads a score from its bytes: a container, MusicXML, or a passage grid, by what is in it.
pub fn read_bytes(path: &Path, bytes: impl Into<Vec<u8>>) -> Result<Score, Problem> {
    let bytes: Vec<u8> = bytes.into();
    read_bytes_by(path, bytes, instrument::catalogue(), &Limits::USUAL)
}

/// The same with other instruments than the shipped ones, within these limits.
pub fn read_bytes_by(
    path: &Path,
    bytes: impl Into<Bytes>,
    instruments: &'static Catalogue,
    limits: &Limits,
) -> Result<Score, Problem> {
    let bytes = bytes.into();
    if bytes.is_empty() {
        return Err(Problem::whole(path, "the file is empty"));
    }
    let ending = |e: &str| path.extension().is_some_and(|x| x.eq_ignore_ascii_case(e));
    if bytes.starts_with(b"PK\x03\x04")
        || bytes.starts_with(b"PK\x05\x06")
        || ending("mxl") && !looks_like_text(&bytes)
    {
        let (member, bytes) = container::open_within(&bytes, limits)
            .map_err(|e| Problem::whole(path, e.to_string()))?;
        let text = decode(path, bytes.into())?;
        return musicxml::read_within(path, Some(member), text, *limits);
    }
    let text = decode(path, bytes)?;
    let is_xml = text
        .trim_start_matches('\u{feff}')
        .trim_start()
        .starts_with('<');
    if is_xml || ending("musicxml") || ending("xml") || ending("mxl") {
        musicxml::read_within(path, None, text, *limits)
    } else {
        grid::read_by(path, text, instruments)
    }
}

fn looks_like_text(bytes: &[u8]) -> bool {
    bytes.iter().take(512).all(|b| *b != 0)
        && bytes.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'<')
}

fn decode(path: &Path, bytes: Bytes) -> Result<Text, Problem> {
    encoding::decode_whole(bytes)
        .map(Text::from)
        .map_err(|error| Problem::whole(path, error.to_string()))
}

/// Well-formed enough to show a root element, and it is not a score's.
fn is_other_xml(bytes: &[u8]) -> bool {
    let head = bytes.get(..bytes.len().min(64 << 10)).unwrap_or(bytes);
    let Ok(text) = encoding::decode(head) else {
        return false;
    };
    let mut rest: &str = &text;
    while let Some(start) = rest.find('<') {
        rest = rest.get(start..).unwrap_or_default();
        if let Some(after) = rest.strip_prefix("<!--") {
            let Some(end) = after.find("-->") else {
                return false;
            };
            rest = after.get(end..).unwrap_or_default();
        } else if rest.starts_with("<?") || rest.starts_with("<!") {
            rest = rest.get(2..).unwrap_or_default();
        } else {
            return !rest.starts_with("<score-");
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: &str = "count | 1 |\npiano | C4 |\n";
    const XML: &str = "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part></part-list><part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>";

    fn sets_in(outcomes: &[Outcome]) -> Vec<(usize, usize)> {
        sets_of_parts(
            outcomes
                .iter()
                .map(|o| (o.path.as_path(), o.score.as_ref().ok())),
        )
    }

    #[test]
    fn a_batch_ends_with_its_folder_unless_that_is_too_large() {
        let file = |folder: &str, i: usize| {
            let path = Path::new(folder).join(format!("{i}.passage"));
            Listed(Job::File(Found { path, named: false }))
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
        assert_eq!(in_large_pages(&path, size).unwrap(), text);
        assert_eq!(&*read_file(&path).unwrap().sources[0].text, text);
        // Another size than the file has by now, a small file, none at all: for the usual way.
        assert!(in_large_pages(&path, size - 1).is_none());
        assert!(in_large_pages(&path, size + 1).is_none());
        assert!(in_large_pages(&dir.path().join("none"), size).is_none());
        fs::write(&path, XML).unwrap();
        assert!(in_large_pages(&path, XML.len() as u64).is_none());
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

    /// A part file of its own title, meter and name.
    fn part_file(title: &str, beats: u8, name: &str) -> String {
        XML.replace(
            "<score-partwise>",
            &format!("<score-partwise><work><work-title>{title}</work-title></work>"),
        )
        .replace(
            "<divisions>1</divisions>",
            &format!(
                "<divisions>1</divisions><time><beats>{beats}</beats><beat-type>4</beat-type></time>"
            ),
        )
        .replace("Flute", name)
    }

    #[test]
    fn files_that_do_not_belong_together_are_left_out_and_named() {
        let dir = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs::write(dir.path().join(name), text).unwrap();
        write("1.musicxml", &part_file("Tide", 4, "Flute 1"));
        write("2.musicxml", &part_file("Tide", 4, "Flute 2"));
        write("3.musicxml", &part_file("Harbour", 3, "Flute 3"));
        // Another title alone (the player's name, say) is no reason.
        write("4.musicxml", &part_file("Tide, fourth flute", 4, "Flute 4"));
        write("5.passage", "count | 1 |\nalto | C4 |\ntenor | E4 |\n");
        let outcomes = read_as_one(&[dir.path().to_owned()]);
        let errors: Vec<String> = outcomes
            .iter()
            .filter_map(|o| o.score.as_ref().err().map(|e| e.message.clone()))
            .collect();
        assert_eq!(errors.len(), 2, "{errors:#?}");
        assert!(errors[0].contains("meter 3/4"), "{}", errors[0]);
        assert!(errors[1].contains("a score of 2 parts"), "{}", errors[1]);
        let whole = outcomes.iter().find_map(|o| o.score.as_ref().ok()).unwrap();
        assert_eq!(whole.parts.len(), 3);
    }

    #[test]
    fn parts_read_one_by_one_are_noticed_and_homework_is_not() {
        let dir = tempfile::tempdir().unwrap();
        for (file, name) in [("1", "Flute 1"), ("2", "Flute 2"), ("3", "Oboe")] {
            fs::write(
                dir.path().join(format!("{file}.musicxml")),
                part_file("Tide", 4, name),
            )
            .unwrap();
        }
        let sets = sets_in(&read_paths(&[dir.path().to_owned()]));
        assert_eq!(sets, [(0, 3)]);
        // Three students with the same task for the same instrument are three scores.
        for file in ["1", "2", "3"] {
            fs::write(
                dir.path().join(format!("{file}.musicxml")),
                part_file("Tide", 4, "Piano"),
            )
            .unwrap();
        }
        assert!(sets_in(&read_paths(&[dir.path().to_owned()])).is_empty());
    }
}
