//! The rules: one file each, in the folder of its group, with what the rule asks, its check, and its
//! examples, which are also its tests. A rule knows no file format and prints nothing.
//!
//! | file | what it holds |
//! |---|---|
//! | `rule.rs` | what a rule says of itself, and how it makes a finding |
//! | `example.rs` | how the passages of a rule are written |
//! | `diagnosed.rs` | the score with its diagnosed passages |
//! | `shared/` | views of it, and words, that several rules use |
//! | `input.rs` | the input of a rule: the diagnosed score, each shared view made once |
//! | `harmony/` ... `notation/` | the rules |
//! | `own/` | the rules of a house's own |
//! | `list.rs` | all rules in their order |
//! | `one_mistake.rs` | findings that another one explains |
//! | `run.rs` | runs them |
//!
//! Each line uses those above it only.

mod accepted;
mod diagnosed;
mod example;
#[cfg(test)]
mod example_tests;
mod input;
mod list;
mod own;
mod rule;
mod run;
mod shared;

mod agreement;
mod harmony;
mod lines;
mod notation;
mod one_mistake;
mod players;
mod rubs;
mod voicing;

pub use self::accepted::accept;
pub use self::example::signs;
pub use self::input::RuleInput;
pub use self::list::{ALL, is_known, named};
pub use self::rule::{Example, Group, Rule, Setting};
pub use self::run::{check, check_page, objector, waive, with_symbols_as_meant};
#[cfg(test)]
pub use self::shared::whole::pages as shared_pages;
pub use self::shared::wording::{agree, in_words};

/// The tests of one rule's examples and exceptions, in the rule's own file:
/// `cargo test --lib rules::voicing::lead_doubling` runs them.
macro_rules! test_examples {
    ($rule:ident) => {
        #[cfg(test)]
        mod examples {
            #[test]
            fn wrong_passages_show_their_finding_and_right_ones_have_none() {
                crate::rules::example_tests::wrong_and_right(&super::$rule);
            }

            #[test]
            fn exceptions_are_silent() {
                crate::rules::example_tests::exceptions(&super::$rule);
            }
        }
    };
}
use test_examples;
