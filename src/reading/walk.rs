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

/// The most of such rules that one run reads, in bytes.
const MOST_RULES: u64 = 4 << 20;

/// What a walk goes by.
#[derive(Clone, Debug, Default)]
pub struct WalkOptions {
    /// Links to folders are followed, and links to files wherever they lead.
    pub follow_links: bool,
    /// A folder that is not walked, such as that of the results.
    pub leave_out: Option<PathBuf>,
}

/// How much was passed over, but for hidden files and folders.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PassedOver {
    /// Scores that git's rules name.
    pub scores: usize,
    /// Folders that git's rules name; nobody knows what is in them.
    pub folders: usize,
    /// Links that were not followed.
    pub links: usize,
    /// Links to files that are read by themselves.
    pub doubles: usize,
    /// Why the first file of git's rules that is not obeyed is none that is.
    not_obeyed: Option<String>,
    /// How many more there are.
    more_not_obeyed: usize,
}

impl PassedOver {
    /// Whether it is nothing.
    pub fn is_nothing(&self) -> bool {
        [self.scores, self.folders, self.links, self.doubles] == [0; 4]
    }

    /// Which of git's rules were not obeyed, and why.
    pub fn remark(&self) -> Option<String> {
        let first = self.not_obeyed.as_deref()?;
        Some(match self.more_not_obeyed {
            0 => first.to_owned(),
            1 => format!("{first}; nor is 1 more such file"),
            n => format!("{first}; nor are {n} more such files"),
        })
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
        let doubles = match self.doubles {
            0 => None,
            1 => Some("1 link to a score that is read anyhow".to_owned()),
            n => Some(format!("{n} links to scores that are read anyhow")),
        };
        let all: Vec<String> = [ruled, links, doubles].into_iter().flatten().collect();
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
    /// How many bytes of git's rules were read.
    rule_bytes: u64,
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
    fn of(named: PathBuf) -> Self {
        Self {
            repository: disk::repository_of(&named).map(Path::to_owned),
            named,
        }
    }

    fn folders(&self) -> impl Iterator<Item = &PathBuf> {
        self.repository.iter().chain([&self.named])
    }

    /// Whether a walk of it would come upon a file by this true name.
    fn holds(&self, file: &Path) -> bool {
        let mut below = self
            .folders()
            .filter_map(|home| file.strip_prefix(home).ok());
        may_be_score(file) && below.any(|below| !below.iter().any(is_hidden))
    }

    /// Whether a name leads through a link. Links above of it all count for nothing: a system's own names
    /// may go through some.
    fn has_link(&self, name: &Path) -> bool {
        // Behind a stroke at its end a link would not show.
        let name: PathBuf = name.components().collect();
        let is_below = |step: &Path| {
            let folder = step.parent().and_then(disk::true_name);
            folder.is_some_and(|folder| self.folders().any(|home| folder.starts_with(home)))
        };
        name.ancestors().any(|step| {
            disk::is_link(step) && (name.is_relative() || step == name || is_below(step))
        })
    }
}

/// Takes out of names that nobody typed, such as those of a list, the links that a walk of the folder in
/// which the run was started would not follow. Returns how many there were.
pub fn take_out_links(names: &mut Vec<PathBuf>) -> usize {
    let here = disk::here();
    let home = Home::of(disk::true_name(&here).unwrap_or(here));
    let all = names.len();
    names.retain(|name| {
        !home.has_link(name) || disk::true_name(name).is_some_and(|real| home.holds(&real))
    });
    all.saturating_sub(names.len())
}

/// Where a walk puts what it finds.
struct Found<'a> {
    files: &'a mut Vec<PathBuf>,
    folders: &'a mut Vec<Folder>,
    /// Folders by links to them.
    linked: &'a mut Vec<Folder>,
}

/// Git's rules for a folder. There are none outside of a repository.
#[derive(Clone, Default)]
struct Rules {
    in_repository: bool,
    nearest: Option<Arc<RulesOfFolder>>,
}

struct RulesOfFolder {
    rules: Gitignore,
    above: Option<Arc<RulesOfFolder>>,
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
        if self.seen.contains(&named) {
            return None;
        }
        let home = Home::of(named.clone());
        let rules = self.above(&home);
        let mut files = Vec::new();
        // Not by calls in calls: folders may stand deep in each other.
        let mut waiting = vec![Folder {
            shown: folder.to_owned(),
            place: named.clone(),
            real: named,
            depth: 0,
            rules,
        }];
        let mut linked = Vec::new();
        // A folder has its own name, unless only links lead there.
        while let Some(folder) = waiting.pop().or_else(|| linked.pop()) {
            if self.seen.insert(folder.real.clone()) {
                let mut found = Found {
                    files: &mut files,
                    folders: &mut waiting,
                    linked: &mut linked,
                };
                self.look_into(folder, &home, &mut found, problems);
            }
        }
        files.sort_by_cached_key(|file| text::natural(file));
        Some(files)
    }

    fn look_into(
        &mut self,
        mut folder: Folder,
        home: &Home,
        found: &mut Found<'_>,
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
        let rules = self.of_folder(&folder.place, std::mem::take(&mut folder.rules));
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
                found.files.push(path);
            } else if self.left_out.as_ref() != Some(&real) && !self.seen.contains(&real) {
                let folders = if is_link {
                    &mut *found.linked
                } else {
                    &mut *found.folders
                };
                folders.push(Folder {
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
    let mut next = &rules.nearest;
    while let Some(of_folder) = next {
        match of_folder.rules.matched(place, is_folder) {
            Match::Ignore(_) => return true,
            Match::Whitelist(_) => return false,
            Match::None => next = &of_folder.above,
        }
    }
    false
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

impl Walk {
    /// The rules from the root of the repository down to above the folder that was named.
    fn above(&mut self, home: &Home) -> Rules {
        let Some(repository) = &home.repository else {
            return Rules::default();
        };
        let mut between: Vec<&Path> = home.named.ancestors().skip(1).collect();
        between.retain(|up| up.starts_with(repository));
        let mut rules = Rules::default();
        for up in between.into_iter().rev() {
            rules = self.of_folder(up, rules);
        }
        rules
    }

    /// The rules that hold in a folder, where those above it are known.
    fn of_folder(&mut self, folder: &Path, above: Rules) -> Rules {
        let mut rules = above;
        let git = folder.join(".git");
        if disk::exists(&git) {
            // A repository of its own: those of the outer one end here.
            rules = Rules {
                in_repository: true,
                nearest: None,
            };
            if let Some(exclude) = exclude(&git) {
                rules.nearest = self.with_file(&exclude, folder, None);
            }
        }
        if rules.in_repository {
            let above = rules.nearest.take();
            rules.nearest = self.with_file(&folder.join(".gitignore"), folder, above);
        }
        rules
    }

    /// The rules with those of a file. Git does not follow a link there, and neither does this.
    fn with_file(
        &mut self,
        file: &Path,
        folder: &Path,
        above: Option<Arc<RulesOfFolder>>,
    ) -> Option<Arc<RulesOfFolder>> {
        if disk::is_link(file) || !disk::exists(file) {
            return above;
        }
        match self.rules_in(file, folder) {
            Ok(rules) if !rules.is_empty() => Some(Arc::new(RulesOfFolder { rules, above })),
            Ok(_) => above,
            Err(why) => {
                let PassedOver {
                    not_obeyed,
                    more_not_obeyed,
                    ..
                } = &mut self.passed_over;
                if not_obeyed.is_some() {
                    one_more(more_not_obeyed);
                } else {
                    let file = file.display();
                    *not_obeyed = Some(format!("{file}: these rules of git are not obeyed: {why}"));
                }
                above
            }
        }
    }

    /// The rules in a file, or why they are none that can be used.
    fn rules_in(&mut self, file: &Path, folder: &Path) -> Result<Gitignore, String> {
        let left = MOST_RULES.saturating_sub(self.rule_bytes);
        let all_read = || format!("one run reads {MOST_RULES} bytes of such rules at most");
        if left == 0 {
            return Err(all_read());
        }
        let bytes = disk::read(file, LARGEST_RULES).map_err(|error| match error {
            FileError::TooLarge { .. } => format!("the file has more than {LARGEST_RULES} bytes"),
            FileError::NotOrdinary { found } => format!("this is {found}, and no ordinary file"),
            error => error.to_string(),
        })?;
        let size = bytes.len() as u64;
        self.rule_bytes = self.rule_bytes.saturating_add(size);
        if size > left {
            return Err(all_read());
        }
        let mut builder = GitignoreBuilder::new(folder);
        for line in String::from_utf8_lossy(&bytes).lines() {
            // Each that is no pattern names nothing, to git as well.
            let _ = builder.add_line(None, line);
        }
        let too_much = "together they take more memory than rules may; shorten them";
        builder.build().map_err(|_| too_much.to_owned())
    }
}
