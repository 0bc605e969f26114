//! Findings that the house style accepts.

use crate::finding::{Finding, Grounds, SetAside};
use crate::score::Score;
use crate::style::{Accepted, FirstForBar, FoldedName, Style};
use rustc_hash::FxHashMap;

/// Takes out the accepted findings. Returns them with one sentence for each reason, and one for each
/// acceptance that has nothing left to accept. Of several that a finding falls under the first has it.
pub fn accept(
    style: &Style,
    score: &Score,
    findings: &mut Vec<Finding>,
) -> (Vec<SetAside>, Vec<String>) {
    let here: Vec<&Accepted> = style.accepted.iter().filter(|a| a.is_for(score)).collect();
    if here.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let names: Vec<FoldedName> = score
        .parts
        .iter()
        .map(|p| FoldedName::new(&p.name))
        .collect();
    let mut of_findings: FxHashMap<(&str, Vec<u32>), Acceptances> = FxHashMap::default();
    let mut meant: Vec<(usize, Finding)> = Vec::new();
    let all = std::mem::take(findings);
    for finding in all {
        let key = (finding.rule, finding.parts.clone());
        let acceptances = of_findings.entry(key).or_insert_with(|| {
            let parts = finding.parts.iter();
            let parts: Vec<_> = parts.filter_map(|&p| names.get(p as usize)).collect();
            Acceptances::new(&here, finding.rule, &parts)
        });
        match acceptances.first_for(&score.bar_number(finding.at.bar)) {
            Some(first) => meant.push((first, finding)),
            None => findings.push(finding),
        }
    }
    meant.sort_by_key(|(acceptance, _)| *acceptance);
    let mut counts = vec![0; here.len()];
    let mut set_aside = Vec::with_capacity(meant.len());
    for (acceptance, finding) in meant {
        if let (Some(accepted), Some(count)) = (here.get(acceptance), counts.get_mut(acceptance)) {
            *count += 1;
            set_aside.push(SetAside {
                finding,
                grounds: Grounds::Style,
                reason: Some(accepted.reason.clone()),
                origin: accepted.origin.to_string(),
            });
        }
    }
    let remarks = here.iter().zip(counts);
    (
        set_aside,
        remarks.filter_map(|(a, n)| remark(a, n)).collect(),
    )
}

/// The acceptances that speak of findings with the same rule and parts.
struct Acceptances {
    /// By their place in the style.
    places: Vec<usize>,
    first: FirstForBar,
}

impl Acceptances {
    fn new(all: &[&Accepted], rule: &str, parts: &[&FoldedName]) -> Self {
        let meant = || {
            all.iter()
                .enumerate()
                .filter(|(_, a)| a.speaks_of(rule, parts))
        };
        Self {
            places: meant().map(|(place, _)| place).collect(),
            first: FirstForBar::new(meant().map(|(_, a)| a.bars.as_ref())),
        }
    }

    fn first_for(&self, bar: &str) -> Option<usize> {
        self.places.get(self.first.at(bar)?).copied()
    }
}

/// What an acceptance came to.
fn remark(accepted: &Accepted, findings: usize) -> Option<String> {
    let what = match findings {
        // Without a file it may be meant for another score.
        0 if accepted.file.is_none() => return None,
        0 => "no finding is left to accept".to_owned(),
        1 => "1 finding accepted".to_owned(),
        n => format!("{n} findings accepted"),
    };
    let bars = accepted.bars.as_ref();
    let bars = bars.map_or_else(String::new, |b| format!(", bars {b}"));
    Some(format!(
        "{what} ({}{bars}; {}): {}",
        accepted.rule, accepted.origin, accepted.reason
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Level;
    use crate::ground::text::Text;
    use crate::score::{Format, Part, Place, Source};
    use crate::style::{Bars, FilePattern, NamePattern, Origin};
    use std::path::Path;
    use std::sync::OnceLock;

    fn accepted(rule: &str, file: Option<&str>) -> Style {
        Style {
            accepted: vec![Accepted {
                rule: rule.to_owned(),
                file: file.map(|f| FilePattern::new(f, Path::new(""))),
                bars: None,
                parts: Vec::new(),
                reason: "It is meant.".to_owned(),
                origin: Origin::Shipped("x".to_owned()),
            }],
            ..Style::default()
        }
    }

    fn findings() -> Vec<Finding> {
        ["wide-gap", "minor-ninth", "wide-gap"]
            .map(|rule| Finding::new(rule, Level::Note, Place::default(), String::new()))
            .into()
    }

    #[test]
    fn accepted_findings_are_set_aside_and_counted() {
        let mut left = findings();
        let (aside, remarks) = accept(&accepted("wide-gap", None), &Score::default(), &mut left);
        assert_eq!(left.len(), 1);
        assert_eq!(aside.len(), 2);
        assert_eq!(aside[0].reason.as_deref(), Some("It is meant."));
        assert_eq!(
            remarks,
            ["2 findings accepted (wide-gap; shipped style x): It is meant."]
        );
    }

    #[test]
    fn an_acceptance_without_a_finding_is_remarked_only_for_its_own_file() {
        let remarks = |file, source: &str| {
            let score = Score {
                sources: vec![Source {
                    path: source.into(),
                    member: None,
                    format: Format::Grid,
                    text: Text::default(),
                    lines: OnceLock::new(),
                }],
                ..Score::default()
            };
            accept(&accepted("clef", file), &score, &mut findings()).1
        };
        assert_eq!(remarks(None, "a.mxl"), [""; 0]);
        assert_eq!(remarks(Some("a.mxl"), "b.mxl"), [""; 0]);
        let said = remarks(Some("a.mxl"), "a.mxl");
        assert_eq!(
            said,
            ["no finding is left to accept (clef; shipped style x): It is meant."]
        );
    }

    #[test]
    fn acceptance_depends_on_rule_bars_and_all_parts_at_fault() {
        let part = |name: &str| Part {
            name: name.to_owned(),
            ..Part::default()
        };
        let score = Score {
            parts: ["Alto 1", "Alto 2", "Tenor 1"].map(part).into(),
            ..Score::default()
        };
        let mut style = accepted("minor-ninth", None);
        let holds = |style: &Style, rule: &'static str, parts: &[u32]| {
            let mut finding = Finding::new(rule, Level::Note, Place::default(), String::new());
            finding.parts = parts.to_vec();
            accept(style, &score, &mut vec![finding]).0.len() == 1
        };
        style.accepted[0].parts = vec![NamePattern::new("alto *")];
        assert!(holds(&style, "minor-ninth", &[0, 1]));
        assert!(!holds(&style, "minor-ninth", &[0, 2]));
        assert!(!holds(&style, "wide-gap", &[0]));
        style.accepted[0].parts.clear();
        assert!(holds(&style, "minor-ninth", &[0, 2]));
        style.accepted[0].bars = Bars::read("900").ok();
        assert!(!holds(&style, "minor-ninth", &[0]));
    }

    #[test]
    fn the_first_acceptance_has_a_finding_and_the_remarks_are_in_their_order() {
        let mut style = accepted("minor-ninth", None);
        for (rule, bars) in [("wide-gap", "5"), ("wide-gap", "1-3"), ("wide-gap", "1")] {
            let mut one = accepted(rule, None).accepted.remove(0);
            one.bars = Bars::read(bars).ok();
            style.accepted.push(one);
        }
        let (aside, remarks) = accept(&style, &Score::default(), &mut findings());
        let rules: Vec<&str> = aside.iter().map(|a| a.finding.rule).collect();
        assert_eq!(rules, ["minor-ninth", "wide-gap", "wide-gap"]);
        assert_eq!(
            remarks,
            [
                "1 finding accepted (minor-ninth; shipped style x): It is meant.",
                "2 findings accepted (wide-gap, bars 1-3; shipped style x): It is meant."
            ]
        );
    }
}
