//! Patterns of part names and files, as a house style writes them.

use crate::ground::disk;
use std::path::{Path, PathBuf};

/// A name with `*` for any run of characters and `?` for one; capitals do not matter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamePattern(String);

impl NamePattern {
    /// Takes the pattern as it is written.
    pub fn new(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// Whether a name is meant.
    pub fn matches(&self, name: &str) -> bool {
        let fold = |s: &str| -> Vec<char> { s.trim().to_lowercase().chars().collect() };
        wild(&fold(&self.0), &fold(name), None)
    }

    /// As it is written.
    pub fn as_str(&self) -> &str {
        &self.0
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
        }
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

    /// The files there are, in the order of their names; numbers in names count by value.
    pub fn files(&self) -> Vec<PathBuf> {
        let mut found = vec![self.folder.clone()];
        for step in self.rest.split('/') {
            if step == "**" {
                let mut all = Vec::new();
                for folder in found {
                    folders_below(&folder, 0, &mut all);
                }
                found = all;
            } else if step.contains(['*', '?']) {
                let pattern: Vec<char> = step.chars().collect();
                let mut next: Vec<PathBuf> = found
                    .iter()
                    .flat_map(|folder| disk::entries(folder))
                    .filter(|entry| {
                        let name = entry.file_name().unwrap_or_default().to_string_lossy();
                        let name: Vec<char> = name.chars().collect();
                        name.first() != Some(&'.') && wild(&pattern, &name, Some('/'))
                    })
                    .collect();
                next.sort_by_cached_key(|p| crate::ground::text::natural(p));
                found = next;
            } else {
                found = found.iter().map(|folder| folder.join(step)).collect();
            }
        }
        found.retain(|f| disk::is_file(f));
        found
    }
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

/// The path of a file from a folder, with `/` between its steps.
fn below(file: &Path, folder: &Path) -> Option<String> {
    let real = |p: &Path| {
        let p = if p.as_os_str().is_empty() {
            Path::new(".")
        } else {
            p
        };
        disk::true_name(p).unwrap_or_else(|| p.to_owned())
    };
    let (file, folder) = (real(file), real(folder));
    let rest = file.strip_prefix(&folder).ok()?;
    let steps: Vec<String> = rest
        .components()
        .map(|c| c.as_os_str().to_string_lossy().into_owned())
        .collect();
    Some(steps.join("/"))
}

/// Whether `text` fits `pattern`; `*` and `?` stop at `wall`, `**` does not.
fn wild(pattern: &[char], text: &[char], wall: Option<char>) -> bool {
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
            // `**/` may stand for no folder at all.
            if pattern.get(at) == Some(&'/') {
                let rest = pattern.get(at + 1..).unwrap_or_default();
                return (0..=text.len()).any(|i| {
                    row.get(i).copied().unwrap_or(false)
                        && (i == 0 || text.get(i - 1) == wall.as_ref())
                        && wild(rest, text.get(i..).unwrap_or_default(), wall)
                });
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
        let reed = NamePattern::new("reed ?*");
        assert!(reed.matches("Reed 1"));
        assert!(reed.matches("REED 12 (alto)"));
        assert!(!reed.matches("Reed "));
        assert!(!reed.matches("a reed 1"));
        assert!(NamePattern::new("*").matches(""));
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
                .iter()
                .map(|f| f.file_name().unwrap().to_string_lossy().into_owned())
                .collect()
        };
        assert_eq!(names("parts/*.xml"), ["2 alto.xml", "10 bari.xml"]);
        assert_eq!(names("**/*.txt"), ["notes.txt"]);
        assert_eq!(names("parts/nothing.xml"), [""; 0]);
    }
}
