//! `chartproof rulebook`: what the rules ask.

use super::columns;
use super::write_out::{complain, to_stdout};
use super::{CLEAN, UNUSABLE};
use crate::report::rulebook::{list, page};
use crate::rules::{self, Rule};
use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Arg, Args, Command};
use std::ffi::OsStr;

/// Tells what the rules ask: all in short, or one with its reasons and examples
///
/// Exit code: 0, or 2 when there is no such rule.
#[derive(Debug, Args)]
pub(super) struct Rulebook {
    /// A rule, by the name that stands in a finding
    #[arg(value_name = "RULE", value_parser = RuleName, hide_possible_values = true, conflicts_with = "full")]
    rule: Option<&'static Rule>,

    /// The whole book: every rule with its reasons and examples
    #[arg(long)]
    full: bool,
}

impl Rulebook {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let columns = columns::of_stdout();
        let text = match self.rule {
            Some(rule) => page(rule, columns),
            None if self.full => {
                let pages: Vec<String> = rules::ALL
                    .into_iter()
                    .map(|rule| page(rule, columns))
                    .collect();
                pages.join("\n\n")
            }
            None => list(columns),
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

/// No such rule.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no rule is called `{found}`{}", .nearest.map(|n| format!(": did you mean `{n}`?")).unwrap_or_default())]
struct NoSuchRule {
    found: String,
    nearest: Option<&'static str>,
}

/// Reads a rule's name; shells complete it.
#[derive(Clone, Debug)]
struct RuleName;

impl TypedValueParser for RuleName {
    type Value = &'static Rule;

    fn parse_ref(
        &self,
        command: &Command,
        argument: Option<&Arg>,
        value: &OsStr,
    ) -> Result<Self::Value, clap::Error> {
        let read: fn(&str) -> Result<&'static Rule, NoSuchRule> = rule;
        read.parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        let names = rules::ALL.into_iter().map(|r| PossibleValue::new(r.name));
        Some(Box::new(names))
    }
}

fn rule(name: &str) -> Result<&'static Rule, NoSuchRule> {
    let wanted = name.trim().to_lowercase().replace([' ', '_'], "-");
    rules::named(&wanted).ok_or_else(|| NoSuchRule {
        found: name.to_owned(),
        nearest: rules::ALL
            .iter()
            .map(|r| (strsim::jaro_winkler(&wanted, r.name), r.name))
            .filter(|(likeness, _)| *likeness > 0.7)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, n)| n),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_are_found_by_name_and_nearly_so() {
        assert_eq!(rule("minor ninth").unwrap().name, "minor-ninth");
        let error = rule("minor-nineth").unwrap_err().to_string();
        assert!(error.contains("did you mean `minor-ninth`?"), "{error}");
        assert!(
            !rule("zzz")
                .unwrap_err()
                .to_string()
                .contains("did you mean")
        );
    }
}
