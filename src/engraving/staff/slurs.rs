//! Slurs.

use super::{StaffDrawing, y};
use crate::engraving::events::DrawnEvent;
use crate::engraving::spacing::Layout;

/// A slur that has begun: its number and voice, its first note, its side where the file says.
struct OpenSlur {
    number: u8,
    first: usize,
    above: Option<bool>,
}

impl StaffDrawing {
    /// Slurs as the file has them, and the halves of those that leave the picture.
    pub(super) fn slurs(&mut self, events: &[DrawnEvent], layout: &Layout) {
        let mut open: Vec<OpenSlur> = Vec::new();
        for (i, event) in events.iter().enumerate() {
            // What ends at a note ends before another starts there.
            let stops = event.signs.slurs.iter().filter(|s| !s.1);
            for (number, _, above) in stops {
                let from = open.iter().position(|o| o.number == *number);
                let from = from.map(|at| open.swap_remove(at));
                let above = from.as_ref().and_then(|o| o.above).or(*above);
                self.slur(events, from.map(|o| o.first), Some(i), above, layout);
            }
            for (number, _, above) in event.signs.slurs.iter().filter(|s| s.1) {
                open.push(OpenSlur {
                    number: *number,
                    first: i,
                    above: *above,
                });
            }
        }
        for slur in open {
            self.slur(events, Some(slur.first), None, slur.above, layout);
        }
    }

    fn slur(
        &mut self,
        events: &[DrawnEvent],
        from: Option<usize>,
        to: Option<usize>,
        above: Option<bool>,
        layout: &Layout,
    ) {
        let first = from.and_then(|i| events.get(i));
        let last = to.and_then(|i| events.get(i));
        let Some(any) = first.or(last) else {
            return;
        };
        let inside = |e: &&DrawnEvent| {
            let at = (e.bar, e.start);
            !e.is_rest()
                && first.is_none_or(|f| (f.bar, f.start) <= at)
                && last.is_none_or(|l| at <= (l.bar, l.start))
                && e.upper == any.upper
        };
        // Over the notes when any stem goes down, as engravers do; of several voices each keeps its side.
        let above = above.or(any.upper).unwrap_or_else(|| {
            let downs = |e: &DrawnEvent| e.stem.is_none() || !e.up();
            events.iter().filter(inside).any(downs)
        });
        let height = |event: &DrawnEvent| {
            let head = if above {
                y(event.highest()) - 0.75
            } else {
                y(event.lowest()) + 0.75
            };
            if event.stem.is_none() || event.up() != above {
                head
            } else if above {
                head.min(event.tip - 0.3)
            } else {
                head.max(event.tip + 0.3)
            }
        };
        let x = |event: &DrawnEvent| event.x + event.shift + event.head_width() / 2.0;
        let edge = layout.bars.first().map_or(0.0, |b| b.from) - 0.9;
        let x0 = first.map_or(edge, x);
        let x1 = last.map_or(layout.right - 0.2, x).max(x0 + 1.5);
        let y0 = first.or(last).map_or(0.0, height);
        let y1 = last.or(first).map_or(0.0, height);
        let side = if above { 1.0 } else { -1.0 };
        // What stands between must not be crossed.
        let between = if above {
            f64::midpoint(y0, y1) - self.reach.top(x0 + 0.8, x1 - 0.8).min(y0.min(y1))
        } else {
            self.reach.bottom(x0 + 0.8, x1 - 0.8).max(y0.max(y1)) - f64::midpoint(y0, y1)
        };
        let rise = (0.9 + 0.04 * (x1 - x0)).max(between + 0.3).min(5.0);
        self.canvas.curve((x0, y0), (x1, y1), rise * side);
        let peak = if above {
            y0.min(y1) - rise
        } else {
            y0.max(y1) + rise
        };
        self.reach.add(x0, x1, f64::midpoint(y0, y1), peak);
    }
}
