//! The octave of the whole lead: as it stands, or an octave away where most of it cannot be voiced.

use super::arrangement::Arrangement;
use super::job::{Job, leads_of};
use super::request::Request;
use super::seats::Seat;
use crate::diagnosis::lead_passage;
use crate::ground::pitch::Transposition;
use crate::score::Score;
use crate::score::identity::identify_all;
use crate::style::Style;

/// A note that the lead's player does not have counts as so many that have no voicing.
const LEAD_OUT: usize = 3;

/// The octaves that are tried, in semitones.
const WAYS: [i16; 4] = [-12, 12, -24, 24];

/// The lead in the octave in which it is voiced, and how far it was moved. Only where a fifth of the notes or more
/// have no voicing is it moved, and only where that halves them.
pub(super) fn settled(
    lead: Score,
    style: &Style,
    request: &Request,
    seats: &[Seat],
    arrangement: &Arrangement,
) -> (Score, i16) {
    let Some(misses) = misses(&lead, style, request, seats, arrangement) else {
        return (lead, 0);
    };
    if misses.count * 5 < misses.of {
        return (lead, 0);
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
        if there.count < best.0 {
            best = (there.count, by, moved);
        }
    }
    if best.0 * 2 <= misses.count {
        (best.2, best.1)
    } else {
        (lead, 0)
    }
}

struct Misses {
    count: usize,
    of: usize,
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
    // Who wrote for this player meant it to lie so.
    let own = identify_all(lead.instruments.catalogue(), &lead.parts);
    let own = own.first().and_then(Option::as_ref);
    let meant = own.is_some_and(|i| i.instrument.key == player.instrument.key);
    let strained = leads
        .iter()
        .filter(|m| !meant && player.cost(**m) == Some(3));
    let strained = strained.count();
    let none = (0..leads.len())
        .filter(|&at| job.options(at).iter().all(|o| o.way_out.is_some()))
        .count();
    Some(Misses {
        count: none + out * LEAD_OUT + strained / 2,
        of: leads.len(),
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
