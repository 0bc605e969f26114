//! Marks that notes of a MusicXML file get: one piece of text in each note, and every other byte stays.

use super::EditError;
use crate::ground::text::Edit;
use crate::score::{Added, Articulations, Note, Source};
use std::fmt::Write as _;

/// Marks by their MusicXML element. Published: MusicXML 4.0, articulations.
const ELEMENTS: [(Articulations, &str); 5] = [
    (Articulations::ACCENT, "accent"),
    (Articulations::MARCATO, "strong-accent"),
    (Articulations::STACCATO, "staccato"),
    (Articulations::TENUTO, "tenuto"),
    (Articulations::STACCATISSIMO, "staccatissimo"),
];

/// What follows the notations of a note. Published: MusicXML 4.0, note.
const AFTER: [&str; 4] = ["<lyric", "<play", "<listen", "</note>"];

/// The marks that a file can be given.
pub(super) fn known() -> Articulations {
    let all = ELEMENTS.iter().map(|(mark, _)| *mark);
    all.fold(Articulations::default(), Articulations::with)
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
    let inside = elements(added);
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

fn elements(added: &[Added]) -> String {
    let mut text = String::new();
    for one in added {
        match one {
            Added::SlurStart => text.push_str("<slur number=\"1\" type=\"start\"/>"),
            Added::SlurStop => text.push_str("<slur number=\"1\" type=\"stop\"/>"),
            Added::Articulations(_) => {}
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
    if !each.is_empty() {
        let _ = write!(text, "<articulations>{each}</articulations>");
    }
    text
}
