//! MusicXML 4.0, partwise.
//!
//! Pitches are written pitch; in a concert score they are sounding pitch, and `<concert-score/>`
//! says so. Durations stand in the fewest divisions of a quarter note that hold them all.
//!
//! `part` writes the bars of a part; `attributes`, `directions` and `notes` write what its name says
//! into them; `slurs` pairs the ends of slurs.

mod attributes;
mod directions;
mod notes;
mod part;
mod slurs;
mod text;

use crate::score::identity::identify_all;
use crate::score::{Part, Score};
use part::PartWriter;
use text::XmlText;

/// What the file says of its maker.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Name and version of the program that writes, such as `chartproof 0.1.0`; left out when
    /// there is none.
    pub software: Option<String>,
}

/// Writes a score as MusicXML 4.0.
///
/// Values, ties, tuplets, beams, stems and accidentals are worked out again: a note that is no single
/// value, or would hide a beat, becomes several tied ones. Silence in the first voice of a staff is
/// written as rests; a part without clefs gets those of its instrument.
///
/// Not held: notes without pitch (their time is kept), voltas, lyrics, and anything else a
/// [`Score`] does not know. A slur that never closes is left out, and a chord symbol that could not
/// be read becomes words.
pub fn write(score: &Score, options: &Options) -> String {
    let mut score = score.clone();
    score.lay_out();
    let identities = identify_all(score.instruments.catalogue(), &score.parts);
    let writers: Vec<PartWriter<'_>> = score
        .parts
        .iter()
        .enumerate()
        .map(|(i, part)| {
            let identity = identities.get(i).and_then(Option::as_ref);
            PartWriter::new(&score, part, identity)
        })
        .collect();
    let mut out = XmlText::default();
    out.line("<?xml version=\"1.0\" encoding=\"UTF-8\"?>");
    out.line(
        "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\">",
    );
    out.open("score-partwise version=\"4.0\"");
    if let Some(title) = &score.title {
        out.open("work");
        out.element("work-title", title);
        out.close("work");
    }
    out.open("identification");
    out.open("encoding");
    if let Some(software) = &options.software {
        out.element("software", software);
    }
    for what in ["accidental", "beam", "stem"] {
        out.line(&format!("<supports element=\"{what}\" type=\"yes\"/>"));
    }
    out.close("encoding");
    out.close("identification");
    if score.concert {
        out.open("defaults");
        out.line("<concert-score/>");
        out.close("defaults");
    }
    out.open("part-list");
    for (i, part) in score.parts.iter().enumerate() {
        score_part(&mut out, part, i + 1);
    }
    out.close("part-list");
    for (i, writer) in writers.iter().enumerate() {
        out.open(&format!("part id=\"P{}\"", i + 1));
        writer.write(&mut out);
        out.close("part");
    }
    out.close("score-partwise");
    out.text
}

fn score_part(out: &mut XmlText, part: &Part, number: usize) {
    out.open(&format!("score-part id=\"P{number}\""));
    out.element("part-name", &part.name);
    if let Some(short) = &part.abbreviation {
        out.element("part-abbreviation", short);
    }
    if part.sound.is_some() || part.instrument_name.is_some() {
        out.open(&format!("score-instrument id=\"P{number}-I1\""));
        out.element(
            "instrument-name",
            part.instrument_name.as_ref().unwrap_or(&part.name),
        );
        if let Some(sound) = &part.sound {
            out.element("instrument-sound", sound);
        }
        out.close("score-instrument");
    }
    out.close("score-part");
}
