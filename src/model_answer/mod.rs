//! The model answer: a lead with chord symbols voiced for a section.
//!
//! Under each lead note stand the voicings the engine calls right; those a seat cannot play or that
//! lie too low fall away; among the rest the line of voicings is taken that costs least: the first
//! choice of harmony, comfortable registers, smooth inner voices.

mod seats;
mod stuck;
mod writing_out;

pub use seats::Seat;
pub use stuck::Stuck;

use crate::diagnosis::{Passage, choices, frame_at, frames_at, lead_passage};
use crate::finding::Finding;
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::score::Score;
use crate::style::Style;
use crate::voicing::{Form, Harmonisation, Mechanical, Technique, Voicing, crowd, harmonise, low};
use smallvec::smallvec;
use std::collections::{BTreeMap, HashSet};

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Request {
    /// The technique.
    pub technique: Technique,
    /// The section in the user's words; the lead's own when not given.
    pub section: Option<String>,
    /// The name of the part that has the lead; the first with notes when not given.
    pub part: Option<String>,
}

/// Why a lead was not voiced.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum VoiceError {
    /// No part of that name.
    #[error("no part of this score is called `{found}`: the parts are {parts}")]
    NoSuchPart {
        /// What was asked for.
        found: String,
        /// What there is.
        parts: String,
    },
    /// Nothing to voice.
    #[error("this score has no notes: a lead with chord symbols over it is needed")]
    NoLead,
    /// No chord symbols.
    #[error("this score has no chord symbols that can be read: write them over the lead")]
    NoChords,
    /// No such section.
    #[error("`{found}` is not a section that chartproof knows: write one of {known}")]
    NoSuchSection {
        /// What was asked for.
        found: String,
        /// What there is.
        known: String,
    },
    /// The section is not known and cannot be told from the lead.
    #[error("the section of the lead `{0}` is not clear: name it, such as saxes")]
    WhichSection(String),
    /// The section cannot be voiced so.
    #[error("{technique} is not written for {section}: it needs {needs} parts")]
    WrongSize {
        /// The technique.
        technique: Technique,
        /// The section.
        section: String,
        /// How many voices it has.
        needs: String,
    },
    /// No right voicing fits under some notes.
    #[error("{}", stuck::sentence(.0))]
    Stuck(Box<Stuck>),
    /// Nothing right can be written where the chord changes under a held note: neither a voicing of the
    /// new chord nor the old one held.
    #[error(
        "bar {bar}, beat {beat}: no right voicing of {chord} under {lead} (sounding) in the ranges of the section, and none of the chord before can be held into it. Another technique or another lead note there may help"
    )]
    Change {
        /// Its bar.
        bar: String,
        /// Its beat.
        beat: String,
        /// The note that is held.
        lead: String,
        /// The new chord.
        chord: String,
    },
    /// What was made is not right by the program's own rules.
    #[error(
        "every voicing tried breaks a rule; the nearest: {0}. Another technique or another lead note there may help"
    )]
    Unclean(String),
}

/// A voicing for one lead note.
#[derive(Clone, Debug)]
struct Weighed {
    voicing: Voicing,
    names: Vec<NoteName>,
    cost: i32,
}

/// Everything needed to voice one lead.
struct Job<'a> {
    lead: &'a Score,
    passage: &'a Passage,
    style: &'a Style,
    technique: Technique,
    seats: &'a [Seat],
    /// How many semitones under the lead each seat plays in unison and octaves.
    octaves: Vec<i16>,
}

/// How often the answer is made again without what the rules found wrong in it.
const ROUNDS: usize = 12;

/// Voices the lead of a score.
///
/// # Errors
///
/// When there is no lead, no section or no right voicing; the error says where and what would help.
pub fn voice(score: &Score, style: &Style, request: &Request) -> Result<Score, VoiceError> {
    let part = seats::lead_part(score, request)?;
    let lead = seats::lead_alone(score, part);
    if !lead.chords.iter().any(|m| m.value.chord.is_some()) {
        return Err(VoiceError::NoChords);
    }
    let seats = seats::seats(score, part, request)?;
    let mut changes = changes_under(&lead, style);
    let mut elsewhere = None;
    loop {
        let passage = lead_passage(&lead, style, &changes).ok_or(VoiceError::NoLead)?;
        let job = Job {
            lead: &lead,
            passage: &passage,
            style,
            technique: request.technique,
            seats: &seats,
            octaves: octaves(&passage, &seats, request.technique),
        };
        let options = job.all_options();
        // Where no voicing of the new chord goes under the held note, the old one is held too.
        let nothing = |t: &Ticks| {
            let at = passage.sonorities.binary_search_by_key(t, |s| s.onset);
            at.is_ok_and(|i| options.get(i).is_none_or(Vec::is_empty))
        };
        let before = changes.len();
        changes.retain(|t| !nothing(t));
        if changes.len() < before {
            continue;
        }
        let tried = match job.line(&options)? {
            Line::Clean(answer) => return Ok(*answer),
            Line::Unclean(tried) => tried,
        };
        let Some((answer, findings)) = tried.as_deref() else {
            return Err(VoiceError::Unclean(String::new()));
        };
        if !changes.is_empty() {
            // A change beside what is wrong is in question, and the others stay.
            let place = |t: Ticks| passage.sonorities.partition_point(|s| s.onset <= t);
            let onsets = findings.iter().filter_map(|f| onset_of(answer, f));
            let wrong: Vec<usize> = onsets.map(place).collect();
            let stays = |t: &Ticks| wrong.iter().all(|w| w.abs_diff(place(*t)) > 1);
            if changes.iter().all(stays) {
                elsewhere = Some(said(answer, findings));
                changes.clear();
            }
            changes.retain(stays);
            continue;
        }
        if let Some(said) = elsewhere {
            return Err(VoiceError::Unclean(said));
        }
        let struck = |t: &Ticks| {
            let at = passage.sonorities.binary_search_by_key(t, |s| s.onset);
            at.is_ok()
        };
        let held = findings
            .iter()
            .filter(|f| f.rule == "wrong-note")
            .filter_map(|f| onset_of(answer, f))
            .find(|t| lead.chord_change(*t).is_some() && !struck(t))
            .and_then(|t| stuck::place(&lead, &passage, t));
        return Err(match held {
            Some((bar, beat, lead, chord)) => VoiceError::Change {
                bar,
                beat,
                lead,
                chord,
            },
            None => VoiceError::Unclean(said(answer, findings)),
        });
    }
}

/// When the chord changes under a note of the lead that has a place in it and is held for another
/// beat. A note struck at most a beat ahead, or half a beat where it is at home in the old chord,
/// anticipates the new one.
fn changes_under(lead: &Score, style: &Style) -> Vec<Ticks> {
    let Some(plain) = lead_passage(lead, style, &[]) else {
        return Vec::new();
    };
    let under = |onset: Ticks| -> Option<bool> {
        lead.chord_change(onset)?;
        let at = plain.sonorities.partition_point(|s| s.onset < onset);
        let sonority = plain.sonorities.get(at.checked_sub(1)?)?;
        let midi = sonority.voices.first()?.midi;
        let fits = |at| {
            let frame = frame_at(lead, at, plain.key_at(lead, at));
            frame.is_some_and(|f| f.may_sound(midi))
        };
        let beat = lead.felt_beat_at(onset);
        let ahead = (onset - sonority.onset).times(if fits(sonority.onset) { 2 } else { 1 });
        Some(ahead > beat && sonority.end - onset >= beat && fits(onset))
    };
    lead.chords
        .iter()
        .map(|m| m.onset)
        .filter(|t| under(*t) == Some(true))
        .collect()
}

/// What came of the cheapest lines.
enum Line {
    /// The rules find nothing in it.
    Clean(Box<Score>),
    /// The last one tried, and what they find.
    Unclean(Option<Box<(Score, Vec<Finding>)>>),
}

/// When what is found is heard.
fn onset_of(answer: &Score, finding: &Finding) -> Option<Ticks> {
    let bar = answer.bars.get(finding.at.bar as usize)?;
    Some(bar.start + finding.at.offset)
}

fn said(answer: &Score, findings: &[Finding]) -> String {
    findings.first().map_or_else(String::new, |f| {
        format!(
            "bar {}, beat {}: {}",
            answer.bar_number(f.at.bar),
            answer.beat_at(f.at),
            f.message
        )
    })
}

impl Job<'_> {
    /// The voicings under each lead note.
    fn all_options(&self) -> Vec<Vec<Weighed>> {
        let mut options: Vec<Vec<Weighed>> = (0..self.passage.sonorities.len())
            .map(|at| self.options(at))
            .collect();
        self.plane(&mut options);
        options
    }

    /// The cheapest line of these voicings in which the rules find nothing, written out.
    fn line(&self, options: &[Vec<Weighed>]) -> Result<Line, VoiceError> {
        let stuck: Vec<usize> = (0..options.len())
            .filter(|&i| options.get(i).is_none_or(Vec::is_empty))
            .collect();
        if !stuck.is_empty() {
            return Err(VoiceError::Stuck(Box::new(stuck::explain(self, &stuck))));
        }
        let mut banned: HashSet<(usize, Voicing)> = HashSet::new();
        let mut last = None;
        for _ in 0..ROUNDS {
            let Some(line) = cheapest(options, &banned) else {
                break;
            };
            let answer = writing_out::answer(self, &line);
            let mut strict = self.style.clone();
            strict.technique = Some(self.technique.name().to_owned());
            let findings = proof(&answer, &strict).findings;
            if findings.is_empty() {
                return Ok(Line::Clean(Box::new(answer)));
            }
            let before = banned.len();
            for finding in &findings {
                let at = onset_of(&answer, finding).and_then(|o| {
                    self.passage
                        .sonorities
                        .partition_point(|s| s.onset <= o)
                        .checked_sub(1)
                });
                if let Some(at) = at
                    && let Some(chosen) = line.get(at)
                {
                    banned.insert((at, chosen.voicing.clone()));
                }
            }
            let stuck = banned.len() == before;
            last = Some(Box::new((answer, findings)));
            if stuck {
                break;
            }
        }
        Ok(Line::Unclean(last))
    }

    fn lead_midi(&self, at: usize) -> Option<i16> {
        self.passage
            .sonorities
            .get(at)?
            .voices
            .first()
            .map(|v| v.midi)
    }

    fn voices(&self) -> usize {
        match self.seats {
            [one] if !one.instrument.single_line => match self.technique {
                Technique::Mechanical(m) => m.voices(),
                Technique::Form(f) => *f.voices().end().min(&5),
            },
            seats => seats.len(),
        }
    }

    /// Shorter than a beat.
    fn is_quick(&self, at: usize) -> bool {
        self.passage
            .leads
            .get(at)
            .copied()
            .flatten()
            .is_some_and(|l| l.duration() < l.beat)
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
                        .map(|c| Weighed {
                            voicing: c.voicing,
                            names: c.names,
                            cost: c.cost,
                        }),
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
            cost: 0,
        }
    }

    /// One part plays all the notes.
    fn is_chordal(&self) -> bool {
        matches!(self.seats, [one] if !one.instrument.single_line)
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
                .chain(
                    &crate::ground::chord::tensions_leading(frame.chord.family(), frame.leads)
                        .available,
                )
                .map(|d| d.over(frame.chord.root))
                .collect();
            found.extend(
                form.voicings(lead, voices, frame, lowest)
                    .into_iter()
                    .take(MOST)
                    .map(|(cost, voicing)| Weighed {
                        voicing,
                        names: names.clone(),
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
            let dominant = frames
                .first()
                .is_some_and(crate::voicing::Frame::is_dominant);
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
                    .map(|c| Weighed {
                        voicing: c.voicing,
                        names: c.names,
                        cost: c.cost,
                    }),
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

    /// Whether no interval lies lower than the rules let it.
    fn is_clear(&self, at: usize, voicing: &[i16]) -> bool {
        let lenient = self.is_quick(at);
        voicing.windows(2).all(|w| match w {
            [a, b] => {
                low::below(*a, *b).is_none_or(|(by, _)| lenient && by < low::distance().warning)
            }
            _ => true,
        })
    }

    /// What the seats say of a voicing: `None` when one of them cannot play its note.
    fn cost_of_seats(&self, voicing: &[i16]) -> Option<i32> {
        if let [one] = self.seats
            && !one.instrument.single_line
        {
            let sum = voicing.iter().map(|&m| one.cost(m)).sum::<Option<i32>>()?;
            let hands = one
                .instrument
                .hand_span
                .is_none_or(|span| writing_out::left_hand(voicing, span.comfortable).is_some());
            return hands.then_some(sum);
        }
        if voicing.len() != self.seats.len() {
            return None;
        }
        self.seats
            .iter()
            .zip(voicing)
            .map(|(seat, &m)| seat.cost(m))
            .sum()
    }

    /// How a note is spelled: as its harmony names it, the lead else as it stands, the rest by key.
    fn spell(&self, at: usize, option: &Weighed, midi: i16) -> Pitch {
        let named = option
            .names
            .iter()
            .find(|n| n.class() == PitchClass::new(midi))
            .and_then(|n| Pitch::named(*n, midi));
        if let Some(pitch) = named {
            return pitch;
        }
        let sonority = self.passage.sonorities.get(at);
        if let Some(v) = sonority.and_then(|s| s.voices.first())
            && (v.midi - midi) % 12 == 0
            && let Some(p) = Pitch::named(v.pitch.name(), midi)
        {
            return p;
        }
        let onset = sonority.map(|s| s.onset).unwrap_or_default();
        Pitch::in_key(midi, self.passage.key_at(self.lead, onset))
    }
}

/// The octave each seat keeps in unison and octaves: where its range is most at ease over the whole
/// passage. The top seat has the lead itself; in octaves the bottom seat is below it if it can be.
fn octaves(passage: &Passage, seats: &[Seat], technique: Technique) -> Vec<i16> {
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

/// How many voicings of a form are weighed at each note.
const MOST: usize = 60;

/// The passing chord for forms that have no drops.
fn passing_voicing(form: Form, lead: i16, passing: &Harmonisation<'_>) -> Vec<Weighed> {
    let Some(close) = crate::voicing::close_position(lead, &passing.classes()) else {
        return Vec::new();
    };
    let make = |voicing: Voicing| Weighed {
        voicing,
        names: passing.names.to_vec(),
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

/// What moving from one voicing to the next costs: how far the inner voices go, leaps more.
fn moved(from: &[i16], to: &[i16]) -> i32 {
    if from.len() != to.len() {
        return 6;
    }
    let lead = match (from.first(), to.first()) {
        (Some(a), Some(b)) => (a - b).abs(),
        _ => 0,
    };
    from.iter()
        .zip(to)
        .skip(1)
        .map(|(a, b)| {
            let by = (a - b).abs();
            let leap = if by > 12 {
                12
            } else if by > 7 && by > lead {
                4
            } else {
                0
            };
            i32::from(by / 2 + leap)
        })
        .sum()
}

/// The line of voicings that costs least from first to last.
fn cheapest(options: &[Vec<Weighed>], banned: &HashSet<(usize, Voicing)>) -> Option<Vec<Weighed>> {
    // For each option of a note: its cost with everything before it, and which came before.
    let mut table: Vec<BTreeMap<usize, (i32, usize)>> = Vec::with_capacity(options.len());
    for (at, here) in options.iter().enumerate() {
        let mut row = BTreeMap::new();
        let before = at
            .checked_sub(1)
            .and_then(|i| Some((table.get(i)?, options.get(i)?)));
        for (index, option) in here.iter().enumerate() {
            if banned.contains(&(at, option.voicing.clone())) {
                continue;
            }
            let own = option.cost * 2;
            let best = match before {
                None => Some((own, 0)),
                Some((costs, list)) => costs
                    .iter()
                    .filter_map(|(i, (cost, _))| {
                        let moved = moved(&list.get(*i)?.voicing, &option.voicing);
                        Some((cost + own + moved, *i))
                    })
                    .min(),
            };
            if let Some(best) = best {
                row.insert(index, best);
            }
        }
        if row.is_empty() {
            return None;
        }
        table.push(row);
    }
    let mut line = Vec::with_capacity(options.len());
    let (mut index, _) = table.last()?.iter().min_by_key(|(_, (cost, _))| *cost)?;
    for at in (0..options.len()).rev() {
        line.push(options.get(at)?.get(*index)?.clone());
        index = &table.get(at)?.get(index)?.1;
    }
    line.reverse();
    Some(line)
}
