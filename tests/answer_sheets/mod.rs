//! What is made of a model answer for people who learn: explanations, sheets in many keys, sheets with
//! planted mistakes.

mod alternatives;
mod explained;
mod keys;
mod lead;
mod mistakes;
mod mixed;

use chartproof::inside::model_answer::{Answer, Request, voice};
use chartproof::inside::reading::grid;
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use std::path::Path;

/// A melody of our own that passes over most of its chords.
pub const MELODY: &str = "title: Evening Bus
key: F major
meter: 4/4
section: saxes
pitch: sounding
parts: lead = alto saxophone

chord | F6 -   -  -  -  | Gm7 -  C7 -  | F6 -  -  Dm7 -  -  | G7 -  C9 -   | F6 |
count | 1  &   2  &  3  | 1   2  3  4  | 1  2  &  3   4  &  | 1  2  3  4   | 1  |
lead  | A4 Bb4 C5 D5 C5 | Bb4 D5 E5 D5 | C5 A4 G4 F4  A4 B4 | B4 D5 D5 Bb4 | A4 |
";

pub fn read(text: &str) -> Score {
    grid::read(Path::new("lead.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

pub fn answer(lead: &str, technique: &str) -> Answer {
    let request = Request {
        section: Some("saxes".to_owned()),
        ..Request::new(Technique::named(technique).unwrap())
    };
    voice(&read(lead), &Style::default(), &request).unwrap_or_else(|e| panic!("{technique}: {e}"))
}
