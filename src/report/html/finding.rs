//! One finding: what is wrong, its bars engraved, the correction beside them, the reason.

use super::{Filters, ScoreOnPage, heard, pitch, sign, text};
use crate::engraving::{Excerpt, Glyphs, Highlight, ShownPitch};
use crate::finding::{Finding, Fix};
use crate::ground::pitch::Pitch;
use crate::report::text::parts_shown;
use crate::score::{Change, NoteRef, PlayerPitch, Score, Stretch};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::ops::Range;

/// The most bars in one picture.
const MOST_BARS: u32 = 5;

/// How many notes of a fix are spelled out.
const MOST_SPELLED: usize = 8;

pub(super) fn render(
    file: &ScoreOnPage<'_>,
    filters: &Filters,
    number: usize,
    finding: &Finding,
    engraved: bool,
    glyphs: &mut Glyphs,
    page: &mut String,
) {
    let id = file.id(number);
    let (shape, class) = sign(finding.level);
    let _ = write!(
        page,
        "<article id=\"{id}\" class=\"{}\" tabindex=\"-1\" aria-labelledby=\"{id}-h\"><h3 id=\"{id}-h\">{number}. \
         B{}: {}</h3><p class=\"facts\"><b class=\"{class}\"><span aria-hidden=\"true\">{shape}</span> {}</b> · {}",
        filters.classes(file, finding),
        text(file.place(finding).trim_start_matches('b')),
        text(&finding.message),
        finding.level.word(),
        text(finding.rule),
    );
    let facts = [&finding.section, &finding.chord, &finding.technique];
    for fact in facts.into_iter().flatten() {
        let _ = write!(page, " · {}", text(fact));
    }
    page.push_str("</p><div class=\"both\">");
    if engraved {
        pictures(file, finding, &format!("finding {number}"), glyphs, page);
    }
    page.push_str("<div class=\"words\">");
    changes(file, finding, page);
    reasons(finding, page);
    let _ = writeln!(
        page,
        "<p class=\"back\"><label class=\"done\"><input type=\"checkbox\" data-done=\"{id}\"> done\
         <span class=\"vh\">: finding {number}</span></label> <a href=\"#f{}\">To the map<span class=\"vh\">, from finding \
         {number}</span></a></p></div></div></article>",
        file.index + 1
    );
}

fn note_bar(score: &Score, note: NoteRef) -> Option<u32> {
    let part = score.parts.get(note.part as usize)?;
    part.notes.get(note.note as usize).map(|n| n.at.bar)
}

/// The bars that notes stand in, the finding's own among them; few enough for one picture.
fn bars_of(score: &Score, finding: &Finding, notes: impl Iterator<Item = NoteRef>) -> Range<u32> {
    let own = finding.at.bar;
    let (mut first, mut last) = (own, own);
    for bar in notes.filter_map(|n| note_bar(score, n)) {
        if first.min(bar).abs_diff(last.max(bar)) < MOST_BARS - 2 {
            first = first.min(bar);
            last = last.max(bar);
        }
    }
    first..last + 1
}

pub(super) fn pictures(
    file: &ScoreOnPage<'_>,
    finding: &Finding,
    name: &str,
    glyphs: &mut Glyphs,
    page: &mut String,
) {
    let score = file.score;
    let parts = parts_shown(score, file.sections, finding);
    if parts.is_empty() {
        return;
    }
    let core = bars_of(score, finding, finding.notes.iter().map(|n| n.note));
    let count = u32::try_from(score.bars.len()).unwrap_or(u32::MAX);
    let around = core.start.saturating_sub(1)..(core.end + 1).min(count);
    let faults: Vec<(NoteRef, Highlight)> = finding
        .notes
        .iter()
        .flat_map(|n| score.tied_chain(n.note))
        .map(|n| (n, Highlight::Fault))
        .collect();
    let beat = score.beat_at(finding.at);
    let words = format!("beat {beat}");
    let column = Some((finding.at, words));
    let mended = finding
        .fix
        .as_ref()
        .filter(|fix| !fix.changes.is_empty())
        .map(|fix| MendedScore::new(score, finding, fix));
    page.push_str("<div class=\"pics\">");
    for &(shown, class) in pitch::drawn(score) {
        let bars = bars_in_words(score, &around);
        let label = format!(
            "{bars} at {class} pitch, as they stand. At fault: {}",
            at_fault(score, finding, shown)
        );
        let picture = file.engraver.draw(
            score,
            &Excerpt {
                parts: &parts,
                bars: around.clone(),
                shown,
                column: column.clone(),
                marks: &faults,
                under: &[],
                names: true,
                label,
            },
        );
        glyphs.join(&picture.glyphs);
        let caption = format!("As it stands, {class} pitch");
        figure(class, &caption, &picture.svg, page);
        let Some(mended) = &mended else { continue };
        let label = format!(
            "{} at {class} pitch, corrected: {}",
            bars_in_words(score, &mended.bars),
            mended.in_words(shown)
        );
        let picture = file.engraver.draw(
            &mended.score,
            &Excerpt {
                parts: &parts,
                bars: mended.bars.clone(),
                shown,
                column: column.clone(),
                marks: &mended.marks,
                under: &[],
                names: true,
                label,
            },
        );
        glyphs.join(&picture.glyphs);
        let caption = format!("Corrected, {class} pitch");
        figure(class, &caption, &picture.svg, page);
    }
    to_be_heard(score, mended.as_ref(), &parts, around, name, page);
    page.push_str("</div>");
}

/// The bars of the pictures, as they stand and corrected, for the script to play.
fn to_be_heard(
    score: &Score,
    mended: Option<&MendedScore>,
    parts: &[u32],
    around: Range<u32>,
    name: &str,
    page: &mut String,
) {
    let bars = mended.map_or(around.clone(), |m| {
        around.start.min(m.bars.start)..around.end.max(m.bars.end)
    });
    let words = heard::Wording {
        what: name,
        play: if is_read_otherwise(score, parts, &bars) {
            "Hear it as it was read"
        } else {
            "Hear it as it stands"
        },
    };
    let corrected = mended.map(|m| &m.score);
    heard::render(score, corrected, parts, bars, &words, page);
}

/// Whether a part is read otherwise there than its file has it: then it is heard as it is read too.
fn is_read_otherwise(score: &Score, parts: &[u32], bars: &Range<u32>) -> bool {
    let bar = |part, note| note_bar(score, NoteRef { part, note });
    let meets = |s: &Stretch| {
        bar(s.part, s.from).is_some_and(|b| b < bars.end)
            && bar(s.part, s.to.saturating_sub(1)).is_some_and(|b| b >= bars.start)
    };
    let presumed = score.presumed.iter().map(|p| p.part);
    let stretches = score.stretches.iter().filter(|s| meets(s)).map(|s| s.part);
    presumed.chain(stretches).any(|p| parts.contains(&p))
}

pub(super) fn figure(class: &str, caption: &str, svg: &str, page: &mut String) {
    let caption = text(caption);
    let _ = write!(
        page,
        "<figure class=\"{class}\"><div class=\"scroll\" tabindex=\"0\" role=\"group\" \
         aria-label=\"{caption}\">{svg}</div><figcaption>{caption}</figcaption></figure>"
    );
}

pub(super) fn bars_in_words(score: &Score, bars: &Range<u32>) -> String {
    let (first, last) = (bars.start, bars.end.saturating_sub(1));
    if first == last {
        format!("Bar {}", score.bar_number(first))
    } else {
        format!(
            "Bars {} to {}",
            score.bar_number(first),
            score.bar_number(last)
        )
    }
}

/// The notes at fault in words.
fn at_fault(score: &Score, finding: &Finding, shown: ShownPitch) -> String {
    let words: Vec<String> = finding
        .notes
        .iter()
        .filter_map(|n| {
            let part = score.parts.get(n.note.part as usize)?;
            let note = part.notes.get(n.note.note as usize)?;
            let pitch = match shown {
                ShownPitch::Written => note.written,
                ShownPitch::Sounding => note.sounding,
            };
            Some(format!("{} {pitch}", part.name))
        })
        .collect();
    if words.is_empty() {
        finding.message.clone()
    } else {
        words.join(", ")
    }
}

/// A copy of the score with a fix made.
pub(super) struct MendedScore {
    pub score: Score,
    pub bars: Range<u32>,
    pub marks: Vec<(NoteRef, Highlight)>,
    changes: Vec<Change>,
}

impl MendedScore {
    pub fn new(score: &Score, finding: &Finding, fix: &Fix) -> Self {
        let mut mended = score.clone();
        mended.change(&fix.changes);
        let notes: BTreeSet<NoteRef> = fix
            .changes
            .iter()
            .flat_map(|c| score.tied_chain(c.note))
            .collect();
        Self {
            bars: bars_of(score, finding, notes.iter().copied()),
            marks: notes.into_iter().map(|n| (n, Highlight::Mended)).collect(),
            changes: fix.changes.clone(),
            score: mended,
        }
    }

    fn in_words(&self, shown: ShownPitch) -> String {
        let mut words: Vec<String> = self
            .changes
            .iter()
            .take(MOST_SPELLED)
            .filter_map(|c| {
                let part = self.score.parts.get(c.note.part as usize)?;
                let note = part.notes.get(c.note.note as usize)?;
                let pitch = match shown {
                    ShownPitch::Written => note.written,
                    ShownPitch::Sounding => note.sounding,
                };
                Some(format!("{} {pitch}", part.name))
            })
            .collect();
        match self.changes.len().checked_sub(MOST_SPELLED) {
            Some(more) if more > 0 => words.push(format!("{more} more")),
            _ => {}
        }
        words.join(", ")
    }
}

/// One row of what is to be written otherwise.
pub(super) struct CorrectionRow {
    pub part: u32,
    pub bar: u32,
    pub place: (String, String),
    pub has: PlayerPitch,
    pub write: Option<PlayerPitch>,
}

/// What a finding asks of each part: its fix note by note, else the notes at fault.
pub(super) fn rows(score: &Score, finding: &Finding) -> Vec<CorrectionRow> {
    let wanted: Vec<(NoteRef, Option<Pitch>)> = match &finding.fix {
        Some(fix) if !fix.changes.is_empty() => fix
            .changes
            .iter()
            .map(|c| (c.note, Some(c.sounding)))
            .collect(),
        _ => finding.notes.iter().map(|n| (n.note, n.expected)).collect(),
    };
    let mut rows: Vec<CorrectionRow> = wanted
        .into_iter()
        .filter_map(|(at, sounding)| {
            let part = score.parts.get(at.part as usize)?;
            let note = part.notes.get(at.note as usize)?;
            let write = sounding.map(|s| score.player_pitch(at, s));
            Some(CorrectionRow {
                part: at.part,
                bar: note.at.bar,
                place: (
                    score.bar_number(note.at.bar),
                    score.beat_at(note.at).to_string(),
                ),
                has: note.pitch(),
                write: write.filter(|w| w.written != note.written),
            })
        })
        .collect();
    rows.sort_by_key(|r| (r.part, r.bar));
    rows
}

pub(super) fn changes(file: &ScoreOnPage<'_>, finding: &Finding, page: &mut String) {
    let rows = rows(file.score, finding);
    let Some(first) = rows.first() else {
        return;
    };
    let (_, word) = pitch::first(file.score, first.part);
    let _ = write!(
        page,
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Notes, {}\"><table><thead><tr>\
         <th scope=\"col\">part</th><th scope=\"col\">bar</th><th scope=\"col\">beat</th>\
         <th scope=\"col\">has, {word}</th><th scope=\"col\">write</th></tr></thead><tbody>",
        text(&file.place(finding)),
    );
    for row in rows {
        let name = file.score.parts.get(row.part as usize);
        let _ = write!(
            page,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            text(name.map_or("", |p| &p.name)),
            text(&row.place.0),
            text(&row.place.1),
            file.score.spoken_name(row.part, row.has),
            row.write.map_or_else(
                || "see below".to_owned(),
                |w| file.score.spoken_name(row.part, w).to_string()
            ),
        );
    }
    page.push_str("</tbody></table></div>");
}

fn reasons(finding: &Finding, page: &mut String) {
    page.push_str("<dl>");
    let mut add = |name: &str, what: &str| {
        if !what.is_empty() {
            let _ = write!(page, "<dt>{name}</dt><dd>{}</dd>", text(what));
        }
    };
    let advice = if finding.fix.is_some() {
        "Fix (checked)"
    } else {
        "Suggestion"
    };
    add(advice, finding.suggestion.as_deref().unwrap_or_default());
    add("Why", &finding.why);
    let pitches = |list: &[Pitch]| {
        let names: Vec<String> = list.iter().map(Pitch::to_string).collect();
        match names.as_slice() {
            [] => String::new(),
            [only] => format!("{only} (sounding)"),
            _ => format!("{} (sounding, from the top)", names.join(" ")),
        }
    };
    add("Found", &pitches(&finding.found));
    if finding.expected != finding.found {
        add("Expected", &pitches(&finding.expected));
    }
    add("Rule", finding.rule);
    add("Source", finding.source);
    page.push_str("</dl>");
}
