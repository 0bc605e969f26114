//! From a line of voicings to a score: parts at written pitch, in the lead's rhythm.

use super::answer::{WayOut, Weighed};
use super::job::Job;
use super::seats::{Seat, left_hand};
use crate::ground::instrument::{Member, joined_name};
use crate::ground::pitch::{Pitch, Transposition, written_fifths};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{
    Articulations, ChordMark, FREE, Key, Mark, Note, NoteFlags, Part, PartBar, Place, Rest, Score,
    Shared, Stated, Words,
};

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
        let mut seats: Vec<(usize, &Seat)> = job.seats.iter().enumerate().collect();
        seats.sort_by_key(|(_, seat)| seat.place);
        for (place, (index, seat)) in seats.into_iter().enumerate() {
            let mut part = blank(own, seat, place == 0);
            fill(job, line, own, index, &mut part);
            score.parts.push(part);
        }
    }
    state(job, line, &mut score);
    score.lay_out();
    score
}

/// Says the technique in words over the first staff of each block, and for the grid; and where another is taken,
/// and ends.
fn state(job: &Job<'_>, line: &[Weighed], score: &mut Score) {
    let heads = job.arrangement.heads();
    let mut of_grid = Vec::new();
    for (block, head) in heads.iter().enumerate() {
        let spans = spans(job, line, block);
        let place = job.seats.get(*head).map_or(0, |s| s.place);
        let place = if job.is_chordal() { 0 } else { place };
        if block == 0 {
            of_grid.clone_from(&spans);
        }
        if let Some(part) = score.parts.get_mut(place) {
            let words = spans.into_iter().map(|(at, text)| {
                let text = text.to_owned();
                let (staff, below) = (1, false);
                mark(at, Words { text, staff, below })
            });
            let mut all: Vec<Mark<Words>> = words.collect();
            all.extend(part.words.iter().cloned());
            part.words = all.into();
        }
    }
    if heads.len() > 1 {
        of_grid = vec![(Place::default(), FREE)];
    }
    let section = (heads.len() == 1).then(|| section(job));
    score.stated = stated(&of_grid, section.flatten().as_deref(), score_bars(job));
}

/// What the seats are called together, from the top.
fn section(job: &Job<'_>) -> Option<String> {
    let catalogue = job.lead.instruments.catalogue();
    let mut seats: Vec<&Seat> = job.seats.iter().collect();
    seats.sort_by_key(|s| s.place);
    let same = |a: &&Seat, b: &&Seat| a.instrument.section == b.instrument.section;
    let runs: Vec<&[&Seat]> = seats.chunk_by(same).collect();
    let members = runs.iter().filter_map(|run| {
        let first = run.first()?.instrument;
        let section = catalogue.section(&first.section)?;
        let member = match run.len() {
            1 if runs.len() > 1 => Member::Players(first, 1),
            _ => Member::Section(section),
        };
        Some((member, Some(&first.family)))
    });
    let members: Vec<_> = members.collect();
    match members.as_slice() {
        [(Member::Section(one), _)] => Some(one.key.clone()),
        several => Some(joined_name(several)).filter(|n| !n.is_empty()),
    }
}

/// From where on which technique is said over a block.
fn spans(job: &Job<'_>, line: &[Weighed], block: usize) -> Vec<(Place, &'static str)> {
    let mut spans: Vec<(Place, &'static str)> = Vec::new();
    let phrases: Vec<usize> = job.passage.phrases.iter().map(|p| p.start).collect();
    for (index, (sonority, option)) in job.passage.sonorities.iter().zip(line).enumerate() {
        let said = match option.way_out {
            None if option.harmony.is_none() && !spans.is_empty() => continue,
            Some(WayOut::InParallel) if !spans.is_empty() => continue,
            Some(WayOut::InnerDoubling) => FREE,
            Some(WayOut::Solo) => SOLO,
            _ => job.arrangement.said(option, block, job.seats),
        };
        // Unison and solo hold for the phrase that they stand in.
        let asked = matches!(option.way_out, Some(WayOut::Asked | WayOut::Solo));
        let again = asked && option.harmony.is_none() && phrases.contains(&index);
        if again || spans.last().is_none_or(|(_, before)| *before != said) {
            let at = job.lead.place_of(sonority.onset);
            spans.push((
                if spans.is_empty() {
                    Place::default()
                } else {
                    at
                },
                said,
            ));
        }
    }
    spans
}

/// The same bar by bar: one that is not all in one technique is free.
fn stated(spans: &[(Place, &'static str)], section: Option<&str>, bars: u32) -> Vec<Mark<Stated>> {
    let mut out: Vec<Mark<Stated>> = Vec::new();
    for bar in 0..bars {
        let start = Place {
            bar,
            offset: Ticks::ZERO,
        };
        let changes = spans.iter().any(|(at, _)| at.bar == bar && *at > start);
        let before = spans.iter().rfind(|(at, _)| *at <= start);
        let said = match before {
            Some((_, said)) if !changes && *said != SOLO => said,
            _ => FREE,
        };
        let last = out.last().and_then(|m| m.value.technique.as_deref());
        if last != Some(said) {
            let stated = Stated {
                section: section.filter(|_| bar == 0).map(str::to_owned),
                technique: Some(said.to_owned()),
            };
            out.push(mark(start, stated));
        }
    }
    out
}

/// How many bars the lead has.
fn score_bars(job: &Job<'_>) -> u32 {
    u32::try_from(job.lead.bars.len()).unwrap_or(u32::MAX)
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
            Shared::default()
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

/// What is said over the staff where the lead plays alone.
const SOLO: &str = "solo";

/// A seat's rest while the lead plays alone.
fn silence(job: &Job<'_>, segment: &LeadSegment<'_>) -> Rest {
    Rest {
        at: job.lead.place_of(segment.onset),
        onset: segment.onset,
        duration: segment.end - segment.onset,
        staff: 1,
        voice: 1,
        whole_bar: false,
        span: Span::default(),
    }
}

fn fill(job: &Job<'_>, line: &[Weighed], own: &Part, index: usize, part: &mut Part) {
    let chordal = job.is_chordal();
    for note in own.notes.iter().filter(|n| n.duration > Ticks::ZERO) {
        for segment in segments(job, line, note, (!chordal).then_some(index)) {
            if chordal {
                both_hands(job, line, &segment, part);
            } else {
                match written(job, line, &segment, index, part) {
                    Some(note) => part.notes.push(note),
                    None => part.rests.push(silence(job, &segment)),
                }
            }
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

/// Whether a voice (0-based from the top) is struck at a sonority. Where the chord changes under a held
/// note, a voicing that is right for both chords is held; else all but the lead and its doubling move.
fn is_struck(job: &Job<'_>, line: &[Weighed], at: usize, voice: usize) -> bool {
    let held = job.passage.sonorities.get(at).filter(|s| s.under_held_lead);
    let (Some(_), Some(before), Some(now)) = (
        held,
        at.checked_sub(1).and_then(|i| line.get(i)),
        line.get(at),
    ) else {
        return true;
    };
    let doubles_lead = match (now.voicing.first(), now.voicing.get(voice)) {
        (Some(lead), Some(own)) => (lead - own) % 12 == 0 && before.voicing.get(voice) == Some(own),
        _ => false,
    };
    before.voicing != now.voicing && !doubles_lead
}

/// A note of the lead, or what there is of it under one chord.
struct LeadSegment<'a> {
    note: &'a Note,
    /// The sonority it stands in.
    at: usize,
    onset: Ticks,
    end: Ticks,
}

/// Whether a voice that sounds up to a time goes on there, as far as the chords say.
fn goes_on_at(job: &Job<'_>, line: &[Weighed], at: Ticks, voice: usize) -> bool {
    let sonorities = &job.passage.sonorities;
    sonorities
        .binary_search_by_key(&at, |s| s.onset)
        .map_or(true, |i| {
            sonorities.get(i).is_none_or(|s| !s.under_held_lead) || !is_struck(job, line, i, voice)
        })
}

/// A note of the lead, cut where this voice (any, when none is named) is struck beneath it.
fn segments<'a>(
    job: &Job<'_>,
    line: &[Weighed],
    note: &'a Note,
    voice: Option<usize>,
) -> Vec<LeadSegment<'a>> {
    let sonorities = &job.passage.sonorities;
    let struck = |at: usize| match voice {
        Some(voice) => is_struck(job, line, at, voice),
        None => line
            .get(at)
            .is_some_and(|o| (0..o.voicing.len()).any(|v| is_struck(job, line, at, v))),
    };
    let after = sonorities.partition_point(|s| s.onset <= note.onset);
    let Some(first) = after.checked_sub(1) else {
        return Vec::new();
    };
    let cuts = (after..sonorities.len())
        .map_while(|i| Some((i, sonorities.get(i).filter(|s| s.onset < note.end())?)))
        .filter(|(i, s)| s.under_held_lead && struck(*i));
    let mut segments = vec![LeadSegment {
        note,
        at: first,
        onset: note.onset,
        end: note.end(),
    }];
    for (at, sonority) in cuts {
        if let Some(last) = segments.last_mut() {
            last.end = sonority.onset;
        }
        segments.push(LeadSegment {
            note,
            at,
            onset: sonority.onset,
            end: note.end(),
        });
    }
    segments
}

/// What a voice (0-based from the top) plays in a segment of the lead.
fn written(
    job: &Job<'_>,
    line: &[Weighed],
    segment: &LeadSegment<'_>,
    voice: usize,
    part: &Part,
) -> Option<Note> {
    let note = segment.note;
    // What is held keeps the name it was struck with.
    let at = (0..=segment.at)
        .rev()
        .find(|&i| is_struck(job, line, i, voice))?;
    let option = line.get(at)?;
    let midi = *option.voicing.get(voice)?;
    let by = part
        .transpositions
        .first()
        .map_or(Transposition::NONE, |m| m.value);
    // The lead keeps its writer's names.
    let own = Pitch::named(note.sounding.name(), midi);
    let is_lead = own.is_some();
    let sounding = own.unwrap_or_else(|| job.spell(at, option, midi));
    let fifths = crate::score::in_force(&part.keys, note.onset).map_or(0, |m| m.value.fifths);
    let page = sounding.transposed(by.inverse());
    let page = if is_lead && page.alter.abs() < 2 {
        page
    } else {
        page.readable(fifths)
    };
    let (starts, ends) = (segment.onset == note.onset, segment.end == note.end());
    let (held, goes_on) = (
        !starts || note.flags.has(NoteFlags::TIED_IN),
        !ends || note.flags.has(NoteFlags::TIED_OUT),
    );
    let flags = [
        (
            NoteFlags::TIED_IN,
            held && goes_on_at(job, line, segment.onset, voice),
        ),
        (
            NoteFlags::TIED_OUT,
            goes_on && goes_on_at(job, line, segment.end, voice),
        ),
        (
            NoteFlags::SLUR_START,
            starts && note.flags.has(NoteFlags::SLUR_START),
        ),
        (
            NoteFlags::SLUR_STOP,
            ends && note.flags.has(NoteFlags::SLUR_STOP),
        ),
    ];
    Some(Note {
        at: job.lead.place_of(segment.onset),
        onset: segment.onset,
        duration: segment.end - segment.onset,
        written: page,
        sounding: page.transposed(by),
        staff: 1,
        voice: 1,
        flags: flags
            .into_iter()
            .filter(|(_, has)| *has)
            .fold(NoteFlags::default(), |all, (flag, _)| all.with(flag)),
        articulations: if starts {
            note.articulations
        } else {
            Articulations::default()
        },
        span: Span::default(),
    })
}

/// A keyboard: the left hand takes as few notes as the hands' reach lets it.
fn both_hands(job: &Job<'_>, line: &[Weighed], segment: &LeadSegment<'_>, part: &mut Part) {
    let Some(Weighed { voicing, .. }) = line.get(segment.at) else {
        return;
    };
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
    for i in 0..voicing.len() {
        let Some(mut new) = written(job, line, segment, i, part) else {
            continue;
        };
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
