//! How the notes of a technique are dealt out over the seats: one each, some doubled, or block by block.
//!
//! Common practice, no source: trumpets close over trombones close or open; a fifth voice doubles the lead; in
//! larger groups neighbours share a voice, and a lower group plays an octave below.

use super::answer::Weighed;
use super::seats::{Role, Seat};
use crate::ground::pitch::PitchClass;
use crate::score::FREE;
use crate::voicing::{Form, Frame, Mechanical, Technique, Voicing, close_position};
use std::ops::Range;

/// How a technique is dealt out over some seats.
#[derive(Clone, Debug)]
pub(super) struct Arrangement {
    /// What is written: as asked for, or the form of it for so many players.
    pub technique: Technique,
    /// The technique whose voicings are dealt out.
    pub base: Technique,
    /// How many notes a voicing of it has.
    pub voices: usize,
    /// What was done about the number of players, in words.
    pub note: Option<String>,
    deal: Deal,
    /// How many seats at the end double the lead.
    pub doublers: usize,
}

#[derive(Clone, Debug)]
enum Deal {
    /// Each seat, or the one that plays chords, has the voice of its number.
    Straight,
    /// Each seat has this voice, in this block.
    Shared(Vec<(usize, usize)>),
    /// Each block voices the same four notes by itself.
    Blocks(Vec<Block>),
}

#[derive(Clone, Debug)]
struct Block {
    seats: Range<usize>,
    technique: Technique,
}

/// The octave in which a block or a seat plays over a whole passage, in semitones below the lead.
#[derive(Clone, Debug)]
pub(super) struct Octaves {
    pub seats: Vec<i16>,
    pub blocks: Vec<i16>,
}

impl Octaves {
    /// These, and the same with the lower blocks an octave higher.
    pub(super) fn ways(&self) -> Vec<Self> {
        let mut ways = vec![self.clone()];
        if self.blocks.len() > 1 && self.blocks.iter().skip(1).all(|b| *b >= 12) {
            let mut higher = self.clone();
            for block in higher.blocks.iter_mut().skip(1) {
                *block -= 12;
            }
            ways.push(higher);
        }
        ways
    }
}

impl Arrangement {
    /// For so many seats as there are; the technique as asked for where it has a form for them.
    pub(super) fn new(asked: Technique, seats: &[Seat]) -> Self {
        let doublers = seats.iter().filter(|s| s.role == Role::Doubles).count();
        let players = seats.len() - doublers;
        let mut made = Self {
            technique: asked,
            base: asked,
            voices: players,
            note: None,
            deal: Deal::Straight,
            doublers,
        };
        if let [one] = seats
            && !one.instrument.single_line
        {
            made.voices = match asked {
                Technique::Mechanical(m) => m.voices(),
                Technique::Form(f) => *f.voices().end().min(&5),
            };
            return made;
        }
        match asked {
            Technique::Form(f) if f.is_doubling() => {}
            Technique::Mechanical(m) => made.mechanical(m, seats, players),
            Technique::Form(f) => made.form(f, seats, players),
        }
        made
    }

    fn mechanical(&mut self, asked: Mechanical, seats: &[Seat], players: usize) {
        match players {
            0..=3 => self.few(players),
            4 => {
                let four = asked.for_voices(4).unwrap_or(Mechanical::FourWayClose);
                self.base = four.into();
                // A seat of its own that doubles the lead makes the fifth voice.
                let five = four.for_voices(5).filter(|_| self.doublers == 1);
                self.technique = five.unwrap_or(four).into();
                if self.doublers == 0 && four != asked {
                    self.note = Some(format!(
                        "four players: {}, with the lead not doubled",
                        self.technique
                    ));
                }
            }
            5 => {
                let five = asked.for_voices(5).unwrap_or(Mechanical::DoubledLead);
                self.base = five.into();
                self.technique = self.base;
                if five != asked {
                    self.note = Some("five players: the fifth voice doubles the lead".to_owned());
                }
            }
            _ => self.many(asked, seats, players),
        }
    }

    /// Two or three players have the lead and guide tones.
    fn few(&mut self, players: usize) {
        let form = if players == 3 {
            Form::ThreePart
        } else {
            Form::TwoPart
        };
        self.note = Some(format!(
            "{players} players: the lead over guide tones ({form}) in place of {}",
            self.technique
        ));
        self.technique = form.into();
        self.base = self.technique;
    }

    /// Six or more: blocks of one section each, or neighbours that share a voice.
    fn many(&mut self, asked: Mechanical, seats: &[Seat], players: usize) {
        let blocks = blocks(seats.get(..players).unwrap_or_default());
        if blocks.len() < 2 {
            let voices = if players.is_multiple_of(4) { 4 } else { 5 };
            let own = asked.for_voices(voices).unwrap_or(asked);
            self.base = own.into();
            self.technique = own.into();
            self.share(&blocks, voices);
            return;
        }
        self.base = Mechanical::FourWayClose.into();
        self.voices = 4;
        let last = blocks.len() - 1;
        let open = asked.for_voices(4).unwrap_or(asked);
        let blocks = blocks.into_iter().enumerate().map(|(at, seats)| Block {
            seats,
            technique: if at == 0 && last > 0 {
                Mechanical::FourWayClose.into()
            } else {
                open.into()
            },
        });
        self.deal = Deal::Blocks(blocks.collect());
    }

    fn form(&mut self, asked: Form, seats: &[Seat], players: usize) {
        let (least, most) = (*asked.voices().start(), *asked.voices().end());
        if asked.voices().contains(&players) {
            return;
        }
        if players < least {
            if players <= 3 {
                self.few(players);
                if asked == Form::ThreePart {
                    self.note = None;
                }
                return;
            }
            let four = if asked == Form::UpperStructure {
                Mechanical::Drop2
            } else {
                Mechanical::FourWayClose
            };
            self.note = Some(format!("four players: {four} in place of {asked}"));
            self.technique = four.into();
            self.base = self.technique;
            return;
        }
        let blocks = blocks(seats.get(..players).unwrap_or_default());
        let [first, .., last] = blocks.as_slice() else {
            self.share(&blocks, most);
            return;
        };
        if asked == Form::Spread && (4..=5).contains(&last.len()) {
            self.base = Mechanical::FourWayClose.into();
            self.voices = 4;
            let made = blocks.iter().map(|seats| Block {
                seats: seats.clone(),
                technique: if seats == last {
                    Form::Spread.into()
                } else {
                    Mechanical::FourWayClose.into()
                },
            });
            self.deal = Deal::Blocks(made.collect());
            return;
        }
        let voices = first.len().clamp(least, most);
        self.share(&blocks, voices);
    }

    /// Neighbours share a voice where a block has more players than voices.
    fn share(&mut self, blocks: &[Range<usize>], voices: usize) {
        self.voices = voices;
        let of = blocks.iter().enumerate().flat_map(|(at, block)| {
            let size = block.len();
            (0..size).map(move |i| {
                let voice = if size > voices { i * voices / size } else { i };
                (voice, at)
            })
        });
        self.deal = Deal::Shared(of.collect());
    }

    /// The octaves that keep every block and every doubling in its range best, over all leads.
    pub(super) fn octaves(&self, leads: &[i16], seats: &[Seat]) -> Octaves {
        let blocks = match &self.deal {
            Deal::Straight => vec![0],
            Deal::Shared(of) => {
                let count = of.iter().map(|(_, block)| block + 1).max().unwrap_or(1);
                let ends = |block: usize| {
                    let first = of.iter().position(|(_, b)| *b == block)?;
                    let last = of.iter().rposition(|(_, b)| *b == block)?;
                    Some((seats.get(first)?, seats.get(last)?))
                };
                (0..count)
                    .map(|b| octave_of_block(leads, b, ends(b), 10))
                    .collect()
            }
            Deal::Blocks(blocks) => blocks
                .iter()
                .enumerate()
                .map(|(at, block)| {
                    let last = block.seats.end.saturating_sub(1);
                    let ends = seats.get(block.seats.start).zip(seats.get(last));
                    let open = block.technique != Mechanical::FourWayClose.into();
                    octave_of_block(leads, at, ends, if open { 15 } else { 9 })
                })
                .collect(),
        };
        Octaves {
            seats: octaves_of_seats(self.technique, leads, seats),
            blocks,
        }
    }

    /// The first seat of each block.
    pub(super) fn heads(&self) -> Vec<usize> {
        match &self.deal {
            Deal::Straight => vec![0],
            Deal::Shared(of) => {
                let heads = of.iter().enumerate();
                let new =
                    heads.filter(|(i, (_, b))| *i == 0 || of.get(i - 1).is_some_and(|o| o.1 != *b));
                new.map(|(i, _)| i).collect()
            }
            Deal::Blocks(blocks) => blocks.iter().map(|b| b.seats.start).collect(),
        }
    }

    /// What a block plays in, as words over its first staff.
    pub(super) fn said(&self, option: &Weighed, block: usize, seats: &[Seat]) -> &'static str {
        let players = seats.len() - self.doublers;
        let heads = self.heads();
        let from = heads.get(block).copied().unwrap_or(0);
        let to = heads.get(block + 1).copied().unwrap_or(players);
        let own = option.voicing.get(from..to).unwrap_or(&option.voicing);
        if let Technique::Form(form) = option.technique
            && form.is_doubling()
        {
            let unison = own.windows(2).all(|w| matches!(w, [a, b] if a == b));
            return if unison && !own.is_empty() {
                Form::Unison.name()
            } else {
                form.name()
            };
        }
        if option.technique != self.technique {
            return Self::new(option.technique, seats).name_of(block, to - from);
        }
        self.name_of(block, to - from)
    }

    /// The technique of a block of so many; free where it has no name.
    fn name_of(&self, block: usize, size: usize) -> &'static str {
        let named = match &self.deal {
            Deal::Straight => return self.technique.name(),
            Deal::Shared(_) => self.technique.for_voices(size),
            Deal::Blocks(blocks) => {
                let own = blocks.get(block).map(|b| b.technique);
                own.and_then(|t| t.for_voices(size))
            }
        };
        named.map_or(FREE, Technique::name)
    }

    /// A voicing of the base technique seat by seat; `None` where a block has none of its own.
    pub(super) fn dealt(
        &self,
        base: &Weighed,
        frame: Option<&Frame<'_>>,
        octaves: &Octaves,
        seats: &[Seat],
    ) -> Option<Voicing> {
        let lead = *base.voicing.first()?;
        let mut out: Voicing = match &self.deal {
            Deal::Straight => base.voicing.clone(),
            Deal::Shared(of) => of
                .iter()
                .map(|(voice, block)| Some(base.voicing.get(*voice)? - octaves.blocks.get(*block)?))
                .collect::<Option<Voicing>>()?,
            Deal::Blocks(blocks) => {
                let classes: Vec<PitchClass> = base.names.iter().map(|n| n.class()).collect();
                let mut out = Voicing::new();
                for (block, down) in blocks.iter().zip(&octaves.blocks) {
                    let own = seats.get(block.seats.clone())?;
                    out.extend(block.voiced(lead - down, &classes, frame, own)?);
                }
                out
            }
        };
        for seat in octaves.seats.iter().skip(seats.len() - self.doublers) {
            out.push(lead - seat);
        }
        Some(out)
    }
}

impl Block {
    /// The block's own voicing under its top note.
    fn voiced(
        &self,
        top: i16,
        classes: &[PitchClass],
        frame: Option<&Frame<'_>>,
        seats: &[Seat],
    ) -> Option<Voicing> {
        let size = seats.len();
        if let Technique::Form(form) = self.technique {
            let lowest = seats.last()?.lowest();
            let plays = |v: &Voicing| v.iter().zip(seats).all(|(&m, s)| s.cost(m).is_some());
            let all = form.voicings(top, size, frame?, lowest);
            return all.into_iter().map(|(_, v)| v).find(plays);
        }
        let close = close_position(top, classes).filter(|c| c.len() == 4)?;
        let own = self.technique.mechanical()?;
        Some(match size {
            0..=3 => close.into_iter().take(size).collect(),
            4 => own.for_voices(4).unwrap_or(own).apply(&close),
            5 => own.for_voices(5).unwrap_or(own).apply(&close),
            more => {
                let five = own.for_voices(5).unwrap_or(own).apply(&close);
                (0..more)
                    .map(|i| five.get(i * five.len() / more).copied())
                    .collect::<Option<Voicing>>()?
            }
        })
    }
}

/// Runs of seats of one section from the top; a single one joins its neighbours.
fn blocks(seats: &[Seat]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (at, seat) in seats.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|i| seats.get(i));
        let same = before.is_some_and(|b| b.instrument.section == seat.instrument.section);
        match runs.last_mut() {
            Some(run) if same => run.end = at + 1,
            _ => runs.push(at..at + 1),
        }
    }
    let mut joined: Vec<Range<usize>> = Vec::new();
    for run in runs {
        match joined.last_mut() {
            Some(last) if last.len() < 2 || run.len() < 2 => last.end = run.end,
            _ => joined.push(run),
        }
    }
    joined
}

/// How far below the lead a block plays: the first not at all, the others where its outer seats are at ease.
fn octave_of_block(leads: &[i16], block: usize, ends: Option<(&Seat, &Seat)>, span: i16) -> i16 {
    let Some((top, bottom)) = ends.filter(|_| block > 0) else {
        return 0;
    };
    let cost = |down: i16| -> i32 {
        let of = |seat: &Seat, m: i16| seat.cost(m).unwrap_or(100);
        let each = leads
            .iter()
            .map(|m| of(top, m - down) + of(bottom, m - down - span));
        each.sum()
    };
    [12, 0, 24]
        .into_iter()
        .min_by_key(|d| cost(*d))
        .unwrap_or(12)
}

/// The octave each seat keeps in unison and octaves, and in which it doubles the lead: the upper half where
/// the lead is, the lower half below it where the technique is octaves; elsewhere only where its range asks for it.
pub(super) fn octaves_of_seats(technique: Technique, leads: &[i16], seats: &[Seat]) -> Vec<i16> {
    let half = seats.len() / 2;
    let down = |(i, seat): (usize, &Seat)| {
        if i == 0 {
            return 0;
        }
        let below =
            technique == Technique::Form(Form::Octaves) && i >= half || seat.role == Role::Doubles;
        let ways: &[i16] = if below { &[12, 24, 0] } else { &[0, 12, 24] };
        let missed = |down: &i16| {
            let cannot = leads.iter().filter(|m| seat.cost(*m - down).is_none());
            cannot.count()
        };
        ways.iter().copied().min_by_key(missed).unwrap_or(0)
    };
    seats.iter().enumerate().map(down).collect()
}
