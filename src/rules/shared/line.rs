//! What rules about one player's line share: its notes with their ties followed, and the time they
//! take in seconds.

use super::wording;
use crate::finding::Finding;
use crate::ground::instrument::{Instrument, Property};
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use crate::rules::diagnosed::DiagnosedScore;
use crate::rules::rule::Rule;
use crate::score::NoteRef;
use crate::score::{Articulations, NoteFlags, Place, Score, in_force};
use crate::sonority::{Section, SectionPart};

/// A note of a line, ties followed.
#[derive(Clone, Copy)]
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
pub struct Tone {
    /// The note that is attacked.
    pub note: NoteRef,
    pub at: Place,
    pub onset: Ticks,
    /// When it stops, ties followed.
    pub end: Ticks,
    pub sounding: Pitch,
    /// Written for the instrument's own transposition, in semitones.
    pub written: i16,
    /// A slur leads on from it.
    pub slurred_on: bool,
    /// A slur ends on it or on what it is tied to.
    pub ends_slur: bool,
    /// A breath mark, a caesura or a fermata stands on it or on what it is tied to.
    pub breath: bool,
    /// A word of the text ends under it.
    pub ends_word: bool,
}

impl Tone {
    pub fn duration(&self) -> Ticks {
        self.end - self.onset
    }

    pub fn midi(&self) -> i16 {
        self.sounding.midi()
    }
}

/// One part that has one note at a time.
pub struct Line<'a> {
    pub part: u32,
    pub seat: Option<u8>,
    pub instrument: &'static Instrument,
    pub section: &'a Section,
    pub tones: Vec<Tone>,
}

/// Every part that plays one note at a time, by its instrument and in fact.
pub fn lines<'a>(diagnosed: &DiagnosedScore<'a>) -> Vec<Line<'a>> {
    let passages = diagnosed.passages.iter();
    passages
        .flat_map(|passage| {
            let members = passage.section.own_parts();
            members.filter_map(|member| line(diagnosed, &passage.section, member))
        })
        .collect()
}

fn line<'a>(
    diagnosed: &DiagnosedScore<'a>,
    section: &'a Section,
    member: &SectionPart,
) -> Option<Line<'a>> {
    let instrument = member
        .instrument
        // Where not even the range is known, nothing is asked of the player.
        .filter(|i| i.single_line && !i.is(Property::Unpitched) && i.range.is_known())?;
    let part = diagnosed.score.parts.get(member.part as usize)?;
    if part.staves > 1 {
        return None;
    }
    let back = instrument.transposition.inverse().chromatic;
    let notes = diagnosed.notes(member.part);
    let mut tones: Vec<Tone> = Vec::with_capacity(notes.size_hint().0);
    let mut overlaps = 0;
    let mut slurs = 0i32;
    for (index, note) in notes {
        if !note.sounds() || note.duration <= Ticks::ZERO {
            continue;
        }
        let breath = note.articulations.has(Articulations::BREATH)
            || note.articulations.has(Articulations::FERMATA);
        let open = slurs_after(&mut slurs, note.flags);
        if let Some(last) = tones.last_mut() {
            if note.flags.has(NoteFlags::TIED_IN)
                && last.end == note.onset
                && last.midi() == note.sounding.midi()
            {
                last.end = note.end();
                last.breath |= breath;
                last.ends_slur |= note.flags.has(NoteFlags::SLUR_STOP);
                last.ends_word |= note.flags.has(NoteFlags::WORD_END);
                last.slurred_on = open;
                continue;
            }
            if note.onset < last.end {
                overlaps += usize::from(note.sounding.midi() != last.midi());
                continue;
            }
            if note.onset > last.end {
                // No slur reaches over a rest: one that does was never closed.
                last.slurred_on = false;
                slurs = i32::from(note.flags.has(NoteFlags::SLUR_START));
            }
        }
        tones.push(Tone {
            note: NoteRef {
                part: member.part,
                note: index,
            },
            at: note.at,
            onset: note.onset,
            end: note.end(),
            sounding: note.sounding,
            written: note.sounding.midi() + back,
            slurred_on: open && slurs > 0,
            ends_slur: note.flags.has(NoteFlags::SLUR_STOP),
            breath,
            ends_word: note.flags.has(NoteFlags::WORD_END),
        });
    }
    // Two players on one staff are not one line.
    if tones.is_empty() || overlaps * 20 > tones.len() {
        return None;
    }
    Some(Line {
        part: member.part,
        seat: member.seat,
        instrument,
        section,
        tones,
    })
}

fn slurs_after(slurs: &mut i32, flags: NoteFlags) -> bool {
    *slurs -= i32::from(flags.has(NoteFlags::SLUR_STOP));
    *slurs = (*slurs).max(0) + i32::from(flags.has(NoteFlags::SLUR_START));
    *slurs > 0
}

impl Line<'_> {
    /// Whether it is the lead seat of a section of several players.
    pub fn leads(&self) -> bool {
        self.seat == Some(1) && self.section.parts.len() > 1 && !self.is_sung()
    }

    pub fn is_sung(&self) -> bool {
        self.instrument.is(Property::Sung)
    }

    /// The finding of a rule about this line.
    pub fn finding(&self, rule: &Rule, at: Place, message: String) -> Finding {
        rule.finding(at, message)
            .section(&self.section.name)
            .parts([self.part])
    }

    /// Why, and the word of care of the instrument: where a body is at stake, the player and the
    /// teacher decide.
    pub fn with_care(&self, why: &str) -> String {
        let care = self.instrument.caution.as_deref().unwrap_or(
            "Bodies and training differ; let the player, or the player's teacher, say what is safe to ask for.",
        );
        format!("{why} {care}")
    }
}

/// Findings of one rule that say the same of several parts of a section from the same place on are
/// one finding. Their messages begin with the part's name and a colon, and so do their suggestions.
pub fn merged(score: &Score, findings: Vec<Finding>) -> Vec<Finding> {
    let mut out: Vec<Finding> = Vec::new();
    let rest = |f: &Finding| -> Option<String> {
        let first = *f.parts.first()?;
        f.message
            .strip_prefix(wording::part(score, first))
            .map(str::to_owned)
    };
    let mut key: Option<(Option<String>, Place)> = None;
    let mut sorted = findings;
    sorted.sort_by(|a, b| (&a.section, a.at).cmp(&(&b.section, b.at)));
    let mut groups: Vec<(String, Finding)> = Vec::new();
    for finding in sorted {
        let here = rest(&finding).unwrap_or_else(|| finding.message.clone());
        let place = (finding.section.clone(), finding.at);
        if key.as_ref() != Some(&place) {
            out.extend(groups.drain(..).map(|(_, f)| f));
            key = Some(place);
        }
        match groups
            .iter_mut()
            .find(|(r, f)| *r == here && f.level == finding.level)
        {
            Some((_, into)) => {
                into.parts.extend(finding.parts);
                into.notes.extend(finding.notes);
            }
            None => groups.push((here, finding)),
        }
    }
    out.extend(groups.into_iter().map(|(_, f)| f));
    for finding in out.iter_mut().filter(|f| f.parts.len() > 1) {
        let names: Vec<String> = finding
            .parts
            .iter()
            .map(|p| wording::part(score, *p).to_owned())
            .collect();
        let (Some(first), all) = (names.first(), wording::join(&names)) else {
            continue;
        };
        finding.message = renamed(&finding.message, first, &all);
        let suggestion = finding.suggestion.as_deref();
        finding.suggestion = suggestion.map(|s| renamed(s, first, &all));
    }
    out
}

/// A text that begins with one name, beginning with another.
fn renamed(text: &str, name: &str, new: &str) -> String {
    text.strip_prefix(name)
        .map_or_else(|| text.to_owned(), |rest| format!("{new}{rest}"))
}

/// The dynamic in force in a part, as written.
pub fn dynamic(score: &Score, part: u32, onset: Ticks) -> Option<&str> {
    let part = score.parts.get(part as usize)?;
    in_force(&part.dynamics, onset).map(|m| m.value.as_str())
}

/// `p`, `pp`, `ppp` ...
pub fn is_soft(dynamic: &str) -> bool {
    !dynamic.is_empty() && dynamic.chars().all(|c| c == 'p')
}

/// A bar and beat in words.
pub fn place_in_words(score: &Score, at: Place) -> String {
    format!(
        "bar {}, beat {}",
        score.bar_number(at.bar),
        score.beat_at(at)
    )
}

/// The tempos of a score, in quarter notes a minute.
pub struct Tempos {
    marks: Vec<(Ticks, f64)>,
    usual: f64,
    per_quarter: f64,
}

impl Tempos {
    /// The tempo marks of all parts; `usual` holds before the first one.
    pub fn of(score: &Score, usual: f64) -> Self {
        let mut marks: Vec<(Ticks, f64)> = score
            .parts
            .iter()
            .flat_map(|p| &p.tempos)
            .map(|m| (m.onset, m.value))
            .collect();
        marks.sort_by_key(|(onset, _)| *onset);
        marks.dedup_by_key(|(onset, _)| *onset);
        Self {
            marks,
            usual,
            per_quarter: score.per_quarter.0.max(1) as f64,
        }
    }

    /// Whether the score says how fast it goes at this time.
    pub fn is_given(&self, at: Ticks) -> bool {
        self.marks.first().is_some_and(|(onset, _)| *onset <= at)
    }

    /// How long it takes from one time to another.
    pub fn seconds(&self, from: Ticks, to: Ticks) -> f64 {
        let next = self.marks.partition_point(|(onset, _)| *onset <= from);
        let mut tempo = next
            .checked_sub(1)
            .and_then(|i| self.marks.get(i))
            .map_or(self.usual, |(_, t)| *t);
        let mut seconds = 0.0;
        let mut at = from;
        for (onset, new) in self.marks.get(next..).unwrap_or_default() {
            if *onset >= to {
                break;
            }
            seconds += self.span(at, *onset, tempo);
            (at, tempo) = (*onset, *new);
        }
        seconds + self.span(at, to, tempo)
    }

    fn span(&self, from: Ticks, to: Ticks, tempo: f64) -> f64 {
        (to - from).0 as f64 / self.per_quarter * 60.0 / tempo.max(1.0)
    }
}

/// A page of one part, for tests of what a grid cannot show.
#[cfg(test)]
pub mod fixture {
    use crate::ground::pitch::Pitch;
    use crate::proof::proof;
    use crate::reading::musicxml;
    use crate::style::Style;
    use std::fmt::Write as _;
    use std::path::Path;

    /// MusicXML of one part in 4/4; lengths in quarters.
    pub struct Page {
        name: String,
        transpose: (i8, i8, i8),
        bars: String,
        count: usize,
    }

    impl Page {
        pub fn of(name: &str, transpose: (i8, i8, i8)) -> Self {
            Self {
                name: name.to_owned(),
                transpose,
                bars: String::new(),
                count: 0,
            }
        }

        /// `before` stands before the notes; each note is a pitch (`.` rests), its quarters and more
        /// children (`@` in front: notations). Sixteenths are written as -1.
        pub fn bar(&mut self, before: &str, notes: &[(&str, i32, &str)]) {
            self.count += 1;
            let _ = write!(self.bars, "<measure number=\"{}\">", self.count);
            if self.count == 1 {
                let (d, c, o) = self.transpose;
                let _ = write!(
                    self.bars,
                    "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type>\
                     </time><transpose><diatonic>{d}</diatonic><chromatic>{c}</chromatic>\
                     <octave-change>{o}</octave-change></transpose></attributes>"
                );
            }
            self.bars.push_str(before);
            for (pitch, quarters, more) in notes {
                let duration = if *quarters < 0 { 1 } else { quarters * 4 };
                let head = pitch.parse::<Pitch>().map_or_else(
                    |_| "<rest/>".to_owned(),
                    |p| {
                        format!(
                            "<pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch>",
                            p.step, p.alter, p.octave
                        )
                    },
                );
                let more = more.strip_prefix('@').map_or_else(
                    || (*more).to_owned(),
                    |n| format!("<notations>{n}</notations>"),
                );
                // A tie stands after the duration.
                let _ = write!(
                    self.bars,
                    "<note>{head}<duration>{duration}</duration>{more}</note>"
                );
            }
            self.bars.push_str("</measure>");
        }

        /// What one rule says.
        pub fn findings(&self, rule: &str, style: &Style) -> Vec<String> {
            let text = format!(
                "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>{}\
                 </part-name></score-part></part-list><part id=\"P1\">{}</part></score-partwise>",
                self.name, self.bars
            );
            let score = musicxml::read(Path::new("a.musicxml"), None, text.into()).unwrap();
            proof(&score, style)
                .findings
                .into_iter()
                .filter(|f| f.rule == rule)
                .map(|f| format!("{}: {}", f.level.word(), f.message))
                .collect()
        }
    }

    /// The style `chart` with one setting.
    pub fn style(rule: &str, setting: &str, value: f64) -> Style {
        let mut style = Style::default();
        style
            .settings
            .entry(rule.to_owned())
            .or_default()
            .insert(setting.to_owned(), value);
        style
    }

    pub const SLUR: &str = "@<slur type=\"start\"/>";
    pub const SLUR_END: &str = "@<slur type=\"stop\"/>";

    pub fn dynamic(mark: &str) -> String {
        format!(
            "<direction><direction-type><dynamics><{mark}/></dynamics></direction-type></direction>"
        )
    }

    pub fn tempo(quarters: u16) -> String {
        format!(
            "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>\
             {quarters}</per-minute></metronome></direction-type></direction>"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_follow_the_tempo_marks() {
        let tempos = Tempos {
            marks: vec![(Ticks(48), 60.0)],
            usual: 120.0,
            per_quarter: 12.0,
        };
        // Four quarters at 120, then two at 60.
        assert!((tempos.seconds(Ticks(0), Ticks(72)) - 4.0).abs() < 1e-9);
        assert!((tempos.seconds(Ticks(48), Ticks(72)) - 2.0).abs() < 1e-9);
        assert!(!tempos.is_given(Ticks(0)) && tempos.is_given(Ticks(48)));
    }

    #[test]
    fn soft_dynamics() {
        assert!(is_soft("p") && is_soft("ppp"));
        assert!(!is_soft("mp") && !is_soft("fp") && !is_soft(""));
    }
}
