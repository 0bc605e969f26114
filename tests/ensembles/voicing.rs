//! Voicings computed from the definitions: close position, its drops, the doubled lead, spread, three
//! parts. Published: handbooks of jazz voicing (transforms, rubs), low interval limits of a retailer's
//! glossary and course tables; which ones are clean is computed here.

use super::notes::{Chord, Degree, PASSING, Quality, Tone, under};

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Technique {
    Close,
    DoubledLead,
    Drop2,
    Drop3,
    Drop24,
    Drop2Doubled,
    Spread,
    ThreePart,
    TuttiBelow,
    TuttiOpen,
    TuttiComplete,
    Pad,
    Unison,
    Octaves,
    Line,
}

use Technique::{
    Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop24, Pad, Spread, ThreePart, TuttiBelow,
    TuttiComplete, TuttiOpen,
};

/// What a lead note is, and with it the chord under it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Chord,
    Tension,
    /// The diminished a half step below the root.
    Passing,
    /// The diminished of a dominant read as the minor sixth on its fifth, under its 13.
    SecondReading,
    /// The dominant of the next chord.
    Dominant,
    /// The tonic sixth between notes of the dominant.
    TonicSixth,
    /// The minor seventh a fifth above, under a ninth between notes of the dominant.
    Related,
    /// The next voicing moved by a half step.
    Chromatic,
}

impl Kind {
    pub fn moves(self) -> bool {
        !matches!(self, Self::Chord | Self::Tension)
    }
}

/// A lead note with the voices under it, from the top.
#[derive(Clone, Debug)]
pub struct Candidate {
    pub kind: Kind,
    pub voices: Vec<Tone>,
}

impl Candidate {
    pub fn lead(&self) -> Tone {
        self.voices[0]
    }
}

/// Lowest lower notes for intervals of 1 to 16 semitones (an octave has no limit).
const LOW: [i16; 16] = [
    52, 51, 48, 46, 46, 47, 34, 41, 41, 41, 41, 0, 40, 39, 36, 34,
];

pub fn too_low(upper: i16, lower: i16) -> bool {
    let between = upper - lower;
    (1..=16).contains(&between) && lower < LOW[between as usize - 1]
}

/// Close position under a lead: the other tones each at their highest below it.
fn close(lead: Tone, tones: &[Tone; 4]) -> Option<[Tone; 4]> {
    let mut four = [lead; 4];
    let others = tones.iter().filter(|t| t.class() != lead.class());
    let mut below: Vec<Tone> = others.map(|t| under(*t, lead.midi - 1)).collect();
    if below.len() != 3 {
        return None;
    }
    below.sort_by_key(|t| -t.midi);
    four[1..].copy_from_slice(&below);
    Some(four)
}

/// A technique's transform of close position; none for those that are not transforms.
pub fn shaped(lead: Tone, tones: &[Tone; 4], technique: Technique) -> Option<Vec<Tone>> {
    let [a, b, c, d] = close(lead, tones)?;
    let mut voices = match technique {
        Close | DoubledLead => vec![a, b, c, d],
        Drop2 | Drop2Doubled => vec![a, c, d, b.octaves(-1)],
        Drop3 => vec![a, b, d, c.octaves(-1)],
        Drop24 => vec![a, c, b.octaves(-1), d.octaves(-1)],
        ThreePart => vec![a, b, c],
        _ => return None,
    };
    if matches!(technique, DoubledLead | Drop2Doubled) {
        voices.push(a.octaves(-1));
    }
    voices.sort_by_key(|t| -t.midi);
    Some(voices)
}

/// No minor ninth but b9 over its root, no half step under the lead, no whole step there for longer than
/// a quarter, no two seconds side by side, no interval below its limit, no wide gap between upper voices.
pub fn clean(voices: &[Tone], chord: Chord, length: i32) -> bool {
    let flat9 = (chord.root.class() + 1) % 12;
    let pair = |upper: Tone, lower: Tone| {
        let between = upper.midi - lower.midi;
        matches!(between, 13 | 25)
            && !(chord.quality == Quality::SeventhFlat9
                && lower.class() == chord.root.class()
                && upper.class() == flat9)
    };
    for (index, upper) in voices.iter().enumerate() {
        if voices[index + 1..].iter().any(|lower| pair(*upper, *lower)) {
            return false;
        }
    }
    let gaps: Vec<i16> = voices.windows(2).map(|w| w[0].midi - w[1].midi).collect();
    let rub = gaps
        .first()
        .is_some_and(|g| *g == 1 || (*g == 2 && length > 2));
    let seconds = gaps.windows(2).any(|g| g[0] <= 2 && g[1] <= 2);
    let low = voices.windows(2).any(|w| too_low(w[0].midi, w[1].midi));
    // A doubled lead, or another section, a half step under its neighbour.
    let rub = rub || voices.len() > 4 && gaps.contains(&1);
    let upper = &gaps[..gaps.len().saturating_sub(1)];
    gaps.iter().all(|g| *g >= 1) && !rub && !seconds && !low && upper.iter().all(|g| *g <= 12)
}

/// The lowest sounding of a technique: bottom voice for close positions, else the lead.
fn high_enough(voices: &[Tone], technique: Technique, low_horns: bool) -> bool {
    let lead = voices[0].midi;
    match technique {
        Close | DoubledLead => voices[3].midi >= 55,
        Drop2 | Drop2Doubled => lead >= if low_horns { 62 } else { 64 },
        Drop3 | Drop24 => lead >= if low_horns { 62 } else { 69 },
        _ => true,
    }
}

/// What a voicing is asked for.
#[derive(Clone, Copy)]
pub struct Wanted<'a> {
    pub technique: Technique,
    /// Comfortable sounding ranges of the players, from the top.
    pub ranges: &'a [(i16, i16)],
    pub low_horns: bool,
    pub length: i32,
}

pub fn in_range(voices: &[Tone], ranges: &[(i16, i16)]) -> bool {
    voices.len() == ranges.len()
        && voices
            .iter()
            .zip(ranges)
            .all(|(t, r)| (r.0..=r.1).contains(&t.midi))
}

fn degrees(chord: Chord, four: &[Degree; 4]) -> [Tone; 4] {
    four.map(|d| chord.at(d).plain())
}

/// The sets of four that a lead degree may stand on: its kind and the set, the lead among it.
fn stable_sets(chord: Chord, length: i32) -> Vec<(Kind, Degree, [Degree; 4])> {
    let tones = chord.tones();
    let mut sets = Vec::new();
    match chord.quality {
        Quality::Major7 => {
            let sixth = [tones[0], tones[1], tones[2], (5, 9)];
            sets.push((Kind::Chord, tones[0], sixth));
            sets.push((Kind::Chord, (5, 9), sixth));
            for lead in [tones[1], tones[2]] {
                sets.push((Kind::Chord, lead, if length > 2 { tones } else { sixth }));
            }
            if length > 2 {
                sets.push((Kind::Chord, tones[3], tones));
            }
        }
        Quality::SeventhFlat9 => {
            let flat9 = [(1, 1), tones[1], tones[2], tones[3]];
            sets.push((Kind::Chord, tones[0], tones));
            sets.extend(flat9.map(|lead| (Kind::Chord, lead, flat9)));
            return sets;
        }
        Quality::Ninth => {
            let ninth = [(1, 2), tones[1], tones[2], tones[3]];
            sets.push((Kind::Chord, tones[0], tones));
            sets.extend(ninth.map(|lead| (Kind::Chord, lead, ninth)));
        }
        Quality::Thirteenth => {
            let (ninth, thirteenth) = ((1, 2), (5, 9));
            let both = [ninth, tones[1], thirteenth, tones[3]];
            sets.push((
                Kind::Chord,
                tones[0],
                [tones[0], tones[1], thirteenth, tones[3]],
            ));
            sets.push((Kind::Chord, tones[2], [ninth, tones[1], tones[2], tones[3]]));
            sets.extend(both.map(|lead| (Kind::Chord, lead, both)));
        }
        _ => sets.extend(tones.map(|lead| (Kind::Chord, lead, tones))),
    }
    if length > 2 {
        for (tension, place) in chord.tensions() {
            let mut set = tones;
            set[*place] = *tension;
            sets.push((Kind::Tension, *tension, set));
        }
    }
    sets
}

/// The sets under a short note between others: lead, set.
fn moving_sets(chord: Chord, next: Option<Chord>, home: Tone) -> Vec<(Kind, Tone, [Tone; 4])> {
    let passing = degrees(chord, &PASSING);
    // A ninth that the symbol asks for does not pass; nothing passes by diminished on a suspended chord.
    let ninth = matches!(chord.quality, Quality::Ninth | Quality::Thirteenth);
    let passes = passing
        .iter()
        .filter(|t| !ninth || (t.midi - chord.root.midi).rem_euclid(12) != 2);
    let mut sets: Vec<_> = passes.map(|t| (Kind::Passing, *t, passing)).collect();
    if chord.quality == Quality::SeventhSus4 {
        sets.clear();
    }
    let dominant = chord.dominant();
    if chord.quality == Quality::Seventh {
        let second = degrees(chord, &[(0, 0), (2, 3), (3, 6), (5, 9)]);
        sets.push((Kind::SecondReading, second[3], second));
        if chord.root.class() == (home.class() + 7) % 12 {
            let tonic = Chord {
                root: home,
                quality: Quality::Sixth,
            };
            let six = degrees(tonic, &tonic.tones());
            sets.push((Kind::TonicSixth, six[0], six));
        }
        let two = Chord {
            root: chord.at((4, 7)),
            quality: Quality::Minor7,
        };
        let seven = degrees(two, &two.tones());
        sets.push((Kind::Related, seven[2], seven));
    }
    if let Some(next) = next.filter(|n| *n != chord && !dominant && n.quality != Quality::Dim7) {
        let five = Chord {
            root: next.at((4, 7)),
            quality: Quality::Seventh,
        };
        let tones = degrees(five, &five.tones());
        let own = chord.tones().map(|d| chord.at(d).class());
        let outside = tones.iter().filter(|t| !own.contains(&t.class()));
        sets.extend(outside.map(|t| (Kind::Dominant, *t, tones)));
    }
    sets
}

/// Every clean voicing of a note over a chord; moving ones where they are asked for.
pub fn candidates(
    chord: Chord,
    next: Option<Chord>,
    home: Tone,
    wanted: Wanted<'_>,
    moving: bool,
) -> Vec<Candidate> {
    let mut leads: Vec<(Kind, Tone, [Tone; 4])> = Vec::new();
    for (kind, lead, set) in stable_sets(chord, wanted.length) {
        leads.push((kind, chord.at(lead).plain(), degrees(chord, &set)));
    }
    if moving {
        leads.extend(moving_sets(chord, next, home));
    }
    let (low, high) = wanted.ranges[0];
    let mut found = Vec::new();
    for (kind, lead, set) in leads {
        let mut lead = under(lead, high);
        while lead.midi >= low {
            if let Some(voices) = voiced(kind, chord, lead, &set, wanted) {
                found.push(Candidate { kind, voices });
            }
            lead = lead.octaves(-1);
        }
    }
    found
}

fn voiced(
    kind: Kind,
    chord: Chord,
    lead: Tone,
    set: &[Tone; 4],
    wanted: Wanted<'_>,
) -> Option<Vec<Tone>> {
    let voices = match wanted.technique {
        Technique::Unison | Technique::Octaves | Technique::Line => vec![lead],
        Spread => {
            let held = !kind.moves() && wanted.length >= 2;
            return held
                .then(|| spread(chord, lead, set, wanted.ranges))
                .flatten();
        }
        Pad => {
            let all = [Close, Drop2, Drop3];
            let each = all.iter().filter_map(|t| {
                let wanted = Wanted {
                    technique: *t,
                    ..wanted
                };
                voiced(kind, chord, lead, set, wanted)
            });
            return each.min_by_key(|v| v[0].midi - v[3].midi + lead.midi % 5);
        }
        TuttiBelow | TuttiOpen | TuttiComplete => tutti(kind, chord, lead, set, wanted)?,
        ThreePart if kind.moves() => shaped(lead, set, ThreePart)?,
        ThreePart => three(chord, lead, set)?,
        other => shaped(lead, set, other)?,
    };
    let mut heard = voices.clone();
    heard.sort_by_key(|t| -t.midi);
    heard.dedup_by_key(|t| t.midi);
    let stands = matches!(wanted.technique, Drop3 | Drop24);
    let bottom = heard.last()?.class();
    let tension = kind == Kind::Tension && bottom == lead.class()
        || chord.quality == Quality::SeventhFlat9 && bottom == (chord.root.class() + 1) % 12;
    let fits = in_range(&voices, wanted.ranges)
        && (heard.len() == 1 || clean(&heard, chord, wanted.length))
        && high_enough(&voices, wanted.technique, wanted.low_horns)
        && !(stands && tension && !kind.moves());
    fits.then_some(voices)
}

/// Lead with third and seventh (or sixth); under a guide tone the other one and the fifth.
fn three(chord: Chord, lead: Tone, set: &[Tone; 4]) -> Option<Vec<Tone>> {
    let guides = chord.guides().map(|d| chord.at(d).class());
    let fifth = chord.at(chord.tones()[2]).class();
    let mut classes: Vec<i16> = guides
        .iter()
        .copied()
        .filter(|c| *c != lead.class())
        .collect();
    if classes.len() == 1 {
        classes.push(fifth);
    }
    let tone = |class: &i16| {
        set.iter()
            .find(|t| t.class() == *class)
            .map(|t| under(*t, lead.midi - 1))
    };
    let mut voices = vec![lead, tone(&classes[0])?, tone(&classes[1])?];
    voices.sort_by_key(|t| -t.midi);
    Some(voices)
}

/// Root in the bass, fifth, seventh or tenth over it, both guide tones sounding, the lead on top.
fn spread(chord: Chord, lead: Tone, set: &[Tone; 4], ranges: &[(i16, i16)]) -> Option<Vec<Tone>> {
    let count = ranges.len();
    let root = under(chord.root, 50.min(ranges[count - 1].1));
    let mut best: Option<(i16, Vec<Tone>)> = None;
    let mut voices = vec![lead];
    fill(chord, root, set, ranges, &mut voices, &mut best);
    best.map(|b| b.1)
}

fn fill(
    chord: Chord,
    root: Tone,
    set: &[Tone; 4],
    ranges: &[(i16, i16)],
    voices: &mut Vec<Tone>,
    best: &mut Option<(i16, Vec<Tone>)>,
) {
    if voices.len() == ranges.len() - 1 {
        let above = voices[voices.len() - 1].midi - root.midi;
        voices.push(root);
        let guides = chord.guides().map(|d| chord.at(d).class());
        let whole = guides
            .iter()
            .all(|g| voices.iter().any(|v| v.class() == *g));
        if whole
            && matches!(above, 7 | 9 | 10 | 11 | 15 | 16)
            && voices[0].midi - root.midi >= 19
            && in_range(voices, ranges)
            && clean(voices, chord, 8)
        {
            let gaps = voices[..voices.len() - 1]
                .windows(2)
                .map(|w| (w[0].midi - w[1].midi - 5).abs());
            let cost = gaps.sum();
            if best.as_ref().is_none_or(|b| cost < b.0) {
                *best = Some((cost, voices.clone()));
            }
        }
        voices.pop();
        return;
    }
    let above = voices[voices.len() - 1];
    for tone in set {
        let mut next = under(*tone, above.midi - 1);
        let sounding = voices.iter().any(|v| v.class() == next.class());
        while !sounding && next.class() != chord.root.class() && above.midi - next.midi <= 12 {
            voices.push(next);
            fill(chord, root, set, ranges, voices, best);
            voices.pop();
            next = next.octaves(-1);
        }
    }
}

/// Four trumpets close; four trombones an octave below, open under them, or completing the chord from
/// its root; saxes, where there are any, an octave below the trumpets with the last trombone's note last.
fn tutti(
    kind: Kind,
    chord: Chord,
    lead: Tone,
    set: &[Tone; 4],
    wanted: Wanted<'_>,
) -> Option<Vec<Tone>> {
    let mut voices = shaped(lead, set, Close)?;
    let trumpets = voices.clone();
    let below = trumpets[3].midi - 1;
    let ranges = &wanted.ranges[4..8];
    let mut tops: Vec<Tone> = set
        .iter()
        .map(|t| under(*t, below.min(ranges[0].1)))
        .collect();
    tops.sort_by_key(|t| -t.midi);
    let trombones = match wanted.technique {
        TuttiBelow => Some(trumpets.iter().map(|t| t.octaves(-1)).collect()),
        TuttiOpen => tops.iter().find_map(|top| {
            let four = shaped(*top, set, Drop2)?;
            (in_range(&four, ranges) && clean(&four, chord, wanted.length)).then_some(four)
        }),
        _ if kind.moves() => None,
        _ => tops.iter().find_map(|top| spread(chord, *top, set, ranges)),
    }?;
    voices.extend(&trombones);
    if wanted.ranges.len() > 8 {
        voices.extend(trumpets.iter().map(|t| t.octaves(-1)));
        voices.push(trombones[3]);
    }
    Some(voices)
}
