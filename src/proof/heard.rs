//! A score as it is meant to sound under a house style: the one way from a score to its proofing.

use crate::rules;
use crate::score::Score;
use crate::sonority::heard;
use crate::style::Style;
use std::ops::Deref;

/// A score as it is meant to sound. Parts are the instruments the style names; a part whose
/// transposition is plainly missing or wrong sounds as it was meant ([`heard`]).
///
/// It dereferences to that score: places, notes and files are those of the score that was read.
#[derive(Clone, Debug)]
pub struct Heard {
    score: Score,
    /// The same under chord symbols that are read as meant, where they were never transposed.
    judged: Option<Score>,
}

impl Heard {
    /// Hears a score under a house style.
    pub fn new(mut score: Score, style: &Style) -> Self {
        style.prepare(&mut score);
        let score = heard(&score).unwrap_or(score);
        let judged = rules::with_symbols_as_meant(&score, style);
        Self { score, judged }
    }

    /// The score that rules judge. Symbols that were never transposed are one mistake, not one at
    /// every chord.
    pub fn judged(&self) -> &Score {
        self.judged.as_ref().unwrap_or(&self.score)
    }

    /// The score, as it is meant to sound.
    pub fn into_score(self) -> Score {
        self.score
    }
}

impl Deref for Heard {
    type Target = Score;

    fn deref(&self) -> &Score {
        &self.score
    }
}

/// Scores that tests make up are heard as they are, and changed afterwards.
#[cfg(test)]
mod made_up {
    use super::{Heard, Score};
    use std::ops::DerefMut;

    impl From<Score> for Heard {
        fn from(score: Score) -> Self {
            let judged = None;
            Self { score, judged }
        }
    }

    impl DerefMut for Heard {
        fn deref_mut(&mut self) -> &mut Score {
            &mut self.score
        }
    }
}
