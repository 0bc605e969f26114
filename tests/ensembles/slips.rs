//! Slips at one place: a copyist's or student's mistake in one sonority of a block.

use super::chart::{Chart, Hit, Symbols};
use super::notes::{Chord, Dice, Tone, under};
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
    let shaped = transform(hit.technique);
    let voices = match kind {
        "wrong-note" if !hit.kind.moves() && hit.technique != Technique::Unison => {
            wrong_note(dice, hit, chart.fifths)
        }
        "wrong-octave" if hit.voices.len() > 2 => wrong_octave(dice, hit),
        "wrong-drop" if shaped => wrong_drop(dice, hit),
        "doubled-note" if shaped && !hit.kind.moves() => doubled_note(dice, hit, chart),
        "lead-doubling" => lead_doubling(dice, hit, chart.fifths),
        "exchanged" if shaped => {
            let mut voices = hit.voices.clone();
            let at = dice.roll(voices.len() - 1);
            voices.swap(at, at + 1);
            Some(voices)
        }
        "passing-on-chord" if shaped && stepwise(chart, hit) => passing_on_chord(hit),
        _ => None,
    };
    voices.filter(|v| *v != hit.voices)
}

/// One voice a half or whole step off, on a note that nobody takes for a tension.
fn wrong_note(dice: &mut Dice, hit: &Hit, fifths: i16) -> Option<Vec<Tone>> {
    let mut voices = hit.voices.clone();
    let at = 1 + dice.roll(voices.len() - 1);
    let tone = Tone::spelled(voices[at].midi + *dice.pick(&[-1, 1, -2, 2]), fifths);
    let doubled = hit.technique == Technique::Octaves;
    let fine = hit.chord.allowed().contains(&above(hit.chord, tone)) && !doubled;
    let sounding = !doubled && voices.iter().any(|v| v.class() == tone.class());
    voices[at] = tone;
    (!fine && !sounding).then_some(voices)
}

/// One voice an octave off, but for shapes that are another technique; the lowest may stand lower.
fn wrong_octave(dice: &mut Dice, hit: &Hit) -> Option<Vec<Tone>> {
    let mut voices = hit.voices.clone();
    let at = 1 + dice.roll(voices.len() - 1);
    let up = at == voices.len() - 1 || dice.chance(50);
    voices[at] = voices[at].octaves(if up { 1 } else { -1 });
    let far = voices.windows(2).any(|w| w[0].midi - w[1].midi < -14);
    let technique = shapes(&hit.voices, hit.technique)
        .iter()
        .any(|v| same_sounds(v, &voices));
    (!far && !technique).then_some(voices)
}

/// The same chord in another transform.
fn wrong_drop(dice: &mut Dice, hit: &Hit) -> Option<Vec<Tone>> {
    let mut others = shapes(&hit.voices, hit.technique);
    others.retain(|v| !same_sounds(v, &hit.voices));
    others.retain(|v| {
        !v.windows(2)
            .any(|w| super::voicing::too_low(w[0].midi, w[1].midi))
    });
    (!others.is_empty()).then(|| dice.pick(&others).clone())
}

/// A voice has its neighbour's note; a guide tone goes missing, and no piano has it.
fn doubled_note(dice: &mut Dice, hit: &Hit, chart: &Chart) -> Option<Vec<Tone>> {
    let mut voices = hit.voices.clone();
    let from = 1 + dice.roll(2);
    let to = if dice.chance(50) { from + 1 } else { from - 1 };
    let guides = hit.chord.guides().map(|d| hit.chord.at(d).class());
    let missing = guides.contains(&voices[from].class());
    voices[from] = under(voices[to], voices[from].midi + 6);
    let piano = chart.parts.iter().any(|p| p.staves.len() > 1);
    (missing && !piano).then_some(voices)
}

/// The doubling a step off; a tension in its place is five-note writing.
fn lead_doubling(dice: &mut Dice, hit: &Hit, fifths: i16) -> Option<Vec<Tone>> {
    let place = match hit.technique {
        Technique::DoubledLead => 4,
        Technique::Drop2Doubled => 3,
        _ => return None,
    };
    let mut voices = hit.voices.clone();
    voices[place] = Tone::spelled(voices[place].midi + *dice.pick(&[-2, -1, 1, 2]), fifths);
    let same = |(i, v): (usize, &Tone)| i != place && v.class() == voices[place].class();
    let taken = voices.iter().enumerate().any(same);
    let fine = hit
        .chord
        .allowed()
        .contains(&above(hit.chord, voices[place]));
    let crossed = place == 3 && voices[3].midi <= voices[4].midi;
    (!taken && !fine && !crossed).then_some(voices)
}

/// The chord in force kept under a passing eighth (over a dominant its ninth may have that).
fn passing_on_chord(hit: &Hit) -> Option<Vec<Tone>> {
    let (lead, chord) = (hit.voices[0], hit.chord);
    if hit.kind != Kind::Passing || hit.len != 1 || chord.dominant() && above(chord, lead) == 2 {
        return None;
    }
    let mut set = chord.tones().map(|d| chord.at(d).plain());
    let nearest = (0..4).min_by_key(|i| {
        let apart = (set[*i].class() - lead.class()).rem_euclid(12);
        apart.min(12 - apart)
    })?;
    set[nearest] = lead;
    shaped(lead, &set, hit.technique)
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
