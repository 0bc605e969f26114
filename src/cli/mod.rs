//! The commands.

use std::process::ExitCode;

/// Runs the program on the process's arguments.
pub fn run() -> ExitCode {
    ExitCode::from(2)
}
