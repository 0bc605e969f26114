//! chartproof reads section parts vertically.
//!
//! The way through is one-way: [`reading`] turns bytes into a [`score`], [`sonority`] slices it,
//! [`diagnosis`] and [`rules`] look at the slices and yield [`finding`]s, [`report`] prints them.
//! [`voicing`] answers for all of them which voicings are right.

pub mod analysis;
#[cfg(feature = "cli")]
pub mod cli;
pub mod condition;
pub mod correct;
pub mod diagnosis;
pub mod editing;
pub mod engraving;
pub mod file_text;
pub mod finding;
pub mod fixing;
pub mod ground;
pub mod homework;
pub mod house_style;
pub mod marking;
pub mod model_answer;
pub(crate) mod notation;
pub mod proof;
pub mod reading;
pub mod report;
pub mod rules;
pub mod score;
pub mod sonority;
pub mod style;
pub mod voicing;
pub mod writing;
