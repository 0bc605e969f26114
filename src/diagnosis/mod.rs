//! Explains each passage by the account that costs least.
//!
//! Every way to understand a sonority is a reading: function of the lead note x harmonisation x technique x
//! slips, none or few. What is unusual costs, a slip costs more, and so does a change of technique between
//! neighbours. The cheapest account of the whole passage is taken; a finding is a slip in it, and its
//! margin is how much dearer the best account without that slip is. The costs stand in
//! `rules/diagnosis.toml`.
//!
//! A file imports only from files above it in this list:
//!
//! | file | holds |
//! |---|---|
//! | `frame` | the chord in force at a time, with where it leads |
//! | `lead`, `phrase`, `technique` | lead line, phrases and stated techniques of a section |
//! | `outcome` | a diagnosis, its verdict, a slip |
//! | `habits` | ways of harmonising that are a writer's choice for a whole passage |
//! | `passage` | everything known of one section |
//! | `fault` | which notes are at fault, and how the right ones are spelled |
//! | `form` | judging a sonority that is held to a form |
//! | `case` | one sonority with everything a reading of it needs |
//! | `account` | readings with what they cost, and the account made of the cheapest |
//! | `candidates` | the right voicings that the sonority may have been meant as |
//! | `lower_voices` | the chord that the voices under a lead make |
//! | `lead_function` | what a lead note is for, for explanations |
//! | `choices` | the right voicings of a lead, for the model answer |
//! | `right` | the readings in which nothing is wrong |
//! | `approach` | approach chords in a form |
//! | `slips` | the readings with a slip, one file each |
//! | `judge` | all readings of a sonority |
//! | `path` | the cheapest way through the techniques of a passage |
//! | `diagnose` | the sonorities of a passage one after the other |
//! | `read` | reads a score into passages |
//! | `why` | the accounts of one place that were weighed |

mod account;
mod approach;
mod candidates;
mod case;
mod choices;
mod diagnose;
#[cfg(test)]
mod example;
mod fault;
mod form;
mod frame;
mod habits;
mod judge;
mod lead;
mod lead_function;
mod lower_voices;
mod outcome;
mod passage;
mod path;
mod phrase;
mod read;
mod right;
mod seating;
mod slips;
mod technique;
mod why;

pub use case::frames_at;
pub use choices::{Choice, choices};
pub use frame::{frame_at, symbol_at};
pub use lead_function::lead_function;
pub use outcome::{Diagnosis, Fault, Slip, SlipKind, Verdict};
pub use passage::Passage;
pub use read::{lead_passage, passages};
pub use technique::{Asks, How, asks_in_words, speaks_of_technique};
pub use why::{Weighed, WeighedAs, weighed};
