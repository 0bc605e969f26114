//! Rules of a house's own, worked out on a score: each for every note, sonority, line step, bar or
//! part. [`crate::condition`] has read and checked their conditions.

mod facts;
mod message;
mod value;
mod views;

use self::facts::ScoreFacts;
use self::message::{described, message};
use self::value::{FactValue, Outcome, outcome};
use self::views::{
    BarView, NameValues, NoteView, PartInSection, PartView, SonorityView, StepView, part_of,
};
use super::RuleInput;
use crate::condition::{Condition, MessagePiece, Player, Scope, Test, Var};
use crate::diagnosis::{Passage, frame_at};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use crate::score::Place;
use crate::score::{Change, NoteRef};
use crate::sonority::{Sonority, voice_number};
use crate::style::{HouseRule, ListLooks, MendBy, VoiceAt};
use std::cell::Cell;
use std::collections::HashMap;

/// The most findings of one rule in one score: a rule that finds more is not meant so.
const MOST: usize = 200;

/// How many values of lists within lists the house's rules look at in one score. A section of five
/// takes a rule some 50 at a chord, so that 100 such rules are asked of 4,000 chords.
const MOST_LIST_LOOKS: u64 = 20_000_000;

/// A rule that is on, with the number of its findings so far.
struct RuleInUse<'r> {
    rule: &'r HouseRule,
    level: Level,
    found: Cell<usize>,
    has_failed: Cell<bool>,
    looks: Option<ListLooks>,
    /// How many places it was not asked of.
    passed_over: Cell<usize>,
}

impl RuleInUse<'_> {
    fn tests(&self, outer: bool) -> impl Iterator<Item = &Test> {
        let Condition { tests } = &self.rule.condition;
        tests.iter().filter(move |t| t.outer == outer)
    }
}

/// Runs the house's own rules, or only the one of this name.
pub(super) fn check(reading: &RuleInput<'_>, only: Option<&str>, out: &mut Vec<Finding>) {
    let own = reading.style.own.iter();
    let rules: Vec<RuleInUse<'_>> = own
        .filter(|rule| only.is_none_or(|name| rule.name == name))
        .filter_map(|rule| {
            Some(RuleInUse {
                rule,
                level: reading.style.level(rule.name, rule.level)?,
                found: Cell::new(0),
                has_failed: Cell::new(false),
                looks: rule.list_looks(),
                passed_over: Cell::new(0),
            })
        })
        .collect();
    if rules.is_empty() {
        return;
    }
    let facts = ScoreFacts::new(reading.score);
    let of = |scope: Scope| -> Vec<&RuleInUse<'_>> {
        rules.iter().filter(|r| r.rule.scope == scope).collect()
    };
    let mut own = OwnRules {
        reading,
        facts: &facts,
        found: Vec::new(),
        list_looks: MOST_LIST_LOOKS,
    };
    let (notes, steps) = (of(Scope::Note), of(Scope::Step));
    let (sonorities, bars, parts) = (of(Scope::Sonority), of(Scope::Bar), of(Scope::Part));
    for passage in reading.passages {
        own.notes(passage, &notes);
        own.steps(passage, &steps);
        own.sonorities(passage, &sonorities);
        // A few bars looked at again say nothing of a whole part, nor of a bar at their edge.
        if !reading.is_recheck() {
            own.bars(passage, &bars);
            own.parts(passage, &parts);
        }
    }
    out.extend(together(own.found));
    for rule in &rules {
        let passed_over = rule.passed_over.get();
        if passed_over > 0 {
            reading.remark(format!(
                "the house's rule {} was not asked of {passed_over} chords: its `when` or `message` looks through \
                 lists within lists, and the looks that one score is given came to their end; ask less of them ({})",
                rule.rule.name, rule.rule.origin
            ));
        }
        if let Some(more) = rule.found.get().checked_sub(MOST).filter(|n| *n > 0) {
            reading.remark(format!(
                "the house's rule {} finds {more} more places than the {MOST} listed: is its `when` as it is meant? ({})",
                rule.rule.name, rule.rule.origin
            ));
        }
    }
}

/// Findings of one rule that say the same of several parts of a section at one place are one.
fn together(found: Vec<Finding>) -> Vec<Finding> {
    let mut all: Vec<Finding> = Vec::new();
    let mut by: HashMap<(&'static str, Place, Option<String>, String), usize> = HashMap::new();
    for finding in found {
        let key = (
            finding.rule,
            finding.at,
            finding.section.clone(),
            finding.message.clone(),
        );
        let known = by.get(&key).and_then(|&i| all.get_mut(i));
        let Some(known) = known.filter(|_| !finding.notes.is_empty()) else {
            by.insert(key, all.len());
            all.push(finding);
            continue;
        };
        known.parts.extend(&finding.parts);
        known.parts.sort_unstable();
        known.parts.dedup();
        known.notes.extend(finding.notes);
        for (ways, more) in known.remedies.iter_mut().zip(finding.remedies) {
            ways.extend(more);
        }
    }
    all
}

/// A note at fault, with how it may be mended.
struct MendableNote {
    note: NoteRef,
    voice: u8,
    pitch: Pitch,
}

/// The place of a finding, and the notes at fault.
struct FindingPlace<'s> {
    passage: &'s Passage,
    at: Place,
    onset: Ticks,
    parts: Vec<u32>,
    /// The index of the sonority, when there is one.
    sonority: Option<usize>,
    faults: Vec<MendableNote>,
    /// The fault that a fix changes.
    mended: Option<usize>,
}

struct OwnRules<'h, 'r> {
    reading: &'h RuleInput<'r>,
    facts: &'h ScoreFacts<'h>,
    found: Vec<Finding>,
    /// How many values of lists within lists may still be looked at.
    list_looks: u64,
}

impl<'h> OwnRules<'h, '_> {
    /// Whether all tests hold. A test that fails is reported once for each rule.
    fn holds<'t>(
        &self,
        rule: &RuleInUse<'_>,
        tests: impl Iterator<Item = &'t Test>,
        at: (&Passage, Place),
        value: impl Fn(&Var) -> FactValue<'t>,
    ) -> bool {
        let mut stuck = false;
        let mut failed: Option<(String, &Test)> = None;
        for test in tests {
            match outcome(test, &value) {
                Outcome::Yes => {}
                Outcome::No => return false,
                Outcome::NotHere => stuck = true,
                Outcome::Failed(why) => failed = Some((why, test)),
            }
        }
        let Some((why, test)) = failed.filter(|_| !stuck) else {
            return !stuck;
        };
        if !rule.has_failed.replace(true) {
            let score = self.facts.score;
            let values: Vec<String> = test.vars.iter().map(|v| described(&value(v))).collect();
            self.reading.remark(format!(
                "bar {}, beat {}, {}: the house's rule {} cannot be worked out: {why} (its values: {}; {}); where that is so it says nothing",
                score.bar_number(at.1.bar),
                self.facts.beat(at.1),
                at.0.section.name,
                rule.rule.name,
                values.join("; "),
                rule.rule.origin
            ));
        }
        false
    }

    /// For each rule and each part of a section, whether the tests of the part alone hold.
    fn for_parts(
        &self,
        passage: &'h Passage,
        rules: &[&'h RuleInUse<'h>],
    ) -> HashMap<u32, (PartInSection<'h>, Vec<&'h RuleInUse<'h>>)> {
        let mut all = HashMap::new();
        for member in &passage.section.parts {
            let Some(in_section) = PartInSection::of(self.facts.score, passage, member) else {
                continue;
            };
            let value = |var: &Var| match var {
                Var::Named(_, name) => in_section.value(*name),
                _ => FactValue::Missing,
            };
            let on: Vec<&RuleInUse<'_>> = rules
                .iter()
                .copied()
                .filter(|r| self.holds(r, r.tests(true), (passage, Place::default()), value))
                .collect();
            if !on.is_empty() {
                all.insert(member.part, (in_section, on));
            }
        }
        all
    }

    fn notes(&mut self, passage: &'h Passage, rules: &[&'h RuleInUse<'h>]) {
        let parts = self.for_parts(passage, rules);
        if parts.is_empty() {
            return;
        }
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            for (from_top, voice) in sonority.voices.iter().enumerate() {
                let Some((in_section, on)) = parts.get(&voice.note.part).filter(|_| voice.attacked)
                else {
                    continue;
                };
                let Some(note) = in_section.part.notes.get(voice.note.note as usize) else {
                    continue;
                };
                let view = NoteView {
                    facts: self.facts,
                    in_section: *in_section,
                    index,
                    from_top,
                    voice,
                    note,
                };
                for rule in on {
                    let value = |v: &Var| view.value(v);
                    if self.holds(rule, rule.tests(false), (passage, note.at), value) {
                        let place = FindingPlace {
                            passage,
                            at: note.at,
                            onset: note.onset,
                            parts: vec![voice.note.part],
                            sonority: Some(index),
                            faults: vec![MendableNote {
                                note: voice.note,
                                voice: voice_number(from_top),
                                pitch: note.sounding,
                            }],
                            mended: Some(0),
                        };
                        self.report(rule, &view, &place);
                    }
                }
            }
        }
    }

    fn steps(&mut self, passage: &'h Passage, rules: &[&'h RuleInUse<'h>]) {
        let parts = self.for_parts(passage, rules);
        if parts.is_empty() {
            return;
        }
        // The last note of each line of a part; `None` after a chord, which is no line.
        let mut last: HashMap<(u32, u8, u8), Option<NoteView<'h>>> = HashMap::new();
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            let mut struck: HashMap<(u32, u8, u8), usize> = HashMap::new();
            for voice in sonority.voices.iter().filter(|v| v.attacked) {
                let part = parts.get(&voice.note.part).map(|(p, _)| p.part);
                if let Some(note) = part.and_then(|p| p.notes.get(voice.note.note as usize)) {
                    let key = (voice.note.part, note.staff, note.voice);
                    *struck.entry(key).or_default() += 1;
                }
            }
            for (from_top, voice) in sonority.voices.iter().enumerate() {
                let Some((in_section, on)) = parts.get(&voice.note.part).filter(|_| voice.attacked)
                else {
                    continue;
                };
                let Some(note) = in_section.part.notes.get(voice.note.note as usize) else {
                    continue;
                };
                let key = (voice.note.part, note.staff, note.voice);
                if struck.get(&key).is_some_and(|n| *n > 1) {
                    last.insert(key, None);
                    continue;
                }
                let to = NoteView {
                    facts: self.facts,
                    in_section: *in_section,
                    index,
                    from_top,
                    voice,
                    note,
                };
                let Some(Some(from)) = last.insert(key, Some(to)) else {
                    continue;
                };
                if from.voice.end > note.onset {
                    continue;
                }
                let view = StepView { from, to };
                for rule in on {
                    let value = |v: &Var| view.value(v);
                    if self.holds(rule, rule.tests(false), (passage, note.at), value) {
                        let fault = |v: &NoteView<'_>| MendableNote {
                            note: v.voice.note,
                            voice: voice_number(v.from_top),
                            pitch: v.note.sounding,
                        };
                        let place = FindingPlace {
                            passage,
                            at: note.at,
                            onset: note.onset,
                            parts: vec![voice.note.part],
                            sonority: Some(index),
                            faults: vec![fault(&view.from), fault(&view.to)],
                            mended: Some(1),
                        };
                        self.report(rule, &view, &place);
                    }
                }
            }
        }
    }

    fn sonorities(&mut self, passage: &'h Passage, rules: &[&'h RuleInUse<'h>]) {
        for rule in rules {
            let section = |var: &Var| match var {
                Var::Named(..) => FactValue::text(&passage.section.name),
                _ => FactValue::Missing,
            };
            if !self.holds(rule, rule.tests(true), (passage, Place::default()), section) {
                continue;
            }
            let players: Vec<(&Player, Option<u32>)> = players(rule.rule)
                .map(|who| (who, part_of(self.facts.score, passage, who)))
                .collect();
            for (index, sonority) in passage.sonorities.iter().enumerate() {
                if !self.may_look(rule, sonority) {
                    rule.passed_over.set(rule.passed_over.get() + 1);
                    continue;
                }
                let view = SonorityView {
                    facts: self.facts,
                    passage,
                    index,
                    sonority,
                    players: &players,
                };
                let value = |v: &Var| view.value(v);
                if !self.holds(rule, rule.tests(false), (passage, sonority.at), value) {
                    continue;
                }
                let voice = match rule.rule.voice.as_ref().map(|(_, v)| v) {
                    None => None,
                    Some(VoiceAt::FromTop(n)) => sonority
                        .voices
                        .get(usize::from(*n).saturating_sub(1))
                        .map(|v| (usize::from(*n).saturating_sub(1), v)),
                    Some(VoiceAt::Bottom) => sonority.voices.iter().enumerate().next_back(),
                    Some(VoiceAt::Of(who)) => view.voice(who),
                };
                let fault = |(i, v): (usize, &crate::sonority::Voice)| MendableNote {
                    note: v.note,
                    voice: voice_number(i),
                    pitch: v.pitch,
                };
                let mended = voice.map(|_| 0);
                let faults: Vec<MendableNote> = match voice {
                    Some(voice) => vec![fault(voice)],
                    None => sonority.voices.iter().enumerate().map(fault).collect(),
                };
                let mut parts: Vec<u32> = faults.iter().map(|f| f.note.part).collect();
                parts.sort_unstable();
                parts.dedup();
                let place = FindingPlace {
                    passage,
                    at: sonority.at,
                    onset: sonority.onset,
                    parts,
                    sonority: Some(index),
                    faults,
                    mended,
                };
                self.report(rule, &view, &place);
            }
        }
    }

    /// Takes from the looks that are left those of a rule at a sonority. Whoever looks again for a fix
    /// has counted them before.
    fn may_look(&mut self, rule: &RuleInUse<'_>, sonority: &Sonority) -> bool {
        let Some(looks) = rule.looks.filter(|_| !self.reading.is_recheck()) else {
            return true;
        };
        let left = self.list_looks.checked_sub(looks.at(sonority.voices.len()));
        self.list_looks = left.unwrap_or(0);
        left.is_some()
    }

    fn bars(&mut self, passage: &'h Passage, rules: &[&'h RuleInUse<'h>]) {
        if rules.is_empty() {
            return;
        }
        for (bar, time) in (0u32..).zip(&self.facts.score.bars) {
            if !passage.section.plays_in(time) {
                continue;
            }
            let from = passage.sonorities.partition_point(|s| s.at.bar < bar);
            let to = passage.sonorities.partition_point(|s| s.at.bar <= bar);
            let view = BarView {
                facts: self.facts,
                passage,
                bar,
                sonorities: passage.sonorities.get(from..to).unwrap_or_default(),
            };
            let at = Place {
                bar,
                offset: Ticks::ZERO,
            };
            for rule in rules {
                let tests = &rule.rule.condition.tests;
                if self.holds(rule, tests.iter(), (passage, at), |v| view.value(v)) {
                    let place = FindingPlace {
                        passage,
                        at,
                        onset: self
                            .facts
                            .score
                            .bars
                            .get(bar as usize)
                            .map(|b| b.start)
                            .unwrap_or_default(),
                        parts: passage.section.parts.iter().map(|p| p.part).collect(),
                        sonority: None,
                        faults: Vec::new(),
                        mended: None,
                    };
                    self.report(rule, &view, &place);
                }
            }
        }
    }

    fn parts(&mut self, passage: &'h Passage, rules: &[&'h RuleInUse<'h>]) {
        for member in passage.section.own_parts() {
            let Some(in_section) = PartInSection::of(self.facts.score, passage, member) else {
                continue;
            };
            let view = PartView {
                facts: self.facts,
                in_section,
            };
            let Some(first) = view.notes().next() else {
                continue;
            };
            for rule in rules {
                let tests = &rule.rule.condition.tests;
                if self.holds(rule, tests.iter(), (passage, first.at), |v| view.value(v)) {
                    let place = FindingPlace {
                        passage,
                        at: first.at,
                        onset: first.onset,
                        parts: vec![member.part],
                        sonority: None,
                        faults: Vec::new(),
                        mended: None,
                    };
                    self.report(rule, &view, &place);
                }
            }
        }
    }

    fn report(&mut self, rule: &RuleInUse<'_>, view: &dyn NameValues, place: &FindingPlace<'_>) {
        let count = rule.found.get() + 1;
        rule.found.set(count);
        if count > MOST {
            return;
        }
        let score = self.facts.score;
        let house = rule.rule;
        // Where a change of pitch is tried nobody reads what would be said of it.
        let tried = self.reading.is_recheck();
        let sonority = place.sonority.and_then(|i| place.passage.sonorities.get(i));
        let force = place
            .sonority
            .and_then(|i| place.passage.in_force.get(i).copied().flatten());
        let remedies = if tried {
            Vec::new()
        } else {
            self.remedies(house, place)
        };
        let label = match place.faults.as_slice() {
            [_] => "this note",
            [_, _] if house.scope == Scope::Step => "from here",
            _ => "",
        };
        let last = place.faults.len().saturating_sub(1);
        let notes: Vec<NoteAtFault> = place
            .faults
            .iter()
            .enumerate()
            .map(|(i, f)| NoteAtFault {
                note: f.note,
                voice: f.voice,
                expected: None,
                label: if house.scope == Scope::Step && i == last {
                    "to here".to_owned()
                } else {
                    label.to_owned()
                },
            })
            .collect();
        let suggestion = remedies
            .first()
            .and_then(|changes| super::in_words(score, changes));
        self.found.push(Finding {
            section: Some(place.passage.section.name.clone()),
            parts: place.parts.clone(),
            why: if tried {
                String::new()
            } else {
                let why = house.why.as_deref();
                why.unwrap_or("The house style asks for it.").to_owned()
            },
            source: house.source.unwrap_or("house style"),
            chord: self.facts.chord(place.onset).map(|c| c.text.clone()),
            technique: force.map(|f| f.technique.name().to_owned()),
            notes,
            found: sonority.map(Sonority::pitches).unwrap_or_default(),
            suggestion,
            remedies,
            ..Finding::new(
                house.name,
                rule.level,
                place.at,
                message(&house.message, view),
            )
        });
    }

    fn remedies(&self, rule: &HouseRule, place: &FindingPlace<'_>) -> Vec<Vec<Change>> {
        let Some(fault) = place.mended.and_then(|i| place.faults.get(i)) else {
            return Vec::new();
        };
        let key = place.passage.key_at(self.facts.score, place.onset);
        let frame = frame_at(self.facts.score, place.onset, key);
        let mut all: Vec<Vec<Change>> = Vec::new();
        for (_, by) in &rule.fix {
            let sounding = match by {
                MendBy::Octaves(n) => Some(fault.pitch.octaves(*n)),
                MendBy::Degree { number, alter } => frame.as_ref().and_then(|frame| {
                    let chord = frame.chord;
                    let degree = match alter {
                        Some(alter) => crate::ground::chord::Degree::new(*number, *alter),
                        None => *chord.degrees.iter().find(|d| d.number == *number)?,
                    };
                    nearest(degree.over(chord.root), fault.pitch)
                }),
            };
            if let Some(sounding) = sounding.filter(|p| *p != fault.pitch) {
                all.push(vec![Change {
                    note: fault.note,
                    sounding,
                }]);
            }
        }
        all
    }
}

/// The nearest pitch of a name; of two equally near the lower.
fn nearest(name: crate::ground::pitch::NoteName, to: Pitch) -> Option<Pitch> {
    let midi = to.midi();
    (0..=6)
        .flat_map(|d| [midi - d, midi + d])
        .find(|m| crate::ground::pitch::PitchClass::new(*m) == name.class())
        .and_then(|m| Pitch::named(name, m))
}

/// Everybody a rule names.
fn players(rule: &HouseRule) -> impl Iterator<Item = &Player> {
    let tests = rule.condition.tests.iter().flat_map(|t| &t.vars);
    let pieces = rule.message.iter().flat_map(|p| match p {
        MessagePiece::Value(shown) => shown.vars.as_slice(),
        MessagePiece::Words(_) => &[],
    });
    let named = tests.chain(pieces).filter_map(|v| match v {
        Var::PitchOf { who, .. } | Var::Plays(who) => Some(who),
        Var::Named(..) => None,
    });
    let voice = rule.voice.iter().filter_map(|(_, v)| match v {
        VoiceAt::Of(who) => Some(who),
        _ => None,
    });
    named.chain(voice)
}

#[cfg(test)]
mod tests;
