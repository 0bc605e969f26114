//! The `chartproof` program: arguments in, exit code out.

use std::process::ExitCode;

fn main() -> ExitCode {
    chartproof::run_command_line()
}
