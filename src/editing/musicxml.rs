//! Changed notes as edits of MusicXML: the pitch, and the accidentals that the bar then needs.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::accidentals::{self, BarNote};
use super::{EditError, Written};
use crate::ground::pitch::{Pitch, accidental_name};
use crate::ground::text::Edit;
use crate::ground::time::Ticks;
use crate::score::{Note, NoteFlags, NoteRef, Part, Score, Source};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use rustc_hash::FxHashMap;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::{Range, RangeInclusive};

/// The octaves that MusicXML's schema allows (MusicXML 4.0, octave data type).
const OCTAVES: (i8, i8) = (0, 9);

/// Facts of a score's files that the edits of many changes ask for, each worked out once.
#[derive(Default)]
pub(super) struct FileFacts {
    /// By part: whether its file prints accidentals; `None` when it has none and needs none.
    prints: FxHashMap<u32, Option<bool>>,
    /// The same of the first part of a source that says so.
    source_prints: FxHashMap<Option<u16>, Option<bool>>,
    /// Whether a note is not printed.
    hidden: FxHashMap<NoteRef, bool>,
}

impl FileFacts {
    /// Whether a part's file prints accidentals: some programs leave them to the reader of the file.
    /// A part that needs none says nothing; then the other parts of its file do.
    fn prints_accidentals(&mut self, score: &Score, index: u32, source: &Source) -> bool {
        if let Some(own) = self.prints(score, index, source) {
            return own;
        }
        let at = |p: &Part| p.bars.first().map(|b| b.span.source);
        let file = score.parts.get(index as usize).and_then(at);
        if let Some(known) = self.source_prints.get(&file) {
            return known.unwrap_or(true);
        }
        let said = (0u32..)
            .zip(&score.parts)
            .filter(|(_, p)| at(p) == file)
            .find_map(|(i, _)| self.prints(score, i, source));
        self.source_prints.insert(file, said);
        said.unwrap_or(true)
    }

    fn prints(&mut self, score: &Score, index: u32, source: &Source) -> Option<bool> {
        let part = score.parts.get(index as usize)?;
        *self
            .prints
            .entry(index)
            .or_insert_with(|| prints(part, source))
    }
}

/// The edits of one part's notes.
pub(super) fn edits(
    score: &Score,
    index: u32,
    source: &Source,
    new: &Written,
    facts: &mut FileFacts,
    out: &mut Vec<Edit>,
) -> Result<(), EditError> {
    let Some(part) = score.parts.get(index as usize) else {
        return Ok(());
    };
    let changed = ChangedPart {
        index,
        part,
        source,
        new,
    };
    for (index, pitch) in new {
        changed.pitch(*index, *pitch, out)?;
    }
    if facts.prints_accidentals(score, index, source) {
        changed.accidentals(facts, out)?;
    }
    Ok(())
}

/// A part with some of its notes changed.
struct ChangedPart<'a> {
    /// 0-based.
    index: u32,
    part: &'a Part,
    source: &'a Source,
    new: &'a Written,
}

/// The notes tied to a next one, by when they end and their pitch; of several the first.
type TiedOut = FxHashMap<(Ticks, Pitch), u32>;

/// Whether every pitch is the old or the new one.
#[derive(Clone, Copy, PartialEq)]
enum When {
    Before,
    After,
}

impl ChangedPart<'_> {
    fn note(&self, index: u32) -> Option<&Note> {
        self.part.notes.get(index as usize)
    }

    fn written(&self, index: u32, when: When) -> Option<Pitch> {
        match self.new.get(&index) {
            Some(pitch) if when == When::After => Some(*pitch),
            _ => self.note(index).map(|n| n.written),
        }
    }

    fn read(&self, note: &Note) -> Result<NoteText, EditError> {
        NoteText::read(
            &self.source.text,
            note.span.start as usize..note.span.end as usize,
        )
        .ok_or_else(|| {
            EditError::not_found(self.source, note.span.start, "a <note> with a <pitch>")
        })
    }

    /// The pitch of one note.
    fn pitch(&self, index: u32, pitch: Pitch, out: &mut Vec<Edit>) -> Result<(), EditError> {
        let Some(note) = self.note(index) else {
            return Ok(());
        };
        if !(OCTAVES.0..=OCTAVES.1).contains(&pitch.octave) {
            return Err(EditError::OutOfReach {
                pitch,
                format: "MusicXML",
                low: OCTAVES.0,
                high: OCTAVES.1,
            });
        }
        let found = self.read(note)?;
        let mut edits = NoteEdits::new(&self.source.text, note, out);
        edits.fill(&found.step, &format!("{:?}", pitch.step));
        edits.fill(&found.octave, &pitch.octave.to_string());
        let alter = pitch.alter.to_string();
        match &found.alter {
            // `1.0` is 1, but a quarter tone is not the semitone that is meant.
            Some(old) if edits.number(old) == Some(f64::from(pitch.alter)) => {}
            Some(old) if pitch.alter == 0 => edits.take_out(old),
            Some(old) => edits.fill(old, &alter),
            None if pitch.alter == 0 => {}
            None => {
                // Indented as what follows is, or as the step where nothing does.
                let blank = edits.blank_after(found.step.outer.end);
                let blank = blank.or_else(|| edits.blank_before(found.step.outer.start));
                let element = format!("{}<alter>{alter}</alter>", blank.unwrap_or_default());
                edits.put(found.step.outer.end..found.step.outer.end, element);
            }
        }
        Ok(())
    }

    /// The printed accidentals of every line that a change leaves or comes to.
    fn accidentals(&self, facts: &mut FileFacts, out: &mut Vec<Edit>) -> Result<(), EditError> {
        let mut lines: BTreeMap<(u32, u8), BTreeSet<i16>> = BTreeMap::new();
        for (index, pitch) in self.new {
            if let Some(note) = self.note(*index) {
                let lines = lines.entry((note.at.bar, note.staff)).or_default();
                lines.insert(note.written.diatonic());
                lines.insert(pitch.diatonic());
            }
        }
        let mut needs: BTreeMap<u32, Need> = BTreeMap::new();
        for ((bar, staff), lines) in &lines {
            let notes: Vec<u32> = self
                .notes_in(*bar..=*bar)
                .filter(|(_, n)| n.staff == *staff && is_printed(n))
                .map(|(i, _)| i)
                .collect();
            let tied = [When::Before, When::After].map(|when| self.tied_out(*bar, when));
            for line in lines {
                self.line(&notes, *line, &tied, facts, &mut needs)?;
            }
        }
        for (index, need) in needs {
            let Some(note) = self.note(index) else {
                continue;
            };
            let changed = self.new.get(&index);
            if changed.is_none() && need.before == need.after {
                continue;
            }
            let found = self.read(note)?;
            let mut edits = NoteEdits::new(&self.source.text, note, out);
            match (&found.accidental, need.after) {
                (Some(old), true) => {
                    // Another note's accidental that was a courtesy has become needed: it is there.
                    if let Some(pitch) = changed {
                        edits.accidental(old, accidental_name(pitch.alter));
                    }
                }
                (Some(old), false) if changed.is_some() || !old.courtesy => edits.take_out(old),
                (None, true) => {
                    let name = accidental_name(changed.copied().unwrap_or(note.written).alter);
                    let blank = edits.blank_before(found.anchor.start).unwrap_or_default();
                    let element = format!("{blank}<accidental>{name}</accidental>");
                    edits.put(found.anchor.end..found.anchor.end, element);
                }
                (Some(_) | None, false) => {}
            }
        }
        Ok(())
    }

    /// What the notes of one line need, before and after.
    fn line(
        &self,
        notes: &[u32],
        line: i16,
        tied: &[TiedOut; 2],
        facts: &mut FileFacts,
        needs: &mut BTreeMap<u32, Need>,
    ) -> Result<(), EditError> {
        for (when, tied) in [When::Before, When::After].into_iter().zip(tied) {
            let mut indices = Vec::new();
            let mut seen = Vec::new();
            for &index in notes {
                let (Some(note), Some(written)) = (self.note(index), self.written(index, when))
                else {
                    continue;
                };
                if written.diatonic() != line || self.is_hidden(index, note, facts)? {
                    continue;
                }
                indices.push(index);
                seen.push(BarNote {
                    onset: note.onset,
                    written,
                    grace: note.flags.has(NoteFlags::GRACE),
                    held: self.held(index, when, tied),
                    fifths: self.part.key(note.onset).fifths,
                });
            }
            for (index, needed) in indices.into_iter().zip(accidentals::needed(&seen)) {
                let need = needs.entry(index).or_default();
                match when {
                    When::Before => need.before = needed,
                    When::After => need.after = needed,
                }
            }
        }
        Ok(())
    }

    /// Whether a note is not printed.
    fn is_hidden(&self, at: u32, note: &Note, facts: &mut FileFacts) -> Result<bool, EditError> {
        let at = NoteRef {
            part: self.index,
            note: at,
        };
        if let Some(known) = facts.hidden.get(&at) {
            return Ok(*known);
        }
        let hidden = self.read(note)?.hidden;
        facts.hidden.insert(at, hidden);
        Ok(hidden)
    }

    /// The notes of some bars with their indices. Notes are in order of their bars.
    fn notes_in(&self, bars: RangeInclusive<u32>) -> impl Iterator<Item = (u32, &Note)> {
        let first = self
            .part
            .notes
            .partition_point(|n| n.at.bar < *bars.start());
        let rest = self.part.notes.get(first..).unwrap_or_default();
        (first as u32..)
            .zip(rest)
            .take_while(move |(_, n)| n.at.bar <= *bars.end())
    }

    /// The notes that one of this bar may be tied in from: a written note does not reach over a bar line.
    fn tied_out(&self, bar: u32, when: When) -> TiedOut {
        let mut all = TiedOut::default();
        for (index, note) in self.notes_in(bar.saturating_sub(1)..=bar) {
            if note.flags.has(NoteFlags::TIED_OUT)
                && let Some(pitch) = self.written(index, when)
            {
                all.entry((note.end(), pitch)).or_insert(index);
            }
        }
        all
    }

    /// Whether a note is tied in from one of its pitch.
    fn held(&self, index: u32, when: When, tied: &TiedOut) -> bool {
        let (Some(note), Some(pitch)) = (self.note(index), self.written(index, when)) else {
            return false;
        };
        let from = tied.get(&(note.onset, pitch));
        note.flags.has(NoteFlags::TIED_IN) && from.is_some_and(|from| *from < index)
    }
}

/// Whether a note needs an accidental before and after the change.
#[derive(Clone, Copy, Default)]
struct Need {
    before: bool,
    after: bool,
}

/// Slashes stand for rhythm; where they are drawn says nothing.
const fn is_printed(note: &Note) -> bool {
    !note.flags.has(NoteFlags::SLASH)
}

/// `None` when a part has no accidental and needs none.
fn prints(part: &Part, source: &Source) -> Option<bool> {
    let finder = memchr::memmem::Finder::new("<accidental");
    let printed = part.bars.iter().any(|bar| {
        let bar = source
            .text
            .as_bytes()
            .get(bar.span.start as usize..bar.span.end as usize)
            .unwrap_or_default();
        finder
            .find_iter(bar)
            // Not `<accidental-mark>` or `<accidental-text>`.
            .any(|at| bar.get(at + "<accidental".len()) != Some(&b'-'))
    });
    if printed {
        return Some(true);
    }
    let mut lines: HashMap<(u32, u8, i16), Vec<BarNote>> = HashMap::new();
    for note in part.notes.iter().filter(|n| is_printed(n)) {
        let line = (note.at.bar, note.staff, note.written.diatonic());
        lines.entry(line).or_default().push(BarNote {
            onset: note.onset,
            written: note.written,
            grace: note.flags.has(NoteFlags::GRACE),
            held: note.flags.has(NoteFlags::TIED_IN),
            fifths: part.key(note.onset).fifths,
        });
    }
    let missing = lines
        .values()
        .any(|line| accidentals::needed(line).contains(&true));
    missing.then_some(false)
}

/// The edits of one note.
struct NoteEdits<'a> {
    text: &'a str,
    source: u16,
    out: &'a mut Vec<Edit>,
}

impl<'a> NoteEdits<'a> {
    const fn new(text: &'a str, note: &Note, out: &'a mut Vec<Edit>) -> Self {
        Self {
            text,
            source: note.span.source,
            out,
        }
    }

    fn get(&self, at: Range<usize>) -> &'a str {
        self.text.get(at).unwrap_or_default()
    }

    fn put(&mut self, at: Range<usize>, replacement: String) {
        if self.get(at.clone()) != replacement {
            self.out.push(Edit {
                source: self.source,
                start: at.start as u32,
                end: at.end as u32,
                replacement,
            });
        }
    }

    /// Rewrites an element's text; the blanks around it stay.
    fn fill(&mut self, element: &Element, new: &str) {
        let inner = self.get(element.inner.clone());
        if inner.contains(['<', '&']) {
            // A comment or a reference among the letters: the whole text goes.
            self.put(element.inner.clone(), new.to_owned());
            return;
        }
        let start = element.inner.start + inner.len() - inner.trim_start().len();
        self.put(start..start + inner.trim().len(), new.to_owned());
    }

    fn number(&self, element: &Element) -> Option<f64> {
        self.get(element.inner.clone()).trim().parse().ok()
    }

    fn accidental(&mut self, element: &Element, name: &str) {
        // Brackets that made sense of the old note make none of the new one.
        if element.courtesy || element.inner == element.outer {
            self.put(
                element.outer.clone(),
                format!("<accidental>{name}</accidental>"),
            );
        } else {
            self.fill(element, name);
        }
    }

    /// Takes an element out with the blanks before it.
    fn take_out(&mut self, element: &Element) {
        let blank = self.blank_before(element.outer.start).map_or(0, str::len);
        self.put(
            element.outer.start - blank..element.outer.end,
            String::new(),
        );
    }

    /// The blanks that end at a place.
    fn blank_before(&self, at: usize) -> Option<&'a str> {
        let before = self.get(0..at);
        before.get(before.trim_end().len()..)
    }

    /// The blanks from a place to the next tag, when there is nothing else between.
    fn blank_after(&self, at: usize) -> Option<&'a str> {
        let after = self.get(at..self.text.len());
        let blank = after.get(..after.len() - after.trim_start().len())?;
        let rest = after.get(blank.len()..)?;
        (rest.starts_with('<') && !rest.starts_with("</")).then_some(blank)
    }
}

/// Where an element stands.
#[derive(Clone, Debug)]
struct Element {
    /// With its tags.
    outer: Range<usize>,
    /// Between its tags; the same as `outer` for an empty-element tag.
    inner: Range<usize>,
    /// An accidental in brackets or otherwise marked as no more than a reminder.
    courtesy: bool,
}

/// Where the pieces of a `<note>` stand.
#[derive(Debug)]
struct NoteText {
    step: Element,
    alter: Option<Element>,
    octave: Element,
    accidental: Option<Element>,
    /// What an accidental comes after (MusicXML 4.0, note: after voice, type and dots, before
    /// time-modification, stem and notehead).
    anchor: Range<usize>,
    /// Not printed.
    hidden: bool,
}

impl NoteText {
    /// Reads the note that fills `span`; `None` when there is no note with a pitch.
    fn read(text: &str, span: Range<usize>) -> Option<Self> {
        let base = span.start;
        let mut reader = Reader::from_str(text.get(span)?);
        let mut open: Vec<(String, Element)> = Vec::with_capacity(4);
        let (mut step, mut alter, mut octave, mut accidental) = (None, None, None, None);
        let (mut anchor, mut hidden) = (None, false);
        loop {
            let start = base + usize::try_from(reader.buffer_position()).ok()?;
            let event = reader.read_event().ok()?;
            let end = base + usize::try_from(reader.buffer_position()).ok()?;
            let (name, element) = match event {
                Event::Start(tag) => {
                    hidden |= open.is_empty() && has_attribute(&tag, "print-object", "no");
                    open.push((
                        tag.name().0.to_owned(),
                        Element {
                            outer: start..end,
                            inner: end..end,
                            courtesy: is_courtesy(&tag),
                        },
                    ));
                    continue;
                }
                Event::Empty(tag) => (
                    tag.name().0.to_owned(),
                    Element {
                        outer: start..end,
                        inner: start..end,
                        courtesy: is_courtesy(&tag),
                    },
                ),
                Event::End(_) => {
                    let (name, mut element) = open.pop()?;
                    element.outer.end = end;
                    element.inner.end = start;
                    (name, element)
                }
                Event::Eof => break,
                _ => continue,
            };
            match (open.len(), name.as_str()) {
                (1, "accidental") => accidental = Some(element),
                (
                    1,
                    "grace" | "cue" | "chord" | "pitch" | "duration" | "tie" | "instrument"
                    | "footnote" | "level" | "voice" | "type" | "dot",
                ) => anchor = Some(element.outer),
                (2, "step") => step = Some(element),
                (2, "alter") => alter = Some(element),
                (2, "octave") => octave = Some(element),
                _ => {}
            }
        }
        Some(Self {
            step: step?,
            alter,
            octave: octave?,
            accidental,
            anchor: anchor?,
            hidden,
        })
    }
}

fn has_attribute(tag: &BytesStart<'_>, attribute: &str, value: &str) -> bool {
    tag.attributes()
        .with_checks(false)
        .flatten()
        .any(|a| a.key.0 == attribute && a.value.trim() == value)
}

fn is_courtesy(tag: &BytesStart<'_>) -> bool {
    ["cautionary", "editorial", "parentheses", "bracket"]
        .iter()
        .any(|attribute| has_attribute(tag, attribute, "yes"))
}

#[cfg(test)]
mod tests;
