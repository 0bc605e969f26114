//! What stands over and under the staves: rehearsal marks, tempos, words, dynamics, chord symbols.

use super::part::PartWriter;
use super::text::{XmlText, escape};
use crate::ground::chord::DegreeEdit;
use crate::ground::pitch::NoteName;
use crate::ground::time::Ticks;
use crate::notation::{Quarters, ZERO, quarters};
use crate::score::{ChordMark, Mark, Part, Score, Words, in_force};
use crate::writing::harmony;
use std::fmt::Write as _;

/// The dynamics that have an element of their own in MusicXML 4.0.
const DYNAMICS: [&str; 26] = [
    "p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp",
    "mf", "sf", "sfp", "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp",
];

/// Something printed over or under a staff at a time of a bar.
pub(super) struct Direction {
    pub at: Quarters,
    onset: Ticks,
    kind: DirectionKind,
}

/// What a direction says.
enum DirectionKind {
    Rehearsal(String),
    Tempo(f64),
    Words(Words),
    Dynamics(String),
    Chord(ChordMark),
}

/// All that is printed over and under the staves of a part, by bar, in order of time.
pub(super) fn directions(score: &Score, part: &Part) -> Vec<Vec<Direction>> {
    let mut bars: Vec<Vec<Direction>> = score.bars.iter().map(|_| Vec::new()).collect();
    let per_quarter = score.per_quarter;
    for (index, own) in part.bars.iter().enumerate() {
        if let (Some(mark), Some(bar)) = (&own.rehearsal, bars.get_mut(index)) {
            bar.push(Direction {
                at: ZERO,
                onset: score.bars.get(index).map_or(Ticks::ZERO, |b| b.start),
                kind: DirectionKind::Rehearsal(mark.clone()),
            });
        }
    }
    add(&mut bars, &part.tempos, per_quarter, |t| {
        DirectionKind::Tempo(*t)
    });
    add(&mut bars, &part.words, per_quarter, |w| {
        DirectionKind::Words(w.clone())
    });
    add(&mut bars, &part.dynamics, per_quarter, |d| {
        DirectionKind::Dynamics(d.clone())
    });
    add(&mut bars, &part.chords, per_quarter, |c| {
        DirectionKind::Chord(c.clone())
    });
    for bar in &mut bars {
        bar.sort_by_key(|i| i.at);
    }
    bars
}

/// Puts the marks of one kind where they stand.
fn add<T>(
    bars: &mut [Vec<Direction>],
    marks: &[Mark<T>],
    per_quarter: Ticks,
    kind: impl Fn(&T) -> DirectionKind,
) {
    for mark in marks {
        if let Some(bar) = bars.get_mut(mark.at.bar as usize) {
            bar.push(Direction {
                at: quarters(mark.at.offset, per_quarter),
                onset: mark.onset,
                kind: kind(&mark.value),
            });
        }
    }
}

impl PartWriter<'_> {
    pub(super) fn direction(&self, out: &mut XmlText, direction: &Direction, cursor: Quarters) {
        let by = self.divided(direction.at - cursor);
        let offset = if by == 0 {
            String::new()
        } else {
            format!("<offset>{by}</offset>")
        };
        let line = |out: &mut XmlText, place: &str, kind: &str, tail: &str| {
            out.line(&format!(
                "<direction placement=\"{place}\"><direction-type>{kind}</direction-type>\
                 {offset}{tail}</direction>"
            ));
        };
        match &direction.kind {
            DirectionKind::Rehearsal(text) => line(
                out,
                "above",
                &format!("<rehearsal>{}</rehearsal>", escape(text)),
                "",
            ),
            DirectionKind::Words(words) => {
                let staff = if self.page.part.staves > 1 {
                    format!("<staff>{}</staff>", words.staff)
                } else {
                    String::new()
                };
                line(
                    out,
                    if words.below { "below" } else { "above" },
                    &format!("<words>{}</words>", escape(&words.text)),
                    &staff,
                );
            }
            DirectionKind::Dynamics(mark) => {
                let mark = if DYNAMICS.contains(&mark.as_str()) {
                    format!("<{mark}/>")
                } else {
                    format!("<other-dynamics>{}</other-dynamics>", escape(mark))
                };
                line(out, "below", &format!("<dynamics>{mark}</dynamics>"), "");
            }
            DirectionKind::Tempo(tempo) => self.tempo(out, *tempo, direction.onset, &offset),
            DirectionKind::Chord(mark) => self.chord(out, mark, direction.onset, &offset),
        }
    }

    /// A round tempo is printed; any other is one for playback.
    fn tempo(&self, out: &mut XmlText, tempo: f64, onset: Ticks, offset: &str) {
        let sound = format!("<sound tempo=\"{tempo}\"");
        if (tempo * 2.0).fract() != 0.0 {
            out.line(&if offset.is_empty() {
                format!("{sound}/>")
            } else {
                format!("{sound}>{offset}</sound>")
            });
            return;
        }
        let compound = in_force(self.page.meters, onset)
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

    fn chord(&self, out: &mut XmlText, mark: &ChordMark, onset: Ticks, offset: &str) {
        let Some(chord) = &mark.chord else {
            if mark.unread.is_some() {
                // What is not a chord symbol stays readable to the eye.
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
        let by = self.page.part.transposition(onset);
        let written = if self.page.score.concert {
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
}

fn note_name(out: &mut String, which: &str, name: NoteName) {
    let _ = write!(out, "<{which}><{which}-step>{:?}</{which}-step>", name.step);
    if name.alter != 0 {
        let _ = write!(out, "<{which}-alter>{}</{which}-alter>", name.alter);
    }
    let _ = write!(out, "</{which}>");
}
