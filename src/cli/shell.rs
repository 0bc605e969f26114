//! `chartproof shell`: completions, from the same definitions as the help.

use super::write_out::{complain, to_stdout};
use super::{Arguments, CLEAN, UNUSABLE};
use clap::{Args, CommandFactory, ValueEnum};

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
    shell: Name,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Name {
    Bash,
    Zsh,
    Fish,
}

impl Shell {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let shell = match self.shell {
            Name::Bash => clap_complete::Shell::Bash,
            Name::Zsh => clap_complete::Shell::Zsh,
            Name::Fish => clap_complete::Shell::Fish,
        };
        let mut script = Vec::new();
        let mut command = Arguments::command();
        clap_complete::generate(shell, &mut command, "chartproof", &mut script);
        match to_stdout(&script) {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }
}
