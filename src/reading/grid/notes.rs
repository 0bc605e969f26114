//! The cells of one part as its notes, rests and bars.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "ticks saturate; a place in a bar is not after its end"
)]

use super::cells::{Cell, CellNote, cell};
use super::lines::{RowBar, TextPiece};
use super::parts::Declared;
use super::plan::BarPlan;
use crate::ground::pitch::{Pitch, Transposition, written_fifths};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::reading::fault::{Fault, Parsed};
use crate::score::{Articulations, Key, Mark, Note, NoteFlags, Part, PartBar, Place, Rest};
use std::ops::Range;

/// A part while its cells are read.
struct PartCells<'a> {
    part: &'a mut Part,
    label: &'a str,
    transposition: Transposition,
    /// How many notes sound at the end of the last cell: as many at the end of the part's notes.
    sounding: usize,
    /// The last cell is a rest.
    resting: bool,
}

/// A cell, and where it stands.
struct Column<'a> {
    plan: &'a BarPlan<'a>,
    piece: &'a TextPiece,
    place: Place,
    duration: Ticks,
    /// It fills its bar.
    whole_bar: bool,
    /// It is the first of its bar.
    first: bool,
}

/// Fills the part of this index with its bars.
pub(super) fn fill(
    part: &mut Part,
    index: usize,
    declared: &Declared,
    plans: &[BarPlan<'_>],
    per_quarter: Ticks,
) -> Parsed<()> {
    let transposition = declared
        .instrument
        .map_or(Transposition::NONE, |i| i.transposition);
    part.transpositions
        .push(Mark::new(Place::default(), transposition, Span::default()));
    let mut cells = PartCells {
        part,
        label: &declared.label.text,
        transposition,
        sounding: 0,
        resting: false,
    };
    let mut last_key = None;
    for (bar, plan) in plans.iter().enumerate() {
        let start = Place {
            bar: bar as u32,
            offset: Ticks::ZERO,
        };
        if last_key != Some(plan.key) {
            let key = Key {
                fifths: written_fifths(plan.key.fifths, transposition),
                minor: plan.key.minor,
            };
            cells.part.keys.push(Mark::new(start, key, Span::default()));
            last_key = Some(plan.key);
        }
        let row = plan.rows.get(index).copied().flatten();
        cells.bar(plan, row, start, per_quarter)?;
    }
    Ok(())
}

impl PartCells<'_> {
    /// One bar: its row, where the system has one.
    fn bar(
        &mut self,
        plan: &BarPlan<'_>,
        row: Option<&RowBar>,
        start: Place,
        per_quarter: Ticks,
    ) -> Parsed<()> {
        let bounds = plan.bounds(per_quarter);
        let length = bounds.last().copied().unwrap_or(Ticks::ZERO);
        self.part.bars.push(PartBar {
            number: plan.number.clone(),
            filled: length,
            uncounted: plan.pickup,
            double_bar: plan.double,
            span: row.map(|r| Span::of(&r.at)).unwrap_or_default(),
            ..PartBar::default()
        });
        let Some(row) = row else {
            self.rest(start, length, true, Span::default());
            return Ok(());
        };
        if let Some(&first) = bounds.first()
            && first > Ticks::ZERO
        {
            self.rest(start, first, first == length, Span::default());
        }
        for (index, (piece, window)) in row.cells.iter().zip(bounds.windows(2)).enumerate() {
            let &[from, to] = window else { continue };
            self.cell(&Column {
                plan,
                piece,
                place: Place {
                    offset: from,
                    ..start
                },
                duration: to - from,
                whole_bar: from == Ticks::ZERO && to == length,
                first: index == 0,
            })?;
        }
        Ok(())
    }

    fn cell(&mut self, column: &Column<'_>) -> Parsed<()> {
        match cell(column.piece, self.label, &column.plan.number)? {
            Cell::Rest => self.rest_in(column),
            Cell::Held if self.sounding > 0 => self.hold(column),
            Cell::Held if self.resting => self.rest_in(column),
            Cell::Held => {
                let at = column.piece.at.clone();
                return Err(self
                    .nothing_to_hold(column, at, "-")
                    .help("write a note, or `.` for a rest"));
            }
            Cell::Notes(notes) => return self.strike(&notes, column),
        }
        Ok(())
    }

    fn rest(&mut self, at: Place, duration: Ticks, whole_bar: bool, span: Span) {
        self.part.rests.push(Rest {
            at,
            onset: Ticks::ZERO,
            duration,
            staff: 1,
            voice: 1,
            whole_bar,
            span,
        });
        self.sounding = 0;
        self.resting = true;
    }

    fn rest_in(&mut self, column: &Column<'_>) {
        let span = Span::of(&column.piece.at);
        self.rest(column.place, column.duration, column.whole_bar, span);
    }

    /// Where the notes that sound begin in the part.
    fn first_sounding(&self) -> usize {
        self.part.notes.len().saturating_sub(self.sounding)
    }

    /// Goes on with what sounds: by a tie over a bar line, else by longer notes.
    fn hold(&mut self, column: &Column<'_>) {
        let from = self.first_sounding();
        if !column.first {
            for note in self.part.notes.iter_mut().skip(from) {
                note.duration += column.duration;
            }
            return;
        }
        let held: Vec<Note> = self.part.notes.iter().skip(from).copied().collect();
        for note in self.part.notes.iter_mut().skip(from) {
            note.flags = note.flags.with(NoteFlags::TIED_OUT);
        }
        for note in held {
            self.part.notes.push(Note {
                at: column.place,
                duration: column.duration,
                flags: NoteFlags(note.flags.0 & !NoteFlags::TIED_OUT.0).with(NoteFlags::TIED_IN),
                articulations: Articulations::default(),
                span: Span::of(&column.piece.at),
                ..note
            });
        }
    }

    /// Strikes notes; those that say so are held from the cell before.
    fn strike(&mut self, notes: &[CellNote], column: &Column<'_>) -> Parsed<()> {
        let before = self.first_sounding()..self.part.notes.len();
        self.sounding = notes.len();
        self.resting = false;
        for (index, note) in notes.iter().enumerate() {
            let (written, sounding) = if column.plan.written {
                (note.pitch, note.pitch.transposed(self.transposition))
            } else {
                let by = self.transposition.inverse();
                (note.pitch.transposed(by), note.pitch)
            };
            let mut flags = if index > 0 {
                NoteFlags::CHORD_MEMBER
            } else {
                NoteFlags::default()
            };
            if note.held {
                self.tie_from(before.clone(), sounding).ok_or_else(|| {
                    let cell = format!("-{}", note.pitch);
                    self.nothing_to_hold(column, note.at.clone(), &cell)
                        .help("a note that is held has to sound in the cell before")
                })?;
                flags = flags.with(NoteFlags::TIED_IN);
            }
            self.part.notes.push(Note {
                at: column.place,
                onset: Ticks::ZERO,
                duration: column.duration,
                written,
                sounding,
                staff: 1,
                voice: 1,
                flags,
                articulations: note.marks,
                span: Span::of(&note.at),
            });
        }
        Ok(())
    }

    /// Ties the note of this pitch among those before. A note is held by one only.
    fn tie_from(&mut self, before: Range<usize>, sounding: Pitch) -> Option<()> {
        let mut last = self.part.notes.get_mut(before).into_iter().flatten();
        let own = last.find(|o| o.sounding == sounding && !o.flags.has(NoteFlags::TIED_OUT))?;
        own.flags = own.flags.with(NoteFlags::TIED_OUT);
        Some(())
    }

    fn nothing_to_hold(&self, column: &Column<'_>, at: Range<usize>, cell: &str) -> Box<Fault> {
        let (label, bar) = (self.label, &column.plan.number);
        Fault::new(
            at,
            format!("{label}, bar {bar}: `{cell}` has nothing to hold"),
        )
    }
}
