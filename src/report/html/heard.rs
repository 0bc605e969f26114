//! What a finding's bars sound like: the notes the script of the page plays, as they stand and as corrected.
//!
//! Times and lengths are quarter notes from the passage's start, pitches are sounding ones. Eighths that swing
//! stand where they are played, so that the script has nothing to work out.

use super::text;
use crate::ground::chord::Chord;
use crate::ground::pitch::NoteName;
use crate::ground::time::Ticks;
use crate::ground::words::known_words;
use crate::score::{NoteRef, Score};
use serde::{Serialize, Serializer};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::ops::Range;

/// Quarter notes a minute where the score does not say.
const USUAL_TEMPO: f64 = 90.0;

/// Beyond this a bar is no bar that anybody counts.
const MOST_CLICKS: usize = 10_000;

/// The lowest note of a chord that is played along, and the lowest of its notes over the bass (MIDI).
const CHORD_BASS: i16 = 36;
const CHORD_REST: i16 = 55;

/// A time in quarter notes, to the thousandth: nobody hears less.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
struct Quarters(f64);

impl Serialize for Quarters {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let thousandths = (self.0 * 1000.0).round();
        if thousandths % 1000.0 == 0.0 {
            to.serialize_i64((thousandths / 1000.0) as i64)
        } else {
            to.serialize_f64(thousandths / 1000.0)
        }
    }
}

/// Onset, length, MIDI number of what sounds.
type PlayedNote = (Quarters, Quarters, i16);

/// A few bars of a section, to be played.
#[derive(Debug, Serialize)]
struct Passage {
    /// Quarter notes a minute.
    tempo: Quarters,
    /// The score says that tempo.
    given: bool,
    /// Eighths swing.
    swing: bool,
    length: Quarters,
    names: Vec<String>,
    /// As they stand, part by part.
    stands: Vec<Vec<PlayedNote>>,
    /// As corrected: the parts that sound otherwise, the others empty. Empty where none does.
    corrected: Vec<Option<Vec<PlayedNote>>>,
    /// Beats of the metronome, and which begin a bar.
    clicks: Vec<(Quarters, u8)>,
    /// Onset and length of the chord symbols, with what they sound.
    chords: Vec<(Quarters, Quarters, Vec<i16>)>,
}

/// Words of the buttons.
pub(super) struct Wording<'a> {
    /// What is heard.
    pub what: &'a str,
    /// The first button.
    pub play: &'static str,
}

/// The script that puts the buttons in and plays.
pub(super) const SCRIPT: &str = include_str!("heard.js");

/// Writes what the bars sound like, for the script to put its buttons in. Without scripts nothing is there.
pub(super) fn render(
    score: &Score,
    corrected: Option<&Score>,
    parts: &[u32],
    bars: Range<u32>,
    words: &Wording<'_>,
    page: &mut String,
) {
    let Some(passage) = passage(score, corrected, parts, bars) else {
        return;
    };
    if let Ok(json) = serde_json::to_string(&passage) {
        let _ = write!(
            page,
            "<div class=\"heard\" role=\"group\" aria-label=\"Hear {}\" data-play=\"{}\" data-heard=\"{}\" hidden></div>",
            text(words.what),
            words.play,
            text(&json)
        );
    }
}

/// None where nothing sounds.
fn passage(
    score: &Score,
    corrected: Option<&Score>,
    parts: &[u32],
    bars: Range<u32>,
) -> Option<Passage> {
    let clock = Clock::new(score, parts, &bars)?;
    let stands: Vec<_> = parts.iter().map(|p| played(score, *p, &clock)).collect();
    if stands.iter().all(Vec::is_empty) {
        return None;
    }
    let mut otherwise: Vec<_> = corrected.map_or_else(Vec::new, |score| {
        let pairs = parts.iter().zip(&stands);
        pairs
            .map(|(p, stands)| Some(played(score, *p, &clock)).filter(|c| c != stands))
            .collect()
    });
    if otherwise.iter().all(Option::is_none) {
        otherwise.clear();
    }
    let names = parts.iter().filter_map(|p| score.parts.get(*p as usize));
    Some(Passage {
        tempo: Quarters(tempo(score, clock.from).unwrap_or(USUAL_TEMPO)),
        given: tempo(score, clock.from).is_some(),
        swing: clock.swing,
        length: clock.quarters(clock.to - clock.from),
        names: names.map(|p| p.name.clone()).collect(),
        stands,
        corrected: otherwise,
        clicks: clicks(score, &clock, bars),
        chords: chords(score, &clock),
    })
}

/// The metronome mark in force; where a mark comes just after the passage has begun, it is not.
fn tempo(score: &Score, at: Ticks) -> Option<f64> {
    let marks = score.parts.iter().flat_map(|p| &p.tempos);
    marks
        .filter(|m| m.onset <= at)
        .max_by_key(|m| m.onset)
        .map(|m| m.value.clamp(20.0, 400.0))
}

/// Whether the last words of feel so far let eighths swing.
fn swings(score: &Score, at: Ticks) -> bool {
    let said = score.parts.iter().flat_map(|p| p.words.iter());
    said.filter(|m| m.onset <= at)
        .filter_map(|m| Some((m.onset, known_words().tempo.swings(&m.value.text)?)))
        .max_by_key(|(onset, _)| *onset)
        .is_some_and(|(_, swings)| swings)
}

/// When what is written is played.
struct Clock<'a> {
    score: &'a Score,
    from: Ticks,
    to: Ticks,
    swing: bool,
    /// Beginnings of quarters that are divided otherwise than by halves and thirds: they do not swing.
    even: BTreeSet<Ticks>,
}

impl<'a> Clock<'a> {
    fn new(score: &'a Score, parts: &[u32], bars: &Range<u32>) -> Option<Self> {
        let first = score.bars.get(bars.start as usize)?;
        let last = score.bars.get(bars.end.checked_sub(1)? as usize)?;
        let (from, to) = (first.start, last.start + last.length);
        let mut clock = Self {
            score,
            from,
            to,
            swing: swings(score, from),
            even: BTreeSet::new(),
        };
        if clock.swing {
            let per = score.per_quarter.0.max(1);
            let parts = parts.iter().filter_map(|p| score.parts.get(*p as usize));
            let onsets = parts.flat_map(|p| p.notes.iter()).map(|n| n.onset);
            clock.even = onsets
                .filter(|onset| (from..to).contains(onset))
                .map(|onset| clock.quarter(onset))
                .filter(|(_, into)| into.0 * 2 % per != 0 && into.0 * 3 % per != 0)
                .map(|(quarter, _)| quarter)
                .collect();
        }
        Some(clock)
    }

    /// The quarter of its bar a time is in, and how far.
    fn quarter(&self, at: Ticks) -> (Ticks, Ticks) {
        let bar = self.score.place_of(at).bar as usize;
        let bar = self.score.bars.get(bar);
        let counted = bar.map_or(Ticks::ZERO, |b| b.start - b.missing);
        let into = (at - counted).0.rem_euclid(self.score.per_quarter.0.max(1));
        (at - Ticks(into), Ticks(into))
    }

    fn quarters(&self, length: Ticks) -> Quarters {
        Quarters(length.0 as f64 / self.score.per_quarter.0.max(1) as f64)
    }

    /// When a written time comes, from the passage's start: of two eighths that swing, the second after two
    /// thirds of the beat.
    fn played(&self, at: Ticks) -> Quarters {
        let plain = self.quarters(at - self.from);
        if !self.swing || self.score.meter_at(at).unit > 4 {
            return plain;
        }
        let (quarter, into) = self.quarter(at);
        if into.0 * 2 == self.score.per_quarter.0 && !self.even.contains(&quarter) {
            Quarters(plain.0 + 1.0 / 6.0)
        } else {
            plain
        }
    }

    /// Onset and length of what is written from one time to another, as far as the passage goes.
    fn span(&self, from: Ticks, to: Ticks) -> (Quarters, Quarters) {
        let onset = self.played(from.max(self.from));
        let end = self.played(to.min(self.to));
        (onset, Quarters(end.0 - onset.0))
    }
}

/// What a part plays: tied notes are one, what is held into the passage sounds from its start.
fn played(score: &Score, index: u32, clock: &Clock<'_>) -> Vec<PlayedNote> {
    let Some(part) = score.parts.get(index as usize) else {
        return Vec::new();
    };
    let mut held = BTreeSet::new();
    let mut played = Vec::new();
    let first = part.notes.partition_point(|n| n.onset < clock.from);
    let notes = part.notes.iter().enumerate().skip(first);
    for (i, note) in notes.take_while(|(_, n)| n.onset < clock.to) {
        if !note.sounds() || note.duration <= Ticks::ZERO || held.contains(&i) {
            continue;
        }
        let chain = score.tied_chain(NoteRef {
            part: index,
            note: i as u32,
        });
        held.extend(chain.iter().map(|n| n.note as usize));
        let last = chain.last().and_then(|n| part.notes.get(n.note as usize));
        let (onset, length) = clock.span(note.onset, last.unwrap_or(note).end());
        played.push((onset, length, note.sounding.midi()));
    }
    played
}

/// The beats that players feel, counted from each bar line.
fn clicks(score: &Score, clock: &Clock<'_>, bars: Range<u32>) -> Vec<(Quarters, u8)> {
    let mut clicks = Vec::new();
    for bar in bars.filter_map(|b| score.bars.get(b as usize)) {
        let beat = score.felt_beat_at(bar.start).0.max(1);
        let mut at = Ticks((-bar.missing.0).rem_euclid(beat));
        while at < bar.length && clicks.len() < MOST_CLICKS {
            let begins = u8::from(at + bar.missing == Ticks::ZERO);
            clicks.push((clock.quarters(bar.start + at - clock.from), begins));
            at += Ticks(beat);
        }
    }
    clicks
}

fn chords(score: &Score, clock: &Clock<'_>) -> Vec<(Quarters, Quarters, Vec<i16>)> {
    let first = score.chords.partition_point(|m| m.onset <= clock.from);
    let marks = score.chords.iter().skip(first.saturating_sub(1));
    let nexts = score.chords.iter().skip(first.saturating_sub(1) + 1);
    let ends = nexts.map(|m| m.onset).chain([clock.to]);
    marks
        .zip(ends)
        .take_while(|(m, _)| m.onset < clock.to)
        .filter_map(|(m, end)| {
            let (onset, length) = clock.span(m.onset, end);
            let sounds = chord_notes(m.value.chord.as_ref()?);
            (length.0 > 0.0).then_some((onset, length, sounds))
        })
        .collect()
}

/// The bass, and the chord's other notes close together over it.
fn chord_notes(chord: &Chord) -> Vec<i16> {
    let from = |lowest: i16, class: i16| lowest + (class - lowest).rem_euclid(12);
    let class = |name: NoteName| name.class().get();
    let bass = class(chord.bass.unwrap_or(chord.root));
    let mut notes: Vec<i16> = chord
        .names()
        .map(class)
        .filter(|c| *c != bass)
        .map(|c| from(CHORD_REST, c))
        .collect();
    notes.push(from(CHORD_BASS, bass));
    notes.sort_unstable();
    notes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::text::Span;
    use crate::report::sample;
    use crate::score::{Change, Mark, NoteFlags, Place, Words};
    use serde_json::{Value, json};

    fn data(score: &Score, corrected: Option<&Score>, bars: Range<u32>) -> Value {
        let passage = passage(score, corrected, &[0, 1, 2, 3], bars).unwrap();
        serde_json::to_value(passage).unwrap()
    }

    fn words(score: &mut Score, text: &str) {
        let words = Words {
            text: text.to_owned(),
            staff: 1,
            below: false,
        };
        let mark = Mark::new(Place::default(), words, Span::default());
        score.parts[0].words.push(mark);
        score.lay_out();
    }

    #[test]
    fn transposing_parts_sound_at_concert_pitch_as_they_stand_and_as_corrected() {
        let score = sample::score();
        let mut corrected = score.clone();
        corrected.change(&[Change {
            note: NoteRef { part: 3, note: 3 },
            sounding: sample::pitch("F3"),
        }]);
        let data = data(&score, Some(&corrected), 1..2);
        assert_eq!(data["names"][3], "Tenor 2");
        let lead = json!([[0, 1, 69], [1, 0.5, 72], [1.5, 0.5, 69]]);
        assert_eq!(data["stands"][0], lead, "A4 C5 A4 of an alto saxophone");
        let tenor = json!([[0, 1, 60], [1, 0.5, 60], [1.5, 0.5, 60]]);
        assert_eq!(data["stands"][3], tenor);
        let tenor = json!([[0, 1, 60], [1, 0.5, 60], [1.5, 0.5, 53]]);
        assert_eq!(data["corrected"], json!([null, null, null, tenor]));
        assert_eq!(
            (&data["tempo"], &data["given"]),
            (&json!(90), &json!(false))
        );
        assert_eq!(data["length"], 4);
        assert_eq!(data["clicks"], json!([[0, 1], [1, 0], [2, 0], [3, 0]]));
        // The chord of the bar before holds, then the other comes in on 3.
        assert_eq!(data["chords"], json!([[0, 2, [41]], [2, 2, [36]]]));
    }

    #[test]
    fn swing_delays_the_second_eighth_of_a_beat_and_straight_takes_it_back() {
        let mut score = sample::score();
        words(&mut score, "Medium Swing");
        let data = data(&score, None, 0..2);
        assert_eq!(data["swing"], true);
        let lead = json!([[0, 4, 69], [4, 1, 69], [5, 0.667, 72], [5.667, 0.333, 69]]);
        assert_eq!(data["stands"][0], lead);
        assert_eq!(data["corrected"], json!([]));
        words(&mut score, "Straight eighths, no swing");
        let data = super::tests::data(&score, None, 1..2);
        assert_eq!(data["stands"][0][2], json!([1.5, 0.5, 69]));
    }

    #[test]
    fn a_tie_is_one_note_and_ends_with_the_passage() {
        let mut score = sample::score();
        score.parts[0].notes[0].flags = NoteFlags::TIED_OUT;
        score.parts[0].notes[1].flags = NoteFlags::TIED_IN;
        score.parts[0].tempos = vec![Mark::new(Place::default(), 132.0, Span::default())];
        let both = data(&score, None, 0..2);
        assert_eq!(both["stands"][0][0], json!([0, 5, 69]));
        assert_eq!(both["tempo"], 132);
        assert_eq!(data(&score, None, 0..1)["stands"][0], json!([[0, 4, 69]]));
        assert_eq!(data(&score, None, 1..2)["stands"][0][0], json!([0, 1, 69]));
    }

    #[test]
    fn a_chord_has_its_bass_below_and_the_rest_close_over_it() {
        let chord = |text| chord_notes(&crate::ground::chord::parse(text).unwrap().unwrap());
        assert_eq!(chord("C7"), [36, 55, 58, 64]);
        assert_eq!(chord("F/A"), [45, 60, 65]);
    }
}
