//! Rules of a house's own, worked out on a score. What they ask is read and checked in
//! [`crate::style::own`]; here each is asked of every note, sonority, line step, bar or part.

mod value;
mod views;

use self::value::{Datum, Outcome, Stuck, outcome, worked_out};
use self::views::{BarView, Desk, Hall, NoteView, PartView, SonorityView, StepView, View, part_of};
use super::Reading;
use super::shared::wording;
use crate::diagnosis::{Passage, frame_at};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use crate::score::Place;
use crate::score::{Change, NoteRef};
use crate::sonority::Sonority;
use crate::style::own::{
    Condition, DYNAMICS, HouseRule, Kind, MendBy, One, Piece, Player, Scope, Shown, Test, Var,
    VoiceAt,
};
use cel::Value;
use std::cell::Cell;
use std::collections::HashMap;

/// The most findings of one rule in one score: a rule that finds more is not meant so.
const MOST: usize = 200;

/// A rule that is on, with what it found so far.
struct Running<'r> {
    rule: &'r HouseRule,
    level: Level,
    found: Cell<usize>,
    has_failed: Cell<bool>,
}

impl Running<'_> {
    fn tests(&self, outer: bool) -> impl Iterator<Item = &Test> {
        let Condition { tests } = &self.rule.condition;
        tests.iter().filter(move |t| t.outer == outer)
    }
}

/// Runs the house's own rules.
pub(super) fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    let rules: Vec<Running<'_>> = reading
        .style
        .own
        .iter()
        .filter_map(|rule| {
            Some(Running {
                rule,
                level: reading.style.own_level(rule)?,
                found: Cell::new(0),
                has_failed: Cell::new(false),
            })
        })
        .collect();
    if rules.is_empty() {
        return;
    }
    let hall = Hall::new(reading.score);
    let of = |scope: Scope| -> Vec<&Running<'_>> {
        rules.iter().filter(|r| r.rule.scope == scope).collect()
    };
    let mut house = House {
        reading,
        hall: &hall,
        found: Vec::new(),
    };
    let (notes, steps) = (of(Scope::Note), of(Scope::Step));
    let (sonorities, bars, parts) = (of(Scope::Sonority), of(Scope::Bar), of(Scope::Part));
    for passage in reading.passages {
        house.notes(passage, &notes);
        house.steps(passage, &steps);
        house.sonorities(passage, &sonorities);
        // A few bars looked at again say nothing of a whole part, nor of a bar at their edge.
        if !reading.is_recheck() {
            house.bars(passage, &bars);
            house.parts(passage, &parts);
        }
    }
    out.extend(together(house.found));
    for rule in &rules {
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
struct Fault {
    note: NoteRef,
    voice: u8,
    pitch: Pitch,
}

/// Where a finding stands and what it is about.
struct Spot<'s> {
    passage: &'s Passage,
    at: Place,
    onset: Ticks,
    parts: Vec<u32>,
    /// The index of the sonority, when there is one.
    sonority: Option<usize>,
    faults: Vec<Fault>,
    /// The fault that a fix changes.
    mended: Option<usize>,
}

struct House<'h, 'r> {
    reading: &'h Reading<'r>,
    hall: &'h Hall<'h>,
    found: Vec<Finding>,
}

impl<'h> House<'h, '_> {
    /// Whether all that is asked comes out so; what goes wrong is told once for a rule.
    fn holds<'t>(
        &self,
        rule: &Running<'_>,
        tests: impl Iterator<Item = &'t Test>,
        at: (&Passage, Place),
        value: impl Fn(&Var) -> Datum<'t>,
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
            let score = self.hall.score;
            let values: Vec<String> = test.vars.iter().map(|v| described(&value(v))).collect();
            self.reading.remark(format!(
                "bar {}, beat {}, {}: the house's rule {} cannot be worked out: {why} (its values: {}; {}); where that is so it says nothing",
                score.bar_number(at.1.bar),
                self.hall.beat(at.1),
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
        rules: &[&'h Running<'h>],
    ) -> HashMap<u32, (Desk<'h>, Vec<&'h Running<'h>>)> {
        let mut all = HashMap::new();
        for member in &passage.section.parts {
            let Some(desk) = Desk::of(self.hall.score, passage, member) else {
                continue;
            };
            let value = |var: &Var| match var {
                Var::Named(_, name) => desk.value(*name),
                _ => Datum::Missing,
            };
            let on: Vec<&Running<'_>> = rules
                .iter()
                .copied()
                .filter(|r| self.holds(r, r.tests(true), (passage, Place::default()), value))
                .collect();
            if !on.is_empty() {
                all.insert(member.part, (desk, on));
            }
        }
        all
    }

    fn notes(&mut self, passage: &'h Passage, rules: &[&'h Running<'h>]) {
        let parts = self.for_parts(passage, rules);
        if parts.is_empty() {
            return;
        }
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            for (from_top, voice) in sonority.voices.iter().enumerate() {
                let Some((desk, on)) = parts.get(&voice.note.part).filter(|_| voice.attacked)
                else {
                    continue;
                };
                let Some(note) = desk.part.notes.get(voice.note.note as usize) else {
                    continue;
                };
                let view = NoteView {
                    hall: self.hall,
                    desk: *desk,
                    index,
                    from_top,
                    voice,
                    note,
                };
                for rule in on {
                    let value = |v: &Var| view.value(v);
                    if self.holds(rule, rule.tests(false), (passage, note.at), value) {
                        let spot = Spot {
                            passage,
                            at: note.at,
                            onset: note.onset,
                            parts: vec![voice.note.part],
                            sonority: Some(index),
                            faults: vec![Fault {
                                note: voice.note,
                                voice: from_top as u8 + 1,
                                pitch: note.sounding,
                            }],
                            mended: Some(0),
                        };
                        self.report(rule, &view, &spot);
                    }
                }
            }
        }
    }

    fn steps(&mut self, passage: &'h Passage, rules: &[&'h Running<'h>]) {
        let parts = self.for_parts(passage, rules);
        if parts.is_empty() {
            return;
        }
        // The last note of each line of a part; `None` after a chord, which is no line.
        let mut last: HashMap<(u32, u8, u8), Option<NoteView<'h>>> = HashMap::new();
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            let struck = |key: (u32, u8, u8), desk: &Desk<'_>| {
                let same = sonority.voices.iter().filter(|v| {
                    v.attacked
                        && v.note.part == key.0
                        && desk
                            .part
                            .notes
                            .get(v.note.note as usize)
                            .is_some_and(|n| (n.staff, n.voice) == (key.1, key.2))
                });
                same.count()
            };
            for (from_top, voice) in sonority.voices.iter().enumerate() {
                let Some((desk, on)) = parts.get(&voice.note.part).filter(|_| voice.attacked)
                else {
                    continue;
                };
                let Some(note) = desk.part.notes.get(voice.note.note as usize) else {
                    continue;
                };
                let key = (voice.note.part, note.staff, note.voice);
                if struck(key, desk) > 1 {
                    last.insert(key, None);
                    continue;
                }
                let to = NoteView {
                    hall: self.hall,
                    desk: *desk,
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
                        let fault = |v: &NoteView<'_>| Fault {
                            note: v.voice.note,
                            voice: v.from_top as u8 + 1,
                            pitch: v.note.sounding,
                        };
                        let spot = Spot {
                            passage,
                            at: note.at,
                            onset: note.onset,
                            parts: vec![voice.note.part],
                            sonority: Some(index),
                            faults: vec![fault(&view.from), fault(&view.to)],
                            mended: Some(1),
                        };
                        self.report(rule, &view, &spot);
                    }
                }
            }
        }
    }

    fn sonorities(&mut self, passage: &'h Passage, rules: &[&'h Running<'h>]) {
        for rule in rules {
            let section = |var: &Var| match var {
                Var::Named(..) => Datum::text(&passage.section.name),
                _ => Datum::Missing,
            };
            if !self.holds(rule, rule.tests(true), (passage, Place::default()), section) {
                continue;
            }
            let players: Vec<(&Player, Option<u32>)> = players(rule.rule)
                .map(|who| (who, part_of(self.hall.score, passage, who)))
                .collect();
            for (index, sonority) in passage.sonorities.iter().enumerate() {
                let view = SonorityView {
                    hall: self.hall,
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
                let fault = |(i, v): (usize, &crate::sonority::Voice)| Fault {
                    note: v.note,
                    voice: i as u8 + 1,
                    pitch: v.pitch,
                };
                let mended = voice.map(|_| 0);
                let faults: Vec<Fault> = match voice {
                    Some(voice) => vec![fault(voice)],
                    None => sonority.voices.iter().enumerate().map(fault).collect(),
                };
                let mut parts: Vec<u32> = faults.iter().map(|f| f.note.part).collect();
                parts.sort_unstable();
                parts.dedup();
                let spot = Spot {
                    passage,
                    at: sonority.at,
                    onset: sonority.onset,
                    parts,
                    sonority: Some(index),
                    faults,
                    mended,
                };
                self.report(rule, &view, &spot);
            }
        }
    }

    fn bars(&mut self, passage: &'h Passage, rules: &[&'h Running<'h>]) {
        if rules.is_empty() {
            return;
        }
        for bar in 0..self.hall.score.bars.len() as u32 {
            let from = passage.sonorities.partition_point(|s| s.at.bar < bar);
            let to = passage.sonorities.partition_point(|s| s.at.bar <= bar);
            let view = BarView {
                hall: self.hall,
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
                    let spot = Spot {
                        passage,
                        at,
                        onset: self
                            .hall
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
                    self.report(rule, &view, &spot);
                }
            }
        }
    }

    fn parts(&mut self, passage: &'h Passage, rules: &[&'h Running<'h>]) {
        for member in &passage.section.parts {
            let Some(desk) = Desk::of(self.hall.score, passage, member) else {
                continue;
            };
            let view = PartView {
                hall: self.hall,
                desk,
            };
            let Some(first) = view.notes().next() else {
                continue;
            };
            for rule in rules {
                let tests = &rule.rule.condition.tests;
                if self.holds(rule, tests.iter(), (passage, first.at), |v| view.value(v)) {
                    let spot = Spot {
                        passage,
                        at: first.at,
                        onset: first.onset,
                        parts: vec![member.part],
                        sonority: None,
                        faults: Vec::new(),
                        mended: None,
                    };
                    self.report(rule, &view, &spot);
                }
            }
        }
    }

    fn report(&mut self, rule: &Running<'_>, view: &dyn View, spot: &Spot<'_>) {
        let count = rule.found.get() + 1;
        rule.found.set(count);
        if count > MOST {
            return;
        }
        let score = self.hall.score;
        let house = rule.rule;
        let sonority = spot.sonority.and_then(|i| spot.passage.sonorities.get(i));
        let force = spot
            .sonority
            .and_then(|i| spot.passage.in_force.get(i).copied().flatten());
        let remedies = self.remedies(house, spot);
        let label = match spot.faults.as_slice() {
            [_] => "this note",
            [_, _] if house.scope == Scope::Step => "from here",
            _ => "",
        };
        let last = spot.faults.len().saturating_sub(1);
        let notes: Vec<NoteAtFault> = spot
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
            section: Some(spot.passage.section.name.clone()),
            parts: spot.parts.clone(),
            why: house
                .why
                .clone()
                .unwrap_or_else(|| "The house style asks for it.".to_owned()),
            source: house.source.unwrap_or("house style"),
            chord: self.hall.chord(spot.onset).map(|c| c.text.clone()),
            technique: force.map(|f| f.technique.name().to_owned()),
            notes,
            found: sonority.map(Sonority::pitches).unwrap_or_default(),
            suggestion,
            remedies,
            ..Finding::new(house.name, rule.level, spot.at, message(house, view))
        });
    }

    fn remedies(&self, rule: &HouseRule, spot: &Spot<'_>) -> Vec<Vec<Change>> {
        let Some(fault) = spot.mended.and_then(|i| spot.faults.get(i)) else {
            return Vec::new();
        };
        let key = spot.passage.key_at(self.hall.score, spot.onset);
        let frame = frame_at(self.hall.score, spot.onset, key);
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
        Piece::Value(shown) => shown.vars.as_slice(),
        Piece::Words(_) => &[],
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

/// A value in a remark.
fn described(value: &Datum<'_>) -> String {
    match value {
        Datum::Flag(b) => if *b { "yes" } else { "no" }.to_owned(),
        Datum::Whole(n) => n.to_string(),
        Datum::Decimal(n) => n.to_string(),
        Datum::Text(t) => format!("'{t}'"),
        Datum::Wholes(all) => format!("{all:?}"),
        Datum::Texts(all) => all.join(", "),
        Datum::Missing => "nothing".to_owned(),
    }
}

fn message(rule: &HouseRule, view: &dyn View) -> String {
    let mut out = String::new();
    for piece in &rule.message {
        match piece {
            Piece::Words(words) => out.push_str(words),
            Piece::Value(value) => out.push_str(&shown(value, view)),
        }
    }
    out
}

/// A value as musicians say it: pitches by name, dynamics by their letters.
fn shown(value: &Shown, view: &dyn View) -> String {
    let in_words = |n: i64, one: One| match one {
        One::Pitch => i16::try_from(n).map_or_else(
            |_| n.to_string(),
            |midi| Pitch::in_key(midi, view.key()).to_string(),
        ),
        One::Loudness => DYNAMICS
            .iter()
            .find(|(_, d)| *d == n)
            .map_or_else(|| n.to_string(), |(word, _)| (*word).to_owned()),
        _ => n.to_string(),
    };
    let (Kind::One(one) | Kind::List(one)) = value.kind else {
        return String::new();
    };
    let Some(expression) = &value.expression else {
        let Some(var) = value.vars.first() else {
            return String::new();
        };
        if let Some(pitch) = view.pitch(var) {
            return pitch.to_string();
        }
        if let Some(beat) = view.beat(var) {
            return beat.to_string();
        }
        return match view.value(var) {
            Datum::Flag(b) => if b { "yes" } else { "no" }.to_owned(),
            Datum::Whole(n) => in_words(n, one),
            Datum::Decimal(n) => decimal(n),
            Datum::Text(t) => t.into_owned(),
            Datum::Wholes(all) => wording::join(
                &all.into_iter()
                    .map(|n| in_words(n, one))
                    .collect::<Vec<_>>(),
            ),
            Datum::Texts(all) => all.join(", "),
            Datum::Missing => "nothing".to_owned(),
        };
    };
    let values: Vec<Datum<'_>> = value.vars.iter().map(|v| view.value(v)).collect();
    let spoken = |value: &Value| match value {
        Value::Bool(b) => if *b { "yes" } else { "no" }.to_owned(),
        Value::Int(n) => in_words(*n, one),
        Value::Float(n) => decimal(*n),
        Value::String(s) => s.to_string(),
        _ => String::new(),
    };
    match worked_out(expression, &values) {
        Ok(Value::List(all)) => wording::join(&all.iter().map(spoken).collect::<Vec<_>>()),
        Ok(value) => spoken(&value),
        Err(Stuck::NotHere) => "nothing".to_owned(),
        Err(Stuck::Failed(_)) => "?".to_owned(),
    }
}

/// Two decimals at most.
fn decimal(n: f64) -> String {
    ((n * 100.0).round() / 100.0).to_string()
}

#[cfg(test)]
mod tests;
