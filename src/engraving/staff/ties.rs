//! Ties.

use super::{StaffDrawing, y};
use crate::engraving::events::{DrawnEvent, DrawnHead};
use crate::engraving::spacing::Layout;
use crate::notation::ZERO;

impl StaffDrawing {
    /// Ties between neighbouring notes of a pitch, and the halves of those that leave the picture.
    pub(super) fn ties(&mut self, events: &[DrawnEvent], layout: &Layout) {
        for (i, event) in events.iter().enumerate() {
            let left_edge = layout.bars.first().map_or(0.0, |b| b.from);
            for (h, head) in event.heads.iter().enumerate() {
                let above = Self::tie_above(event, h);
                let side = if above { -1.0 } else { 1.0 };
                let at = y(head.pos) + side * 0.45;
                let mine = event.x + event.shift + head.dx;
                if head.tie_out {
                    let from = mine + head.glyph.right() - 0.1;
                    let to = Self::tied_to(events, i, head, layout)
                        .unwrap_or_else(|| layout.right.min(from + 3.5) - 0.2);
                    self.tie(from, to.max(from + 0.8), at, above);
                }
                if head.tie_in && !Self::tied_from(events, i, head, layout) {
                    let to = mine + 0.1;
                    self.tie((to - 2.5).max(left_edge - 0.9).min(to - 1.0), to, at, above);
                }
            }
        }
    }

    pub(super) fn tie(&mut self, from: f64, to: f64, at: f64, above: bool) {
        let rise = (0.3 + 0.05 * (to - from)).min(0.9);
        let rise = if above { rise } else { -rise };
        self.canvas.curve((from, at), (to, at), rise);
        self.reach.add(from, to, at, at - rise);
    }

    /// Ties lie away from the stem; in a chord the upper half above, the lower half below.
    pub(super) fn tie_above(event: &DrawnEvent, head: usize) -> bool {
        if let Some(upper) = event.upper {
            return upper;
        }
        match event.heads.len() {
            1 if event.stem.is_some() => !event.up(),
            1 => event.highest() >= 0,
            n if n % 2 == 1 && head == n / 2 => !event.up(),
            n => head >= n / 2,
        }
    }

    /// The left edge of the notehead a tie goes to.
    pub(super) fn tied_to(
        events: &[DrawnEvent],
        i: usize,
        head: &DrawnHead,
        layout: &Layout,
    ) -> Option<f64> {
        let event = events.get(i)?;
        let over = layout.bar(event.bar).is_some_and(|b| b.length <= event.end);
        let next = events.iter().skip(i + 1).find(|k| {
            let follows = if over {
                k.bar == event.bar + 1 && k.start == ZERO
            } else {
                k.bar == event.bar && k.start == event.end
            };
            follows && k.heads.iter().any(|h| h.tie_in && h.pitch == head.pitch)
        })?;
        let to = next
            .heads
            .iter()
            .find(|h| h.tie_in && h.pitch == head.pitch)?;
        Some(next.x + next.shift + to.dx + 0.1)
    }

    pub(super) fn tied_from(
        events: &[DrawnEvent],
        i: usize,
        head: &DrawnHead,
        layout: &Layout,
    ) -> bool {
        let Some(event) = events.get(i) else {
            return false;
        };
        events.iter().take(i).rev().any(|k| {
            let over = layout.bar(k.bar).is_some_and(|b| b.length <= k.end);
            let before = if over {
                k.bar + 1 == event.bar && event.start == ZERO
            } else {
                k.bar == event.bar && k.end == event.start
            };
            before && k.heads.iter().any(|h| h.tie_out && h.pitch == head.pitch)
        })
    }
}
