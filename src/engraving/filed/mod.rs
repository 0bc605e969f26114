//! What stands in a part's file, as it is printed there: note values, tuplets, beams, stems, accidentals,
//! noteheads, slurs, and the words and signs over and under the staff.
//!
//! A score knows when notes sound. Its files know how they are written, and keep it: the bar is read
//! again, at its bytes, when it is drawn. What a file lacks is worked out by `notation`.

mod directions;
mod element;
mod voices;

pub(super) use directions::{Direction, Sign, WedgeKind};
pub(super) use voices::{FiledStem, FiledVoices, NoteSigns};

use crate::ground::time::Ticks;
use crate::notation::{Quarters, quarters};
use crate::score::{Format, Part, Score};
use element::Element;

/// A longer bar is not read again.
const LONGEST: usize = 2_000_000;

/// A bar of a part in its file.
pub(super) struct FiledBar {
    /// The source it stands in.
    source: u16,
    /// Where it starts there.
    start: usize,
    element: Element,
    /// How long it is in the file's divisions, and in truth.
    divisions: i64,
    length: Quarters,
}

impl FiledBar {
    /// Reads a bar (0-based); none where the file is no MusicXML.
    pub fn read(score: &Score, part: &Part, bar: usize) -> Option<Self> {
        let own = part.bars.get(bar)?;
        let source = score.sources.get(own.span.source as usize)?;
        let (start, end) = (own.span.start as usize, own.span.end as usize);
        if source.format != Format::MusicXml || end.checked_sub(start)? > LONGEST {
            return None;
        }
        let element = Element::read(source.text.get(start..end)?)?;
        if element.name != "measure" || own.filled <= Ticks::ZERO {
            return None;
        }
        let divisions = length(&element)?;
        Some(Self {
            source: own.span.source,
            start,
            element,
            divisions,
            length: quarters(own.filled, score.per_quarter),
        })
    }

    /// A time in the file's divisions as time since the bar line.
    fn time(&self, divisions: i64) -> Quarters {
        self.length * Quarters::new(divisions, self.divisions)
    }
}

/// Calls `each` with every child and the time at which it stands, in divisions.
fn walk<'a>(bar: &'a Element, mut each: impl FnMut(&'a Element, i64)) -> Option<i64> {
    let (mut now, mut chord, mut longest) = (0i64, 0i64, 0i64);
    for child in &bar.children {
        let lasts = child.number("duration").unwrap_or(0);
        match child.name.as_str() {
            "note" => {
                if child.has("chord") {
                    each(child, chord);
                    continue;
                }
                chord = now;
                each(child, now);
                now = now.checked_add(lasts)?;
            }
            "backup" => now = now.checked_sub(lasts).filter(|n| *n >= 0)?,
            "forward" => now = now.checked_add(lasts)?,
            _ => each(child, now),
        }
        longest = longest.max(now);
    }
    Some(longest)
}

/// How long the fullest voice is, in divisions.
fn length(bar: &Element) -> Option<i64> {
    walk(bar, |_, _| {}).filter(|l| *l > 0)
}

/// How a meter is printed where figures alone do not say it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MeterSign {
    /// C.
    Common,
    /// C with a stroke.
    Cut,
    /// The beats added up, as 3+2+2; zeros stand for nothing.
    Added([u8; 5]),
}

impl FiledBar {
    /// How the meter is printed that starts in the bar.
    pub fn meter_sign(&self) -> Option<MeterSign> {
        let mut times = self.element.all("attributes").flat_map(|a| a.all("time"));
        let time = times.next()?;
        match time.attribute("symbol") {
            Some("common") => return Some(MeterSign::Common),
            Some("cut") => return Some(MeterSign::Cut),
            _ => {}
        }
        let mut added = [0; 5];
        let beats = time.said("beats")?;
        let pieces: Vec<u8> = beats
            .split('+')
            .map(|b| b.trim().parse().ok().filter(|b| *b > 0))
            .collect::<Option<_>>()?;
        if pieces.len() < 2 || pieces.len() > added.len() {
            return None;
        }
        for (place, beats) in added.iter_mut().zip(pieces) {
            *place = beats;
        }
        Some(MeterSign::Added(added))
    }
}
