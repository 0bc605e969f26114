//! Patterns of part names and files, as a house style writes them.

use crate::ground::disk;
use crate::reading::may_be_score;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// The longest name of parts in a pattern, in characters, and as much of a part's name as is held
/// against one.
pub const LONGEST_NAME: usize = 1_000;

/// A name with `*` for any run of characters and `?` for one; capitals do not matter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamePattern {
    text: String,
    folded: FoldedName,
}

/// A name without the difference of capitals.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FoldedName(Vec<char>);

impl FoldedName {
    /// Takes a name as it is printed.
    pub fn new(name: &str) -> Self {
        let lowered = name.trim().chars().flat_map(char::to_lowercase);
        Self(lowered.take(LONGEST_NAME).collect())
    }
}

impl NamePattern {
    /// Takes the pattern as it is written.
    pub fn new(text: &str) -> Self {
        Self {
            text: text.to_owned(),
            folded: FoldedName::new(text),
        }
    }

    /// Whether a name is meant.
    pub fn matches(&self, name: &FoldedName) -> bool {
        wild(&self.folded.0, &name.0, None)
    }

    /// The one name it stands for, when it is only one.
    pub fn one_name(&self) -> Option<&FoldedName> {
        (!self.folded.0.iter().any(|&sign| is_wild(sign))).then_some(&self.folded)
    }

    /// As it is written.
    pub fn as_str(&self) -> &str {
        &self.text
    }
}

/// A file or several, relative to the folder of the house style: `*` and `?` stay within one folder,
/// `**` goes through any number of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FilePattern {
    text: String,
    /// The folder that the pattern starts from.
    folder: PathBuf,
    /// The pattern from there, without `./` and `../` at its start.
    rest: String,
    /// The folder that its files must lie in, by their true names; none for anywhere.
    within: Option<PathBuf>,
}

/// The files of a pattern.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PatternFiles {
    /// Those it stands for, in the order of their names; numbers in names count by value.
    pub files: Vec<PathBuf>,
    /// What leads out of the folder they must lie in, and there, what is not called as a score is.
    pub outside: Vec<PathBuf>,
}

impl FilePattern {
    /// A pattern that starts from a folder.
    pub fn new(text: &str, folder: &Path) -> Self {
        let text = text.replace('\\', "/");
        let mut folder = folder.to_owned();
        let mut rest = text.as_str();
        loop {
            if let Some(below) = rest.strip_prefix("./") {
                rest = below;
            } else if let Some(beside) = rest.strip_prefix("../") {
                folder.push("..");
                rest = beside;
            } else {
                break;
            }
        }
        Self {
            rest: rest.to_owned(),
            text,
            folder,
            within: None,
        }
    }

    /// The same, whose files must lie in a folder by their true names; none for anywhere.
    #[must_use]
    pub fn within(self, folder: Option<&Path>) -> Self {
        let within = folder.map(Path::to_owned);
        Self { within, ..self }
    }

    /// Whether it starts outside of the folder its files must lie in.
    pub fn leads_out(&self) -> bool {
        !self.allows(&true_name(&self.folder))
    }

    /// Whether `..` stands in it behind a name: so it would come to the same folder again and again.
    pub fn turns_back(&self) -> bool {
        self.rest.split('/').any(|step| step == "..")
    }

    fn allows(&self, true_name: &Path) -> bool {
        let within = self.within.as_ref();
        within.is_none_or(|folder| true_name.starts_with(folder))
    }

    /// As it is written.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Whether a file is meant. A pattern without a folder (`waltz.mxl`) means files of that name
    /// wherever they are.
    pub fn matches(&self, file: &Path) -> bool {
        let pattern: Vec<char> = self.rest.chars().collect();
        let fits = |name: &str| {
            let name: Vec<char> = name.chars().collect();
            wild(&pattern, &name, Some('/'))
        };
        if !self.text.contains('/') {
            let name = file.file_name().map(|n| n.to_string_lossy());
            return name.is_some_and(|n| fits(&n));
        }
        below(file, &self.folder).is_some_and(|below| fits(&below))
    }

    /// The files there are. Each real file and folder is looked at once in each step, so that links
    /// do not multiply.
    pub fn files(&self) -> PatternFiles {
        if self.leads_out() || self.turns_back() {
            return PatternFiles::default();
        }
        let mut outside = Vec::new();
        let mut links = HashSet::new();
        let mut found = vec![self.folder.clone()];
        for step in self.rest.split('/') {
            let next = if step == "**" {
                let mut all = Vec::new();
                for folder in found {
                    folders_below(&folder, 0, &mut all);
                }
                all
            } else if step.contains(['*', '?']) {
                entries_called(step, &found)
            } else {
                found.iter().map(|folder| folder.join(step)).collect()
            };
            let mut seen = HashSet::new();
            found = next;
            found.retain(|path| {
                let real = true_name(path);
                let allowed = self.allows(&real);
                if !allowed && disk::exists(path) && links.insert(place(path)) {
                    outside.push(path.clone());
                }
                allowed && seen.insert(real)
            });
        }
        found.retain(|f| disk::is_no_folder(f));
        if self.within.is_some() {
            // A stranger's style names scores: lines of other files would stand in messages.
            let (scores, others) = found
                .into_iter()
                .partition(|file| may_be_score(&true_name(file)));
            found = scores;
            outside.extend::<Vec<PathBuf>>(others);
        }
        PatternFiles {
            files: found,
            outside,
        }
    }
}

/// What the folders hold whose names fit a step of a pattern, in the order of the names.
fn entries_called(step: &str, folders: &[PathBuf]) -> Vec<PathBuf> {
    let pattern: Vec<char> = step.chars().collect();
    let all = folders.iter().flat_map(|folder| disk::entries(folder));
    let mut fitting: Vec<PathBuf> = all
        .filter(|entry| {
            let name = entry.file_name().unwrap_or_default().to_string_lossy();
            let name: Vec<char> = name.chars().collect();
            name.first() != Some(&'.') && wild(&pattern, &name, Some('/'))
        })
        .collect();
    fitting.sort_by_cached_key(|p| crate::ground::text::natural(p));
    fitting
}

/// How deep `**` looks.
const DEEPEST: usize = 16;

fn folders_below(folder: &Path, depth: usize, all: &mut Vec<PathBuf>) {
    all.push(folder.to_owned());
    if depth == DEEPEST {
        return;
    }
    let mut inner = disk::entries(folder);
    inner.retain(|p| disk::is_folder(p) && !p.is_symlink());
    inner.sort();
    for folder in inner {
        folders_below(&folder, depth + 1, all);
    }
}

/// The path without links; as it is, where there is none. An empty one is the folder one is in.
fn true_name(path: &Path) -> PathBuf {
    let named = if path.as_os_str().is_empty() {
        Path::new(".")
    } else {
        path
    };
    disk::true_name(named).unwrap_or_else(|| named.to_owned())
}

/// Where a link lies itself, without links on the way to it.
fn place(link: &Path) -> PathBuf {
    let folder = link.parent().map(true_name).unwrap_or_default();
    folder.join(link.file_name().unwrap_or_default())
}

/// The path of a file from a folder, with `/` between its steps.
fn below(file: &Path, folder: &Path) -> Option<String> {
    let (file, folder) = (true_name(file), true_name(folder));
    let rest = file.strip_prefix(&folder).ok()?;
    let steps: Vec<String> = rest
        .components()
        .map(|c| c.as_os_str().to_string_lossy().into_owned())
        .collect();
    Some(steps.join("/"))
}

fn is_wild(sign: char) -> bool {
    matches!(sign, '*' | '?')
}

/// Whether `text` fits `pattern`; `*` and `?` stop at `wall`, `**` does not.
fn wild(pattern: &[char], text: &[char], wall: Option<char>) -> bool {
    // Most patterns differ in their first letters.
    let Some(plain) = pattern.iter().position(|&sign| is_wild(sign)) else {
        return pattern == text;
    };
    if !pattern
        .get(..plain)
        .is_some_and(|plain| text.starts_with(plain))
    {
        return false;
    }
    // One row of the table "pattern so far x text so far": never more work than the product.
    let mut row = vec![false; text.len() + 1];
    if let Some(first) = row.first_mut() {
        *first = true;
    }
    let mut at = 0;
    while let Some(&sign) = pattern.get(at) {
        let deep = sign == '*' && (wall.is_none() || pattern.get(at + 1) == Some(&'*'));
        let mut next = vec![false; text.len() + 1];
        for i in 0..=text.len() {
            let before = i.checked_sub(1).and_then(|j| text.get(j)).copied();
            let left = i
                .checked_sub(1)
                .is_some_and(|j| next.get(j).copied().unwrap_or(false));
            let diagonal = i
                .checked_sub(1)
                .is_some_and(|j| row.get(j).copied().unwrap_or(false));
            let above = row.get(i).copied().unwrap_or(false);
            let open = before.is_some() && (deep || before != wall);
            let holds = match sign {
                '*' => above || left && open,
                '?' => diagonal && open,
                c => diagonal && before == Some(c),
            };
            if let Some(slot) = next.get_mut(i) {
                *slot = holds;
            }
        }
        row = next;
        at += 1;
        if sign == '*' && wall.is_some() && deep {
            at += 1;
            // `**/` may stand for no folder at all: what follows starts behind a wall, or at the start.
            if pattern.get(at) == wall.as_ref() {
                at += 1;
                for (i, holds) in row.iter_mut().enumerate().skip(1) {
                    *holds &= text.get(i - 1) == wall.as_ref();
                }
            }
        }
    }
    row.last().copied().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_match_whatever_their_capitals() {
        let says = |pattern: &str, name: &str| {
            let pattern = NamePattern::new(pattern);
            let fits = pattern.matches(&FoldedName::new(name));
            let one = pattern.one_name();
            assert!(one.is_none_or(|one| (*one == FoldedName::new(name)) == fits));
            fits
        };
        assert!(says("reed ?*", "Reed 1"));
        assert!(says("reed ?*", "REED 12 (alto)"));
        assert!(!says("reed ?*", "Reed "));
        assert!(!says("reed ?*", "a reed 1"));
        assert!(says("Reed 1 ", "reed 1"));
        assert!(!says("Reed 1", "reed 12"));
        assert!(!says("Reed 12", "reed 1"));
        assert!(says("*", ""));
        assert!(says("", ""));
    }

    #[test]
    fn files_match_below_the_folder_of_the_style() {
        let dir = tempfile::tempdir().unwrap();
        let folder = &dir.path().join("band");
        let says = |text: &str, file: &str| {
            let file = folder.join(file);
            std::fs::create_dir_all(file.parent().unwrap()).unwrap();
            std::fs::write(&file, "").unwrap();
            FilePattern::new(text, folder).matches(&file)
        };
        assert!(says("waltz.mxl", "waltz.mxl"));
        assert!(says("waltz.mxl", "2026/waltz.mxl"));
        assert!(says("2026/*.mxl", "2026/waltz.mxl"));
        assert!(!says("2026/*.mxl", "2026/old/waltz.mxl"));
        assert!(says("2026/**/*.mxl", "2026/old/older/waltz.mxl"));
        assert!(says("2026/**/*.mxl", "2026/waltz.mxl"));
        assert!(says("./**", "a/b/c"));
        assert!(says("../band/*", "waltz.mxl"));
        assert!(!says("../*", "waltz.mxl"));
        assert!(!says("2026/**/x.mxl", "2026/yx.mxl"));
        let elsewhere =
            |text: &str| FilePattern::new(text, folder).matches(Path::new("/elsewhere/waltz.mxl"));
        assert!(elsewhere("waltz.*"));
        assert!(!elsewhere("./waltz.*"));
    }

    /// A pattern of 40 folders and a path of 200: as many tries as there are ways would never end.
    #[test]
    fn the_work_is_the_product_of_pattern_and_path() {
        let signs = |text: String| -> Vec<char> { text.chars().collect() };
        let path = signs("a/".repeat(200) + "x");
        let says = |end: &str| wild(&signs("**/".repeat(40) + end), &path, Some('/'));
        assert!(says("x"));
        assert!(says("*"));
        assert!(!says("y"));
        assert!(!says("a"));
    }

    #[cfg(unix)]
    #[test]
    fn links_neither_multiply_nor_lead_out() {
        use std::os::unix::fs::symlink;
        let dir = tempfile::tempdir().unwrap();
        let band = dir.path().join("band");
        std::fs::create_dir(&band).unwrap();
        for name in ["a", "b"] {
            symlink(".", band.join(name)).unwrap();
        }
        std::fs::write(band.join("x.xml"), "").unwrap();
        std::fs::write(dir.path().join("y.xml"), "").unwrap();
        symlink("..", band.join("up")).unwrap();
        symlink("../y.xml", band.join("y.xml")).unwrap();
        let all = |text: &str, within: Option<&Path>| {
            FilePattern::new(text, &band).within(within).files()
        };
        let real = disk::true_name(&band);
        let deep = all(&("*/".repeat(40) + "x.xml"), real.as_deref());
        assert_eq!((deep.files.len(), deep.outside.len()), (1, 2), "{deep:?}");
        let names = |found: PatternFiles| (found.files.len(), found.outside);
        assert_eq!(names(all("*.xml", None)), (2, vec![]));
        let outside = vec![band.join("y.xml")];
        assert_eq!(names(all("*.xml", real.as_deref())), (1, outside));
        assert_eq!(
            names(all("up/y.xml", real.as_deref())),
            (0, vec![band.join("up")])
        );
        assert!(
            FilePattern::new("../*", &band)
                .within(real.as_deref())
                .leads_out()
        );
        assert!(FilePattern::new("a/../x.xml", &band).turns_back());
        assert_eq!(names(all("a/../x.xml", None)), (0, vec![]));
    }

    #[test]
    fn a_pattern_lists_its_files_in_the_order_of_their_numbers() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("parts")).unwrap();
        for name in ["10 bari.xml", "2 alto.xml", "notes.txt"] {
            std::fs::write(dir.path().join("parts").join(name), "").unwrap();
        }
        let names = |text: &str| -> Vec<String> {
            FilePattern::new(text, dir.path())
                .files()
                .files
                .iter()
                .map(|f| f.file_name().unwrap().to_string_lossy().into_owned())
                .collect()
        };
        assert_eq!(names("parts/*.xml"), ["2 alto.xml", "10 bari.xml"]);
        assert_eq!(names("**/*.txt"), ["notes.txt"]);
        assert_eq!(names("parts/nothing.xml"), [""; 0]);
    }
}
