//! The context of every note: what the other parts strike with it, and what a pitch class would be
//! among them. Found once for a score; a part that goes with the others costs a look at each note.

use super::kinds::{Classes, bit, likely};
use super::looks::{self, Look};
use super::order::Order;
use super::usage::{Usage, bucket};
use crate::ground::chord::Chord;
use crate::ground::instrument::Property;
use crate::ground::pitch::PitchClass;
use crate::ground::time::Ticks;
use crate::score::{NoteFlags, Part, Score};
use crate::sonority::sections;
use std::ops::Range;

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

impl Moment {
    /// What a chord costs here before anything is known of the score, in nats; nothing, where it is
    /// that of the symbol.
    fn unlikely(&self, set: Classes) -> f32 {
        if set.count_ones() < 3 || self.named.iter().any(|n| *n != 0 && set & !n == 0) {
            return 0.0;
        }
        -likely(set).max(0.03).ln()
    }
}

/// The classes of what is struck.
fn classes(strikes: &[Strike]) -> Classes {
    let each = strikes.iter().map(|s| bit(PitchClass::new(s.midi)));
    each.fold(0, |set, class| set | class)
}

/// What others strike with a note.
#[derive(Clone, Copy)]
pub struct Company {
    /// Their classes.
    pub classes: Classes,
    /// How many they are.
    pub count: usize,
    /// The classes of the symbol they go with; none, when they go with no symbol.
    pub named: Classes,
}

impl Company {
    /// In which bucket of counts they are with one note more.
    pub fn bucket(&self) -> usize {
        bucket(self.count)
    }

    /// What they cost with one note more, whatever else the score has, in nats.
    pub fn unlikely(&self, midi: i16) -> f32 {
        let class = bit(PitchClass::new(midi));
        if self.named & class != 0 {
            return 0.0;
        }
        -likely(self.classes | class).max(0.03).ln()
    }

    /// Whether they make a chord with one note more that sections usually play, or that of the symbol.
    pub fn is_usual(&self, midi: i16) -> bool {
        let class = bit(PitchClass::new(midi));
        let set = self.classes | class;
        match set.count_ones() {
            0..3 => self.named & class != 0,
            3..5 => self.named & class != 0 || likely(set) > 0.9,
            _ => self.named & class != 0 || likely(set) > 0.2,
        }
    }
}

/// All lines of a score, and all times at which they strike.
pub struct Witness {
    pub lines: Vec<Line>,
    moments: Vec<Moment>,
    strikes: Vec<Strike>,
    usage: Usage,
    order: Order,
    looks: Vec<Look>,
    /// How many lines each section has.
    players: Vec<usize>,
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
        // Each line is in order already: a sort that keeps runs only merges them.
        struck.sort();
        let mut players = vec![0; lines.iter().map(|l| l.section + 1).max().unwrap_or(0)];
        for line in &lines {
            if let Some(n) = players.get_mut(line.section) {
                *n += 1;
            }
        }
        let mut witness = Self {
            lines,
            moments: Vec::new(),
            strikes: Vec::with_capacity(struck.len()),
            usage: Usage::new(),
            order: Order::default(),
            looks: Vec::new(),
            players,
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
        let (lines, sections) = (&self.lines, self.players.len());
        let mut order = Order::new(sections, lines);
        let mut looks = vec![Look::default(); lines.len()];
        let mut usage = Usage::new();
        let section = |s: &Strike| lines.get(s.line).map(|l| l.section);
        for (index, moment) in self.moments.iter().enumerate() {
            let all = self.strikes(index);
            let classes = classes(all);
            if all.len() >= 3 {
                usage.add(classes, all.len(), moment.named);
            }
            for own in all.chunk_by(|a, b| section(a) == section(b)) {
                let set = if own.len() == all.len() {
                    classes
                } else {
                    self::classes(own)
                };
                if own.len() >= 3 && own.len() != all.len() {
                    usage.add(set, own.len(), moment.named);
                }
                if own.len() > 1 && set.count_ones() > 2 {
                    order.add(lines, own);
                }
                let set = if own.len() > 3 { set } else { classes };
                looks::see(&mut looks, own, moment.unlikely(set));
            }
        }
        usage.done();
        order.done(lines);
        (self.usage, self.order, self.looks) = (usage, order, looks);
    }

    /// Whether a stretch of a line may be meant at another pitch.
    pub fn may_be_displaced(&self, line: usize) -> bool {
        let Some(own) = self.lines.get(line) else {
            return false;
        };
        self.looks.get(line).is_some_and(Look::is_unlikely)
            || self.order.cost(line) > 1.0 && self.order.out(own) >= 3
    }

    /// Whether a stretch of a line may be meant at another time.
    pub fn may_be_late(&self, line: usize) -> bool {
        let alone = self.alone(line);
        let cost = |a: &Attack| match self.moments.get(a.moment) {
            _ if self.strikes(a.moment).len() < 3 => alone,
            Some(moment) => moment.unlikely(classes(self.strikes(a.moment))),
            None => 0.0,
        };
        let mut sum: f32 = 0.0;
        let attacks = self.lines.get(line).into_iter().flat_map(|l| &l.attacks);
        attacks.into_iter().any(|a| {
            sum = (sum + cost(a) - 1.2).max(0.0);
            sum >= 4.0
        })
    }

    /// Whether a stretch of a line may be another one's.
    pub fn may_be_copied(&self, line: usize) -> bool {
        self.looks.get(line).is_some_and(Look::is_doubled)
    }

    /// How many of its section's seats a pitch of a line is out of order with in a moment; `None` where
    /// the section is not in harmony.
    fn crossed(&self, moment: usize, line: usize, midi: i16) -> Option<u32> {
        let own = self.lines.get(line)?;
        let mut classes = bit(PitchClass::new(midi));
        let mut out = 0;
        for strike in self.strikes(moment).iter().filter(|s| s.line != line) {
            let Some(other) = self
                .lines
                .get(strike.line)
                .filter(|l| l.section == own.section)
            else {
                continue;
            };
            classes |= bit(PitchClass::new(strike.midi));
            out += u32::from(match self.order.is_above(other, own) {
                Some(true) => midi > strike.midi,
                Some(false) => midi < strike.midi,
                None => false,
            });
        }
        (classes.count_ones() >= 3).then_some(out)
    }

    /// Whether a pitch of a line is of the class that all others strike in a moment; `None` where they
    /// are silent or strike several.
    pub fn in_unison(&self, moment: usize, line: usize, midi: i16) -> Option<bool> {
        let mut others = self.strikes(moment).iter().filter(|s| s.line != line);
        let first = others.next()?.midi;
        let alike = others.all(|s| (s.midi - first) % 12 == 0);
        alike.then_some((midi - first) % 12 == 0)
    }

    /// How far a pitch of a line would be from the middle of what the others of its section strike.
    pub fn away(&self, moment: usize, line: usize, midi: i16) -> i32 {
        let section = self.lines.get(line).map(|l| l.section);
        let of =
            |s: &&Strike| s.line != line && self.lines.get(s.line).map(|l| l.section) == section;
        let others = self.strikes(moment).iter().filter(of);
        let (sum, count) = others.fold((0, 0), |(sum, n), s| (sum + i32::from(s.midi), n + 1));
        if count == 0 {
            return 0;
        }
        (i32::from(midi) - sum / count).abs()
    }

    /// Whether a line has the top or the bottom note of its section in a moment.
    pub fn is_outer(&self, moment: usize, line: usize) -> bool {
        let Some(section) = self.lines.get(line).map(|l| l.section) else {
            return false;
        };
        let all = self.strikes(moment);
        let own = all.iter().find(|s| s.line == line).map(|s| s.midi);
        let of_section = |l: usize| self.lines.get(l).is_some_and(|l| l.section == section);
        let others = || all.iter().filter(|s| s.line != line && of_section(s.line));
        let alone = others().next().is_none();
        let rest = || {
            all.iter()
                .filter(|s| s.line != line && (alone || of_section(s.line)))
        };
        own.is_some_and(|midi| rest().all(|s| s.midi <= midi) || rest().all(|s| s.midi >= midi))
    }

    /// Whether a pitch of a line is out of the order of seats where that is a fault.
    pub fn crosses(&self, moment: usize, line: usize, midi: i16) -> bool {
        self.cost_of_seat(moment, line, midi) > 1.0
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
                let known = named != 0 || likely(classes) > 0.1;
                known.then_some(Company {
                    classes,
                    count,
                    named,
                })
            })
    }

    /// How often each chord is struck.
    pub const fn usage(&self) -> &Usage {
        &self.usage
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

    /// Whether most of a line's section strikes in a moment, without it.
    pub fn calls(&self, moment: usize, line: usize) -> bool {
        let Some(section) = self.lines.get(line).map(|l| l.section) else {
            return false;
        };
        let of_section = |l: usize| self.lines.get(l).is_some_and(|l| l.section == section);
        let players = self.players.get(section).copied().unwrap_or_default();
        let all = self.strikes(moment).iter().filter(|s| s.line != line);
        if players < 3 {
            return all.count() >= 3;
        }
        let count = all.filter(|s| of_section(s.line)).count();
        count >= 2 && count * 3 >= (players - 1) * 2
    }

    /// The moments from a time to another one, both included.
    pub fn moments_in(&self, from: Ticks, to: Ticks) -> Range<usize> {
        self.moments.partition_point(|m| m.onset < from)
            ..self.moments.partition_point(|m| m.onset <= to)
    }

    /// Whether others of a line's section strike in a moment; anybody, where it has no section.
    pub fn others_strike(&self, moment: usize, line: usize) -> bool {
        let Some(section) = self.lines.get(line).map(|l| l.section) else {
            return false;
        };
        let few = self.players.get(section).is_none_or(|n| *n < 3);
        let of_section = |l: usize| self.lines.get(l).is_some_and(|l| l.section == section);
        let mut all = self.strikes(moment).iter();
        all.any(|s| s.line != line && (few || of_section(s.line)))
    }

    /// What it costs a line to be silent where its section strikes, by how seldom it is.
    pub fn hole(&self, line: usize) -> f32 {
        let Some(own) = self.lines.get(line) else {
            return 0.0;
        };
        let (mut all, mut silent) = (0.0f32, 0.0f32);
        let mut attacks = own.attacks.iter().peekable();
        for moment in 0..self.moments.len() {
            while attacks.next_if(|a| a.moment < moment).is_some() {}
            if self.calls(moment, line) {
                all += 1.0;
                silent += f32::from(u8::from(attacks.peek().is_none_or(|a| a.moment > moment)));
            }
        }
        // Half of it at most is where it is meant to be silent.
        (-((silent + 0.5) / (all + 1.0) / 2.0).ln()).clamp(0.1, 3.0)
    }

    /// Whether others than a line's section strike in a moment.
    pub fn is_tutti(&self, moment: usize, line: usize) -> bool {
        let section = self.lines.get(line).map(|l| l.section);
        let all = self.strikes(moment).iter();
        all.map(|s| self.lines.get(s.line).map(|l| l.section))
            .any(|s| s != section)
    }

    /// Whether the others of a line's section have a chord of four notes by themselves.
    pub fn is_complete_without(&self, moment: usize, line: usize) -> bool {
        let section = self.lines.get(line).map(|l| l.section);
        let of =
            |s: &&Strike| s.line != line && self.lines.get(s.line).map(|l| l.section) == section;
        let others = self.strikes(moment).iter().filter(of);
        let set = others.fold(0, |set, s| set | bit(PitchClass::new(s.midi)));
        set.count_ones() >= 4
    }

    /// What it costs a line to be in unison with another of its section while that is in harmony, by
    /// how seldom it is but for some of its notes.
    pub fn unison(&self, line: usize, without: Range<Ticks>, tutti: bool) -> f32 {
        let Some(own) = self.lines.get(line) else {
            return 0.0;
        };
        let (mut all, mut unisons) = (0, 0);
        let attacks = own.attacks.iter();
        for attack in attacks
            .filter(|a| !without.contains(&a.onset) && self.is_tutti(a.moment, line) == tutti)
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
        (-((unisons as f32 + 1.0) / (all as f32 + 1.3)).ln()).clamp(0.0, 3.0)
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
        let cost = self.order.cost(line);
        match self.crossed(moment, line, midi).unwrap_or_default() {
            0 => 0.0,
            1 => cost * 0.8,
            _ => cost,
        }
    }
}

/// The cost of a pitch.
pub fn cost_in(costs: &ClassCosts, midi: i16) -> f32 {
    costs
        .get(midi.rem_euclid(12).unsigned_abs() as usize)
        .copied()
        .unwrap_or_default()
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
