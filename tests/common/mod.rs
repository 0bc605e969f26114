//! A maker of clean passages and of single slips, independent of the program: it knows the
//! sixth-diminished system and the drop transforms from their definitions (trade tables, computed),
//! writes passages as grids, and never calls the voicing engine it is used to test.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use chartproof::inside::ground::pitch::Pitch;
use std::fmt::Write as _;

/// A small reproducible random source (an LCG; constants from the MMIX generator, published).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }
    pub fn roll(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % n
    }
    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.roll(list.len())]
    }
}

/// Techniques by the closed list of the trade: name, dropped voices of close position, doubling.
pub const TECHNIQUES: [(&str, &[usize], bool); 7] = [
    ("four-way close", &[], false),
    ("doubled lead", &[], true),
    ("drop 2", &[1], false),
    ("drop 3", &[2], false),
    ("drop 2 & 3", &[1, 2], false),
    ("drop 2 & 4", &[1, 3], false),
    ("drop 2 with doubled lead", &[1], true),
];

/// A section: its word in the grid, its parts (name, instrument, lowest and highest sounding), and
/// the leads (sounding) it is written for.
pub struct Band {
    pub section: &'static str,
    pub parts: &'static [(&'static str, &'static str, i16, i16)],
    pub chordal: bool,
}

/// Sounding ranges from the published handbook tables (alto Db3-Ab5, tenor Ab2-Eb5, baritone
/// C2-Ab4, trumpet E3-Bb5, trombone E2-Bb4, choir C4-A5 G3-D5 C3-G4 E2-C4).
pub const BANDS: [Band; 6] = [
    Band {
        section: "saxes",
        parts: &[
            ("alto 1", "alto saxophone", 49, 80),
            ("alto 2", "alto saxophone", 49, 80),
            ("tenor 1", "tenor saxophone", 44, 75),
            ("tenor 2", "tenor saxophone", 44, 75),
            ("baritone", "baritone saxophone", 36, 68),
        ],
        chordal: false,
    },
    Band {
        section: "trumpets",
        parts: &[
            ("trumpet 1", "trumpet", 52, 82),
            ("trumpet 2", "trumpet", 52, 82),
            ("trumpet 3", "trumpet", 52, 82),
            ("trumpet 4", "trumpet", 52, 82),
            ("trumpet 5", "trumpet", 52, 82),
        ],
        chordal: false,
    },
    Band {
        section: "trombones",
        parts: &[
            ("trombone 1", "trombone", 40, 70),
            ("trombone 2", "trombone", 40, 70),
            ("trombone 3", "trombone", 40, 70),
            ("trombone 4", "bass trombone", 34, 67),
            ("trombone 5", "bass trombone", 34, 67),
        ],
        chordal: false,
    },
    Band {
        section: "voices",
        parts: &[
            ("soprano", "soprano voice", 60, 81),
            ("alto", "alto voice", 55, 74),
            ("tenor", "tenor voice", 48, 67),
            ("bass", "bass voice", 40, 60),
        ],
        chordal: false,
    },
    Band {
        section: "clarinets",
        parts: &[
            ("clarinet 1", "clarinet", 50, 89),
            ("clarinet 2", "clarinet", 50, 89),
            ("clarinet 3", "clarinet", 50, 89),
            ("clarinet 4", "bass clarinet", 37, 77),
        ],
        chordal: false,
    },
    Band {
        section: "piano",
        parts: &[("piano", "piano", 40, 88)],
        chordal: true,
    },
];

/// Qualities: suffix, members above the root, leads that stay moving on the sixth chord instead.
const QUALITIES: [(&str, [i16; 4]); 6] = [
    ("6", [0, 4, 7, 9]),
    ("m6", [0, 3, 7, 9]),
    ("7", [0, 4, 7, 10]),
    ("m7", [0, 3, 7, 10]),
    ("m7b5", [0, 3, 6, 10]),
    ("maj7", [0, 4, 7, 11]),
];

const NAMES: [&str; 12] = [
    "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
];

pub fn spell(midi: i16) -> String {
    format!(
        "{}{}",
        NAMES[midi.rem_euclid(12) as usize],
        midi.div_euclid(12) - 1
    )
}

/// Close position by definition: every other class at its highest place under the lead.
pub fn close(lead: i16, classes: &[i16]) -> Vec<i16> {
    let mut v: Vec<i16> = classes
        .iter()
        .map(|c| lead - (lead - c).rem_euclid(12))
        .collect();
    v.sort_unstable_by(|a, b| b.cmp(a));
    assert_eq!(v[0], lead);
    assert_eq!(v.len(), 4);
    v
}

/// The transform of a technique.
pub fn transform(close: &[i16], drops: &[usize], doubled: bool) -> Vec<i16> {
    let mut v: Vec<i16> = close
        .iter()
        .enumerate()
        .map(|(i, m)| if drops.contains(&i) { m - 12 } else { *m })
        .collect();
    if doubled {
        v.push(close[0] - 12);
    }
    v.sort_unstable_by(|a, b| b.cmp(a));
    v
}

fn rubs(v: &[i16]) -> bool {
    v[0] - v[1] == 1
        || (0..v.len()).any(|i| (i + 1..v.len()).any(|j| matches!(v[i] - v[j], 13 | 25)))
}

#[derive(Clone, Debug)]
pub struct Event {
    pub bar: usize,
    /// Half-beats since the bar line, 4/4.
    pub at: usize,
    pub length: usize,
    pub root: i16,
    pub quality: usize,
    /// The chord symbol starts here.
    pub symbol: bool,
    pub lead: i16,
    /// Pitch classes of the harmony used.
    pub classes: [i16; 4],
    pub passing: bool,
    /// Sounding pitches by seat.
    pub voices: Vec<i16>,
    /// Which seats hold their note from the event before.
    pub tied: Vec<bool>,
}

impl Event {
    /// Whether a seat, or all of them, hold on.
    fn holds(&self, seat: usize, all: bool) -> bool {
        if all {
            !self.tied.is_empty() && self.tied.iter().all(|t| *t)
        } else {
            self.tied.get(seat) == Some(&true)
        }
    }
}

#[derive(Clone)]
pub struct Made {
    pub band: usize,
    pub technique: usize,
    pub stated: bool,
    pub key: usize,
    pub events: Vec<Event>,
    pub bars: usize,
}

impl Made {
    pub fn beat(event: &Event) -> String {
        let whole = event.at / 2 + 1;
        if event.at.is_multiple_of(2) {
            whole.to_string()
        } else {
            format!("{whole}-and")
        }
    }

    /// The lead alone with its chord symbols, as a grid.
    pub fn lead(&self) -> String {
        let alone = Self {
            stated: false,
            events: self
                .events
                .iter()
                .map(|e| Event {
                    voices: vec![e.lead],
                    tied: e.tied.first().copied().into_iter().collect(),
                    ..e.clone()
                })
                .collect(),
            ..self.clone()
        };
        alone.grid()
    }

    /// A pitch as the passage's key spells it.
    fn spell(&self, midi: i16) -> String {
        let fifths = (self.key as i8 * 7 + 6) % 12 - 6;
        Pitch::in_key(midi, fifths).to_string()
    }

    /// The passage as a grid.
    pub fn grid(&self) -> String {
        let band = &BANDS[self.band];
        let mut out = String::new();
        let _ = writeln!(
            out,
            "title: generated\nkey: {} major\nmeter: 4/4\npitch: sounding",
            NAMES[self.key]
        );
        let _ = writeln!(out, "section: {}", band.section);
        if self.stated {
            let _ = writeln!(out, "technique: {}", TECHNIQUES[self.technique].0);
        }
        let voices = self.events[0].voices.len();
        let parts: Vec<_> = if band.chordal {
            vec![band.parts[0]]
        } else {
            band.parts[..voices].to_vec()
        };
        for (i, p) in parts.iter().enumerate() {
            let head = if i == 0 { "parts: " } else { "       " };
            let _ = writeln!(out, "{head}{} = {}", p.0, p.1);
        }
        let row = |label: &str, cell: &dyn Fn(&Event) -> String| {
            let mut line = format!("{label:<12}|");
            for bar in 0..self.bars {
                for e in self.events.iter().filter(|e| e.bar == bar) {
                    let _ = write!(line, " {:<5}", cell(e));
                }
                line.push('|');
            }
            line
        };
        let _ = writeln!(out);
        let _ = writeln!(
            out,
            "{}",
            row("chord", &|e| if e.symbol {
                format!("{}{}", NAMES[e.root as usize], QUALITIES[e.quality].0)
            } else {
                "-".to_owned()
            })
        );
        let _ = writeln!(
            out,
            "{}",
            row("count", &|e| if e.at.is_multiple_of(2) {
                (e.at / 2 + 1).to_string()
            } else {
                "&".to_owned()
            })
        );
        for (i, p) in parts.iter().enumerate() {
            let _ = writeln!(
                out,
                "{}",
                row(p.0, &|e| if e.holds(i, band.chordal) {
                    "-".to_owned()
                } else if band.chordal {
                    let cells: Vec<String> = (0..e.voices.len())
                        .map(|voice| {
                            let held = if e.holds(voice, false) { "-" } else { "" };
                            format!("{held}{}", self.spell(e.voices[voice]))
                        })
                        .collect();
                    cells.join("+")
                } else {
                    self.spell(e.voices[i])
                })
            );
        }
        out
    }
}

/// The classes that stand under a lead, by the sixth-diminished system: chord notes on the chord
/// (maj7 with the root in the lead, or where the drop would rub, on the sixth), others on the
/// passing diminished seventh.
fn under(
    lead: i16,
    root: i16,
    quality: usize,
    drops: &[usize],
    doubled: bool,
) -> Option<([i16; 4], bool)> {
    let up = (lead - root).rem_euclid(12);
    let members = QUALITIES[quality].1;
    let at = |set: [i16; 4]| set.map(|m| (root + m) % 12);
    if members.contains(&up) {
        let plain = at(members);
        if !rubs(&transform(&close(lead, &plain), drops, doubled)) {
            return Some((plain, false));
        }
        let sixth = at([0, 4, 7, 9]);
        return (QUALITIES[quality].0 == "maj7" && up != 11).then_some((sixth, false));
    }
    matches!(up, 2 | 5 | 8 | 11).then(|| (at([2, 5, 8, 11]), true))
}

/// The step scale of a chord: chord notes and passing notes alternating.
fn scale(root: i16, quality: usize) -> Vec<i16> {
    let mut members = QUALITIES[quality].1;
    if QUALITIES[quality].0 == "maj7" {
        members = [0, 4, 7, 9];
    }
    let mut all: Vec<i16> = members
        .iter()
        .chain(&[2, 5, 8, 11])
        .map(|m| (root + m) % 12)
        .collect();
    all.sort_unstable();
    all
}

/// Lowest lower note of an interval in semitones. Published: retailer's glossary, octave corrected;
/// thirds, fourths and fifths from memory, with the two semitones of tolerance their sources differ by.
const LOWEST: [(i16, i16); 15] = [
    (1, 52),
    (2, 51),
    (3, 48),
    (4, 44),
    (5, 44),
    (6, 45),
    (7, 32),
    (8, 41),
    (9, 41),
    (10, 41),
    (11, 41),
    (13, 38),
    (14, 37),
    (15, 34),
    (16, 32),
];

/// Whether no two neighbouring voices lie below the low interval limit.
fn is_clear(v: &[i16]) -> bool {
    v.windows(2).all(|w| {
        LOWEST
            .iter()
            .all(|(gap, lowest)| w[0] - w[1] != *gap || w[1] >= *lowest)
    })
}

/// A clean passage of `bars` bars; `None` when the section has not enough voices.
pub fn clean(
    seed: u64,
    band: usize,
    technique: usize,
    key: usize,
    stated: bool,
    bars: usize,
) -> Option<Made> {
    let mut dice = Dice::new(seed);
    let (_, drops, doubled) = TECHNIQUES[technique];
    let voices = if doubled { 5 } else { 4 };
    let b = &BANDS[band];
    if !b.chordal && b.parts.len() < voices {
        return None;
    }
    // Roots of a plain progression in the key: I VI II V, IV, with their usual qualities.
    let progression: &[(i16, usize)] = dice.pick::<&[(i16, usize)]>(&[
        &[(0, 0), (9, 3), (2, 3), (7, 2)],
        &[(0, 5), (5, 0), (2, 3), (7, 2)],
        &[(0, 1), (2, 4), (7, 2), (0, 1)],
        &[(0, 0), (9, 2), (2, 2), (7, 2)],
        &[(9, 3), (2, 3), (7, 2), (0, 5)],
    ]);
    let fits = |v: &[i16]| {
        is_clear(v)
            && v.iter().enumerate().all(|(i, m)| {
                let p = if b.chordal { b.parts[0] } else { b.parts[i] };
                (p.2..=p.3).contains(m)
            })
    };
    // Half-beat rhythms of a bar; a passing note is only put on a length of one.
    let rhythms: [&[usize]; 6] = [
        &[2, 1, 1, 2, 2],
        &[1, 1, 1, 1, 2, 2],
        &[2, 2, 4],
        &[1, 1, 2, 2, 1, 1],
        &[4, 2, 1, 1],
        &[1, 1, 1, 1, 1, 1, 2],
    ];
    let mut events: Vec<Event> = Vec::new();
    let mut lead: Option<i16> = None;
    for bar in 0..bars {
        let (degree, quality) = progression[bar % progression.len()];
        let root = (key as i16 + degree) % 12;
        let ladder = scale(root, quality);
        let lengths = if bar + 1 == bars {
            &[4usize, 4][..]
        } else {
            *dice.pick(&rhythms)
        };
        let mut at = 0;
        let mut index = 0;
        while index < lengths.len() {
            let length = lengths[index];
            let first = at == 0;
            let try_add = |m: i16,
                           events: &mut Vec<Event>,
                           at: usize,
                           length: usize,
                           symbol: bool|
             -> Option<bool> {
                let (classes, passing) = under(m, root, quality, drops, doubled)?;
                let v = transform(&close(m, &classes), drops, doubled);
                if !fits(&v) {
                    return None;
                }
                events.push(Event {
                    bar,
                    at,
                    length,
                    root,
                    quality,
                    symbol,
                    lead: m,
                    classes,
                    passing,
                    voices: v,
                    tied: Vec::new(),
                });
                Some(passing)
            };
            // A passing note between two chord notes takes two lengths: itself and its target.
            let on_ladder = lead.is_some_and(|l| ladder.contains(&l.rem_euclid(12)));
            let stable =
                lead.is_some_and(|l| QUALITIES[quality].1.contains(&(l - root).rem_euclid(12)));
            if !first
                && on_ladder
                && stable
                && length == 1
                && index + 1 < lengths.len()
                && dice.roll(3) > 0
            {
                let here = lead.unwrap();
                let up = dice.roll(2) == 0;
                let step = |from: i16| -> i16 {
                    let mut m = from;
                    loop {
                        m += if up { 1 } else { -1 };
                        if ladder.contains(&m.rem_euclid(12)) {
                            return m;
                        }
                    }
                };
                let passing = step(here);
                let target = step(passing);
                let before = events.len();
                if (passing - here).abs() <= 2
                    && (target - passing).abs() <= 2
                    && try_add(passing, &mut events, at, length, false) == Some(true)
                    && try_add(target, &mut events, at + length, lengths[index + 1], false)
                        == Some(false)
                {
                    lead = Some(target);
                    at += length + lengths[index + 1];
                    index += 2;
                    continue;
                }
                events.truncate(before);
            }
            // A chord note, not too far from the last; never the one just heard.
            let mut options: Vec<i16> = (36..96)
                .filter(|m| QUALITIES[quality].1.contains(&(m - root).rem_euclid(12)))
                .filter(|m| lead.is_none_or(|l| (m - l).abs() <= 7 && *m != l))
                .collect();
            let mut done = false;
            while !options.is_empty() && !done {
                let m = options.swap_remove(dice.roll(options.len()));
                if lead.is_none() {
                    // Start in the middle of what the section can play.
                    let ok = (m - 4..=m + 4).all(|x| {
                        let Some((c, _)) = under(x, root, quality, drops, doubled) else {
                            return true;
                        };
                        fits(&transform(&close(x, &c), drops, doubled))
                    });
                    if !ok {
                        continue;
                    }
                }
                if try_add(m, &mut events, at, length, first) == Some(false) {
                    lead = Some(m);
                    done = true;
                }
            }
            if !done {
                return None;
            }
            at += length;
            index += 1;
        }
    }
    Some(Made {
        band,
        technique,
        stated,
        key,
        events,
        bars,
    })
}

/// Chords of a key by degree and quality, for leads that are held: enough of them share notes.
const DIATONIC: [(i16, usize); 9] = [
    (0, 0),
    (0, 5),
    (2, 3),
    (4, 3),
    (5, 5),
    (7, 2),
    (9, 3),
    (9, 2),
    (5, 1),
];

/// A clean passage with a chord to each half bar, in which the lead is held over changes of chord
/// while the other voices go with them; now and then one of them holds a note that both chords have.
/// `None` when the dice do not give one.
pub fn held(
    seed: u64,
    band: usize,
    technique: usize,
    key: usize,
    stated: bool,
    bars: usize,
) -> Option<Made> {
    let mut dice = Dice::new(seed);
    let (_, drops, doubled) = TECHNIQUES[technique];
    let seats = if doubled { 5 } else { 4 };
    let b = &BANDS[band];
    if !b.chordal && b.parts.len() < seats {
        return None;
    }
    let fits = |v: &[i16]| {
        is_clear(v)
            && v.iter().enumerate().all(|(i, m)| {
                let p = if b.chordal { b.parts[0] } else { b.parts[i] };
                (p.2..=p.3).contains(m)
            })
    };
    let on = |lead: i16, root: i16, quality: usize| {
        let (classes, passing) = under(lead, root, quality, drops, doubled)?;
        let v = transform(&close(lead, &classes), drops, doubled);
        (!passing && fits(&v)).then_some((classes, v))
    };
    let mut events: Vec<Event> = Vec::new();
    for half in 0..bars * 2 {
        let before = events.last().cloned();
        let chords: Vec<(i16, usize)> = DIATONIC
            .iter()
            .map(|(degree, quality)| ((key as i16 + degree) % 12, *quality))
            .filter(|c| before.as_ref().is_none_or(|e| (e.root, e.quality) != *c))
            .collect();
        let (root, quality) = *dice.pick(&chords);
        let event = |lead: i16, at: usize, length: usize, symbol: bool| {
            let (classes, voices) = on(lead, root, quality)?;
            Some(Event {
                bar: half / 2,
                at: half % 2 * 4 + at,
                length,
                root,
                quality,
                symbol,
                lead,
                classes,
                passing: false,
                voices,
                tied: Vec::new(),
            })
        };
        // Held: the whole half bar, so that the lead is long and the voicing too.
        if let Some(e) = &before
            && dice.roll(3) > 0
            && let Some(mut new) = event(e.lead, 0, 4, true)
            && new.voices != e.voices
        {
            new.tied = new
                .voices
                .iter()
                .zip(&e.voices)
                .map(|(now, then)| now == then && (*now == e.lead || dice.roll(3) == 0))
                .collect();
            events.push(new);
            continue;
        }
        let lengths = if dice.roll(2) == 0 { &[4][..] } else { &[2, 2] };
        let mut at = 0;
        for &length in lengths {
            let last = events.last().map(|e| e.lead);
            let mut leads: Vec<i16> = (36..96)
                .filter(|m| QUALITIES[quality].1.contains(&(m - root).rem_euclid(12)))
                .filter(|m| last.is_none_or(|l| (m - l).abs() <= 7 && *m != l))
                .collect();
            let new = loop {
                if leads.is_empty() {
                    return None;
                }
                let lead = leads.swap_remove(dice.roll(leads.len()));
                if let Some(new) = event(lead, at, length, at == 0) {
                    break new;
                }
            };
            events.push(new);
            at += length;
        }
    }
    let made = Made {
        band,
        technique,
        stated,
        key,
        events,
        bars,
    };
    made.events
        .iter()
        .any(|e| !e.tied.is_empty())
        .then_some(made)
}

/// Makes all voices hold through the last change under a held lead. Gives its index, and whether the
/// old notes clash with the new chord: `None` where tables differ about one of them.
pub fn hold_all(made: &mut Made) -> Option<(usize, bool)> {
    let at = (1..made.events.len())
        .rev()
        .find(|&i| !made.events[i].tied.is_empty() && made.events[i - 1].tied.is_empty())?;
    // Held for as long as the chord goes on: what follows must strike.
    let followed = made.events.get(at + 1).is_none_or(|e| e.tied.is_empty());
    let old = made.events[at - 1].clone();
    let e = &mut made.events[at];
    e.tied = vec![true; e.voices.len()];
    e.voices.clone_from(&old.voices);
    // Published: harmony course cards on chord notes and available tensions; dominants: common practice,
    // no source. The notes with no place in the chord at all, and those no school objects to; what is
    // to be avoided is in neither.
    let (none, certain): (&[i16], &[i16]) = match QUALITIES[e.quality].0 {
        "6" | "maj7" => (&[1, 3, 8, 10], &[0, 2, 4, 7, 9]),
        "m6" => (&[1, 4, 10], &[0, 2, 3, 5, 7, 9]),
        "7" => (&[11], &[0, 2, 4, 7, 9, 10]),
        "m7" => (&[4, 6, 11], &[0, 2, 3, 5, 7, 10]),
        _ => return None,
    };
    let up = |m: &i16| (m - e.root).rem_euclid(12);
    let lower = &e.voices[1..];
    if !followed {
        return None;
    }
    if lower.iter().any(|m| none.contains(&up(m))) {
        return Some((at, true));
    }
    lower
        .iter()
        .all(|m| certain.contains(&up(m)))
        .then_some((at, false))
}

/// The slips that can be injected.
pub const SLIPS: [&str; 9] = [
    "wrong-voice-dropped",
    "lead-doubling",
    "passing-diminished",
    "passing-diminished/wrong",
    "wrong-note",
    "wrong-octave",
    "doubled-note",
    "voice-crossing",
    "lead-not-on-top",
];

/// Puts one slip into a clean passage. Gives the event index and the rule that must report it.
#[allow(clippy::many_single_char_names)] // c, d, e, i, v: close position, drops, event, index, voicing
pub fn inject(made: &mut Made, slip: usize, seed: u64) -> Option<(usize, &'static str)> {
    let mut dice = Dice::new(seed ^ 0x5117);
    let (_, drops, doubled) = TECHNIQUES[made.technique];
    let chordal = BANDS[made.band].chordal;
    let parts = BANDS[made.band].parts;
    let in_range = |v: &[i16]| {
        v.iter().enumerate().all(|(i, m)| {
            let p = if chordal { parts[0] } else { parts[i] };
            (p.2..=p.3).contains(m)
        })
    };
    let sorted = |v: &[i16]| {
        let mut s = v.to_vec();
        s.sort_unstable_by(|a, b| b.cmp(a));
        s
    };
    let held: Vec<usize> = (0..made.events.len())
        .filter(|&i| !made.events[i].tied.is_empty())
        .collect();
    for _ in 0..60 {
        // Where leads are held, the slip goes under one.
        let at = if held.is_empty() {
            dice.roll(made.events.len())
        } else {
            *dice.pick(&held)
        };
        let e = made.events[at].clone();
        let c = close(e.lead, &e.classes);
        let right = e.voices.clone();
        // Chord notes and every tension that some school allows on some chord: never "off the chord".
        let allowed: Vec<i16> = (0..12)
            .filter(|up| {
                let members = QUALITIES[e.quality].1;
                let tensions: &[i16] = match QUALITIES[e.quality].0 {
                    "6" | "maj7" => &[2, 6, 9, 11],
                    "m6" => &[2, 5, 11],
                    "7" => &[1, 2, 3, 6, 8, 9],
                    "m7" => &[2, 5, 9],
                    _ => &[2, 5, 8],
                };
                members.contains(up) || tensions.contains(up)
            })
            .map(|up| (e.root + up) % 12)
            .collect();
        let mut v = right.clone();
        let rule = match SLIPS[slip] {
            "wrong-voice-dropped" => {
                let (_, d, dl) = *dice.pick(&TECHNIQUES);
                if d == drops || dl != doubled {
                    continue;
                }
                v = transform(&c, d, doubled);
                if rubs(&v) {
                    continue;
                }
                "wrong-voice-dropped"
            }
            "lead-doubling" => {
                if !doubled {
                    return None;
                }
                let i = right.iter().position(|m| *m == e.lead - 12)?;
                v[i] += *dice.pick(&[-2, -1, 1, 2]);
                // Held, and with no technique stated, a tension there makes a five-note soli.
                let soli = !made.stated && e.length > 2 && allowed.contains(&v[i].rem_euclid(12));
                if sorted(&v) != v || soli {
                    continue;
                }
                "lead-doubling"
            }
            "passing-diminished" => {
                // The prevailing chord under a passing note.
                if !e.passing {
                    continue;
                }
                let members: Vec<i16> = QUALITIES[e.quality]
                    .1
                    .iter()
                    .map(|m| (e.root + m) % 12)
                    .collect();
                let leave = dice.roll(4);
                let mut set: Vec<i16> = members
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| *i != leave)
                    .map(|(_, m)| *m)
                    .collect();
                set.push(e.lead.rem_euclid(12));
                v = transform(&close(e.lead, &set), drops, doubled);
                if rubs(&v) {
                    continue;
                }
                "passing-diminished"
            }
            "passing-diminished/wrong" => {
                if !e.passing {
                    continue;
                }
                let shift = *dice.pick(&[1, 2]);
                let leave = dice.roll(4);
                let mut set: Vec<i16> = (0..4)
                    .filter(|i| *i != leave)
                    .map(|i| (e.lead + shift + 3 * i as i16).rem_euclid(12))
                    .collect();
                set.push(e.lead.rem_euclid(12));
                v = transform(&close(e.lead, &set), drops, doubled);
                if rubs(&v) {
                    continue;
                }
                "passing-diminished"
            }
            "wrong-note" => {
                let i = 1 + dice.roll(right.len() - 1);
                if doubled && right[i] == e.lead - 12 {
                    continue;
                }
                v[i] += *dice.pick(&[-1, 1]);
                let class = v[i].rem_euclid(12);
                let foreign = if e.passing {
                    // Off the passing chord, and no dominant of the chord either.
                    let dominant: [i16; 7] = [7, 11, 2, 5, 8, 9, 3];
                    !dominant.iter().any(|d| (e.root + d) % 12 == class)
                } else {
                    !allowed.contains(&class)
                };
                if !foreign || e.classes.contains(&class) || sorted(&v) != v {
                    continue;
                }
                "wrong-note"
            }
            "wrong-octave" => {
                let i = 1 + dice.roll(right.len() - 1);
                if doubled && right[i] == e.lead - 12 {
                    continue;
                }
                v[i] += *dice.pick(&[-12, 12]);
                let s = sorted(&v);
                // Not another technique's voicing, and no unison.
                if TECHNIQUES
                    .iter()
                    .any(|(_, d, dl)| transform(&c, d, *dl) == s)
                    || [&[2usize, 3][..], &[2], &[3], &[1, 2, 3]]
                        .iter()
                        .any(|d| transform(&c, d, doubled) == s)
                    || s.windows(2).any(|w| w[0] == w[1])
                    || (chordal && s[0] != e.lead)
                {
                    continue;
                }
                "wrong-octave"
            }
            "doubled-note" => {
                let i = 1 + dice.roll(right.len() - 1);
                if doubled && right[i] == e.lead - 12 {
                    continue;
                }
                let other = *dice.pick(&e.classes);
                if other == right[i].rem_euclid(12) || (doubled && other == e.lead.rem_euclid(12)) {
                    continue;
                }
                let up = (other - right[i]).rem_euclid(12);
                v[i] += if up <= 6 { up } else { up - 12 };
                if v[i] >= e.lead || sorted(&v) != v {
                    continue;
                }
                "doubled-note"
            }
            "voice-crossing" | "lead-not-on-top" => {
                if chordal {
                    return None;
                }
                let i = if SLIPS[slip] == "voice-crossing" {
                    1 + dice.roll(right.len() - 2)
                } else {
                    0
                };
                if right[i] == right[i + 1] {
                    continue;
                }
                v.swap(i, i + 1);
                SLIPS[slip]
            }
            _ => unreachable!(),
        };
        // A note that is held is the one it was.
        let next = made.events.get(at + 1).map_or(&[][..], |n| &n.tied);
        let held = |tied: &[bool]| {
            tied.iter()
                .zip(v.iter().zip(&right))
                .any(|(tied, (now, then))| *tied && now != then)
        };
        // Nor does a keyboard strike a note that it holds.
        let moved = chordal && !e.tied.is_empty() && v.windows(2).any(|w| w[0] <= w[1]);
        if !in_range(&v) || v == right || held(&e.tied) || held(next) || moved {
            continue;
        }
        made.events[at].voices = if chordal { sorted(&v) } else { v };
        return Some((at, rule));
    }
    None
}
