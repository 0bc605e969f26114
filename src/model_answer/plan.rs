//! The melody's sheet: what each note of a lead is for, and the scale that each stretch uses, before anything is
//! voiced.

use super::explained::article;
use super::request::{Request, VoiceError};
use super::{changes_under, seats};
use crate::diagnosis::{choices, lead_function, lead_passage};
use crate::ground::chord::{Chord, parse};
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{Mark, NoteRef, Place, Score, Words};
use crate::sonority::lead::LeadFunction;
use crate::style::Style;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Mechanical, Scale};

/// A lead, planned.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The lead by itself, with the chord symbols.
    pub lead: Score,
    /// Its notes in order of time; where the chord changes under a held note, what is left of it again.
    pub notes: Vec<PlannedNote>,
    /// The stretches of one scale, in order of time.
    pub stretches: Vec<Stretch>,
}

/// A note of the lead, or what there is of it under one chord.
#[derive(Clone, Debug)]
pub struct PlannedNote {
    /// Which.
    pub note: NoteRef,
    /// Where.
    pub at: Place,
    /// At sounding pitch.
    pub pitch: Pitch,
    /// What it is for.
    pub function: Option<LeadFunction>,
    /// The chord symbol it is read under.
    pub symbol: Option<String>,
    /// Its degree over that chord.
    pub degree: Option<String>,
    /// What it is to that chord.
    pub stands: Stands,
    /// What stands under it by the first choice: `F6`, `Edim7`.
    pub harmony: Option<String>,
}

/// What a note is to the chord it is read under.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// A note of it.
    OnChord,
    /// A note of the passing diminished seventh of its scale.
    OnDiminished,
    /// On neither, or the chord has no such scale.
    Outside,
    /// No chord is there.
    NoChord,
}

/// A stretch over which the scale is one.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// Where it begins.
    pub from: Place,
    /// The last bar of it, 0-based.
    pub last_bar: u32,
    /// The symbols in it, each once.
    pub symbols: Vec<String>,
    /// The scale; `None` where the symbol has none.
    pub scale: Option<Scale>,
}

/// Plans the lead of a score: that of the named part, else of the first that has notes.
///
/// # Errors
///
/// When there is no such part, no lead or no chord symbol.
pub fn plan(score: &Score, style: &Style, part: Option<&str>) -> Result<Plan, VoiceError> {
    let request = Request {
        part: part.map(str::to_owned),
        ..Request::new(Mechanical::FourWayClose.into())
    };
    let part = seats::lead_part(score, &request)?;
    let lead = seats::lead_alone(score, part);
    if !lead.chords.iter().any(|m| m.value.chord.is_some()) {
        return Err(VoiceError::NoChords);
    }
    let changes = changes_under(&lead, style);
    let passage = lead_passage(&lead, style, &changes).ok_or(VoiceError::NoLead)?;
    let sonorities = passage.sonorities.iter().enumerate();
    let notes = sonorities.filter_map(|(at, sonority)| {
        let voice = sonority.voices.first()?;
        let (function, symbol) = lead_function(&lead, &passage, at);
        let chord = symbol.as_deref().and_then(chord);
        let class = voice.pitch.class();
        let first = choices(&lead, &passage, at, Mechanical::FourWayClose, style);
        Some(PlannedNote {
            note: voice.note,
            at: sonority.at,
            pitch: voice.pitch,
            function,
            degree: chord.as_ref().map(|c| c.degree_name(class)),
            stands: stands(chord.as_ref(), class),
            harmony: first.into_iter().next().map(|c| c.label),
            symbol,
        })
    });
    let notes = notes.collect();
    Ok(Plan {
        notes,
        stretches: stretches(&lead),
        lead,
    })
}

fn chord(symbol: &str) -> Option<Chord> {
    parse(symbol).ok().flatten()
}

fn stands(chord: Option<&Chord>, class: PitchClass) -> Stands {
    let Some(chord) = chord else {
        return Stands::NoChord;
    };
    if is_chord_note(chord, class) {
        Stands::OnChord
    } else if Scale::of(chord).is_some_and(|s| s.holds(class)) {
        Stands::OnDiminished
    } else {
        Stands::Outside
    }
}

/// The stretches of one scale.
fn stretches(lead: &Score) -> Vec<Stretch> {
    let mut all: Vec<Stretch> = Vec::new();
    let mut marks = lead.chords.iter().peekable();
    while let Some(mark) = marks.next() {
        let Some(chord) = &mark.value.chord else {
            continue;
        };
        let end = marks.peek().map(|m| m.onset);
        let end = end.or_else(|| lead.bars.last().map(|b| b.start + b.length));
        let last = end.map_or(mark.onset, |e| e - Ticks(1));
        let last_bar = lead.place_of(last.max(mark.onset)).bar;
        let scale = Scale::of(chord);
        match all.last_mut() {
            Some(before) if before.scale == scale && scale.is_some() => {
                before.last_bar = last_bar;
                if !before.symbols.contains(&chord.text) {
                    before.symbols.push(chord.text.clone());
                }
            }
            Some(before) if before.symbols == [chord.text.clone()] => before.last_bar = last_bar,
            _ => all.push(Stretch {
                from: lead.place_of(mark.onset),
                last_bar,
                symbols: vec![chord.text.clone()],
                scale,
            }),
        }
    }
    all
}

impl PlannedNote {
    /// "passing note: Edim7", "chord note: 3".
    pub fn short(&self) -> String {
        let name = self.function.map_or("no chord", LeadFunction::name);
        let detail = match self.stands {
            Stands::OnChord => self.degree.as_deref(),
            _ => self.harmony.as_deref(),
        };
        match detail {
            Some(detail) => format!("{name}: {detail}"),
            None => name.to_owned(),
        }
    }

    /// "Bb4 is a passing note: Edim7".
    pub fn line(&self) -> String {
        let short = self.short();
        format!("{} is {} {short}", self.pitch, article(&short))
    }
}

impl Stretch {
    /// "F6: F sixth-diminished, F G A Bb C Db D E: F6 by turns with Edim7".
    pub fn line(&self) -> String {
        let symbols = self.symbols.join(", ");
        match &self.scale {
            Some(scale) => {
                let names: Vec<String> = scale.names.iter().map(ToString::to_string).collect();
                format!(
                    "{symbols}: {}, {}: {} by turns with {}",
                    scale.name(),
                    names.join(" "),
                    scale.chord,
                    scale.passing
                )
            }
            None => format!("{symbols}: no scale of a chord and its diminished seventh"),
        }
    }
}

impl Plan {
    /// The lead with its plan in words: what each note is for under the staff, the scales over it.
    pub fn in_words(&self) -> Score {
        let mut score = self.lead.clone();
        if let Some(part) = score.parts.first_mut() {
            let say = |at: Place, text: String, below: bool| {
                let words = Words {
                    text,
                    staff: 1,
                    below,
                };
                Mark::new(at, words, Span::default())
            };
            let scales = self.stretches.iter().filter_map(|s| {
                let scale = s.scale.as_ref()?;
                Some(say(s.from, scale.name(), false))
            });
            let notes = self.notes.iter().map(|n| say(n.at, n.short(), true));
            part.words.extend(scales.chain(notes));
            part.words.sort_by_key(|m| m.at);
        }
        score.lay_out();
        score
    }
}
