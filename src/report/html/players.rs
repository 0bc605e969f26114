//! A page for every player: what that seat must change, at written pitch.

use super::finding::{MendedScore, both, figure, rows};
use super::{ScoreOnPage, of, text};
use crate::engraving::{Excerpt, Glyphs, ShownPitch};
use std::fmt::Write as _;

/// The most corrected bars drawn on one player's page.
const MOST_PICTURES: usize = 24;

pub(super) fn render(
    file: &ScoreOnPage<'_>,
    several: bool,
    glyphs: &mut Glyphs,
    page: &mut String,
) {
    let asked: Vec<_> = file
        .findings
        .iter()
        .enumerate()
        .map(|(i, f)| (i + 1, *f, rows(file.score, f)))
        .collect();
    for (index, part) in file.score.parts.iter().enumerate() {
        let index = index as u32;
        let own: Vec<_> = asked
            .iter()
            .filter(|(_, f, rows)| f.parts.contains(&index) || rows.iter().any(|r| r.part == index))
            .collect();
        if own.is_empty() {
            continue;
        }
        let _ = write!(
            page,
            "<section class=\"player\"><h2>{}{}</h2><p class=\"facts\">What this seat must change, at \
             written pitch.</p><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">\
             <table><thead><tr><th scope=\"col\">bar</th><th scope=\"col\">beat</th>\
             <th scope=\"col\">has</th><th scope=\"col\">write</th><th scope=\"col\">why</th></tr></thead><tbody>",
            text(&part.name),
            of(file, several),
            text(&format!("What {} must change", part.name)),
        );
        let mut pictures = String::new();
        let mut drawn = 0;
        for (number, finding, rows) in own {
            let link = format!(
                "<a href=\"#{}\">finding {number}: {}</a>",
                file.id(*number),
                text(finding.rule)
            );
            let mut any = false;
            for row in rows.iter().filter(|r| r.part == index) {
                any = true;
                let _ = write!(
                    page,
                    "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{link}</td></tr>",
                    text(&row.place.0),
                    text(&row.place.1),
                    both(row.has, row.sounds),
                    row.write.map_or_else(
                        || text(finding.suggestion.as_deref().unwrap_or("to be decided")),
                        |(w, s)| both(w, s)
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
            let changed = rows.iter().any(|r| r.part == index && r.write.is_some());
            if let (true, Some(fix)) = (changed && drawn < MOST_PICTURES, &finding.fix) {
                drawn += 1;
                let mended = MendedScore::new(file.score, finding, fix);
                let caption = format!(
                    "{}, corrected (finding {number})",
                    super::finding::bars_in_words(file.score, &mended.bars)
                );
                let picture = file.engraver.draw(
                    &mended.score,
                    &Excerpt {
                        parts: &[index],
                        bars: mended.bars.clone(),
                        shown: ShownPitch::Written,
                        column: None,
                        marks: &mended.marks,
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
