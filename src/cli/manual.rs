//! `chartproof manual`: man pages, from the same definitions as the help.

use super::write_out::{complain, to_stdout};
use super::{Arguments, CLEAN, UNUSABLE};
use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Arg, Args, Command, CommandFactory};
use clap_mangen::Man;
use std::ffi::OsStr;

/// Prints the man page of the program or of one of its commands
///
/// To be kept where `man` looks: `chartproof manual > FOLDER/man1/chartproof.1`, `chartproof manual
/// proof > FOLDER/man1/chartproof-proof.1`.
///
/// Exit code: 0, or 2 when there is no such command.
#[derive(Debug, Args)]
pub(super) struct Manual {
    /// The command; without it the page of the whole program
    #[arg(value_name = "COMMAND", value_parser = CommandName)]
    command: Option<String>,
}

/// The name of one of the commands.
#[derive(Clone, Debug)]
struct CommandName;

impl TypedValueParser for CommandName {
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
        let all = super::Command::NAMES.into_iter().map(PossibleValue::new);
        Some(Box::new(all))
    }
}

impl Manual {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let mut page = Vec::new();
        let rendered = match self.command {
            None => Man::new(Arguments::command()).render(&mut page),
            Some(name) => of_command(&name).map_or(Ok(()), |man| man.render(&mut page)),
        };
        match rendered
            .map_err(|e| e.to_string())
            .and_then(|()| to_stdout(&page))
        {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }
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
