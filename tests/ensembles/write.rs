//! Written parts, and MusicXML 4.0 of them (element order: the published schema).

use super::chart::{Chart, Event, Symbols};
use super::notes::{Chord, Meter, Quality, Tone, key_alter};
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
    let mut xml = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n",
    );
    let _ = writeln!(
        xml,
        "<work><work-title>{}</work-title></work>\n<part-list>",
        paper.title
    );
    for (index, part) in paper.parts.iter().enumerate() {
        let id = index + 1;
        let _ = write!(
            xml,
            "<score-part id=\"P{id}\"><part-name>{}</part-name>",
            part.name
        );
        if let Some(sound) = part.sound {
            let _ = write!(
                xml,
                "<score-instrument id=\"P{id}-I1\"><instrument-name>{}</instrument-name><instrument-sound>{sound}</instrument-sound></score-instrument>",
                part.name
            );
        }
        xml.push_str("</score-part>\n");
    }
    xml.push_str("</part-list>\n");
    for (index, part) in paper.parts.iter().enumerate() {
        let _ = writeln!(xml, "<part id=\"P{}\">", index + 1);
        for bar in 0..part.bars {
            measure(&mut xml, paper, part, bar, index == 0);
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

fn measure(xml: &mut String, paper: &Paper, part: &PaperPart, bar: i32, first_part: bool) {
    let _ = writeln!(xml, "<measure number=\"{}\">", bar + 1);
    if bar == 0 {
        attributes(xml, paper.meter, part);
        if first_part {
            let _ = writeln!(
                xml,
                "<direction placement=\"above\"><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{0}</per-minute></metronome></direction-type><sound tempo=\"{0}\"/></direction>",
                paper.tempo
            );
        }
    }
    for (staff, events) in part.staves.iter().enumerate() {
        if staff > 0 {
            let _ = writeln!(
                xml,
                "<backup><duration>{}</duration></backup>",
                paper.meter.bar
            );
        }
        staff_bar(xml, paper.meter, part, staff, events, bar);
    }
    if bar == part.bars - 1 {
        xml.push_str("<barline location=\"right\"><bar-style>light-heavy</bar-style></barline>\n");
    }
    xml.push_str("</measure>\n");
}

fn attributes(xml: &mut String, meter: Meter, part: &PaperPart) {
    let _ = write!(
        xml,
        "<attributes><divisions>2</divisions><key><fifths>{}</fifths></key><time><beats>{}</beats><beat-type>{}</beat-type></time>",
        part.fifths, meter.beats, meter.unit
    );
    if part.staves.len() == 2 {
        xml.push_str("<staves>2</staves><clef number=\"1\"><sign>G</sign><line>2</line></clef><clef number=\"2\"><sign>F</sign><line>4</line></clef>");
    } else {
        let (sign, line, octave) = part.clef;
        let _ = write!(xml, "<clef><sign>{sign}</sign><line>{line}</line>");
        if octave != 0 {
            let _ = write!(xml, "<clef-octave-change>{octave}</clef-octave-change>");
        }
        xml.push_str("</clef>");
    }
    if let Some((letters, semitones, octaves)) = part.transpose {
        let _ = write!(
            xml,
            "<transpose><diatonic>{letters}</diatonic><chromatic>{semitones}</chromatic>"
        );
        if octaves != 0 {
            let _ = write!(xml, "<octave-change>{octaves}</octave-change>");
        }
        xml.push_str("</transpose>");
    }
    xml.push_str("</attributes>\n");
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
    xml: &mut String,
    meter: Meter,
    part: &PaperPart,
    staff: usize,
    events: &[Event],
    bar: i32,
) {
    let mut state: Vec<(i16, i16)> = Vec::new();
    for piece in pieces(meter, events, bar) {
        if staff == 0 {
            let span = piece.at..piece.at + piece.len;
            for (at, chord) in part.symbols.iter().filter(|s| span.contains(&s.0)) {
                harmony(xml, *chord, at - piece.at);
            }
        }
        let Some(event) = piece.event else {
            rest(xml, meter, &piece, part, staff);
            continue;
        };
        let others = part.staves.iter().flatten().any(|e| e.at < event.at);
        let first = staff == 0 || !others && part.staves[0].iter().all(|e| e.at > event.at);
        if event.at == piece.at && enters(meter, events, event) && first {
            xml.push_str("<direction placement=\"below\"><direction-type><dynamics><mf/></dynamics></direction-type></direction>\n");
        }
        for (index, tone) in event.tones.iter().enumerate() {
            note(
                xml,
                part,
                staff,
                &piece,
                event,
                *tone,
                index > 0,
                &mut state,
            );
        }
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

fn place(xml: &mut String, staff: usize, len: i32) {
    let _ = write!(xml, "<voice>{}</voice>", 1 + 4 * staff);
    let (name, dot) = match len {
        1 => ("eighth", ""),
        2 => ("quarter", ""),
        3 => ("quarter", "<dot/>"),
        4 => ("half", ""),
        6 => ("half", "<dot/>"),
        _ => ("whole", ""),
    };
    let _ = write!(xml, "<type>{name}</type>{dot}");
}

fn rest(xml: &mut String, meter: Meter, piece: &Piece<'_>, part: &PaperPart, staff: usize) {
    if piece.len == meter.bar {
        let _ = write!(
            xml,
            "<note><rest measure=\"yes\"/><duration>{}</duration><voice>{}</voice>",
            piece.len,
            1 + 4 * staff
        );
    } else {
        let _ = write!(xml, "<note><rest/><duration>{}</duration>", piece.len);
        place(xml, staff, piece.len);
    }
    staff_number(xml, part, staff);
    xml.push_str("</note>\n");
}

fn staff_number(xml: &mut String, part: &PaperPart, staff: usize) {
    if part.staves.len() > 1 {
        let _ = write!(xml, "<staff>{}</staff>", staff + 1);
    }
}

#[allow(
    clippy::too_many_arguments,
    reason = "a note of a chord needs its place and the bar's accidentals"
)]
fn note(
    xml: &mut String,
    part: &PaperPart,
    staff: usize,
    piece: &Piece<'_>,
    event: &Event,
    tone: Tone,
    chord: bool,
    state: &mut Vec<(i16, i16)>,
) {
    let stop = piece.at > event.at;
    let start = piece.at + piece.len < event.at + event.len;
    xml.push_str(if chord { "<note><chord/>" } else { "<note>" });
    let _ = write!(xml, "<pitch><step>{}</step>", tone.step());
    if tone.alter() != 0 {
        let _ = write!(xml, "<alter>{}</alter>", tone.alter());
    }
    let _ = write!(
        xml,
        "<octave>{}</octave></pitch><duration>{}</duration>",
        tone.octave(),
        piece.len
    );
    for (is, kind) in [(stop, "stop"), (start, "start")] {
        if is {
            let _ = write!(xml, "<tie type=\"{kind}\"/>");
        }
    }
    place(xml, staff, piece.len);
    let known = state.iter().rev().find(|s| s.0 == tone.letter).map(|s| s.1);
    let known = known.unwrap_or_else(|| key_alter(tone.letter.rem_euclid(7), part.fifths));
    if !stop && known != tone.alter() {
        let name = ["flat", "natural", "sharp"][(tone.alter() + 1) as usize];
        let _ = write!(xml, "<accidental>{name}</accidental>");
        state.push((tone.letter, tone.alter()));
    }
    staff_number(xml, part, staff);
    if stop || start {
        xml.push_str("<notations>");
        for (is, kind) in [(stop, "stop"), (start, "start")] {
            if is {
                let _ = write!(xml, "<tied type=\"{kind}\"/>");
            }
        }
        xml.push_str("</notations>");
    }
    if part.sung && !stop {
        xml.push_str("<lyric><syllabic>single</syllabic><text>la</text></lyric>");
    }
    xml.push_str("</note>\n");
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
