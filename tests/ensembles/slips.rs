//! Slips at one place: a copyist's or student's mistake in one sonority of a block.

use super::chart::{Chart, Hit, Symbols};
use super::notes::{Chord, Dice, Quality, Tone, under};
use super::voicing::{Kind, Technique, shaped};
use std::fmt::Write as _;

/// A mistake put into a chart, and the truth about it.
#[derive(Clone, Debug)]
pub struct Truth {
    pub kind: &'static str,
    /// Indices of the parts at fault.
    pub parts: Vec<usize>,
    /// First and last bar, 1-based.
    pub bars: (i32, i32),
    /// Onset in eighths, where one sonority is at fault.
    pub at: Option<i32>,
    pub technique: Technique,
    /// What was done, in words.
    pub detail: String,
}

pub const SLIPS: [&str; 7] = [
    "wrong-note",
    "wrong-octave",
    "wrong-drop",
    "doubled-note",
    "lead-doubling",
    "exchanged",
    "passing-on-chord",
];

/// The rules that name a slip rightly.
pub fn rules(kind: &str) -> &'static [&'static str] {
    match kind {
        "wrong-note" => &[
            "wrong-note",
            "minor-ninth",
            "unavailable-tension",
            "semitone-under-lead",
            "semitone-cluster",
        ],
        "wrong-octave" => &[
            "wrong-octave",
            "written-range",
            "lead-not-on-top",
            "voice-crossing",
        ],
        "wrong-drop" => &["wrong-voice-dropped", "technique-wanders"],
        "doubled-note" => &["doubled-note", "missing-guide-tone", "wrong-note"],
        "lead-doubling" => &["lead-doubling", "minor-ninth", "wrong-note"],
        "exchanged" => &["voice-crossing", "lead-not-on-top"],
        "passing-on-chord" => &["passing-diminished", "wrong-note", "unavailable-tension"],
        _ => &[],
    }
}

fn transform(technique: Technique) -> bool {
    use Technique::{Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop24};
    matches!(
        technique,
        Close | DoubledLead | Drop2 | Drop2Doubled | Drop3 | Drop24
    )
}

fn same_sounds(a: &[Tone], b: &[Tone]) -> bool {
    let sounds = |v: &[Tone]| {
        let mut all: Vec<i16> = v.iter().map(|t| t.midi).collect();
        all.sort_unstable();
        all
    };
    sounds(a) == sounds(b)
}

fn above(chord: Chord, tone: Tone) -> i16 {
    (tone.midi - chord.root.midi).rem_euclid(12)
}

/// The voices after a slip; none where it would be no mistake.
fn slipped(dice: &mut Dice, kind: &str, hit: &Hit, chart: &Chart) -> Option<Vec<Tone>> {
    let fifths = chart.fifths;
    let mut voices = hit.voices.clone();
    let stable = !hit.kind.moves();
    let doubled = matches!(
        hit.technique,
        Technique::DoubledLead | Technique::Drop2Doubled
    );
    let place = if hit.technique == Technique::Drop2Doubled {
        3
    } else {
        4
    };
    match kind {
        "wrong-note" if stable && hit.technique != Technique::Unison => {
            let at = 1 + dice.roll(voices.len() - 1);
            let by = *dice.pick(&[-1, 1, -2, 2]);
            let tone = Tone::spelled(voices[at].midi + by, fifths);
            let fine = hit.chord.allowed().contains(&above(hit.chord, tone));
            let spread = hit.technique == Technique::Octaves
                || voices.iter().all(|v| v.class() != tone.class());
            if fine && hit.technique != Technique::Octaves || !spread {
                return None;
            }
            voices[at] = tone;
        }
        "wrong-octave" if voices.len() > 2 => {
            let at = 1 + dice.roll(voices.len() - 1);
            // The lowest voice may stand lower.
            let up = at == voices.len() - 1 || dice.chance(50);
            voices[at] = voices[at].octaves(if up { 1 } else { -1 });
            if voices.windows(2).any(|w| w[0].midi - w[1].midi < -14) {
                return None;
            }
            let four: Vec<Tone> = shapes(&hit.voices, hit.technique)
                .into_iter()
                .flatten()
                .collect();
            if four
                .chunks(hit.voices.len().min(4))
                .any(|v| same_sounds(v, &voices))
            {
                return None;
            }
        }
        "wrong-drop" if transform(hit.technique) => {
            let all = shapes(&hit.voices, hit.technique);
            let others: Vec<Vec<Tone>> = all
                .into_iter()
                .filter(|v| !same_sounds(v, &voices))
                .collect();
            let other = (!others.is_empty()).then(|| dice.pick(&others).clone())?;
            if other
                .windows(2)
                .any(|w| super::voicing::too_low(w[0].midi, w[1].midi))
            {
                return None;
            }
            voices = other;
        }
        "doubled-note" if transform(hit.technique) && stable => {
            let from = 1 + dice.roll(2);
            // A guide tone goes missing, and no piano has it.
            let guides = hit.chord.guides().map(|d| hit.chord.at(d).class());
            if !guides.contains(&voices[from].class())
                || chart.parts.iter().any(|p| p.staves.len() > 1)
            {
                return None;
            }
            let to = if dice.chance(50) { from + 1 } else { from - 1 };
            let lower = under(voices[to], voices[from].midi + 6);
            voices[from] = lower;
        }
        "lead-doubling" if doubled => {
            voices[place] = Tone::spelled(voices[place].midi + *dice.pick(&[-2, -1, 1, 2]), fifths);
            let taken = voices
                .iter()
                .enumerate()
                .any(|(i, v)| i != place && v.class() == voices[place].class());
            // A fifth note in place of the doubling is five-note writing.
            let taken = taken
                || hit
                    .chord
                    .allowed()
                    .contains(&above(hit.chord, voices[place]));
            let crossed = place == 3 && voices[3].midi <= voices[4].midi;
            if taken || crossed {
                return None;
            }
        }
        "exchanged" if transform(hit.technique) => {
            let at = dice.roll(voices.len() - 1);
            voices.swap(at, at + 1);
        }
        "passing-on-chord"
            if hit.kind == Kind::Passing && hit.len == 1 && transform(hit.technique) =>
        {
            if !stepwise(chart, hit) {
                return None;
            }
            let lead = voices[0];
            let chord = hit.chord;
            if above(chord, lead) == 2
                && matches!(chord.quality, Quality::Seventh | Quality::SeventhFlat9)
            {
                return None;
            }
            let mut set = chord.tones().map(|d| chord.at(d).plain());
            let nearest = (0..4).min_by_key(|i| {
                let apart = (set[*i].class() - lead.class()).rem_euclid(12);
                apart.min(12 - apart)
            })?;
            set[nearest] = lead;
            voices = shaped(lead, &set, hit.technique)?;
        }
        _ => return None,
    }
    (voices != hit.voices).then_some(voices)
}

/// The lead comes by step and leaves by step, an eighth off the beat.
fn stepwise(chart: &Chart, hit: &Hit) -> bool {
    let Some(phrase) = chart.phrase_at(hit.at) else {
        return false;
    };
    let lead = hit.voices[0].midi;
    let step = |other: &Hit| (1..=2).contains(&(other.voices[0].midi - lead).abs());
    let before = phrase.hits.iter().find(|h| h.at + h.len == hit.at);
    let after = phrase.hits.iter().find(|h| h.at == hit.at + hit.len);
    before.is_some_and(step) && after.is_some_and(step) && hit.at % chart.meter.beat != 0
}

/// A sonority in each of the transforms that have its number of voices.
fn shapes(voices: &[Tone], technique: Technique) -> Vec<Vec<Tone>> {
    use Technique::{Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop24};
    let five = [DoubledLead, Drop2Doubled];
    let four = [Close, Drop2, Drop3, Drop24];
    let all: &[Technique] = if five.contains(&technique) {
        &five
    } else {
        &four
    };
    let mut set: Vec<Tone> = Vec::new();
    for voice in voices {
        if set.iter().all(|s| s.class() != voice.class()) {
            set.push(*voice);
        }
    }
    let Ok(set): Result<[Tone; 4], _> = set.try_into() else {
        return Vec::new();
    };
    all.iter()
        .filter_map(|t| shaped(voices[0], &set, *t))
        .collect()
}

/// Puts a slip somewhere into a chart, but for places (bar and beat) to avoid; none where it has no place for this kind.
pub fn slip(
    dice: &mut Dice,
    chart: &Chart,
    kind: &'static str,
    avoid: &[(i32, f64)],
) -> Option<(Chart, Truth)> {
    let phrases = chart.phrases.iter().filter(|p| p.what != "pad");
    let hits: Vec<&Hit> = phrases
        .flat_map(|p| &p.hits)
        .filter(|h| !avoid.contains(&chart.meter.place(h.at)))
        .collect();
    // Without symbols a chord names itself, right or wrong.
    let needs_symbols = matches!(kind, "wrong-note" | "doubled-note" | "passing-on-chord");
    if hits.is_empty() || needs_symbols && chart.symbols == Symbols::Absent {
        return None;
    }
    for _ in 0..200 {
        let hit = *dice.pick(&hits);
        let Some(voices) = slipped(dice, kind, hit, chart) else {
            continue;
        };
        let mut faulty = chart.clone();
        let mut parts = Vec::new();
        let mut detail = String::new();
        for (index, seat) in hit.seats.iter().enumerate() {
            if voices[index] == hit.voices[index] {
                continue;
            }
            parts.push(*seat);
            let events = &mut faulty.parts[*seat].staves[0];
            let event = events.iter_mut().find(|e| e.at == hit.at).unwrap();
            event.tones = vec![voices[index]];
            let _ = write!(
                detail,
                "{} {} for {}; ",
                chart.parts[*seat].name,
                voices[index].name(),
                hit.voices[index].name()
            );
        }
        let bar = chart.meter.place(hit.at).0;
        let truth = Truth {
            kind,
            parts,
            bars: (bar, bar),
            at: Some(hit.at),
            technique: hit.technique,
            detail: format!("{detail}over {}", hit.chord.name()),
        };
        return Some((faulty, truth));
    }
    None
}
