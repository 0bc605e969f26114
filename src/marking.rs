//! Marks in a copy of a MusicXML file, as a teacher's pen leaves them: coloured noteheads and a few
//! words at each finding.
//!
//! A mark is only ever put in, between two comments, or as a colour after a comment of its own;
//! nothing that was there is changed. So [`clear`] gives back the text as it was, to the byte.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use crate::finding::{Finding, Level};
use crate::ground::text::Edit;
use crate::ground::text::Span;
use crate::score::NoteRef;
use crate::score::{Format, Note, NoteFlags, Part, Score, Source};
use quick_xml::Reader;
use quick_xml::events::Event;
use std::collections::BTreeMap;

const OPEN: &str = "<!--chartproof-->";
const CLOSE: &str = "<!--/chartproof-->";
/// Before a notehead element that was there already and got a colour.
const COLOURED: &str = "<!--chartproof:colour-->";

/// MusicXML's colours, with the opacity first (MusicXML 4.0, color data type).
const fn colour(level: Level) -> &'static str {
    match level {
        Level::Error => "#B3261E",
        Level::Warning => "#9A6700",
        Level::Note => "#1F5A96",
    }
}

/// Where a text is added.
#[derive(Default)]
struct Additions {
    at: BTreeMap<(u16, u32), String>,
}

impl Additions {
    fn put(&mut self, source: u16, at: u32, text: &str) {
        self.at.entry((source, at)).or_default().push_str(text);
    }
}

/// The edits that mark findings in the files of a score. `findings` are numbered from 1 in the order
/// given; files that are not MusicXML get no marks.
pub fn marks(score: &Score, findings: &[&Finding]) -> Vec<Edit> {
    let mut added = Additions::default();
    let mut heads: BTreeMap<NoteRef, Level> = BTreeMap::new();
    for (i, finding) in findings.iter().enumerate() {
        let mut parts: Vec<u32> = finding.notes.iter().map(|n| n.note.part).collect();
        parts.extend(&finding.parts);
        parts.sort_unstable();
        parts.dedup();
        for note in finding.notes.iter().flat_map(|n| score.tied_chain(n.note)) {
            let level = heads.entry(note).or_insert(finding.level);
            *level = finding.level.max(*level);
        }
        for index in parts {
            let Some(part) = score.parts.get(index as usize) else {
                continue;
            };
            let at_fault = finding
                .notes
                .iter()
                .filter(|n| n.note.part == index)
                .filter_map(|n| part.notes.get(n.note.note as usize))
                .min_by_key(|n| n.onset);
            let Some((span, staff)) = place(score, part, finding, at_fault) else {
                continue;
            };
            let words = words(score, index, i + 1, finding);
            let staff = if part.staves > 1 {
                format!("<staff>{staff}</staff>")
            } else {
                String::new()
            };
            let direction = format!(
                "{OPEN}<direction placement=\"above\"><direction-type><words color=\"{}\" \
                 font-weight=\"bold\">{words}</words></direction-type>{staff}</direction>{CLOSE}",
                colour(finding.level)
            );
            added.put(span.source, span.start, &direction);
        }
    }
    for (note, level) in heads {
        let span = score
            .parts
            .get(note.part as usize)
            .and_then(|p| p.notes.get(note.note as usize))
            .map(|n| n.span);
        if let Some(span) = span {
            colour_head(score, span, level, &mut added);
        }
    }
    added
        .at
        .into_iter()
        .filter(|((source, _), _)| is_xml(score, *source))
        .map(|((source, at), replacement)| Edit {
            source,
            start: at,
            end: at,
            replacement,
        })
        .collect()
}

fn is_xml(score: &Score, source: u16) -> bool {
    let source = score.sources.get(usize::from(source));
    source.is_some_and(|s| s.format == Format::MusicXml)
}

/// Where the words of a finding belong in a part: before the note at fault, else before what stands
/// at that time, else at the end of the bar.
fn place(
    score: &Score,
    part: &Part,
    finding: &Finding,
    at_fault: Option<&Note>,
) -> Option<(Span, u8)> {
    if let Some(note) = at_fault {
        // Before the whole chord: a direction between its notes would take it apart.
        let first = part
            .notes
            .iter()
            .filter(|n| n.onset == note.onset && n.voice == note.voice && n.at.bar == note.at.bar)
            .filter(|n| !n.flags.has(NoteFlags::CHORD_MEMBER) && n.span.start <= note.span.start)
            .filter(|n| n.flags.has(NoteFlags::GRACE) == note.flags.has(NoteFlags::GRACE))
            .max_by_key(|n| n.span.start);
        return first.map(|n| (n.span, note.staff));
    }
    let notes = part
        .notes
        .iter()
        .filter(|n| n.at.bar == finding.at.bar && n.at.offset >= finding.at.offset)
        .filter(|n| !n.flags.has(NoteFlags::CHORD_MEMBER))
        .map(|n| (n.onset, n.span, n.staff));
    let rests = part
        .rests
        .iter()
        .filter(|r| r.at.bar == finding.at.bar && r.at.offset >= finding.at.offset)
        .map(|r| (r.onset, r.span, r.staff));
    if let Some((_, span, staff)) = notes
        .chain(rests)
        .min_by_key(|(onset, s, _)| (*onset, s.start))
    {
        return Some((span, staff));
    }
    let bar = part.bars.get(finding.at.bar as usize)?.span;
    let text = &score.sources.get(usize::from(bar.source))?.text;
    let inside = text.get(bar.start as usize..bar.end as usize)?;
    let end = bar.start + u32::try_from(inside.rfind("</")?).ok()?;
    let at = Span {
        source: bar.source,
        start: end,
        end,
    };
    Some((at, 1))
}

/// How many notes to be written are spelled out.
const MOST_SPELLED: usize = 8;

/// A few words: the number, the rule, what this part is to write. Always ASCII, so that they can be
/// written in any encoding.
fn words(score: &Score, part: u32, number: usize, finding: &Finding) -> String {
    let rule = finding.rule.replace('-', " ");
    let mut write: Vec<String> = Vec::new();
    for change in finding.fix.iter().flat_map(|f| &f.changes) {
        if change.note.part == part {
            write.push(score.written_for(change.note, change.sounding).to_string());
        }
    }
    // A line that is to be written again is not spelled out over the staff.
    if write.len() > MOST_SPELLED {
        write.truncate(MOST_SPELLED);
        write.push("...".to_owned());
    }
    if write.is_empty() {
        format!("{number} {rule}")
    } else {
        format!("{number} {rule}: write {}", write.join(", "))
    }
}

/// Colours the head of the note that fills a span.
fn colour_head(score: &Score, span: Span, level: Level, added: &mut Additions) {
    let Some(source) = score.sources.get(usize::from(span.source)) else {
        return;
    };
    let colour = colour(level);
    match head(&source.text, span) {
        Some(Head::None(at)) => added.put(
            span.source,
            at,
            &format!("{OPEN}<notehead color=\"{colour}\">normal</notehead>{CLOSE}"),
        ),
        Some(Head::Plain(at)) => {
            added.put(span.source, at, COLOURED);
            let name = at + "<notehead".len() as u32;
            added.put(span.source, name, &format!(" color=\"{colour}\""));
        }
        Some(Head::Coloured) | None => {}
    }
}

/// The notehead element of a note.
enum Head {
    /// There is none; one would stand here.
    None(u32),
    /// It starts here and has no colour.
    Plain(u32),
    /// It has a colour, which stays.
    Coloured,
}

fn head(text: &str, span: Span) -> Option<Head> {
    let base = span.start;
    let mut reader = Reader::from_str(text.get(span.start as usize..span.end as usize)?);
    let mut depth = 0_usize;
    let mut at = None;
    loop {
        let start = base + u32::try_from(reader.buffer_position()).ok()?;
        let event = reader.read_event().ok()?;
        let end = base + u32::try_from(reader.buffer_position()).ok()?;
        // What a notehead comes after (MusicXML 4.0, note).
        let before = |name: &str| {
            matches!(
                name,
                "grace"
                    | "cue"
                    | "chord"
                    | "pitch"
                    | "unpitched"
                    | "rest"
                    | "duration"
                    | "tie"
                    | "instrument"
                    | "footnote"
                    | "level"
                    | "voice"
                    | "type"
                    | "dot"
                    | "accidental"
                    | "time-modification"
                    | "stem"
            )
        };
        match event {
            Event::Start(tag) => {
                if depth == 1 && tag.name().0 == "notehead" {
                    let coloured = tag
                        .attributes()
                        .with_checks(false)
                        .flatten()
                        .any(|a| a.key.0 == "color");
                    return Some(if coloured {
                        Head::Coloured
                    } else {
                        Head::Plain(start)
                    });
                }
                depth += 1;
            }
            Event::Empty(tag) if depth == 1 && before(tag.name().0) => at = Some(end),
            Event::End(tag) => {
                depth = depth.saturating_sub(1);
                if depth == 1 && before(tag.name().0) {
                    at = Some(end);
                }
            }
            Event::Eof => return at.map(Head::None),
            _ => {}
        }
    }
}

/// The edits that take all marks out of a source; none when it has none.
pub fn clear(index: u16, source: &Source) -> Vec<Edit> {
    if source.format != Format::MusicXml {
        return Vec::new();
    }
    let text: &str = &source.text;
    let mut edits = Vec::new();
    let mut take = |start: usize, end: usize| {
        edits.push(Edit {
            source: index,
            start: start as u32,
            end: end as u32,
            replacement: String::new(),
        });
    };
    let mut from = 0;
    while let Some(start) = find(text, OPEN, from) {
        let Some(close) = find(text, CLOSE, start) else {
            break;
        };
        take(start, close + CLOSE.len());
        from = close + CLOSE.len();
    }
    let mut from = 0;
    while let Some(start) = find(text, COLOURED, from) {
        let head = start + COLOURED.len();
        take(start, head);
        let rest = text.get(head..).unwrap_or_default();
        // Copies that were marked before had an alpha in front.
        let attribute = |level: Level| {
            let plain = format!(" color=\"{}\"", colour(level));
            [plain.replace('#', "#FF"), plain]
        };
        let levels = [Level::Error, Level::Warning, Level::Note];
        if let Some(after) = rest.strip_prefix("<notehead")
            && let Some(mark) = levels
                .into_iter()
                .flat_map(attribute)
                .find(|mark| after.starts_with(mark.as_str()))
        {
            let name = head + "<notehead".len();
            take(name, name + mark.len());
        }
        from = head;
    }
    edits.sort();
    edits
}

fn find(text: &str, what: &str, from: usize) -> Option<usize> {
    let rest = text.as_bytes().get(from..)?;
    memchr::memmem::find(rest, what.as_bytes()).map(|i| i + from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editing::apply;
    use crate::finding::NoteAtFault;
    use crate::reading::musicxml;
    use std::path::Path;

    const BARS: &str = "<measure number=\"1\">\r\n<attributes><divisions>1</divisions></attributes>\
        <note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration><type>quarter</type>\
        <stem>up</stem><notations/></note>\n<note><chord/><pitch><step>E</step><octave>5</octave></pitch>\
        <duration>1</duration><notehead parentheses=\"yes\">normal</notehead></note>\
        <note><pitch><step>D</step><octave>5</octave></pitch><duration>1</duration>\
        <notehead color=\"#112233\">normal</notehead></note>\
        <note><pitch><step>F</step><octave>5</octave></pitch><duration>2</duration></note></measure>\
        <measure number=\"2\"></measure>";

    fn score(bars: &str) -> Score {
        let text = format!(
            "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>A</part-name>\
             </score-part></part-list><part id=\"P1\">{bars}</part></score-partwise>"
        );
        musicxml::read(Path::new("a.musicxml"), None, text.into()).unwrap()
    }

    fn finding(level: Level, bar: u32, notes: &[u32]) -> Finding {
        let at = crate::score::Place {
            bar,
            ..Default::default()
        };
        let mut finding = Finding::new("wrong-note", level, at, "m".to_owned());
        finding.parts = vec![0];
        for note in notes {
            finding.notes.push(NoteAtFault {
                note: NoteRef {
                    part: 0,
                    note: *note,
                },
                voice: 1,
                expected: None,
                label: String::new(),
            });
        }
        finding
    }

    fn marked(score: &Score, findings: &[&Finding]) -> String {
        let edits = marks(score, findings);
        apply(&score.sources[0].text, &edits.iter().collect::<Vec<_>>())
    }

    #[test]
    fn marks_go_in_and_come_out_to_the_byte() {
        let score = score(BARS);
        let all = [
            finding(Level::Error, 0, &[0, 1, 2]),
            finding(Level::Note, 0, &[0]),
            finding(Level::Warning, 1, &[]),
        ];
        let all: Vec<&Finding> = all.iter().collect();
        let text = marked(&score, &all);
        // The chord's words stand before its first note, its second head keeps its brackets, a
        // colour of the file's own stays, and the empty bar has words too.
        assert!(text.contains("<stem>up</stem><!--chartproof--><notehead color=\"#B3261E\">"));
        assert!(text.contains("<notehead color=\"#B3261E\" parentheses=\"yes\">normal"));
        assert!(text.contains("<notehead color=\"#112233\">normal"));
        assert!(text.contains(">2 wrong note</words>"));
        assert!(text.contains("<measure number=\"2\"><!--chartproof--><direction"));
        assert!(!text.contains("<direction placement=\"above\"><direction-type><words color=\"#B3261E\" font-weight=\"bold\">1 wrong note</words></direction-type></direction><!--/chartproof--><note><chord/>"));
        let again = musicxml::read(Path::new("a.musicxml"), None, text.clone().into()).unwrap();
        let pitches = |s: &Score| {
            s.parts[0]
                .notes
                .iter()
                .map(|n| n.written)
                .collect::<Vec<_>>()
        };
        assert_eq!(pitches(&again), pitches(&score));
        let edits = clear(0, &again.sources[0]);
        let cleared = apply(&text, &edits.iter().collect::<Vec<_>>());
        assert_eq!(cleared, *score.sources[0].text);
        assert!(clear(0, &score.sources[0]).is_empty());
    }

    #[test]
    fn a_fix_is_named_at_written_pitch() {
        let score = score(BARS);
        let mut finding = finding(Level::Error, 0, &[3]);
        finding.fix = Some(crate::finding::Fix {
            additions: Vec::new(),
            summary: String::new(),
            changes: vec![crate::score::Change {
                note: NoteRef { part: 0, note: 3 },
                sounding: "G5".parse().unwrap(),
            }],
            edits: None,
        });
        assert!(marked(&score, &[&finding]).contains(">1 wrong note: write G5</words>"));
    }

    #[test]
    fn colours_are_six_digits_and_those_of_before_are_taken_out_too() {
        for level in [Level::Error, Level::Warning, Level::Note] {
            // Who puts eight digits into a page as they stand reads the alpha last.
            assert_eq!(colour(level).len(), "#RRGGBB".len());
        }
        let before = format!("<x>{COLOURED}<notehead color=\"#FF9A6700\">normal</notehead></x>");
        let source = Source {
            path: "x.musicxml".into(),
            member: None,
            format: Format::MusicXml,
            text: before.as_str().into(),
            lines: std::sync::OnceLock::default(),
        };
        let mut cleared = before.clone();
        for edit in clear(0, &source).into_iter().rev() {
            let range = edit.start as usize..edit.end as usize;
            cleared.replace_range(range, &edit.replacement);
        }
        assert_eq!(cleared, "<x><notehead>normal</notehead></x>");
    }

    #[test]
    fn a_mark_that_never_closes_is_left_alone() {
        let score = score("<measure number=\"1\"><!--chartproof--></measure>");
        assert!(clear(0, &score.sources[0]).is_empty());
    }
}
