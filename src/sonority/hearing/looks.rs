//! A first look at each line, while its notes are counted: whether anything speaks for a stretch that
//! is not where it is meant. Only then is a line listened to.

use super::witness::Strike;

/// So many nats of chords that are unlikely, more than others are, are a reason to listen.
const UNLIKELY: f32 = 1.6;

/// What a chord costs on average where nothing is wrong, in nats.
const USUALLY: f32 = 0.15;

/// So many notes after one another that another line of the section has are a reason to listen.
const DOUBLED: usize = 4;

#[derive(Clone, Copy, Default)]
pub struct Look {
    unlikely: f32,
    most_unlikely: f32,
    doubled: usize,
    most_doubled: usize,
}

impl Look {
    /// Sees a note in a chord that costs so much.
    fn see(&mut self, unlikely: f32, doubled: bool) {
        self.unlikely = (self.unlikely + unlikely - USUALLY).max(0.0);
        self.most_unlikely = self.most_unlikely.max(self.unlikely);
        self.doubled = if doubled { self.doubled + 1 } else { 0 };
        self.most_doubled = self.most_doubled.max(self.doubled);
    }

    /// Whether its chords are unlikely somewhere.
    pub fn is_unlikely(&self) -> bool {
        self.most_unlikely >= UNLIKELY
    }

    /// Whether another line of the section has its notes somewhere.
    pub fn is_doubled(&self) -> bool {
        self.most_doubled >= DOUBLED
    }
}

/// Sees what a section strikes in a moment.
pub fn see(looks: &mut [Look], strikes: &[Strike], unlikely: f32) {
    for strike in strikes {
        let twin = |s: &Strike| s.line != strike.line && s.midi == strike.midi;
        let doubled = strikes.iter().any(twin);
        if let Some(look) = looks.get_mut(strike.line) {
            look.see(unlikely, doubled);
        }
    }
}
