//! Marks that notes of a MusicXML file get: one piece of text in each note, and every other byte stays.

use super::EditError;
use crate::ground::text::{Edit, Span};
use crate::score::{Added, Articulations, Hairpin, Note, Source};
use std::fmt::Write as _;

/// Marks by their MusicXML element. Published: MusicXML 4.0, articulations.
const ELEMENTS: [(Articulations, &str); 5] = [
    (Articulations::ACCENT, "accent"),
    (Articulations::MARCATO, "strong-accent"),
    (Articulations::STACCATO, "staccato"),
    (Articulations::TENUTO, "tenuto"),
    (Articulations::STACCATISSIMO, "staccatissimo"),
];

/// Dynamics by their MusicXML element. Published: MusicXML 4.0, dynamics.
const DYNAMICS: [&str; 10] = [
    "pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff",
];

/// Whether MusicXML has an element for a dynamic.
pub(super) fn is_dynamic(name: &str) -> bool {
    DYNAMICS.contains(&name)
}

/// What follows the notations of a note. Published: MusicXML 4.0, note.
const AFTER: [&str; 4] = ["<lyric", "<play", "<listen", "</note>"];

/// The marks that a file can be given.
pub(super) fn known() -> Articulations {
    let all = ELEMENTS.iter().map(|(mark, _)| *mark);
    all.fold(Articulations::FERMATA, Articulations::with)
}

/// Adds marks to one note.
pub(super) fn edit(
    source: &Source,
    note: &Note,
    added: &[Added],
    out: &mut Vec<Edit>,
) -> Result<(), EditError> {
    let span = note.span;
    let not_found = || EditError::not_found(source, span.start, "a plain note");
    let text = source.text.get(span.start as usize..span.end as usize);
    let text = text.ok_or_else(not_found)?;
    // Whatever is commented out or quoted could look like a tag.
    if !text.ends_with("</note>") || text.contains("<!") {
        return Err(not_found());
    }
    let placement = if text.contains("<lyric") {
        "above"
    } else {
        "below"
    };
    for (at, replacement) in directions(added, span, placement) {
        out.push(Edit {
            source: span.source,
            start: at,
            end: at,
            replacement,
        });
    }
    let inside = elements(added);
    if inside.is_empty() {
        return Ok(());
    }
    let (at, replacement) = if let Some(end) = text.rfind("</notations>") {
        (end, inside)
    } else {
        let ends = AFTER.iter().filter_map(|tag| text.find(tag));
        let at = ends.min().ok_or_else(not_found)?;
        (at, format!("<notations>{inside}</notations>"))
    };
    let at = u32::try_from(at).map_err(|_| not_found())?;
    let at = span.start.saturating_add(at);
    out.push(Edit {
        source: span.source,
        start: at,
        end: at,
        replacement,
    });
    Ok(())
}

/// Directions before a note and after it, each with its place in the file. Loudness is under the staff, and
/// over it where words are sung.
/// Published: MusicXML 4.0, direction.
fn directions(added: &[Added], note: Span, placement: &str) -> Vec<(u32, String)> {
    let direction = |inside: &str| {
        [
            "<direction placement=\"",
            placement,
            "\"><direction-type>",
            inside,
            "</direction-type></direction>",
        ]
        .concat()
    };
    let wedge = |kind: &str| direction(&["<wedge type=\"", kind, "\"/>"].concat());
    let mut out = Vec::new();
    for one in added {
        match one {
            Added::Dynamic(name) => {
                let inside = ["<dynamics><", name, "/></dynamics>"].concat();
                out.push((note.start, direction(&inside)));
            }
            Added::HairpinStart(Hairpin::Diminuendo) => {
                out.push((note.start, wedge("diminuendo")));
            }
            Added::HairpinStart(_) => out.push((note.start, wedge("crescendo"))),
            Added::HairpinStop => out.push((note.end, wedge("stop"))),
            Added::SlurStart | Added::SlurStop | Added::Articulations(_) => {}
        }
    }
    out
}

fn elements(added: &[Added]) -> String {
    let mut text = String::new();
    for one in added {
        match one {
            Added::SlurStart => text.push_str("<slur number=\"1\" type=\"start\"/>"),
            Added::SlurStop => text.push_str("<slur number=\"1\" type=\"stop\"/>"),
            Added::Articulations(_)
            | Added::Dynamic(_)
            | Added::HairpinStart(_)
            | Added::HairpinStop => {}
        }
    }
    let marks = added.iter().filter_map(|one| match one {
        Added::Articulations(marks) => Some(*marks),
        _ => None,
    });
    let marks = marks.fold(Articulations::default(), Articulations::with);
    let names = ELEMENTS.iter().filter(|(mark, _)| marks.has(*mark));
    let each = names.fold(String::new(), |mut all, (_, name)| {
        let _ = write!(all, "<{name}/>");
        all
    });
    if marks.has(Articulations::FERMATA) {
        text.push_str("<fermata/>");
    }
    if !each.is_empty() {
        let _ = write!(text, "<articulations>{each}</articulations>");
    }
    text
}
