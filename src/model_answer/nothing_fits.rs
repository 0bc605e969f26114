//! Where no right voicing fits: which notes, and what would help.

use super::arrangement::Arrangement;
use super::job::{Job, leads_of};
use super::request::NothingFits;
use crate::diagnosis::{Passage, symbol_at};
use crate::ground::pitch::Transposition;
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::voicing::{Mechanical, Technique};

/// How far the lead is moved in search of a key that fits.
const FURTHEST: i16 = 7;

pub(super) fn explain(job: &Job<'_>, at: &[usize]) -> NothingFits {
    let places = at
        .iter()
        .filter_map(|&i| place(job.lead, job.passage, job.passage.sonorities.get(i)?.onset))
        .collect();
    let other_techniques = Mechanical::ALL
        .into_iter()
        .map(Technique::Mechanical)
        .filter(|t| *t != job.arrangement.technique && fits_all(job, job.lead, *t))
        .filter(|t| {
            t.mechanical()
                .is_some_and(|m| m.voices() == job.arrangement.voices)
        })
        .collect();
    let mut moves: Vec<i16> = (1..=FURTHEST)
        .flat_map(|n| [n, -n])
        .filter(|&n| fits_all(job, &moved(job.lead, n), job.arrangement.technique))
        .collect();
    moves.truncate(2);
    NothingFits {
        technique: job.arrangement.technique,
        places,
        other_techniques,
        moves,
    }
}

/// Bar, beat and sounding lead at a time, and the chord.
pub(super) fn place(
    lead: &Score,
    passage: &Passage,
    onset: Ticks,
) -> Option<(String, String, String, String)> {
    let after = passage.sonorities.partition_point(|s| s.onset <= onset);
    let sonority = passage.sonorities.get(after.checked_sub(1)?)?;
    let chord = symbol_at(lead, onset).map(str::to_owned);
    let at = lead.place_of(onset);
    Some((
        lead.bar_number(at.bar),
        lead.beat_at(at).to_string(),
        sonority.voices.first()?.pitch.to_string(),
        chord.unwrap_or_default(),
    ))
}

fn fits_all(job: &Job<'_>, lead: &Score, technique: Technique) -> bool {
    let passages = crate::diagnosis::passages(lead, job.style);
    let Some(passage) = passages.first() else {
        return false;
    };
    let arrangement = Arrangement::new(technique, job.seats);
    let other = Job {
        lead,
        passage,
        style: job.style,
        seats: job.seats,
        arrangement: &arrangement,
        octaves: arrangement.octaves(&leads_of(passage), job.seats),
        passing: job.passing,
    };
    other.all_options().iter().all(|o| !o.is_empty())
}

/// The lead and its chords moved by semitones.
fn moved(lead: &Score, by: i16) -> Score {
    const LETTERS: [i16; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let letters = LETTERS
        .get(by.unsigned_abs() as usize % 12)
        .copied()
        .unwrap_or(0);
    let interval = Transposition {
        diatonic: letters * by.signum(),
        chromatic: by,
    };
    let mut moved = lead.clone();
    for part in &mut moved.parts {
        for note in &mut part.notes {
            note.sounding = note.sounding.transposed(interval);
            note.written = note.written.transposed(interval);
        }
        for mark in &mut part.chords {
            mark.value.chord = mark.value.chord.as_ref().map(|c| c.transposed(interval));
        }
    }
    moved.lay_out();
    moved
}
