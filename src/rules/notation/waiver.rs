//! `waiver`: what a score says of findings that are meant holds, and says why.

use crate::finding::{Finding, Grounds, Level, SetAside};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::{Place, Score, Waiver};

pub static RULE: Rule = Rule {
    name: "waiver",
    group: Group::Notation,
    asks: "A waiver in the score names a rule and a reason, and something is left for it to waive.",
    why: "Without a reason nobody knows later whether it was meant; one with nothing left to waive would hide the next mistake.",
    source: "the project's own",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
; chartproof: meant wrong-voice-dropped: a gentler landing

chord   | C6  -   -   -  |
count   | 1   2   3   4  |
          ^ alto 1, alto 2, tenor 1, tenor 2
alto 1  | C5  E5  G5  E5 |
alto 2  | G4  A4  C5  A4 |
tenor 1 | E4  G4  A4  G4 |
tenor 2 | A3  C4  E4  C4 |
suggestion: take it out, or move it to the bar and part that it is for
",
        right: "\
alto 2  | G4  C5  C5  A4 |
tenor 2 | A3  A3  E4  C4 |
",
    }],
    exceptions: &[Exception {
        says: "waivers of rules that the house style has off",
        silent: Silent::With("off: wrong-voice-dropped"),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for waiver in &input.score.waivers {
        let this = in_words(input.score, waiver);
        if let Some(why) = &waiver.unread {
            out.push(finding(
                waiver,
                format!("{this} cannot be read: {why}"),
                "write `chartproof: meant RULE: REASON`, with `in bars 5-8` before the colon where it is for some bars only",
            ));
            continue;
        }
        for name in waiver.rules.iter().filter(|n| !has_rule(input, n)) {
            let nearest = input
                .about_rules
                .all
                .iter()
                .map(|r| (strsim::damerau_levenshtein(r.name, name), r.name))
                .filter(|(distance, _)| *distance <= 3)
                .min();
            let help = nearest.map_or_else(
                || "`chartproof rulebook` lists the rules".to_owned(),
                |(_, known)| format!("did you mean `{known}`?"),
            );
            out.push(finding(
                waiver,
                format!("{this} names `{name}`, and there is no such rule"),
                &help,
            ));
        }
        if waiver.reason.is_empty() {
            out.push(finding(
                waiver,
                format!("{this} gives no reason for {}", waiver.rules.join(" and ")),
                "write why it is meant after a colon",
            ));
        }
    }
}

/// Sets aside the findings that the score waives, with one sentence for each rule of a waiver. What is
/// left of the waivers, each rule of one that has nothing to waive, comes to the findings.
pub(crate) fn apply(
    input: &RuleInput<'_>,
    findings: &mut Vec<Finding>,
) -> (Vec<SetAside>, Vec<String>) {
    let mut set_aside = Vec::new();
    let mut remarks = Vec::new();
    let mut stale = Vec::new();
    // One without a reason waives nothing: else it would open the gate by itself.
    let holding = |w: &&Waiver| w.unread.is_none() && !w.reason.is_empty();
    for waiver in input.score.waivers.iter().filter(holding) {
        let at = line(input.score, waiver);
        for name in &waiver.rules {
            let before = set_aside.len();
            let meant = findings.extract_if(.., |f| f.rule == name && holds(waiver, f));
            set_aside.extend(meant.map(|finding| SetAside {
                finding,
                grounds: Grounds::Waiver,
                reason: Some(waiver.reason.clone()),
                origin: at.clone(),
            }));
            let waived = match set_aside.len() - before {
                1 => Some("1 finding".to_owned()),
                n if n > 1 => Some(format!("{n} findings")),
                _ => None,
            };
            if let Some(waived) = waived {
                remarks.push(format!("{waived} waived ({name}; {at}): {}", waiver.reason));
            } else if is_on(input, name) {
                stale.push(finding(
                    waiver,
                    format!(
                        "{} finds no {name} to waive in {}",
                        in_words(input.score, waiver),
                        reach(input.score, waiver)
                    ),
                    "take it out, or move it to the bar and part that it is for",
                ));
            }
        }
    }
    let Some(level) = RULE.level_in(input.style) else {
        return (set_aside, remarks);
    };
    for finding in &mut stale {
        finding.level = level;
    }
    if !stale.is_empty() {
        findings.extend(stale);
        findings.sort_by_key(|f| f.at);
    }
    (set_aside, remarks)
}

/// Whether a rule is called so, be it the program's or the house's own.
fn has_rule(input: &RuleInput<'_>, name: &str) -> bool {
    named(input, name).is_some() || input.style.own_rule(name).is_some()
}

fn named(input: &RuleInput<'_>, name: &str) -> Option<&'static Rule> {
    let mut all = input.about_rules.all.iter().copied();
    all.find(|rule| rule.name == name)
}

fn is_on(input: &RuleInput<'_>, name: &str) -> bool {
    match named(input, name) {
        Some(rule) => input.style.is_on(rule),
        None => input
            .style
            .own_rule(name)
            .is_some_and(|rule| input.style.level(name, rule.level).is_some()),
    }
}

fn holds(waiver: &Waiver, finding: &Finding) -> bool {
    waiver.bars.contains(&finding.at.bar)
        && (finding.parts.is_empty() || finding.parts.iter().any(|p| waiver.parts.contains(p)))
}

/// The bars and parts that a waiver holds for.
fn reach(score: &Score, waiver: &Waiver) -> String {
    let (first, last) = (waiver.bars.start, waiver.bars.end.saturating_sub(1));
    let bars = if last > first {
        format!(
            "bars {} to {}",
            score.bar_number(first),
            score.bar_number(last)
        )
    } else {
        format!("bar {}", score.bar_number(first))
    };
    match waiver.parts.as_slice() {
        [part] => format!("{bars} of {}", wording::part(score, *part)),
        _ => bars,
    }
}

/// The waiver for people, by the line it stands in.
fn in_words(score: &Score, waiver: &Waiver) -> String {
    let source = score.sources.get(usize::from(waiver.span.source));
    let line = source.map_or(0, |s| s.line_column(waiver.span.start).0);
    format!("the waiver in line {line}")
}

/// The file and the line of a waiver.
fn line(score: &Score, waiver: &Waiver) -> String {
    score
        .sources
        .get(usize::from(waiver.span.source))
        .map_or_else(String::new, |source| {
            let (line, _) = source.line_column(waiver.span.start);
            format!("{}:{line}", source.path.display())
        })
}

fn finding(waiver: &Waiver, message: String, suggestion: &str) -> Finding {
    let at = Place {
        bar: waiver.bars.start,
        offset: Ticks::ZERO,
    };
    RULE.finding(at, message)
        .parts(waiver.parts.clone())
        .instead(suggestion.to_owned())
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::{Proofed, proof};
    use crate::reading::read_bytes;
    use crate::style::Style;
    use std::path::Path;

    fn proofed(change: &str) -> Proofed {
        let text = RULE.examples[0].right_passage().unwrap().replace(
            "; chartproof: meant wrong-voice-dropped: a gentler landing",
            change,
        );
        let score = read_bytes(Path::new("a.passage"), text).unwrap();
        proof(&score, &Style::default())
    }

    fn messages(proofed: &Proofed) -> Vec<&str> {
        proofed
            .findings
            .iter()
            .map(|f| f.message.as_str())
            .collect()
    }

    #[test]
    fn a_waived_finding_does_not_count_and_is_kept() {
        let waived = proofed("; chartproof: meant wrong-voice-dropped: a gentler landing");
        assert_eq!(messages(&waived), [""; 0]);
        let [aside] = waived.set_aside.as_slice() else {
            panic!("{:?}", waived.set_aside)
        };
        assert_eq!(aside.finding.rule, "wrong-voice-dropped");
        assert_eq!(aside.grounds, Grounds::Waiver);
        assert_eq!(aside.reason.as_deref(), Some("a gentler landing"));
        assert_eq!(aside.origin, "a.passage:8");
        assert!(
            waived.remarks.contains(
                &"1 finding waived (wrong-voice-dropped; a.passage:8): a gentler landing"
                    .to_owned()
            ),
            "{:?}",
            waived.remarks
        );
    }

    #[test]
    fn a_waiver_with_nothing_left_is_a_finding() {
        let stale = proofed("; chartproof: meant wrong-voice-dropped, breath: long ago");
        assert_eq!(
            messages(&stale),
            ["the waiver in line 8 finds no breath to waive in bar 1"]
        );
        let elsewhere = proofed("");
        assert_eq!(elsewhere.findings.len(), 1);
        let off = proofed("; chartproof: meant wrong-voice-dropped, clef: long ago");
        assert_eq!(off.findings.len(), 1);
    }

    #[test]
    fn a_misspelt_rule_and_a_missing_reason_are_findings() {
        assert_eq!(
            messages(&proofed(
                "; chartproof: meant wrong-voice-dropped, braeth: x"
            )),
            ["the waiver in line 8 names `braeth`, and there is no such rule"]
        );
        let idle = proofed("; chartproof: meant wrong-voice-dropped");
        assert_eq!(
            messages(&idle)[0],
            "the waiver in line 8 gives no reason for wrong-voice-dropped"
        );
        assert_eq!(idle.findings.len(), 2);
        assert_eq!(idle.set_aside, []);
        let unread = proofed("; chartproof: mean wrong-voice-dropped: x");
        assert!(
            messages(&unread)[0].contains("does not begin with `meant`"),
            "{unread:?}"
        );
        assert_eq!(unread.findings.len(), 2);
    }
}
