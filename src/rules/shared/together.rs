//! Where the parts of a section are together: bars in which their attacks match, among bars in which
//! they usually do. There, all the rest has to match too. One part that differs for a bar is a
//! mistake; one that goes its own way for a while is written so.

use crate::finding::Level;
use crate::ground::time::Ticks;
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Articulations, NoteFlags, Part, Score};
use crate::sonority::Section;
use smallvec::SmallVec;
use std::ops::Range;

/// A note struck, its ties followed; of a chord in one part, the first.
pub struct Attack {
    /// Index into the part's notes.
    pub note: u32,
    pub onset: Ticks,
    pub end: Ticks,
    pub marks: Articulations,
    /// Sounding pitch in semitones.
    pub midi: i16,
    /// A tie leads here from the same pitch, and its end is missing: held or struck, nobody knows.
    pub half_tied: bool,
}

/// A part of the section, bar by bar.
pub struct Player {
    /// 0-based index into the score's parts.
    pub part: u32,
    /// The instrument family, when the instrument is known.
    pub family: Option<&'static str>,
    pub attacks: Vec<Attack>,
    /// For each bar: its attacks, and whether it sounds there, in one voice and written out.
    bars: Vec<(Range<usize>, bool)>,
}

impl Player {
    pub fn attacks_in(&self, bar: usize) -> &[Attack] {
        self.bars
            .get(bar)
            .and_then(|(range, _)| self.attacks.get(range.clone()))
            .unwrap_or_default()
    }

    fn plays(&self, bar: usize) -> bool {
        self.bars.get(bar).is_some_and(|(_, plays)| *plays)
    }

    /// The attack at a time in a bar, with its index.
    pub fn at(&self, bar: usize, onset: Ticks) -> Option<(usize, &Attack)> {
        let (here, _) = self.bars.get(bar)?;
        let attacks = self.attacks.get(here.clone())?;
        let i = attacks.partition_point(|a| a.onset < onset);
        let attack = attacks.get(i).filter(|a| a.onset == onset)?;
        Some((here.start + i, attack))
    }

    /// What sounds or was last struck at a time.
    pub fn last_before(&self, onset: Ticks) -> Option<&Attack> {
        let i = self.attacks.partition_point(|a| a.onset <= onset);
        self.attacks.get(i.checked_sub(1)?)
    }
}

/// Indices of players.
pub type Players = SmallVec<[usize; 6]>;

/// The parts that are together in a bar.
#[derive(Clone, Debug, Default)]
pub struct Company {
    /// Those with the section's rhythm.
    pub with: Players,
    /// Those whose attacks match nearly.
    pub off: Vec<usize>,
}

/// A player's attacks in a bar, the same as others at the same times.
#[derive(Clone, Copy)]
struct Rhythm<'a>(&'a [Attack]);

impl PartialEq for Rhythm<'_> {
    fn eq(&self, other: &Self) -> bool {
        let onset = |a: &Attack| a.onset;
        self.0.iter().map(onset).eq(other.0.iter().map(onset))
    }
}

/// A section, bar by bar.
pub struct Together {
    /// From the top seat down.
    pub players: Vec<Player>,
    /// For each bar of the score.
    pub bars: Vec<Company>,
    /// For each bar, when it starts and how long a beat is in it.
    beats: Vec<(Ticks, Ticks)>,
}

/// What a player has on a beat on which only one of two strikes as the section does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Divided {
    /// The same note again while the others hold theirs.
    Again,
    /// Another number of notes in the same beat: two eighths under a triplet.
    Otherwise,
}

/// How many bars to either side say whether a part usually moves with its section.
const AROUND: usize = 4;

/// In how many bars around two parts alone have to agree, and differ in none, before a difference
/// between them counts.
const WITNESSES: u32 = 4;

impl Together {
    pub fn of(score: &Score, section: &Section, least: f64) -> Self {
        let count = score.bars.len();
        let players: Vec<Player> = section
            .parts
            .iter()
            .filter_map(|member| {
                let part = score.parts.get(member.part as usize)?;
                let mut player = player(part, count);
                for ((_, plays), bar) in player.bars.iter_mut().zip(&score.bars) {
                    *plays &= section.plays_in(bar);
                }
                Some(Player {
                    part: member.part,
                    family: member.instrument.map(|i| i.family.as_str()),
                    ..player
                })
            })
            .collect();
        let mut together = Self {
            players,
            bars: vec![Company::default(); count],
            beats: score
                .bars
                .iter()
                .map(|b| (b.start, score.felt_beat_at(b.start)))
                .collect(),
        };
        if together.players.len() > 1 && !section.chordal {
            together.judge(least, section.is_choir());
        }
        together
    }

    fn judge(&mut self, least: f64, choir: bool) {
        let count = self.bars.len();
        let majorities: Vec<Players> = (0..count).map(|bar| self.majority(bar)).collect();
        // Running counts, for each player: bars played in company, and those of them in its rhythm.
        let mut sums: Vec<Vec<(u32, u32)>> =
            vec![vec![(0, 0); count.saturating_add(1)]; self.players.len()];
        for (index, (player, sum)) in self.players.iter().zip(&mut sums).enumerate() {
            let mut run = (0, 0);
            for (bar, majority) in majorities.iter().enumerate() {
                if !majority.is_empty() && player.plays(bar) {
                    run.0 += 1;
                    run.1 += u32::from(majority.contains(&index));
                }
                if let Some(slot) = sum.get_mut(bar + 1) {
                    *slot = run;
                }
            }
        }
        let usual = |player: usize, bar: usize| {
            let from = bar.saturating_sub(AROUND);
            let to = (bar + AROUND + 1).min(count);
            let between = |a: usize, b: usize| {
                let at = |i| {
                    sums.get(player)
                        .and_then(|s| s.get(i))
                        .copied()
                        .unwrap_or((0, 0))
                };
                (at(b).0 - at(a).0, at(b).1 - at(a).1)
            };
            let (before, after) = (between(from, bar), between(bar + 1, to));
            // Of two alone nobody can say who is right, unless they are always together otherwise.
            if majorities.get(bar).is_some_and(|m| m.len() == 1) {
                let all = before.0 + after.0;
                return all >= WITNESSES && before.1 + after.1 == all;
            }
            let in_company =
                |bar: Option<usize>| bar.is_some_and(|b| b < count && between(b, b + 1) == (1, 1));
            let beside = |a: Option<usize>, b: Option<usize>| in_company(a) && in_company(b);
            let (last, next) = (bar.checked_sub(1), Some(bar + 1));
            // One note struck together may be chance.
            let here = majorities.get(bar).and_then(|m| m.first());
            let several = here
                .and_then(|&p| self.players.get(p))
                .is_some_and(|p| p.attacks_in(bar).len() > 1);
            f64::from(before.1 + after.1) >= least * f64::from(before.0 + after.0)
                // A phrase in company stands beside one in which the part has a line of its own. Voices
                // meet and part all the time.
                || !choir
                    && several
                    && (beside(last, next)
                        || beside(next, Some(bar + 2))
                        || beside(last, bar.checked_sub(2)))
        };
        let mut bars = Vec::with_capacity(count);
        for (bar, majority) in majorities.iter().enumerate() {
            let with: Players = majority
                .iter()
                .copied()
                .filter(|&p| usual(p, bar))
                .collect();
            let off: Vec<usize> = match with.first() {
                Some(&model) => (0..self.players.len())
                    .filter(|p| !majority.contains(p))
                    .filter(|&p| {
                        let divides = with.len() > 1 && self.divided(p, model, bar).is_some();
                        usual(p, bar) && (divides || self.is_near(p, model, bar, least))
                    })
                    .collect(),
                None => Vec::new(),
            };
            bars.push(if with.len() + off.len() > 1 {
                Company { with, off }
            } else {
                Company::default()
            });
        }
        self.bars = bars;
    }

    /// The players with the rhythm that most have; the lead's where there is no most.
    fn majority(&self, bar: usize) -> Players {
        let players = self.players.iter().enumerate();
        let playing = players
            .filter(|(_, p)| p.plays(bar))
            .map(|(index, p)| (index, Rhythm(p.attacks_in(bar))));
        let rhythms: SmallVec<[Rhythm<'_>; 6]> = playing.clone().map(|(_, r)| r).collect();
        if rhythms.len() < 2 || rhythms.iter().all(|r| r.0.is_empty()) {
            return Players::new();
        }
        let most = most(&rhythms);
        playing
            .filter(|(_, r)| Some(*r) == most)
            .map(|(index, _)| index)
            .collect()
    }

    /// Whether the attacks of two players match in a bar, or in it and the bars beside it.
    fn is_near(&self, a: usize, b: usize, bar: usize, least: f64) -> bool {
        let (Some(a), Some(b)) = (self.players.get(a), self.players.get(b)) else {
            return false;
        };
        let matching = |bar: usize| -> (usize, usize) {
            if !a.plays(bar) || !b.plays(bar) {
                return (0, 0);
            }
            let (x, y) = (a.attacks_in(bar), b.attacks_in(bar));
            let same = x
                .iter()
                .filter(|n| y.binary_search_by_key(&n.onset, |m| m.onset).is_ok())
                .count();
            (same, x.len().max(y.len()))
        };
        let enough =
            |(same, all): (usize, usize)| all > 0 && same > 0 && same as f64 >= least * all as f64;
        let here = matching(bar);
        let beside = [bar.checked_sub(1), Some(bar + 1)]
            .into_iter()
            .flatten()
            .map(matching)
            .fold(here, |sum, n| (sum.0 + n.0, sum.1 + n.1));
        // One note displaced in a short bar: the bars beside it bear witness.
        let one_off = here.0 > 0 && here.1 - here.0.min(here.1) == 1;
        enough(here) || one_off && enough(beside)
    }

    /// How the attacks of a player in a bar differ from those of another, where they do so in one beat only,
    /// and both sound in it.
    pub fn divided(&self, player: usize, model: usize, bar: usize) -> Option<Divided> {
        let (a, b) = (self.players.get(player)?, self.players.get(model)?);
        if !a.plays(bar) || !b.plays(bar) {
            return None;
        }
        let (x, y) = (a.attacks_in(bar), b.attacks_in(bar));
        let lacks =
            |list: &[Attack], onset: Ticks| list.binary_search_by_key(&onset, |n| n.onset).is_err();
        let of_a = x.iter().filter(|n| lacks(y, n.onset));
        let of_b = y.iter().filter(|n| lacks(x, n.onset));
        let of_a: SmallVec<[Ticks; 4]> = of_a.map(|n| n.onset).collect();
        let of_b: SmallVec<[Ticks; 4]> = of_b.map(|n| n.onset).collect();
        let (start, beat) = *self.beats.get(bar)?;
        let of_beat = |onset: Ticks| (onset - start).0.checked_div_euclid(beat.0);
        let mut differ = of_a.iter().chain(&of_b);
        let first = *differ.next()?;
        if differ.any(|onset| of_beat(*onset) != of_beat(first)) {
            return None;
        }
        if let ([again], []) = (&of_a[..], &of_b[..]) {
            let (index, struck) = a.at(bar, *again)?;
            let last = a.attacks.get(index.checked_sub(1)?)?;
            let held = b.last_before(*again)?;
            let same = last.midi == struck.midi && last.end == *again;
            return (same && held.end > *again).then_some(Divided::Again);
        }
        let inside = |list: &[Attack]| {
            let here = list.iter().filter(|n| of_beat(n.onset) == of_beat(first));
            here.count()
        };
        let (in_a, in_b) = (inside(x), inside(y));
        let common = x
            .iter()
            .any(|n| of_beat(n.onset) == of_beat(first) && !lacks(y, n.onset));
        (common && in_a.min(in_b) > 1 && in_a != in_b).then_some(Divided::Otherwise)
    }

    /// All that are together in a bar, from the top seat down.
    pub fn all(&self, bar: usize) -> Players {
        let Some(company) = self.bars.get(bar) else {
            return Players::new();
        };
        let mut all: Players = company.with.iter().chain(&company.off).copied().collect();
        all.sort_unstable();
        all
    }

    /// [`Self::is_tacet`] for each of these players.
    pub fn are_tacet(&self, players: &[usize], bar: usize, model: &[Ticks]) -> bool {
        players.iter().all(|p| self.is_tacet(*p, bar, model))
    }

    /// Whether a player only comes in later than the section or leaves earlier, after or before a bar of rest:
    /// a second player doubles a part of the phrase. `model` has the section's attacks in the bar.
    pub fn is_tacet(&self, player: usize, bar: usize, model: &[Ticks]) -> bool {
        let in_bar = |bar: usize| {
            let player = self.players.get(player);
            player.map_or(&[][..], |p| p.attacks_in(bar))
        };
        let own = in_bar(bar);
        let (Some(first), Some(last)) = (own.first(), own.last()) else {
            return true;
        };
        let rests = |bar: Option<usize>| bar.is_none_or(|bar| in_bar(bar).is_empty());
        let inside = |t: &&Ticks| first.onset <= **t && **t <= last.onset;
        let same = own.iter().map(|a| &a.onset).eq(model.iter().filter(inside));
        let late = model.first().is_some_and(|t| *t < first.onset);
        let early = model.last().is_some_and(|t| *t > last.onset);
        same && (late || early)
            && (!late || rests(bar.checked_sub(1)))
            && (!early || rests(bar.checked_add(1)))
    }

    /// The note that a player strikes at a time in a bar.
    pub fn note_at(&self, player: usize, bar: usize, onset: Ticks) -> Option<NoteRef> {
        let player = self.players.get(player)?;
        let (_, attack) = player.at(bar, onset)?;
        Some(NoteRef {
            part: player.part,
            note: attack.note,
        })
    }

    /// The players of these indices.
    pub fn of_index(&self, players: &[usize]) -> Vec<&Player> {
        let each = players.iter();
        each.filter_map(|&p| self.players.get(p)).collect()
    }

    /// The names of players.
    pub fn names(&self, score: &Score, players: &[usize]) -> String {
        let names: Vec<&str> = players
            .iter()
            .filter_map(|&p| self.players.get(p))
            .map(|p| wording::part(score, p.part))
            .collect();
        wording::join(&names)
    }
}

fn player(part: &Part, count: usize) -> Player {
    let mut attacks: Vec<Attack> = Vec::with_capacity(part.notes.len());
    let mut bars: Vec<(Range<usize>, bool)> = vec![(0..0, false); count];
    let mut layers: Vec<Option<(u8, u8)>> = vec![None; count];
    let mut divided = vec![false; count];
    for (index, note) in part.notes.iter().enumerate() {
        let bar = note.at.bar as usize;
        if note.flags.has(NoteFlags::LEFT_OUT)
            && let Some(divided) = divided.get_mut(bar)
        {
            *divided = true;
        }
        if !note.sounds() || note.duration <= Ticks::ZERO {
            continue;
        }
        if let (Some(layer), Some(divided)) = (layers.get_mut(bar), divided.get_mut(bar)) {
            let own = (note.staff, note.voice);
            *divided |= layer.is_some_and(|l| l != own);
            *layer = Some(own);
        }
        if let Some((_, plays)) = bars.get_mut(bar) {
            *plays = true;
        }
        let midi = note.sounding.midi();
        if note.flags.has(NoteFlags::TIED_IN)
            && let Some(last) = attacks
                .iter_mut()
                .rev()
                .take(4)
                .find(|a| a.end == note.onset)
        {
            last.end = note.end();
            last.marks = last.marks.with(note.articulations);
            continue;
        }
        if let Some(last) = attacks.last_mut().filter(|a| a.onset == note.onset) {
            last.end = last.end.max(note.end());
            last.marks = last.marks.with(note.articulations);
            continue;
        }
        if note.flags.has(NoteFlags::TIED_IN) && attacks.last().is_some_and(|a| a.end > note.onset)
        {
            continue;
        }
        if let Some((range, _)) = bars.get_mut(bar) {
            if range.start == range.end {
                range.start = attacks.len();
            }
            range.end = attacks.len() + 1;
        }
        let half_tied = attacks
            .last()
            .is_some_and(|a| a.midi == midi && a.end == note.onset && is_tied_out(part, a));
        attacks.push(Attack {
            half_tied,
            note: index as u32,
            onset: note.onset,
            end: note.end(),
            marks: note.articulations,
            midi,
        });
    }
    for (bar, (_, plays)) in bars.iter_mut().enumerate() {
        let slashes = part.bars.get(bar).is_some_and(|b| b.slashes);
        *plays &= !slashes && !divided.get(bar).is_some_and(|d| *d);
    }
    Player {
        part: 0,
        family: None,
        attacks,
        bars,
    }
}

/// Whether a tie leads on from what was struck: from its note, or from the last that is tied to it.
fn is_tied_out(part: &Part, attack: &Attack) -> bool {
    let until = part.notes.partition_point(|n| n.onset < attack.end);
    let from = attack.note as usize;
    let notes = part.notes.get(from..until).unwrap_or_default();
    let last = notes.iter().rev().find(|n| n.end() == attack.end);
    last.is_some_and(|n| n.flags.has(NoteFlags::TIED_OUT))
}

/// The value that most have; the first one's among those that as many have.
pub fn most<T: PartialEq + Clone>(values: &[T]) -> Option<T> {
    let mut counts: SmallVec<[(&T, usize); 4]> = SmallVec::new();
    for value in values {
        match counts.iter_mut().find(|(v, _)| *v == value) {
            Some((_, n)) => *n += 1,
            None => counts.push((value, 1)),
        }
    }
    let best = counts.iter().map(|(_, n)| *n).max()?;
    counts
        .into_iter()
        .find(|(_, n)| *n == best)
        .map(|(v, _)| v.clone())
}

/// The level of a difference: that of the rule where most have the same, a note where as many have another.
/// Of two nobody can say who is right.
pub fn by_votes<T: PartialEq>(level: Level, values: &[T], wanted: &T) -> Level {
    let votes = values.iter().filter(|v| *v == wanted).count();
    if votes * 2 > values.len() {
        level
    } else {
        Level::Note
    }
}
