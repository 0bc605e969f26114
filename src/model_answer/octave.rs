//! The octave of the whole lead: as it stands, or an octave away where most of it cannot be voiced.

use super::answer::Weighed;
use super::arrangement::Arrangement;
use super::job::{Job, leads_of};
use super::request::Request;
use super::seats::Seat;
use crate::diagnosis::lead_passage;
use crate::ground::pitch::Transposition;
use crate::score::Score;
use crate::style::Style;

/// A note that the lead's player does not have counts as so many that have no voicing.
const LEAD_OUT: usize = 3;

/// So few notes do not move a whole passage.
const LEAST: usize = 3;

/// The octaves that are tried, in semitones.
const WAYS: [i16; 4] = [-12, 12, -24, 24];

/// The lead in the octave in which it is voiced, and how far it was moved. Only where a fifth of the notes or more
/// lie outside its player's range or have no voicing is it moved, and only where that mends a third of them.
pub(super) fn settled(
    lead: Score,
    style: &Style,
    request: &Request,
    seats: &[Seat],
    arrangement: &Arrangement,
) -> Settled {
    let stays = |lead: Score, options: Vec<Vec<Weighed>>| Settled {
        lead,
        by: 0,
        options,
    };
    let Some(misses) = misses(&lead, style, request, seats, arrangement) else {
        return stays(lead, Vec::new());
    };
    if misses.count * 5 < misses.of || misses.count < LEAST {
        return stays(lead, misses.options);
    }
    let mut best = (misses.count, 0, lead.clone());
    for by in WAYS {
        // Two octaves only where one does not do.
        if by.abs() > 12 && best.0 * 5 < misses.of {
            break;
        }
        let moved = moved(&lead, by);
        let Some(there) = self::misses(&moved, style, request, seats, arrangement) else {
            continue;
        };
        if there.count < best.0 && there.out <= misses.out {
            best = (there.count, by, moved);
        }
    }
    if best.0 * 3 <= misses.count * 2 {
        Settled {
            lead: best.2,
            by: best.1,
            options: Vec::new(),
        }
    } else {
        stays(lead, misses.options)
    }
}

/// A lead in the octave in which it is voiced.
pub(super) struct Settled {
    pub lead: Score,
    /// How far it was moved, in semitones.
    pub by: i16,
    /// The voicings of the technique under each note, where they were worked out already.
    pub options: Vec<Vec<Weighed>>,
}

struct Misses {
    count: usize,
    /// Notes that the lead's player does not have.
    out: usize,
    of: usize,
    options: Vec<Vec<Weighed>>,
}

/// How many notes have no voicing in the technique.
fn misses(
    lead: &Score,
    style: &Style,
    request: &Request,
    seats: &[Seat],
    arrangement: &Arrangement,
) -> Option<Misses> {
    let passage = lead_passage(lead, style, &[])?;
    let leads = leads_of(&passage);
    let job = Job {
        lead,
        passage: &passage,
        style,
        seats,
        arrangement,
        octaves: arrangement.octaves(&leads, seats),
        passing: request.passing,
    };
    let player = seats.first()?;
    let out = leads.iter().filter(|m| player.cost(**m).is_none()).count();
    let options: Vec<Vec<Weighed>> = (0..leads.len()).map(|at| job.options(at)).collect();
    let none = options.iter().filter(|o| o.is_empty()).count();
    Some(Misses {
        count: none + out * LEAD_OUT,
        out,
        of: leads.len(),
        options,
    })
}

/// The lead moved by whole octaves.
fn moved(lead: &Score, by: i16) -> Score {
    let interval = Transposition {
        diatonic: by / 12 * 7,
        chromatic: by,
    };
    let mut moved = lead.clone();
    for part in &mut moved.parts {
        for note in &mut part.notes {
            note.sounding = note.sounding.transposed(interval);
            note.written = note.written.transposed(interval);
        }
    }
    moved.lay_out();
    moved
}
