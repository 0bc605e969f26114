//! Clefs, keys, meters and transpositions.

use super::part::PartWriter;
use super::text::XmlText;
use crate::ground::pitch::Transposition;
use crate::ground::time::{Meter, Ticks};
use crate::notation::clefs::{clef_at, default_clef};
use crate::notation::{Quarters, ZERO};
use crate::score::{Clef, Key, Part, PartBar, Score, in_force};
use std::collections::HashMap;
use std::fmt::Write as _;

/// The attributes in force by what has been written so far.
#[derive(Default)]
pub(super) struct AttributesWritten {
    key: Option<Key>,
    meter: Option<Meter>,
    transposition: Option<Transposition>,
    clefs: HashMap<u8, Clef>,
    slashes: bool,
}

impl PartWriter<'_> {
    /// Writes the attributes that change at `from` in a bar (0-based).
    pub(super) fn attributes(
        &self,
        out: &mut XmlText,
        index: usize,
        from: Quarters,
        own: &PartBar,
        written: &mut AttributesWritten,
    ) {
        let bar = self.page.score.bars.get(index);
        let start = bar.map_or(Ticks::ZERO, |b| b.start);
        let onset = start + Ticks((from * self.page.score.per_quarter.0).to_integer());
        let staves = self.page.part.staves.max(1);
        let opening = index == 0 && from == ZERO;
        let mut lines = XmlText {
            depth: out.depth + 1,
            ..XmlText::default()
        };
        if opening {
            lines.element("divisions", &self.divisions().to_string());
        }
        let key = in_force(&self.page.part.keys, onset)
            .map(|m| printed_key(self.page.score, self.page.part, m.value, onset));
        if let Some(key) = key
            && written.key != Some(key)
        {
            let mode = if key.minor { "minor" } else { "major" };
            lines.line(&format!(
                "<key><fifths>{}</fifths><mode>{mode}</mode></key>",
                key.fifths
            ));
            written.key = Some(key);
        }
        let meter = in_force(self.page.meters, onset).map(|m| m.value);
        if let Some(meter) = meter
            && written.meter != Some(meter)
        {
            lines.line(&format!(
                "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
                meter.beats, meter.unit
            ));
            written.meter = Some(meter);
        }
        if opening && staves > 1 {
            lines.element("staves", &staves.to_string());
        }
        for staff in 1..=staves {
            let stated = clef_at(self.page.part, staff, onset);
            let clef = match stated {
                Some(clef) => clef,
                None if opening => default_clef(&self.page.default_clefs, staff),
                None => continue,
            };
            if written.clefs.insert(staff, clef) != Some(clef) {
                write_clef(&mut lines, clef, staves);
            }
        }
        let by = self.page.part.transposition(onset);
        if written.transposition != Some(by) {
            let stated = self.page.part.states_transposition && opening;
            let before = written.transposition.unwrap_or(Transposition::NONE);
            let moves = by != before || by != Transposition::NONE;
            if stated || moves {
                self.write_transposition(&mut lines, by);
            }
            written.transposition = Some(by);
        }
        if from == ZERO {
            if let Some(bars) = own.multi_rest.filter(|n| *n > 0) {
                lines.line(&format!(
                    "<measure-style><multiple-rest>{bars}</multiple-rest></measure-style>"
                ));
            }
            if own.slashes != written.slashes {
                let kind = if own.slashes { "start" } else { "stop" };
                lines.line(&format!(
                    "<measure-style><slash type=\"{kind}\" use-stems=\"no\"/></measure-style>"
                ));
                written.slashes = own.slashes;
            }
        }
        if !lines.text.is_empty() {
            out.open("attributes");
            out.text.push_str(&lines.text);
            out.close("attributes");
        }
    }

    fn write_transposition(&self, lines: &mut XmlText, by: Transposition) {
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
        if printed_transposition(self.page.score, by) == by {
            lines.line(&format!("<transpose>{}</transpose>", numbers(by)));
        } else {
            // The pitches sound already; this is for whoever prints the part.
            lines.line(&format!(
                "<for-part><part-transpose>{}</part-transpose></for-part>",
                numbers(by)
            ));
        }
    }
}

fn write_clef(lines: &mut XmlText, clef: Clef, staves: u8) {
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

/// The transposition that is left when a score is printed: in a concert score the pitches sound
/// already, so only octaves are left.
pub(super) fn printed_transposition(score: &Score, by: Transposition) -> Transposition {
    if !score.concert || by.key_shift() == 0 {
        by
    } else {
        Transposition::NONE
    }
}

/// The key signature on paper.
pub(super) fn printed_key(score: &Score, part: &Part, key: Key, onset: Ticks) -> Key {
    let shift = part.transposition(onset).key_shift();
    if !score.concert || shift == 0 {
        return key;
    }
    Key {
        fifths: part.concert_fifths(onset),
        ..key
    }
}
