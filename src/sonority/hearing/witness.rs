//! The context of every note: what the other parts strike with it, and what a pitch class would be
//! among them. Found once for a score; a part that goes with the others costs a look at each note.

use crate::ground::chord::Chord;
use crate::ground::instrument::Property;
use crate::ground::pitch::PitchClass;
use crate::ground::time::Ticks;
use crate::score::{NoteFlags, Part, Score};
use crate::sonority::sections;
use std::ops::Range;
use std::sync::LazyLock;

/// A set of pitch classes, a bit each from C.
pub type Classes = u16;

/// The set of one class.
pub const fn bit(class: PitchClass) -> Classes {
    1 << class.get()
}

/// A part that plays one note at a time.
pub struct Line {
    /// 0-based index of the part.
    pub part: u32,
    /// Which section it is in, and its seat there from the top, 0-based.
    pub section: usize,
    /// See `section`.
    pub seat: usize,
    /// Its notes as struck, in order.
    pub attacks: Vec<Attack>,
}

/// A note struck, its ties followed.
#[derive(Clone, Copy)]
pub struct Attack {
    /// Index into the part's notes.
    pub note: u32,
    /// When it is struck.
    pub onset: Ticks,
    /// When it ends.
    pub end: Ticks,
    /// Sounding pitch in semitones.
    pub midi: i16,
    /// Index into the moments.
    pub moment: usize,
}

/// One line's part in a moment.
#[derive(Clone, Copy)]
pub struct Strike {
    /// Index into the lines.
    pub line: usize,
    /// Sounding pitch in semitones.
    pub midi: i16,
}

/// A time at which somebody strikes a note.
struct Moment {
    onset: Ticks,
    /// Its first strike; the next moment's is the end.
    first: usize,
    /// The classes of the chord symbol in force, and of the next when it is near.
    named: [Classes; 2],
}

/// What others strike with a note.
#[derive(Clone, Copy)]
pub struct Company {
    /// Their classes.
    pub classes: Classes,
    /// How many they are.
    pub count: usize,
    /// The classes of the symbol they go with; none, when they go with no symbol.
    named: Classes,
}

/// Four-note chords that a section voices, and those with tensions for chord notes, as semitones above a
/// root. Common practice, no source.
const USUAL: [[u8; 4]; 6] = [
    [0, 4, 7, 9],
    [0, 4, 7, 10],
    [0, 4, 7, 11],
    [0, 3, 7, 9],
    [0, 3, 6, 9],
    [0, 5, 7, 10],
];
const RARE: [[u8; 4]; 10] = [
    [0, 3, 7, 11],
    [0, 4, 8, 10],
    [0, 4, 6, 10],
    [0, 4, 8, 11],
    [0, 2, 4, 7],
    [0, 2, 3, 7],
    [2, 4, 9, 10],
    [1, 4, 9, 10],
    [3, 4, 7, 10],
    [0, 3, 5, 10],
];

/// Sets of pitch classes by the chord they are, wherever its root is.
struct Sets {
    /// The same for all sets that are one another moved: the least of them.
    alike: Vec<Classes>,
    /// How likely a chord is before anything is known of the score: 1 for a usual one and its parts.
    likely: Vec<f32>,
}

static SETS: LazyLock<Sets> = LazyLock::new(|| {
    let turned = |set: u16, by: u32| (set << by | set >> (12 - by)) & 0xfff;
    let alike = (0..4096u16)
        .map(|set| (0..12).map(|by| turned(set, by)).min().unwrap_or(set))
        .collect();
    let mut likely = vec![0.03; 4096];
    for (chords, value) in [(&RARE[..], 0.25), (&USUAL[..], 1.0)] {
        for chord in chords {
            for (root, part) in (0..12u8).flat_map(|r| (1..16u8).map(move |p| (r, p))) {
                let chosen = chord.iter().enumerate().filter(|(i, _)| part >> i & 1 == 1);
                let set = chosen.fold(0usize, |set, (_, c)| set | 1 << ((c + root) % 12));
                if let Some(slot) = likely.get_mut(set) {
                    *slot = value;
                }
            }
        }
    }
    Sets { alike, likely }
});

fn alike(set: Classes) -> usize {
    SETS.alike
        .get(usize::from(set))
        .map_or(0, |s| usize::from(*s))
}

/// Buckets by how many others strike: 2, 3, 4, 5 and more.
const BUCKETS: usize = 4;

/// All lines of a score, and all times at which they strike.
pub struct Witness {
    pub lines: Vec<Line>,
    moments: Vec<Moment>,
    strikes: Vec<Strike>,
    usage: Usage,
    /// Of each line, what it costs to be out of the order of seats, by how seldom the others of its
    /// section are among themselves.
    crossing: Vec<f32>,
}

/// How often each set of classes is struck in this score, by how many strike.
#[derive(Default)]
struct Usage {
    /// The set itself: its chord in its key.
    own: [Vec<f32>; BUCKETS],
    /// The share of its chord, wherever the root is.
    chord: [Vec<f32>; BUCKETS],
}

impl Usage {
    /// How much the likelihood before anything is known weighs.
    const PRIOR: f32 = 2.0;

    /// How much a chord elsewhere weighs against the same chord here.
    const ELSEWHERE: f32 = 5.0;

    fn of(own: [Vec<f32>; BUCKETS]) -> Self {
        let chord = own.each_ref().map(|counts| {
            let mut all = 6.0 * Self::PRIOR;
            let mut chords = vec![0.0; counts.len()];
            for (set, n) in counts.iter().enumerate().filter(|(_, n)| **n > 0.0) {
                all += n;
                if let Some(sum) = chords.get_mut(alike(set as Classes)) {
                    *sum += n;
                }
            }
            let each = chords.iter().zip(&SETS.likely);
            each.map(|(n, likely)| (n + Self::PRIOR * likely) / all)
                .collect()
        });
        Self { own, chord }
    }

    fn weight(&self, bucket: usize, set: Classes) -> f32 {
        let at = |all: &[Vec<f32>; BUCKETS], set: usize| {
            all.get(bucket)
                .and_then(|b| b.get(set))
                .copied()
                .unwrap_or_default()
        };
        at(&self.own, usize::from(set)) + Self::ELSEWHERE * at(&self.chord, alike(set))
    }
}

/// What each pitch class costs beside what others strike, in nats: the less, the likelier it is there.
pub type ClassCosts = [f32; 12];

/// What costs less than this goes with the others.
pub const FITS: f32 = 2.7;

/// The most that a class costs.
const DEAREST: f32 = 5.5;

/// How much likelier a class is that the symbol names, while the others strike what it names.
const NAMED: f32 = 4.0;

impl Witness {
    pub fn of(score: &Score) -> Self {
        let lines = lines(score);
        let mut struck: Vec<(Ticks, usize, usize)> = Vec::new();
        for (line, l) in lines.iter().enumerate() {
            struck.extend(
                l.attacks
                    .iter()
                    .enumerate()
                    .map(|(i, a)| (a.onset, line, i)),
            );
        }
        struck.sort_unstable();
        let mut witness = Self {
            lines,
            moments: Vec::new(),
            strikes: Vec::with_capacity(struck.len()),
            usage: Usage::default(),
            crossing: Vec::new(),
        };
        let symbols = Symbols::of(score);
        let mut symbol = 0;
        for (onset, line, index) in struck {
            if witness.moments.last().is_none_or(|m| m.onset != onset) {
                witness.moments.push(Moment {
                    onset,
                    first: witness.strikes.len(),
                    named: symbols.at(onset, &mut symbol),
                });
            }
            let moment = witness.moments.len() - 1;
            let attack = witness
                .lines
                .get_mut(line)
                .and_then(|l| l.attacks.get_mut(index));
            if let Some(attack) = attack {
                attack.moment = moment;
                let midi = attack.midi;
                witness.strikes.push(Strike { line, midi });
            }
        }
        witness.count();
        witness
    }

    fn count(&mut self) {
        let mut sets: [Vec<f32>; BUCKETS] = std::array::from_fn(|_| vec![0.0; 4096]);
        let sections = self.lines.iter().map(|l| l.section + 1).max().unwrap_or(0);
        let mut pairs = vec![Pairs::default(); sections];
        let mut of_line = vec![Pairs::default(); self.lines.len()];
        let mut here: Vec<(Classes, usize)> = vec![(0, 0); sections];
        for moment in 0..self.moments.len() {
            here.fill((0, 0));
            let (mut classes, mut count) = (0, 0);
            for strike in self.strikes(moment) {
                let own = bit(PitchClass::new(strike.midi));
                classes |= own;
                count += 1;
                let section = self.lines.get(strike.line).map_or(0, |l| l.section);
                if let Some(of_section) = here.get_mut(section) {
                    of_section.0 |= own;
                    of_section.1 += 1;
                }
                if let Some(crossed) = self.crossed(moment, strike.line, strike.midi) {
                    let sums = [pairs.get_mut(section), of_line.get_mut(strike.line)];
                    for sum in sums.into_iter().flatten() {
                        sum.all += crossed.all;
                        sum.out += crossed.out;
                    }
                }
            }
            let mut add = |classes: Classes, count: usize| {
                let n = bucket(count.saturating_sub(1));
                if let Some(n) = sets
                    .get_mut(n)
                    .and_then(|c| c.get_mut(usize::from(classes)))
                {
                    *n += 1.0;
                }
            };
            if count >= 3 {
                add(classes, count);
            }
            for of_section in &here {
                if of_section.1 >= 3 && of_section.1 != count {
                    add(of_section.0, of_section.1);
                }
            }
        }
        self.usage = Usage::of(sets);
        self.crossing = of_line
            .iter()
            .zip(&self.lines)
            .map(|(own, line)| {
                // Each pair was counted from both its sides.
                let all = pairs.get(line.section).copied().unwrap_or_default();
                let others = all.all.saturating_sub(2 * own.all) as f32;
                let out = all.out.saturating_sub(2 * own.out) as f32;
                (-((out + 1.0) / (others + 12.0)).ln()).clamp(0.0, 3.5)
            })
            .collect();
    }

    /// How many of its section's seats a pitch of a line is out of order with in a moment; `None` where
    /// the section is not in harmony.
    fn crossed(&self, moment: usize, line: usize, midi: i16) -> Option<Pairs> {
        let own = self.lines.get(line)?;
        let mut classes = bit(PitchClass::new(midi));
        let mut pairs = Pairs::default();
        for strike in self.strikes(moment).iter().filter(|s| s.line != line) {
            let Some(other) = self
                .lines
                .get(strike.line)
                .filter(|l| l.section == own.section)
            else {
                continue;
            };
            classes |= bit(PitchClass::new(strike.midi));
            let out = if other.seat < own.seat {
                midi > strike.midi
            } else {
                midi < strike.midi
            };
            pairs.all += 1;
            pairs.out += u32::from(out);
        }
        (classes.count_ones() >= 3).then_some(pairs)
    }

    /// All that is struck in a moment.
    pub fn strikes(&self, moment: usize) -> &[Strike] {
        let first = self.moments.get(moment).map_or(0, |m| m.first);
        let end = self
            .moments
            .get(moment + 1)
            .map_or(self.strikes.len(), |m| m.first);
        self.strikes.get(first..end).unwrap_or_default()
    }

    /// The moment at a time.
    pub fn moment_at(&self, onset: Ticks) -> Option<usize> {
        self.moments.binary_search_by_key(&onset, |m| m.onset).ok()
    }

    /// What the others strike in a moment beside a line: all, or those of its section where all
    /// together make no chord. `None` where fewer than two strike, or nothing can be made of them.
    pub fn company(&self, moment: usize, line: usize) -> Option<Company> {
        let section = self.lines.get(line)?.section;
        let all = self.strikes(moment);
        let others = |wanted: &dyn Fn(usize) -> bool| {
            let (mut classes, mut count) = (0, 0);
            for strike in all.iter().filter(|s| s.line != line && wanted(s.line)) {
                classes |= bit(PitchClass::new(strike.midi));
                count += 1;
            }
            (classes, count)
        };
        let own = |l: usize| self.lines.get(l).is_some_and(|l| l.section == section);
        [others(&|_| true), others(&own)]
            .into_iter()
            .find_map(|(classes, count)| {
                if count < 2 || classes.count_ones() < 2 {
                    return None;
                }
                let named = self.moments.get(moment)?.named;
                let named = named
                    .into_iter()
                    .find(|n| *n != 0 && classes & !n == 0)
                    .unwrap_or(0);
                let known = named != 0
                    || SETS
                        .likely
                        .get(usize::from(classes))
                        .is_some_and(|l| *l > 0.1);
                known.then_some(Company {
                    classes,
                    count,
                    named,
                })
            })
    }

    /// What it costs a line to strike with fewer than two others, by how seldom it does.
    pub fn alone(&self, line: usize) -> f32 {
        let Some(own) = self.lines.get(line) else {
            return 0.0;
        };
        let strikes = |a: &&Attack| self.strikes(a.moment).len() < 3;
        let alone = own.attacks.iter().filter(strikes).count() as f32;
        // Half of them at most is by itself where it is meant to be.
        (-((alone + 0.5) / (own.attacks.len() as f32 + 1.0) / 2.0).ln()).clamp(0.1, 3.0)
    }

    /// What it costs a line to be in unison with another of its section while that is in harmony, by
    /// how seldom it is but for some of its notes.
    pub fn unison(&self, line: usize, without: Range<usize>) -> f32 {
        let Some(own) = self.lines.get(line) else {
            return 0.0;
        };
        let (mut all, mut unisons) = (0, 0);
        for (_, attack) in (0..)
            .zip(&own.attacks)
            .filter(|(i, _)| !without.contains(i))
        {
            let mut classes = 0;
            let mut same = false;
            for strike in self.strikes(attack.moment) {
                if strike.line != line
                    && self
                        .lines
                        .get(strike.line)
                        .is_some_and(|l| l.section == own.section)
                {
                    classes |= bit(PitchClass::new(strike.midi));
                    same |= strike.midi == attack.midi;
                }
            }
            if classes.count_ones() >= 2 {
                all += 1;
                unisons += u32::from(same);
            }
        }
        (-((unisons as f32 + 0.5) / (all as f32 + 2.0)).ln()).clamp(0.0, 3.0)
    }

    /// What each pitch class costs in a company in which `stands` is struck, or nothing yet.
    pub fn class_costs(&self, company: Company, stands: Option<i16>) -> ClassCosts {
        let bucket = bucket(company.count);
        let own = stands.map(PitchClass::new);
        let weight = |class: PitchClass| {
            let set = company.classes | bit(class);
            // What is struck here is no evidence for itself.
            let here = if Some(class) == own { 1.0 } else { 0.0 };
            let weight = (self.usage.weight(bucket, set) - here).max(0.01);
            if company.named & bit(class) != 0 {
                weight * NAMED
            } else {
                weight
            }
        };
        let weights: ClassCosts = std::array::from_fn(|c| weight(PitchClass::new(c as i16)));
        let all: f32 = weights.iter().sum();
        weights.map(|w| (-(w / all).ln()).min(DEAREST))
    }

    /// What a pitch of a line costs by its octave.
    pub fn cost_of_seat(&self, moment: usize, line: usize, midi: i16) -> f32 {
        let cost = self.crossing.get(line).copied().unwrap_or_default();
        match self.crossed(moment, line, midi).map_or(0, |p| p.out) {
            0 => 0.0,
            1 => cost * 0.8,
            _ => cost,
        }
    }
}

/// Pairs of seats.
#[derive(Clone, Copy, Default)]
struct Pairs {
    all: u32,
    /// Out of order.
    out: u32,
}

/// The cost of a pitch.
pub fn cost_in(costs: &ClassCosts, midi: i16) -> f32 {
    costs
        .get(midi.rem_euclid(12).unsigned_abs() as usize)
        .copied()
        .unwrap_or_default()
}

fn bucket(others: usize) -> usize {
    others.clamp(2, BUCKETS + 1) - 2
}

/// The chord symbols as sets.
struct Symbols {
    each: Vec<(Ticks, Classes)>,
    near: Ticks,
}

impl Symbols {
    fn of(score: &Score) -> Self {
        let classes = |c: &Chord| c.classes().fold(0, |set, class| set | bit(class));
        Self {
            each: score
                .chords
                .iter()
                .map(|m| (m.onset, m.value.chord.as_ref().map_or(0, classes)))
                .collect(),
            near: score.per_quarter,
        }
    }

    /// Those in force and coming at a time; times go up, `next` is the first symbol after the last one.
    fn at(&self, onset: Ticks, next: &mut usize) -> [Classes; 2] {
        while self.each.get(*next).is_some_and(|(at, _)| *at <= onset) {
            *next += 1;
        }
        let now = next.checked_sub(1).and_then(|i| self.each.get(i));
        let coming = self
            .each
            .get(*next)
            .filter(|(at, _)| *at <= onset + self.near);
        [now, coming].map(|s| s.map_or(0, |(_, classes)| *classes))
    }
}

fn lines(score: &Score) -> Vec<Line> {
    let mut lines = Vec::new();
    for (section, s) in sections(score).iter().enumerate() {
        if s.chordal || s.is(Property::BassLine) || s.is(Property::Unpitched) {
            continue;
        }
        let members = s.parts.iter().enumerate();
        // A part may be in several sections, and belongs to one.
        for (seat, member) in members.filter(|(_, m)| m.own) {
            let bass = |p| member.instrument.is_some_and(|i| i.is(p));
            if bass(Property::BassLine) || bass(Property::Unpitched) {
                continue;
            }
            let Some(part) = score.parts.get(member.part as usize) else {
                continue;
            };
            if let Some(attacks) = attacks(part) {
                lines.push(Line {
                    part: member.part,
                    section,
                    seat,
                    attacks,
                });
            }
        }
    }
    lines
}

/// The notes of a part as struck; none where it plays several at once.
fn attacks(part: &Part) -> Option<Vec<Attack>> {
    if part.staves > 1 {
        return None;
    }
    let mut attacks: Vec<Attack> = Vec::with_capacity(part.notes.len());
    let mut together = 0;
    for (index, note) in part.notes.iter().enumerate() {
        if !note.sounds() || note.duration <= Ticks::ZERO {
            continue;
        }
        let midi = note.sounding.midi();
        if let Some(last) = attacks.last_mut() {
            if last.onset == note.onset {
                together += 1;
                continue;
            }
            if note.flags.has(NoteFlags::TIED_IN) && last.end == note.onset && last.midi == midi {
                last.end = note.end();
                continue;
            }
        }
        attacks.push(Attack {
            note: index as u32,
            onset: note.onset,
            end: note.end(),
            midi,
            moment: 0,
        });
    }
    (together * 20 <= attacks.len()).then_some(attacks)
}
