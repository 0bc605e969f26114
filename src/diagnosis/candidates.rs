//! The right voicings that a sonority may have been meant as: lead x harmonisation x technique.

use super::case::Case;
use super::outcome::SlipKind;
use crate::ground::chord::{Chord, Family, Leads};
use crate::ground::pitch::{NoteName, PitchClass};
use crate::ground::time::Ticks;
use crate::voicing::harmonise::{
    Sets, dominant_of, is_chord_note, on_chord, on_chord_of, other_diminished, passing_diminished,
    related_second, tonic_of,
};
use crate::voicing::{
    Colour, Harmonisation, Label, Mechanical, Voicing, Way, classes_of, close_position,
    minor_ninths,
};
use smallvec::SmallVec;

/// When a candidate is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RightWhen {
    /// Always.
    Always,
    /// Only in a passage whose habit it is to keep the chord under passing notes.
    ChordIsKept,
    /// Only where symbol or lead brings in this tension, and neither does.
    TensionIsNamed(NoteName),
}

/// A voicing that some reading of the sonority would make right.
#[derive(Clone)]
pub(super) struct Candidate<'a> {
    pub(super) harmony: Harmonisation<'a>,
    /// Its notes in close position.
    pub(super) close: Voicing,
    /// Its notes in the technique in force, from the top.
    pub(super) voicing: Voicing,
    pub(super) right_when: RightWhen,
    /// How unusual the reading is.
    pub(super) cost: i32,
    /// Which of the case's chords it is read under.
    pub(super) chord: usize,
}

/// Candidates under one lead: one, where only the notes written are asked for.
pub(super) type Candidates<'a> = SmallVec<[Candidate<'a>; 1]>;

/// The candidates of one lead as they are collected.
struct Collected<'o, 'a> {
    technique: Mechanical,
    lead: i16,
    /// The pitch classes that are asked for; all when `None`.
    only: Option<&'o [PitchClass]>,
    /// The chord that is being asked.
    chord: usize,
    candidates: Candidates<'a>,
}

impl<'a> Collected<'_, 'a> {
    fn add(&mut self, harmony: Harmonisation<'a>, right_when: RightWhen, cost: i32) {
        if self.only.is_some_and(|only| !harmony.is_of(only)) {
            return;
        }
        let Some(close) = close_position(self.lead, &harmony.classes()) else {
            return;
        };
        let voicing = self.technique.apply(&close);
        self.candidates.push(Candidate {
            harmony,
            close,
            voicing,
            right_when,
            cost,
            chord: self.chord,
        });
    }
}

/// What a lead note is to one of the chords.
struct LeadOverChord {
    class: PitchClass,
    /// A note of the chord.
    member: bool,
    /// On the chord's passing diminished seventh: 2, 4, b6 or 7.
    passing_class: bool,
    /// It moves on by step.
    approaches: bool,
    /// It is a tension that stands with the chord under it: what that costs.
    tension: Option<i32>,
}

impl LeadOverChord {
    /// The chord under it is struck again under a passing note.
    const fn restrikes(&self) -> bool {
        !self.member && self.passing_class && self.approaches && self.tension.is_none()
    }
}

impl<'a> Case<'a> {
    /// Every voicing that a reading with this lead makes right, or nearly so. `cost` is how unusual the
    /// lead is.
    pub(super) fn candidates(&self, lead: i16, cost: i32) -> Candidates<'a> {
        self.candidates_of(lead, cost, None)
    }

    /// The same of these pitch classes only, where some are given; then without those that are only
    /// nearly right.
    pub(super) fn candidates_of(
        &self,
        lead: i16,
        cost: i32,
        only: Option<&[PitchClass]>,
    ) -> Candidates<'a> {
        let class = PitchClass::new(lead);
        let mut collected = Collected {
            technique: self.technique,
            lead,
            only,
            chord: 0,
            candidates: Candidates::new(),
        };
        for (order, &chord) in self.chords.iter().enumerate() {
            let cost = cost + order as i32 * self.judging.costs.harmony.other_chord;
            let member = is_chord_note(chord, class);
            let over = LeadOverChord {
                class,
                member,
                passing_class: matches!(class.above(chord.root.class()), 2 | 5 | 8 | 11),
                approaches: self.approaches(),
                tension: self.tension(order, chord, class).filter(|_| !member),
            };
            collected.chord = order;
            self.add_chord(&mut collected, order, chord, &over, cost);
            self.add_diminished(&mut collected, chord, &over, cost);
            if matches!(
                chord.family(),
                Family::Dominant | Family::Altered | Family::DominantSuspended
            ) {
                self.add_over_dominant(&mut collected, chord, &over, cost);
            }
        }
        collected.chord = 0;
        self.add_coming_dominant(&mut collected, class, cost);
        if only.is_none() {
            self.add_parallel(&mut collected, lead, cost);
        }
        collected.candidates
    }

    /// What it costs that a lead note foreign to a chord is a tension that stands with the chord under it: one
    /// that holds a beat, a suspended dominant's ninth; outside strict exercises the ninth of any dominant
    /// however short, and at most a tension on the beat that moves on at once.
    fn tension(&self, order: usize, chord: &Chord, class: PitchClass) -> Option<i32> {
        let costs = &self.judging.costs.harmony;
        let strict = self.judging.only_diminished;
        let frame = self.frames.get(order)?;
        if frame.colour(class) != Colour::Available {
            return None;
        }
        let ninth = class.above(chord.root.class()) == 2;
        if self.holds_a_beat()
            || ninth && chord.family() == Family::DominantSuspended
            || ninth && chord.family() == Family::Dominant && !strict
        {
            return Some(costs.tension_on_the_beat);
        }
        // A push stands for the beat that it anticipates, a late note for the one it missed.
        let ahead = self
            .since
            .get(order)
            .is_some_and(|t| *t > self.sonority.onset);
        let accented = !strict && self.lead.is_some_and(|l| l.strong || l.after_rest || ahead);
        accented.then_some(costs.accented_tension)
    }

    /// The chord itself under the lead, its tensions in place of its notes. Altered tensions that nobody
    /// brings in are added as nearly right.
    fn add_chord(
        &self,
        collected: &mut Collected<'_, 'a>,
        order: usize,
        chord: &'a Chord,
        over: &LeadOverChord,
        cost: i32,
    ) {
        let only = collected.only;
        let may_stand = |class| only.is_none_or(|only| only.contains(&class));
        let costs = &self.judging.costs.harmony;
        let mut plain = on_chord_of(chord, over.class, self.may_alter(order), may_stand);
        if let Some(frame) = self.frames.get(order) {
            // Beside a b9 that the symbol names stands no 9, whatever the category has.
            plain.retain(|h| {
                let mut inner = h.classes().into_iter().filter(|c| *c != over.class);
                !inner.any(|c| frame.shuts_out(c))
            });
        }
        let named: SmallVec<[PitchClass; 4]> = chord
            .degrees
            .iter()
            .filter(|d| matches!(d.number, 9 | 11 | 13))
            .map(|d| chord.root.class().plus(d.semitones()))
            .collect();
        let lead_shut_out = !over.member
            && self
                .frames
                .get(order)
                .is_some_and(|f| f.shuts_out(over.class));
        let moving = self.lead.is_some_and(|l| l.duration() < l.beat);
        for h in &plain {
            let right_when = if over.restrikes() && !self.second_reading_beside(chord) {
                RightWhen::ChordIsKept
            } else {
                RightWhen::Always
            };
            let tension = over.tension.unwrap_or(0);
            let classes = h.classes();
            let unheard = named.iter().filter(|t| !classes.contains(t)).count() as i32;
            let mut cost = cost + i32::from(h.changes) * costs.tension + tension;
            cost += unheard * costs.named_tension_unheard;
            if lead_shut_out {
                cost += costs.lead_shut_out;
            }
            // A major seventh that moves takes its sixth.
            let sixth = chord.root.class().plus(9);
            if moving && chord.family() == Family::MajorSeventh && classes.contains(&sixth) {
                cost -= costs.tension;
            }
            collected.add(*h, right_when, cost);
        }
        let altered = if only.is_none() {
            on_chord(chord, over.class, true)
        } else {
            Sets::new()
        };
        for h in altered {
            if plain.contains(&h) || over.restrikes() {
                continue;
            }
            let foreign = h
                .names
                .into_iter()
                .find(|n| !plain.iter().any(|p| p.names.contains(n)));
            let shut_out = |n: &NoteName| {
                n.class() != over.class
                    && self
                        .frames
                        .get(order)
                        .is_some_and(|f| f.shuts_out(n.class()))
            };
            if let Some(foreign) = foreign
                && !h.names.iter().any(shut_out)
            {
                let cost = cost + self.judging.costs.slip.altered_tension;
                collected.add(h, RightWhen::TensionIsNamed(foreign), cost);
            }
        }
    }

    /// The diminished seventh under a lead that passes.
    fn add_diminished(
        &self,
        collected: &mut Collected<'_, 'a>,
        chord: &Chord,
        over: &LeadOverChord,
        cost: i32,
    ) {
        let costs = &self.judging.costs.harmony;
        if over.member && over.passing_class && over.approaches {
            // A note the symbol names may pass all the same: 7 on maj7, 9 on 6/9.
            let h = passing_diminished(chord.root);
            let cost = cost + costs.passing_diminished_under_member;
            collected.add(h, RightWhen::Always, cost);
        }
        if over.member {
            // A short neighbour takes the diminished seventh on itself, though the chord has it.
            let dominant = matches!(chord.family(), Family::Dominant | Family::Altered);
            if self.is_short_neighbour()
                && !dominant
                && let Some(h) = other_diminished(chord.root, self.name_of_lead(collected.lead))
            {
                let cost = cost + costs.passing_diminished_under_member + costs.other_diminished;
                collected.add(h, RightWhen::Always, cost);
            }
            return;
        }
        let h = if over.passing_class {
            Some(passing_diminished(chord.root))
        } else {
            other_diminished(chord.root, self.name_of_lead(collected.lead))
        };
        if let Some(h) = h {
            let restrikes = over.passing_class && over.approaches;
            let more = if restrikes {
                costs.passing_diminished
            } else {
                costs.other_diminished
            };
            collected.add(h, RightWhen::Always, cost + more);
        }
    }

    /// What else stands under the notes of a dominant line: its second reading (as the minor sixth on its
    /// fifth, the lead's root passes on a diminished seventh), the sixth chord that it leads to, and
    /// the related minor seventh.
    fn add_over_dominant(
        &self,
        collected: &mut Collected<'_, 'a>,
        chord: &Chord,
        over: &LeadOverChord,
        cost: i32,
    ) {
        let costs = &self.judging.costs.harmony;
        let lead = collected.lead;
        let class = over.class;
        if class == chord.root.class()
            && over.approaches
            && let Some(h) = other_diminished(chord.root, self.name_of_lead(lead))
        {
            collected.add(h, RightWhen::Always, cost + costs.second_reading);
        }
        let next = self
            .score
            .chord_after(self.sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
            .filter(|n| n.root.class().above(chord.root.class()) == 5);
        let two_beats = self.lead.map_or(Ticks::ZERO, |l| l.beat.times(2));
        if let Some(next) = next.filter(|_| self.chord_length <= two_beats) {
            let sets = on_chord(next, class, false)
                .into_iter()
                .filter(|h| h.changes <= 1)
                .chain((!is_chord_note(next, class)).then(|| passing_diminished(next.root)));
            for h in sets {
                let h = Harmonisation {
                    way: Way::TargetTonic,
                    ..h
                };
                collected.add(h, RightWhen::Always, cost + costs.tonic_of_dominant);
            }
        }
        let Some(line) = self.lead else { return };
        // A note of the dominant itself passes only when it is quick, and one that leaps on too.
        let quick = line.duration().0 * 2 <= line.beat.0;
        if !quick && (over.member || !over.approaches) {
            return;
        }
        let more = if over.member { costs.second_reading } else { 0 };
        let either = [false, true];
        let modes = either
            .into_iter()
            .filter(|m| self.leads_to_mode(chord, next, *m));
        let tonics = modes.map(|minor| (tonic_of(chord.root, minor), costs.tonic_of_dominant));
        // A dominant without alterations has the second of major beside it wherever it leads.
        let plain = chord.degrees.iter().all(|d| d.number < 8);
        let seconds = either
            .into_iter()
            .filter(|m| self.leads_to_mode(chord, next, *m) || plain && !m)
            .map(|minor| (related_second(chord.root, minor), costs.related_second));
        for (h, way) in tonics.chain(seconds) {
            if h.classes().contains(&class) {
                collected.add(h, RightWhen::Always, cost + way + more);
            }
        }
    }

    /// Whether a dominant may lead to a tonic of this mode: to that of the chord it leads to; else by the
    /// key.
    fn leads_to_mode(&self, dominant: &Chord, next: Option<&Chord>, minor: bool) -> bool {
        if let Some(next) = next {
            let is_minor = matches!(
                next.family(),
                Family::MinorTriad
                    | Family::MinorSixth
                    | Family::MinorMajor
                    | Family::MinorSeventh
                    | Family::HalfDiminished
            );
            return is_minor == minor;
        }
        let tonic = PitchClass::new(i16::from(self.key) * 7);
        match dominant.root.class().above(tonic) {
            7 => !minor,
            4 => minor,
            _ => true,
        }
    }

    /// Whether the lead steps away from a note and back to it, no longer than half a beat.
    fn is_short_neighbour(&self) -> bool {
        self.lead.is_some_and(|l| {
            l.approaches() && l.duration().0 * 2 <= l.beat.0 && l.previous == l.next
        })
    }

    /// The dominant of a chord that the next lead note may belong to. Under a note of the chord in force it
    /// is an approach only where the note is a tension that the symbol names.
    fn add_coming_dominant(&self, collected: &mut Collected<'_, 'a>, class: PitchClass, cost: i32) {
        let Some(now) = self.chord() else { return };
        let above = class.above(now.root.class());
        // A fifth beside the raised eleventh that the symbol names is a neighbour of that.
        let beside_eleventh = above == 7 && now.contains(now.root.class().plus(6));
        let basic = !beside_eleventh
            && now
                .degrees
                .iter()
                .any(|d| d.number < 8 && d.semitones() == above);
        if self.judging.only_diminished || !self.approaches() || basic {
            return;
        }
        let costs = &self.judging.costs.harmony;
        for coming in &self.coming {
            let more = if *coming == now {
                costs.dominant_inside
            } else {
                costs.dominant_approach
            };
            for h in dominant_of(coming.root, class) {
                if h.changes <= 1 {
                    collected.add(h, RightWhen::Always, cost + more);
                }
            }
        }
    }

    /// The next voicing, moved by the lead's step: all voices go into it in parallel. Only under a lead that
    /// is no note of the chord.
    fn add_parallel(&self, collected: &mut Collected<'_, 'a>, lead: i16, cost: i32) {
        let (Some(chord), Some(target), true) = (self.chord(), self.target, self.approaches())
        else {
            return;
        };
        let class = PitchClass::new(lead);
        let up = class.above(chord.root.class());
        let Some(step) = target.first().map(|t| t - lead) else {
            return;
        };
        if is_chord_note(chord, class)
            || !matches!(step.abs(), 1 | 2)
            || self.judging.only_diminished && matches!(up, 2 | 5 | 8 | 11)
        {
            return;
        }
        let voicing: Voicing = target.iter().map(|t| t - step).collect();
        let classes = classes_of(&voicing);
        let names: SmallVec<[NoteName; 4]> = classes
            .iter()
            .map(|c| NoteName::in_key(*c, self.key))
            .collect();
        let (Ok(names), Some(close)) = (
            <[NoteName; 4]>::try_from(names.as_slice()),
            close_position(lead, &classes),
        ) else {
            return;
        };
        collected.candidates.push(Candidate {
            harmony: Harmonisation {
                way: Way::Dominant,
                names,
                label: Label::Parallel,
                changes: 0,
            },
            close,
            voicing,
            right_when: RightWhen::Always,
            cost: cost + self.judging.costs.harmony.parallel_approach,
            chord: 0,
        });
    }

    /// Candidates under other notes that may be the lead although another is on top, each with its lead.
    pub(super) fn under_other_leads(&self) -> SmallVec<[(i16, Candidates<'a>); 4]> {
        let own = self.lead.map(|l| l.midi);
        // The lead itself may stand in the wrong octave.
        let octave_up = own.map(|lead| lead + 12);
        let second = self.written.get(1).copied();
        let leads = own
            .into_iter()
            .chain([self.seat_lead()])
            .chain(second)
            .chain(octave_up);
        let mut readings: SmallVec<[(i16, Candidates<'a>); 4]> = SmallVec::new();
        for (order, lead) in leads.enumerate() {
            if lead != self.top() && readings.iter().all(|(l, _)| *l != lead) {
                readings.push((lead, self.candidates(lead, (order as i32 + 1) * 4)));
            }
        }
        readings
    }

    /// Whether inner voices may take altered tensions that the symbol does not name: over a
    /// dominant that leads on, outside strict exercises.
    fn may_alter(&self, chord: usize) -> bool {
        !self.judging.only_diminished
            && self
                .frames
                .get(chord)
                .is_some_and(|f| matches!(f.leads, Leads::ToMajor | Leads::ToMinor))
    }

    /// Whether the note before or after is the root of a dominant on a passing chord: the line reads
    /// the dominant as the minor sixth on its fifth, whose own notes are 5 b7 9 3.
    fn second_reading_beside(&self, chord: &Chord) -> bool {
        chord.family() == Family::Dominant
            && self.neighbours.iter().flatten().any(|s| {
                s.voices
                    .first()
                    .is_some_and(|v| v.pitch.class() == chord.root.class())
                    && s.voices
                        .iter()
                        .all(|v| matches!(v.pitch.class().above(chord.root.class()), 0 | 3 | 6 | 9))
            })
    }

    /// Whether a candidate may stand in the passage, with its habits.
    pub(super) fn stands(&self, c: &Candidate<'_>) -> bool {
        match c.right_when {
            RightWhen::Always => true,
            RightWhen::ChordIsKept => self.judging.habits.keeps_chord,
            RightWhen::TensionIsNamed(_) => false,
        }
    }

    /// Whether a candidate may be what was meant here: it may stand in the passage, and nothing rubs in it.
    pub(super) fn may_be_meant(&self, c: &Candidate<'_>) -> bool {
        self.stands(c) && self.rub(c, &c.voicing).is_none()
    }

    /// The first choice among the candidates that may be meant.
    pub(super) fn first_meant<'c, 'b>(
        &self,
        candidates: &'c [Candidate<'b>],
    ) -> Option<&'c Candidate<'b>> {
        candidates
            .iter()
            .filter(|c| self.may_be_meant(c))
            .min_by_key(|c| c.cost)
    }

    /// Whether a candidate is right in any passage, and nothing rubs in it.
    pub(super) fn is_right_anywhere(&self, c: &Candidate<'_>) -> bool {
        c.right_when == RightWhen::Always && self.rub(c, &c.voicing).is_none()
    }

    /// What rubs in a voicing of a candidate's notes: a minor ninth other than a b9 over its root, or a
    /// half step under the lead.
    pub(super) fn rub(&self, c: &Candidate<'_>, voicing: &[i16]) -> Option<SlipKind> {
        if let [first, second, ..] = voicing
            && first - second == 1
        {
            return Some(SlipKind::SemitoneUnderLead);
        }
        minor_ninths(voicing)
            .find(|&(_, lower)| {
                let is_root = voicing.get(lower).is_some_and(|&m| {
                    self.chords
                        .iter()
                        .any(|ch| ch.root.class() == PitchClass::new(m))
                });
                let flat_nine_chord = self.chords.iter().any(|ch| {
                    matches!(
                        ch.family(),
                        Family::Dominant | Family::Altered | Family::DominantSuspended
                    )
                });
                !(is_root && flat_nine_chord) && c.harmony.way != Way::PassingDiminished
            })
            .map(|(upper, lower)| SlipKind::MinorNinth(upper as u8, lower as u8))
    }
}
