//! The input of every rule: the diagnosed score, and the views of it that several rules ask for.
//! Each view is made once, when the first rule asks for it.

use super::diagnosed::DiagnosedScore;
use super::rule::Rule;
use super::shared::crossing::{self, Crossing};
use super::shared::free::{self, FreeChord};
use super::shared::line::{self, Line};
use super::shared::together::Together;
use super::shared::whole::Whole;
use crate::ground::instrument::Instrument;
use crate::score::NoteRef;
use rustc_hash::FxHashSet;
use std::ops::{Deref, Range};
use std::sync::{Mutex, OnceLock, PoisonError};

/// The input of every rule.
pub struct RuleInput<'a> {
    pub(super) diagnosed: DiagnosedScore<'a>,
    pub(super) about_rules: AboutRules,
    lines: OnceLock<Vec<Line<'a>>>,
    free: OnceLock<Vec<FreeChord<'a>>>,
    together: OnceLock<Vec<Together>>,
    whole: OnceLock<Whole>,
    crossings: OnceLock<Crossings<'a>>,
    /// What could not be checked, in sentences.
    remarks: Mutex<Vec<String>>,
}

/// What the shared views have to know of single rules.
pub(super) struct AboutRules {
    /// Every rule of the program: a waiver may name each of them.
    pub all: &'static [&'static Rule],
    /// The least share of matching attacks with which a part belongs to its section, 0 to 1.
    pub together: f64,
    /// Whether a crossing of the lead is reported.
    pub lead_crossings: bool,
    /// Whether a crossing of other voices is reported.
    pub other_crossings: bool,
}

/// Every crossing, and the notes of those that are reported.
struct Crossings<'a> {
    all: Vec<Crossing<'a>>,
    notes: FxHashSet<NoteRef>,
}

impl<'a> Deref for RuleInput<'a> {
    type Target = DiagnosedScore<'a>;

    fn deref(&self) -> &DiagnosedScore<'a> {
        &self.diagnosed
    }
}

impl<'a> RuleInput<'a> {
    pub(super) fn of(diagnosed: DiagnosedScore<'a>, about_rules: AboutRules) -> Self {
        Self {
            diagnosed,
            about_rules,
            lines: OnceLock::new(),
            free: OnceLock::new(),
            together: OnceLock::new(),
            whole: OnceLock::new(),
            crossings: OnceLock::new(),
            remarks: Mutex::default(),
        }
    }

    /// The same for some bars only (0-based): rules that walk through parts stay within them.
    #[must_use]
    pub fn within(mut self, bars: Range<u32>) -> Self {
        self.diagnosed.bars = Some(bars);
        self
    }

    /// Sentences about what could not be checked, from the rules that have run.
    pub fn remarks(&self) -> Vec<String> {
        self.remarks
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    pub(super) fn remark(&self, sentence: String) {
        self.remarks
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(sentence);
    }

    /// Every part that plays one note at a time, by its instrument and in fact, of these instruments.
    pub(super) fn lines(&self, wanted: fn(&Instrument) -> bool) -> impl Iterator<Item = &Line<'a>> {
        let all = self.lines.get_or_init(|| line::lines(&self.diagnosed));
        all.iter().filter(move |line| wanted(line.instrument))
    }

    /// Every chord of free writing.
    pub(super) fn free_chords(&self) -> &[FreeChord<'a>] {
        self.free.get_or_init(|| free::chords(&self.diagnosed))
    }

    /// Each section's parts bar by bar, in the order of `passages`.
    pub(super) fn together(&self) -> &[Together] {
        self.together.get_or_init(|| {
            let sections = self.passages.iter().map(|p| &p.section);
            sections
                .map(|section| Together::of(self.score, section, self.about_rules.together))
                .collect()
        })
    }

    /// The parts of the score by their bars.
    pub(super) fn whole(&self) -> &Whole {
        self.whole.get_or_init(|| Whole::of(self.score))
    }

    /// Every crossing of the passages that no slip explains.
    pub(super) fn crossings(&self) -> &[Crossing<'a>] {
        &self.crossed().all
    }

    /// Whether a slip or a crossing that is reported explains this note.
    pub(super) fn is_explained(&self, note: NoteRef) -> bool {
        self.is_claimed(note) || self.crossed().notes.contains(&note)
    }

    fn crossed(&self) -> &Crossings<'a> {
        self.crossings.get_or_init(|| {
            let all = crossing::crossings(&self.diagnosed);
            let reported = all.iter().filter(|c| {
                if c.lead {
                    self.about_rules.lead_crossings
                } else {
                    self.about_rules.other_crossings
                }
            });
            let notes = reported.flat_map(|c| &c.faults).map(|f| f.note).collect();
            Crossings { all, notes }
        })
    }
}
