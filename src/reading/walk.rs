//! Folders walked for scores. Each real folder is looked at once; links are not followed out of where they
//! lie; of rules only those of git in that repository count, and whatever is passed over is counted.

use super::may_be_score;
use crate::ground::disk::{self, FileError};
use crate::ground::problem::Problem;
use crate::ground::text;
use ignore::Match;
use ignore::gitignore::{Gitignore, GitignoreBuilder};
use std::collections::HashSet;
use std::ffi::OsStr;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How many folders may stand in each other below the one that is named.
const DEEPEST: usize = 256;

/// The largest file of rules that is read, in bytes.
const LARGEST_RULES: u64 = 256 << 10;

/// What a walk goes by.
#[derive(Clone, Debug, Default)]
pub struct WalkOptions {
    /// Links to folders are followed, and links to files wherever they lead.
    pub follow_links: bool,
    /// A folder that is not walked, such as that of the results.
    pub leave_out: Option<PathBuf>,
}

/// How much was passed over, but for hidden files and folders.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PassedOver {
    /// Scores that git's rules name.
    pub scores: usize,
    /// Folders that git's rules name; nobody knows what is in them.
    pub folders: usize,
    /// Links that were not followed.
    pub links: usize,
}

impl PassedOver {
    /// Whether it is nothing.
    pub fn is_nothing(self) -> bool {
        self == Self::default()
    }
}

impl fmt::Display for PassedOver {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = |n: usize, what: &str| match n {
            0 => None,
            1 => Some(format!("1 {what}")),
            n => Some(format!("{n} {what}s")),
        };
        let ruled = [count(self.scores, "score"), count(self.folders, "folder")];
        let ruled: Vec<String> = ruled.into_iter().flatten().collect();
        let ruled = (!ruled.is_empty())
            .then(|| format!("{} that git's ignore rules name", ruled.join(" and ")));
        let links = count(self.links, "link")
            .map(|links| format!("{links} that only --follow-links follows"));
        let all: Vec<String> = [ruled, links].into_iter().flatten().collect();
        write!(f, "passed over: {}", all.join("; "))
    }
}

/// The walks of one run.
#[derive(Debug, Default)]
pub(super) struct Walk {
    options: WalkOptions,
    /// The folder to leave out, by its true name.
    left_out: Option<PathBuf>,
    /// The true names of the folders that were looked at.
    seen: HashSet<PathBuf>,
    pub(super) passed_over: PassedOver,
}

/// A folder that is to be looked at.
struct Folder {
    /// As the user named it and the walk went on.
    shown: PathBuf,
    /// The same from the true name of where the walk began: what rules are held against.
    place: PathBuf,
    /// Its true name.
    real: PathBuf,
    depth: usize,
    rules: Rules,
}

/// Where links may lead: the folder that was named, and its repository.
struct Home {
    named: PathBuf,
    repository: Option<PathBuf>,
}

impl Home {
    /// Whether a walk of it would come upon a file by this true name.
    fn holds(&self, file: &Path) -> bool {
        let homes = self.repository.iter().chain([&self.named]);
        let mut below = homes.filter_map(|home| file.strip_prefix(home).ok());
        may_be_score(file) && below.any(|below| !below.iter().any(is_hidden))
    }
}

/// Git's rules for a folder, the nearest first.
type Rules = Option<Arc<RulesOfFolder>>;

struct RulesOfFolder {
    rules: Gitignore,
    above: Rules,
}

impl Walk {
    pub(super) fn new(options: WalkOptions) -> Self {
        Self {
            left_out: options.leave_out.as_deref().and_then(disk::true_name),
            options,
            ..Self::default()
        }
    }

    /// The scores in a folder, in the order of their names; numbers in names count by value. `None` where it was
    /// walked before.
    pub(super) fn scores(
        &mut self,
        folder: &Path,
        problems: &mut Vec<Problem>,
    ) -> Option<Vec<PathBuf>> {
        let named = disk::true_name(folder).unwrap_or_else(|| folder.to_owned());
        if !self.seen.insert(named.clone()) {
            return None;
        }
        let (repository, rules) = above(&named, problems);
        let home = Home {
            named: named.clone(),
            repository,
        };
        let mut files = Vec::new();
        // Not by calls in calls: folders may stand deep in each other.
        let mut waiting = vec![Folder {
            shown: folder.to_owned(),
            place: named.clone(),
            real: named,
            depth: 0,
            rules,
        }];
        while let Some(folder) = waiting.pop() {
            self.look_into(folder, &home, &mut files, &mut waiting, problems);
        }
        files.sort_by_cached_key(|file| text::natural(file));
        Some(files)
    }

    fn look_into(
        &mut self,
        mut folder: Folder,
        home: &Home,
        files: &mut Vec<PathBuf>,
        waiting: &mut Vec<Folder>,
        problems: &mut Vec<Problem>,
    ) {
        if folder.depth > DEEPEST {
            let message = format!("folders stand more than {DEEPEST} deep in each other here");
            let help = "name an inner folder to have it read";
            problems.push(Problem::whole(&folder.shown, message).help(help));
            return;
        }
        let cannot = |error| {
            let message = format!("the folder cannot be walked: {error}");
            Problem::whole(&folder.shown, message)
        };
        let entries = match fs::read_dir(&folder.shown) {
            Ok(entries) => entries,
            Err(error) => return problems.push(cannot(error)),
        };
        let rules = of_folder(&folder.place, folder.rules.take(), problems);
        for entry in entries {
            let kind = entry.and_then(|entry| Ok((entry.file_name(), entry.file_type()?)));
            let (name, kind) = match kind {
                Ok(entry) => entry,
                Err(error) => {
                    problems.push(cannot(error));
                    continue;
                }
            };
            let path = folder.shown.join(&name);
            let is_link = kind.is_symlink();
            let is_folder = kind.is_dir() || is_link && path.is_dir();
            if is_hidden(&name) || !is_folder && !may_be_score(&path) {
                continue;
            }
            let place = folder.place.join(&name);
            // To git a link is a file, wherever it leads.
            if is_ignored(&rules, &place, is_folder && !is_link) {
                let PassedOver {
                    scores, folders, ..
                } = &mut self.passed_over;
                one_more(if is_folder { folders } else { scores });
                continue;
            }
            let real = if is_link {
                disk::true_name(&path)
            } else {
                Some(folder.real.join(&name))
            };
            let follow = |real: &PathBuf| {
                !is_link || self.options.follow_links || !is_folder && home.holds(real)
            };
            let Some(real) = real.filter(follow) else {
                one_more(&mut self.passed_over.links);
                continue;
            };
            if !is_folder {
                files.push(path);
            } else if self.left_out.as_ref() != Some(&real) && self.seen.insert(real.clone()) {
                waiting.push(Folder {
                    shown: path,
                    place,
                    real,
                    depth: folder.depth.saturating_add(1),
                    rules: rules.clone(),
                });
            }
        }
    }
}

const fn one_more(count: &mut usize) {
    *count = count.saturating_add(1);
}

fn is_hidden(name: &OsStr) -> bool {
    name.as_encoded_bytes().starts_with(b".")
}

/// Whether git passes over it: the nearest rules that speak of it decide.
fn is_ignored(rules: &Rules, place: &Path, is_folder: bool) -> bool {
    let mut next = rules;
    while let Some(of_folder) = next {
        match of_folder.rules.matched(place, is_folder) {
            Match::Ignore(_) => return true,
            Match::Whitelist(_) => return false,
            Match::None => next = &of_folder.above,
        }
    }
    false
}

/// The repository that a folder lies in, and the rules from its root down to above the folder.
fn above(folder: &Path, problems: &mut Vec<Problem>) -> (Option<PathBuf>, Rules) {
    let mut ups = folder.ancestors();
    let Some(repository) = ups.find(|up| disk::exists(&up.join(".git"))) else {
        return (None, None);
    };
    let mut between: Vec<&Path> = folder.ancestors().skip(1).collect();
    between.retain(|up| up.starts_with(repository));
    let mut rules = None;
    for up in between.into_iter().rev() {
        rules = of_folder(up, rules, problems);
    }
    (Some(repository.to_owned()), rules)
}

/// The rules that hold in a folder, where those above it are known.
fn of_folder(folder: &Path, above: Rules, problems: &mut Vec<Problem>) -> Rules {
    let mut rules = above;
    let git = folder.join(".git");
    if disk::exists(&git) {
        // A repository of its own: those of the outer one end here.
        rules = None;
        if let Some(exclude) = exclude(&git) {
            rules = with_file(&exclude, folder, rules, problems);
        }
    }
    with_file(&folder.join(".gitignore"), folder, rules, problems)
}

/// The file of rules that a repository has for itself.
fn exclude(git: &Path) -> Option<PathBuf> {
    const FEW: u64 = 4096;
    let line = |file: &Path| {
        let text = String::from_utf8(disk::read(file, FEW).ok()?).ok()?;
        Some(text.lines().next()?.trim().to_owned())
    };
    let shared = if disk::is_folder(git) {
        git.to_owned()
    } else {
        // That of a second working tree is a file, which leads to its folder and from there to the shared one.
        let named = line(git)?;
        let own = git.parent()?.join(named.strip_prefix("gitdir:")?.trim());
        match line(&own.join("commondir")) {
            Some(shared) => own.join(shared),
            None => own,
        }
    };
    Some(shared.join("info/exclude"))
}

/// The rules with those of a file. Git does not follow a link there, and neither does this.
fn with_file(file: &Path, folder: &Path, above: Rules, problems: &mut Vec<Problem>) -> Rules {
    if disk::is_link(file) {
        return above;
    }
    let bytes = match disk::read(file, LARGEST_RULES) {
        Ok(bytes) => bytes,
        Err(FileError::Missing) => return above,
        Err(error) => {
            let message = format!("these rules of git cannot be read, and do not count: {error}");
            problems.push(Problem::whole(file, message));
            return above;
        }
    };
    let mut builder = GitignoreBuilder::new(folder);
    for line in String::from_utf8_lossy(&bytes).lines() {
        // What is no pattern names nothing, to git as well.
        let _ = builder.add_line(None, line);
    }
    match builder.build() {
        Ok(rules) if !rules.is_empty() => Some(Arc::new(RulesOfFolder { rules, above })),
        Ok(_) => above,
        Err(error) => {
            let message = format!("these rules of git cannot be used, and do not count: {error}");
            problems.push(Problem::whole(file, message));
            above
        }
    }
}
