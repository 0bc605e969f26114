//! The class as a whole: every piece of homework with its marks, mistakes over all students.

use super::roll::Roll;
use super::{Marked, Marks};
use crate::finding::{Finding, Level};
use crate::ground::problem::Problem;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// One file of the class.
#[derive(Debug)]
pub struct Sheet {
    /// The file.
    pub path: PathBuf,
    /// The homework with its marks, or why it could not be read.
    pub outcome: Result<Marked, Problem>,
    /// The answer key it was held against.
    pub key: Option<String>,
}

/// A class.
#[derive(Debug)]
pub struct Class {
    /// Students and exercises.
    pub roll: Roll,
    /// The files, in the order of the roll's.
    pub sheets: Vec<Sheet>,
}

/// A kind of mistake over the whole class.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The rule, or one of [`super::kinds::KINDS`].
    pub kind: &'static str,
    /// How many students made it.
    pub students: usize,
    /// How often it was made.
    pub places: usize,
}

/// What became of one exercise of one student.
#[derive(Clone, Copy, Debug)]
pub enum Cell<'a> {
    /// It was read.
    Marked(&'a Sheet, &'a Marked),
    /// It could not be read.
    Unreadable(&'a Sheet, &'a Problem),
    /// There is no file.
    NotHandedIn,
}

impl Class {
    /// What a student did in an exercise (both 0-based).
    pub fn cell(&self, student: usize, exercise: usize) -> Cell<'_> {
        let at = self
            .roll
            .files
            .iter()
            .position(|f| *f == (student, exercise));
        match at.and_then(|i| self.sheets.get(i)) {
            Some(sheet) => match &sheet.outcome {
                Ok(marked) => Cell::Marked(sheet, marked),
                Err(error) => Cell::Unreadable(sheet, error),
            },
            None => Cell::NotHandedIn,
        }
    }

    /// The sheets of a student in the order of the exercises, each with its exercise (0-based).
    pub fn of_student(&self, student: usize) -> Vec<(usize, &Sheet)> {
        let mut own: Vec<(usize, &Sheet)> = self
            .roll
            .files
            .iter()
            .zip(&self.sheets)
            .filter(|((s, _), _)| *s == student)
            .map(|((_, e), sheet)| (*e, sheet))
            .collect();
        own.sort_by_key(|(e, _)| *e);
        own
    }

    /// All that was read.
    pub fn marked(&self) -> impl Iterator<Item = (&Sheet, &Marked)> {
        self.sheets
            .iter()
            .filter_map(|s| Some((s, s.outcome.as_ref().ok()?)))
    }

    /// The marks of a student over all exercises.
    pub fn sum(&self, student: usize) -> Marks {
        let mut sum = Marks::default();
        for (_, sheet) in self.of_student(student) {
            if let Ok(marked) = &sheet.outcome {
                sum.add(&marked.marks);
            }
        }
        sum
    }

    /// The marks of all.
    pub fn total(&self) -> Marks {
        let mut sum = Marks::default();
        for (_, marked) in self.marked() {
            sum.add(&marked.marks);
        }
        sum
    }

    /// The mistakes, those of most students first, of as many those made most often.
    pub fn mistakes(&self) -> Vec<Mistake> {
        let mut all: BTreeMap<&'static str, (usize, usize)> = BTreeMap::new();
        for student in 0..self.roll.students.len() {
            for (kind, places) in self.sum(student).mistakes {
                let slot = all.entry(kind).or_default();
                slot.0 += 1;
                slot.1 += places;
            }
        }
        let mut all: Vec<Mistake> = all
            .into_iter()
            .map(|(kind, (students, places))| Mistake {
                kind,
                students,
                places,
            })
            .collect();
        all.sort_by_key(|m| std::cmp::Reverse((m.students, m.places)));
        all
    }

    /// A place where a mistake was made, to show: one that has a verified fix, where there is one.
    pub fn example(&self, kind: &str) -> Option<(&Sheet, &Marked, &Finding)> {
        let all = || {
            self.marked().flat_map(move |(sheet, marked)| {
                let own = marked.proofed.findings.iter();
                own.filter(move |f| f.rule == kind && f.level > Level::Note)
                    .map(move |f| (sheet, marked, f))
            })
        };
        all()
            .find(|(_, _, f)| f.fix.is_some())
            .or_else(|| all().find(|(_, _, f)| !f.notes.is_empty()))
            .or_else(|| all().next())
    }

    /// How many files could not be read.
    pub fn unreadable(&self) -> usize {
        self.sheets.iter().filter(|s| s.outcome.is_err()).count()
    }

    /// How many exercises were not handed in.
    pub fn missing(&self) -> usize {
        self.roll.students.len() * self.roll.exercises.len() - self.sheets.len()
    }
}

impl Marks {
    fn add(&mut self, other: &Self) {
        self.right += other.right;
        self.of += other.of;
        self.notes += other.notes;
        for (kind, places) in &other.mistakes {
            *self.mistakes.entry(kind).or_default() += places;
        }
    }

    /// How many of a hundred are right, rounded; a hundred only when all are.
    pub fn percent(&self) -> Option<usize> {
        let most = if self.right < self.of { 99 } else { 100 };
        let rounded = (self.right * 100 + self.of / 2).checked_div(self.of);
        rounded.map(|percent| percent.min(most))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percent_is_rounded_and_a_hundred_means_all() {
        let percent = |right, of| {
            let marks = Marks {
                right,
                of,
                ..Marks::default()
            };
            marks.percent()
        };
        assert_eq!(percent(11, 14), Some(79));
        assert_eq!(percent(1, 3), Some(33));
        assert_eq!(percent(399, 400), Some(99));
        assert_eq!(percent(400, 400), Some(100));
        assert_eq!(percent(0, 3), Some(0));
        assert_eq!(percent(0, 0), None);
    }
}
