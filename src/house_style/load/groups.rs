//! The groups of a house style file: parts, passages, scores, accepted findings.

use super::super::fields::Fields;
use super::super::values::Placed;
use super::super::words::{ACCEPTED, PART, PASSAGE, SCORE};
use super::layer::Layer;
use crate::ground::text::{meant, nearest};
use crate::score::FREE;
use crate::style::{
    Accepted, Bars, FilePattern, LONGEST_NAME, NamePattern, PartKind, PartSet, Stretch, Style,
};
use std::path::Path;

/// The longest path of files, in bytes. No system has longer ones.
const LONGEST: usize = 4096;

impl Layer<'_, '_> {
    fn bars(&self, said: &Placed<String>) -> Option<Bars> {
        Bars::read(&said.value)
            .map_err(|error| {
                self.style_file.wrong(
                    said.at.clone(),
                    error.to_string(),
                    "write printed bar numbers and ranges of them, such as \"5\", \"17-32\" or \"1-8, 17-24\"",
                );
            })
            .ok()
    }

    /// The names of parts.
    fn names(&self, said: &Placed<String>) -> NamePattern {
        if said.value.chars().nth(LONGEST_NAME).is_some() {
            self.style_file.wrong(
                said.at.clone(),
                format!("this name is longer than {LONGEST_NAME} characters"),
                "write the name as it is printed in the part",
            );
        }
        NamePattern::new(&said.value)
    }

    /// The key of a section, whatever people call it.
    fn section(&self, said: &Placed<String>, style: &Style) -> Option<String> {
        let book = style.instruments;
        let found = book.section_called(&said.value);
        if found.is_none() {
            self.style_file.wrong(
                said.at.clone(),
                format!("`{}` is not a section that chartproof knows", said.value),
                meant(&said.value, book.sections.iter().map(|s| s.name.as_str())),
            );
        }
        found.map(|s| s.key)
    }

    pub(super) fn parts(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<PartKind> {
        let mut all = Vec::new();
        for (table, at) in file.tables("part") {
            let fields = Fields::read(self.style_file, &PART, table, at);
            let instrument = fields.text("instrument").and_then(|said| {
                let book = style.instruments;
                let found = book
                    .instrument(&said.value)
                    .or_else(|| book.named(&said.value));
                if found.is_none() {
                    self.style_file.wrong(
                        said.at,
                        format!("`{}` is not an instrument that chartproof knows", said.value),
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
                self.style_file.wrong(
                    fields.at.clone(),
                    "this [[part]] says nothing of the parts it names",
                    "add instrument = \"...\", section = \"...\" or seat = 1",
                );
            }
            if let Some(name) = fields.text("name") {
                all.push(PartKind {
                    name: self.names(&name),
                    instrument,
                    section,
                    seat: seat.map(|s| s.value.unsigned_abs() as u8),
                    origin: self.origin(&fields.at),
                });
            }
        }
        all
    }

    pub(super) fn stretches(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<Stretch> {
        let mut all = Vec::new();
        for (table, at) in file.tables("passage") {
            let fields = Fields::read(self.style_file, &PASSAGE, table, at);
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

    fn files(&self, said: &Placed<String>) -> FilePattern {
        if Path::new(&said.value).is_absolute() {
            self.style_file.wrong(
                said.at.clone(),
                format!("`{}` starts at the root of the disk", said.value),
                "write the path from the folder of the house style, so that the folder can be moved",
            );
        }
        let files = FilePattern::new(&said.value, self.folder);
        if files.turns_back() {
            self.style_file.wrong(
                said.at.clone(),
                format!("in `{}` a `..` follows a name", said.value),
                "write `..` only at the start, such as \"../parts/*.xml\"",
            );
        }
        if said.value.len() > LONGEST {
            self.style_file.wrong(
                said.at.clone(),
                format!("this path has more than {LONGEST} characters"),
                "write a path that the disk can have",
            );
        }
        files
    }

    /// The same where the files will be read.
    fn files_within(&self, said: &Placed<String>) -> FilePattern {
        let files = self.files(said).within(self.reach.folder());
        if files.leads_out() {
            let folder = self.reach.folder().unwrap_or(self.folder);
            self.style_file.wrong(
                said.at.clone(),
                format!("`{}` leads out of {}", said.value, folder.display()),
                format!(
                    "keep the files there, or name this style: --style {}",
                    self.style_file.path.display()
                ),
            );
        }
        files
    }

    pub(super) fn sets(&self, file: &Fields<'_, '_>) -> Vec<PartSet> {
        let mut all = Vec::new();
        for (table, at) in file.tables("score") {
            let fields = Fields::read(self.style_file, &SCORE, table, at);
            all.push(PartSet {
                title: fields.text("title").map(|t| t.value),
                files: fields
                    .texts("files")
                    .iter()
                    .map(|said| self.files_within(said))
                    .collect(),
                origin: self.origin(&fields.at),
            });
        }
        all
    }

    pub(super) fn accepted(&self, file: &Fields<'_, '_>, style: &Style) -> Vec<Accepted> {
        let mut all = Vec::new();
        for (table, at) in file.tables("accepted") {
            let fields = Fields::read(self.style_file, &ACCEPTED, table, at);
            let rule = fields.text("rule").filter(|name| self.is_rule(name, style));
            let reason = fields.text("reason");
            let bars = fields.text("bars").and_then(|said| self.bars(&said));
            let file = fields.text("file").map(|said| self.files(&said));
            let parts = fields
                .texts("parts")
                .iter()
                .map(|said| self.names(said))
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
}

#[cfg(test)]
mod tests {
    use crate::house_style::read_text;
    use std::path::Path;

    #[test]
    fn groups_name_sections_and_instruments_by_their_keys() {
        let text = "[[part]]\nname = 'Reed 1'\ninstrument = 'Tpt.'\nsection = 'sax section'\n\
                    [[passage]]\ntechnique = 'Free'\nsection = 'saxophones'\nbars = '1-8'\n\
                    [[passage]]\ntechnique = 'four way close'\n";
        let style = read_text(Path::new("x.toml"), text).unwrap();
        let part = &style.parts[0];
        assert_eq!(part.instrument.as_deref(), Some("trumpet"));
        assert_eq!(part.section.as_deref(), Some("saxes"));
        let techniques: Vec<_> = style
            .stretches
            .iter()
            .map(|s| s.technique.as_deref())
            .collect();
        assert_eq!(techniques, [None, Some("four-way close")]);
        assert_eq!(style.stretches[0].section.as_deref(), Some("saxes"));
    }

    #[test]
    fn sections_that_play_as_one_are_named_as_they_are_printed() {
        for name in ["horns", "brass", "clarinet and saxes", "oboes"] {
            let text = format!("[[part]]\nname = 'Reed 1'\nsection = '{name}'\n");
            let style = read_text(Path::new("x.toml"), &text).unwrap();
            assert_eq!(style.parts[0].section.as_deref(), Some(name));
        }
        let text = "[[part]]\nname = 'Reed 1'\nsection = 'clarinet and kettles'\n";
        assert!(read_text(Path::new("x.toml"), text).is_err());
    }

    #[test]
    fn a_group_of_a_file_comes_before_those_it_extends() {
        let folder = tempfile::tempdir().unwrap();
        let part = |seat: u8| format!("[[part]]\nname = 'Reed *'\nseat = {seat}\n");
        std::fs::write(folder.path().join("base.toml"), part(1)).unwrap();
        let text = format!("extends = './base.toml'\n{}", part(2));
        let style = read_text(&folder.path().join("x.toml"), &text).unwrap();
        let seats: Vec<_> = style.parts.iter().map(|p| p.seat).collect();
        assert_eq!(seats, [Some(2), Some(1)]);
    }
}
