//! Words and signs over and under a staff.

use super::element::Element;
use super::{FiledBar, walk};
use crate::notation::Quarters;

/// Which way a hairpin opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::engraving) enum WedgeKind {
    Crescendo,
    Diminuendo,
    Stop,
}

/// What stands there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::engraving) enum Sign {
    Words(String),
    Rehearsal(String),
    /// The note value, its dots, and how many of it a minute.
    Tempo(String, usize, String),
    Wedge(WedgeKind),
    /// Octaves by which notes are printed lower than they are meant; 0 ends it.
    Octave(i8),
    /// An ending from the start of its bar; whether it ends with it.
    Ending(String, bool),
}

/// A sign with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::engraving) struct Direction {
    /// 0-based bar of the score.
    pub bar: u32,
    pub at: Quarters,
    /// 1-based, from the top of the part.
    pub staff: u8,
    pub above: bool,
    pub sign: Sign,
}

impl FiledBar {
    /// The words and signs of the bar with its 0-based number.
    pub fn directions(&self, bar: u32) -> Vec<Direction> {
        let mut found = Vec::new();
        walk(&self.element, |child, now| {
            let staff = child.number("staff").and_then(|s| u8::try_from(s).ok());
            let mut add = |above: bool, sign: Sign| {
                found.push(Direction {
                    bar,
                    at: self.time(now),
                    staff: staff.unwrap_or(1).max(1),
                    above,
                    sign,
                });
            };
            match child.name.as_str() {
                "direction" => {
                    let below = child.attribute("placement") == Some("below");
                    for kind in child.all("direction-type").flat_map(|d| &d.children) {
                        direction(kind, !below, &mut add);
                    }
                }
                "barline" => ending(child, &mut add),
                _ => {}
            }
        });
        found
    }
}

fn direction(kind: &Element, above: bool, add: &mut impl FnMut(bool, Sign)) {
    let words = || Some(kind.words().to_owned()).filter(|w| !w.is_empty());
    if kind.attribute("print-object") == Some("no") {
        return;
    }
    let sign = match kind.name.as_str() {
        "words" => words().map(Sign::Words),
        "rehearsal" => words().map(Sign::Rehearsal),
        "segno" => Some(Sign::Words("Segno".to_owned())),
        "coda" => Some(Sign::Words("Coda".to_owned())),
        "metronome" => tempo(kind),
        "wedge" => match kind.attribute("type") {
            Some("crescendo") => Some(Sign::Wedge(WedgeKind::Crescendo)),
            Some("diminuendo") => Some(Sign::Wedge(WedgeKind::Diminuendo)),
            Some("stop") => Some(Sign::Wedge(WedgeKind::Stop)),
            _ => None,
        },
        "octave-shift" => {
            let octaves = match kind.attribute("size") {
                Some("15") => 2,
                _ => 1,
            };
            match kind.attribute("type") {
                Some("down") => Some(Sign::Octave(octaves)),
                Some("up") => Some(Sign::Octave(-octaves)),
                Some("stop") => Some(Sign::Octave(0)),
                _ => None,
            }
        }
        "pedal" => match kind.attribute("type") {
            Some("start") => Some(Sign::Words("Ped.".to_owned())),
            Some("stop") => Some(Sign::Words("*".to_owned())),
            _ => None,
        },
        _ => None,
    };
    if let Some(sign) = sign {
        let below = matches!(sign, Sign::Wedge(_)) || kind.name == "pedal";
        add(above && !below, sign);
    }
}

fn tempo(kind: &Element) -> Option<Sign> {
    let unit = kind.said("beat-unit")?;
    let dots = kind.all("beat-unit-dot").count();
    let minute = kind.said("per-minute").unwrap_or_default();
    Some(Sign::Tempo(unit.to_owned(), dots, minute.to_owned()))
}

fn ending(barline: &Element, add: &mut impl FnMut(bool, Sign)) {
    let Some(ending) = barline.child("ending") else {
        return;
    };
    let number = ending.attribute("number").unwrap_or_default().to_owned();
    let text = match ending.words() {
        "" => number,
        words => words.to_owned(),
    };
    let stops = ending.attribute("type") == Some("stop");
    match ending.attribute("type") {
        Some("start") => add(true, Sign::Ending(text, false)),
        _ => add(true, Sign::Ending(String::new(), stops)),
    }
}
