//! The map of a score: sections down, bars across, every finding a mark that leads to it.

use super::{Filters, ScoreOnPage, sign, text};
use std::fmt::Write as _;

/// Bars in one block of the map: what fits a phone, and the phrase most music is made of.
const BLOCK: usize = 8;

pub(super) fn render(file: &ScoreOnPage<'_>, filters: &Filters, page: &mut String) {
    let mut rows: Vec<String> = Vec::new();
    let named = file.sections.iter().map(|s| s.name.clone());
    for row in named.chain(file.findings.iter().map(|f| file.row(f))) {
        if !rows.contains(&row) {
            rows.push(row);
        }
    }
    if rows.is_empty() {
        return;
    }
    let mut marks: Vec<(usize, usize, String)> = Vec::new();
    for (i, finding) in file.findings.iter().enumerate() {
        let row = file.row(finding);
        let Some(row) = rows.iter().position(|r| *r == row) else {
            continue;
        };
        let (shape, class) = sign(finding.level);
        let number = i + 1;
        let mark = format!(
            "<a class=\"{class} {}\" href=\"#{}\"><span aria-hidden=\"true\">{shape}</span>{number}\
             <span class=\"vh\"> {}, {}, {}</span></a>",
            filters.classes(file, finding),
            file.id(number),
            finding.level.word(),
            text(finding.rule),
            text(&file.place(finding)),
        );
        marks.push((row, finding.at.bar as usize, mark));
    }
    page.push_str("<div class=\"map\">");
    let count = file.score.bars.len();
    for start in (0..count).step_by(BLOCK) {
        let bars = start..(start + BLOCK).min(count);
        let number = |bar: usize| text(&file.score.bar_number(bar as u32));
        let _ = write!(
            page,
            "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Bars {0} to {1}\"><table>\
             <caption class=\"vh\">Bars {0} to {1}: findings by section and bar</caption>\
             <thead><tr><td></td>",
            number(bars.start),
            number(bars.end.saturating_sub(1))
        );
        for bar in bars.clone() {
            let _ = write!(page, "<th scope=\"col\">{}</th>", number(bar));
        }
        page.push_str("</tr></thead><tbody>");
        for (r, row) in rows.iter().enumerate() {
            let _ = write!(page, "<tr><th scope=\"row\">{}</th>", text(row));
            for bar in bars.clone() {
                page.push_str("<td>");
                for (_, _, mark) in marks.iter().filter(|m| m.0 == r && m.1 == bar) {
                    page.push_str(mark);
                }
                page.push_str("</td>");
            }
            page.push_str("</tr>");
        }
        page.push_str("</tbody></table></div>");
    }
    page.push_str("</div>");
}
