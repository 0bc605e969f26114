//! The commands: arguments in, reports and exit codes out.

mod analysis;
mod class;
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
mod write_out;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

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
        Err(error) => {
            // Help and version come this way too. A closed pipe is no reason to say anything.
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(UNUSABLE));
        }
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
