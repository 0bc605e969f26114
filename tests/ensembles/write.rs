//! Written parts, and the notes and marks on their pages.

use super::chart::{Chart, Event, Symbols};
use super::notes::{Chord, Meter};
use super::sheet::{self, Item, Note, Sheet, SheetPart};
use std::fmt::Write as _;

/// A part as it stands on paper: written pitch.
#[derive(Clone, Debug)]
pub struct PaperPart {
    pub name: String,
    pub sound: Option<&'static str>,
    pub fifths: i16,
    pub transpose: Option<(i16, i16, i16)>,
    pub clef: (&'static str, i16, i16),
    pub staves: Vec<Vec<Event>>,
    /// Chord symbols at written pitch.
    pub symbols: Vec<(i32, Chord)>,
    pub bars: i32,
    pub sung: bool,
}

#[derive(Clone, Debug)]
pub struct Paper {
    pub title: String,
    pub meter: Meter,
    pub tempo: i32,
    pub parts: Vec<PaperPart>,
}

/// Written for the players that the chart names.
pub fn paper(chart: &Chart) -> Paper {
    let mut parts = Vec::new();
    for (index, part) in chart.parts.iter().enumerate() {
        let instrument = part.instrument;
        let written = instrument.to_written();
        let to_paper = |events: &Vec<Event>| events.iter().map(|e| moved(e, written)).collect();
        let shown = chart.symbols == Symbols::All || chart.symbols == Symbols::One(index);
        let symbols = chart.chords.iter().filter(|_| shown);
        parts.push(PaperPart {
            name: part.name.clone(),
            sound: chart.sounds.then_some(instrument.sound),
            fifths: chart.fifths + instrument.key_above(),
            transpose: (instrument.transpose != (0, 0, 0)).then_some(instrument.transpose),
            clef: instrument.clef,
            staves: part.staves.iter().map(to_paper).collect(),
            symbols: symbols.map(|c| (c.at, symbol(c.chord, written))).collect(),
            bars: chart.bars,
            sung: instrument.sung,
        });
    }
    Paper {
        title: format!("{} {}", chart.ensemble.name, chart.seed),
        meter: chart.meter,
        tempo: chart.tempo,
        parts,
    }
}

pub fn moved(event: &Event, by: (i16, i16)) -> Event {
    let tones = event
        .tones
        .iter()
        .map(|t| t.moved(by.0, by.1).plain())
        .collect();
    Event { tones, ..*event }
}

fn symbol(chord: Chord, by: (i16, i16)) -> Chord {
    Chord {
        root: chord.root.moved(by.0, by.1).plain(),
        ..chord
    }
}

pub fn musicxml(paper: &Paper) -> String {
    sheet::musicxml(&sheet(paper))
}

/// The same note by note, two units a quarter.
pub fn sheet(paper: &Paper) -> Sheet {
    let parts = paper.parts.iter().enumerate();
    Sheet {
        title: paper.title.clone(),
        divisions: 2,
        parts: parts
            .map(|(index, part)| SheetPart {
                name: part.name.clone(),
                sound: part.sound,
                bars: (0..part.bars)
                    .map(|bar| measure(paper, part, bar, index == 0))
                    .collect(),
            })
            .collect(),
    }
}

fn measure(paper: &Paper, part: &PaperPart, bar: i32, first_part: bool) -> Vec<Item> {
    let mut items = Vec::new();
    if bar == 0 {
        items.push(attributes(paper.meter, part));
        if first_part {
            items.push(Item::Direction(tempo(paper.tempo)));
        }
    }
    for (staff, events) in part.staves.iter().enumerate() {
        if staff > 0 {
            items.push(Item::Backup(paper.meter.bar));
        }
        staff_bar(&mut items, paper.meter, part, staff, events, bar);
    }
    if bar == part.bars - 1 {
        items.push(Item::Barline("light-heavy"));
    }
    items
}

/// A metronome mark.
pub fn tempo(per_minute: i32) -> String {
    format!(
        "<direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{per_minute}</per-minute></metronome></direction-type><sound tempo=\"{per_minute}\"/>"
    )
}

pub fn dynamic(mark: &str) -> String {
    format!("<direction-type><dynamics><{mark}/></dynamics></direction-type>")
}

fn attributes(meter: Meter, part: &PaperPart) -> Item {
    let mut rest = format!(
        "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
        meter.beats, meter.unit
    );
    if part.staves.len() == 2 {
        rest.push_str("<staves>2</staves><clef number=\"1\"><sign>G</sign><line>2</line></clef><clef number=\"2\"><sign>F</sign><line>4</line></clef>");
    } else {
        let (sign, line, octave) = part.clef;
        let _ = write!(rest, "<clef><sign>{sign}</sign><line>{line}</line>");
        if octave != 0 {
            let _ = write!(rest, "<clef-octave-change>{octave}</clef-octave-change>");
        }
        rest.push_str("</clef>");
    }
    if let Some((letters, semitones, octaves)) = part.transpose {
        let _ = write!(
            rest,
            "<transpose><diatonic>{letters}</diatonic><chromatic>{semitones}</chromatic>"
        );
        if octaves != 0 {
            let _ = write!(rest, "<octave-change>{octaves}</octave-change>");
        }
        rest.push_str("</transpose>");
    }
    Item::Attributes(part.fifths, rest)
}

/// A note or rest within one bar.
struct Piece<'a> {
    at: i32,
    len: i32,
    event: Option<&'a Event>,
}

fn pieces(meter: Meter, events: &[Event], bar: i32) -> Vec<Piece<'_>> {
    let (from, to) = (bar * meter.bar, (bar + 1) * meter.bar);
    let mut out = Vec::new();
    let mut at = from;
    for event in events.iter().filter(|e| e.at < to && e.at + e.len > from) {
        let start = event.at.max(from);
        split(meter, from, at, start, None, &mut out);
        let end = (event.at + event.len).min(to);
        split(meter, from, start, end, Some(event), &mut out);
        at = end;
    }
    split(meter, from, at, to, None, &mut out);
    out
}

/// Cuts a length into values that can be written.
fn split<'a>(
    meter: Meter,
    bar: i32,
    from: i32,
    to: i32,
    event: Option<&'a Event>,
    out: &mut Vec<Piece<'a>>,
) {
    let mut at = from;
    while at < to {
        let position = at - bar;
        let fits = |len: &i32| {
            let compound = meter.unit == 8;
            let inside = position % 3 + len <= 3 || position % 3 == 0 && *len == 6;
            let aligned = event.is_some() || position % len == 0;
            *len <= to - at && if compound { inside } else { aligned }
        };
        let whole = position == 0 && to - at == meter.bar && event.is_none();
        let len = if whole {
            meter.bar
        } else {
            [8, 6, 4, 3, 2, 1].into_iter().find(fits).unwrap_or(1)
        };
        out.push(Piece { at, len, event });
        at += len;
    }
}

fn staff_bar(
    items: &mut Vec<Item>,
    meter: Meter,
    part: &PaperPart,
    staff: usize,
    events: &[Event],
    bar: i32,
) {
    for piece in pieces(meter, events, bar) {
        if staff == 0 {
            let span = piece.at..piece.at + piece.len;
            let here = part.symbols.iter().filter(|s| span.contains(&s.0));
            items.extend(here.map(|(at, chord)| Item::Symbol(*chord, at - piece.at)));
        }
        let plain = note(meter, part, staff, &piece);
        let Some(event) = piece.event else {
            items.push(Item::Note(plain));
            continue;
        };
        let others = part.staves.iter().flatten().any(|e| e.at < event.at);
        let first = staff == 0 || !others && part.staves[0].iter().all(|e| e.at > event.at);
        if event.at == piece.at && enters(meter, events, event) && first {
            items.push(Item::Direction(dynamic("mf")));
        }
        let tones = event.tones.iter().enumerate();
        items.extend(tones.map(|(index, tone)| {
            Item::Note(Note {
                tone: Some(*tone),
                chord: index > 0,
                tie_in: piece.at > event.at,
                tie_out: piece.at + piece.len < event.at + event.len,
                ..plain.clone()
            })
        }));
    }
}

/// The first note, or the first after two bars of silence.
fn enters(meter: Meter, events: &[Event], event: &Event) -> bool {
    let before = events
        .iter()
        .filter(|e| e.at < event.at)
        .map(|e| e.at + e.len)
        .max();
    before.is_none_or(|end| event.at - end >= 2 * meter.bar)
}

/// A rest as long as a piece; a note is made of it.
fn note(meter: Meter, part: &PaperPart, staff: usize, piece: &Piece<'_>) -> Note {
    Note {
        at: piece.at,
        len: piece.len,
        tone: None,
        chord: false,
        whole_bar: piece.event.is_none() && piece.len == meter.bar,
        tie_in: false,
        tie_out: false,
        triplet: None,
        marks: Vec::new(),
        staff: (part.staves.len() > 1).then_some(staff + 1),
        voice: 1 + 4 * staff,
        sung: part.sung,
    }
}
