//! Parts note by note, as MusicXML 4.0 has them (element order: the published schema). Charts are written
//! through it, and slips of the pen are made in it.

use super::notes::{Chord, Quality, Tone, key_alter};
use std::fmt::Write as _;

#[derive(Clone, Debug)]
pub struct Sheet {
    pub title: String,
    /// How many units a quarter has; all lengths are in units.
    pub divisions: i32,
    pub parts: Vec<SheetPart>,
}

#[derive(Clone, Debug)]
pub struct SheetPart {
    pub name: String,
    pub sound: Option<&'static str>,
    pub bars: Vec<Vec<Item>>,
}

/// What stands in a bar, in the order of the file.
#[derive(Clone, Debug)]
pub enum Item {
    /// The signature in fifths, and what follows it.
    Attributes(i16, String),
    /// What stands inside `<direction>`.
    Direction(String),
    /// A chord symbol, so many units after the next note.
    Symbol(Chord, i32),
    Backup(i32),
    Note(Note),
    Barline(&'static str),
}

/// A note or a rest.
#[derive(Clone, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a mark of its own
pub struct Note {
    /// From the start of the chart.
    pub at: i32,
    pub len: i32,
    /// None for a rest.
    pub tone: Option<Tone>,
    /// It stands in one chord with the note before it.
    pub chord: bool,
    /// A rest for the whole bar.
    pub whole_bar: bool,
    pub tie_in: bool,
    pub tie_out: bool,
    /// Place in a triplet: 0 first, 1 between, 2 last.
    pub triplet: Option<u8>,
    /// What stands in `<notations>` beside ties.
    pub marks: Vec<String>,
    pub staff: Option<usize>,
    pub voice: usize,
    pub sung: bool,
}

impl Sheet {
    /// The same music in units so many times finer.
    #[must_use]
    pub fn finer(mut self, by: i32) -> Self {
        self.divisions *= by;
        for item in self.parts.iter_mut().flat_map(|p| &mut p.bars).flatten() {
            match item {
                Item::Symbol(_, offset) => *offset *= by,
                Item::Backup(len) => *len *= by,
                Item::Note(note) => {
                    note.at *= by;
                    note.len *= by;
                }
                _ => {}
            }
        }
        self
    }
}

pub fn musicxml(sheet: &Sheet) -> String {
    let mut xml = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n",
    );
    let title = &sheet.title;
    let _ = writeln!(
        xml,
        "<work><work-title>{title}</work-title></work>\n<part-list>"
    );
    for (index, part) in sheet.parts.iter().enumerate() {
        let id = index + 1;
        let name = &part.name;
        let _ = write!(
            xml,
            "<score-part id=\"P{id}\"><part-name>{name}</part-name>"
        );
        if let Some(sound) = part.sound {
            let _ = write!(
                xml,
                "<score-instrument id=\"P{id}-I1\"><instrument-name>{name}</instrument-name><instrument-sound>{sound}</instrument-sound></score-instrument>"
            );
        }
        xml.push_str("</score-part>\n");
    }
    xml.push_str("</part-list>\n");
    for (index, part) in sheet.parts.iter().enumerate() {
        let _ = writeln!(xml, "<part id=\"P{}\">", index + 1);
        let mut page = Page {
            divisions: sheet.divisions,
            fifths: 0,
            seen: Vec::new(),
        };
        for (bar, items) in part.bars.iter().enumerate() {
            let _ = writeln!(xml, "<measure number=\"{}\">", bar + 1);
            page.seen.clear();
            for item in items {
                page.item(&mut xml, item);
            }
            xml.push_str("</measure>\n");
        }
        xml.push_str("</part>\n");
    }
    xml.push_str("</score-partwise>\n");
    xml
}

/// Where each part's music stands in the text, in bytes.
pub fn part_spans(xml: &str) -> Vec<(usize, usize)> {
    let starts = xml.match_indices("<part id=").map(|m| m.0);
    starts
        .map(|from| (from, from + xml[from..].find("</part>").unwrap()))
        .collect()
}

/// What a player has read so far in a bar.
struct Page {
    divisions: i32,
    fifths: i16,
    /// Lines with an accidental in force.
    seen: Vec<(i16, i16)>,
}

impl Page {
    fn item(&mut self, xml: &mut String, item: &Item) {
        match item {
            Item::Attributes(fifths, rest) => {
                self.fifths = *fifths;
                let _ = writeln!(
                    xml,
                    "<attributes><divisions>{}</divisions><key><fifths>{fifths}</fifths></key>{rest}</attributes>",
                    self.divisions
                );
            }
            Item::Direction(inside) => {
                let _ = writeln!(xml, "<direction>{inside}</direction>");
            }
            Item::Symbol(chord, offset) => harmony(xml, *chord, *offset),
            Item::Backup(len) => {
                self.seen.clear();
                let _ = writeln!(xml, "<backup><duration>{len}</duration></backup>");
            }
            Item::Barline(style) => {
                let _ = writeln!(
                    xml,
                    "<barline location=\"right\"><bar-style>{style}</bar-style></barline>"
                );
            }
            Item::Note(note) => self.note(xml, note),
        }
    }

    fn note(&mut self, xml: &mut String, note: &Note) {
        xml.push_str(if note.chord {
            "<note><chord/>"
        } else {
            "<note>"
        });
        match note.tone {
            None if note.whole_bar => xml.push_str("<rest measure=\"yes\"/>"),
            None => xml.push_str("<rest/>"),
            Some(tone) => {
                let _ = write!(xml, "<pitch><step>{}</step>", tone.step());
                if tone.alter() != 0 {
                    let _ = write!(xml, "<alter>{}</alter>", tone.alter());
                }
                let _ = write!(xml, "<octave>{}</octave></pitch>", tone.octave());
            }
        }
        let _ = write!(xml, "<duration>{}</duration>", note.len);
        let ties = [(note.tie_in, "stop"), (note.tie_out, "start")];
        let ties = || ties.iter().filter(|t| t.0).map(|t| t.1);
        for kind in ties() {
            let _ = write!(xml, "<tie type=\"{kind}\"/>");
        }
        let _ = write!(xml, "<voice>{}</voice>", note.voice);
        if !note.whole_bar {
            self.value(xml, note);
        }
        if let Some(staff) = note.staff {
            let _ = write!(xml, "<staff>{staff}</staff>");
        }
        if note.tie_in || note.tie_out || !note.marks.is_empty() || note.triplet.is_some() {
            xml.push_str("<notations>");
            for kind in ties() {
                let _ = write!(xml, "<tied type=\"{kind}\"/>");
            }
            match note.triplet {
                Some(0) => xml.push_str("<tuplet type=\"start\"/>"),
                Some(2) => xml.push_str("<tuplet type=\"stop\"/>"),
                _ => {}
            }
            xml.extend(note.marks.iter().map(String::as_str));
            xml.push_str("</notations>");
        }
        if note.sung && note.tone.is_some() && !note.tie_in {
            xml.push_str("<lyric><syllabic>single</syllabic><text>la</text></lyric>");
        }
        xml.push_str("</note>\n");
    }

    /// Type, dot, accidental and triplet.
    fn value(&mut self, xml: &mut String, note: &Note) {
        let printed = if note.triplet.is_some() {
            note.len * 3 / 2
        } else {
            note.len
        };
        let (name, dot) = match printed * 4 / self.divisions {
            1 => ("16th", ""),
            2 => ("eighth", ""),
            4 => ("quarter", ""),
            6 => ("quarter", "<dot/>"),
            8 => ("half", ""),
            12 => ("half", "<dot/>"),
            _ => ("whole", ""),
        };
        let _ = write!(xml, "<type>{name}</type>{dot}");
        if let Some(tone) = note.tone {
            let known = self.seen.iter().rev().find(|s| s.0 == tone.letter);
            let known = known.map_or_else(
                || key_alter(tone.letter.rem_euclid(7), self.fifths),
                |s| s.1,
            );
            if !note.tie_in && known != tone.alter() {
                let name = ["flat", "natural", "sharp"][(tone.alter() + 1) as usize];
                let _ = write!(xml, "<accidental>{name}</accidental>");
                self.seen.push((tone.letter, tone.alter()));
            }
        }
        if note.triplet.is_some() {
            xml.push_str("<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>");
        }
    }
}

fn harmony(xml: &mut String, chord: Chord, offset: i32) {
    let (kind, text) = chord.kind();
    let _ = write!(
        xml,
        "<harmony><root><root-step>{}</root-step>",
        chord.root.step()
    );
    if chord.root.alter() != 0 {
        let _ = write!(xml, "<root-alter>{}</root-alter>", chord.root.alter());
    }
    let _ = write!(xml, "</root><kind text=\"{text}\">{kind}</kind>");
    if chord.quality == Quality::SeventhFlat9 {
        xml.push_str("<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>");
    }
    if chord.quality == Quality::SeventhSus4 {
        xml.push_str("<degree><degree-value>7</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>");
    }
    if offset > 0 {
        let _ = write!(xml, "<offset>{offset}</offset>");
    }
    xml.push_str("</harmony>\n");
}
