//! What `spelling` says of seats in unison whose notes have not the same name.

use super::spelling::{RULE, distance, in_key, is_odd, respelled};
use crate::diagnosis::Passage;
use crate::finding::Finding;
use crate::ground::pitch::{NoteName, Pitch};
use crate::rules::input::RuleInput;
use crate::rules::shared::wording;
use crate::score::{Change, Note, NoteFlags, NoteRef};
use std::collections::HashSet;

/// How many notes on either side have to be in unison for the one between to be a slip.
const SIDE: usize = 2;

/// Two notes struck together.
struct Together<'a> {
    upper: NoteRef,
    lower: NoteRef,
    a: &'a Note,
    b: &'a Note,
}

impl Together<'_> {
    fn semitones(&self) -> i16 {
        self.a.sounding.midi() - self.b.sounding.midi()
    }

    fn letters(&self) -> i16 {
        self.a.sounding.diatonic() - self.b.sounding.diatonic()
    }
}

/// Seats in unison (or octaves) of which one has an accidental that the other lacks.
pub(super) fn check(input: &RuleInput<'_>, passage: &Passage, out: &mut Vec<Finding>) {
    if passage.section.chordal {
        return;
    }
    let mut reported: HashSet<NoteRef> = HashSet::new();
    let members = &passage.section.parts;
    let pairs = members.windows(2).filter_map(|w| match w {
        [a, b] => Some((a.part, b.part)),
        _ => None,
    });
    for (first, second) in pairs {
        let mut together = together(input, first, second);
        together.retain(|t| passage.section.plays_at(t.a.onset));
        for (i, odd) in together.iter().enumerate() {
            let off = odd.semitones();
            if off % 12 == 0 && odd.letters() % 7 != 0 && is_beside_unisons(&together, i) {
                let odd = other_accidental(input, passage, odd);
                out.extend(odd.filter(|f| f.notes.iter().all(|n| reported.insert(n.note))));
                continue;
            }
            if odd.letters() % 7 != 0 || off.rem_euclid(12) != 1 && off.rem_euclid(12) != 11 {
                continue;
            }
            let octaves = 12 * (odd.letters() / 7);
            let in_unison = |t: &Together<'_>| t.semitones() == octaves;
            let before = together.get(i.saturating_sub(SIDE)..i).unwrap_or_default();
            let after = together
                .get(i + 1..(i + 1 + SIDE).min(together.len()))
                .unwrap_or_default();
            let near = before.iter().chain(after);
            if !near.clone().all(in_unison)
                || near.count() < SIDE + 1
                || input.is_explained(odd.upper)
                || input.is_explained(odd.lower)
                || !reported.insert(odd.upper)
                || !reported.insert(odd.lower)
            {
                continue;
            }
            out.push(disagree(input, passage, odd));
        }
    }
}

/// Whether two parts sound in unison or octaves around a note, most of them by the same letters.
fn is_beside_unisons(together: &[Together<'_>], at: usize) -> bool {
    let before = together.get(at.saturating_sub(SIDE)..at);
    let after = together.get(at + 1..(at + 1 + SIDE).min(together.len()));
    let near = [before, after].into_iter().flatten().flatten();
    let in_unison = |t: &&Together<'_>| t.semitones() % 12 == 0;
    let same = |t: &&Together<'_>| in_unison(t) && t.letters() % 7 == 0;
    near.clone().count() > SIDE
        && near.clone().all(|t| in_unison(&t))
        && near.filter(same).count() > SIDE
}

/// Two seats in unison with two names for one note: the one that its key does not have is told.
fn other_accidental(
    input: &RuleInput<'_>,
    passage: &Passage,
    odd: &Together<'_>,
) -> Option<Finding> {
    let score = input.score;
    let own = |at: NoteRef, note: &Note, beside: NoteRef, model: &Note| {
        let part = score.parts.get(at.part as usize)?;
        let by = part.transposition(note.onset);
        let wanted = model.sounding.name().transposed(by.inverse());
        let wanted = Pitch::named(wanted, note.written.midi())?;
        let key = part.key(note.onset).fifths;
        // Double accidentals, and E# or Cb outside their keys, are avoided on purpose.
        let readable = !is_odd(wanted.name()) || in_key(wanted.name(), key);
        let there = score.parts.get(beside.part as usize)?;
        // Among parts at sounding pitch a name that most have is theirs by choice.
        let at_pitch = by.key_shift() == 0 && by == there.transposition(note.onset);
        let readable = readable || at_pitch && wanted.name().alter.abs() < 2;
        // The model has another name only because this one would be hard to read there.
        let name = note.sounding.name();
        let name = name.transposed(there.transposition(note.onset).inverse());
        if is_odd(name)
            && !in_key(name, there.key(note.onset).fifths)
            && by != there.transposition(note.onset)
        {
            return None;
        }
        let far = distance(note.written.name(), key) - distance(wanted.name(), key);
        (readable && !part.worked_out).then_some((wanted, far))
    };
    let lower = own(odd.lower, odd.b, odd.upper, odd.a);
    let upper = own(odd.upper, odd.a, odd.lower, odd.b);
    // What most seats have is right; of two the one that lies nearer to its key.
    let (above, below) = votes(input, passage, odd);
    let worse = |own: Option<(Pitch, i16)>| {
        own.is_some_and(|(wanted, far)| far > 0 && !is_odd(wanted.name()))
    };
    let is_lower = if above == below {
        if worse(lower) == worse(upper) {
            return None;
        }
        worse(lower)
    } else {
        above > below
    };
    let (at, note, model, wanted) = if is_lower {
        (odd.lower, odd.b, odd.upper, lower?.0)
    } else {
        (odd.upper, odd.a, odd.lower, upper?.0)
    };
    let part = score.parts.get(at.part as usize)?;
    let name = wording::part(score, at.part);
    let other = wording::part(score, model.part);
    let message = format!(
        "{name} has {} where {other}, in {} with it, has the note by its other name: {wanted} for this player",
        note.written,
        wording::in_one_line(odd.a, odd.b)
    );
    Some(
        RULE.finding(note.at, message)
            .parts([at.part])
            .section(&passage.section.name)
            .at_notes([at, model], 1, "not the same accidental")
            .instead(format!(
                "{name}: write {wanted} instead of {}",
                note.written
            ))
            .may_mend(vec![vec![respelled(part, at, note, wanted)]]),
    )
}

/// How many seats have the name of the upper note, and of the lower one, in unison or octaves with them.
fn votes(input: &RuleInput<'_>, passage: &Passage, odd: &Together<'_>) -> (usize, usize) {
    let members = passage.section.parts.iter();
    let parts = members.filter_map(|m| input.score.parts.get(m.part as usize));
    let names = parts.filter_map(|part| {
        let from = part.notes.partition_point(|n| n.onset < odd.a.onset);
        let here = part.notes.get(from..)?.iter();
        let mut here = here.take_while(|n| n.onset == odd.a.onset);
        let own = here.find(|n| n.sounding.class() == odd.a.sounding.class())?;
        Some(own.sounding.name())
    });
    let names: Vec<NoteName> = names.collect();
    let count = |note: &Note| names.iter().filter(|n| **n == note.sounding.name()).count();
    (count(odd.a), count(odd.b))
}

/// The notes that two parts strike at the same time for the same length, in order.
fn together<'r>(input: &'r RuleInput<'_>, first: u32, second: u32) -> Vec<Together<'r>> {
    let attacks = |part: u32| {
        input
            .notes(part)
            .filter(|(_, n)| n.sounds() && !n.flags.has(NoteFlags::TIED_IN))
            .map(move |(i, n)| (NoteRef { part, note: i }, n))
    };
    let mut others = attacks(second).peekable();
    let mut all = Vec::new();
    for (upper, a) in attacks(first) {
        while others.next_if(|(_, n)| n.onset < a.onset).is_some() {}
        if let Some((lower, b)) = others.peek()
            && b.onset == a.onset
        {
            all.push(Together {
                upper,
                lower: *lower,
                a,
                b,
            });
        }
    }
    all
}

fn disagree(input: &RuleInput<'_>, passage: &Passage, odd: &Together<'_>) -> Finding {
    let score = input.score;
    let chord = score
        .chord_at(odd.a.onset)
        .and_then(|m| m.value.chord.as_ref());
    let in_chord = |n: &Note| chord.is_some_and(|c| c.contains(n.sounding.class()));
    // The one that the chord does not have is at fault, else the lower seat's: the upper leads.
    let lower_wrong = in_chord(odd.a) || !in_chord(odd.b);
    let ((at, note), (model, right)) = if lower_wrong {
        ((odd.lower, odd.b), (odd.upper, odd.a))
    } else {
        ((odd.upper, odd.a), (odd.lower, odd.b))
    };
    let octaves = (note.sounding.diatonic() - right.sounding.diatonic()) / 7;
    let sounding = right
        .sounding
        .octaves(i8::try_from(octaves).unwrap_or_default());
    let name = wording::part(score, at.part);
    let other = wording::part(score, model.part);
    RULE.finding(
        note.at,
        format!(
            "{name} has {}, but {other}, in {} with it, has {}",
            wording::for_player(score, at, note.sounding),
            wording::in_one_line(note, right),
            wording::for_player(score, model, right.sounding)
        ),
    )
    .parts([at.part])
    .instead(format!(
        "{name}: write {} instead of {}, if both are to have one line",
        wording::for_player(score, at, sounding),
        wording::for_player(score, at, note.sounding)
    ))
    .section(&passage.section.name)
    .chord(chord.map(|c| c.text.as_str()))
    .at_notes([at, model], 1, "not the same accidental")
    .may_mend(vec![vec![Change { note: at, sounding }]])
}
