//! Grids as examples: which row of the order accounts for a place, and how.

use super::candidates::Candidate;
use super::case::{Case, Context, HeldTo};
use super::diagnose::target;
use super::habits::Judging;
use super::judge::{first, judge};
use super::outcome::{SlipKind, Verdict};
use super::passage::Passage;
use super::read::passages;
use super::slips::{Ask, ORDER};
use crate::reading::grid;
use crate::score::Score;
use crate::sonority::Sonority;
use crate::style::Style;
use std::path::Path;

/// Four saxophones in 4/4, called 1 to 4 from the top.
const FOUR: &str = "meter: 4/4
section: saxes
parts: 1 = alto saxophone
       2 = alto saxophone
       3 = tenor saxophone
       4 = tenor saxophone
";

/// The same with a baritone under them, called 5.
const FIVE: &str = "meter: 4/4
section: saxes
parts: 1 = alto saxophone
       2 = alto saxophone
       3 = tenor saxophone
       4 = tenor saxophone
       5 = baritone saxophone
";

/// A passage of four or five saxophones, as its rows from `chord` on; a line `technique:` before them
/// states one.
pub(super) struct DiagnosedGrid {
    score: Score,
    passage: Passage,
    judging: Judging,
}

impl DiagnosedGrid {
    pub(super) fn new(rows: &str) -> Self {
        Self::in_style(rows, &Style::default())
    }

    pub(super) fn in_style(rows: &str, style: &Style) -> Self {
        let trimmed: Vec<&str> = rows.lines().map(str::trim).collect();
        let head = if trimmed.iter().any(|l| l.starts_with("5 ")) {
            FIVE
        } else {
            FOUR
        };
        // Header lines come before the parts, and a blank line before the system.
        let (header, system): (Vec<&str>, Vec<&str>) = trimmed
            .into_iter()
            .filter(|l| !l.is_empty())
            .partition(|l| !l.contains('|'));
        let text = format!("{}\n{head}\n{}\n", header.join("\n"), system.join("\n"));
        let score = grid::read(Path::new("example.passage"), text.trim_start().into()).unwrap();
        let passage = passages(&score, style).remove(0);
        let judging = Judging {
            habits: passage.habits,
            only_diminished: style.only_diminished,
        };
        Self {
            score,
            passage,
            judging,
        }
    }

    /// The account of the sonority at a bar and beat, both 1-based: `ROW: OUTCOME`, and for a slip the
    /// parts at fault with the notes that they sound and should sound.
    pub(super) fn account(&self, bar: u32, beat: f64) -> String {
        let at = self.index(bar, beat);
        self.ask(at, |case, at_top| {
            let verdict = judge(case).verdict;
            assert_eq!(verdict, self.passage.diagnoses[at].verdict);
            let row = match first(case, at_top) {
                Some((row, account)) if account.verdict == verdict => row,
                None if verdict == Verdict::LeftAlone => "no row",
                _ => "shape or triad",
            };
            format!("{row}: {}", self.outcome(&verdict))
        })
    }

    /// Every row of the order that would account for the sonority at a bar and beat.
    pub(super) fn rows(&self, bar: u32, beat: f64) -> Vec<&'static str> {
        self.ask(self.index(bar, beat), |case, at_top| {
            let answers = |ask: &Ask| match ask {
                Ask::Clear(clear) => clear(case, at_top).is_some(),
                Ask::Slip(explain) => explain(case, at_top).is_some(),
            };
            let rows = ORDER.iter().filter(|(_, ask)| answers(ask));
            rows.map(|(row, _)| *row).collect()
        })
    }

    fn ask<T>(&self, at: usize, question: impl Fn(&Case<'_>, &[Candidate<'_>]) -> T) -> T {
        let next = self.passage.diagnoses.get(at + 1);
        let target = target(&self.passage, at, next);
        let in_force = self.passage.in_force[at].unwrap();
        let held_to = HeldTo {
            technique: in_force.technique.mechanical().unwrap(),
            how: in_force.how,
            stated_for_four: in_force.stated_for_four,
        };
        let context = Context::at(&self.score, &self.passage, at).unwrap();
        let case = Case::new(context, held_to, target.as_ref(), self.judging);
        question(&case, &case.candidates(case.top(), 0))
    }

    fn index(&self, bar: u32, beat: f64) -> usize {
        let quarter = self.score.per_quarter.0 as f64;
        let is_there = |s: &Sonority| {
            s.at.bar + 1 == bar && (s.at.offset.0 as f64 / quarter + 1.0 - beat).abs() < 1e-6
        };
        let found = self.passage.sonorities.iter().position(is_there);
        found.unwrap_or_else(|| panic!("nothing starts at {bar}:{beat}"))
    }

    fn outcome(&self, verdict: &Verdict) -> String {
        let slip = match verdict {
            Verdict::LeftAlone => return "left alone".to_owned(),
            Verdict::Right(way) => return way.map_or("right".to_owned(), |w| format!("{w:?}")),
            Verdict::Slip(slip) => slip,
        };
        let part = |index: u32| &self.score.parts[index as usize].name;
        let faults = slip
            .faults
            .iter()
            .map(|f| format!(", {} {} for {}", part(f.note.part), f.found, f.expected));
        let kind = match slip.kind {
            SlipKind::DoubledNote(missing) => format!("DoubledNote, {missing} is missing"),
            SlipKind::AlteredTension(name) => format!("AlteredTension {name}"),
            kind => format!("{kind:?}"),
        };
        format!("{kind}{}", faults.collect::<String>())
    }
}
