//! Readings of a sonority with what each costs, and the account that is made of the cheapest.

use super::case::Case;
use super::habits::ApproachHarmony;
use super::outcome::{Slip, SlipKind, Verdict};
use super::technique::How;
use crate::style::{Costs, Level};
use crate::voicing::{Colour, Harmonisation, Voicing, Way};

/// One way to understand a sonority.
#[derive(Clone)]
pub(super) struct Reading<'a> {
    /// In the points of `rules/diagnosis.toml`.
    pub(super) cost: i32,
    pub(super) says: Says<'a>,
    /// Which of the chords it may belong to it is read under.
    pub(super) chord: usize,
    /// How its approach note is harmonised, for counting habits.
    pub(super) approach: Option<ApproachHarmony>,
}

/// What a reading says of the sonority.
#[derive(Clone)]
pub(super) enum Says<'a> {
    /// Right; how its lead is harmonised, where a chord symbol says.
    Right(Option<Way>),
    /// Nothing: it is the writer's own.
    LeftAlone,
    /// A slip.
    Slip(Meant<'a>),
}

/// A slip, and what was meant.
#[derive(Clone)]
pub(super) struct Meant<'a> {
    pub(super) kind: SlipKind,
    pub(super) harmony: Option<Harmonisation<'a>>,
    /// Sounding semitones from the top; empty where nothing better is known.
    pub(super) voicing: Voicing,
}

impl Reading<'_> {
    pub(super) const fn left_alone(cost: i32) -> Self {
        Self {
            cost,
            says: Says::LeftAlone,
            chord: 0,
            approach: None,
        }
    }

    /// Right, with how the lead is harmonised.
    pub(super) const fn right(cost: i32, way: Way, chord: usize) -> Self {
        Self {
            cost,
            says: Says::Right(Some(way)),
            chord,
            approach: None,
        }
    }

    pub(super) const fn is_slip(&self) -> bool {
        matches!(self.says, Says::Slip(_))
    }
}

/// The account of one sonority: the cheapest of its readings.
#[derive(Clone, Debug)]
pub(super) struct Account {
    pub(super) verdict: Verdict,
    /// How its approach note is harmonised, for counting habits.
    pub(super) approach: Option<ApproachHarmony>,
    /// Which of the chords it may belong to it was read under.
    pub(super) chord: usize,
    pub(super) cost: i32,
}

impl Account {
    pub(super) const LEFT_ALONE: Self = Self {
        verdict: Verdict::LeftAlone,
        approach: None,
        chord: 0,
        cost: 0,
    };

    /// The cheapest of these readings; of two that cost the same, the one without a slip.
    pub(super) fn cheapest(case: &Case<'_>, readings: &[Reading<'_>]) -> Self {
        let best = readings.iter().min_by_key(|r| (r.cost, r.is_slip()));
        let clean = readings.iter().filter(|r| !r.is_slip()).map(|r| r.cost);
        let clean = clean.min().unwrap_or(case.judging.costs.free.stated);
        let Some(best) = best else {
            return Self::LEFT_ALONE;
        };
        Self {
            verdict: best.verdict(case, clean - best.cost),
            approach: best.approach,
            chord: best.chord,
            cost: best.cost,
        }
    }
}

impl Reading<'_> {
    /// The verdict that a reading comes to, by so much cheaper than any without a slip.
    fn verdict(&self, case: &Case<'_>, margin: i32) -> Verdict {
        match &self.says {
            Says::Right(way) => Verdict::Right(*way),
            Says::LeftAlone => Verdict::LeftAlone,
            Says::Slip(meant) => {
                let mut slip = case.slip(meant.kind, meant.harmony.as_ref(), &meant.voicing);
                slip.rests_on_technique =
                    case.how == How::Inferred && !is_off_the_chord(case, &slip);
                slip.weigh(margin, case.judging.costs)
                    .map_or(Verdict::LeftAlone, Verdict::Slip)
            }
        }
    }
}

/// Whether every note at fault is one that no chord it may belong to has a place for: then the symbol
/// convicts it, whatever the technique.
fn is_off_the_chord(case: &Case<'_>, slip: &Slip) -> bool {
    slip.kind == SlipKind::WrongNote
        && !slip.faults.is_empty()
        && slip.faults.iter().all(|fault| {
            let class = fault.found.class();
            let mut colours = case.frames.iter().map(|f| f.colour(class));
            colours.all(|c| matches!(c, Colour::Foreign | Colour::Avoid))
        })
}

impl Slip {
    /// Gives a slip its margin and the level that its evidence allows; `None` where the margin is too thin
    /// to say anything.
    pub(super) fn weigh(mut self, margin: i32, costs: &Costs) -> Option<Self> {
        if margin < costs.margin.thin {
            return None;
        }
        self.margin = margin;
        self.at_most = if margin < costs.margin.clear {
            Level::Note
        } else if self.rests_on_technique {
            Level::Warning
        } else {
            Level::Error
        };
        Some(self)
    }
}
