//! Small documents with notes made up for the purpose. Each text is read in every way (see [`Ways`]), and a
//! failure names the way that comes to something else.

mod bars;
mod documents;
mod notes;
mod spelling;
mod symbols;

use super::*;
use crate::score::Part;

/// Reads a text in the usual way; every quick way must come to what the slow one comes to.
fn read_text(text: &str) -> Result<Score, Problem> {
    read_text_within(text, Limits::USUAL)
}

fn read_text_within(text: &str, limits: Limits) -> Result<Score, Problem> {
    let path = Path::new("a.musicxml");
    let by = |ways| format!("{:?}", read_in(ways, path, None, text.into(), limits));
    let slow = by(Ways::SLOW);
    let others = Ways::ALL.iter().filter(|(_, ways)| by(*ways) != slow);
    let others: Vec<&str> = others.map(|(name, _)| *name).collect();
    assert!(others.is_empty(), "not as by events: {others:?}: {text}");
    let read = read_within(path, None, text.into(), limits);
    assert_eq!(format!("{read:?}"), slow, "{text}");
    read
}

fn score(text: &str) -> Score {
    read_text(text).unwrap()
}

/// A partwise score of one part.
fn one(bars: &str) -> String {
    part_with("", bars)
}

/// The same, with something before the part list.
fn part_with(head: &str, bars: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n<!DOCTYPE score-partwise PUBLIC \"x\" \"y\">\n\
         <score-partwise version=\"4.0\">{head}<part-list><score-part id=\"P1\">\
         <part-name>Alto</part-name></score-part></part-list>\
         <part id=\"P1\">{bars}</part></score-partwise>"
    )
}

/// A note such as `Bb4` lasting `duration` divisions, with more of its children.
fn note(pitch: &str, duration: u32, more: &str) -> String {
    let p: crate::ground::pitch::Pitch = pitch.parse().unwrap();
    format!(
        "<note><pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch>\
         <duration>{duration}</duration>{more}</note>",
        p.step, p.alter, p.octave
    )
}

fn bar(content: &str) -> String {
    format!("<measure number=\"1\">{content}</measure>")
}

const ALTO: &str = "<attributes><divisions>2</divisions><transpose><diatonic>-5</diatonic>\
                    <chromatic>-9</chromatic></transpose></attributes>";

fn sounding(part: &Part) -> Vec<String> {
    part.notes.iter().map(|n| n.sounding.to_string()).collect()
}

fn times(part: &Part) -> Vec<(i64, i64)> {
    part.notes
        .iter()
        .map(|n| (n.onset.0, n.duration.0))
        .collect()
}

/// The message of a text that must be refused, with its place before it.
fn refusal(text: &str) -> String {
    let error = read_text(text).unwrap_err();
    assert!(error.at.is_some(), "{error} has no place");
    error.to_string()
}
