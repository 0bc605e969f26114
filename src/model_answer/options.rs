//! The voicings that are right under each lead note and that the seats can play.

use super::answer::Weighed;
use super::job::Job;
use super::seats::Seat;
use crate::diagnosis::{Choice, choices, frames_at};
use crate::ground::chord::tensions_leading;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::voicing::{Form, Frame, Harmonisation, Mechanical, Technique, Voicing, Way};
use crate::voicing::{close_position, crowd, harmonise};
use smallvec::smallvec;

/// How many voicings of a form are weighed at each note.
const MOST: usize = 60;

impl Job<'_> {
    /// The voicings under each lead note.
    pub(super) fn all_options(&self) -> Vec<Vec<Weighed>> {
        let mut options: Vec<Vec<Weighed>> = (0..self.passage.sonorities.len())
            .map(|at| self.options(at))
            .collect();
        self.plane(&mut options);
        options
    }

    /// The voicings that are right under a lead note and can be played.
    fn options(&self, at: usize) -> Vec<Weighed> {
        let Some(lead) = self.lead_midi(at) else {
            return Vec::new();
        };
        let frames = frames_at(self.lead, self.passage, at);
        let mut found = Vec::new();
        if frames.is_empty() {
            // No chord: the section joins the lead.
            found.push(self.together(lead));
        }
        match self.technique {
            Technique::Mechanical(m) => {
                found.extend(
                    choices(self.lead, self.passage, at, m, self.style)
                        .into_iter()
                        .map(|c| weighed(c, self.technique)),
                );
            }
            Technique::Form(form) => found.extend(self.in_form(form, at, lead)),
        }
        let cluster = self.technique == Technique::Form(Form::Cluster);
        found.retain(|o| {
            self.is_clear(at, &o.voicing)
                && (cluster || self.is_quick(at) || crowd(&o.voicing).is_none())
        });
        found
            .into_iter()
            .filter_map(|o| {
                let cost = o.cost + self.cost_of_seats(&o.voicing)?;
                Some(Weighed { cost, ..o })
            })
            .collect()
    }

    /// Everybody on the lead, each seat in the octave it keeps for the whole passage.
    fn together(&self, lead: i16) -> Weighed {
        let mut voicing: Voicing = if self.is_chordal() {
            smallvec![lead]
        } else {
            self.octaves.iter().map(|down| lead - down).collect()
        };
        voicing.sort_unstable_by(|a, b| b.cmp(a));
        Weighed {
            voicing,
            names: Vec::new(),
            harmony: None,
            technique: Form::Unison.into(),
            cost: 0,
        }
    }

    fn in_form(&self, form: Form, at: usize, lead: i16) -> Vec<Weighed> {
        let voices = self.voices();
        let frames = frames_at(self.lead, self.passage, at);
        let lowest = self
            .seats
            .iter()
            .map(Seat::lowest)
            .min()
            .unwrap_or(lead - 36);
        if form.is_doubling() {
            return self.together_as(form, lead).into_iter().collect();
        }
        let mut found: Vec<Weighed> = Vec::new();
        for (order, frame) in frames.iter().enumerate() {
            let names: Vec<NoteName> = frame
                .chord
                .degrees
                .iter()
                .chain(&tensions_leading(frame.chord.family(), frame.leads).available)
                .map(|d| d.over(frame.chord.root))
                .collect();
            found.extend(
                form.voicings(lead, voices, frame, lowest)
                    .into_iter()
                    .take(MOST)
                    .map(|(cost, voicing)| Weighed {
                        voicing,
                        names: names.clone(),
                        harmony: Some((Way::Chord, frame.chord.text.clone())),
                        technique: form.into(),
                        cost: cost + order as i32 * 4,
                    }),
            );
        }
        // A passing lead note: the passing chord in the nearest mechanical form.
        let approaches = self
            .passage
            .leads
            .get(at)
            .copied()
            .flatten()
            .is_some_and(|l| l.approaches());
        if let Some(frame) = frames.first().filter(|_| approaches)
            && matches!(form, Form::FiveNoteSoli | Form::ThreePart | Form::TwoPart)
        {
            let passing = harmonise::passing_diminished(frame.chord.root);
            if passing.classes().contains(&PitchClass::new(lead)) {
                found.extend(passing_voicing(form, lead, &passing));
            }
        }
        // Where the form has no place (an upper structure off the dominants) a drop stands in.
        if found.is_empty() && form == Form::UpperStructure {
            let dominant = frames.first().is_some_and(Frame::is_dominant);
            if !dominant {
                found.extend(
                    choices(
                        self.lead,
                        self.passage,
                        at,
                        Mechanical::Drop2DoubledLead,
                        self.style,
                    )
                    .into_iter()
                    .map(|c| weighed(c, Mechanical::Drop2DoubledLead.into())),
                );
            }
        }
        found
    }

    /// Unison and octaves, where the seats' ranges let it.
    fn together_as(&self, form: Form, lead: i16) -> Option<Weighed> {
        let all = self.together(lead);
        form.fits(&all.voicing, None).then_some(all)
    }

    /// Short lead notes that the form has no voicing for move in parallel with the chord they lead
    /// to, else with the one before.
    fn plane(&self, options: &mut [Vec<Weighed>]) {
        if !matches!(self.technique, Technique::Form(_)) {
            return;
        }
        let empty: Vec<usize> = (0..options.len())
            .rev()
            .filter(|&i| options.get(i).is_some_and(Vec::is_empty))
            .collect();
        for at in empty {
            let approaches = self
                .passage
                .leads
                .get(at)
                .copied()
                .flatten()
                .is_some_and(|l| l.approaches());
            let beside = if approaches {
                [Some(at + 1), at.checked_sub(1)]
            } else {
                continue;
            };
            let Some(lead) = self.lead_midi(at) else {
                continue;
            };
            let moved: Vec<Weighed> = beside
                .into_iter()
                .flatten()
                .filter_map(|i| options.get(i))
                .flatten()
                .filter_map(|o| {
                    let by = lead - o.voicing.first()?;
                    (by.abs() <= 2).then(|| Weighed {
                        voicing: o.voicing.iter().map(|m| m + by).collect(),
                        names: Vec::new(),
                        harmony: o
                            .harmony
                            .as_ref()
                            .map(|h| (h.0, format!("{}, moved in parallel", h.1))),
                        technique: o.technique,
                        cost: o.cost + 4,
                    })
                })
                .filter(|o| self.is_clear(at, &o.voicing))
                .filter(|o| self.cost_of_seats(&o.voicing).is_some())
                .take(MOST)
                .collect();
            if let Some(slot) = options.get_mut(at) {
                *slot = moved;
            }
        }
    }
}

/// A right voicing of a technique.
pub(super) fn weighed(choice: Choice, technique: Technique) -> Weighed {
    Weighed {
        voicing: choice.voicing,
        names: choice.names,
        harmony: Some((choice.way, choice.label)),
        technique,
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
