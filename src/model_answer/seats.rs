//! Who plays what: the lead part by itself, and the seats of the section.

use super::request::{Request, VoiceError};
use crate::diagnosis::Passage;
use crate::ground::instrument::{Catalogue, Instrument, Property, RangeVerdict, Section};
use crate::score::identity::identify_all;
use crate::score::{NoteFlags, Score, Stated};
use crate::voicing::{Form, Technique};

/// One seat of the section (or the one part of a keyboard).
#[derive(Clone, Debug)]
pub struct Seat {
    /// The name on the part.
    pub name: String,
    /// Its instrument.
    pub instrument: &'static Instrument,
    /// Its number within the instrument, 1-based.
    pub number: u8,
}

impl Seat {
    /// What it costs this player to sound a pitch; `None` when the range does not have it.
    pub(super) fn cost(&self, sounding: i16) -> Option<i32> {
        let written = sounding - self.instrument.transposition.chromatic;
        match self.instrument.judge_range(written, Some(self.number)) {
            RangeVerdict::Comfortable => Some(0),
            RangeVerdict::Professional => Some(3),
            _ => None,
        }
    }

    /// The lowest pitch it sounds in its professional range.
    pub(super) fn lowest(&self) -> i16 {
        let low = self.instrument.range.professional.0;
        low.midi() + self.instrument.transposition.chromatic
    }
}

/// The part that has the lead.
pub(super) fn lead_part(score: &Score, request: &Request) -> Result<usize, VoiceError> {
    if let Some(name) = &request.part {
        return score
            .parts
            .iter()
            .position(|p| p.name.eq_ignore_ascii_case(name))
            .ok_or_else(|| VoiceError::NoSuchPart {
                found: name.clone(),
                parts: score
                    .parts
                    .iter()
                    .map(|p| p.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            });
    }
    score
        .parts
        .iter()
        .position(|p| p.notes.iter().any(crate::score::Note::sounds))
        .ok_or(VoiceError::NoLead)
}

/// The score with nothing but the lead: of notes struck together in that part, the highest; and the
/// chord symbols of the whole score.
pub(super) fn lead_alone(score: &Score, part: usize) -> Score {
    let mut lead = score.clone();
    let chords = score.chords.clone();
    let Some(mut own) = score.parts.get(part).cloned() else {
        lead.parts.clear();
        return lead;
    };
    // The meter is any part's.
    if own.meters.is_empty()
        && let Some(other) = score.parts.iter().find(|p| !p.meters.is_empty())
    {
        own.meters.clone_from(&other.meters);
    }
    let notes = std::mem::take(&mut own.notes);
    for note in notes {
        if !note.sounds() {
            continue;
        }
        match own.notes.last_mut() {
            Some(last) if last.onset == note.onset => {
                if note.sounding.midi() > last.sounding.midi() {
                    *last = note;
                }
            }
            _ => own.notes.push(note),
        }
    }
    for note in &mut own.notes {
        note.flags.0 &= !NoteFlags::CHORD_MEMBER.0;
        note.voice = 1;
        note.staff = 1;
    }
    own.chords = chords;
    lead.parts = vec![own];
    lead.stated = Vec::<crate::score::Mark<Stated>>::new();
    lead.lay_out();
    lead
}

/// The seats: those the file itself has ready (parts of the lead's section without notes), else the
/// usual ones of the section.
pub(super) fn seats(
    score: &Score,
    part: usize,
    request: &Request,
) -> Result<Vec<Seat>, VoiceError> {
    let catalogue = score.instruments.catalogue();
    let identities = identify_all(catalogue, &score.parts);
    let own = identities
        .get(part)
        .and_then(Option::as_ref)
        .map(|i| i.instrument);
    let section = section_of(score, part, request, own)?;
    let fits = |n: usize| match request.technique {
        Technique::Mechanical(m) => m.voices() == n,
        Technique::Form(f) => f.voices().contains(&n),
    };
    // Parts that stand ready.
    let ready: Vec<Seat> = score
        .parts
        .iter()
        .zip(&identities)
        .enumerate()
        .filter(|(i, (p, _))| *i == part || p.notes.is_empty() && p.unpitched == 0)
        .filter_map(|(_, (p, identity))| {
            let identity = identity.as_ref()?;
            (identity.instrument.section == section.key).then(|| Seat {
                name: p.name.clone(),
                instrument: identity.instrument,
                number: identity.seat.unwrap_or(1),
            })
        })
        .collect();
    if ready.len() > 1 && fits(ready.len()) {
        return Ok(ready);
    }
    let usual = section
        .seats
        .iter()
        .rev()
        .find(|list| section.chordal || fits(list.len()))
        .ok_or_else(|| VoiceError::WrongSize {
            technique: request.technique,
            section: section.name.clone(),
            needs: match request.technique {
                Technique::Mechanical(m) => m.voices().to_string(),
                Technique::Form(f) => format!("{} to {}", f.voices().start(), f.voices().end()),
            },
        })?;
    Ok(usual_seats(catalogue, usual))
}

/// The section that is voiced: as asked for, as the score states it, else the lead instrument's own.
fn section_of<'c>(
    score: &'c Score,
    part: usize,
    request: &Request,
    own: Option<&Instrument>,
) -> Result<&'c Section, VoiceError> {
    let catalogue = score.instruments.catalogue();
    let stated = score.stated.iter().find_map(|m| m.value.section.as_deref());
    let wanted = request.section.as_deref().or(stated);
    match wanted {
        Some(words) => {
            let known = || {
                let voiced = catalogue.sections.iter().filter(|s| !s.seats.is_empty());
                voiced
                    .map(|s| s.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", ")
            };
            let called =
                catalogue
                    .section_called(words)
                    .ok_or_else(|| VoiceError::NoSuchSection {
                        found: words.to_owned(),
                        known: known(),
                    })?;
            called.section.ok_or_else(|| VoiceError::SeveralSections {
                found: called.name,
                known: known(),
            })
        }
        None => own
            .and_then(|i| catalogue.section(&i.section))
            .filter(|s| !s.seats.is_empty())
            .ok_or_else(|| {
                let name = score.parts.get(part).map(|p| p.name.clone());
                VoiceError::WhichSection(name.unwrap_or_default())
            }),
    }
}

/// The seats of a list of instruments (their keys), numbered where an instrument comes more than once.
fn usual_seats(catalogue: &'static Catalogue, keys: &[String]) -> Vec<Seat> {
    let mut seats: Vec<Seat> = Vec::new();
    for key in keys {
        let Some(instrument) = catalogue.instruments.iter().find(|i| i.key == *key) else {
            continue;
        };
        let number = seats
            .iter()
            .filter(|s| s.instrument.key == instrument.key)
            .count() as u8
            + 1;
        let several = keys.iter().filter(|k| *k == key).count() > 1;
        let mut name: String = short(instrument).to_owned();
        if several {
            name = format!("{name} {number}");
        }
        if name.is_empty() {
            instrument.name.clone_into(&mut name);
        }
        seats.push(Seat {
            name: capital(&name),
            instrument,
            number,
        });
    }
    seats
}

/// What a band calls the seat: "alto", "bass trombone".
fn short(instrument: &Instrument) -> &str {
    if instrument.is(Property::ShortName) {
        &instrument.label
    } else {
        &instrument.name
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

/// The notes of a voicing that the left hand takes when both hands keep within `span` semitones:
/// as few as can be. `None` when no share of the chord fits the hands.
pub(super) fn left_hand(voicing: &[i16], span: i16) -> Option<usize> {
    let reach = |hand: &[i16]| match (hand.first(), hand.last()) {
        (Some(a), Some(b)) => a - b,
        _ => 0,
    };
    (0..=voicing.len()).find(|&n| {
        let (right, left) = voicing.split_at(voicing.len() - n);
        // Five notes are more than a hand strikes at its ease.
        right.len() <= 4 && reach(right) <= span && reach(left) <= span
    })
}

/// The octave each seat keeps in unison and octaves: where its range is most at ease over the whole
/// passage. The top seat has the lead itself; in octaves the bottom seat is below it if it can be.
pub(super) fn octaves(passage: &Passage, seats: &[Seat], technique: Technique) -> Vec<i16> {
    let leads: Vec<i16> = passage
        .sonorities
        .iter()
        .filter_map(|s| s.voices.first().map(|v| v.midi))
        .collect();
    let last = seats.len().saturating_sub(1);
    seats
        .iter()
        .enumerate()
        .map(|(i, seat)| {
            if i == 0 {
                return 0;
            }
            let below = technique == Technique::Form(Form::Octaves) && i * 2 > last;
            let ways: &[i16] = match technique {
                Technique::Form(Form::Unison) => &[0],
                _ if below => &[12, 24, 0],
                _ => &[0, 12, 24],
            };
            ways.iter()
                .copied()
                .min_by_key(|down| {
                    leads
                        .iter()
                        .map(|m| seat.cost(m - down).unwrap_or(1000))
                        .sum::<i32>()
                })
                .unwrap_or(0)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model_answer::voice;
    use crate::reading::grid;
    use crate::style::Style;
    use std::path::Path;

    #[test]
    fn several_sections_as_one_are_known_and_not_voiced_for() {
        let text = "key: C\nmeter: 4/4\nparts: lead = clarinet\n\nchord | C6 |\ncount | 1 |\nlead | C5 |\n";
        let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
        for name in ["horns", "brass", "clarinet and saxes"] {
            let request = Request {
                section: Some(name.to_owned()),
                ..Request::new(Technique::named("four-way close").unwrap())
            };
            let error = voice(&score, &Style::default(), &request).unwrap_err();
            let known =
                matches!(&error, VoiceError::SeveralSections { found, .. } if found == name);
            assert!(known, "{error}");
        }
    }
}
