//! `chartproof manual`: man pages, from the same definitions as the help, and pages on subjects that
//! are no command.

use super::write_out::{bytes_to_stdout, complain};
use super::{Arguments, CLEAN, UNUSABLE};
use crate::file_text::Limits;
use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Arg, Args, Command, CommandFactory};
use clap_mangen::Man;
use std::ffi::OsStr;

/// Prints a page of the manual: of a command, or on a subject
///
/// Subjects are `grid` (the typed passage), `house-style` (rules of your own, findings that are
/// meant), `class` (homework), `library` (many scores) and `safety` (files from elsewhere, limits). Their
/// pages are plain text. The page of a command, and of the program, is a man page: `chartproof manual >
/// FOLDER/man1/chartproof.1`, `chartproof manual proof > FOLDER/man1/chartproof-proof.1`.
///
/// Exit code: 0, or 2 when there is no such page.
#[derive(Debug, Args)]
pub(super) struct Manual {
    /// A command or a subject; without it, the man page of the program
    #[arg(value_name = "PAGE", value_parser = PageName)]
    page: Option<String>,
}

/// The pages on subjects, each with its text.
const SUBJECTS: [(&str, &str); 5] = [
    ("grid", include_str!("grid.txt")),
    ("house-style", include_str!("house-style.txt")),
    ("class", include_str!("class.txt")),
    ("library", include_str!("library.txt")),
    ("safety", include_str!("safety.txt")),
];

/// The name of a command or of a subject.
#[derive(Clone, Debug)]
struct PageName;

impl TypedValueParser for PageName {
    type Value = String;

    fn parse_ref(
        &self,
        command: &Command,
        argument: Option<&Arg>,
        value: &OsStr,
    ) -> Result<String, clap::Error> {
        let names: Vec<PossibleValue> = self.possible_values().into_iter().flatten().collect();
        clap::builder::PossibleValuesParser::new(names).parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        let subjects = SUBJECTS.into_iter().map(|(name, _)| name);
        let all = super::Command::NAMES.into_iter().chain(subjects);
        let all = all.map(PossibleValue::new);
        Some(Box::new(all))
    }
}

impl Manual {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let mut page = Vec::new();
        let rendered = match self.page.as_deref() {
            None => Man::new(Arguments::command()).render(&mut page),
            Some(name) => match on_subject(name) {
                Some(text) => {
                    page = text.into_bytes();
                    Ok(())
                }
                None => of_command(name).map_or(Ok(()), |man| man.render(&mut page)),
            },
        };
        match rendered
            .map_err(|e| e.to_string())
            .and_then(|()| bytes_to_stdout(&page))
        {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }
}

/// The page on a subject; the tables in it are made from what the program goes by.
fn on_subject(name: &str) -> Option<String> {
    let (_, text) = SUBJECTS.into_iter().find(|(subject, _)| *subject == name)?;
    Some(text.replace("{limits}", &limits()))
}

/// The limits of reading: name, usual value and unit, one a line.
fn limits() -> String {
    let usual = Limits::USUAL;
    let rows = Limits::NAMES.into_iter().map(|(name, counts)| {
        let value = usual.get(name).unwrap_or_default();
        format!("    {name:<10}{value:>12}  {counts}")
    });
    rows.collect::<Vec<_>>().join("\n")
}

/// The page of one command, under the name `man` finds it by.
fn of_command(name: &str) -> Option<Man> {
    let mut all = Arguments::command();
    all.build();
    let version = all.get_version().unwrap_or_default().to_owned();
    let command = all.find_subcommand(name)?.clone();
    let full = format!("chartproof-{name}");
    Some(Man::new(
        command
            .name(full.clone())
            .display_name(full)
            .version(version),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_on_safety_has_every_limit() {
        let page = on_subject("safety").unwrap();
        for (name, counts) in Limits::NAMES {
            let value = Limits::USUAL.get(name).unwrap().to_string();
            let row = |line: &&str| {
                line.split_whitespace()
                    .eq([name, &value].into_iter().chain(counts.split(' ')))
            };
            assert!(page.lines().any(|l| row(&l)), "{name}\n{page}");
        }
    }

    #[test]
    fn pages_fit_a_terminal_and_no_subject_is_a_command() {
        for (name, text) in SUBJECTS {
            assert!(of_command(name).is_none(), "{name}");
            let widest = text.lines().map(|l| l.chars().count()).max();
            assert!(widest <= Some(110), "{name}: {widest:?} columns");
        }
    }
}
