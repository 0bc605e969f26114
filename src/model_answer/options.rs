//! The voicings that are right under each lead note and that the seats can play.

use super::answer::{WayOut, Weighed};
use super::job::Job;
use super::request::Passing;
use super::seats::Seat;
use crate::diagnosis::{Choice, choices, frames_at};
use crate::ground::chord::tensions_leading;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Form, Frame, Harmonisation, Mechanical, Technique, Voicing, Way};
use crate::voicing::{close_position, crowd, harmonise, minor_ninths};
use smallvec::smallvec;

/// How many voicings of a form are weighed at each note.
const MOST: usize = 60;

/// What it costs that the lower blocks leave the octave they keep.
const OTHER_OCTAVE: i32 = 4;

/// What a passing chord costs where the guide tones may stand on.
const PASSING: i32 = 3;

/// What another harmony than the preferred one costs under a passing note.
const NOT_PREFERRED: i32 = 8;

impl Job<'_> {
    /// The voicings of the technique under each lead note.
    pub(super) fn all_options(&self) -> Vec<Vec<Weighed>> {
        let mut options: Vec<Vec<Weighed>> = (0..self.passage.sonorities.len())
            .map(|at| self.options(at))
            .collect();
        if self.passing == Some(Passing::Parallel) {
            self.prefer_parallel(&mut options);
        }
        options
    }

    /// The voicings that are right under a lead note and can be played.
    pub(super) fn options(&self, at: usize) -> Vec<Weighed> {
        let Some(lead) = self.lead_midi(at) else {
            return Vec::new();
        };
        let frames = frames_at(self.lead, self.passage, at);
        if frames.is_empty() {
            // No chord: the section joins the lead.
            return self.playable(at, vec![self.together(at, lead)]);
        }
        let technique = self.arrangement.base;
        if let Technique::Form(form) = technique
            && form.is_doubling()
        {
            return self.playable(at, vec![self.together_as(form, at, lead)]);
        }
        let mut found: Vec<Weighed> = match technique {
            Technique::Mechanical(m) => choices(self.lead, self.passage, at, m, self.style)
                .into_iter()
                .map(|c| weighed(c, self.arrangement.technique))
                .collect(),
            Technique::Form(form) => self.in_form(form, at, lead, &frames),
        };
        self.prefer(at, &frames, &mut found);
        let cluster = technique == Technique::Form(Form::Cluster);
        found.retain(|o| cluster || self.is_quick(at) || crowd(&o.voicing).is_none());
        let ways = self.octaves.ways();
        let mut dealt = Vec::with_capacity(found.len());
        for option in found {
            for (order, octaves) in ways.iter().enumerate() {
                let (frame, seats) = (frames.first(), self.seats);
                let voicing = self.arrangement.dealt(&option, frame, octaves, seats);
                let apart = octaves.blocks.len() > 1;
                let Some(voicing) = voicing.filter(|v| !apart || !rubs(v, frame)) else {
                    continue;
                };
                dealt.push(Weighed {
                    voicing,
                    cost: option.cost + order as i32 * OTHER_OCTAVE,
                    ..option.clone()
                });
            }
        }
        self.playable(at, dealt)
    }

    /// Those that lie clear and in the ranges, with what their registers cost.
    pub(super) fn playable(&self, at: usize, found: Vec<Weighed>) -> Vec<Weighed> {
        found
            .into_iter()
            .filter(|o| self.is_clear(at, &o.voicing))
            .filter_map(|o| {
                let cost = o.cost + self.cost_of_seats(&o.voicing)?;
                Some(Weighed { cost, ..o })
            })
            .collect()
    }

    /// Whether the lead moves on by step from a note that is not the chord's.
    pub(super) fn passes(&self, at: usize, frames: &[Frame<'_>]) -> bool {
        let approaches = self.approaches(at);
        let lead = self.lead_midi(at).map(PitchClass::new);
        approaches
            && lead.is_some_and(|l| frames.first().is_some_and(|f| !is_chord_note(f.chord, l)))
    }

    /// Whether the lead moves on by step.
    pub(super) fn approaches(&self, at: usize) -> bool {
        let lead = self.passage.leads.get(at).copied().flatten();
        lead.is_some_and(|l| l.approaches())
    }

    /// Under a passing note the harmony that was asked for comes first.
    fn prefer(&self, at: usize, frames: &[Frame<'_>], found: &mut [Weighed]) {
        let Some(passing) = self.passing.filter(|_| self.passes(at, frames)) else {
            return;
        };
        let wanted = |option: &Weighed| {
            option
                .harmony
                .as_ref()
                .is_some_and(|(way, _)| match passing {
                    Passing::Diminished => way.is_diminished(),
                    Passing::Dominant => *way == Way::Dominant,
                    Passing::Tonic => matches!(way, Way::TargetTonic | Way::RelatedSecond),
                    Passing::Parallel => false,
                })
        };
        let least = found.iter().filter(|o| wanted(o)).map(|o| o.cost).min();
        let least = least.unwrap_or(0);
        for option in found {
            if wanted(option) {
                option.cost -= least;
            } else {
                option.cost += NOT_PREFERRED;
            }
        }
    }

    /// The voicings of the next note moved by the lead's step come first under a passing note.
    fn prefer_parallel(&self, options: &mut [Vec<Weighed>]) {
        for at in (0..options.len().saturating_sub(1)).rev() {
            let frames = frames_at(self.lead, self.passage, at);
            if !self.passes(at, &frames) {
                continue;
            }
            let moved = self.moved_from(at, at + 1, options);
            if let Some(slot) = options.get_mut(at) {
                slot.extend(moved.into_iter().map(|o| Weighed { way_out: None, ..o }));
            }
        }
    }

    /// Everybody on the lead, each seat in the octave it keeps for the phrase.
    pub(super) fn together(&self, at: usize, lead: i16) -> Weighed {
        let voicing: Voicing = if self.is_chordal() {
            smallvec![lead]
        } else {
            let octaves = self.octaves_at(at);
            octaves.iter().map(|down| lead - down).collect()
        };
        let form = if voicing.iter().any(|m| *m != lead) {
            Form::Octaves
        } else {
            Form::Unison
        };
        Weighed {
            voicing,
            names: Vec::new(),
            harmony: None,
            technique: form.into(),
            way_out: None,
            cost: 0,
        }
    }

    /// Unison and octaves; where the ranges make one of the other, that is said.
    fn together_as(&self, form: Form, at: usize, lead: i16) -> Weighed {
        let mut all = self.together(at, lead);
        if self.is_chordal() && form == Form::Octaves {
            all.voicing.push(lead - 12);
            all.technique = form.into();
        }
        if all.technique != form.into() {
            all.way_out = Some(WayOut::Together);
        }
        all
    }

    fn in_form(&self, form: Form, at: usize, lead: i16, frames: &[Frame<'_>]) -> Vec<Weighed> {
        let lowest = self.seats.iter().map(Seat::lowest).min();
        let lowest = lowest.unwrap_or(lead - 36);
        let mut found: Vec<Weighed> = Vec::new();
        for (order, frame) in frames.iter().enumerate() {
            let names: Vec<NoteName> = frame
                .chord
                .degrees
                .iter()
                .chain(&tensions_leading(frame.chord.family(), frame.leads).available)
                .map(|d| d.over(frame.chord.root))
                .collect();
            let made = form.voicings(lead, self.arrangement.voices, frame, lowest);
            found.extend(made.into_iter().take(MOST).map(|(cost, voicing)| Weighed {
                voicing,
                names: names.clone(),
                harmony: Some((Way::Chord, frame.chord.text.clone())),
                technique: form.into(),
                way_out: None,
                cost: cost + order as i32 * 4,
            }));
        }
        // A passing lead note: the passing chord in the nearest mechanical form.
        if let Some(frame) = frames.first().filter(|_| self.passes(at, frames))
            && matches!(form, Form::FiveNoteSoli | Form::ThreePart | Form::TwoPart)
        {
            let passing = harmonise::passing_diminished(frame.chord.root);
            if passing.classes().contains(&PitchClass::new(lead)) {
                let dearer = if form == Form::FiveNoteSoli {
                    0
                } else {
                    PASSING
                };
                found.extend(passing_voicing(form, lead, &passing).into_iter().map(|o| {
                    let cost = o.cost + dearer;
                    Weighed { cost, ..o }
                }));
            }
        }
        // Off the dominants an upper structure has no place: a drop stands in.
        if found.is_empty() && form == Form::UpperStructure {
            let dominant = frames.first().is_some_and(Frame::is_dominant);
            if !dominant {
                let drop = Mechanical::Drop2DoubledLead;
                let made = choices(self.lead, self.passage, at, drop, self.style);
                found.extend(made.into_iter().map(|c| weighed(c, form.into())));
            }
        }
        found
    }

    /// The voicings of a neighbour moved with the lead, where it is a step away.
    pub(super) fn moved_from(
        &self,
        at: usize,
        beside: usize,
        options: &[Vec<Weighed>],
    ) -> Vec<Weighed> {
        let Some(lead) = self.lead_midi(at) else {
            return Vec::new();
        };
        let from = options.get(beside).map_or(&[][..], Vec::as_slice);
        let moved = from.iter().filter(|o| o.way_out.is_none()).filter_map(|o| {
            let by = lead - self.lead_midi(beside)?;
            let label = o.harmony.as_ref().map(|h| format!("{} in parallel", h.1));
            (by.abs() <= 2).then(|| Weighed {
                voicing: o.voicing.iter().map(|m| m + by).collect(),
                names: Vec::new(),
                harmony: label.map(|l| (Way::Tension, l)),
                technique: o.technique,
                way_out: Some(WayOut::InParallel),
                cost: o.cost,
            })
        });
        let moved = moved.take(MOST).collect();
        self.playable(at, moved)
    }
}

/// Whether two notes of a group stand a minor ninth apart that is not a b9 over the root of a dominant.
fn rubs(voicing: &[i16], frame: Option<&Frame<'_>>) -> bool {
    let mut sorted = Voicing::from_slice(voicing);
    sorted.sort_unstable_by(|a, b| b.cmp(a));
    sorted.dedup();
    let root = frame
        .filter(|f| f.is_dominant())
        .map(|f| f.chord.root.class());
    let on_root = |lower: usize| sorted.get(lower).map(|m| PitchClass::new(*m)) == root;
    minor_ninths(&sorted).any(|(_, lower)| root.is_none() || !on_root(lower))
}

/// A right voicing of a technique.
pub(super) fn weighed(choice: Choice, technique: Technique) -> Weighed {
    Weighed {
        voicing: choice.voicing,
        names: choice.names,
        harmony: Some((choice.way, choice.label)),
        technique,
        way_out: None,
        cost: choice.cost,
    }
}

/// The passing chord for forms that have no drops.
fn passing_voicing(form: Form, lead: i16, passing: &Harmonisation<'_>) -> Vec<Weighed> {
    let Some(close) = close_position(lead, &passing.classes()) else {
        return Vec::new();
    };
    let make = |voicing: Voicing| Weighed {
        voicing,
        names: passing.names.to_vec(),
        harmony: Some((passing.way, passing.label.to_string())),
        technique: form.into(),
        way_out: None,
        cost: 0,
    };
    match form {
        Form::FiveNoteSoli => [Mechanical::Drop2DoubledLead, Mechanical::DoubledLead]
            .into_iter()
            .map(|m| make(m.apply(&close)))
            .collect(),
        Form::ThreePart => [(1, 2), (2, 3), (1, 3)]
            .into_iter()
            .filter_map(|(a, b)| Some(make(smallvec![lead, *close.get(a)?, *close.get(b)?])))
            .collect(),
        _ => close
            .iter()
            .skip(1)
            .map(|&m| make(smallvec![lead, m]))
            .collect(),
    }
}
