//! Explains each sonority: right, left alone, or the least slip from a right voicing.
//!
//! Every legitimate reading (function of the lead note x harmonisation x technique in force) gives
//! right voicings. A sonority that is one of them is right. Otherwise the first row of
//! `slips::ORDER` that accounts for it gives the explanation, and it is given once: a slip never
//! cascades into a second finding.
//!
//! A file imports only from files above it in this list:
//!
//! | file | holds |
//! |---|---|
//! | `frame` | the chord in force at a time, with where it leads |
//! | `lead`, `phrase`, `technique` | lead line, phrases and technique of a section |
//! | `outcome` | a diagnosis, its verdict, a slip |
//! | `habits` | ways of harmonising that are a writer's choice for a whole passage |
//! | `passage` | everything known of one section |
//! | `fault` | which notes are at fault, and how the right ones are spelled |
//! | `form` | judging a sonority that is held to a form |
//! | `account` | a verdict, and what it says of habits |
//! | `case` | one sonority with everything a reading of it needs |
//! | `candidates` | the right voicings that the sonority may have been meant as |
//! | `lower_voices` | the chord that the voices under a lead make |
//! | `choices` | the right voicings of a lead, for the model answer |
//! | `right` | whether the sonority is right |
//! | `slips` | one file a slip, and the order in which they are asked |
//! | `judge` | asks what is right, then the slips in their order |
//! | `diagnose` | the sonorities of a passage one after the other |
//! | `read` | reads a score into passages |

mod account;
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
mod lower_voices;
mod outcome;
mod passage;
mod phrase;
mod read;
mod right;
mod seating;
mod slips;
mod technique;

pub use case::frames_at;
pub use choices::choices;
pub use frame::{frame_at, symbol_at};
pub use outcome::{Diagnosis, Fault, Slip, SlipKind, Verdict};
pub use passage::Passage;
pub use read::{lead_passage, passages};
pub use technique::{How, speaks_of_technique};
