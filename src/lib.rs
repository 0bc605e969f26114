//! chartproof reads section parts vertically: it rebuilds every sonority at sounding pitch, works out
//! what each one was meant to be, and reports what is wrong, where, why, and what to write instead.
//!
//! This is the face for programs: [`read`], [`proof`], [`correct`], [`voice`], and with the feature `cli`
//! (on by default) the same for files: [`read_file`], [`proof_file`], [`read_style`]. Without that feature the
//! library needs no files, threads, git, clock or randomness.
//!
//! ```
//! let grid = "
//! meter:     4/4
//! pitch:     sounding
//! section:   saxes
//! technique: four-way close
//! parts:     alto 1 = alto saxophone
//!            alto 2 = alto saxophone
//!            tenor 1 = tenor saxophone
//!            tenor 2 = tenor saxophone
//!
//! chord   | F6  -   -  |
//! count   | 1   2   3  |
//! alto 1  | A4  C5  A4 |
//! alto 2  | F4  A4  F4 |
//! tenor 1 | D4  F4  Eb4 |
//! tenor 2 | C4  D4  C4 |
//! ";
//! let style = chartproof::Style::default();
//! let score = chartproof::read("pier.passage", grid)?;
//! let report = chartproof::proof(score, &style);
//!
//! let finding = &report.findings()[0];
//! assert_eq!(finding.rule, "wrong-note");
//! assert_eq!(finding.level, chartproof::Level::Error);
//! assert_eq!(report.bar(finding), "1");
//! assert_eq!(report.beat(finding), 3.0);
//! assert_eq!(report.parts(finding), ["tenor 1"]);
//! assert_eq!(finding.fix.as_ref().unwrap().summary, "tenor 1: write D4 (written E5) instead of Eb4 (written F5)");
//! # Ok::<(), chartproof::Problem>(())
//! ```

#![cfg_attr(
    not(feature = "cli"),
    allow(
        dead_code,
        unused_imports,
        reason = "the commands use the rest; the desk will use more"
    )
)]

mod analysis;
#[cfg(feature = "cli")]
mod cli;
mod condition;
mod correct;
mod diagnosis;
mod editing;
mod engraving;
mod face;
mod file_text;
mod finding;
mod fixing;
mod ground;
mod homework;
mod house_style;
#[cfg(feature = "inside")]
#[doc(hidden)]
pub mod inside;
mod marking;
mod model_answer;
mod notation;
mod proof;
mod reading;
mod report;
mod rules;
mod score;
mod sonority;
mod style;
mod voicing;
mod writing;

#[cfg(feature = "cli")]
#[doc(hidden)]
pub use cli::run as run_command_line;

pub use correct::{Done, MarksDone};
pub use editing::EditError;
pub use face::{
    CorrectError, Corrected, Report, VoiceLeadError, correct, grid, musicxml, parse_style, proof,
    read, shipped_style, voice,
};
#[cfg(feature = "cli")]
pub use face::{proof_file, read_file, read_style};
pub use finding::{Finding, Fix, Grounds, NoteAtFault, SetAside};
pub use ground::pitch::Pitch;
pub use ground::problem::Problem;
pub use ground::text::Edit;
pub use ground::time::Ticks;
pub use house_style::StyleError;
pub use model_answer::VoiceError;
pub use score::{Change, NoteRef, Place, Score, SpokenPitch};
pub use style::{Gate, Level, Style};
pub use writing::grid::Unwritable;
