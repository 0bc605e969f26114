//! Findings that the house style accepts.

use crate::finding::{Finding, Grounds, SetAside};
use crate::score::Score;
use crate::style::Style;

/// Takes out the accepted findings. Returns them with one sentence for each reason, and one for each
/// acceptance that has nothing left to accept.
pub fn accept(
    style: &Style,
    score: &Score,
    findings: &mut Vec<Finding>,
) -> (Vec<SetAside>, Vec<String>) {
    let mut remarks = Vec::new();
    let mut set_aside = Vec::new();
    for accepted in style.accepted.iter().filter(|a| a.is_for(score)) {
        let meant: Vec<Finding> = findings
            .extract_if(.., |f| accepted.holds(score, f.rule, f.at.bar, &f.parts))
            .collect();
        let count = meant.len();
        set_aside.extend(meant.into_iter().map(|finding| SetAside {
            finding,
            grounds: Grounds::Style,
            reason: Some(accepted.reason.clone()),
            origin: accepted.origin.to_string(),
        }));
        let what = match count {
            // Without a file it may be meant for another score.
            0 if accepted.file.is_none() => continue,
            0 => "no finding is left to accept".to_owned(),
            1 => "1 finding accepted".to_owned(),
            n => format!("{n} findings accepted"),
        };
        let bars = accepted
            .bars
            .as_ref()
            .map_or_else(String::new, |b| format!(", bars {b}"));
        remarks.push(format!(
            "{what} ({}{bars}; {}): {}",
            accepted.rule, accepted.origin, accepted.reason
        ));
    }
    (set_aside, remarks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Level;
    use crate::ground::text::Text;
    use crate::score::{Format, Place, Source};
    use crate::style::{Accepted, FilePattern, Origin};
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
}
