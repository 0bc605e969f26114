//! The accounts of one place that were weighed, the cheapest first, so that a person can see why the program
//! thinks so.

use super::account::{Reading, Says};
use super::case::{Case, Context, HeldTo};
use super::diagnose::target;
use super::habits::Judging;
use super::judge::readings;
use super::outcome::SlipKind;
use super::passage::Passage;
use super::technique::{How, InForce};
use crate::ground::pitch::Pitch;
use crate::score::Score;
use crate::style::Style;
use crate::voicing::{Mechanical, Technique, Way};

/// One account of a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighed {
    /// What it costs, in the points of `rules/diagnosis.toml`, changes of technique among them.
    pub cost: i32,
    /// The technique it reads the place in; `None` for writing in none.
    pub technique: Option<Technique>,
    /// What it is called that stands under the lead: `C6`, `Bdim7`.
    pub harmony: Option<String>,
    /// The chord symbol that it is read under.
    pub chord: Option<String>,
    /// What it says.
    pub says: WeighedAs,
    /// The right voicing at sounding pitch from the top, where it is a slip.
    pub expected: Vec<Pitch>,
}

/// What an account says of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WeighedAs {
    /// Right, and how the lead is harmonised.
    Right(Option<Way>),
    /// The writer's own.
    LeftAlone,
    /// A slip.
    Slip(SlipKind),
}

/// The accounts of a sonority, the cheapest first: in the technique in force, in others where it was
/// inferred, and in none. Of those that say the same only the cheapest stands.
pub fn weighed(score: &Score, style: &Style, passage: &Passage, at: usize) -> Vec<Weighed> {
    let judging = Judging {
        habits: passage.habits,
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    let in_force = passage.in_force.get(at).copied().flatten();
    let Some(sonority) = passage.sonorities.get(at).filter(|s| s.is_block()) else {
        return Vec::new();
    };
    let stated = in_force.filter(|f| f.how != How::Inferred);
    let own = in_force.and_then(|f| f.technique.mechanical());
    let techniques = Mechanical::EVERY
        .into_iter()
        .filter(|t| t.voices() == sonority.voices.len())
        .filter(|t| stated.is_none_or(|_| own == Some(*t)));
    let change = |same: bool| {
        if same {
            0
        } else {
            style.costs.technique.change * 2
        }
    };
    let mut all: Vec<Weighed> = Vec::new();
    for technique in techniques {
        let Some(context) = Context::at(score, passage, at) else {
            continue;
        };
        let held_to = HeldTo {
            technique,
            how: stated.map_or(How::Inferred, |f| f.how),
            stated_for_four: in_force.and_then(|f: InForce| f.stated_for_four),
        };
        let target = target(passage, at, passage.diagnoses.get(at + 1));
        let case = Case::new(context, held_to, target.as_ref(), judging);
        let more = change(own == Some(technique) || in_force.is_none());
        for reading in readings(&case) {
            all.push(weigh(&case, &reading, more));
        }
    }
    if stated.is_none() {
        all.push(Weighed {
            cost: style.costs.free.writing + change(in_force.is_none()),
            technique: None,
            harmony: None,
            chord: None,
            says: WeighedAs::LeftAlone,
            expected: Vec::new(),
        });
    }
    all.sort_by_key(|w| (w.cost, matches!(w.says, WeighedAs::Slip(_))));
    let mut kept: Vec<Weighed> = Vec::new();
    for one in all {
        let same = |w: &Weighed| {
            (w.technique, w.says, &w.expected, &w.harmony)
                == (one.technique, one.says, &one.expected, &one.harmony)
        };
        if !kept.iter().any(same) {
            kept.push(one);
        }
    }
    kept
}

fn weigh(case: &Case<'_>, reading: &Reading<'_>, more: i32) -> Weighed {
    let (says, harmony, expected) = match &reading.says {
        Says::Right(way) => (WeighedAs::Right(*way), None, Vec::new()),
        Says::LeftAlone => (WeighedAs::LeftAlone, None, Vec::new()),
        Says::Slip(meant) => {
            let slip = case.slip(meant.kind, meant.harmony.as_ref(), &meant.voicing);
            (WeighedAs::Slip(meant.kind), slip.harmony, slip.expected)
        }
    };
    Weighed {
        cost: reading.cost + more,
        technique: Some(Technique::Mechanical(case.technique)),
        harmony,
        chord: case.chords.get(reading.chord).map(|c| c.text.clone()),
        says,
        expected,
    }
}
