//! The rules of a run.

use super::log::{Message, RuleConfiguration, RuleDescriptor, RuleHelp, RuleProperties};
use crate::finding::Finding;
use crate::report::rulebook;
use crate::rules::{self, Rule};
use std::fmt::Write as _;

/// The rules that the program ships, in its order.
pub(super) fn shipped() -> Vec<RuleDescriptor> {
    rules::ALL.into_iter().map(descriptor).collect()
}

fn descriptor(rule: &Rule) -> RuleDescriptor {
    RuleDescriptor {
        id: rule.name.to_owned(),
        short_description: Message::new(rule.asks),
        full_description: Message::new(&format!("{} {}", rule.asks, rule.why)),
        help: Some(RuleHelp {
            text: rulebook::page(rule, usize::MAX),
            markdown: markdown(rule),
        }),
        default_configuration: RuleConfiguration {
            enabled: !rule.off,
            level: rule.level.word(),
        },
        properties: Some(RuleProperties {
            tags: [rulebook::group(rule).to_owned()],
            source: rule.source,
        }),
    }
}

/// The page of the rulebook, its examples in blocks of their own.
fn markdown(rule: &Rule) -> String {
    let mut out = format!("{}\n\n{}\n", rule.asks, rule.why);
    if !rule.exceptions.is_empty() {
        out.push_str("\nSilent for:\n\n");
        for exception in rule.exceptions {
            let _ = writeln!(out, "* {}", exception.says);
        }
    }
    let _ = writeln!(out, "\nSource: {}", rule.source);
    for example in rule.examples {
        let right = example.right_passage().unwrap_or_default();
        for (name, passage) in [("Wrong", example.wrong), ("Right", &right)] {
            let _ = writeln!(out, "\n{name}:\n\n```text\n{}\n```", passage.trim_end());
        }
    }
    out
}

/// Where the rule of a finding stands in the list; a rule that is not the program's own joins it.
pub(super) fn index_of(descriptors: &mut Vec<RuleDescriptor>, finding: &Finding) -> usize {
    if let Some(index) = descriptors.iter().position(|d| d.id == finding.rule) {
        return index;
    }
    let about = if finding.why.is_empty() {
        finding.rule
    } else {
        &finding.why
    };
    descriptors.push(RuleDescriptor {
        id: finding.rule.to_owned(),
        short_description: Message::new(about),
        full_description: Message::new(about),
        help: None,
        default_configuration: RuleConfiguration {
            enabled: true,
            level: finding.level.word(),
        },
        properties: None,
    });
    descriptors.len() - 1
}
