//! Techniques that the lead itself asks for, stretch by stretch: in words over its staff ("unison", "drop 2",
//! "solo"), or where its grid states another than at the start.

use super::answer::{WayOut, Weighed};
use super::arrangement::Arrangement;
use super::job::{Job, leads_of};
use crate::diagnosis::{Asks, asks_in_words};
use crate::ground::time::Ticks;
use crate::score::{FREE, Score};
use crate::voicing::{Form, Technique};
use smallvec::smallvec;

/// What holds from a time on; `None` is the technique of the whole.
#[derive(Clone, Debug, Default)]
pub(super) struct Stretches(Vec<(Ticks, Option<Asks>)>);

impl Stretches {
    /// What the lead of a score asks for after its start. What it asks for there, the request decides; where it
    /// comes back, the technique of the request does.
    pub(super) fn of(score: &Score, part: usize) -> Self {
        let Some(own) = score.parts.get(part) else {
            return Self::default();
        };
        let words = own.words.iter().filter(|w| !w.value.below);
        let words = words.filter_map(|w| {
            let text = w.value.text.trim();
            let back = text.eq_ignore_ascii_case("tutti");
            let asks = asks_in_words(text);
            (back || asks.is_some()).then_some((w.onset, asks.filter(|_| !back)))
        });
        let stated = score.stated.iter().filter_map(|m| {
            let technique = m.value.technique.as_deref()?;
            Some((
                m.onset,
                match technique {
                    FREE => Some(Asks::Free),
                    name => Technique::named(name).map(Asks::Technique),
                },
            ))
        });
        let mut all: Vec<(Ticks, Option<Asks>)> = words.chain(stated).collect();
        all.sort_by_key(|(onset, _)| *onset);
        let starts = own.notes.first().map_or(Ticks::ZERO, |n| n.onset);
        let initial = all.iter().rfind(|(onset, _)| *onset <= starts);
        let initial = initial.and_then(|(_, asks)| *asks);
        all.retain(|(onset, _)| *onset > starts);
        for (_, asks) in &mut all {
            if *asks == initial {
                *asks = None;
            }
        }
        Self(all)
    }

    fn at(&self, onset: Ticks) -> Option<Asks> {
        self.0.iter().rfind(|(from, _)| *from <= onset)?.1
    }
}

impl Job<'_> {
    /// Puts what is asked for in the place of the voicings of the technique.
    pub(super) fn mix(&self, stretches: &Stretches, options: &mut [Vec<Weighed>]) {
        let leads = leads_of(self.passage);
        let onsets: Vec<Ticks> = self.passage.sonorities.iter().map(|s| s.onset).collect();
        let mut made: Vec<(Technique, Vec<Vec<Weighed>>)> = Vec::new();
        for (at, onset) in onsets.iter().enumerate() {
            let (Some(asks), Some(slot)) = (stretches.at(*onset), options.get_mut(at)) else {
                continue;
            };
            match asks {
                Asks::Free => slot.splice(.., self.solo(at)).for_each(drop),
                Asks::Technique(technique) => {
                    if !made.iter().any(|(t, _)| *t == technique) {
                        made.push((technique, self.all_in(technique, &leads, onsets.len())));
                    }
                    let found = made.iter().find(|(t, _)| *t == technique);
                    let found = found.and_then(|(_, all)| all.get(at)).cloned();
                    *slot = found.unwrap_or_default();
                }
            }
        }
    }

    /// The voicings of another technique under each note.
    fn all_in(&self, technique: Technique, leads: &[i16], count: usize) -> Vec<Vec<Weighed>> {
        let arrangement = Arrangement::new(technique, self.seats);
        let other = Job {
            octaves: arrangement.octaves(leads, self.seats),
            arrangement: &arrangement,
            ..*self
        };
        let asked = |o: Weighed| Weighed {
            way_out: Some(WayOut::Asked),
            ..o
        };
        (0..count)
            .map(|at| other.options(at).into_iter().map(asked).collect())
            .collect()
    }

    /// The lead alone.
    fn solo(&self, at: usize) -> Option<Weighed> {
        Some(Weighed {
            voicing: smallvec![self.lead_midi(at)?],
            names: Vec::new(),
            harmony: None,
            technique: Form::Unison.into(),
            way_out: Some(WayOut::Solo),
            cost: 0,
        })
    }
}
