//! How a meter divides a bar: where its beats are, and where a note must be cut so that they show.

use super::event::PrintedEvent;
use super::note_value::NoteValue;
use super::quarters::{Quarters, ZERO};
use crate::ground::time::Meter;
use num_rational::Ratio;

/// The beats of one bar.
#[derive(Clone, Copy)]
pub(super) struct Beats {
    /// The felt beat.
    pub beat: Quarters,
    compound: bool,
    /// The place inside the bar that must be seen.
    middle: Option<Quarters>,
    /// The bar as its meter has it.
    pub full: Quarters,
    pub pickup: bool,
    /// The time that a pickup lacks before its first note.
    pub missing: Quarters,
    meter: Meter,
}

impl Beats {
    pub(super) fn new(meter: Meter, length: Quarters, pickup: bool) -> Self {
        let unit = meter.unit_quarters();
        let compound = meter.unit >= 8 && meter.beats.is_multiple_of(3) && meter.beats > 3;
        let beat = if compound { unit * 3 } else { unit };
        let beats = if compound {
            meter.beats / 3
        } else {
            meter.beats
        };
        let middle = match beats {
            4 => Some(2),
            5 | 6 => Some(3),
            7 | 8 => Some(4),
            _ => None,
        };
        let full = unit * i64::from(meter.beats.max(1));
        Self {
            beat,
            compound,
            middle: middle.map(|m| beat * m),
            full,
            pickup,
            missing: if pickup && length < full {
                full - length
            } else {
                ZERO
            },
            meter,
        }
    }

    /// The start of the beat at a time of the full bar.
    fn beat_start(&self, at: Quarters) -> Quarters {
        (at / self.beat).floor() * self.beat
    }

    /// The start of the beat after the one at a time.
    pub(super) fn next_beat(&self, at: Quarters) -> Quarters {
        self.beat_start(at + self.missing) + self.beat - self.missing
    }

    /// Where an event must be cut to show the beats, if it must.
    pub(super) fn cut(&self, event: &PrintedEvent) -> Option<Quarters> {
        let at = self.cut_within(
            event.start + self.missing,
            event.end() + self.missing,
            event.is_rest(),
        )?;
        let at = at - self.missing;
        (at > event.start && at < event.end()).then_some(at)
    }

    fn cut_within(&self, start: Quarters, end: Quarters, rest: bool) -> Option<Quarters> {
        let dots = NoteValue::of(end - start).map(|v| v.dots);
        let first = self.beat_start(start);
        if end <= first + self.beat {
            let fits = match dots {
                Some(0) => true,
                Some(1) => !rest || self.compound || start == first || end == first + self.beat,
                Some(_) => !rest,
                None => false,
            };
            return if fits {
                None
            } else {
                self.divide(start, end, first)
            };
        }
        if rest {
            return self.cut_rest(start, end, dots);
        }
        if let Some(middle) = self.middle.filter(|m| start < *m && *m < end) {
            return self.cut_at_middle(start, end, middle, dots);
        }
        if start == first {
            return self.cut_from_beat(start, end, dots);
        }
        let length = end - start;
        let one = dots.is_some_and(|d| d <= 1);
        let ends_on_beat = (end / self.beat).is_integer();
        let syncopated = !self.compound
            && one
            && start == first + self.beat / 2
            && (length == self.beat || (ends_on_beat && length == self.beat * Ratio::new(3, 2)));
        if syncopated {
            None
        } else {
            Some(first + self.beat)
        }
    }

    /// A rest longer than its beat. Rests never blur the beats: two of them only as the first or the
    /// second half.
    fn cut_rest(&self, start: Quarters, end: Quarters, dots: Option<u8>) -> Option<Quarters> {
        let first = self.beat_start(start);
        if start != first {
            return Some(first + self.beat);
        }
        let length = end - start;
        let two = self.beat * 2;
        let paired = (start / two).is_integer()
            && self.middle.is_none_or(|m| (m / two).is_integer())
            && (self.full / two).is_integer();
        let whole = paired && start == ZERO && end == self.full && dots == Some(0);
        if whole || (paired && length == two) {
            return None;
        }
        Some(if paired && length > two {
            start + two
        } else {
            first + self.beat
        })
    }

    /// A note over the middle of the bar: whole from the bar line, or a syncopation around it.
    fn cut_at_middle(
        &self,
        start: Quarters,
        end: Quarters,
        middle: Quarters,
        dots: Option<u8>,
    ) -> Option<Quarters> {
        let four = middle + middle == self.full;
        let from_bar_line = start == ZERO && (four || end == self.full);
        let syncopated = start == middle - self.beat && end == middle + self.beat;
        let one = dots.is_some_and(|d| d <= 1);
        if one && (from_bar_line || syncopated) {
            None
        } else {
            Some(middle)
        }
    }

    /// A note longer than a beat that starts on one.
    fn cut_from_beat(&self, start: Quarters, end: Quarters, dots: Option<u8>) -> Option<Quarters> {
        let length = end - start;
        let fits = match dots {
            Some(d) if self.compound => (length / self.beat).is_integer() && d <= 1,
            Some(d) => d <= 1 || length < self.beat * 2,
            None => false,
        };
        if fits {
            return None;
        }
        let last = self.beat_start(end);
        if last != end {
            return Some(last);
        }
        // Whole beats, but no single value.
        let two = start + self.beat * 2;
        Some(if two < end { two } else { start + self.beat })
    }

    /// The strongest place inside a beat at which a length that is no single value is cut.
    fn divide(&self, start: Quarters, end: Quarters, beat: Quarters) -> Option<Quarters> {
        // Lengths finer than notation goes come from files whose durations were rounded: cutting
        // them up would help nobody.
        if *(end - start).denom() > 64 {
            return None;
        }
        let mut step = if self.compound {
            self.beat / 3
        } else {
            self.beat / 2
        };
        for _ in 0..10 {
            let next = beat + ((start - beat) / step).floor() * step + step;
            if next < end {
                return Some(next);
            }
            step /= 2;
        }
        None
    }

    /// Which beam a time falls under: times with one number may be beamed together. Eighths alone
    /// may share half a bar of four.
    pub(super) fn beam_window(&self, at: Quarters, eighths: bool) -> Quarters {
        let at = at + self.missing;
        let wide = match (self.meter.beats, self.meter.unit) {
            (4, 4) if eighths => self.beat * 2,
            (3, 8) => self.full,
            (b, u) if u >= 8 && !self.compound => match self.middle {
                Some(m) if b >= 5 => return if at >= m { m } else { ZERO },
                _ => self.beat * 2,
            },
            _ => self.beat,
        };
        (at / wide).floor()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::EventKind;

    /// Where a note or rest is cut first, in eighths of a quarter.
    fn cut(meter: (u16, u16), kind: EventKind, start: i64, end: i64) -> Option<i64> {
        let meter = Meter {
            beats: meter.0,
            unit: meter.1,
        };
        let full = meter.unit_quarters() * i64::from(meter.beats);
        let at = |n| Ratio::new(n, 8);
        let event = PrintedEvent::new(at(start), at(end) - at(start), kind, 1);
        let cut = Beats::new(meter, full, false).cut(&event)?;
        Some((cut * 8).to_integer())
    }

    // Common practice, no source: the middle of a bar of four shows, unless a note starts at the bar
    // line or is a syncopation around it.
    #[test]
    fn notes_show_the_middle_of_the_bar() {
        let note = |start, end| cut((4, 4), EventKind::Note, start, end);
        assert_eq!(note(0, 24), None, "a dotted half from the bar line");
        assert_eq!(note(8, 24), None, "a half around the middle");
        assert_eq!(note(4, 20), Some(16), "a half from the off-beat");
        assert_eq!(note(12, 20), Some(16), "a quarter over the middle");
        assert_eq!(note(4, 12), None, "a quarter from off-beat to off-beat");
        assert_eq!(note(0, 20), Some(16), "no single value");
        assert_eq!(cut((3, 4), EventKind::Note, 8, 24), None);
        assert_eq!(cut((6, 8), EventKind::Note, 8, 16), Some(12));
        assert_eq!(cut((6, 8), EventKind::Note, 0, 24), None);
    }

    // Common practice, no source.
    #[test]
    fn rests_show_every_beat_but_halves() {
        let rest = |start, end| cut((4, 4), EventKind::Rest, start, end);
        assert_eq!(rest(0, 16), None);
        assert_eq!(rest(8, 24), Some(16));
        assert_eq!(rest(4, 16), Some(8));
        assert_eq!(rest(0, 24), Some(16));
        assert_eq!(cut((3, 4), EventKind::Rest, 0, 16), Some(8));
    }

    #[test]
    fn a_pickup_is_the_end_of_its_bar() {
        let beats = Beats::new(Meter::COMMON, Ratio::new(3, 2), true);
        assert_eq!(beats.missing, Ratio::new(5, 2));
        assert_eq!(beats.next_beat(ZERO), Ratio::new(1, 2));
    }

    // Common practice, no source: eighths are beamed in halves of a bar of four, 16ths in beats.
    #[test]
    fn beams_stop_at_the_middle_or_at_the_beat() {
        let beats = Beats::new(Meter::COMMON, Ratio::from_integer(4), false);
        let same = |a: (i64, i64), b: (i64, i64), eighths| {
            let window = |(n, d)| beats.beam_window(Ratio::new(n, d), eighths);
            window(a) == window(b)
        };
        assert!(same((0, 1), (3, 2), true));
        assert!(!same((3, 2), (2, 1), true));
        assert!(same((0, 1), (3, 4), false));
        assert!(!same((3, 4), (1, 1), false));
    }
}
