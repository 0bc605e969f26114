//! How wide what people read may be.

use std::io;
use terminal_size::{Height, Width, terminal_size_of};

/// Narrower columns are not filled: a grid needs a name and a pitch.
const NARROWEST: usize = 40;

/// Wider ones gain nothing.
const WIDEST: usize = 400;

/// Where nobody says how wide it is: a file, a pipe, a log.
const USUAL: usize = 100;

/// The columns of the standard output: what the variable COLUMNS says, else the terminal's own width.
pub(super) fn of_stdout() -> usize {
    of(terminal_size_of(io::stdout()))
}

/// The columns of the error output, found in the same way.
pub(super) fn of_stderr() -> usize {
    of(terminal_size_of(io::stderr()))
}

/// The columns of a file: COLUMNS or what is usual.
pub(super) fn of_file() -> usize {
    of(None)
}

/// The columns of a table on the standard output. Where nobody says how wide it is, tools may read it line by
/// line: then no line is broken.
pub(super) fn of_table() -> usize {
    let terminal = terminal_size_of(io::stdout()).map(|(columns, _)| usize::from(columns.0));
    chosen(variable().as_deref(), terminal, WIDEST)
}

/// The columns of a table in a file, found in the same way.
pub(super) fn of_table_in_file() -> usize {
    chosen(variable().as_deref(), None, WIDEST)
}

/// Nothing where the output is no terminal.
fn of(terminal: Option<(Width, Height)>) -> usize {
    let terminal = terminal.map(|(columns, _)| usize::from(columns.0));
    chosen(variable().as_deref(), terminal, USUAL)
}

fn variable() -> Option<String> {
    std::env::var("COLUMNS").ok()
}

fn chosen(variable: Option<&str>, terminal: Option<usize>, usual: usize) -> usize {
    let variable = variable.and_then(|v| v.trim().parse().ok());
    let columns = variable.or(terminal).filter(|c| *c > 0);
    columns.unwrap_or(usual).clamp(NARROWEST, WIDEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_variable_comes_first_and_nonsense_is_passed_over() {
        assert_eq!(chosen(Some("72"), Some(120), USUAL), 72);
        assert_eq!(chosen(None, Some(120), USUAL), 120);
        assert_eq!(chosen(Some("wide"), Some(120), USUAL), 120);
        assert_eq!(chosen(Some("0"), None, USUAL), USUAL);
        assert_eq!(chosen(Some("3"), None, USUAL), NARROWEST);
        assert_eq!(chosen(Some("99999999"), None, USUAL), WIDEST);
        assert_eq!(chosen(None, None, USUAL), USUAL);
        assert_eq!(chosen(None, None, WIDEST), WIDEST);
    }
}
