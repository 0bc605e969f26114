//! Prints the style in force as a complete house style file. Each value has its description and its
//! origin beside it. Reading the print gives the same style.

use super::words::{self, FILE, GROUPS, Group};
use crate::ground::shown::{printable, shown_lines, shown_toml};
use crate::rules;
use crate::score::FREE;
use crate::style::{FilePattern, NamePattern, Origin, Style};
use std::fmt::Write as _;

/// Where the comment behind a value starts.
const COMMENT: usize = 40;

/// Prints a style. The text is itself a house style with the same values, in the folder of the file
/// it came from.
pub fn print(style: &Style) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "# The house style in force: {}. Behind each value stands where it comes from.\n",
        printable(&style.name)
    );
    about(&mut out, "extends");
    value(&mut out, "extends", &text(&style.shipped), None);
    single(&mut out, style, "about", Some(text(&style.about)));
    single(&mut out, style, "gate", style.gate.map(|g| text(g.word())));
    single(&mut out, style, "grade", style.grade.map(|g| g.to_string()));
    single(
        &mut out,
        style,
        "technique",
        style.technique.as_deref().map(text),
    );
    single(
        &mut out,
        style,
        "only-diminished",
        Some(style.only_diminished.to_string()),
    );
    single(
        &mut out,
        style,
        "counterpoint",
        Some(style.counterpoint.to_string()),
    );
    levels(&mut out, style);
    settings(&mut out, style);
    for group in GROUPS {
        let entries = entries(style, group);
        let _ = writeln!(out, "# {}", group.about);
        if entries.is_empty() {
            let _ = writeln!(out, "# None; one looks like this:\n#");
            let _ = writeln!(out, "# [[{}]]", group.name);
            for key in group.keys {
                let _ = writeln!(
                    out,
                    "# {:<w$}# {}",
                    format!("{} = {}", key.name, key.kind.example()),
                    key.about,
                    w = COMMENT - 2
                );
            }
            out.push('\n');
        }
        for (origin, lines) in entries {
            let _ = writeln!(
                out,
                "[[{}]]  # {}",
                group.name,
                printable(&origin.to_string())
            );
            for (name, text) in lines {
                value(&mut out, name, &text, None);
            }
            out.push('\n');
        }
    }
    instruments(&mut out, style);
    while out.ends_with("\n\n") {
        out.pop();
    }
    out
}

/// A text in quotation marks as TOML has it; what may not be shown is escaped. Lines stay lines where
/// none of them can be taken for another one of the log.
fn text(text: &str) -> String {
    let level = |line: &str| {
        ["error", "warning", "note"]
            .iter()
            .any(|l| line.starts_with(l))
    };
    if text == shown_lines(text) && !text.lines().any(level) {
        toml::Value::String(text.to_owned()).to_string()
    } else {
        shown_toml(text)
    }
}

/// The name of a value, in quotation marks where it needs them.
fn key(name: &str) -> String {
    let bare = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_');
    if !name.is_empty() && name.bytes().all(bare) {
        name.to_owned()
    } else {
        shown_toml(name)
    }
}

/// A value as it was given, with its texts as `text` has them.
fn any(value: &toml::Value) -> String {
    match value {
        toml::Value::String(inside) => text(inside),
        toml::Value::Array(items) => {
            let all: Vec<String> = items.iter().map(any).collect();
            format!("[{}]", all.join(", "))
        }
        toml::Value::Table(entries) => {
            let all = entries
                .iter()
                .map(|(name, set)| format!("{} = {}", key(name), any(set)));
            format!("{{ {} }}", all.collect::<Vec<_>>().join(", "))
        }
        other => other.to_string(),
    }
}

fn texts<'a>(items: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<String> = items.map(text).collect();
    format!("[{}]", all.join(", "))
}

fn about(out: &mut String, name: &str) {
    if let Some(key) = FILE.key(name) {
        let _ = writeln!(out, "# {}", key.about);
    }
}

/// One value, and behind it where it comes from.
fn value(out: &mut String, name: &str, value: &str, origin: Option<&Origin>) {
    let line = format!("{name} = {value}");
    let _ = match origin {
        // The name of a file cannot end the comment that it stands in. A text over several lines leaves
        // no place behind it.
        Some(origin) if !line.contains('\n') => {
            writeln!(out, "{line:<COMMENT$}# {}", printable(&origin.to_string()))
        }
        _ => writeln!(out, "{line}"),
    };
}

fn single(out: &mut String, style: &Style, name: &str, set: Option<String>) {
    out.push('\n');
    about(out, name);
    if let Some(set) = set {
        value(out, name, &set, Some(&style.origin(name)));
        return;
    }
    let example = FILE
        .key(name)
        .map_or_else(String::new, |k| k.kind.example());
    let line = format!("# {name} = {example}");
    let _ = writeln!(out, "{line:<COMMENT$}# not set");
}

fn levels(out: &mut String, style: &Style) {
    out.push('\n');
    about(out, "levels");
    let _ = writeln!(out, "[levels]");
    for rule in rules::ALL {
        let _ = writeln!(out, "# {}", rule.asks);
        let level = rule.level_in(style).map_or("off", |l| l.word());
        let origin = style.origin(&format!("levels.{}", rule.name));
        value(out, rule.name, &text(level), Some(&origin));
    }
    for rule in &style.own {
        let level = style
            .level(rule.name, rule.level)
            .map_or("off", |l| l.word());
        let origin = style.origin(&format!("levels.{}", rule.name));
        value(out, rule.name, &text(level), Some(&origin));
    }
    out.push('\n');
}

fn settings(out: &mut String, style: &Style) {
    about(out, "settings");
    for rule in rules::ALL.iter().filter(|r| !r.settings.is_empty()) {
        let _ = writeln!(out, "[settings.{}]", rule.name);
        for setting in rule.settings {
            let number = style
                .setting(rule.name, setting.name)
                .unwrap_or(setting.default);
            let own = format!("settings.{}.{}", rule.name, setting.name);
            let by_grade = setting.name == "grade" && style.grade.is_some();
            let origin = if by_grade && !style.origins.contains_key(&own) {
                style.origin("grade")
            } else {
                style.origin(&own)
            };
            let _ = writeln!(out, "# {}", setting.about);
            value(out, setting.name, &number.to_string(), Some(&origin));
        }
        out.push('\n');
    }
}

type Lines = Vec<(&'static str, String)>;

/// The entries of a group of two brackets.
fn entries<'s>(style: &'s Style, group: &Group) -> Vec<(&'s Origin, Lines)> {
    let mut all: Vec<(&Origin, Lines)> = Vec::new();
    let file = |f: &Option<FilePattern>| f.as_ref().map(|f| text(f.as_str()));
    match group.name {
        name if name == words::PART.name => all.extend(style.parts.iter().map(|p| {
            let lines = [
                ("name", Some(text(p.name.as_str()))),
                ("instrument", p.instrument.as_deref().map(text)),
                ("section", p.section.as_deref().map(text)),
                ("seat", p.seat.map(|s| s.to_string())),
            ];
            (&p.origin, given(lines))
        })),
        name if name == words::PASSAGE.name => all.extend(style.stretches.iter().map(|s| {
            let technique = s.technique.as_deref().unwrap_or(FREE);
            let lines = [
                ("technique", Some(text(technique))),
                ("section", s.section.as_deref().map(text)),
                ("bars", s.bars.as_ref().map(|b| text(&b.to_string()))),
                ("file", file(&s.file)),
            ];
            (&s.origin, given(lines))
        })),
        name if name == words::SCORE.name => all.extend(style.sets.iter().map(|s| {
            let files = texts(s.files.iter().map(FilePattern::as_str));
            let lines = [
                ("title", s.title.as_deref().map(text)),
                ("files", Some(files)),
            ];
            (&s.origin, given(lines))
        })),
        name if name == words::RULE.name => all.extend(style.own.iter().map(|r| {
            let fix = texts(r.fix.iter().map(|(text, _)| text.as_str()));
            let lines = [
                ("name", Some(text(r.name))),
                ("scope", Some(text(r.scope.word()))),
                ("when", Some(text(&r.when))),
                ("message", Some(text(&r.said))),
                ("level", Some(text(r.level.map_or("off", |l| l.word())))),
                ("why", r.why.as_deref().map(text)),
                ("source", r.source.map(text)),
                ("voice", r.voice.as_ref().map(|(words, _)| text(words))),
                ("fix", (!r.fix.is_empty()).then_some(fix)),
            ];
            (&r.origin, given(lines))
        })),
        _ => all.extend(style.accepted.iter().map(|a| {
            let parts = texts(a.parts.iter().map(NamePattern::as_str));
            let lines = [
                ("rule", Some(text(&a.rule))),
                ("reason", Some(text(&a.reason))),
                ("file", file(&a.file)),
                ("bars", a.bars.as_ref().map(|b| text(&b.to_string()))),
                ("parts", (!a.parts.is_empty()).then_some(parts)),
            ];
            (&a.origin, given(lines))
        })),
    }
    all
}

fn given<const N: usize>(lines: [(&'static str, Option<String>); N]) -> Lines {
    lines
        .into_iter()
        .filter_map(|(name, text)| text.map(|t| (name, t)))
        .collect()
}

/// The instruments and sections that the house changes, as it gives them.
fn instruments(out: &mut String, style: &Style) {
    let _ = writeln!(
        out,
        "# {} instruments in {} sections are known; what this style changes or adds:",
        style.instruments.instruments.len(),
        style.instruments.sections.len()
    );
    if style.changes.is_empty() {
        let _ = writeln!(
            out,
            "# Nothing; one looks like this (written pitch, lowest note first):\n#\n\
             # [[instrument]]\n# key = \"trumpet\"\n# professional = [\"F#3\", \"C6\"]"
        );
    }
    for layer in &style.changes {
        for (list, entries) in layer {
            for entry in entries.as_array().into_iter().flatten() {
                let Some(entry) = entry.as_table() else {
                    continue;
                };
                let _ = writeln!(out, "[[{list}]]");
                for (name, set) in entry {
                    let _ = writeln!(out, "{} = {}", key(name), any(set));
                }
                out.push('\n');
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house_style::read_text;
    use std::path::Path;

    #[test]
    fn a_value_is_printed_with_its_place_and_an_unset_one_as_an_example() {
        let style = read_text(Path::new("x.toml"), "grade = 3\n").unwrap();
        let printed = print(&style);
        let line = |start: &str| {
            let found = printed.lines().find(|l| l.starts_with(start));
            found.map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "))
        };
        assert_eq!(line("grade = "), Some("grade = 3 # x.toml:1".to_owned()));
        assert_eq!(
            line("# technique = "),
            Some("# technique = \"drop 2\" # not set".to_owned())
        );
    }

    #[test]
    fn a_text_over_several_lines_keeps_its_place_to_itself() {
        let mut out = String::new();
        value(&mut out, "about", &text("one\ntwo"), Some(&Origin::Rule));
        assert!(out.contains("two"), "{out}");
        assert!(!out.contains('#'), "{out}");
        assert_eq!(
            out.parse::<toml::Table>().unwrap()["about"].as_str(),
            Some("one\ntwo")
        );
    }

    #[test]
    fn a_text_that_may_not_be_shown_is_printed_on_one_line_and_reads_as_it_was() {
        for said in [
            "one\nerror[two]",
            "a\n::b",
            "a\u{202e}b",
            "##vso[x] \"\\",
            "o\u{301}\u{e0041}",
            "plain",
        ] {
            let mut out = String::new();
            let place = Origin::Rule;
            value(&mut out, "about", &any(&said.into()), Some(&place));
            assert_eq!(out.lines().count(), 1, "{out}");
            assert_eq!(out, crate::ground::shown::shown_lines(&out));
            assert_eq!(
                out.parse::<toml::Table>().unwrap()["about"].as_str(),
                Some(said)
            );
        }
    }
}
