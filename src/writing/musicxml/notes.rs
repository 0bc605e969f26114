//! Notes and rests.

use super::part::PartWriter;
use super::text::XmlText;
use crate::ground::pitch::accidental_name;
use crate::notation::{Beam, EventKind, Notehead, PrintedEvent, Stem};
use crate::score::{Articulations, Note, NoteFlags};
use std::fmt::Write as _;

/// The note whose element is being written.
#[derive(Clone, Copy)]
struct WrittenNote<'a> {
    head: &'a Notehead,
    note: &'a Note,
    /// The first of its chord, which has the beams and the tuplet.
    first: bool,
}

impl PartWriter<'_> {
    /// Writes a note, chord or rest.
    pub(super) fn event(&self, out: &mut XmlText, voice: u8, event: &PrintedEvent) {
        if event.heads.is_empty() {
            let measure = if event.kind == EventKind::BarRest {
                " measure=\"yes\""
            } else {
                ""
            };
            out.open("note");
            out.line(&format!("<rest{measure}/>"));
            self.after_pitch(out, voice, event, None);
            out.close("note");
            return;
        }
        for (n, head) in event.heads.iter().enumerate() {
            let Some(note) = self.page.part.notes.get(head.note) else {
                continue;
            };
            out.open("note");
            if note.flags.has(NoteFlags::GRACE) {
                // One alone is struck through, as a short one is.
                let slash = if event.beams.is_empty() { "yes" } else { "no" };
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
            let first = n == 0;
            self.after_pitch(out, voice, event, Some(WrittenNote { head, note, first }));
            out.close("note");
        }
    }

    /// Writes what every note and rest has after its pitch.
    fn after_pitch(
        &self,
        out: &mut XmlText,
        voice: u8,
        event: &PrintedEvent,
        written: Option<WrittenNote<'_>>,
    ) {
        if event.kind != EventKind::Grace {
            out.element("duration", &self.divided(event.length).to_string());
        }
        if event.kind != EventKind::Cue {
            for tie in ties(written) {
                out.line(&format!("<tie type=\"{tie}\"/>"));
            }
        }
        out.element("voice", &voice.to_string());
        if let Some(value) = event.value {
            out.element("type", value.name());
            for _ in 0..value.dots {
                out.line("<dot/>");
            }
        }
        if let Some(alter) = written.and_then(|w| w.head.accidental) {
            out.element("accidental", accidental_name(alter));
        }
        if let Some((actual, normal)) = event.tuplet {
            out.line(&format!(
                "<time-modification><actual-notes>{actual}</actual-notes>\
                 <normal-notes>{normal}</normal-notes></time-modification>"
            ));
        }
        if let Some(stem) = event.stem {
            out.element("stem", if stem == Stem::Up { "up" } else { "down" });
        }
        if let Some(WrittenNote { note, .. }) = written {
            if note.flags.has(NoteFlags::SLASH) {
                out.element("notehead", "slash");
            } else if note.flags.has(NoteFlags::GHOST) {
                out.line("<notehead parentheses=\"yes\">normal</notehead>");
            }
        }
        if self.page.part.staves > 1 {
            let staff = written.map_or(event.staff, |w| w.head.staff);
            out.element("staff", &staff.to_string());
        }
        let first = written.is_none_or(|w| w.first);
        if first {
            for (level, beam) in event.beams.iter().take(8).enumerate() {
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
        let notations = self.notations(event, written, first);
        if !notations.is_empty() {
            out.line(&format!("<notations>{}</notations>", notations.concat()));
        }
    }

    /// Ties, tuplets, slurs and articulations, as elements in order.
    fn notations(
        &self,
        event: &PrintedEvent,
        written: Option<WrittenNote<'_>>,
        first: bool,
    ) -> Vec<String> {
        let mut notations: Vec<String> = ties(written)
            .map(|t| format!("<tied type=\"{t}\"/>"))
            .collect();
        if first && event.tuplet.is_some() {
            if event.tuplet_start {
                let bracket = if event.bracket { "yes" } else { "no" };
                notations.push(format!("<tuplet type=\"start\" bracket=\"{bracket}\"/>"));
            }
            if event.tuplet_stop {
                notations.push("<tuplet type=\"stop\"/>".to_owned());
            }
        }
        if let Some(WrittenNote { head, note, .. }) = written {
            for end in self.slurs.get(&head.note).into_iter().flatten() {
                let number = end.number;
                if end.start && head.first {
                    notations.push(format!("<slur type=\"start\" number=\"{number}\"/>"));
                } else if !end.start && head.last {
                    notations.push(format!("<slur type=\"stop\" number=\"{number}\"/>"));
                }
            }
            marks(note.articulations, head.first, head.last, &mut notations);
        }
        notations
    }
}

/// The types of a note's ties.
fn ties(written: Option<WrittenNote<'_>>) -> impl Iterator<Item = &'static str> {
    let stop = written.is_some_and(|w| w.head.tie_in).then_some("stop");
    let start = written.is_some_and(|w| w.head.tie_out).then_some("start");
    stop.into_iter().chain(start)
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
