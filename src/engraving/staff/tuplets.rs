//! The figures and brackets of tuplets.

use super::StaffDrawing;
use super::stems::STEM;
use crate::engraving::events::DrawnEvent;
use crate::engraving::glyphs::Glyph;

impl StaffDrawing {
    pub(super) fn tuplets(&mut self, events: &[DrawnEvent]) {
        self.filed_tuplets(events);
        let mut open: Vec<(usize, Vec<usize>)> = Vec::new();
        for (i, event) in events.iter().enumerate() {
            if event.tuplet.is_none() {
                continue;
            }
            if event.tuplet_start {
                open.retain(|(voice, _)| *voice != event.voice);
                open.push((event.voice, Vec::new()));
            }
            let Some(at) = open.iter().position(|(voice, _)| *voice == event.voice) else {
                continue;
            };
            if let Some((_, group)) = open.get_mut(at) {
                group.push(i);
            }
            if event.tuplet_stop {
                let (_, group) = open.swap_remove(at);
                let group: Vec<&DrawnEvent> = group.iter().filter_map(|i| events.get(*i)).collect();
                if let Some((first, (actual, _))) = group.first().and_then(|f| Some((f, f.tuplet?)))
                {
                    self.tuplet(&group, actual, first.bracket);
                }
            }
        }
    }

    /// Tuplets as the file has them; those inside are drawn first, nearer to the notes.
    fn filed_tuplets(&mut self, events: &[DrawnEvent]) {
        let mut open: Vec<(usize, u8, usize, i64, Option<bool>)> = Vec::new();
        let mut groups: Vec<(usize, usize, usize, i64, Option<bool>)> = Vec::new();
        for (i, event) in events.iter().enumerate() {
            for (number, starts, figure, bracket) in &event.signs.tuplets {
                if *starts {
                    open.push((event.voice, *number, i, *figure, *bracket));
                    continue;
                }
                let own = |o: &(usize, u8, usize, i64, Option<bool>)| {
                    (o.0, o.1) == (event.voice, *number)
                };
                if let Some(at) = open.iter().rposition(own) {
                    let (voice, _, from, figure, bracket) = open.remove(at);
                    groups.push((voice, from, i, figure, bracket));
                }
            }
        }
        groups.sort_by_key(|g| g.2 - g.1);
        for (voice, from, to, figure, bracket) in groups {
            let group: Vec<&DrawnEvent> = events
                .iter()
                .take(to + 1)
                .skip(from)
                .filter(|e| e.voice == voice)
                .collect();
            let beamed = group.iter().all(|e| !e.beams.is_empty());
            self.tuplet(&group, figure, bracket.unwrap_or(!beamed));
        }
    }

    pub(super) fn tuplet(&mut self, group: &[&DrawnEvent], actual: i64, bracket: bool) {
        let (Some(first), Some(last)) = (group.first(), group.last()) else {
            return;
        };
        let stems = group.iter().filter(|i| i.stem.is_some());
        let ups = stems.clone().filter(|i| i.up()).count();
        let above = first
            .upper
            .unwrap_or_else(|| stems.count() == 0 || 2 * ups >= group.len() || bracket);
        let x0 = first.x + first.shift - 0.1;
        let x1 = last.x + last.shift + last.head_width().max(1.0) + 0.1;
        let figure = if actual > 0 {
            actual.to_string()
        } else {
            String::new()
        };
        let digits: Vec<Glyph> = figure
            .bytes()
            .map(|b| Glyph::tuplet(b.wrapping_sub(b'0')))
            .collect();
        let width: f64 = digits.iter().map(|g| g.advance()).sum();
        let height = 1.3;
        let middle = f64::midpoint(x0, x1);
        // The line the figure stands on.
        let base = if above {
            self.reach.top(x0, x1) - 0.45
        } else {
            self.reach.bottom(x0, x1) + 0.45 + height
        };
        let mut x = middle - width / 2.0;
        for glyph in digits {
            self.put(glyph, x, base, "");
            x += glyph.advance();
        }
        if bracket {
            let line = base - height / 2.0;
            let hook = if above { 0.7 } else { -0.7 };
            for (edge, inner) in [
                (x0, middle - width / 2.0 - 0.4),
                (x1, middle + width / 2.0 + 0.4),
            ] {
                self.canvas.line(STEM, (edge, line), (inner, line));
                self.canvas.line(STEM, (edge, line), (edge, line + hook));
            }
            self.reach.add(x0, x1, line - 0.2, line + 0.2);
        }
    }
}
