//! Runs the rules over a diagnosed score.

use super::diagnosed::DiagnosedScore;
use super::harmony::chord_symbol_agreement;
use super::input::{AboutRules, RuleInput};
use super::list::{ALL, CHECKS, Check, rule_of};
use super::one_mistake;
use super::rule::{DependsOn, Rule};
use super::{agreement, notation, own, voicing};
use crate::diagnosis::{Passage, SlipKind, Verdict};
use crate::finding::{Finding, Level, SetAside};
use crate::ground::text::{LONGEST_SENTENCE, shorten};
use crate::ground::threads;
use crate::score::Score;
use crate::style::Style;

impl<'a> RuleInput<'a> {
    /// The input of the rules for a score. Notes that a slip explains are claimed, where the style has
    /// the slip's rule on and it is more than a note: no second rule reports them.
    pub fn new(score: &'a Score, style: &'a Style, passages: &'a [Passage]) -> Self {
        let claimed = passages
            .iter()
            .flat_map(|p| &p.diagnoses)
            .filter_map(|d| match &d.verdict {
                Verdict::Slip(slip)
                    if !matches!(slip.kind, SlipKind::AlteredTension(_))
                        && style.is_on(rule_of(slip.kind)) =>
                {
                    Some(
                        slip.faults
                            .iter()
                            .chain(slip.remedies.iter().take(1).flatten()),
                    )
                }
                _ => None,
            })
            .flatten()
            .map(|f| f.note)
            .collect();
        let diagnosed = DiagnosedScore {
            score,
            style,
            passages,
            bars: None,
            claimed,
        };
        let together = diagnosed.setting(&agreement::rhythm_unison::RULE, "together");
        let about_rules = AboutRules {
            all: &ALL,
            together: together / 100.0,
            lead_crossings: style.is_on(&voicing::lead_not_on_top::RULE),
            other_crossings: style.is_on(&voicing::voice_crossing::RULE),
        };
        Self::of(diagnosed, about_rules)
    }
}

/// The score with chord symbols read at the pitch they are meant at, where a transposed part has them
/// at concert pitch and the style has the rule on that says so.
pub fn with_symbols_as_meant(score: &Score, style: &Style) -> Option<Score> {
    style
        .is_on(&chord_symbol_agreement::RULE)
        .then(|| chord_symbol_agreement::as_meant(score))
        .flatten()
}

/// A style's level is that of the rule's gravest findings; lighter ones keep their distance.
fn shifted(own: Level, gravest: Level, wanted: Level) -> Level {
    const STEPS: [Level; 3] = [Level::Note, Level::Warning, Level::Error];
    let step = own as i8 + wanted as i8 - gravest as i8;
    STEPS
        .get(step.clamp(0, 2).unsigned_abs() as usize)
        .copied()
        .unwrap_or(wanted)
}

/// A rule and its check.
type Listed = (&'static Rule, Check);

fn listed() -> impl Iterator<Item = Listed> {
    ALL.into_iter().zip(CHECKS)
}

/// The findings of a rule, when the style has it on. A rule that depends on the page only has none
/// where a change of pitch is tried.
fn run(input: &RuleInput<'_>, (rule, check): Listed) -> Vec<Finding> {
    let mut found = Vec::new();
    let unchanged = input.is_recheck() && rule.depends_on == DependsOn::Page;
    let Some(level) = rule.level_in(input.style).filter(|_| !unchanged) else {
        return found;
    };
    check(input, &mut found);
    for finding in &mut found {
        finding.level = shifted(finding.level, rule.level, level);
        shorten(&mut finding.message, LONGEST_SENTENCE);
        if let Some(suggestion) = &mut finding.suggestion {
            shorten(suggestion, LONGEST_SENTENCE);
        }
    }
    found
}

/// The findings of the house's own rules, or only of the one of this name.
fn run_own(input: &RuleInput<'_>, only: Option<&str>) -> Vec<Finding> {
    let mut found = Vec::new();
    own::check(input, only, &mut found);
    found
}

/// A rule with a finding that does not pass. The rule called `likely` is asked first, the house's own
/// last, and no other once one is found.
pub fn objector(
    input: &RuleInput<'_>,
    likely: &str,
    passes: impl Fn(&Finding) -> bool,
) -> Option<&'static str> {
    let own = |only: Option<&str>| {
        let found = run_own(input, only);
        Some(found.iter().find(|f| !passes(f))?.rule)
    };
    if input.style.own.iter().any(|rule| rule.name == likely)
        && let Some(rule) = own(Some(likely))
    {
        return Some(rule);
    }
    let first = listed().filter(|(rule, _)| rule.name == likely);
    let others = listed().filter(|(rule, _)| rule.name != likely);
    let shipped = first
        .chain(others)
        .find(|listed| !run(input, *listed).iter().all(&passes));
    shipped.map(|(rule, _)| rule.name).or_else(|| own(None))
}

/// Runs every rule that the style has on; on a whole score, side by side.
pub fn check(input: &RuleInput<'_>) -> Vec<Finding> {
    let (found, of_house): (Vec<Vec<Finding>>, Vec<Finding>) = if input.is_recheck() {
        let found = listed().map(|listed| run(input, listed)).collect();
        (found, run_own(input, None))
    } else {
        threads::both(
            || threads::map(listed().collect(), |listed| run(input, listed)),
            || run_own(input, None),
        )
    };
    let mut findings: Vec<Finding> = found.into_iter().flatten().chain(of_house).collect();
    // The house's own come after the program's.
    let rank = |name: &str| ALL.iter().position(|r| r.name == name).unwrap_or(ALL.len());
    findings.sort_by_cached_key(|f| (f.at, f.parts.clone(), rank(f.rule)));
    one_mistake::in_displaced_lines(input.score, &mut findings);
    one_mistake::out_of_range(&mut findings);
    one_mistake::in_a_chord(&mut findings);
    one_mistake::of_one_note(&mut findings);
    if !input.is_recheck() {
        one_mistake::in_whole_bars(input, &mut findings);
    }
    findings
}

/// Runs the rules that look at the page only.
pub fn check_page(input: &RuleInput<'_>) -> Vec<Finding> {
    let of_page = listed().filter(|(rule, _)| rule.depends_on == DependsOn::Page);
    of_page.flat_map(|listed| run(input, listed)).collect()
}

/// Sets aside the findings that the score itself waives; waivers with nothing left to waive become
/// findings. With them one sentence for each reason.
pub fn waive(input: &RuleInput<'_>, findings: &mut Vec<Finding>) -> (Vec<SetAside>, Vec<String>) {
    notation::waiver::apply(input, findings)
}
