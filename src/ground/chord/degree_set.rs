//! The degrees of a chord while it is being read, and the names they go by.

use super::Degree;

/// The degrees of a chord while it is being read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DegreeSet(Vec<Degree>);

impl DegreeSet {
    pub fn new(degrees: &[Degree]) -> Self {
        Self(degrees.to_vec())
    }

    pub fn has(&self, number: u8, alter: i8) -> bool {
        self.0.contains(&Degree::new(number, alter))
    }

    pub fn has_number(&self, number: u8) -> bool {
        self.0.iter().any(|d| d.number == number)
    }

    pub fn insert(&mut self, degree: Degree) {
        if !self.0.contains(&degree) {
            self.0.push(degree);
        }
    }

    pub fn remove(&mut self, degree: Degree) {
        self.0.retain(|d| *d != degree);
    }

    pub fn remove_number(&mut self, number: u8) {
        self.0.retain(|d| d.number != number);
    }

    /// Puts an altered degree in, in place of its natural; a b9 beside a #9 stays.
    pub fn alter(&mut self, degree: Degree) {
        if degree.alter != 0 {
            self.remove(Degree::new(degree.number, 0));
        }
        self.insert(degree);
    }

    /// Puts a fourth (or a second) in place of the third.
    pub fn suspend(&mut self, number: u8) {
        self.remove_number(3);
        self.insert(Degree::new(number, 0));
    }

    /// The degrees in order, under the names they go by: a second beside a third is a ninth, a
    /// fourth beside a third an eleventh, a sixth beside a seventh a thirteenth.
    pub fn finish(mut self) -> Vec<Degree> {
        let third = self.has(3, 0) || self.has(3, -1);
        let seventh = self.has(7, 0) || self.has(7, -1);
        for d in &mut self.0 {
            let compound = match d.number {
                2 | 4 => third && d.alter == 0,
                6 => seventh,
                _ => false,
            };
            if compound {
                d.number += 7;
            }
        }
        self.0.sort_unstable();
        self.0.dedup();
        self.0
    }
}

/// Altered seconds and fourths under the names tensions go by.
pub(super) fn usual(degree: Degree) -> Degree {
    match (degree.number, degree.alter) {
        (2, -1 | 1) | (4, 1) => Degree::new(degree.number + 7, degree.alter),
        _ => degree,
    }
}
