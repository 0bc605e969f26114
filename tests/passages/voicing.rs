//! Voicings computed from their definitions: close position and its drops, doublings, spread, three and two
//! parts. Published: handbooks of jazz voicing; which of them are clean is computed here.

use super::chords::{Chord, Family};
use crate::ensembles::notes::{Tone, under};
use crate::ensembles::voicing::too_low;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Technique {
    Close,
    DoubledLead,
    Drop2,
    Drop2Doubled,
    Drop3,
    Drop23,
    Drop24,
    Spread,
    ThreePart,
    TwoPart,
    /// A fifth note in place of the doubled lead.
    FiveNote,
    Fourths,
    Cluster,
    /// Trumpets in close position, trombones the same an octave below.
    Tutti,
    /// Trumpets in close position, trombones open under them.
    TuttiOpen,
    Unison,
    Octaves,
    /// Held chords in whichever open or close position leads best.
    Pad,
}

use Technique::{Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop23, Drop24};

impl Technique {
    /// As a passage states it.
    pub fn word(self) -> &'static str {
        match self {
            Close => "four-way close",
            DoubledLead => "doubled lead",
            Drop2 => "drop 2",
            Drop2Doubled => "drop 2 with doubled lead",
            Drop3 => "drop 3",
            Drop23 => "drop 2 & 3",
            Drop24 => "drop 2 & 4",
            Self::Spread => "spread",
            Self::ThreePart => "three-part",
            Self::TwoPart => "two-part",
            Self::FiveNote => "five-note soli",
            Self::Fourths => "fourths",
            Self::Cluster => "cluster",
            Self::Tutti => "tutti",
            Self::TuttiOpen => "tutti, open below",
            Self::Unison => "unison",
            Self::Octaves => "octaves",
            Self::Pad => "free",
        }
    }
    /// A transform of close position.
    pub fn mechanical(self) -> bool {
        drops(self).is_some()
    }
}

/// Which voices of close position drop an octave, and whether the lead is doubled.
pub fn drops(technique: Technique) -> Option<(&'static [usize], bool)> {
    Some(match technique {
        Close => (&[], false),
        DoubledLead => (&[], true),
        Drop2 => (&[1], false),
        Drop2Doubled => (&[1], true),
        Drop3 => (&[2], false),
        Drop23 => (&[1, 2], false),
        Drop24 => (&[1, 3], false),
        _ => return None,
    })
}

/// Close position under a lead: the other three each at their highest below it.
pub fn close(lead: Tone, four: &[Tone; 4]) -> Option<[Tone; 4]> {
    let others = four.iter().filter(|t| t.class() != lead.class());
    let mut below: Vec<Tone> = others.map(|t| under(*t, lead.midi - 1)).collect();
    below.sort_by_key(|t| -t.midi);
    let [b, c, d] = below.try_into().ok()?;
    Some([lead, b, c, d])
}

pub fn shaped(lead: Tone, four: &[Tone; 4], technique: Technique) -> Option<Vec<Tone>> {
    let (dropped, doubled) = drops(technique)?;
    let mut voices = close(lead, four)?.to_vec();
    for at in dropped {
        voices[*at] = voices[*at].octaves(-1);
    }
    if doubled {
        voices.push(lead.octaves(-1));
    }
    voices.sort_by_key(|t| -t.midi);
    Some(voices)
}

/// A minor ninth between two voices; the flat ninth over its root is none.
pub fn minor_ninth(voices: &[Tone], chord: Chord) -> bool {
    let over_root = |upper: Tone, lower: Tone| {
        chord.is(Family::Dominant) && chord.above(lower) == 0 && chord.above(upper) == 1
    };
    voices.iter().enumerate().any(|(at, upper)| {
        voices[at + 1..]
            .iter()
            .any(|lower| matches!(upper.midi - lower.midi, 13 | 25) && !over_root(*upper, *lower))
    })
}

/// No minor ninth, no half step under the lead nor a whole step longer than a beat, no two seconds side by side, no
/// interval below its limit, no upper gap over an octave. `len` in ticks, twelve to a quarter.
pub fn clean(voices: &[Tone], chord: Chord, len: i32) -> bool {
    let gaps: Vec<i16> = voices.windows(2).map(|w| w[0].midi - w[1].midi).collect();
    let under_lead = gaps[0] == 1 || gaps[0] == 2 && len > 12;
    let seconds = gaps.windows(2).any(|g| g[0] <= 2 && g[1] <= 2);
    let low = voices.windows(2).any(|w| too_low(w[0].midi, w[1].midi));
    let doubling_rubs = voices.len() > 4 && gaps.contains(&1);
    let upper = &gaps[..gaps.len() - 1];
    !minor_ninth(voices, chord)
        && !under_lead
        && !seconds
        && !low
        && !doubling_rubs
        && gaps.iter().all(|g| *g >= 1)
        && upper.iter().all(|g| *g <= 12)
}

/// High enough for the technique to sound (common practice, no source).
pub fn high_enough(voices: &[Tone], technique: Technique, low_horns: bool) -> bool {
    let lead = voices[0].midi;
    match technique {
        Close | DoubledLead => voices[3].midi >= 55,
        Drop2 | Drop2Doubled => lead >= if low_horns { 62 } else { 64 },
        Drop3 | Drop23 | Drop24 => lead >= if low_horns { 62 } else { 69 },
        _ => true,
    }
}

/// Lead with the third and seventh (or sixth) of its set; a tension that took one of these in the set stands over the
/// chord's own; under a guide tone the other one and the fifth.
pub fn three(lead: Tone, chord: Chord, four: &[Tone; 4]) -> Option<Vec<Tone>> {
    let own = chord.guides().map(Tone::plain);
    let guide = |place: usize, of: usize| {
        if four[place].class() == lead.class() {
            own[of]
        } else {
            four[place]
        }
    };
    let mut below: Vec<Tone> = [guide(1, 0), guide(3, 1)]
        .into_iter()
        .filter(|t| t.class() != lead.class())
        .collect();
    if below.len() == 1 {
        below.push(four[2]);
    }
    let mut voices: Vec<Tone> = below.iter().map(|t| under(*t, lead.midi - 1)).collect();
    voices.push(lead);
    voices.sort_by_key(|t| -t.midi);
    let distinct = voices.windows(2).all(|w| w[0].class() != w[1].class());
    (voices.len() == 3 && distinct).then_some(voices)
}

/// Lead with the guide tone that lies a third to a sixth below it.
pub fn two(lead: Tone, four: &[Tone; 4]) -> Option<Vec<Tone>> {
    let mut guides = [four[1], four[3]].map(|t| under(t, lead.midi - 3));
    guides.sort_by_key(|t| -t.midi);
    let near = guides
        .into_iter()
        .find(|t| (3..=9).contains(&(lead.midi - t.midi)))?;
    Some(vec![lead, near])
}

/// The doubled lead gives way to a tension of its own category: 9 under 1, 7 under 6, 11 under a minor third, 13 under 5.
pub fn five_note(lead: Tone, chord: Chord, four: &[Tone; 4], base: Technique) -> Option<Vec<Tone>> {
    let mut voices = shaped(lead, four, base)?;
    let flat = matches!(chord.quality.suffix, "7b9" | "13b9" | "7alt" | "7b9b13");
    let dominant = chord.is(Family::Dominant);
    let by = match chord.above(lead) {
        0 if flat => (1, 1),
        0 => (1, 2),
        9 if chord.is(Family::Major) => (1, 2),
        3 if chord.is(Family::Minor) => (1, 2),
        7 if dominant && flat => (1, 1),
        7 if dominant => (1, 2),
        _ => return Some(voices),
    };
    let doubling = voices.iter().position(|v| v.midi == lead.midi - 12)?;
    voices[doubling] = voices[doubling].moved(by.0, by.1).plain();
    let taken = chord.takes(voices[doubling]);
    let mut classes: Vec<i16> = voices.iter().map(|v| v.class()).collect();
    classes.sort_unstable();
    classes.dedup();
    voices.sort_by_key(|t| -t.midi);
    (taken && classes.len() == 5).then_some(voices)
}

/// Notes of the chord's scale stacked under a lead, the gaps from the top as given; the cheapest stack.
pub fn stacked(
    lead: Tone,
    chord: Chord,
    scale: &[Tone],
    count: usize,
    fourths: bool,
) -> Option<Vec<Tone>> {
    let mut best = None;
    let mut voices = vec![lead];
    stack(chord, scale, count, fourths, &mut voices, &mut best);
    best.map(|b: (i32, Vec<Tone>)| b.1)
}

fn stack(
    chord: Chord,
    scale: &[Tone],
    count: usize,
    fourths: bool,
    voices: &mut Vec<Tone>,
    best: &mut Option<(i32, Vec<Tone>)>,
) {
    let gaps: Vec<i16> = voices.windows(2).map(|w| w[0].midi - w[1].midi).collect();
    if voices.len() == count {
        let odd_gaps = gaps
            .iter()
            .map(|g| i32::from(if fourths { *g != 5 } else { *g == 1 }));
        let own = chord.four().map(|d| d.1);
        let outside = voices
            .iter()
            .map(|v| i32::from(!own.contains(&chord.above(*v))));
        let cost: i32 = odd_gaps.sum::<i32>() + outside.sum::<i32>();
        let (odd, half) = (
            gaps.iter().filter(|g| **g != 5).count(),
            gaps.iter().filter(|g| **g == 1).count(),
        );
        let third = chord.guides()[0].class();
        let allowed = if fourths {
            odd <= 1
        } else {
            half <= 1 && voices.iter().any(|v| v.class() == third)
        };
        if allowed && !minor_ninth(voices, chord) && best.as_ref().is_none_or(|b| cost < b.0) {
            *best = Some((cost, voices.clone()));
        }
        return;
    }
    let above = voices[voices.len() - 1];
    let steps: &[i16] = match (fourths, voices.len()) {
        (true, _) => &[5, 6, 4],
        (false, 1) => &[3, 4],
        (false, _) => &[2, 1],
    };
    for step in steps {
        let found = scale
            .iter()
            .find(|t| t.class() == (above.midi - step).rem_euclid(12));
        let next = found.map(|t| under(*t, above.midi - step));
        let Some(next) = next.filter(|n| voices.iter().all(|v| v.class() != n.class())) else {
            continue;
        };
        voices.push(next);
        stack(chord, scale, count, fourths, voices, best);
        voices.pop();
    }
}

/// Trumpets in close position; trombones the same an octave below, or open under them.
pub fn tutti(lead: Tone, four: &[Tone; 4], open: bool) -> Option<Vec<Tone>> {
    let mut voices = shaped(lead, four, Close)?;
    let below = if open {
        shaped(lead.octaves(-1), four, Drop2)?
    } else {
        voices.iter().map(|t| t.octaves(-1)).collect()
    };
    voices.extend(below);
    Some(voices)
}

/// Root in the bass; fifth, seventh (sixth) or tenth over it; both guide tones sound; the lead on top.
pub fn spread(
    lead: Tone,
    chord: Chord,
    four: &[Tone; 4],
    ranges: &[(i16, i16)],
) -> Option<Vec<Tone>> {
    let count = ranges.len();
    if count < 4 {
        return None;
    }
    let highest = under(chord.root.plain(), 50.min(ranges[count - 1].1));
    let mut best: Option<(i16, Vec<Tone>)> = None;
    for root in [highest, highest.octaves(-1)] {
        let mut voices = vec![lead];
        fill(chord, root, four, ranges, &mut voices, &mut best);
    }
    best.map(|b| b.1)
}

fn fill(
    chord: Chord,
    root: Tone,
    four: &[Tone; 4],
    ranges: &[(i16, i16)],
    voices: &mut Vec<Tone>,
    best: &mut Option<(i16, Vec<Tone>)>,
) {
    let above = voices[voices.len() - 1];
    if voices.len() == ranges.len() - 1 {
        let lowest = above.midi - root.midi;
        voices.push(root);
        let guides = chord.guides().map(Tone::class);
        let whole = guides
            .iter()
            .all(|g| voices.iter().any(|v| v.class() == *g));
        if whole
            && matches!(lowest, 7 | 9 | 10 | 11 | 15 | 16)
            && voices[0].midi - root.midi >= 16
            && in_range(voices, ranges)
            && clean(voices, chord, 48)
        {
            let gaps = voices.windows(2).map(|w| (w[0].midi - w[1].midi - 5).abs());
            let cost = gaps.sum();
            if best.as_ref().is_none_or(|b| cost < b.0) {
                *best = Some((cost, voices.clone()));
            }
        }
        voices.pop();
        return;
    }
    for tone in four {
        let mut next = under(*tone, above.midi - 1);
        let sounding = voices.iter().any(|v| v.class() == next.class());
        while !sounding && next.class() != root.class() && above.midi - next.midi <= 12 {
            voices.push(next);
            fill(chord, root, four, ranges, voices, best);
            voices.pop();
            next = next.octaves(-1);
        }
    }
}

pub fn in_range(voices: &[Tone], ranges: &[(i16, i16)]) -> bool {
    voices.len() == ranges.len()
        && voices
            .iter()
            .zip(ranges)
            .all(|(t, r)| (r.0..=r.1).contains(&t.midi))
}

pub fn same_sounds(a: &[Tone], b: &[Tone]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(x, y)| x.midi == y.midi)
}
