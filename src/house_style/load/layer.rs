//! One house style file laid over the style it extends.

use super::super::fields::{Fields, word};
use super::super::own;
use super::super::style_file::StyleFile;
use super::super::values::{Placed, described, entries, number};
use super::super::words::FILE;
use super::lengths;
use super::reach::Reach;
use crate::ground::text::meant;
use crate::rules::{self, Setting};
use crate::style::{Gate, HouseRule, LEVEL_WORDS, Origin, Style};
use crate::voicing::Technique;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// One file being laid over a style.
pub(super) struct Layer<'p, 't> {
    pub(super) style_file: &'p StyleFile<'t>,
    /// The name of the style, when it comes with the program.
    pub(super) shipped: Option<&'static str>,
    pub(super) folder: &'p Path,
    /// How far its paths may lead.
    pub(super) reach: &'p Reach,
}

impl Layer<'_, '_> {
    pub(super) fn origin(&self, at: &Range<usize>) -> Origin {
        match self.shipped {
            Some(name) => Origin::Shipped(name.to_owned()),
            None => Origin::File {
                path: self.style_file.path.to_owned(),
                line: self.style_file.line(at),
            },
        }
    }

    fn mark(&self, style: &mut Style, name: &str, at: &Range<usize>) {
        style.origins.insert(name.to_owned(), self.origin(at));
    }

    pub(super) fn lay_over(&self, style: &mut Style) {
        let text = self.style_file.text.clone();
        let table = match DeTable::parse(&text) {
            Ok(table) => table,
            Err(error) => {
                self.style_file.no_toml(&error);
                return;
            }
        };
        lengths::check(self.style_file, table.get_ref());
        let file = Fields::read(self.style_file, &FILE, table.get_ref(), 0..0);
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
        // The file's own parts come before those of the style it extends.
        let parts = self.parts(&file, style);
        style.parts.splice(0..0, parts);
        for rule in own::read(self.style_file, &file, style, &|at| self.origin(at)) {
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

    pub(super) fn technique(&self, said: &Placed<String>) -> Option<String> {
        match Technique::read(&said.value) {
            Ok(technique) => Some(technique.name().to_owned()),
            Err(unknown) => {
                self.style_file.wrong(
                    said.at.clone(),
                    format!("`{}` is not a technique that chartproof knows", said.value),
                    unknown.help(),
                );
                None
            }
        }
    }

    /// Whether a rule is called so; if not, that is a mistake.
    pub(super) fn is_rule(&self, name: &Placed<String>, style: &Style) -> bool {
        let known = rules::is_known(style, &name.value);
        if !known {
            let own = style.own.iter().map(|r| r.name);
            self.style_file.wrong(
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
            if let Some(level) = word(self.style_file, &name.value, value, &LEVEL_WORDS) {
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
                self.style_file.wrong(
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
                self.style_file.wrong(
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
                    self.style_file.wrong(
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
                    _ => self.style_file.wrong(
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

#[cfg(test)]
mod tests {
    use crate::house_style::read_text;
    use crate::style::Origin;
    use std::path::Path;

    #[test]
    fn every_value_remembers_its_line() {
        let text = "counterpoint = true\ntechnique = 'Drop 2'\n[levels]\nwide-gap = 'off'\n";
        let style = read_text(Path::new("x.toml"), text).unwrap();
        let line = |name: &str| match style.origin(name) {
            Origin::File { line, .. } => line,
            other => panic!("{name}: {other}"),
        };
        assert_eq!(
            ["counterpoint", "technique", "levels.wide-gap"].map(line),
            [1, 2, 4]
        );
        assert_eq!(style.technique.as_deref(), Some("drop 2"));
    }

    #[test]
    fn numbers_below_nought_are_refused() {
        let text = "[settings.wide-gap]\nsemitones = -1\n";
        let error = read_text(Path::new("x.toml"), text)
            .map(|_| ())
            .unwrap_err();
        assert!(
            error.to_string().contains("a number of 0 or more"),
            "{error}"
        );
    }
}
