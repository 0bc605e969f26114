//! The printed table of the names, signs and functions of conditions.

use super::kinds::Kind;
use super::names::{OF_A_NOTE, Scope};
use super::vocabulary::{ARTICULATIONS, DYNAMICS, FUNCTIONS, SIGNS};
use crate::ground::instrument::catalogue;
use std::fmt::Write as _;

/// Width of a line, and of the column of words.
const WIDTH: usize = 96;

const EXAMPLE: &str = r#"[[rule]]
name = "high-and-soft"
scope = "note"
when = "instrument == 'trumpet' && written > pitch('A5') && dynamic < f"
message = "{part} has {written} ({dynamic}); this high, play f or louder"
fix = "octave down"
"#;

/// All that conditions and messages of a house's own rules may speak of.
pub fn words() -> String {
    let mut out = String::new();
    paragraph(
        &mut out,
        "",
        "A rule of your own stands under [[rule]] in a house style. Its `when` says in the Common \
         Expression Language, an open standard, when something is wrong; the values in its `message` \
         stand in { }:",
    );
    out.push('\n');
    for line in EXAMPLE.lines() {
        let _ = writeln!(out, "    {line}");
    }
    out.push('\n');
    paragraph(
        &mut out,
        "",
        "A pitch is compared with pitch('A5') or with another pitch: higher is more. A text stands in \
         quotation marks. A beat is a unit of the meter's lower figure.",
    );
    for (word, scope) in Scope::WORDS {
        let _ = writeln!(out, "\nscope = \"{word}\"");
        paragraph(&mut out, "  ", scope.about());
        let _ = writeln!(out);
        for entry in scope.entries() {
            if entry.kind == Kind::Note {
                row(&mut out, entry.word, "a note", entry.about);
            } else {
                row(&mut out, entry.word, entry.kind.described(), entry.about);
            }
        }
        if scope == Scope::Step {
            let names: Vec<&str> = OF_A_NOTE.iter().map(|e| e.word).collect();
            paragraph(
                &mut out,
                "  ",
                &format!("\nbehind the dot of from. and to.: {}", names.join(", ")),
            );
        }
    }
    let _ = writeln!(out, "\nsigns");
    for (sign, about) in SIGNS {
        row(&mut out, sign, "", about);
    }
    let _ = writeln!(out, "\nwhat can be asked");
    for (_, example, about) in FUNCTIONS {
        let _ = writeln!(out, "  {example:<34}{about}");
    }
    let _ = writeln!(out, "\nwords");
    let dynamics: Vec<&str> = DYNAMICS.iter().map(|(w, _)| *w).collect();
    list(&mut out, "dynamics", &dynamics);
    list(&mut out, "articulations", &ARTICULATIONS);
    let families: Vec<&str> = catalogue()
        .families
        .iter()
        .map(|f| f.key.as_str())
        .collect();
    list(&mut out, "families", &families);
    out
}

fn list(out: &mut String, name: &str, words: &[&str]) {
    paragraph(out, "  ", &format!("{name}: {}", words.join(", ")));
}

fn row(out: &mut String, word: &str, kind: &str, about: &str) {
    let about = if kind.is_empty() {
        about.to_owned()
    } else {
        format!("{kind}: {about}")
    };
    let head = format!("  {word:<16}");
    let indent = " ".repeat(18);
    wrapped(out, &head, &indent, &about);
}

fn paragraph(out: &mut String, indent: &str, text: &str) {
    wrapped(out, indent, indent, text);
}

fn wrapped(out: &mut String, first: &str, indent: &str, text: &str) {
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.len() + 1 + word.len() > WIDTH {
            let _ = writeln!(out, "{line}");
            indent.clone_into(&mut line);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{line}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_of_every_scope_is_in_the_table() {
        let text = words();
        for (_, scope) in Scope::WORDS {
            for entry in scope.entries() {
                assert!(
                    text.contains(&format!("\n  {} ", entry.word)),
                    "{}",
                    entry.word
                );
            }
        }
        // Families are those of rules/instruments.toml, which may grow.
        let (text, families) = text.split_once("  families: ").unwrap();
        for family in &catalogue().families {
            assert!(families.contains(family.key.as_str()), "{families}");
        }
        insta::assert_snapshot!("words", text);
    }
}
