//! A house style file laid over the style it extends. Every mistake is noted with its place, not
//! only the first.

use super::own::{self, HouseRule};
use super::page::{
    Fields, Page, Said, described, entries, meant, nearest, number, plain_table, word,
};
use super::pattern::{Bars, FilePattern, NamePattern};
use super::words::{ACCEPTED, FILE, PART, PASSAGE, SCORE};
use super::{Accepted, Gate, Origin, PartKind, PartSet, Stretch, Style};
use crate::finding::Level;
use crate::ground::instrument::{self, Catalogue, CatalogueError};
use crate::ground::problem::Problem;
use crate::rules::{self, Setting};
use crate::score::FREE;
use crate::voicing::Technique;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// How many files may extend one another.
const LONGEST_CHAIN: usize = 8;

/// The largest house style that is read, in bytes.
const LARGEST: u64 = 4 << 20;

/// Why a house style cannot be used: every mistake in it, in the order they stand in.
#[derive(Clone, Debug, thiserror::Error)]
#[error("{}", mistakes.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
pub struct StyleError {
    /// The mistakes; at least one.
    pub mistakes: Vec<Problem>,
}

pub(super) const LEVELS: [(&str, Option<Level>); 4] = [
    ("off", None),
    ("note", Some(Level::Note)),
    ("warning", Some(Level::Warning)),
    ("error", Some(Level::Error)),
];

/// A style that comes with the program.
pub(super) fn shipped(name: &'static str, text: &str) -> Result<Style, StyleError> {
    let path = PathBuf::from(format!("{name}.toml"));
    let page = Page::new(&path, text);
    let mut style = Style::bare(name);
    Layer {
        page: &page,
        shipped: Some(name),
        folder: Path::new(""),
    }
    .lay_over(&mut style);
    finished(page, style, Vec::new())
}

/// A house style in a file.
pub(super) fn file(path: &Path) -> Result<Style, StyleError> {
    chained(path, &mut Vec::new())
}

/// A house style that stands, or would stand, in a file.
pub(super) fn text(path: &Path, text: &str) -> Result<Style, StyleError> {
    laid(path, text, &mut vec![path.to_owned()])
}

fn chained(path: &Path, chain: &mut Vec<PathBuf>) -> Result<Style, StyleError> {
    let fails = |message: String| StyleError {
        mistakes: vec![
            Problem::whole(path, message)
                .help("name a house style file, or one of the styles chart, homework and choir"),
        ],
    };
    let size = std::fs::metadata(path)
        .map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => fails("there is no such file".to_owned()),
            _ => fails(format!("the house style cannot be read: {e}")),
        })?
        .len();
    if size > LARGEST {
        return Err(fails(format!(
            "the file has {size} bytes, more than the {LARGEST} a house style may have"
        )));
    }
    let bytes =
        std::fs::read(path).map_err(|e| fails(format!("the house style cannot be read: {e}")))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| fails("the house style is not text in UTF-8; save it as UTF-8".to_owned()))?;
    chain.push(path.to_owned());
    laid(path, &text, chain)
}

/// Lays the text over what it extends.
fn laid(path: &Path, text: &str, chain: &mut Vec<PathBuf>) -> Result<Style, StyleError> {
    let page = Page::new(path, text);
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut base_mistakes = Vec::new();
    let mut style = Style::default();
    match DeTable::parse(text) {
        Ok(table) => {
            let extends = entries(table.get_ref()).find(|(name, _)| name.value == "extends");
            if let Some((_, value)) = extends {
                if let DeValue::String(base) = value.get_ref() {
                    match extended(&page, base, &value.span(), folder, chain) {
                        Ok(base) => style = base,
                        Err(mut mistakes) => base_mistakes.append(&mut mistakes),
                    }
                } else {
                    page.wrong(
                        value.span(),
                        format!(
                            "`extends` names a style, found {}",
                            described(value.get_ref())
                        ),
                        "write extends = \"chart\"",
                    );
                }
            }
        }
        Err(error) => {
            page.no_toml(&error);
            return finished(page, style, base_mistakes);
        }
    }
    style.name = path.display().to_string();
    Layer {
        page: &page,
        shipped: None,
        folder,
    }
    .lay_over(&mut style);
    finished(page, style, base_mistakes)
}

fn finished(
    page: Page<'_>,
    style: Style,
    mut base_mistakes: Vec<Problem>,
) -> Result<Style, StyleError> {
    let mut mistakes = page.mistakes();
    mistakes.append(&mut base_mistakes);
    if mistakes.is_empty() {
        Ok(style)
    } else {
        Err(StyleError { mistakes })
    }
}

/// The style that a file extends.
fn extended(
    page: &Page<'_>,
    base: &str,
    at: &Range<usize>,
    folder: &Path,
    chain: &mut Vec<PathBuf>,
) -> Result<Style, Vec<Problem>> {
    if let Some(style) = Style::shipped(base) {
        return Ok(style);
    }
    let is_path = base.contains(['/', '\\'])
        || Path::new(base)
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("toml"));
    if !is_path {
        page.wrong(
            at.clone(),
            format!("no style of the name `{base}` comes with chartproof"),
            meant(base, Style::shipped_names().collect::<Vec<_>>()),
        );
        return Err(Vec::new());
    }
    let path = folder.join(base);
    let same = |a: &Path, b: &Path| {
        a == b
            || std::fs::canonicalize(a)
                .is_ok_and(|a| std::fs::canonicalize(b).is_ok_and(|b| a == b))
    };
    if chain.iter().any(|p| same(p, &path)) || chain.len() >= LONGEST_CHAIN {
        page.wrong(
            at.clone(),
            format!("`{base}` extends this file in turn: neither comes first"),
            "let one of them extend chart, homework or choir",
        );
        return Err(Vec::new());
    }
    if !path.is_file() {
        page.wrong(
            at.clone(),
            format!("there is no file {}", path.display()),
            "write the path from the folder of this file, or one of chart, homework and choir",
        );
        return Err(Vec::new());
    }
    chained(&path, chain).map_err(|e| e.mistakes)
}

/// One file being laid over a style.
struct Layer<'p, 't> {
    page: &'p Page<'t>,
    /// The name of the style, when it comes with the program.
    shipped: Option<&'static str>,
    folder: &'p Path,
}

impl Layer<'_, '_> {
    fn origin(&self, at: &Range<usize>) -> Origin {
        match self.shipped {
            Some(name) => Origin::Shipped(name.to_owned()),
            None => Origin::File {
                path: self.page.path.to_owned(),
                line: self.page.line(at),
            },
        }
    }

    fn mark(&self, style: &mut Style, name: &str, at: &Range<usize>) {
        style.origins.insert(name.to_owned(), self.origin(at));
    }

    fn lay_over(&self, style: &mut Style) {
        let text = self.page.text.clone();
        let table = match DeTable::parse(&text) {
            Ok(table) => table,
            Err(error) => {
                self.page.no_toml(&error);
                return;
            }
        };
        let file = Fields::read(self.page, &FILE, table.get_ref(), 0..0);
        if let Some(about) = file.text("about") {
            self.mark(style, "about", &about.at);
            style.about = about.value;
        }
        if let Some(gate) = file.word("gate", &Gate::WORDS) {
            self.mark(style, "gate", &gate.at);
            style.gate = Some(gate.value);
        }
        if let Some(grade) = file.whole("grade", 0, 6) {
            self.mark(style, "grade", &grade.at);
            style.grade = Some(grade.value.unsigned_abs() as u8);
        }
        if let Some(said) = file.text("technique")
            && let Some(technique) = self.technique(&said)
        {
            self.mark(style, "technique", &said.at);
            style.technique = Some(technique);
        }
        if let Some(flag) = file.flag("only-diminished") {
            self.mark(style, "only-diminished", &flag.at);
            style.only_diminished = flag.value;
        }
        if let Some(flag) = file.flag("counterpoint") {
            self.mark(style, "counterpoint", &flag.at);
            style.counterpoint = flag.value;
        }
        self.instruments(&file, style);
        // What a file says comes before what it extends says.
        let parts = self.parts(&file, style);
        style.parts.splice(0..0, parts);
        for rule in own::read(self.page, &file, style, &|at| self.origin(at)) {
            Self::add_rule(rule, style);
        }
        if let Some((table, _)) = file.table("levels") {
            self.levels(table, style);
        }
        if let Some((table, _)) = file.table("settings") {
            self.settings(table, style);
        }
        let stretches = self.stretches(&file, style);
        style.stretches.splice(0..0, stretches);
        let sets = self.sets(&file);
        style.sets.splice(0..0, sets);
        let accepted = self.accepted(&file, style);
        style.accepted.splice(0..0, accepted);
    }

    /// A rule takes the place of one of its name in what this file extends.
    fn add_rule(rule: HouseRule, style: &mut Style) {
        let key = format!("levels.{}", rule.name);
        style.levels.remove(rule.name);
        style.origins.insert(key, rule.origin.clone());
        let rule = Arc::new(rule);
        match style.own.iter_mut().find(|r| r.name == rule.name) {
            Some(known) => *known = rule,
            None => style.own.push(rule),
        }
    }

    fn technique(&self, said: &Said<String>) -> Option<String> {
        match Technique::read(&said.value) {
            Ok(technique) => Some(technique.name().to_owned()),
            Err(unknown) => {
                self.page.wrong(
                    said.at.clone(),
                    format!("`{}` is no technique chartproof knows", said.value),
                    unknown.help(),
                );
                None
            }
        }
    }

    /// Whether a rule is called so; if not, that is a mistake.
    fn is_rule(&self, name: &Said<String>, style: &Style) -> bool {
        let known = style.has_rule(&name.value);
        if !known {
            let own = style.own.iter().map(|r| r.name);
            self.page.wrong(
                name.at.clone(),
                format!("there is no rule called `{}`", name.value),
                meant(
                    &name.value,
                    rule_names().into_iter().chain(own).collect::<Vec<_>>(),
                ),
            );
        }
        known
    }

    fn levels(&self, table: &DeTable<'_>, style: &mut Style) {
        for (name, value) in entries(table) {
            if !self.is_rule(&name, style) {
                continue;
            }
            if let Some(level) = word(self.page, &name.value, value, &LEVELS) {
                self.mark(style, &format!("levels.{}", name.value), &name.at);
                style.levels.insert(name.value, level.value);
            }
        }
    }

    fn settings(&self, table: &DeTable<'_>, style: &mut Style) {
        for (name, value) in entries(table) {
            if !self.is_rule(&name, style) {
                continue;
            }
            let Some(rule) = rules::named(&name.value) else {
                self.page.wrong(
                    name.at.clone(),
                    format!(
                        "`{}` is a rule of the house's own: it has no numbers to set",
                        name.value
                    ),
                    "change the numbers in its `when`",
                );
                continue;
            };
            let DeValue::Table(numbers) = value.get_ref() else {
                self.page.wrong(
                    value.span(),
                    format!(
                        "the settings of `{}` are a group, found {}",
                        name.value,
                        described(value.get_ref())
                    ),
                    format!(
                        "write [settings.{}] on a line of its own and its numbers under it",
                        name.value
                    ),
                );
                continue;
            };
            for (setting, value) in entries(numbers) {
                if !rule.settings.iter().any(|s| s.name == setting.value) {
                    self.page.wrong(
                        setting.at,
                        format!("`{}` has no setting called `{}`", rule.name, setting.value),
                        no_such_setting(&setting.value, rule.name, rule.settings),
                    );
                    continue;
                }
                let about = rule.settings.iter().find(|s| s.name == setting.value);
                match number(value.get_ref()) {
                    Some(n) if n >= 0.0 => {
                        let key = format!("settings.{}.{}", rule.name, setting.value);
                        self.mark(style, &key, &setting.at);
                        style
                            .settings
                            .entry(rule.name.to_owned())
                            .or_default()
                            .insert(setting.value, n);
                    }
                    _ => self.page.wrong(
                        value.span(),
                        format!(
                            "`{}` is a number of 0 or more ({}), found {}",
                            setting.value,
                            about.map_or("", |s| s.about),
                            described(value.get_ref())
                        ),
                        format!(
                            "write {} = {}",
                            setting.value,
                            about.map_or(0.0, |s| s.default)
                        ),
                    ),
                }
            }
        }
    }

    fn bars(&self, said: &Said<String>) -> Option<Bars> {
        Bars::read(&said.value)
            .map_err(|error| {
                self.page.wrong(
                    said.at.clone(),
                    error.to_string(),
                    "write printed bar numbers and ranges of them, such as \"5\", \"17-32\" or \"1-8, 17-24\"",
                );
            })
            .ok()
    }

    /// The key of a section, whatever people call it.
    fn section(&self, said: &Said<String>, style: &Style) -> Option<String> {
        let book = style.instruments;
        let found = book
            .section(&said.value)
            .or_else(|| book.section_named(&said.value));
        if found.is_none() {
            self.page.wrong(
                said.at.clone(),
                format!("`{}` is no section chartproof knows", said.value),
                meant(&said.value, book.sections.iter().map(|s| s.name.as_str())),
            );
        }
        found.map(|s| s.key.clone())
    }

    fn parts(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<PartKind> {
        let mut all = Vec::new();
        for (table, at) in file.tables("part") {
            let fields = Fields::read(self.page, &PART, table, at);
            let instrument = fields.text("instrument").and_then(|said| {
                let book = style.instruments;
                let found = book
                    .instrument(&said.value)
                    .or_else(|| book.named(&said.value));
                if found.is_none() {
                    self.page.wrong(
                        said.at,
                        format!("`{}` is no instrument chartproof knows", said.value),
                        match nearest(&said.value, book.instruments.iter().map(|i| i.name.as_str()))
                        {
                            Some(near) => format!("did you mean \"{near}\"?"),
                            None => "write it as on a part, such as \"alto saxophone\", or describe it in an [[instrument]]".to_owned(),
                        },
                    );
                }
                found.map(|i| i.key.clone())
            });
            let section = fields
                .text("section")
                .and_then(|said| self.section(&said, style));
            let seat = fields.whole("seat", 1, 12);
            let says = ["instrument", "section", "seat"];
            if says.iter().all(|name| fields.value(name).is_none()) {
                self.page.wrong(
                    fields.at.clone(),
                    "this [[part]] says nothing of the parts it names",
                    "add instrument = \"...\", section = \"...\" or seat = 1",
                );
            }
            if let Some(name) = fields.text("name") {
                all.push(PartKind {
                    name: NamePattern::new(&name.value),
                    instrument,
                    section,
                    seat: seat.map(|s| s.value.unsigned_abs() as u8),
                    origin: self.origin(&fields.at),
                });
            }
        }
        all
    }

    fn stretches(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<Stretch> {
        let mut all = Vec::new();
        for (table, at) in file.tables("passage") {
            let fields = Fields::read(self.page, &PASSAGE, table, at);
            let technique = fields.text("technique").and_then(|said| {
                if said.value.trim().eq_ignore_ascii_case(FREE) {
                    Some(None)
                } else {
                    self.technique(&said).map(Some)
                }
            });
            let section = fields
                .text("section")
                .and_then(|said| self.section(&said, style));
            let bars = fields.text("bars").and_then(|said| self.bars(&said));
            let file = fields.text("file").map(|said| self.files(&said));
            if let Some(technique) = technique {
                all.push(Stretch {
                    technique,
                    section,
                    bars,
                    file,
                    origin: self.origin(&fields.at),
                });
            }
        }
        all
    }

    fn files(&self, said: &Said<String>) -> FilePattern {
        if Path::new(&said.value).is_absolute() {
            self.page.wrong(
                said.at.clone(),
                format!("`{}` starts at the root of the disk", said.value),
                "write the path from the folder of the house style, so that the folder can be moved",
            );
        }
        FilePattern::new(&said.value, self.folder)
    }

    fn sets(&self, file: &Fields<'_, '_>) -> Vec<PartSet> {
        let mut all = Vec::new();
        for (table, at) in file.tables("score") {
            let fields = Fields::read(self.page, &SCORE, table, at);
            all.push(PartSet {
                title: fields.text("title").map(|t| t.value),
                files: fields
                    .texts("files")
                    .iter()
                    .map(|said| self.files(said))
                    .collect(),
                origin: self.origin(&fields.at),
            });
        }
        all
    }

    fn accepted(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<Accepted> {
        let mut all = Vec::new();
        for (table, at) in file.tables("accepted") {
            let fields = Fields::read(self.page, &ACCEPTED, table, at);
            let rule = fields.text("rule").filter(|name| self.is_rule(name, style));
            let reason = fields.text("reason");
            let bars = fields.text("bars").and_then(|said| self.bars(&said));
            let file = fields.text("file").map(|said| self.files(&said));
            let parts = fields
                .texts("parts")
                .iter()
                .map(|said| NamePattern::new(&said.value))
                .collect();
            if let (Some(rule), Some(reason)) = (rule, reason) {
                all.push(Accepted {
                    rule: rule.value,
                    file,
                    bars,
                    parts,
                    reason: reason.value,
                    origin: self.origin(&fields.at),
                });
            }
        }
        all
    }

    /// Instruments and sections: the names an entry may have are those of the shipped ones.
    fn instruments(&self, file: &Fields<'_, '_>, style: &mut Style) {
        let before = style.changes.clone();
        let mut changes = toml::Table::new();
        for list in ["section", "instrument"] {
            let tables = file.tables(list);
            if tables.is_empty() {
                continue;
            }
            let shape = Shape::of(list);
            for (table, at) in tables {
                let Some(mut entry) = self.entry(list, &shape, style.instruments, table, &at)
                else {
                    continue;
                };
                if list == "instrument" {
                    self.add_sources(&mut entry, &shape, &at);
                }
                let slot = changes
                    .entry(list)
                    .or_insert_with(|| toml::Value::Array(Vec::new()));
                if let toml::Value::Array(entries) = slot {
                    entries.push(toml::Value::Table(entry));
                }
                let mut layers = before.clone();
                layers.push(changes.clone());
                match instrument::changed(&layers) {
                    Ok(book) => style.instruments = book,
                    Err(error) => {
                        self.unusable(&error, table, &at);
                        // The others are still looked at.
                        if let Some(toml::Value::Array(entries)) = changes.get_mut(list) {
                            entries.pop();
                        }
                    }
                }
            }
        }
        self.seats(file, style.instruments);
        if !changes.is_empty() {
            style.changes.push(changes);
        }
    }

    /// The seats of sections name instruments there are; they are looked at last, so that a section
    /// may seat an instrument that the same file adds.
    fn seats(&self, file: &Fields<'_, '_>, book: &Catalogue) {
        for (table, _) in file.tables("section") {
            let Some((_, DeValue::Array(lists))) = entries(table)
                .find(|(name, _)| name.value == "seats")
                .map(|(name, value)| (name, value.get_ref()))
            else {
                continue;
            };
            let seats = lists.iter().filter_map(|list| match list.get_ref() {
                DeValue::Array(seats) => Some(seats),
                _ => None,
            });
            for seat in seats.flatten() {
                let DeValue::String(key) = seat.get_ref() else {
                    continue;
                };
                if book.instrument(key).is_none() {
                    self.page.wrong(
                        seat.span(),
                        format!("`{key}` is the key of no instrument"),
                        meant(key, book.instruments.iter().map(|i| i.key.as_str())),
                    );
                }
            }
        }
    }

    fn unusable(&self, error: &CatalogueError, table: &DeTable<'_>, at: &Range<usize>) {
        let group = match error {
            CatalogueError::Pitch { group, .. } | CatalogueError::Order { group, .. } => group,
            CatalogueError::UnknownSection { .. } => "section",
            CatalogueError::NoSource { .. } => "source",
            _ => "key",
        };
        let place = entries(table)
            .find(|(name, _)| name.value == group)
            .map_or_else(|| at.clone(), |(_, value)| value.span());
        self.page.wrong(
            place,
            error.to_string().lines().next().unwrap_or_default(),
            "ranges are written pitch, lowest note first; `chartproof style` prints what is in force",
        );
    }

    /// One entry, its names and kinds checked.
    fn entry(
        &self,
        list: &str,
        shape: &Shape,
        book: &Catalogue,
        table: &DeTable<'_>,
        at: &Range<usize>,
    ) -> Option<toml::Table> {
        let mut sound = true;
        let mut key = None;
        for (name, value) in entries(table) {
            let Some(example) = shape.names.get(&name.value) else {
                sound = false;
                self.page.wrong(
                    name.at,
                    format!("`{}` means nothing under [[{list}]]", name.value),
                    meant(&name.value, shape.names.keys().map(String::as_str)),
                );
                continue;
            };
            if !same_kind(example, value.get_ref()) {
                sound = false;
                self.page.wrong(
                    value.span(),
                    format!(
                        "`{}` is {}, found {}",
                        name.value,
                        in_words(example),
                        described(value.get_ref())
                    ),
                    format!("write {} = {example}", name.value),
                );
            }
            if name.value == "key"
                && let DeValue::String(text) = value.get_ref()
            {
                key = Some(text.to_string());
            }
        }
        let Some(key) = key else {
            self.page.wrong(
                at.clone(),
                format!("this [[{list}]] has no `key`"),
                match list {
                    "section" => "add key = \"saxes\" to change a known section, or a new one",
                    _ => "add key = \"alto-saxophone\" to change a known instrument, or a new one",
                },
            );
            return None;
        };
        let is_known = match list {
            "section" => book.section(&key).is_some(),
            _ => book.instrument(&key).is_some(),
        };
        if !is_known {
            let missing: Vec<&str> = shape
                .always
                .iter()
                .map(String::as_str)
                .filter(|n| *n != "source" && !entries(table).any(|(name, _)| name.value == *n))
                .collect();
            if !missing.is_empty() {
                sound = false;
                let known: Vec<&str> = match list {
                    "section" => book.sections.iter().map(|s| s.key.as_str()).collect(),
                    _ => book.instruments.iter().map(|i| i.key.as_str()).collect(),
                };
                self.page.wrong(
                    at.clone(),
                    format!(
                        "`{key}` is a new {list} and does not say its {}",
                        missing.join(", ")
                    ),
                    match nearest(&key, known) {
                        Some(near) => format!("if you mean the known one, its key is \"{near}\""),
                        None => format!("add {}", missing.join(", ")),
                    },
                );
            }
        }
        if sound { plain_table(table) } else { None }
    }

    /// A value of the house's own comes from the house style, unless it says otherwise.
    fn add_sources(&self, entry: &mut toml::Table, shape: &Shape, at: &Range<usize>) {
        let said = format!("house style, {}", self.origin(at));
        let groups: Vec<String> = shape
            .sources
            .iter()
            .filter(|g| entry.contains_key(*g))
            .cloned()
            .collect();
        let sources = entry
            .entry("source")
            .or_insert_with(|| toml::Value::Table(toml::Table::new()));
        if let toml::Value::Table(sources) = sources {
            for group in groups {
                sources
                    .entry(group)
                    .or_insert_with(|| toml::Value::String(said.clone()));
            }
        }
    }
}

fn rule_names() -> Vec<&'static str> {
    rules::ALL.iter().map(|r| r.name).collect()
}

fn no_such_setting(found: &str, rule: &str, settings: &[Setting]) -> String {
    if settings.is_empty() {
        format!("`{rule}` has no numbers to set; its level is set under [levels]")
    } else {
        meant(found, settings.iter().map(|s| s.name))
    }
}

/// What entries of the shipped instruments or sections look like.
pub(super) struct Shape {
    /// Every name with a value it has somewhere.
    pub(super) names: BTreeMap<String, toml::Value>,
    /// The names that every entry has.
    pub(super) always: Vec<String>,
    /// The groups of values that state a source.
    sources: Vec<String>,
}

impl Shape {
    pub(super) fn of(list: &str) -> Self {
        let shipped = instrument::shipped_table();
        let entries: Vec<&toml::Table> = shipped
            .get(list)
            .and_then(toml::Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(toml::Value::as_table)
            .collect();
        let mut names: BTreeMap<String, toml::Value> = BTreeMap::new();
        let mut sources = Vec::new();
        for (name, value) in entries.iter().copied().flatten() {
            // An empty list shows nothing of what may stand in it.
            let shows = |v: &toml::Value| v.as_array().is_none_or(|a| !a.is_empty());
            let slot = names.entry(name.clone()).or_insert_with(|| value.clone());
            if !shows(slot) {
                slot.clone_from(value);
            }
            if name == "source" {
                sources.extend(
                    value
                        .as_table()
                        .into_iter()
                        .flat_map(toml::Table::keys)
                        .cloned(),
                );
            }
        }
        sources.sort();
        sources.dedup();
        let always = names
            .keys()
            .filter(|name| entries.iter().all(|e| e.contains_key(*name)))
            // What the loader can do without.
            .filter(|name| !["sounds", "seats"].contains(&name.as_str()))
            .cloned()
            .collect();
        Self {
            names,
            always,
            sources,
        }
    }
}

/// Whether a value is of the kind of an example.
fn same_kind(example: &toml::Value, value: &DeValue<'_>) -> bool {
    match (example, value) {
        (toml::Value::Array(items), DeValue::Array(found)) => items
            .first()
            .is_none_or(|example| found.iter().all(|item| same_kind(example, item.get_ref()))),
        (toml::Value::String(_), DeValue::String(_))
        | (toml::Value::Integer(_), DeValue::Integer(_))
        | (toml::Value::Float(_), DeValue::Float(_) | DeValue::Integer(_))
        | (toml::Value::Boolean(_), DeValue::Boolean(_))
        | (toml::Value::Table(_), DeValue::Table(_)) => true,
        _ => false,
    }
}

fn in_words(example: &toml::Value) -> &'static str {
    match example {
        toml::Value::String(_) => "a text in quotation marks",
        toml::Value::Integer(_) | toml::Value::Float(_) => "a number",
        toml::Value::Boolean(_) => "either true or false",
        toml::Value::Array(items) if items.first().is_some_and(toml::Value::is_str) => {
            "a list of texts"
        }
        toml::Value::Array(_) => "a list",
        _ => "a group of values",
    }
}
