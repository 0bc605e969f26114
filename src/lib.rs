//! chartproof reads section parts vertically.

mod analysis;
#[cfg(feature = "cli")]
mod cli;
mod condition;
mod correct;
mod diagnosis;
mod editing;
mod engraving;
mod finding;
mod fixing;
mod ground;
mod homework;
mod house_style;
#[cfg(feature = "inside")]
#[doc(hidden)]
pub mod inside;
mod instrument;
mod marking;
mod model_answer;
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
