//! `chartproof style`: the house style in force.

use super::scores::{ChosenStyle, complain_of_style, style, styles};
use super::write_out::{complain, to_stdout};
use super::{CLEAN, UNUSABLE};
use crate::condition;
use crate::house_style::{print, schema};
use clap::Args;
use std::path::PathBuf;

/// Prints the house style in force, complete and with comments
///
/// Behind each value stands where it comes from: the program itself, a shipped style, or a file and
/// its line. What is printed is a house style file that says the same: a place to start from.
///
/// Exit code: 0, or 2 when a house style has mistakes (each is reported with its line).
#[derive(Debug, Args)]
pub(super) struct Style {
    /// The score, the folder or the house style file to print the style for; this folder when left
    /// out
    #[arg(value_name = "PATH")]
    path: Option<PathBuf>,

    /// Another house style than the one that holds there: chart, homework, choir, or a house style
    /// file
    #[arg(id = "style", long = "style", value_name = "NAME|FILE", value_parser = style)]
    instead: Option<ChosenStyle>,

    /// Print the JSON Schema of house style files instead, for editors
    #[arg(long, conflicts_with_all = ["path", "style"])]
    schema: bool,

    /// Print the words instead that a rule of your own can use: what each scope offers, with units
    #[arg(long, conflicts_with_all = ["path", "style", "schema"])]
    words: bool,
}

impl Style {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let text = if self.words {
            condition::words()
        } else if self.schema {
            match serde_json::to_string_pretty(&schema()) {
                Ok(text) => text + "\n",
                Err(error) => {
                    complain(&error.to_string());
                    return UNUSABLE;
                }
            }
        } else {
            let path = self.path.unwrap_or_else(|| PathBuf::from("."));
            if !path.exists() {
                complain(&format!(
                    "{}: there is no such file or folder",
                    path.display()
                ));
                return UNUSABLE;
            }
            let is_style = path
                .extension()
                .is_some_and(|e| e.eq_ignore_ascii_case("toml"));
            let chosen = match self.instead {
                None if is_style => Some(ChosenStyle::File(path.clone())),
                chosen => chosen,
            };
            let named = std::slice::from_ref(&path);
            match styles(chosen.as_ref()).with_paths(named).of(&path) {
                Ok(style) => print(&style),
                Err(error) => {
                    complain_of_style(&error);
                    return UNUSABLE;
                }
            }
        };
        match to_stdout(&text) {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }
}
