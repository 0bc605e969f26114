//! Findings that the house style says are meant to be there.

use crate::finding::{Finding, Grounds, SetAside};
use crate::score::Score;
use crate::style::Style;

/// Takes out the findings that are meant to be there; with them one sentence for each reason,
/// and one for each acceptance that has nothing left to accept.
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
