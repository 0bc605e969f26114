//! From a line of voicings to a score: parts at written pitch, in the lead's rhythm.

use super::{Job, Seat, Weighed, seats};
use crate::pitch::{Transposition, written_fifths};
use crate::score::{
    ChordMark, Key, Mark, Note, NoteFlags, Part, PartBar, Place, Rest, Score, Span, Stated, Words,
};
use crate::voicing::Voicing;

/// The notes of a voicing that the left hand takes when both hands keep within `span` semitones:
/// as few as can be. `None` when no share of the chord fits the hands.
pub(super) fn left_hand(voicing: &[i16], span: i16) -> Option<usize> {
    let reach = |hand: &[i16]| match (hand.first(), hand.last()) {
        (Some(a), Some(b)) => a - b,
        _ => 0,
    };
    (0..=voicing.len()).find(|&n| {
        let (right, left) = voicing.split_at(voicing.len() - n);
        // Five notes are more than a hand strikes at its ease.
        right.len() <= 4 && reach(right) <= span && reach(left) <= span
    })
}

pub(super) fn answer(job: &Job<'_>, line: &[Weighed]) -> Score {
    let lead = job.lead;
    let mut score = Score {
        title: lead.title.clone(),
        per_quarter: lead.per_quarter,
        instruments: lead.instruments,
        parts: Vec::new(),
        ..Score::default()
    };
    if let Some(own) = lead.parts.first() {
        for (index, seat) in job.seats.iter().enumerate() {
            let mut part = blank(own, seat, index == 0);
            fill(job, line, own, index, &mut part);
            score.parts.push(part);
        }
    }
    let section = job
        .seats
        .first()
        .map(|s| s.instrument.section.clone())
        .unwrap_or_default();
    let technique = job.technique.name().to_owned();
    score.stated.push(mark(
        Place::default(),
        Stated {
            section: Some(section),
            technique: Some(technique.clone()),
        },
    ));
    if let Some(first) = score.parts.first_mut() {
        first.words.insert(
            0,
            mark(
                Place::default(),
                Words {
                    text: technique,
                    staff: 1,
                },
            ),
        );
    }
    score.lay_out();
    score
}

fn mark<T>(at: Place, value: T) -> Mark<T> {
    Mark::new(at, value, Span::default())
}

/// A part with the lead's bars, meters and keys and no notes.
fn blank(own: &Part, seat: &Seat, first: bool) -> Part {
    let by = seat.instrument.transposition;
    let keys = own
        .keys
        .iter()
        .map(|m| {
            let concert = own.concert_fifths(m.onset);
            mark(
                m.at,
                Key {
                    fifths: written_fifths(concert, by),
                    minor: m.value.minor,
                },
            )
        })
        .collect();
    Part {
        name: seat.name.clone(),
        sound: seat.instrument.sound.clone(),
        instrument: Some(seat.instrument.key.clone()),
        instrument_name: Some(seat.instrument.name.clone()),
        staves: if seat.instrument.hand_span.is_some() {
            2
        } else {
            1
        },
        bars: own
            .bars
            .iter()
            .map(|b| PartBar {
                span: Span::default(),
                multi_rest: None,
                slashes: false,
                ..b.clone()
            })
            .collect(),
        keys,
        meters: own.meters.iter().map(|m| mark(m.at, m.value)).collect(),
        transpositions: vec![mark(Place::default(), by)],
        dynamics: own
            .dynamics
            .iter()
            .map(|m| mark(m.at, m.value.clone()))
            .collect(),
        tempos: if first {
            own.tempos.iter().map(|m| mark(m.at, m.value)).collect()
        } else {
            Vec::new()
        },
        chords: if first {
            own.chords.iter().map(|m| chord(m, by)).collect()
        } else {
            Vec::new()
        },
        states_transposition: true,
        ..Part::default()
    }
}

/// A chord symbol as the player of a part reads it.
fn chord(m: &Mark<ChordMark>, by: Transposition) -> Mark<ChordMark> {
    let written = m.value.chord.as_ref().map_or_else(
        || m.value.written.clone(),
        |c| c.transposed(by.inverse()).text,
    );
    mark(
        m.at,
        ChordMark {
            written,
            ..m.value.clone()
        },
    )
}

fn fill(job: &Job<'_>, line: &[Weighed], own: &Part, index: usize, part: &mut Part) {
    let of = job.sonority_of();
    for (i, note) in own.notes.iter().enumerate() {
        let Some(&at) = of.get(&seats::note(0, i)) else {
            continue;
        };
        let Some(option) = line.get(at) else { continue };
        let chordal = job.seats.len() == 1;
        if chordal {
            both_hands(job, at, option, note, part);
        } else if let Some(&midi) = option.voicing.get(index) {
            part.notes.push(written(job, at, option, note, midi, part));
        }
    }
    for rest in &own.rests {
        let new = Rest {
            staff: 1,
            voice: 1,
            span: Span::default(),
            ..*rest
        };
        part.rests.push(new);
        if part.staves > 1 {
            part.rests.push(Rest {
                staff: 2,
                voice: 2,
                ..new
            });
        }
    }
}

fn written(
    job: &Job<'_>,
    at: usize,
    option: &Weighed,
    note: &Note,
    midi: i16,
    part: &Part,
) -> Note {
    let by = part
        .transpositions
        .first()
        .map_or(Transposition::NONE, |m| m.value);
    let sounding = job.spell(at, option, midi);
    let fifths = crate::score::in_force(&part.keys, note.onset).map_or(0, |m| m.value.fifths);
    let page = sounding.transposed(by.inverse()).readable(fifths);
    Note {
        written: page,
        sounding: page.transposed(by),
        staff: 1,
        voice: 1,
        flags: NoteFlags(
            note.flags.0
                & (NoteFlags::TIED_IN.0
                    | NoteFlags::TIED_OUT.0
                    | NoteFlags::SLUR_START.0
                    | NoteFlags::SLUR_STOP.0),
        ),
        span: Span::default(),
        ..*note
    }
}

/// A keyboard: the left hand takes as few notes as the hands' reach lets it.
fn both_hands(job: &Job<'_>, at: usize, option: &Weighed, note: &Note, part: &mut Part) {
    let voicing: &Voicing = &option.voicing;
    let span = job
        .seats
        .first()
        .and_then(|s| s.instrument.hand_span)
        .map_or(i16::MAX, |s| s.comfortable);
    let left = if part.staves > 1 {
        left_hand(voicing, span).unwrap_or(0)
    } else {
        0
    };
    let right = voicing.len() - left;
    for (i, &midi) in voicing.iter().enumerate() {
        let mut new = written(job, at, option, note, midi, part);
        if i >= right {
            new.staff = 2;
            new.voice = 2;
        }
        if i != 0 && i != right {
            new.flags = new.flags.with(NoteFlags::CHORD_MEMBER);
            new.flags.0 &= !(NoteFlags::SLUR_START.0 | NoteFlags::SLUR_STOP.0);
        }
        part.notes.push(new);
    }
}
