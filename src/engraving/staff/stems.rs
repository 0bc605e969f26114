//! Stems and the beams that join them.

use super::{StaffDrawing, y};
use crate::engraving::events::DrawnEvent;
use crate::notation::{Beam, NoteValue};

/// How thick a stem is.
pub(super) const STEM: f64 = 0.12;
/// How thick a beam is.
const BEAM: f64 = 0.5;
/// From one beam to the next.
const BEAM_STEP: f64 = 0.75;
/// How long a stem is.
const LENGTH: f64 = 3.5;

/// The notes each beam holds together, by index.
pub(super) fn beam_groups(events: &[DrawnEvent]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    // One open beam for each voice.
    let mut open: Vec<(usize, Vec<usize>)> = Vec::new();
    for (i, event) in events.iter().enumerate() {
        match event.beams.first() {
            Some(Beam::Begin) => {
                open.retain(|(voice, _)| *voice != event.voice);
                open.push((event.voice, vec![i]));
            }
            Some(Beam::Continue | Beam::End) => {
                let Some(at) = open.iter().position(|(voice, _)| *voice == event.voice) else {
                    continue;
                };
                if let Some((_, group)) = open.get_mut(at) {
                    group.push(i);
                }
                if event.beams.first() == Some(&Beam::End) {
                    groups.push(open.swap_remove(at).1);
                }
            }
            _ => {}
        }
    }
    groups
}

/// The stem's place of a chord.
pub(super) fn stem_x(event: &DrawnEvent) -> f64 {
    let x = event.x + event.shift;
    if event.up() {
        x + event.head_width() - STEM / 2.0
    } else {
        x + STEM / 2.0
    }
}

/// Where a stem by itself ends: an octave away, and at least at the middle line.
pub(super) fn lone_tip(event: &DrawnEvent) -> f64 {
    let extra = f64::from(
        u8::try_from(event.value.map_or(0, NoteValue::beams))
            .unwrap_or(0)
            .max(2)
            - 2,
    ) * BEAM_STEP;
    if event.up() {
        let tip = y(event.highest()) - LENGTH - extra;
        if event.upper.is_none() {
            tip.min(0.0)
        } else {
            tip
        }
    } else {
        let tip = y(event.lowest()) + LENGTH + extra;
        if event.upper.is_none() {
            tip.max(0.0)
        } else {
            tip
        }
    }
}

impl StaffDrawing {
    /// Draws a beam over its notes and gives their stems their ends.
    pub(super) fn beamed(&mut self, events: &mut [DrawnEvent], group: &[usize]) {
        let notes: Vec<BeamedNote> = group
            .iter()
            .filter_map(|i| events.get(*i))
            .map(BeamedNote::new)
            .collect();
        let up = group
            .first()
            .and_then(|i| events.get(*i))
            .is_some_and(DrawnEvent::up);
        let (Some(first), Some(last)) = (notes.first(), notes.last()) else {
            return;
        };
        let line = BeamLine::over(&notes, first, last, up);
        for i in group {
            if let Some(event) = events.get_mut(*i) {
                event.tip = line.at(stem_x(event));
            }
        }
        let deepest = notes.iter().map(|k| k.beams).max().unwrap_or(1);
        for level in 0..deepest {
            self.beam_level(events, group, level, &line);
        }
        let (y0, y1) = (line.at(first.x), line.at(last.x));
        self.reach.add(first.x, last.x, y0.min(y1), y0.max(y1));
    }

    /// Draws the beams of one level, 0 being the outermost.
    fn beam_level(
        &mut self,
        events: &[DrawnEvent],
        group: &[usize],
        level: usize,
        line: &BeamLine,
    ) {
        let down = level as f64 * BEAM_STEP * -line.sign;
        let thick = -line.sign * BEAM;
        let mut start: Option<f64> = None;
        for event in group.iter().filter_map(|i| events.get(*i)) {
            let x = stem_x(event);
            let (from, to) = match event.beams.get(level) {
                Some(Beam::Begin) => {
                    start = Some(x - STEM / 2.0);
                    continue;
                }
                Some(Beam::End) => match start.take() {
                    Some(start) => (start, x + STEM / 2.0),
                    None => continue,
                },
                Some(Beam::ForwardHook) => (x, x + 1.0),
                Some(Beam::BackwardHook) => (x - 1.0, x),
                Some(Beam::Continue) | None => continue,
            };
            let (a, b) = ((from, line.at(from) + down), (to, line.at(to) + down));
            self.canvas.beam(a, b, thick);
        }
    }
}

/// A note under a beam.
struct BeamedNote {
    /// Where its stem stands.
    x: f64,
    /// The height of its notehead nearest to the beam, downwards.
    near: f64,
    beams: usize,
}

impl BeamedNote {
    fn new(event: &DrawnEvent) -> Self {
        let near = if event.up() {
            event.highest()
        } else {
            event.lowest()
        };
        Self {
            x: stem_x(event),
            near: y(near),
            beams: event.beams.len(),
        }
    }
}

/// Where the outermost beam of a group lies.
struct BeamLine {
    /// -1 above its notes, 1 below.
    sign: f64,
    x: f64,
    /// Its height at `x`, downwards.
    y: f64,
    slope: f64,
}

impl BeamLine {
    /// A slope that follows the outer notes, far enough off for the stems of all.
    fn over(notes: &[BeamedNote], first: &BeamedNote, last: &BeamedNote, up: bool) -> Self {
        let width = (last.x - first.x).max(0.1);
        let sign = if up { -1.0 } else { 1.0 };
        // A note between that is nearer to the beam than both ends keeps the beam level.
        let outer = (first.near * sign).max(last.near * sign);
        let inner = notes.iter().any(|k| k.near * sign > outer + 1e-9);
        let wanted = if inner {
            0.0
        } else {
            (last.near - first.near) * 0.5
        };
        let steepest = (0.12 * width).min(1.25);
        let slope = wanted.clamp(-steepest, steepest) / width;
        // The nearest height at which every stem is long enough.
        let farthest = notes
            .iter()
            .map(|k| {
                let more = (k.beams.max(1) - 1) as f64 * 0.5;
                let tip = k.near + sign * (3.0 + more);
                // Stems of notes far off the staff reach the middle line.
                let tip = if up { tip.min(0.0) } else { tip.max(0.0) };
                (tip - slope * (k.x - first.x)) * sign
            })
            .fold(f64::MIN, f64::max);
        Self {
            sign,
            x: first.x,
            y: farthest * sign,
            slope,
        }
    }

    /// Its height at a place, downwards.
    fn at(&self, x: f64) -> f64 {
        self.y + self.slope * (x - self.x)
    }
}
