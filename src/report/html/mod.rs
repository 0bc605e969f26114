//! The report as one page for people: the findings with their bars engraved, on screen and on
//! paper. It needs no network and no script; a few lines of script count what a filter shows and play
//! the bars of a finding.
//!
//! At the top a map of each score, sections down and bars across, in which every finding is a mark
//! that leads to it; then the findings; then a page for every player with what that seat must
//! change. Written and sounding pitch are both there. Whatever comes from a score goes through
//! [`text`].

mod class;
mod finding;
mod heard;
mod map;
mod pitch;
mod players;
pub mod sheet;

pub use class::render as class;

use super::{ProofedFile, Sums, counted};
use crate::engraving::{Engraver, Glyphs, escape};
use crate::finding::{Finding, Level};
use crate::proof::Proofed;
use crate::score::Score;
use crate::sonority::Section;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
const FONT_LICENCE: &str = include_str!("../../../LICENSE-FONT");

/// Findings beyond these have words and no picture: a page must still open.
const MOST_PICTURES: usize = 400;

/// Text of a score or a finding as it may stand in the page.
fn text(text: &str) -> String {
    escape(text)
}

/// A level's shape, which shows it without its colour, and its class.
const fn sign(level: Level) -> (&'static str, &'static str) {
    match level {
        Level::Error => ("◆", "e"),
        Level::Warning => ("▲", "w0"),
        Level::Note => ("●", "o"),
    }
}

/// What the classes of parts begin with: players' sheets are filtered by them too.
const PART: char = 'p';

/// One thing findings can be filtered by: the words, each with a class of its own and how many findings it has.
#[derive(Debug)]
struct FilterWords {
    prefix: char,
    numbers: BTreeMap<String, (usize, usize)>,
}

impl FilterWords {
    fn new(prefix: char, words: impl Iterator<Item = String>) -> Self {
        let mut numbers: BTreeMap<String, (usize, usize)> = BTreeMap::new();
        for word in words {
            numbers.entry(word).or_default().1 += 1;
        }
        for (i, number) in numbers.values_mut().enumerate() {
            number.0 = i;
        }
        Self { prefix, numbers }
    }

    fn class(&self, word: &str) -> String {
        self.numbers
            .get(word)
            .map_or_else(String::new, |(n, _)| format!("{}{n}", self.prefix))
    }

    /// The choices, and the style that hides what is not chosen where no script does.
    fn choices(&self, name: &str, html: &mut String, style: &mut String) {
        if self.numbers.len() < 2 {
            return;
        }
        let p = self.prefix;
        let _ = write!(
            html,
            "<fieldset><legend>{name}</legend><label><input type=\"radio\" name=\"{p}\" checked><span>all</span></label>"
        );
        for (word, (n, count)) in &self.numbers {
            let _ = write!(
                html,
                "<label><input type=\"radio\" name=\"{p}\" id=\"{p}-{n}\" value=\"{p}{n}\"><span>{} <small>{count}</small></span></label>",
                text(word)
            );
            let _ = write!(
                style,
                "body:has(#{p}-{n}:checked) .x:not(.{p}{n}){{display:none}}"
            );
            if p == PART {
                let _ = write!(
                    style,
                    "body:has(#{p}-{n}:checked) .player:not([data-part={p}{n}]){{display:none}}"
                );
            }
        }
        html.push_str("</fieldset>");
    }
}

/// What findings can be filtered by.
struct Filters {
    levels: FilterWords,
    files: FilterWords,
    sections: FilterWords,
    rules: FilterWords,
    parts: FilterWords,
}

impl Filters {
    fn of(files: &[ScoreOnPage<'_>]) -> Self {
        let all = || {
            files
                .iter()
                .flat_map(|f| f.findings.iter().map(move |x| (f, *x)))
        };
        Self {
            levels: FilterWords::new('l', all().map(|(_, x)| x.level.word().to_owned())),
            files: FilterWords::new('d', all().map(|(f, _)| f.name.clone())),
            sections: FilterWords::new('s', all().map(|(f, x)| f.row(x))),
            rules: FilterWords::new('r', all().map(|(_, x)| x.rule.to_owned())),
            parts: FilterWords::new(
                PART,
                all()
                    .flat_map(|(f, x)| f.part_names(x))
                    .collect::<Vec<_>>()
                    .into_iter(),
            ),
        }
    }

    fn classes(&self, file: &ScoreOnPage<'_>, finding: &Finding) -> String {
        let mut classes = format!(
            "x {} {} {} {}",
            self.levels.class(finding.level.word()),
            self.files.class(&file.name),
            self.sections.class(&file.row(finding)),
            self.rules.class(finding.rule)
        );
        for name in file.part_names(finding) {
            let _ = write!(classes, " {}", self.parts.class(&name));
        }
        classes
    }
}

/// Which findings have pictures: as many as a page can hold, the gravest first.
struct Pictures(BTreeSet<(usize, usize)>);

impl Pictures {
    fn of(files: &[ScoreOnPage<'_>]) -> Self {
        let mut all: Vec<(Level, usize, usize)> = files
            .iter()
            .flat_map(|f| {
                let numbered = f.findings.iter().enumerate();
                numbered.map(|(i, x)| (x.level, f.index, i))
            })
            .collect();
        all.sort_by_key(|(level, ..)| std::cmp::Reverse(*level));
        all.truncate(MOST_PICTURES);
        Self(all.into_iter().map(|(_, file, i)| (file, i)).collect())
    }

    /// What is left out, in a sentence.
    fn left_out(&self, files: &[ScoreOnPage<'_>]) -> Option<String> {
        let all: usize = files.iter().map(|f| f.findings.len()).sum();
        let without = all.checked_sub(self.0.len()).filter(|n| *n > 0)?;
        let drawn = self.0.len();
        Some(format!(
            "The {drawn} gravest findings have pictures; {without} have words only, so that the page still opens. \
             Proof fewer files, or mend the first ones, to see the others drawn."
        ))
    }
}

/// One score that was read.
struct ScoreOnPage<'a> {
    /// 0-based, for the addresses in the page.
    index: usize,
    name: String,
    score: &'a Score,
    proofed: &'a Proofed,
    sections: &'a [Section],
    findings: Vec<&'a Finding>,
    engraver: Engraver,
}

impl ScoreOnPage<'_> {
    /// Whether there is neither a finding in it nor a remark about it.
    fn says_nothing(&self) -> bool {
        self.findings.is_empty() && self.proofed.remarks.is_empty()
    }

    fn title(&self) -> &str {
        self.score.title.as_deref().unwrap_or(&self.name)
    }

    /// The address of a finding in the page; findings are numbered from 1 in each file.
    fn id(&self, number: usize) -> String {
        format!("f{}-{number}", self.index + 1)
    }

    /// The row of the map a finding stands in: its section, or its first part's.
    fn row(&self, finding: &Finding) -> String {
        if let Some(section) = &finding.section {
            return section.clone();
        }
        let first = finding.parts.first();
        self.sections
            .iter()
            .find(|s| s.parts.iter().any(|p| Some(&p.part) == first))
            .map(|s| s.name.clone())
            .or_else(|| {
                let part = self.score.parts.get(*first? as usize)?;
                Some(part.name.clone())
            })
            .unwrap_or_else(|| "whole score".to_owned())
    }

    /// The names of the parts at fault, and of those that a fix changes.
    fn part_names(&self, finding: &Finding) -> Vec<String> {
        let mut parts: Vec<u32> = finding.parts.clone();
        let changed = finding.fix.iter().flat_map(|f| &f.changes);
        parts.extend(finding.notes.iter().map(|n| n.note.part));
        parts.extend(changed.map(|c| c.note.part));
        parts.sort_unstable();
        parts.dedup();
        let names = super::part_names(self.score, &parts);
        names.into_iter().map(str::to_owned).collect()
    }

    fn place(&self, finding: &Finding) -> String {
        format!(
            "bar {}, beat {}",
            self.score.bar_number(finding.at.bar),
            self.score.beat_at(finding.at)
        )
    }
}

/// The whole page.
pub fn render(entries: &[ProofedFile]) -> String {
    let files: Vec<ScoreOnPage<'_>> = entries
        .iter()
        .enumerate()
        .filter_map(|(index, entry)| {
            let (score, proofed) = entry.outcome.as_ref().ok()?;
            Some(ScoreOnPage {
                index,
                name: entry.name(),
                score,
                proofed,
                sections: &proofed.sections,
                findings: entry.findings(),
                engraver: Engraver::new(score),
            })
        })
        .collect();
    let filters = Filters::of(&files);
    let mut glyphs = Glyphs::default();
    let pictures = Pictures::of(&files);
    let mut left_out = String::new();
    let several = files.len() > 1;
    let mut main = String::new();
    let (clean, others): (Vec<_>, Vec<_>) = files.iter().partition(|f| several && f.says_nothing());
    for file in others {
        file_section(file, &filters, several, &pictures, &mut glyphs, &mut main);
    }
    clean_files(&clean, &mut main);
    let style = format!("{STYLE}{}", pitch::STYLE);
    let mut hiding = String::new();
    let choices = choices(&files, &filters, &mut hiding);
    if let Some(sentence) = pictures.left_out(&files) {
        let _ = write!(left_out, "<p><b>{sentence}</b></p>");
    }
    let title = match files.as_slice() {
        [only] => format!("Proof: {}", only.title()),
        _ => format!("Proof of {}", counted(entries.len(), "file")),
    };
    let mut head = String::new();
    top(entries, &files, &mut head);
    head.push_str(&left_out);
    let mut page = opening(
        &title,
        &style,
        &glyphs,
        ("findings", "To the findings"),
        &head,
    );
    page.push_str(&choices);
    if !hiding.is_empty() {
        let _ = write!(page, "<style id=\"unscripted\">{hiding}</style>");
    }
    let _ = write!(page, "<main id=\"findings\">{main}</main>\n{}", footer());
    let _ = write!(
        page,
        "<script>\n{SCRIPT}{}</script></body></html>\n",
        heard::SCRIPT
    );
    page
}

/// A page up to the end of its header. `skip` is where the first link of the page leads, and what
/// it says.
fn opening(title: &str, style: &str, glyphs: &Glyphs, skip: (&str, &str), header: &str) -> String {
    let title = text(title);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{title}</title><style>\n{style}</style></head>\n<body>\
         <a class=\"skip\" href=\"#{}\">{}</a>\
         <svg width=\"0\" height=\"0\" style=\"position:absolute\" aria-hidden=\"true\" focusable=\"false\">{}</svg>\n\
         <header><h1>{title}</h1>{header}</header>\n",
        skip.0,
        skip.1,
        glyphs.symbols()
    )
}

/// Counts by level, files that could not be read, and the list of files when there are several.
fn top(entries: &[ProofedFile], files: &[ScoreOnPage<'_>], page: &mut String) {
    let sums = Sums::of(entries);
    let (tally, bars, sonorities) = (&sums.tally, sums.bars, sums.sonorities);
    page.push_str("<div class=\"mass\"><ul class=\"counts\">");
    for (level, count) in [
        (Level::Error, tally.errors),
        (Level::Warning, tally.warnings),
        (Level::Note, tally.notes),
    ] {
        let (shape, class) = sign(level);
        let _ = write!(
            page,
            "<li class=\"{class}\"><span aria-hidden=\"true\">{shape}</span> {}</li>",
            counted(count, level.word())
        );
    }
    let _ = write!(
        page,
        "</ul><p>{}, {}, {}</p></div>",
        counted(files.len(), "score"),
        counted(bars, "bar"),
        counted(sonorities, "sonority")
    );
    for line in sums.not_shown() {
        let _ = write!(page, "<p>{}</p>", text(&line));
    }
    if sonorities == 0 && !files.is_empty() {
        page.push_str("<p>No section sounds together anywhere: no voicing was looked at.</p>");
    }
    for error in entries.iter().filter_map(|e| e.outcome.as_ref().err()) {
        let place = error
            .line_column()
            .map_or_else(String::new, |(line, column)| format!(":{line}:{column}"));
        let _ = write!(
            page,
            "<p class=\"e\"><b>Could not be read:</b> {}{place}: {} {}</p>",
            text(&error.path.display().to_string()),
            text(&error.message),
            text(error.help.as_deref().unwrap_or_default()),
        );
    }
    if files.iter().filter(|f| !f.findings.is_empty()).count() > 1 {
        page.push_str(
            "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Files\"><table><thead><tr>\
             <th scope=\"col\">score</th><th scope=\"col\">errors</th><th scope=\"col\">warnings</th>\
             <th scope=\"col\">notes</th></tr></thead><tbody>",
        );
        for file in files.iter().filter(|f| !f.findings.is_empty()) {
            let of = |level| file.findings.iter().filter(|f| f.level == level).count();
            let _ = write!(
                page,
                "<tr><th scope=\"row\"><a href=\"#f{}\">{}</a></th><td>{}</td><td>{}</td><td>{}</td></tr>",
                file.index + 1,
                text(&file.name),
                of(Level::Error),
                of(Level::Warning),
                of(Level::Note)
            );
        }
        page.push_str("</tbody></table></div>");
    }
}

/// The choices over the findings, folded: the music comes first.
fn choices(files: &[ScoreOnPage<'_>], filters: &Filters, style: &mut String) -> String {
    if filters.rules.numbers.is_empty() {
        return String::new();
    }
    let mut html = format!(
        "<form class=\"filters\" aria-label=\"What is shown\">{}<details><summary>Filters</summary>",
        pitch::choice(files.iter().map(|f| f.score))
    );
    filters.levels.choices("level", &mut html, style);
    filters.files.choices("file", &mut html, style);
    filters.sections.choices("section", &mut html, style);
    filters.parts.choices("part", &mut html, style);
    filters.rules.choices("rule", &mut html, style);
    html.push_str("</details><p role=\"status\" id=\"shown\"></p></form>\n");
    html
}

/// Files about which there is nothing to say, in one line.
fn clean_files(files: &[&ScoreOnPage<'_>], page: &mut String) {
    if files.is_empty() {
        return;
    }
    let names: Vec<String> = files.iter().map(|f| text(&f.name)).collect();
    let _ = write!(
        page,
        "<section class=\"clean\"><h2>Nothing to correct</h2><p>{}: {}</p></section>",
        counted(files.len(), "file"),
        names.join(", ")
    );
}

fn file_section(
    file: &ScoreOnPage<'_>,
    filters: &Filters,
    several: bool,
    pictures: &Pictures,
    glyphs: &mut Glyphs,
    page: &mut String,
) {
    let _ = write!(page, "<section id=\"f{}\">", file.index + 1);
    let heading = if several { file.title() } else { "Map" };
    let _ = write!(page, "<h2>{}</h2>", text(heading));
    let _ = write!(
        page,
        "<p class=\"facts\">{}: {}, {}</p>",
        text(&file.name),
        counted(file.score.bars.len(), "bar"),
        counted(file.score.parts.len(), "part")
    );
    map::render(file, filters, page);
    if !file.proofed.inferred.is_empty() || !file.proofed.remarks.is_empty() {
        page.push_str("<details class=\"facts\"><summary>How it was read</summary><ul>");
        // A technique that nothing fits says nothing of the passage.
        for inferred in file.proofed.inferred.iter().filter(|i| i.fits > 0) {
            let sentence = super::text::inferred(file.score, inferred);
            let _ = write!(page, "<li>{}</li>", text(&sentence));
        }
        for remark in &file.proofed.remarks {
            let _ = write!(page, "<li>{}</li>", text(remark));
        }
        page.push_str("</ul></details>");
    }
    if file.findings.is_empty() {
        page.push_str("<p class=\"none\">Nothing found that needs correcting.</p>");
    } else {
        let _ = write!(page, "<h2>Findings{}</h2>", in_which_file(file, several));
    }
    for (i, finding) in file.findings.iter().enumerate() {
        let engraved = pictures.0.contains(&(file.index, i));
        finding::render(file, filters, i + 1, finding, engraved, glyphs, page);
    }
    players::render(file, several, glyphs, filters, page);
    page.push_str("</section>\n");
}

/// " in TITLE" for a heading, where there are several files.
fn in_which_file(file: &ScoreOnPage<'_>, several: bool) -> String {
    if several {
        format!(" in {}", text(file.title()))
    } else {
        String::new()
    }
}

fn footer() -> String {
    format!(
        "<footer><h2>How to read the pictures</h2><p>The tinted column is the sonority a finding is \
         about; the words under it name its beat. A notehead in a ring is at fault; a notehead in a \
         frame was changed by the correction. Chord symbols are at sounding pitch; where all players of a \
         picture read another pitch, they are the players' own. One in brackets \
         holds from an earlier bar. <span class=\"e\">◆</span> error, \
         <span class=\"w0\">▲</span> warning, <span class=\"o\">●</span> note. A checked fix was tried on \
         the score: the finding goes and no new error or warning comes. A suggestion was not, or brings something \
         else up. With scripts, the keys n and p lead to the next and the previous finding, and what is ticked as done \
         stays ticked in this browser; the buttons under the pictures play the bars, Escape stops.</p>{}</footer>\n",
        licence()
    )
}

fn licence() -> String {
    format!(
        "<details><summary>Licence of the musical signs</summary><pre>{}</pre></details>",
        escape_lines(FONT_LICENCE)
    )
}

/// Escaped, with its lines kept.
fn escape_lines(text: &str) -> String {
    text.lines().map(escape).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    /// The page's elements with their classes and addresses, without pictures, styles and words.
    fn structure(page: &str) -> String {
        let mut out = String::new();
        let mut depth = 0_usize;
        let mut skip: Option<&str> = None;
        for tag in page.split('<').skip(1) {
            let tag = tag.split('>').next().unwrap_or_default();
            let name = tag
                .trim_start_matches('/')
                .split([' ', '\n'])
                .next()
                .unwrap_or_default();
            if let Some(inside) = skip {
                if tag.strip_prefix('/') == Some(inside) {
                    skip = None;
                }
                continue;
            }
            if ["svg", "style", "script", "pre"].contains(&name) {
                skip = ["svg", "style", "script", "pre"]
                    .into_iter()
                    .find(|n| *n == name);
                let _ = writeln!(out, "{}{name}", "  ".repeat(depth));
                continue;
            }
            if tag.starts_with('/') {
                depth = depth.saturating_sub(1);
                continue;
            }
            let keep = [
                "article", "section", "main", "header", "footer", "h1", "h2", "h3", "form",
                "fieldset", "table", "figure", "dl", "a", "nav",
            ];
            if keep.contains(&name) {
                let _ = writeln!(out, "{}{tag}", "  ".repeat(depth));
            }
            if !["meta", "input", "!DOCTYPE", "br"].contains(&name) {
                depth += 1;
            }
        }
        out
    }

    #[test]
    fn the_page_has_its_parts_in_order() {
        let page = render(&[sample::entry(), sample::unreadable()]);
        insta::assert_snapshot!(structure(&page));
    }

    #[test]
    fn every_finding_is_there_once_and_its_mark_leads_to_it() {
        let entries = [sample::entry(), sample::entry()];
        let page = render(&entries);
        assert_eq!(page.matches("<article").count(), 4);
        for id in ["f1-1", "f1-2", "f2-1", "f2-2"] {
            assert_eq!(page.matches(&format!("<article id=\"{id}\"")).count(), 1);
            assert!(page.contains(&format!("href=\"#{id}\"")), "{id}");
        }
    }

    #[test]
    fn a_clean_file_takes_one_line_and_filters_say_how_many() {
        let mut clean = sample::entry();
        if let Ok((_, proofed)) = &mut clean.outcome {
            proofed.findings.clear();
            proofed.remarks.clear();
        }
        clean.path = "clean.musicxml".into();
        let mut other = sample::entry();
        other.path = "other.musicxml".into();
        let page = render(&[sample::entry(), clean, other]);
        assert!(page.contains("<p>1 file: clean.musicxml</p>"));
        assert!(!page.contains("<section id=\"f2\">"));
        assert!(page.contains("<legend>file</legend>"));
        assert!(page.contains("<span>error <small>2</small></span>"));
        let row = "<th scope=\"row\"><a href=\"#f";
        assert_eq!(page.matches(row).count(), 2, "files with findings");
    }

    #[test]
    fn the_gravest_findings_are_drawn_and_what_is_not_is_said() {
        let mut entry = sample::entry();
        if let Ok((_, proofed)) = &mut entry.outcome {
            let warning = proofed.findings[1].clone();
            assert_eq!(warning.level, Level::Warning);
            let more = std::iter::repeat_n(warning, MOST_PICTURES);
            proofed.findings.extend(more);
        }
        let first = sample::entry();
        let page = render(&[entry, first]);
        assert!(page.contains("The 400 gravest findings have pictures; 4 have words only"));
        let article = |id: &str| {
            let from = page.find(&format!("<article id=\"{id}\"")).unwrap();
            let to = page[from..].find("</article>").unwrap();
            &page[from..from + to]
        };
        assert!(
            article("f2-1").contains("<svg"),
            "an error of the last file"
        );
        assert!(!article("f2-2").contains("<svg"));
    }

    #[test]
    fn nothing_of_a_score_becomes_part_of_the_page() {
        let evil = "<script>alert(1)</script>\"'&\u{202e}";
        let mut entry = sample::entry();
        entry.path = evil.into();
        if let Ok((score, proofed)) = &mut entry.outcome {
            score.title = Some(evil.to_owned());
            for part in &mut score.parts {
                part.name = format!("{evil}{}", part.name);
                for bar in &mut part.bars {
                    bar.number = evil.to_owned();
                }
                for chord in &mut part.chords {
                    if let Some(chord) = &mut chord.value.chord {
                        chord.text = evil.to_owned();
                    }
                }
            }
            score.lay_out();
            for finding in &mut proofed.findings {
                finding.section = Some(evil.to_owned());
                finding.message = evil.to_owned();
                finding.chord = Some(evil.to_owned());
                finding.suggestion = Some(evil.to_owned());
            }
            proofed.remarks = vec![evil.to_owned()];
        }
        let page = render(&[entry]);
        assert_eq!(page.matches("<script>").count(), 1, "the page's own");
        assert!(!page.contains("alert(1)</script>"));
        assert!(!page.contains('\u{202e}'));
    }

    #[test]
    fn the_page_needs_nothing_from_outside() {
        let page = render(&[sample::entry()]);
        let licence = escape_lines(FONT_LICENCE);
        let page = page.replace(&licence, "");
        for outside in ["http:", "https:", "src=", "url(", "@import"] {
            assert!(!page.contains(outside), "{outside}");
        }
        // Every glyph that is drawn stands in the page as a symbol.
        for used in page.split("<use href=\"#").skip(1) {
            let id = used.split('"').next().unwrap_or_default();
            assert!(page.contains(&format!("<symbol id=\"{id}\"")), "{id}");
        }
    }

    #[test]
    fn a_finding_about_nothing_that_is_there_is_still_told() {
        let mut entry = sample::entry();
        if let Ok((score, proofed)) = &mut entry.outcome {
            proofed.findings[0].notes[0].note.note = 900;
            proofed.findings[0].parts = vec![77];
            proofed.findings[0].at.bar = 400;
            score.sources.clear();
        }
        let page = render(&[entry]);
        assert_eq!(page.matches("<article").count(), 2);
    }
}
