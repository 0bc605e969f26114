//! A page for every player: what that seat must change, at the pitch that comes first.

use super::finding::{CorrectionRow, MendedScore, bars_in_words, figure, rows};
use super::{Filters, ScoreOnPage, in_which_file, pitch, text};
use crate::engraving::{Excerpt, Glyphs};
use crate::finding::Finding;
use std::fmt::Write as _;

/// The most corrected bars drawn on one player's page.
const MOST_PICTURES: usize = 24;

/// A finding with its number in the report and the notes it asks to change.
struct NumberedFinding<'a> {
    /// 1-based.
    number: usize,
    finding: &'a Finding,
    rows: Vec<CorrectionRow>,
}

/// Writes a page for every player with something to change.
pub(super) fn render(
    file: &ScoreOnPage<'_>,
    several: bool,
    glyphs: &mut Glyphs,
    filters: &Filters,
    page: &mut String,
) {
    let findings: Vec<NumberedFinding<'_>> = (1..)
        .zip(file.findings.iter().copied())
        .map(|(number, finding)| NumberedFinding {
            number,
            finding,
            rows: rows(file.score, finding),
        })
        .collect();
    for (index, part) in (0u32..).zip(&file.score.parts) {
        let concerns = |f: &&NumberedFinding<'_>| {
            f.finding.parts.contains(&index) || f.rows.iter().any(|r| r.part == index)
        };
        let own: Vec<_> = findings.iter().filter(concerns).collect();
        if own.is_empty() {
            continue;
        }
        let (shown, word) = pitch::first(file.score, index);
        let _ = write!(
            page,
            "<section class=\"player\" data-part=\"{}\"><h2>{}{}</h2><p class=\"facts\">{}What this seat must change, at \
             {word} pitch.</p><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">\
             <table><thead><tr><th scope=\"col\">bar</th><th scope=\"col\">beat</th>\
             <th scope=\"col\">has</th><th scope=\"col\">write</th><th scope=\"col\">why</th></tr></thead><tbody>",
            filters.parts.class(&part.name),
            text(&part.name),
            in_which_file(file, several),
            of_which_score(file, several),
            text(&format!("What {} must change", part.name)),
        );
        let mut pictures = String::new();
        let mut drawn = 0;
        for numbered in own {
            write_rows(file, numbered, index, page);
            let rows = &numbered.rows;
            let changed = rows.iter().any(|r| r.part == index && r.write.is_some());
            if let (true, Some(fix)) = (changed && drawn < MOST_PICTURES, &numbered.finding.fix) {
                drawn += 1;
                let mended = MendedScore::new(file.score, numbered.finding, fix);
                let caption = format!(
                    "{}, corrected (finding {})",
                    bars_in_words(file.score, &mended.bars),
                    numbered.number
                );
                let picture = file.engraver.draw(
                    &mended.score,
                    &Excerpt {
                        parts: &[index],
                        bars: mended.bars.clone(),
                        shown,
                        column: None,
                        marks: &mended.marks,
                        under: &[],
                        names: false,
                        label: format!("{}: {caption}", part.name),
                    },
                );
                glyphs.join(&picture.glyphs);
                figure("line", &caption, &picture.svg, &mut pictures);
            }
        }
        let _ = writeln!(
            page,
            "</tbody></table></div><div class=\"pics\">{pictures}</div></section>"
        );
    }
}

/// Title and file in front of a sheet's sentence: the sheet leaves the page. Where there are several files its
/// heading has the title.
fn of_which_score(file: &ScoreOnPage<'_>, several: bool) -> String {
    let title = file.title();
    if several || title == file.name {
        format!("{}. ", text(&file.name))
    } else {
        format!("{}, {}. ", text(title), text(&file.name))
    }
}

/// The notes of a part that a finding asks to change, one a row; without any, one row in words.
fn write_rows(
    file: &ScoreOnPage<'_>,
    numbered: &NumberedFinding<'_>,
    part: u32,
    page: &mut String,
) {
    let finding = numbered.finding;
    let link = format!(
        "<a href=\"#{}\">finding {}: {}</a>",
        file.id(numbered.number),
        numbered.number,
        text(finding.rule)
    );
    let mut any = false;
    for row in numbered.rows.iter().filter(|r| r.part == part) {
        any = true;
        let _ = write!(
            page,
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{link}</td></tr>",
            text(&row.place.0),
            text(&row.place.1),
            file.score.spoken_name(part, row.has),
            row.write.map_or_else(
                || text(finding.suggestion.as_deref().unwrap_or("to be decided")),
                |w| file.score.spoken_name(part, w).to_string()
            ),
        );
    }
    if !any {
        let _ = write!(
            page,
            "<tr><td>{}</td><td>{}</td><td colspan=\"2\">{}</td><td>{link}</td></tr>",
            text(&file.score.bar_number(finding.at.bar)),
            file.score.beat_at(finding.at),
            text(finding.suggestion.as_deref().unwrap_or(&finding.message)),
        );
    }
}
