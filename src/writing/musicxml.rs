//! MusicXML 4.0, partwise.
//!
//! Pitches are written pitch; in a concert score they are sounding pitch, and `<concert-score/>`
//! says so. Durations stand in the fewest divisions of a quarter note that hold them all.

use super::harmony;
use crate::engraving::laid::{
    self, Beam, Kind, Laid, Lane, Piece, Quarters, Stem, VALUES, ZERO, clef_at, default_clef,
    default_clefs, lcm, quarters,
};
use crate::ground::chord::DegreeEdit;
use crate::ground::pitch::{NoteName, Pitch, Transposition};
use crate::ground::time::{Meter, Ticks};
use crate::score::identity::{Identity, identify_all};
use crate::score::{
    Articulations, ChordMark, Clef, Key, Mark, Note, NoteFlags, Part, PartBar, Score, in_force,
};
use num_rational::Ratio;
use std::collections::HashMap;
use std::fmt::Write as _;

/// What the file says of its maker.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Name and version of the program that writes, such as `chartproof 0.1.0`; left out when
    /// there is none.
    pub software: Option<String>,
}

/// Writes a score as MusicXML 4.0.
///
/// Values, ties, tuplets, beams, stems and accidentals are worked out anew: a note that is no single
/// value, or would hide a beat, becomes several tied ones. Silence in the first voice of a staff is
/// written as rests; a part without clefs gets those of its instrument.
///
/// Not held: notes without pitch (their time is kept), voltas, lyrics, and anything else a
/// [`Score`] does not know. A slur that never closes is left out, and a chord symbol that could not
/// be read becomes words.
pub fn write(score: &Score, options: &Options) -> String {
    let mut score = score.clone();
    score.lay_out();
    let identities = identify_all(score.instruments.catalogue(), &score.parts);
    let sheets: Vec<Sheet<'_>> = score
        .parts
        .iter()
        .enumerate()
        .map(|(i, part)| {
            let identity = identities.get(i).and_then(Option::as_ref);
            Sheet::new(&score, part, identity)
        })
        .collect();
    let mut out = Text::default();
    out.line("<?xml version=\"1.0\" encoding=\"UTF-8\"?>");
    out.line(
        "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\">",
    );
    out.open("score-partwise version=\"4.0\"");
    if let Some(title) = &score.title {
        out.open("work");
        out.element("work-title", title);
        out.close("work");
    }
    out.open("identification");
    out.open("encoding");
    if let Some(software) = &options.software {
        out.element("software", software);
    }
    for what in ["accidental", "beam", "stem"] {
        out.line(&format!("<supports element=\"{what}\" type=\"yes\"/>"));
    }
    out.close("encoding");
    out.close("identification");
    if score.concert {
        out.open("defaults");
        out.line("<concert-score/>");
        out.close("defaults");
    }
    out.open("part-list");
    for (i, part) in score.parts.iter().enumerate() {
        score_part(&mut out, part, i + 1);
    }
    out.close("part-list");
    for (i, sheet) in sheets.iter().enumerate() {
        out.open(&format!("part id=\"P{}\"", i + 1));
        sheet.write(&mut out);
        out.close("part");
    }
    out.close("score-partwise");
    out.text
}

fn score_part(out: &mut Text, part: &Part, number: usize) {
    out.open(&format!("score-part id=\"P{number}\""));
    out.element("part-name", &part.name);
    if let Some(short) = &part.abbreviation {
        out.element("part-abbreviation", short);
    }
    if part.sound.is_some() || part.instrument_name.is_some() {
        out.open(&format!("score-instrument id=\"P{number}-I1\""));
        out.element(
            "instrument-name",
            part.instrument_name.as_ref().unwrap_or(&part.name),
        );
        if let Some(sound) = &part.sound {
            out.element("instrument-sound", sound);
        }
        out.close("score-instrument");
    }
    out.close("score-part");
}

/// XML text under construction, indented by its depth.
#[derive(Default)]
struct Text {
    text: String,
    depth: usize,
}

impl Text {
    fn line(&mut self, line: &str) {
        for _ in 0..self.depth {
            self.text.push_str("  ");
        }
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// Opens an element; attributes may follow its name.
    fn open(&mut self, tag: &str) {
        self.line(&format!("<{tag}>"));
        self.depth += 1;
    }

    fn close(&mut self, name: &str) {
        self.depth = self.depth.saturating_sub(1);
        self.line(&format!("</{name}>"));
    }

    fn element(&mut self, name: &str, content: &str) {
        self.line(&format!("<{name}>{}</{name}>", escape(content)));
    }
}

/// Text as it may stand in an element or an attribute. What XML 1.0 has no room for becomes a
/// space.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// The octaves of a transposition that are left when the pitches sound already.
fn octaves_only(by: Transposition) -> Transposition {
    if by.key_shift() == 0 {
        by
    } else {
        Transposition::NONE
    }
}

/// Something printed over or under a staff at a time of a bar.
struct Item {
    at: Quarters,
    onset: Ticks,
    what: What,
}

enum What {
    Rehearsal(String),
    Tempo(f64),
    Words(String, u8),
    Dynamics(String),
    Chord(ChordMark),
}

/// Clefs, keys, meters and transpositions as they have been written so far.
#[derive(Default)]
struct Shown {
    key: Option<Key>,
    meter: Option<Meter>,
    transposition: Option<Transposition>,
    clefs: HashMap<u8, Clef>,
    slashes: bool,
}

/// Where the writing of a bar stands.
struct Cursor {
    at: Quarters,
    furthest: Quarters,
}

/// One part, ready to be written.
struct Sheet<'a> {
    score: &'a Score,
    part: &'a Part,
    laid: Laid,
    /// Clefs of staves that state none at the start.
    default_clefs: Vec<Clef>,
    meters: &'a [Mark<Meter>],
    slurs: HashMap<usize, Vec<(bool, u8)>>,
    divisions: i64,
    /// Items of each bar in order of time.
    items: Vec<Vec<Item>>,
}

impl<'a> Sheet<'a> {
    fn new(score: &'a Score, part: &'a Part, identity: Option<&Identity<'_>>) -> Self {
        let default_clefs = default_clefs(part, identity);
        // A passage says its meter once, in its first part.
        let meters = if part.meters.is_empty() {
            score
                .parts
                .iter()
                .map(|p| p.meters.as_slice())
                .find(|m| !m.is_empty())
                .unwrap_or_default()
        } else {
            &part.meters
        };
        let start = |bar: usize| score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        let pitch = |note: usize| {
            part.notes
                .get(note)
                .map_or(Pitch::new(crate::ground::pitch::Step::C, 0, 4), |n| {
                    printed(score, part, n)
                })
        };
        let meter = |bar: usize| in_force(meters, start(bar)).map_or(Meter::COMMON, |m| m.value);
        let clef = |staff: u8, onset: Ticks| {
            clef_at(part, staff, onset).unwrap_or_else(|| default_clef(&default_clefs, staff))
        };
        let key = |onset: Ticks| printed_key(score, part, part.key(onset), onset).fifths;
        let laid = laid::lay_out(
            score,
            part,
            0..score.bars.len(),
            &pitch,
            &meter,
            &clef,
            &key,
        );
        let mut sheet = Self {
            score,
            part,
            laid,
            default_clefs,
            meters,
            slurs: slurs(part),
            divisions: 1,
            items: items(score, part),
        };
        sheet.divisions = sheet.needed_divisions();
        sheet
    }

    /// The fewest divisions of a quarter that hold all that is written.
    fn needed_divisions(&self) -> i64 {
        let mut divisions = 1;
        let mut need = |q: Quarters| divisions = lcm(divisions, *q.denom());
        for lane in self.laid.bars.iter().flatten() {
            for piece in &lane.pieces {
                need(piece.start);
                need(piece.length);
            }
        }
        for item in self.items.iter().flatten() {
            need(item.at);
        }
        let per_quarter = self.score.per_quarter;
        for bar in 0..self.score.bars.len() {
            need(self.filled(bar));
            for at in self.changes(bar) {
                need(at);
            }
        }
        need(quarters(per_quarter, per_quarter));
        divisions
    }

    fn divided(&self, time: Quarters) -> i64 {
        (time * self.divisions).to_integer()
    }

    /// How much time the part fills in a bar.
    fn filled(&self, bar: usize) -> Quarters {
        let own = self.part.bars.get(bar).map(|b| b.filled);
        let filled = own
            .filter(|f| *f > Ticks::ZERO)
            .unwrap_or_else(|| self.score.bars.get(bar).map_or(Ticks::ZERO, |b| b.length));
        quarters(filled, self.score.per_quarter)
    }

    /// The times inside a bar at which a key, meter, clef or transposition changes.
    fn changes(&self, bar: usize) -> Vec<Quarters> {
        fn inside<T>(marks: &[Mark<T>], bar: usize, out: &mut Vec<Ticks>) {
            out.extend(
                marks
                    .iter()
                    .filter(|m| m.at.bar as usize == bar && m.at.offset > Ticks::ZERO)
                    .map(|m| m.at.offset),
            );
        }
        let mut times = Vec::new();
        inside(&self.part.keys, bar, &mut times);
        inside(self.meters, bar, &mut times);
        inside(&self.part.clefs, bar, &mut times);
        inside(&self.part.transpositions, bar, &mut times);
        times.sort_unstable();
        times.dedup();
        times
            .into_iter()
            .map(|t| quarters(t, self.score.per_quarter))
            .collect()
    }

    fn write(&self, out: &mut Text) {
        let mut shown = Shown::default();
        let blank = PartBar::default();
        for (index, bar) in self.score.bars.iter().enumerate() {
            let own = self.part.bars.get(index).unwrap_or(&blank);
            let number = if own.number.is_empty() {
                &bar.number
            } else {
                &own.number
            };
            let uncounted = own.uncounted || (self.part.bars.len() <= index && bar.pickup);
            let implicit = if uncounted { " implicit=\"yes\"" } else { "" };
            out.open(&format!("measure number=\"{}\"{implicit}", escape(number)));
            if own.repeat_start {
                out.open("barline location=\"left\"");
                out.line("<bar-style>heavy-light</bar-style>");
                out.line("<repeat direction=\"forward\"/>");
                out.close("barline");
            }
            self.bar(out, index, own, &mut shown);
            let last = index + 1 == self.score.bars.len();
            let style = match (own.double_bar, own.repeat_end) {
                (_, true) => Some("light-heavy"),
                (true, false) if last => Some("light-heavy"),
                (true, false) => Some("light-light"),
                (false, false) => None,
            };
            if let Some(style) = style {
                out.open("barline location=\"right\"");
                out.element("bar-style", style);
                if own.repeat_end {
                    out.line("<repeat direction=\"backward\"/>");
                }
                out.close("barline");
            }
            out.close("measure");
        }
    }

    /// What stands between the bar lines: up to each change inside the bar all voices, then on.
    fn bar(&self, out: &mut Text, index: usize, own: &PartBar, shown: &mut Shown) {
        let none: &[Lane] = &[];
        let lanes = self.laid.bars.get(index).map_or(none, Vec::as_slice);
        let mut items = self
            .items
            .get(index)
            .map_or(&[][..], Vec::as_slice)
            .iter()
            .peekable();
        let mut cursor = Cursor {
            at: ZERO,
            furthest: ZERO,
        };
        let mut from = ZERO;
        let mut changes = self.changes(index).into_iter().peekable();
        loop {
            let until = changes.next();
            self.go_to(out, &mut cursor, from);
            self.attributes(out, index, from, own, shown);
            let within = |p: &&Piece| p.start >= from && until.is_none_or(|u| p.start < u);
            let mut first = true;
            for lane in lanes {
                for piece in lane.pieces.iter().filter(within) {
                    if first {
                        while let Some(item) = items
                            .next_if(|i| i.at < piece.end().max(piece.start + Ratio::new(1, 4096)))
                        {
                            // In a silence before the note the cursor goes on to the item.
                            if item.at < piece.start && item.at > cursor.at {
                                self.go_to(out, &mut cursor, item.at);
                            }
                            if piece.start <= item.at {
                                self.go_to(out, &mut cursor, piece.start);
                            }
                            self.item(out, item, cursor.at);
                        }
                    }
                    self.go_to(out, &mut cursor, piece.start);
                    self.piece(out, lane, piece);
                    cursor.at = piece.end();
                    cursor.furthest = cursor.furthest.max(cursor.at);
                }
                if first {
                    while let Some(item) = items.next_if(|i| until.is_none_or(|u| i.at < u)) {
                        self.item(out, item, cursor.at);
                    }
                }
                first = false;
            }
            if first {
                while let Some(item) = items.next_if(|i| until.is_none_or(|u| i.at < u)) {
                    self.item(out, item, cursor.at);
                }
            }
            match until {
                Some(next) => from = next,
                None => break,
            }
        }
        let end = self.filled(index);
        if cursor.furthest < end {
            self.go_to(out, &mut cursor, end);
        }
    }

    fn go_to(&self, out: &mut Text, cursor: &mut Cursor, to: Quarters) {
        let (name, by) = match to.cmp(&cursor.at) {
            std::cmp::Ordering::Less => ("backup", cursor.at - to),
            std::cmp::Ordering::Greater => ("forward", to - cursor.at),
            std::cmp::Ordering::Equal => return,
        };
        out.line(&format!(
            "<{name}><duration>{}</duration></{name}>",
            self.divided(by)
        ));
        cursor.at = to;
        cursor.furthest = cursor.furthest.max(to);
    }

    fn attributes(
        &self,
        out: &mut Text,
        index: usize,
        from: Quarters,
        own: &PartBar,
        shown: &mut Shown,
    ) {
        let bar = self.score.bars.get(index);
        let start = bar.map_or(Ticks::ZERO, |b| b.start);
        let onset = start + Ticks((from * self.score.per_quarter.0).to_integer());
        let staves = self.part.staves.max(1);
        let opening = index == 0 && from == ZERO;
        let mut lines = Text {
            depth: out.depth + 1,
            ..Text::default()
        };
        if opening {
            lines.element("divisions", &self.divisions.to_string());
        }
        let key = in_force(&self.part.keys, onset)
            .map(|m| printed_key(self.score, self.part, m.value, onset));
        if let Some(key) = key
            && shown.key != Some(key)
        {
            let mode = if key.minor { "minor" } else { "major" };
            lines.line(&format!(
                "<key><fifths>{}</fifths><mode>{mode}</mode></key>",
                key.fifths
            ));
            shown.key = Some(key);
        }
        let meter = in_force(self.meters, onset).map(|m| m.value);
        if let Some(meter) = meter
            && shown.meter != Some(meter)
        {
            lines.line(&format!(
                "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
                meter.beats, meter.unit
            ));
            shown.meter = Some(meter);
        }
        if opening && staves > 1 {
            lines.element("staves", &staves.to_string());
        }
        for staff in 1..=staves {
            let stated = clef_at(self.part, staff, onset);
            let clef = match stated {
                Some(clef) => clef,
                None if opening => default_clef(&self.default_clefs, staff),
                None => continue,
            };
            if shown.clefs.insert(staff, clef) != Some(clef) {
                write_clef(&mut lines, clef, staves);
            }
        }
        let by = self.part.transposition(onset);
        if shown.transposition != Some(by) {
            let stated = self.part.states_transposition && opening;
            let before = shown.transposition.unwrap_or(Transposition::NONE);
            let moves = by != before || by != Transposition::NONE;
            if stated || moves {
                self.write_transposition(&mut lines, by);
            }
            shown.transposition = Some(by);
        }
        if from == ZERO {
            if let Some(bars) = own.multi_rest.filter(|n| *n > 0) {
                lines.line(&format!(
                    "<measure-style><multiple-rest>{bars}</multiple-rest></measure-style>"
                ));
            }
            if own.slashes != shown.slashes {
                let kind = if own.slashes { "start" } else { "stop" };
                lines.line(&format!(
                    "<measure-style><slash type=\"{kind}\" use-stems=\"no\"/></measure-style>"
                ));
                shown.slashes = own.slashes;
            }
        }
        if !lines.text.is_empty() {
            out.open("attributes");
            out.text.push_str(&lines.text);
            out.close("attributes");
        }
    }

    fn write_transposition(&self, lines: &mut Text, by: Transposition) {
        let numbers = |t: Transposition| {
            let octaves = t.chromatic / 12;
            let mut text = format!(
                "<diatonic>{}</diatonic><chromatic>{}</chromatic>",
                t.diatonic - 7 * octaves,
                t.chromatic - 12 * octaves
            );
            if octaves != 0 {
                let _ = write!(text, "<octave-change>{octaves}</octave-change>");
            }
            text
        };
        let heard = octaves_only(by);
        if self.score.concert && heard != by {
            // The pitches sound already; this is for whoever prints the part.
            lines.line(&format!(
                "<for-part><part-transpose>{}</part-transpose></for-part>",
                numbers(by)
            ));
        } else {
            lines.line(&format!("<transpose>{}</transpose>", numbers(by)));
        }
    }

    fn item(&self, out: &mut Text, item: &Item, cursor: Quarters) {
        let by = self.divided(item.at - cursor);
        let offset = if by == 0 {
            String::new()
        } else {
            format!("<offset>{by}</offset>")
        };
        let direction = |out: &mut Text, place: &str, kind: &str, tail: &str| {
            out.line(&format!(
                "<direction placement=\"{place}\"><direction-type>{kind}</direction-type>\
                 {offset}{tail}</direction>"
            ));
        };
        match &item.what {
            What::Rehearsal(text) => direction(
                out,
                "above",
                &format!("<rehearsal>{}</rehearsal>", escape(text)),
                "",
            ),
            What::Words(text, staff) => {
                let staff = if self.part.staves > 1 {
                    format!("<staff>{staff}</staff>")
                } else {
                    String::new()
                };
                direction(
                    out,
                    "above",
                    &format!("<words>{}</words>", escape(text)),
                    &staff,
                );
            }
            What::Dynamics(mark) => {
                let mark = if DYNAMICS.contains(&mark.as_str()) {
                    format!("<{mark}/>")
                } else {
                    format!("<other-dynamics>{}</other-dynamics>", escape(mark))
                };
                direction(out, "below", &format!("<dynamics>{mark}</dynamics>"), "");
            }
            What::Tempo(tempo) => self.tempo(out, *tempo, item.onset, &offset),
            What::Chord(mark) => self.chord(out, mark, item.onset, &offset),
        }
    }

    /// A round tempo is printed; any other is one for playback.
    fn tempo(&self, out: &mut Text, tempo: f64, onset: Ticks, offset: &str) {
        let sound = format!("<sound tempo=\"{tempo}\"");
        if (tempo * 2.0).fract() != 0.0 {
            out.line(&if offset.is_empty() {
                format!("{sound}/>")
            } else {
                format!("{sound}>{offset}</sound>")
            });
            return;
        }
        let compound = in_force(self.meters, onset)
            .is_some_and(|m| m.value.unit == 8 && m.value.beats % 3 == 0 && m.value.beats > 3);
        let dotted = tempo * 2.0 / 3.0;
        let (dot, count) = if compound && dotted.fract() == 0.0 {
            ("<beat-unit-dot/>", dotted)
        } else {
            ("", tempo)
        };
        out.line(&format!(
            "<direction placement=\"above\"><direction-type><metronome>\
             <beat-unit>quarter</beat-unit>{dot}<per-minute>{count}</per-minute></metronome>\
             </direction-type>{offset}{sound}/></direction>"
        ));
    }

    fn chord(&self, out: &mut Text, mark: &ChordMark, onset: Ticks, offset: &str) {
        let Some(chord) = &mark.chord else {
            if mark.unread.is_some() {
                // What is no chord symbol stays readable to the eye.
                let words = format!("<words>{}</words>", escape(&mark.written));
                out.line(&format!(
                    "<direction placement=\"above\"><direction-type>{words}</direction-type>\
                     {offset}</direction>"
                ));
                return;
            }
            out.line(&format!(
                "<harmony><root><root-step text=\"\">C</root-step></root>\
                 <kind text=\"{}\">none</kind>{offset}</harmony>",
                escape(&mark.written)
            ));
            return;
        };
        let by = self.part.transposition(onset);
        let written = if self.score.concert {
            chord.clone()
        } else {
            chord.transposed(by.inverse())
        };
        let spelled = harmony::spell(&written);
        let mut text = String::from("<harmony>");
        note_name(&mut text, "root", written.root);
        let printed = if spelled.text.is_empty() {
            String::new()
        } else {
            format!(" text=\"{}\"", escape(&spelled.text))
        };
        let _ = write!(text, "<kind{printed}>{}</kind>", spelled.kind);
        if let Some(bass) = written.bass {
            note_name(&mut text, "bass", bass);
        }
        // The kind's text says the degrees already; printed once more they would double.
        let hidden = if spelled.text.is_empty() {
            ""
        } else {
            " print-object=\"no\""
        };
        for d in &spelled.degrees {
            let edit = match d.edit {
                DegreeEdit::Add => "add",
                DegreeEdit::Alter => "alter",
                DegreeEdit::Subtract => "subtract",
            };
            let _ = write!(
                text,
                "<degree{hidden}><degree-value>{}</degree-value><degree-alter>{}</degree-alter>\
                 <degree-type>{edit}</degree-type></degree>",
                d.number, d.alter
            );
        }
        out.line(&format!("{text}{offset}</harmony>"));
    }

    fn piece(&self, out: &mut Text, lane: &Lane, piece: &Piece) {
        if piece.heads.is_empty() {
            let measure = if piece.kind == Kind::BarRest {
                " measure=\"yes\""
            } else {
                ""
            };
            out.open("note");
            out.line(&format!("<rest{measure}/>"));
            self.tail(out, lane, piece, None);
            out.close("note");
            return;
        }
        for (n, head) in piece.heads.iter().enumerate() {
            let Some(note) = self.part.notes.get(head.note) else {
                continue;
            };
            out.open("note");
            if note.flags.has(NoteFlags::GRACE) {
                // One alone is struck through, as a short one is.
                let slash = if piece.beams.is_empty() { "yes" } else { "no" };
                out.line(&format!("<grace slash=\"{slash}\"/>"));
            }
            if note.flags.has(NoteFlags::CUE) {
                out.line("<cue/>");
            }
            if n > 0 {
                out.line("<chord/>");
            }
            let mut pitch = format!("<pitch><step>{:?}</step>", head.pitch.step);
            if head.pitch.alter != 0 {
                let _ = write!(pitch, "<alter>{}</alter>", head.pitch.alter);
            }
            let _ = write!(pitch, "<octave>{}</octave></pitch>", head.pitch.octave);
            out.line(&pitch);
            self.tail(out, lane, piece, Some((n, note)));
            out.close("note");
        }
    }

    /// What every note and rest has after its pitch.
    fn tail(&self, out: &mut Text, lane: &Lane, piece: &Piece, head: Option<(usize, &Note)>) {
        let n = head.map_or(0, |(n, _)| n);
        let top = piece.heads.get(n).filter(|_| head.is_some());
        let ties = [
            top.is_some_and(|h| h.tie_in).then_some("stop"),
            top.is_some_and(|h| h.tie_out).then_some("start"),
        ];
        if piece.kind != Kind::Grace {
            out.element("duration", &self.divided(piece.length).to_string());
        }
        if piece.kind != Kind::Cue {
            for tie in ties.iter().flatten() {
                out.line(&format!("<tie type=\"{tie}\"/>"));
            }
        }
        out.element("voice", &lane.voice.to_string());
        if let Some(shape) = piece.shape {
            out.element(
                "type",
                VALUES.get(shape.value).copied().unwrap_or("quarter"),
            );
            for _ in 0..shape.dots {
                out.line("<dot/>");
            }
        }
        if let Some(alter) = top.and_then(|h| h.accidental) {
            out.element("accidental", accidental(alter));
        }
        if let Some((actual, normal)) = piece.tuplet {
            out.line(&format!(
                "<time-modification><actual-notes>{actual}</actual-notes>\
                 <normal-notes>{normal}</normal-notes></time-modification>"
            ));
        }
        if let Some(stem) = piece.stem {
            out.element("stem", if stem == Stem::Up { "up" } else { "down" });
        }
        if let Some((_, note)) = head {
            if note.flags.has(NoteFlags::SLASH) {
                out.element("notehead", "slash");
            } else if note.flags.has(NoteFlags::GHOST) {
                out.line("<notehead parentheses=\"yes\">normal</notehead>");
            }
        }
        if self.part.staves > 1 {
            let staff = top.map_or(piece.staff, |h| h.staff);
            out.element("staff", &staff.to_string());
        }
        if n == 0 {
            for (level, beam) in piece.beams.iter().take(8).enumerate() {
                let word = match beam {
                    Beam::Begin => "begin",
                    Beam::Continue => "continue",
                    Beam::End => "end",
                    Beam::ForwardHook => "forward hook",
                    Beam::BackwardHook => "backward hook",
                };
                out.line(&format!("<beam number=\"{}\">{word}</beam>", level + 1));
            }
        }
        let mut notations: Vec<String> = ties
            .iter()
            .flatten()
            .map(|t| format!("<tied type=\"{t}\"/>"))
            .collect();
        if n == 0 && piece.tuplet.is_some() {
            if piece.tuplet_start {
                let bracket = if piece.bracket { "yes" } else { "no" };
                notations.push(format!("<tuplet type=\"start\" bracket=\"{bracket}\"/>"));
            }
            if piece.tuplet_stop {
                notations.push("<tuplet type=\"stop\"/>".to_owned());
            }
        }
        if let (Some(head), Some((_, note))) = (top, head) {
            for (start, number) in self.slurs.get(&head.note).into_iter().flatten() {
                if *start && head.first {
                    notations.push(format!("<slur type=\"start\" number=\"{number}\"/>"));
                } else if !*start && head.last {
                    notations.push(format!("<slur type=\"stop\" number=\"{number}\"/>"));
                }
            }
            marks(note.articulations, head.first, head.last, &mut notations);
        }
        if !notations.is_empty() {
            out.line(&format!("<notations>{}</notations>", notations.concat()));
        }
    }
}

/// The dynamics that have an element of their own in MusicXML 4.0.
const DYNAMICS: [&str; 26] = [
    "p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp",
    "mf", "sf", "sfp", "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp",
];

fn accidental(alter: i8) -> &'static str {
    match alter {
        i8::MIN..=-3 => "triple-flat",
        -2 => "flat-flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        2 => "double-sharp",
        3.. => "triple-sharp",
    }
}

fn note_name(out: &mut String, which: &str, name: NoteName) {
    let _ = write!(out, "<{which}><{which}-step>{:?}</{which}-step>", name.step);
    if name.alter != 0 {
        let _ = write!(out, "<{which}-alter>{}</{which}-alter>", name.alter);
    }
    let _ = write!(out, "</{which}>");
}

/// Marks at the attack and at the end of a note.
fn marks(all: Articulations, first: bool, last: bool, out: &mut Vec<String>) {
    const AT_ATTACK: [(Articulations, &str); 7] = [
        (Articulations::ACCENT, "accent"),
        (Articulations::MARCATO, "strong-accent"),
        (Articulations::STACCATO, "staccato"),
        (Articulations::TENUTO, "tenuto"),
        (Articulations::STACCATISSIMO, "staccatissimo"),
        (Articulations::SCOOP, "scoop"),
        (Articulations::PLOP, "plop"),
    ];
    const AT_END: [(Articulations, &str); 3] = [
        (Articulations::DOIT, "doit"),
        (Articulations::FALL, "falloff"),
        (Articulations::BREATH, "breath-mark"),
    ];
    let at_attack = AT_ATTACK.iter().filter(|_| first);
    let at_end = AT_END.iter().filter(|_| last);
    let mut names = String::new();
    for (_, name) in at_attack.chain(at_end).filter(|(mark, _)| all.has(*mark)) {
        let _ = write!(names, "<{name}/>");
    }
    if !names.is_empty() {
        out.push(format!("<articulations>{names}</articulations>"));
    }
    if last && all.has(Articulations::FERMATA) {
        out.push("<fermata/>".to_owned());
    }
}

fn write_clef(lines: &mut Text, clef: Clef, staves: u8) {
    let number = if staves > 1 {
        format!(" number=\"{}\"", clef.staff)
    } else {
        String::new()
    };
    let sign = match clef.sign {
        'P' => "percussion".to_owned(),
        sign => sign.to_string(),
    };
    let mut text = format!("<clef{number}><sign>{sign}</sign>");
    if clef.sign != 'P' {
        let _ = write!(text, "<line>{}</line>", clef.line);
    }
    if clef.octave != 0 {
        let _ = write!(
            text,
            "<clef-octave-change>{}</clef-octave-change>",
            clef.octave
        );
    }
    lines.line(&format!("{text}</clef>"));
}

/// The pitch on paper.
fn printed(score: &Score, part: &Part, note: &Note) -> Pitch {
    if !score.concert {
        return note.written;
    }
    let heard = octaves_only(part.transposition(note.onset));
    note.sounding.transposed(heard.inverse())
}

/// The key signature on paper.
fn printed_key(score: &Score, part: &Part, key: Key, onset: Ticks) -> Key {
    let shift = part.transposition(onset).key_shift();
    if !score.concert || shift == 0 {
        return key;
    }
    Key {
        fifths: part.concert_fifths(onset),
        ..key
    }
}

/// Which slurs start (true) and stop at each note, with the numbers that pair them. A slur that
/// never closes, or closes without having started, is left out.
fn slurs(part: &Part) -> HashMap<usize, Vec<(bool, u8)>> {
    let mut open: Vec<(u8, usize)> = Vec::new();
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (index, note) in part.notes.iter().enumerate() {
        if note.flags.has(NoteFlags::SLUR_STOP) {
            let own = open.iter().rposition(|(voice, _)| *voice == note.voice);
            if let Some(at) = own.or_else(|| open.len().checked_sub(1)) {
                let (_, start) = open.remove(at);
                pairs.push((start, index));
            }
        }
        if note.flags.has(NoteFlags::SLUR_START) {
            open.push((note.voice, index));
        }
    }
    let when = |note: usize| {
        let note = part.notes.get(note);
        note.map_or((Ticks::ZERO, 0), |n| (n.onset, n.written.midi()))
    };
    pairs.sort_by_key(|(start, stop)| (when(*start), when(*stop)));
    let mut out: HashMap<usize, Vec<(bool, u8)>> = HashMap::new();
    // Numbers tell apart the slurs that are open at one time.
    let mut until: Vec<Ticks> = Vec::new();
    for (start, stop) in pairs {
        let free = until.iter().position(|end| *end < when(start).0);
        let number = free.unwrap_or(until.len());
        match until.get_mut(number) {
            Some(end) => *end = when(stop).0,
            None if number < 16 => until.push(when(stop).0),
            None => continue,
        }
        let number = number as u8 + 1;
        out.entry(stop).or_default().insert(0, (false, number));
        out.entry(start).or_default().push((true, number));
    }
    out
}

/// Puts the marks of one kind where they stand.
fn add<T>(
    bars: &mut [Vec<Item>],
    marks: &[Mark<T>],
    per_quarter: Ticks,
    what: impl Fn(&T) -> What,
) {
    for mark in marks {
        if let Some(bar) = bars.get_mut(mark.at.bar as usize) {
            bar.push(Item {
                at: quarters(mark.at.offset, per_quarter),
                onset: mark.onset,
                what: what(&mark.value),
            });
        }
    }
}

/// All that is printed over and under the staves of a part, by bar, in order of time.
fn items(score: &Score, part: &Part) -> Vec<Vec<Item>> {
    let mut bars: Vec<Vec<Item>> = score.bars.iter().map(|_| Vec::new()).collect();
    let per_quarter = score.per_quarter;
    for (index, own) in part.bars.iter().enumerate() {
        if let (Some(mark), Some(bar)) = (&own.rehearsal, bars.get_mut(index)) {
            bar.push(Item {
                at: ZERO,
                onset: score.bars.get(index).map_or(Ticks::ZERO, |b| b.start),
                what: What::Rehearsal(mark.clone()),
            });
        }
    }
    add(&mut bars, &part.tempos, per_quarter, |t| What::Tempo(*t));
    add(&mut bars, &part.words, per_quarter, |w| {
        What::Words(w.text.clone(), w.staff)
    });
    add(&mut bars, &part.dynamics, per_quarter, |d| {
        What::Dynamics(d.clone())
    });
    add(&mut bars, &part.chords, per_quarter, |c| {
        What::Chord(c.clone())
    });
    for bar in &mut bars {
        bar.sort_by_key(|i| i.at);
    }
    bars
}
