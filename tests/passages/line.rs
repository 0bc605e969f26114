//! A lead line through the voicings that are right: the cheapest path by chance.

use super::chords::{Chord, Family, degrees, passing};
use super::plan::{Key, Placed, Slot};
use super::voicing::{Technique, clean, high_enough, in_range, same_sounds, shaped, spread, three};
use crate::ensembles::notes::{Dice, Tone, key_alter, under};

/// What a lead note is, and with it the chord under it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    Chord,
    Tension,
    /// The diminished a half step below the root.
    Passing,
    /// The chord in force kept under a passing note.
    Kept,
    /// The diminished of a dominant read as the minor sixth on its fifth.
    SecondReading,
    /// The dominant of the coming chord.
    Dominant,
    /// The tonic sixth between notes of its dominant.
    TonicSixth,
    /// The minor seventh on the fifth of a dominant, between notes of it.
    Related,
    /// The coming voicing moved by a half step.
    Chromatic,
    /// The coming voicing moved by a step of the scale.
    Diatonic,
    /// The diminished seventh on the root, under a short neighbour.
    CommonTone,
}

impl Kind {
    pub fn moves(self) -> bool {
        !matches!(self, Self::Chord | Self::Tension)
    }
}

#[derive(Clone, Debug)]
pub struct Candidate {
    pub kind: Kind,
    pub set: [Tone; 4],
    pub voices: Vec<Tone>,
}

impl Candidate {
    pub fn lead(&self) -> i16 {
        self.voices[0].midi
    }
}

/// What a phrase is written for.
#[derive(Clone, Copy)]
pub struct Frame<'a> {
    pub key: Key,
    pub technique: Technique,
    pub ranges: &'a [(i16, i16)],
    pub low_horns: bool,
    pub chords: &'a [Placed],
    /// The way of passing notes that the phrase prefers.
    pub habit: Option<Kind>,
}

impl Frame<'_> {
    /// Every octave of a lead that gives a clean voicing.
    fn octaves(
        &self,
        kind: Kind,
        chord: Chord,
        lead: Tone,
        set: [Tone; 4],
        len: i32,
        out: &mut Vec<Candidate>,
    ) {
        let (low, high) = self.ranges[0];
        let mut lead = under(lead, high);
        while lead.midi >= low {
            if let Some(voices) = self.voiced(kind, chord, lead, &set, len) {
                out.push(Candidate { kind, set, voices });
            }
            lead = lead.octaves(-1);
        }
    }

    pub fn voiced(
        &self,
        kind: Kind,
        chord: Chord,
        lead: Tone,
        set: &[Tone; 4],
        len: i32,
    ) -> Option<Vec<Tone>> {
        let count = self.ranges.len();
        let voices = match self.technique {
            Technique::Unison => vec![lead; count],
            Technique::Octaves => (0..count)
                .map(|i| lead.octaves(if i < 2 { 0 } else { -1 }))
                .collect(),
            Technique::Spread if kind.moves() => return None,
            Technique::Spread => spread(lead, chord, set, self.ranges)?,
            Technique::ThreePart if kind.moves() => {
                let mut four = shaped(lead, set, Technique::Close)?;
                four.truncate(3);
                four
            }
            Technique::ThreePart => three(lead, set)?,
            Technique::Pad => {
                let each = [Technique::Close, Technique::Drop2, Technique::Drop3];
                let each = each.iter().filter_map(|t| {
                    Frame {
                        technique: *t,
                        ..*self
                    }
                    .voiced(kind, chord, lead, set, len)
                });
                // Close where the lead is low enough to sound, open above.
                return each.min_by_key(|v| (v[0].midi - v[3].midi + 5 * (lead.midi % 3)) % 11);
            }
            other => shaped(lead, set, other)?,
        };
        let line = matches!(self.technique, Technique::Unison | Technique::Octaves);
        let bottom = voices[voices.len() - 1];
        let tension_below = matches!(
            self.technique,
            Technique::Drop3 | Technique::Drop24 | Technique::Drop23
        ) && !kind.moves()
            && !chord.four().iter().any(|d| d.1 == chord.above(bottom));
        let fits = in_range(&voices, self.ranges)
            && (line || clean(&voices, chord, len))
            && high_enough(&voices, self.technique, self.low_horns)
            && !tension_below;
        fits.then_some(voices)
    }

    fn stable(&self, slot: &Slot, out: &mut Vec<Candidate>) {
        let placed = self.chords[slot.chord];
        let chord = placed.chord;
        let next = self.chords.get(slot.chord + 1).map(|c| c.chord);
        let line = matches!(
            self.technique,
            Technique::Unison | Technique::Octaves | Technique::Pad
        );
        for set in chord.sets() {
            let natural = chord.is(Family::Dominant)
                && matches!(set.lead.1, 2 | 9)
                && chord.quality.suffix == "7";
            let into_minor = next.is_some_and(|n| {
                (n.root.class() + 7) % 12 == chord.root.class()
                    && (n.is(Family::Minor) || n.is(Family::HalfDiminished))
            });
            let third_step = (chord.root.class() - self.key.tonic().class()).rem_euclid(12) == 4
                && !self.key.minor;
            let strange = chord.is(Family::Minor) && set.lead.1 == 2 && third_step;
            if set.long && (line || slot.weak || natural && into_minor || strange) {
                continue;
            }
            let kind = if set.long { Kind::Tension } else { Kind::Chord };
            // Moving notes over a major seventh take the sixth.
            let mut four = set.four;
            if chord.quality.suffix == "maj7"
                && slot.len <= 6
                && set.lead.1 != 11
                && set.lead.1 != 2
            {
                four = degrees("1 3 5 6").try_into().unwrap();
            }
            self.octaves(
                kind,
                chord,
                chord.at(set.lead).plain(),
                chord.tones(&four),
                slot.len,
                out,
            );
        }
    }

    fn moving(&self, slot: &Slot, following: Option<&Slot>, out: &mut Vec<Candidate>) {
        let chord = self.chords[slot.chord].chord;
        let suffix = chord.quality.suffix;
        let len = slot.len;
        let dim = passing(chord);
        let passes = !chord.is(Family::Suspended)
            && !matches!(suffix, "7#11" | "7alt" | "maj7#11" | "7b9b13" | "7b13");
        for tone in dim.iter().filter(|_| passes) {
            let above = chord.above(*tone);
            let named = matches!(suffix, "9" | "13" | "m9" | "maj9" | "6/9") && above == 2
                || matches!(suffix, "m11") && above == 5
                || matches!(suffix, "maj7" | "maj9" | "m(maj7)") && above == 11;
            if self.habit == Some(Kind::Kept) {
                self.kept(chord, *tone, len, out);
            } else if !named {
                self.octaves(Kind::Passing, chord, *tone, dim, len, out);
            }
        }
        if suffix == "7" {
            let second = chord.tones(&[(0, 0), (2, 3), (3, 6), (5, 9)]);
            self.octaves(Kind::SecondReading, chord, second[3], second, len, out);
            let tonic = self.key.tonic();
            if chord.root.class() == (tonic.class() + 7) % 12 {
                let six = Chord::new(tonic, if self.key.minor { "m6" } else { "6" });
                let set = six.tones(&six.four());
                for tone in set.iter().filter(|t| !self.has(chord, **t)) {
                    self.octaves(Kind::TonicSixth, chord, *tone, set, len, out);
                }
            }
            let two = Chord::new(chord.at((4, 7)).plain(), "m7");
            let set = two.tones(&two.four());
            for tone in set.iter().filter(|t| !self.has(chord, **t)) {
                self.octaves(Kind::Related, chord, *tone, set, len, out);
            }
        }
        let Some(target) = following.map(|s| self.chords[s.chord].chord) else {
            return;
        };
        if !chord.is(Family::Dominant)
            && !target.is(Family::Diminished)
            && !target.is(Family::Dominant)
        {
            let five = Chord::new(target.at((4, 7)).plain(), "7");
            let set = five.tones(&five.four());
            for tone in set.iter().filter(|t| !self.has(chord, **t)) {
                self.octaves(Kind::Dominant, chord, *tone, set, len, out);
            }
        }
    }

    fn has(&self, chord: Chord, tone: Tone) -> bool {
        chord.four().iter().any(|d| d.1 == chord.above(tone))
    }

    /// The passing note stands for the chord note just below it.
    fn kept(&self, chord: Chord, lead: Tone, len: i32, out: &mut Vec<Candidate>) {
        let mut set = chord.tones(&chord.four());
        if chord.quality.suffix == "maj7" {
            set = chord.tones(&degrees("1 3 5 6").try_into().unwrap());
        }
        let nearest = (0..4)
            .min_by_key(|i| (lead.class() - set[*i].class()).rem_euclid(12))
            .unwrap();
        if (lead.class() - set[nearest].class()).rem_euclid(12) > 2
            || !chord.takes(lead) && chord.above(lead) != 5
        {
            return;
        }
        set[nearest] = lead;
        self.octaves(Kind::Kept, chord, lead, set, len, out);
    }

    /// Everything that may stand at a note of the rhythm.
    pub fn candidates(&self, slots: &[Slot], at: usize) -> Vec<Candidate> {
        let mut out = Vec::new();
        self.stable(&slots[at], &mut out);
        let mechanical = self.technique.mechanical() || self.technique == Technique::ThreePart;
        if slots[at].weak && mechanical {
            self.moving(&slots[at], slots.get(at + 1), &mut out);
        }
        out
    }
}

/// Cost of going from one note to the next; none where the moving one does not pass.
fn edge(a: &Candidate, sa: &Slot, b: &Candidate, sb: &Slot) -> Option<i32> {
    let between = (a.lead() - b.lead()).abs();
    let joined = sa.at + sa.len == sb.at;
    if a.kind.moves() || b.kind.moves() {
        let one = !(a.kind.moves() && b.kind.moves());
        let inside = |k: Kind| {
            matches!(
                k,
                Kind::TonicSixth | Kind::Related | Kind::Passing | Kind::Kept | Kind::SecondReading
            )
        };
        let same = sa.chord == sb.chord
            || !(inside(b.kind) || matches!(a.kind, Kind::TonicSixth | Kind::Related));
        if !one || !joined || !(1..=2).contains(&between) || !same {
            return None;
        }
    }
    // A short tension on the beat goes on by step or leaves by leap; one that is repeated is no line.
    let repeated = between == 0 && sa.push.is_none() && sb.push.is_none();
    let far = match between {
        0 if repeated => 9,
        0 => 3,
        1 | 2 => 0,
        3 | 4 => 2,
        5 | 6 => 5,
        7 => 7,
        8..=12 => 12,
        _ => return None,
    };
    Some(far)
}

/// A line through the slots, by chance; none where the ranges leave no way.
pub fn line(dice: &mut Dice, frame: &Frame<'_>, slots: &[Slot]) -> Option<Vec<Candidate>> {
    let each: Vec<Vec<Candidate>> = (0..slots.len())
        .map(|i| frame.candidates(slots, i))
        .collect();
    let favourite = frame.habit;
    let mut costs: Vec<Vec<Option<(i32, usize)>>> = Vec::new();
    for (index, candidates) in each.iter().enumerate() {
        let mut row = Vec::new();
        for candidate in candidates {
            let own = own_cost(dice, candidate, &slots[index], favourite);
            let last = index + 1 == slots.len();
            if candidate.kind.moves() && (index == 0 || last) {
                row.push(None);
                continue;
            }
            if index == 0 {
                row.push(Some((own, 0)));
                continue;
            }
            let before = each[index - 1]
                .iter()
                .enumerate()
                .filter_map(|(at, earlier)| {
                    let (so_far, _) = costs[index - 1][at]?;
                    let way = edge(earlier, &slots[index - 1], candidate, &slots[index])?;
                    Some((so_far + way + own, at))
                });
            row.push(before.min_by_key(|b| b.0));
        }
        costs.push(row);
    }
    let last = costs.last()?;
    let mut at = (0..last.len())
        .filter(|i| last[*i].is_some())
        .min_by_key(|i| last[*i].unwrap().0)?;
    let mut path = Vec::new();
    for index in (0..slots.len()).rev() {
        path.push(each[index][at].clone());
        at = costs[index][at]?.1;
    }
    path.reverse();
    Some(path)
}

fn own_cost(dice: &mut Dice, candidate: &Candidate, slot: &Slot, favourite: Option<Kind>) -> i32 {
    let noise = dice.roll(8) as i32;
    let kind = match candidate.kind {
        kind if Some(kind) == favourite => -8,
        Kind::Chord if slot.weak => 3,
        Kind::Chord => 0,
        Kind::Tension => 2,
        Kind::Passing | Kind::Kept => 0,
        _ => 3,
    };
    noise + kind
}

/// Passing notes under which all voices move in parallel into the coming voicing, where the line allows it.
pub fn parallel(
    dice: &mut Dice,
    frame: &Frame<'_>,
    slots: &[Slot],
    path: &mut [Candidate],
    percent: usize,
) {
    if !frame.technique.mechanical() {
        return;
    }
    for at in 1..path.len().saturating_sub(1) {
        let (before, after) = (path[at - 1].clone(), path[at + 1].clone());
        let joined = slots[at - 1].at + slots[at - 1].len == slots[at].at
            && slots[at].at + slots[at].len == slots[at + 1].at;
        if !slots[at].weak
            || !joined
            || before.kind.moves()
            || after.kind.moves()
            || !dice.chance(percent)
        {
            continue;
        }
        let chord = frame.chords[slots[at].chord].chord;
        let own = chord.takes(path[at].voices[0]) && !path[at].kind.moves();
        let (p, x, n) = (before.lead(), path[at].lead(), after.lead());
        let major_seventh = matches!(chord.quality.suffix, "maj7" | "maj9");
        if major_seventh && p == n && x == p - 2 && chord.above(before.voices[0]) == 11 {
            let set = chord.tones(&[(0, 0), (1, 3), (3, 6), (5, 9)]);
            if let Some(voices) = frame.voiced(
                Kind::CommonTone,
                chord,
                path[at].voices[0],
                &set,
                slots[at].len,
            ) {
                path[at] = Candidate {
                    kind: Kind::CommonTone,
                    set,
                    voices,
                };
            }
            continue;
        }
        if own || (x - n).abs() > 2 || (x - p).abs() > 2 || x == n {
            continue;
        }
        let moved: Vec<Tone> = if (x - n).abs() == 1 {
            after
                .voices
                .iter()
                .map(|t| Tone::spelled(t.midi + x - n, frame.key.fifths))
                .collect()
        } else {
            let by = if x > n { 1 } else { -1 };
            after
                .voices
                .iter()
                .map(|t| t.staff_step(by, frame.key.fifths))
                .collect()
        };
        let kind = if (x - n).abs() == 1 {
            Kind::Chromatic
        } else {
            Kind::Diatonic
        };
        let steps = moved
            .iter()
            .zip(&after.voices)
            .all(|(a, b)| (1..=2).contains(&(a.midi - b.midi).abs()));
        // The coming chord a step away in the key: from one minor seventh, or the like, to another.
        let in_key = after
            .voices
            .iter()
            .all(|t| t.alter() == key_alter(t.letter.rem_euclid(7), frame.key.fifths));
        let planes = kind == Kind::Chromatic
            || in_key
                && matches!(
                    frame.chords[slots[at + 1].chord].chord.quality.suffix,
                    "m7" | "m9" | "m11"
                );
        let fits = planes
            && in_range(&moved, frame.ranges)
            && clean(&moved, chord, slots[at].len)
            && moved[0].midi == x
            && steps;
        if fits && !same_sounds(&moved, &path[at].voices) {
            let set = path[at].set;
            path[at] = Candidate {
                kind,
                set,
                voices: moved,
            };
        }
    }
}
