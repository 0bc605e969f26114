//! What is written at a note for which the technique has no voicing that can be played: the smallest change
//! first.
//!
//! In this order, common practice, no source: the voices move with the lead in parallel (forms only); another
//! technique; a note of the chord doubled within it; all on the lead.

use super::answer::{WayOut, Weighed};
use super::arrangement::{Arrangement, Octaves};
use super::job::Job;
use super::seats::{Role, Seat};
use crate::diagnosis::{choices, frames_at};
use crate::ground::pitch::{NoteName, PitchClass};
use crate::voicing::{Form, Frame, Mechanical, Technique, Voicing, Way};

/// How many levels of ways out there are.
pub(super) const LEVELS: u8 = 3;

/// How many voicings of a level are weighed at a note.
const MOST: usize = 24;

/// What each way out costs beside the voicing itself.
const PARALLEL: i32 = 4;
const OTHER_TECHNIQUE: i32 = 16;
const INNER_DOUBLING: i32 = 24;
const TOGETHER: i32 = 40;
const OUT_OF_RANGE: i32 = 60;
/// A chord that stands in for a spread with another note than its root at the bottom.
const OFF_THE_ROOT: i32 = 24;

/// Techniques that may stand in for one, with their deal.
pub(super) struct StandIns(Vec<(Arrangement, Octaves)>);

impl StandIns {
    /// Those of another technique than the arrangement's, for these seats.
    pub(super) fn new(own: &Arrangement, leads: &[i16], seats: &[Seat]) -> Self {
        let doubling = matches!(own.technique, Technique::Form(f) if f.is_doubling());
        let small = own.voices < 4 && seats.len() < 4;
        let all = [
            Mechanical::FourWayClose,
            Mechanical::Drop2,
            Mechanical::Drop3,
            Mechanical::Drop24,
            Mechanical::Drop23,
        ];
        let made = all.into_iter().filter(|_| !doubling && !small).map(|m| {
            let five = matches!(own.technique, Technique::Mechanical(t) if t.doubles_lead())
                || own.voices == 5;
            let m = if five {
                m.for_voices(5).unwrap_or(m)
            } else {
                m
            };
            let other = Arrangement::new(m.into(), seats);
            let octaves = other.octaves(leads, seats);
            (other, octaves)
        });
        Self(made.filter(|(a, _)| a.technique != own.technique).collect())
    }
}

impl Job<'_> {
    /// The ways out of a level at a note, with what they cost.
    pub(super) fn ways_out(
        &self,
        at: usize,
        level: u8,
        options: &[Vec<Weighed>],
        stand_ins: &StandIns,
    ) -> Vec<Weighed> {
        let mut found = match level {
            0 => {
                let mut found = self.in_parallel(at, options);
                found.extend(self.in_other_techniques(at, stand_ins));
                self.stand_on_root(at, found)
            }
            1 => self.with_doubling(at),
            _ => self.all_on_lead(at).into_iter().collect(),
        };
        found.sort_by_key(|o| o.cost);
        found.truncate(MOST);
        found
    }

    /// A form goes on in parallel with the chord after it or before it.
    fn in_parallel(&self, at: usize, options: &[Vec<Weighed>]) -> Vec<Weighed> {
        let Technique::Form(form) = self.arrangement.technique else {
            return Vec::new();
        };
        // Fourths and clusters move so by nature; elsewhere only a passing note does.
        let planes = matches!(form, Form::Fourths | Form::Cluster);
        let frames = frames_at(self.lead, self.passage, at);
        if form.is_doubling() || !(self.passes(at, &frames) || planes && self.is_quick(at)) {
            return Vec::new();
        }
        let mut found = Vec::new();
        if self.approaches(at) && !self.lasts_over_a_beat(at) {
            found.extend(self.moved_from(at, at + 1, options));
            if let Some(before) = at.checked_sub(1) {
                found.extend(self.moved_from(at, before, options));
            }
        }
        for option in &mut found {
            option.cost += if planes { PARALLEL } else { OTHER_TECHNIQUE };
        }
        found
    }

    /// What stands in for a spread stands on its bass note too, if with a note of the chord doubled.
    fn stand_on_root(&self, at: usize, mut found: Vec<Weighed>) -> Vec<Weighed> {
        let frames = frames_at(self.lead, self.passage, at);
        let spread = self.arrangement.base == Technique::Form(Form::Spread);
        let Some(frame) = frames.first().filter(|_| spread) else {
            return found;
        };
        let stands = |o: &Weighed| stands_on_bass(&o.voicing, frame);
        found.extend(self.with_doubling(at).into_iter().filter(stands));
        for option in found.iter_mut().filter(|o| !stands(o)) {
            option.cost += OFF_THE_ROOT;
        }
        found
    }

    fn in_other_techniques(&self, at: usize, stand_ins: &StandIns) -> Vec<Weighed> {
        let mut found = Vec::new();
        for (order, (arrangement, octaves)) in stand_ins.0.iter().enumerate() {
            let other = Job {
                arrangement,
                octaves: octaves.clone(),
                ..*self
            };
            found.extend(other.options(at).into_iter().map(|o| Weighed {
                cost: o.cost + OTHER_TECHNIQUE + order as i32 * 2,
                way_out: Some(WayOut::OtherTechnique),
                ..o
            }));
        }
        found
    }

    /// Chord notes under the lead for each seat, some of them doubled, the guide tones among them.
    fn with_doubling(&self, at: usize) -> Vec<Weighed> {
        let Some(lead) = self.lead_midi(at) else {
            return Vec::new();
        };
        let players = self.seats.len() - self.arrangement.doublers;
        if self.is_chordal() || !(2..=6).contains(&players) {
            return Vec::new();
        }
        let frames = frames_at(self.lead, self.passage, at);
        let Some(frame) = frames.first() else {
            return Vec::new();
        };
        let close = Mechanical::FourWayClose;
        let all = choices(self.lead, self.passage, at, close, self.style);
        let mut sets: Vec<(Vec<NoteName>, Way, String, i32)> = all
            .into_iter()
            .take(3)
            .map(|c| (c.names, c.way, c.label, c.cost))
            .collect();
        if sets.is_empty() {
            let own = frame.chord.degrees.iter();
            let names = own.map(|d| d.over(frame.chord.root)).collect();
            sets.push((names, Way::Chord, frame.chord.text.clone(), 0));
        }
        let mut found = Vec::new();
        for (names, way, label, cost) in sets {
            let classes: Vec<PitchClass> = names.iter().map(|n| n.class()).collect();
            let mut search = Doubled {
                job: self,
                at,
                classes: &classes,
                guides: guides(frame, way),
                on_root: self.arrangement.base == Technique::Form(Form::Spread),
                found: Vec::new(),
            };
            let mut stack = Voicing::new();
            stack.push(lead);
            search.descend(&mut stack, players);
            let mut best = search.found;
            best.sort();
            if search.on_root {
                best.sort_by_key(|(_, v)| !stands_on_bass(v, frame));
            }
            best.truncate(8);
            found.extend(best.into_iter().map(|(own, mut voicing)| {
                let doublings = self.octaves.seats.iter().skip(players);
                voicing.extend(doublings.map(|down| lead - down));
                Weighed {
                    voicing,
                    names: names.clone(),
                    harmony: Some((way, label.clone())),
                    technique: self.arrangement.technique,
                    way_out: Some(WayOut::InnerDoubling),
                    cost: INNER_DOUBLING + cost + own,
                }
            }));
        }
        self.playable(at, found)
    }

    /// All play the lead: each in the octave it keeps, else in the nearest it has.
    fn all_on_lead(&self, at: usize) -> Option<Weighed> {
        let lead = self.lead_midi(at)?;
        let mut all = self.together(at, lead);
        let mut cost = TOGETHER;
        for (seat, m) in self.seats.iter().zip(&mut all.voicing) {
            if seat.role == Role::Leads || seat.cost(*m).is_some() {
                continue;
            }
            // Nobody plays over the lead.
            let octaves = [0, 12, 24, 36].map(|down| lead - down);
            let has = octaves.into_iter().find(|o| seat.cost(*o).is_some());
            if has.is_none() {
                cost += OUT_OF_RANGE;
            }
            *m = has.unwrap_or(lead);
        }
        let unison = all.voicing.iter().all(|m| *m == lead);
        let form = if unison { Form::Unison } else { Form::Octaves };
        Some(Weighed {
            technique: form.into(),
            way_out: Some(WayOut::Together),
            cost,
            ..all
        })
    }
}

fn stands_on_bass(voicing: &[i16], frame: &Frame<'_>) -> bool {
    voicing
        .last()
        .is_some_and(|m| PitchClass::new(*m) == frame.bass())
}

/// Third and seventh, where the chord itself sounds.
fn guides(frame: &Frame<'_>, way: Way) -> Vec<PitchClass> {
    if way > Way::Tension {
        return Vec::new();
    }
    let sevenths = frame.sevenths();
    frame
        .third()
        .into_iter()
        .chain(sevenths.first().copied().filter(|_| sevenths.len() == 1))
        .collect()
}

/// A search for voicings with doubled notes, from the top seat down.
struct Doubled<'j> {
    job: &'j Job<'j>,
    at: usize,
    classes: &'j [PitchClass],
    guides: Vec<PitchClass>,
    /// It stands in for a spread: the lead may be the root again, over its seventh.
    on_root: bool,
    found: Vec<(i32, Voicing)>,
}

impl Doubled<'_> {
    fn descend(&mut self, stack: &mut Voicing, players: usize) {
        if stack.len() == players {
            let sounding = crate::voicing::classes_of(stack);
            let complete = self.guides.iter().all(|g| sounding.contains(g));
            if complete && self.job.is_clear(self.at, stack) {
                let cost = Self::cost(stack, sounding.len());
                self.found.push((cost, stack.clone()));
            }
            return;
        }
        let (Some(&above), Some(seat)) = (stack.last(), self.job.seats.get(stack.len())) else {
            return;
        };
        let last = stack.len() + 1 == players;
        let reach = if last { 16 } else { 9 };
        for gap in 0..=reach {
            let next = above - gap;
            let fits = self.classes.contains(&PitchClass::new(next));
            let rubs = stack.iter().any(|m| {
                matches!(m - next, 1 | 13 | 25)
                    || *m - next == 2 && stack.len() == 1 && !self.on_root
            });
            if fits && !rubs && seat.cost(next).is_some() {
                stack.push(next);
                self.descend(stack, players);
                stack.pop();
            }
        }
    }

    fn cost(voicing: &[i16], different: usize) -> i32 {
        let doubled = voicing.len() - different;
        let unisons = voicing.windows(2).filter(|w| matches!(w, [a, b] if a == b));
        let span = voicing.first().copied().unwrap_or(0) - voicing.last().copied().unwrap_or(0);
        doubled as i32 * 6 + unisons.count() as i32 * 3 + i32::from(span) / 6
    }
}
