//! Diagnoses the sonorities of a passage one after the other.

use super::account::Account;
use super::approach::approach_in_form;
use super::case::{Case, Context, HeldTo};
use super::form::FormCase;
use super::habits::{ApproachHarmony, Habits, Judging};
use super::judge::judge;
use super::outcome::{Diagnosis, Slip, Verdict};
use super::passage::Passage;
use super::path::{self, CheapestWay};
use super::technique::{How, Said};
use crate::score::Score;
use crate::sonority::Sonority;
use crate::style::{Costs, Style};
use crate::voicing::{Form, Frame, Mechanical, Technique, Voicing, Way};

/// Diagnoses a whole passage: the techniques that nobody states, the habits by which it is judged, and each
/// sonority.
pub(super) fn diagnose(score: &Score, style: &Style, passage: &mut Passage, said: &[Said]) {
    let mut judging = Judging {
        habits: Habits::default(),
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    let mut way = find_way(score, passage, said, judging);
    let mut judged = judge_all(score, passage, judging, None);
    if !style.only_diminished {
        let habits = Habits::cheapest(judged.iter().filter_map(|j| j.approach), &style.costs);
        if habits != passage.habits {
            judging.habits = habits;
            passage.habits = habits;
            way = find_way(score, passage, said, judging);
            judged = judge_all(score, passage, judging, None);
        }
    }
    for (judged, margin) in judged.iter_mut().zip(way.margins) {
        weigh_in_passage(&mut judged.diagnosis, margin, &style.costs);
    }
    passage.costs = judged.iter().map(|j| j.cost).collect();
    passage.diagnoses = diagnoses(judged);
}

/// Takes the techniques of the cheapest way through a passage.
fn find_way(
    score: &Score,
    passage: &mut Passage,
    said: &[Said],
    judging: Judging<'_>,
) -> CheapestWay {
    let mut way = path::cheapest(score, passage, said, judging);
    if passage.section.chordal && !passage.alone {
        // A band's keyboard comps: it may sound like a technique, but nobody holds it to one.
        for slot in &mut way.in_force {
            *slot = slot.filter(|f| f.how != How::Inferred);
        }
    }
    passage.in_force.clone_from(&way.in_force);
    way
}

/// Weighs a slip once more where the whole passage has a cheaper account without it than its sonority has by
/// itself.
fn weigh_in_passage(diagnosis: &mut Diagnosis, margin: Option<i32>, costs: &Costs) {
    let Some(margin) = margin else { return };
    if let Verdict::Slip(slip) = &mut diagnosis.verdict
        && margin < slip.margin
    {
        diagnosis.verdict = slip
            .clone()
            .weigh(margin, costs)
            .map_or(Verdict::LeftAlone, Verdict::Slip);
    }
}

/// Diagnoses a passage whose habits are known.
pub(super) fn diagnose_with(
    score: &Score,
    style: &Style,
    passage: &Passage,
    habits: Habits,
) -> Vec<Diagnosis> {
    let judging = Judging {
        habits,
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    diagnoses(judge_all(score, passage, judging, None))
}

/// Diagnoses a passage in which notes have changed pitch since `before`. It comes with the diagnoses of
/// then, and what no change is near to keeps its own.
pub(super) fn diagnose_again(
    score: &Score,
    style: &Style,
    passage: &mut Passage,
    before: &Passage,
) {
    let old = before.sonorities.iter().zip(&before.leads);
    let new = passage.sonorities.iter().zip(&passage.leads);
    let earlier = Earlier {
        before,
        touched: old.zip(new).map(|(a, b)| a != b).collect(),
        diagnoses: std::mem::take(&mut passage.diagnoses),
    };
    let judging = Judging {
        habits: passage.habits,
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    passage.diagnoses = diagnoses(judge_all(score, passage, judging, Some(earlier)));
}

/// What is known of a passage from before some of its notes changed pitch.
struct Earlier<'a> {
    before: &'a Passage,
    /// For each sonority, whether it or its lead note is another than before.
    touched: Vec<bool>,
    /// The diagnoses of then.
    diagnoses: Vec<Diagnosis>,
}

impl Earlier<'_> {
    /// Whether the diagnosis of a sonority stands as it was, unless that of the next has changed:
    /// nothing else that is looked at for it was touched, which are its neighbours, the next lead note,
    /// and what sounds when the chord changes that its lead may anticipate.
    fn stands(&self, at: usize) -> bool {
        let after = at + 1..self.touched.len();
        let leads = self.before.leads.get(after.clone()).unwrap_or_default();
        let mut last = at
            + 1
            + leads
                .iter()
                .position(Option::is_some)
                .unwrap_or(leads.len());
        if let Some(lead) = self.before.leads.get(at).copied().flatten() {
            let until = lead.onset + lead.beat;
            let later = self.before.sonorities.get(after).unwrap_or_default();
            last = last.max(at + later.partition_point(|s| s.onset <= until));
        }
        let near = at.saturating_sub(1)..self.touched.len().min(last + 1);
        self.touched
            .get(near)
            .is_some_and(|near| !near.contains(&true))
    }
}

/// A diagnosis, and what it says of a habit.
#[derive(Clone)]
struct Judged {
    diagnosis: Diagnosis,
    approach: Option<ApproachHarmony>,
    cost: i32,
}

impl Judged {
    const fn unseen(diagnosis: Diagnosis) -> Self {
        Self {
            diagnosis,
            approach: None,
            cost: 0,
        }
    }
}

fn diagnoses(judged: Vec<Judged>) -> Vec<Diagnosis> {
    judged.into_iter().map(|j| j.diagnosis).collect()
}

/// Diagnoses from last to first, since approach chords are judged by what they lead to.
fn judge_all(
    score: &Score,
    passage: &Passage,
    judging: Judging<'_>,
    mut earlier: Option<Earlier<'_>>,
) -> Vec<Judged> {
    let mut out: Vec<Judged> = match &mut earlier {
        Some(earlier) => {
            let diagnoses = std::mem::take(&mut earlier.diagnoses);
            diagnoses.into_iter().map(Judged::unseen).collect()
        }
        None => vec![Judged::unseen(Diagnosis::LEFT_ALONE); passage.sonorities.len()],
    };
    // Whether what follows is to be written as before.
    let mut follows_as_before = earlier.is_some();
    for (at, sonority) in passage.sonorities.iter().enumerate().rev() {
        if follows_as_before && earlier.as_ref().is_some_and(|e| e.stands(at)) {
            continue;
        }
        let result = sonority.is_block().then(|| {
            let next = out.get(at + 1).map(|j| &j.diagnosis);
            let target = target(passage, at, next);
            judge_one(score, passage, at, target.as_ref(), judging)
        });
        let result = result.flatten().unwrap_or_else(|| {
            let free = sonority.is_block() && !is_one_note(sonority);
            Judged {
                cost: if free { judging.costs.free.writing } else { 0 },
                ..Judged::unseen(left_alone(score, passage, at))
            }
        });
        if let Some(Earlier { before, .. }) = earlier {
            let before = before.sonorities.get(at).zip(before.diagnoses.get(at));
            let before = before.map(|(sonority, diagnosis)| as_meant(sonority, diagnosis));
            follows_as_before = before == Some(as_meant(sonority, &result.diagnosis));
        }
        if let Some(slot) = out.get_mut(at) {
            *slot = result;
        }
    }
    out
}

/// A unison or octaves.
fn is_one_note(sonority: &Sonority) -> bool {
    let top = sonority.voices.first().map_or(0, |v| v.midi);
    sonority.voices.iter().all(|v| (v.midi - top) % 12 == 0)
}

/// A sonority that is held to no technique. It is read under the chord that has a place for most of its
/// notes, of those it may belong to.
fn left_alone(score: &Score, passage: &Passage, at: usize) -> Diagnosis {
    let block = passage.sonorities.get(at).is_some_and(Sonority::is_block);
    let context = block.then(|| Context::at(score, passage, at)).flatten();
    let under = context.filter(|c| c.frames.len() > 1).and_then(|c| {
        let fitting = |f: &Frame<'_>| {
            let voices = c.sonority.voices.iter();
            voices.filter(|v| f.may_sound(v.midi)).count()
        };
        let best = (0..c.frames.len())
            .rev()
            .max_by_key(|i| c.frames.get(*i).map(fitting))?;
        c.since.get(best).copied()
    });
    Diagnosis {
        under,
        ..Diagnosis::LEFT_ALONE
    }
}

/// What the sonority after one should be, from the top, when it is of the same phrase and a block of as many
/// voices.
pub(super) fn target(passage: &Passage, at: usize, next: Option<&Diagnosis>) -> Option<Voicing> {
    let (sonority, diagnosis) = passage.sonorities.get(at + 1).zip(next)?;
    if !passage.phrase_of(at).contains(&(at + 1)) {
        return None;
    }
    let voices = passage.sonorities.get(at)?.voices.len();
    Some(as_meant(sonority, diagnosis)).filter(|target| target.len() == voices)
}

/// A sonority as it was meant to be, as far as its diagnosis can tell.
fn as_meant(sonority: &Sonority, diagnosis: &Diagnosis) -> Voicing {
    match &diagnosis.verdict {
        Verdict::Slip(slip) if !slip.expected.is_empty() => {
            slip.expected.iter().map(|p| p.midi()).collect()
        }
        _ => sonority.midi(),
    }
}

fn judge_one(
    score: &Score,
    passage: &Passage,
    at: usize,
    target: Option<&Voicing>,
    judging: Judging<'_>,
) -> Option<Judged> {
    let in_force = (*passage.in_force.get(at)?)?;
    let context = Context::at(score, passage, at)?;
    let sonority = context.sonority;
    let function = context.function();
    let is_pedal = context.is_pedal();
    let since = context.since.clone();
    // Upper structures stand over dominants; elsewhere such a passage is in drop 2 with doubled lead.
    let technique = match in_force.technique {
        Technique::Form(Form::UpperStructure)
            if sonority.voices.len() == 5
                && context.frames.first().is_some_and(|f| !f.is_dominant()) =>
        {
            Technique::Mechanical(Mechanical::Drop2DoubledLead)
        }
        t => t,
    };
    let account = match technique {
        Technique::Mechanical(technique) => {
            let held_to = HeldTo {
                technique,
                how: in_force.how,
                stated_for_four: in_force.stated_for_four,
            };
            judge(&Case::new(context, held_to, target, judging))
        }
        Technique::Form(form) if approach_in_form(&context, form, target, judging) => Account {
            verdict: Verdict::Right(Some(Way::Dominant)),
            ..Account::LEFT_ALONE
        },
        Technique::Form(form) => {
            let case = FormCase {
                sonority,
                form,
                how: in_force.how,
                frames: &context.frames,
                before: context.frame_before(),
                lead: context.lead,
                key: context.key,
            };
            let verdict = case.judge(judging.costs);
            Account {
                cost: match verdict {
                    Verdict::Right(_) => 0,
                    Verdict::LeftAlone | Verdict::Slip(_) => judging.costs.technique.misfit,
                },
                verdict,
                ..Account::LEFT_ALONE
            }
        }
    };
    // Only what is struck here is at fault, and under a pedal the chords go their own way. An inferred
    // technique convicts nobody where too few chords that move keep it.
    let verdict = match account.verdict {
        Verdict::Slip(slip)
            if is_pedal
                || blames_held(sonority, &slip)
                || slip.rests_on_technique && !in_force.convicts =>
        {
            Verdict::LeftAlone
        }
        other => other,
    };
    Some(Judged {
        diagnosis: Diagnosis {
            technique: Some(in_force),
            function,
            under: since.get(account.chord).copied(),
            verdict,
        },
        approach: account.approach,
        cost: account.cost,
    })
}

/// Whether a slip is that of a note held from before.
fn blames_held(sonority: &Sonority, slip: &Slip) -> bool {
    sonority
        .voices
        .iter()
        .any(|v| !v.attacked && slip.faults.iter().any(|f| f.note == v.note))
}
