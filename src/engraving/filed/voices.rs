//! The printed voices of a bar as its file has them.

use super::element::Element;
use super::{FiledBar, walk};
use crate::engraving::glyphs::{self, Glyph};
use crate::ground::pitch::{Pitch, Step};
use crate::notation::{
    Beam, EventKind, NoteValue, Notehead, PrintedEvent, PrintedVoice, Stem, ZERO,
};
use crate::score::{NoteFlags, Part};
use std::collections::HashMap;

/// A stem that a file states.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::engraving) enum FiledStem {
    Drawn(Stem),
    /// A note without one.
    None,
}

/// How a notehead looks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(in crate::engraving) struct HeadLook {
    /// Another head than its value has.
    pub glyph: Option<Glyph>,
    pub brackets: bool,
    /// The head is drawn, but it is no pitch: a drum.
    pub drum: bool,
    /// Its accidental stands in brackets.
    pub courtesy: bool,
}

/// What is drawn at a note beside its head.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::engraving) struct NoteSigns {
    /// Slurs: number, whether one starts (else it ends), and its side where the file says.
    pub slurs: Vec<(u8, bool, Option<bool>)>,
    /// Tuplets: number, whether one starts (else it ends), its figure, whether it has a bracket.
    pub tuplets: Vec<(u8, bool, i64, Option<bool>)>,
    /// A grace note without a stroke.
    pub plain_grace: bool,
}

/// The voices of a bar with what the page has beside them, by voice and event.
pub(in crate::engraving) struct FiledVoices {
    pub voices: Vec<PrintedVoice>,
    pub signs: Vec<Vec<NoteSigns>>,
    /// By voice, event and head.
    pub looks: Vec<Vec<Vec<HeadLook>>>,
    /// The stems that the file states.
    pub stems: Vec<Vec<Option<FiledStem>>>,
    /// Some beam is stated.
    pub beamed: bool,
    /// Accidentals that the file prints, by index of the note.
    pub accidentals: HashMap<usize, i8>,
    /// Notes whose pitch in the score is not that of the file.
    pub changed: bool,
}

impl FiledBar {
    /// The voices; none where the file leaves open how something is written.
    pub fn voices(&self, part: &Part, bar: u32) -> Option<FiledVoices> {
        let first = part.notes.partition_point(|n| n.at.bar < bar);
        let own: HashMap<u32, usize> = part
            .notes
            .iter()
            .enumerate()
            .skip(first)
            .take_while(|(_, n)| n.at.bar == bar)
            .filter(|(_, n)| n.span.source == self.source)
            .map(|(i, n)| (n.span.start, i))
            .collect();
        let mut reading = Reading {
            bar: self,
            part,
            own,
            numbers: Vec::new(),
            found: 0,
            out: FiledVoices {
                voices: Vec::new(),
                signs: Vec::new(),
                looks: Vec::new(),
                stems: Vec::new(),
                beamed: false,
                accidentals: HashMap::new(),
                changed: false,
            },
        };
        let mut whole = true;
        walk(&self.element, |child, now| {
            if child.name == "note" && whole {
                whole = reading.note(child, now).is_some();
            }
        })?;
        // Every note of the score stands in the file; else the bar is not what it seems.
        (whole && reading.found == reading.own.len()).then(|| {
            reading.mend_beams();
            reading.out
        })
    }
}

struct Reading<'a> {
    bar: &'a FiledBar,
    part: &'a Part,
    /// The part's notes in the bar by where they start in the file.
    own: HashMap<u32, usize>,
    /// The voices by their names in the file.
    numbers: Vec<String>,
    found: usize,
    out: FiledVoices,
}

impl Reading<'_> {
    fn note(&mut self, note: &Element, now: i64) -> Option<()> {
        let number = note.said("voice").unwrap_or("1");
        let voice = self.numbers.iter().position(|n| n == number);
        let voice = voice.unwrap_or_else(|| {
            self.numbers.push(number.to_owned());
            let number = self.numbers.len() as u8;
            self.out.voices.push(PrintedVoice::new(number));
            self.out.signs.push(Vec::new());
            self.out.looks.push(Vec::new());
            self.out.stems.push(Vec::new());
            self.numbers.len() - 1
        });
        let start = u32::try_from(self.bar.start + note.start).ok()?;
        let index = self.own.get(&start).copied();
        if index.is_some() {
            self.found += 1;
        }
        if note.attribute("print-object") == Some("no") {
            return Some(());
        }
        let staff = note.number("staff").and_then(|s| u8::try_from(s).ok());
        let staff = staff.unwrap_or(1).max(1);
        if !note.has("chord") {
            let event = self.event(note, now, staff)?;
            self.out.voices.get_mut(voice)?.events.push(event);
            self.out.signs.get_mut(voice)?.push(signs(note));
            self.out.looks.get_mut(voice)?.push(Vec::new());
            self.out.stems.get_mut(voice)?.push(stem(note));
        } else if let Some(last) = self.out.signs.get_mut(voice)?.last_mut() {
            last.slurs.extend(signs(note).slurs);
        }
        if note.has("rest") {
            return Some(());
        }
        let head = self.head(note, index, staff)?;
        let event = self.out.voices.get_mut(voice)?.events.last_mut()?;
        event.heads.push(head);
        let looks = self.out.looks.get_mut(voice)?.last_mut()?;
        looks.push(look(note, event.value));
        Some(())
    }

    fn event(&mut self, note: &Element, now: i64, staff: u8) -> Option<PrintedEvent> {
        let lasts = note.number("duration").unwrap_or(0);
        let rest = note.child("rest");
        let value = note.said("type").and_then(|t| {
            let dots = u8::try_from(note.all("dot").count()).ok()?;
            NoteValue::named(t, dots)
        });
        let whole = rest.is_some_and(|r| r.attribute("measure") == Some("yes"));
        let kind = match rest {
            Some(_) if whole || value.is_none() => EventKind::BarRest,
            Some(_) => EventKind::Rest,
            None if note.has("grace") => EventKind::Grace,
            None if note.has("cue") => EventKind::Cue,
            None => EventKind::Note,
        };
        // A rest without a value fills the bar, or is none that can be drawn.
        if value.is_none() && (kind != EventKind::BarRest || lasts != self.bar.divisions) {
            return None;
        }
        let start = self.bar.time(now);
        let length = if kind == EventKind::Grace {
            ZERO
        } else {
            self.bar.time(lasts)
        };
        let mut event = PrintedEvent::new(start, length, kind, staff);
        event.value = value;
        if let Some(time) = note.child("time-modification") {
            let of = |name: &str| time.number(name).filter(|n| (1..1000).contains(n));
            event.tuplet = of("actual-notes").zip(of("normal-notes"));
        }
        let mut beams: Vec<(i64, Beam)> = note
            .all("beam")
            .filter_map(|b| {
                let number = b.attribute("number").unwrap_or("1").parse().ok()?;
                let beam = match b.words() {
                    "begin" => Beam::Begin,
                    "continue" => Beam::Continue,
                    "end" => Beam::End,
                    "forward hook" => Beam::ForwardHook,
                    "backward hook" => Beam::BackwardHook,
                    _ => return None,
                };
                Some((number, beam))
            })
            .collect();
        beams.sort_by_key(|b| b.0);
        self.out.beamed |= !beams.is_empty();
        event.beams = beams.into_iter().map(|b| b.1).collect();
        Some(event)
    }

    fn head(&mut self, note: &Element, index: Option<usize>, staff: u8) -> Option<Notehead> {
        if let Some(index) = index {
            let own = self.part.notes.get(index)?;
            self.out.changed |= filed_pitch(note)? != own.written;
            if let Some(alter) = note.said("accidental").and_then(alteration) {
                self.out.accidentals.insert(index, alter);
            }
            return Some(Notehead {
                note: index,
                pitch: own.written,
                tie_in: own.flags.has(NoteFlags::TIED_IN),
                tie_out: own.flags.has(NoteFlags::TIED_OUT),
                first: true,
                last: true,
                accidental: None,
                staff,
            });
        }
        let drum = note.child("unpitched")?;
        let step = drum.said("display-step").and_then(letter);
        let octave = drum
            .number("display-octave")
            .and_then(|o| i8::try_from(o).ok());
        // Without a place a drum stands on the middle line.
        let pitch = Pitch::new(step.unwrap_or(Step::B), 0, octave.unwrap_or(4));
        Some(Notehead {
            note: usize::MAX,
            pitch,
            tie_in: false,
            tie_out: false,
            first: true,
            last: true,
            accidental: None,
            staff,
        })
    }

    /// Beams that do not begin and end in the bar would hang in the air: their notes get flags.
    fn mend_beams(&mut self) {
        for voice in &mut self.out.voices {
            let mut open: Option<usize> = None;
            let mut good: Vec<bool> = vec![false; voice.events.len()];
            for i in 0..voice.events.len() {
                let Some(event) = voice.events.get(i) else {
                    continue;
                };
                match (event.beams.first(), open) {
                    (Some(Beam::Begin), _) => open = Some(i),
                    (Some(Beam::End), Some(from)) => {
                        for done in good.iter_mut().take(i + 1).skip(from) {
                            *done = true;
                        }
                        open = None;
                    }
                    _ => {}
                }
            }
            for (event, good) in voice.events.iter_mut().zip(good) {
                if !good {
                    event.beams.clear();
                }
            }
        }
    }
}

fn letter(step: &str) -> Option<Step> {
    format!("{step}4").parse::<Pitch>().ok().map(|p| p.step)
}

fn filed_pitch(note: &Element) -> Option<Pitch> {
    let pitch = note.child("pitch")?;
    let step = letter(pitch.said("step")?)?;
    let alter = pitch.said("alter").map_or(Some(0.0), |a| a.parse().ok())?;
    let octave = i8::try_from(pitch.number("octave")?).ok()?;
    Some(Pitch::new(step, f64::round(alter) as i8, octave))
}

/// The alteration that an accidental of MusicXML stands for.
fn alteration(name: &str) -> Option<i8> {
    Some(match name {
        "sharp" | "natural-sharp" => 1,
        "flat" | "natural-flat" => -1,
        "natural" => 0,
        "double-sharp" | "sharp-sharp" => 2,
        "flat-flat" | "double-flat" => -2,
        _ => return None,
    })
}

fn stem(note: &Element) -> Option<FiledStem> {
    match note.said("stem")? {
        "up" => Some(FiledStem::Drawn(Stem::Up)),
        "down" => Some(FiledStem::Drawn(Stem::Down)),
        "none" => Some(FiledStem::None),
        _ => None,
    }
}

fn look(note: &Element, value: Option<NoteValue>) -> HeadLook {
    let head = note.child("notehead");
    let open = value.is_some_and(|v| v.index <= 2);
    let glyph = match head.map(Element::words) {
        Some("x" | "cross") => Some(glyphs::HEAD_CROSS),
        Some("slash") if open => Some(glyphs::HEAD_SLASH_OPEN),
        Some("slash") => Some(glyphs::HEAD_SLASH),
        Some("diamond") if open => Some(glyphs::HEAD_DIAMOND_OPEN),
        Some("diamond") => Some(glyphs::HEAD_DIAMOND),
        _ => None,
    };
    let sign = note.child("accidental");
    let yes = |e: Option<&Element>, name: &str| e.and_then(|e| e.attribute(name)) == Some("yes");
    HeadLook {
        glyph,
        brackets: yes(head, "parentheses"),
        drum: note.has("unpitched"),
        courtesy: yes(sign, "parentheses"),
    }
}

fn signs(note: &Element) -> NoteSigns {
    let mut signs = NoteSigns {
        plain_grace: note
            .child("grace")
            .is_some_and(|g| g.attribute("slash") == Some("no")),
        ..NoteSigns::default()
    };
    let time = note.child("time-modification");
    let ratio = time.and_then(|t| t.number("actual-notes")).unwrap_or(0);
    let number = |e: &Element| {
        e.attribute("number")
            .and_then(|n| n.parse().ok())
            .unwrap_or(1)
    };
    for part in note.all("notations").flat_map(|n| &n.children) {
        let starts = match part.attribute("type") {
            Some("start") => true,
            Some("stop") => false,
            _ => continue,
        };
        match part.name.as_str() {
            "slur" => {
                let above = part.attribute("placement").map(|p| p == "above");
                signs.slurs.push((number(part), starts, above));
            }
            "tuplet" => {
                let own = part.child("tuplet-actual");
                let own = own.and_then(|a| a.number("tuplet-number"));
                let shown = part.attribute("show-number") != Some("none");
                let figure = if shown { own.unwrap_or(ratio) } else { 0 };
                let bracket = part.attribute("bracket").map(|b| b == "yes");
                signs.tuplets.push((number(part), starts, figure, bracket));
            }
            _ => {}
        }
    }
    signs
}
