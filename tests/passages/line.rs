//! A lead line through the voicings that are right: the cheapest path by chance.

use super::chords::{Chord, Family, degrees, passing};
use super::passage::Hit;
use super::plan::{Key, Placed, Slot};
use super::voicing::{
    Technique, clean, five_note, high_enough, in_range, same_sounds, shaped, spread, stacked,
    three, tutti, two,
};
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
    /// The blue third over a dominant.
    Blue,
}

impl Kind {
    pub fn moves(self) -> bool {
        !matches!(self, Self::Chord | Self::Tension | Self::Blue)
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
    /// Ticks of a beat as it is felt.
    pub beat: i32,
    /// Held chords that sound with the phrase.
    pub against: &'a [Hit],
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
            Technique::ThreePart if kind.moves() && kind != Kind::Kept => {
                let mut four = shaped(lead, set, Technique::Close)?;
                four.truncate(3);
                four
            }
            Technique::ThreePart => three(lead, chord, set)?,
            Technique::TwoPart => two(lead, set)?,
            Technique::FiveNote if kind.moves() || len < 12 => {
                shaped(lead, set, Technique::DoubledLead)?
            }
            Technique::FiveNote => five_note(lead, chord, set, Technique::DoubledLead)?,
            Technique::Tutti => tutti(lead, set, false)?,
            Technique::TuttiOpen => tutti(lead, set, true)?,
            Technique::Fourths | Technique::Cluster => {
                let scale = self.scale(chord);
                stacked(
                    lead,
                    chord,
                    &scale,
                    count,
                    self.technique == Technique::Fourths,
                )?
            }
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
            && (line || self.sounds_clean(&voices, chord, len))
            && high_enough(&voices, self.technique, self.low_horns)
            && !tension_below;
        fits.then_some(voices)
    }

    fn sounds_clean(&self, voices: &[Tone], chord: Chord, len: i32) -> bool {
        match self.technique {
            Technique::TwoPart => true,
            Technique::Cluster => voices[voices.len() - 1].midi >= 58,
            Technique::Fourths => clean(voices, chord, 6),
            Technique::Tutti | Technique::TuttiOpen => {
                let mut heard = voices.to_vec();
                heard.sort_by_key(|t| -t.midi);
                heard.dedup_by_key(|t| t.midi);
                clean(&heard, chord, len)
            }
            _ => clean(voices, chord, len),
        }
    }

    /// The notes of a chord's scale: its own, and those of the key that it takes.
    fn scale(&self, chord: Chord) -> Vec<Tone> {
        let own: Vec<Tone> = chord.four().iter().map(|d| chord.at(*d).plain()).collect();
        let in_key = |t: &Tone| t.alter() == key_alter(t.letter.rem_euclid(7), self.key.fifths);
        let takes = degrees(chord.quality.takes)
            .into_iter()
            .map(|d| chord.at(d).plain());
        let more: Vec<Tone> = takes
            .filter(in_key)
            .filter(|t| own.iter().all(|o| o.class() != t.class()))
            .collect();
        own.into_iter().chain(more).collect()
    }

    /// A note rubs with one of another section that is held under it.
    fn rubs(&self, voices: &[Tone], chord: Chord, at: i32, len: i32) -> bool {
        let sounding = self
            .against
            .iter()
            .filter(|h| h.at < at + len && at < h.at + h.len);
        let held: Vec<Tone> = sounding.flat_map(|h| h.voices.clone()).collect();
        voices.iter().any(|v| {
            held.iter().any(|h| {
                let apart = (v.midi - h.midi).abs();
                let (lower, upper) = if v.midi < h.midi { (v, h) } else { (h, v) };
                let root = chord.is(Family::Dominant)
                    && chord.above(*lower) == 0
                    && chord.above(*upper) == 1;
                matches!(apart, 1 | 13 | 25) && !root
            })
        })
    }

    fn stable(&self, slot: &Slot, out: &mut Vec<Candidate>) {
        let placed = self.chords[slot.chord];
        let chord = placed.chord;
        let next = self.chords.get(slot.chord + 1).map(|c| c.chord);
        let line = matches!(
            self.technique,
            Technique::Unison
                | Technique::Octaves
                | Technique::Pad
                | Technique::Tutti
                | Technique::TuttiOpen
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
            let on_beat = slot.at % self.beat == 0 || slot.push.is_some() || slot.delayed;
            let short = !on_beat && slot.len <= 12;
            if set.long
                && (short
                    || slot.push == Some("push-note")
                    || line
                    || slot.weak
                    || natural && into_minor
                    || strange)
            {
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

    /// Any note of the scale leads a stack.
    fn stack(&self, slot: &Slot, out: &mut Vec<Candidate>) {
        let chord = self.chords[slot.chord].chord;
        let set = chord.tones(&chord.four());
        let dominant = chord.is(Family::Dominant)
            || chord.is(Family::HalfDiminished)
            || chord.is(Family::Diminished);
        for lead in self.scale(chord).into_iter().filter(|_| !dominant) {
            self.octaves(Kind::Chord, chord, lead, set, slot.len, out);
        }
    }

    fn blue(&self, slot: &Slot, out: &mut Vec<Candidate>) {
        let chord = self.chords[slot.chord].chord;
        let usual = self.habit == Some(Kind::Blue)
            && self.technique.mechanical()
            && chord.quality.suffix == "7";
        if usual && !slot.weak {
            let set = chord.tones(&degrees("#9 3 5 b7").try_into().unwrap());
            self.octaves(
                Kind::Blue,
                chord,
                chord.at((2, 3)).plain(),
                set,
                slot.len,
                out,
            );
        }
    }

    fn common_tone(&self, chord: Chord, len: i32, out: &mut Vec<Candidate>) {
        let set = chord.tones(&[(0, 0), (2, 3), (4, 6), (5, 9)]);
        let usual = self.habit == Some(Kind::CommonTone) && chord.is(Family::Major);
        // Under the sixth only where a major seventh is the chord.
        let last = if chord.quality.suffix == "maj7" { 4 } else { 3 };
        for tone in set[1..last].iter().filter(|_| usual) {
            self.octaves(Kind::CommonTone, chord, *tone, set, len, out);
        }
    }

    fn moving(&self, slot: &Slot, following: Option<&Slot>, out: &mut Vec<Candidate>) {
        let chord = self.chords[slot.chord].chord;
        let suffix = chord.quality.suffix;
        let len = slot.len;
        let dim = passing(chord);
        self.common_tone(chord, len, out);
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
            for lead in [second[0], second[3]] {
                self.octaves(Kind::SecondReading, chord, lead, second, len, out);
            }
            let next = self.chords.get(slot.chord + 1).map(|c| c.chord);
            let home = chord.at((3, 5)).plain();
            let minor = match next.filter(|n| n.root.class() == home.class()) {
                Some(next) => next.is(Family::Minor),
                None => self.key.minor,
            };
            if next.is_some_and(|n| n.root.class() == home.class())
                || self.key.tonic().class() == home.class()
            {
                let six = Chord::new(home, if minor { "m6" } else { "6" });
                let set = six.tones(&six.four());
                for tone in set.iter().filter(|t| !has(chord, **t)) {
                    self.octaves(Kind::TonicSixth, chord, *tone, set, len, out);
                }
            }
            let two = Chord::new(chord.at((4, 7)).plain(), "m7");
            let set = two.tones(&two.four());
            for tone in set.iter().filter(|t| !has(chord, **t)) {
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
            for tone in set.iter().filter(|t| !has(chord, **t)) {
                self.octaves(Kind::Dominant, chord, *tone, set, len, out);
            }
        }
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
        if (lead.class() - set[nearest].class()).rem_euclid(12) > 2 || !chord.takes(lead) {
            return;
        }
        set[nearest] = lead;
        self.octaves(Kind::Kept, chord, lead, set, len, out);
    }

    /// Everything that may stand at a note of the rhythm.
    pub fn candidates(&self, slots: &[Slot], at: usize) -> Vec<Candidate> {
        let mut out = Vec::new();
        let slot = &slots[at];
        if matches!(self.technique, Technique::Fourths | Technique::Cluster) {
            self.stack(slot, &mut out);
            return out;
        }
        self.stable(slot, &mut out);
        self.blue(slot, &mut out);
        let shaped = matches!(
            self.technique,
            Technique::ThreePart | Technique::Tutti | Technique::TuttiOpen | Technique::FiveNote
        );
        if slot.weak && (self.technique.mechanical() || shaped) {
            self.moving(slot, slots.get(at + 1), &mut out);
        }
        let chord = self.chords[slot.chord].chord;
        out.retain(|c| c.kind.moves() || !self.rubs(&c.voices, chord, slot.at, slot.len));
        out
    }
}

fn has(chord: Chord, tone: Tone) -> bool {
    chord.four().iter().any(|d| d.1 == chord.above(tone))
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
            let own = own_cost(dice, candidate, &slots[index], favourite, frame.ranges[0]);
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

fn own_cost(
    dice: &mut Dice,
    candidate: &Candidate,
    slot: &Slot,
    favourite: Option<Kind>,
    (low, high): (i16, i16),
) -> i32 {
    // A lead sounds best in the middle of its range.
    let off_centre = (candidate.lead() - i16::midpoint(low, high)).abs();
    let noise = dice.roll(8) as i32 + i32::from((off_centre - 5).max(0)) / 2;
    let kind = match candidate.kind {
        kind if Some(kind) == favourite => -15,
        Kind::Chord if slot.weak => 3,
        Kind::Chord | Kind::Passing | Kind::Kept => 0,
        Kind::Tension => 2,
        _ => 3,
    };
    noise + kind
}

/// The four different notes of a voicing.
fn four_of(voices: &[Tone]) -> [Tone; 4] {
    let mut four: Vec<Tone> = Vec::new();
    for voice in voices {
        if four.iter().all(|t| t.class() != voice.class()) {
            four.push(*voice);
        }
    }
    four.try_into().unwrap_or([voices[0]; 4])
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
    let percent = if frame.habit == Some(Kind::CommonTone) {
        percent.max(50)
    } else {
        percent
    };
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
        let lead = chord.above(path[at].voices[0]);
        let own =
            !path[at].kind.moves() || chord.sets().iter().any(|s| !s.long && s.lead.1 == lead);
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
            let set = four_of(&moved);
            path[at] = Candidate {
                kind,
                set,
                voices: moved,
            };
        }
    }
}
