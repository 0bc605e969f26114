//! `chartproof shell`: completions, from the same definitions as the help.

use super::write_out::{bytes_to_stdout, complain};
use super::{Arguments, CLEAN, UNUSABLE};
use clap::{Arg, Args, Command, CommandFactory, ValueEnum};
use std::fmt::Write as _;

/// Prints completions for a shell: commands, options, rules and techniques
///
/// To be read by the shell when it starts: for bash `chartproof shell bash >
/// ~/.local/share/bash-completion/completions/chartproof`, for fish `chartproof shell fish >
/// ~/.config/fish/completions/chartproof.fish`, for zsh `chartproof shell zsh > FOLDER/_chartproof`,
/// FOLDER being one of those in `$fpath`.
///
/// Exit code: 0.
#[derive(Debug, Args)]
pub(super) struct Shell {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    shell: ShellName,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum ShellName {
    Bash,
    Zsh,
    Fish,
}

impl Shell {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let shell = match self.shell {
            ShellName::Bash => clap_complete::Shell::Bash,
            ShellName::Zsh => clap_complete::Shell::Zsh,
            ShellName::Fish => clap_complete::Shell::Fish,
        };
        let mut script = Vec::new();
        let mut command = Arguments::command();
        clap_complete::generate(shell, &mut command, "chartproof", &mut script);
        if self.shell == ShellName::Fish {
            script.extend(words_for_fish(&command).bytes());
        }
        match bytes_to_stdout(&script) {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }
}

/// What the generator for fish leaves out: the words an argument without an option may be, such as
/// the rules of `rulebook`.
fn words_for_fish(command: &Command) -> String {
    let mut lines = String::new();
    for sub in command.get_subcommands().filter(|c| c.get_name() != "help") {
        let words: Vec<String> = sub
            .get_positionals()
            .flat_map(Arg::get_possible_values)
            .map(|word| word.get_name().to_owned())
            .collect();
        if !words.is_empty() {
            let _ = writeln!(
                lines,
                "complete -c chartproof -n \"__fish_chartproof_using_subcommand {}\" -f -a \"{}\"",
                sub.get_name(),
                words.join(" ")
            );
        }
    }
    lines
}
