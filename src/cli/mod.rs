//! The commands: arguments in, reports and exit codes out.

mod analysis;
mod class;
mod columns;
mod copies;
mod correct;
mod git;
mod inputs;
mod ledger;
mod manual;
mod mark;
mod output_folder;
mod proof;
mod proof_scores;
mod replacing;
mod report_format;
mod rulebook;
mod scores;
mod shell;
mod since;
mod style;
mod verbosity;
mod voice;
mod voice_sheet;
mod write_out;

use crate::ground::shown::printable;
use clap::{Parser, Subcommand};
use std::io::{self, Write};
use std::process::ExitCode;
use write_out::complain;

/// Nothing at or above the gate.
const CLEAN: u8 = 0;
/// Something at or above the gate.
const FOUND: u8 = 1;
/// A file or an option could not be used; clap ends with the same code.
const UNUSABLE: u8 = 2;

/// Reads section parts vertically: rebuilds every sonority at sounding pitch, checks it against
/// the chord symbol and the voicing technique, and says what to write instead.
#[derive(Debug, Parser)]
#[command(name = "chartproof", version, max_term_width = 100)]
struct Arguments {
    #[command(flatten)]
    verbosity: verbosity::Verbosity,

    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Proof(proof::Proof),
    Correct(correct::Correct),
    Mark(mark::Mark),
    Voice(voice::Voice),
    Analysis(analysis::Analysis),
    Rulebook(rulebook::Rulebook),
    Style(style::Style),
    Ledger(ledger::Ledger),
    Shell(shell::Shell),
    Manual(manual::Manual),
}

impl Command {
    /// Their names.
    const NAMES: [&'static str; 10] = [
        "proof", "correct", "mark", "voice", "analysis", "rulebook", "style", "ledger", "shell",
        "manual",
    ];
}

/// Runs the program on the process's arguments.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return ExitCode::from(answer(error)),
    };
    arguments.verbosity.set();
    ExitCode::from(match arguments.command {
        Command::Proof(proof) => proof.run(),
        Command::Correct(correct) => correct.run(),
        Command::Mark(mark) => mark.run(),
        Command::Voice(voice) => voice.run(),
        Command::Analysis(analysis) => analysis.run(),
        Command::Rulebook(rulebook) => rulebook.run(),
        Command::Style(style) => style.run(),
        Command::Ledger(ledger) => ledger.run(),
        Command::Shell(shell) => shell.run(),
        Command::Manual(manual) => manual.run(),
    })
}

/// Prints help, the version, or what is wrong with the arguments; returns the exit code.
fn answer(error: clap::Error) -> u8 {
    let given: Vec<String> = std::env::args_os()
        .map(|a| a.to_string_lossy().into_owned())
        .collect();
    let safe: Vec<String> = given.iter().map(|a| printable(a)).collect();
    // The sentence repeats arguments, and the name of a file may be one. It is made once more, from
    // what may be shown.
    let again = (safe != given).then(|| Arguments::try_parse_from(safe));
    let error = match again {
        None => error,
        Some(Err(error)) => error,
        Some(Ok(_)) => {
            complain("an argument holds characters that cannot be shown: check it");
            return UNUSABLE;
        }
    };
    let code = u8::try_from(error.exit_code()).unwrap_or(UNUSABLE);
    let printed = error.print().and_then(|()| io::stdout().flush());
    match printed {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            complain(&format!("the answer could not be written: {error}"));
            UNUSABLE
        }
        _ => code,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_commands_are_well_formed() {
        Arguments::command().debug_assert();
        let names: Vec<String> = Arguments::command()
            .get_subcommands()
            .map(|c| c.get_name().to_owned())
            .collect();
        assert_eq!(names, Command::NAMES);
    }

    #[test]
    fn help() {
        let mut command = Arguments::command().term_width(90);
        insta::assert_snapshot!("help", command.render_long_help().to_string());
        command.build();
        let proof = command.find_subcommand_mut("proof").unwrap();
        let mut proof = proof.clone().term_width(90);
        insta::assert_snapshot!("help_proof", proof.render_long_help().to_string());
    }
}
