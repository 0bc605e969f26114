//! The right voicings that a sonority may have been meant as: lead x harmonisation x technique.

use super::case::Case;
use super::habits::Habit;
use super::outcome::SlipKind;
use crate::ground::chord::{Chord, Family, Leads};
use crate::ground::pitch::{NoteName, PitchClass};
use crate::ground::time::Ticks;
use crate::voicing::harmonise::{
    Sets, dominant_of, is_chord_note, on_chord, on_chord_of, other_diminished, passing_diminished,
};
use crate::voicing::{Harmonisation, Mechanical, Voicing, Way, close_position, minor_ninths};
use smallvec::SmallVec;

/// When a candidate is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RightWhen {
    /// Always.
    Always,
    /// Only where the passage does the same elsewhere.
    HabitOfPassage(Habit),
    /// Only where symbol or lead brings in this tension, and neither does.
    TensionIsNamed(NoteName),
}

/// A voicing that some reading of the sonority would make right.
pub(super) struct Candidate<'a> {
    pub(super) harmony: Harmonisation<'a>,
    /// Its notes in close position.
    pub(super) close: Voicing,
    /// Its notes in the technique in force, from the top.
    pub(super) voicing: Voicing,
    pub(super) right_when: RightWhen,
    /// How far from the first choice the reading is.
    pub(super) bias: i32,
}

/// Candidates under one lead: one, where only the notes written are asked for.
pub(super) type Candidates<'a> = SmallVec<[Candidate<'a>; 1]>;

/// The candidates of one lead as they are collected.
struct Collected<'o, 'a> {
    technique: Mechanical,
    lead: i16,
    /// The pitch classes that are asked for; all when `None`.
    only: Option<&'o [PitchClass]>,
    candidates: Candidates<'a>,
}

impl<'a> Collected<'_, 'a> {
    fn add(&mut self, harmony: Harmonisation<'a>, right_when: RightWhen, bias: i32) {
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
            bias,
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
}

impl LeadOverChord {
    /// The chord under it is struck again under a passing note.
    const fn restrikes(&self) -> bool {
        !self.member && self.passing_class && self.approaches
    }
}

impl<'a> Case<'a> {
    /// Every voicing that a reading with this lead makes right, or nearly so. `bias` is how far from the
    /// first choice the lead is.
    pub(super) fn candidates(&self, lead: i16, bias: i32) -> Candidates<'a> {
        self.candidates_of(lead, bias, None)
    }

    /// The same of these pitch classes only, where some are given; then without those that are only
    /// nearly right.
    pub(super) fn candidates_of(
        &self,
        lead: i16,
        bias: i32,
        only: Option<&[PitchClass]>,
    ) -> Candidates<'a> {
        let class = PitchClass::new(lead);
        let mut collected = Collected {
            technique: self.technique,
            lead,
            only,
            candidates: Candidates::new(),
        };
        for (order, &chord) in self.chords.iter().enumerate() {
            let bias = bias + order as i32 * 2;
            let over = LeadOverChord {
                class,
                member: is_chord_note(chord, class),
                passing_class: matches!(class.above(chord.root.class()), 2 | 5 | 8 | 11),
                approaches: self.approaches(),
            };
            self.add_chord(&mut collected, order, chord, &over, bias);
            self.add_diminished(&mut collected, chord, &over, bias);
            if matches!(chord.family(), Family::Dominant | Family::Altered) {
                self.add_over_dominant(&mut collected, chord, bias + 8);
            }
        }
        self.add_coming_dominant(&mut collected, class, bias);
        collected.candidates
    }

    /// The chord itself under the lead, its tensions in place of its notes. Altered tensions that nobody
    /// brings in are added as nearly right.
    fn add_chord(
        &self,
        collected: &mut Collected<'_, 'a>,
        order: usize,
        chord: &'a Chord,
        over: &LeadOverChord,
        bias: i32,
    ) {
        let only = collected.only;
        let may_stand = |class| only.is_none_or(|only| only.contains(&class));
        let plain = on_chord_of(chord, over.class, self.may_alter(order), may_stand);
        for h in &plain {
            let right_when = if over.restrikes() && !self.second_reading_beside(chord) {
                RightWhen::HabitOfPassage(Habit::SameChord)
            } else {
                RightWhen::Always
            };
            let bias = bias + i32::from(h.changes) * 3;
            collected.add(*h, right_when, bias);
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
            if let Some(foreign) = foreign {
                collected.add(h, RightWhen::TensionIsNamed(foreign), bias + 40);
            }
        }
    }

    /// The diminished seventh under a lead that passes.
    fn add_diminished(
        &self,
        collected: &mut Collected<'_, 'a>,
        chord: &Chord,
        over: &LeadOverChord,
        bias: i32,
    ) {
        if over.member && over.passing_class && over.approaches {
            // A note the symbol names may pass all the same: 7 on maj7, 9 on 6/9.
            let h = passing_diminished(chord.root);
            collected.add(h, RightWhen::Always, bias + 6);
        }
        if over.member {
            return;
        }
        let h = if over.passing_class {
            Some(passing_diminished(chord.root))
        } else {
            other_diminished(chord.root, self.name_of_lead(collected.lead))
        };
        if let Some(h) = h {
            let bias = bias + if over.restrikes() { -1 } else { 5 };
            collected.add(h, RightWhen::Always, bias);
        }
    }

    /// The second reading of a dominant (as the minor sixth on its fifth: the lead's root passes
    /// on a diminished seventh), and the third (as the sixth chord it leads to, when short).
    fn add_over_dominant(&self, collected: &mut Collected<'_, 'a>, chord: &Chord, bias: i32) {
        let lead = collected.lead;
        let class = PitchClass::new(lead);
        if class == chord.root.class()
            && self.approaches()
            && let Some(h) = other_diminished(chord.root, self.name_of_lead(lead))
        {
            collected.add(h, RightWhen::Always, bias);
        }
        let two_beats = self.lead.map_or(Ticks::ZERO, |l| l.beat.times(2));
        if self.chord_length > two_beats {
            return;
        }
        let Some(next) = self
            .score
            .chord_after(self.sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
        else {
            return;
        };
        if next.root.class().above(chord.root.class()) != 5 {
            return;
        }
        let sets = on_chord(next, class, false)
            .into_iter()
            .filter(|h| h.changes <= 1)
            .chain((!is_chord_note(next, class)).then(|| passing_diminished(next.root)));
        for h in sets {
            let h = Harmonisation {
                way: Way::TargetTonic,
                ..h
            };
            collected.add(h, RightWhen::Always, bias + 10);
        }
    }

    /// The dominant of the chord at the next lead note.
    fn add_coming_dominant(&self, collected: &mut Collected<'_, 'a>, class: PitchClass, bias: i32) {
        if !self.judging.only_diminished
            && self.approaches()
            && let (Some(coming), Some(now)) = (self.coming, self.chord())
            && !is_chord_note(now, class)
        {
            let right_when = if coming == now {
                RightWhen::HabitOfPassage(Habit::Dominant)
            } else {
                RightWhen::Always
            };
            for h in dominant_of(coming.root, class) {
                if h.changes <= 1 {
                    collected.add(h, right_when, bias + 12);
                }
            }
        }
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
            RightWhen::HabitOfPassage(habit) => self.judging.habits.allow(habit),
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
            .min_by_key(|c| c.bias)
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
