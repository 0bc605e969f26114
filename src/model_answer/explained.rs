//! An answer in words that a student understands: what each lead note is for, and what stands under it.
//!
//! All words come from the step as it was taken: its function, its harmony, its technique.

use super::answer::{Answer, Step, WayOut, Weighed};
use crate::ground::chord::{Chord, parse};
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use crate::ground::text::Span;
use crate::score::{Mark, Part, Place, Score, Words};
use crate::sonority::lead::LeadFunction;
use crate::voicing::{Form, Technique, Way};

/// What is said of one sonority.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Explained {
    /// Where it starts.
    pub at: Place,
    /// One line: "A4 is a chord note of F6: sixth chord, drop 2".
    pub line: String,
    /// A few words for under the staff: "chord note", "passing note: Edim7".
    pub short: String,
    /// What stands under the lead: `F6`, `Edim7`; empty where nothing is harmonised.
    pub harmony: String,
    /// The chord of the symbol does not stand there.
    pub approaches: bool,
}

/// What chords of four notes are called, by their semitones over the root. Common practice, no source.
const KINDS: [([i16; 4], &str); 11] = [
    ([0, 4, 7, 9], "sixth chord"),
    ([0, 3, 7, 9], "minor sixth chord"),
    ([0, 4, 7, 10], "dominant seventh"),
    ([0, 3, 7, 10], "minor seventh"),
    ([0, 4, 7, 11], "major seventh"),
    ([0, 3, 7, 11], "minor chord with major seventh"),
    ([0, 3, 6, 10], "half-diminished seventh"),
    ([0, 3, 6, 9], "diminished seventh"),
    ([0, 4, 8, 10], "dominant seventh with #5"),
    ([0, 4, 6, 10], "dominant seventh with b5"),
    ([0, 5, 7, 10], "suspended dominant"),
];

/// One line for each sonority of an answer, in order of time.
pub fn explain(answer: &Answer) -> Vec<Explained> {
    let steps = answer.steps.iter();
    steps
        .map(|step| Explained {
            at: answer.score.place_of(step.onset),
            line: line(step, written(&answer.score, step)),
            short: short(step),
            harmony: label(&step.chosen).unwrap_or_default().to_owned(),
            approaches: matches!(step.chosen.harmony, Some((way, _)) if way > Way::Tension),
        })
        .collect()
}

/// The answer with a few words under the staff of its lead at each sonority.
pub fn with_words(answer: &Score, explained: &[Explained]) -> Score {
    let mut score = answer.clone();
    let add = |lead: &mut Part| {
        let staff = lead.staves.max(1);
        let words = explained.iter().map(|e| {
            let text = e.short.clone();
            let words = Words {
                text,
                staff,
                below: true,
            };
            Mark::new(e.at, words, Span::default())
        });
        lead.words.extend(words);
        lead.words.sort_by_key(|m| m.at);
    };
    if let Some(lead) = score.parts.first_mut() {
        add(lead);
    }
    score.lay_out();
    score
}

/// The lead note as it is spelled in the answer.
fn written(score: &Score, step: &Step) -> Pitch {
    let mut notes = score.parts.iter().flat_map(|p| p.notes.iter());
    let own = notes
        .find(|n| n.onset <= step.onset && step.onset < n.end() && n.sounding.midi() == step.lead);
    own.map_or(step.pitch, |n| n.sounding)
}

fn line(step: &Step, pitch: Pitch) -> String {
    let mut line = format!("{pitch} {}", lead_in_words(step));
    let mut under: Vec<String> = Vec::new();
    if step.chosen.way_out == Some(WayOut::Solo) {
        under.push("solo, the lead alone".to_owned());
    } else {
        under.extend(harmony_in_words(step));
        under.push(technique(&step.chosen).to_string());
    }
    line.push_str(": ");
    line.push_str(&under.join(", "));
    line
}

/// What is called that stands under the lead.
fn label(chosen: &Weighed) -> Option<&str> {
    chosen.harmony.as_ref().map(|(_, label)| label.as_str())
}

/// The article before a word.
pub(super) fn article(word: &str) -> &'static str {
    if word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    }
}

/// "is a chord note of F6", "is a passing note over F6".
fn lead_in_words(step: &Step) -> String {
    let is = if step.held { "is held, and now" } else { "is" };
    let Some(function) = step.function else {
        return match &step.symbol {
            Some(symbol) => format!("{is} a note over {symbol}"),
            None => "stands where no chord is".to_owned(),
        };
    };
    let name = function.name();
    let article = article(name);
    let Some(symbol) = &step.symbol else {
        return format!("{is} {article} {name}");
    };
    match function {
        LeadFunction::ChordNote | LeadFunction::Anticipation => {
            format!("{is} {article} {name} of {symbol}")
        }
        LeadFunction::Tension => match degree(symbol, step.pitch.class()) {
            Some(degree) => format!("{is} {article} {name} of {symbol}, the {degree}"),
            None => format!("{is} {article} {name} of {symbol}"),
        },
        _ => format!("{is} {article} {name} over {symbol}"),
    }
}

/// What a pitch class is called over a chord symbol.
fn degree(symbol: &str, class: PitchClass) -> Option<String> {
    Some(chord(symbol)?.degree_name(class))
}

fn chord(symbol: &str) -> Option<Chord> {
    parse(symbol).ok().flatten()
}

/// "sixth chord", "the diminished seventh that holds it, Edim7", "the chord with 9"; nothing in a form whose
/// notes are the chord's own.
fn harmony_in_words(step: &Step) -> Option<String> {
    let chosen = &step.chosen;
    let Some((way, label)) = &chosen.harmony else {
        return Some("everyone on it".to_owned());
    };
    if *way > Way::Tension {
        return Some(if label.is_empty() {
            way.name().to_owned()
        } else {
            format!("{}, {label}", way.name())
        });
    }
    let Some(chord) = chord(label) else {
        return Some(label.clone());
    };
    let other = step.symbol.as_deref() != Some(label.as_str());
    let of = |words: String| {
        if other {
            format!("{words}, {label}")
        } else {
            words
        }
    };
    let form = matches!(chosen.technique, Technique::Form(_));
    if let Some(kind) = kind(&chosen.names, chord.root).filter(|_| !form) {
        return Some(of(kind.to_owned()));
    }
    let tensions = tensions(chosen, &chord);
    if tensions.is_empty() && form {
        return other.then(|| label.clone());
    }
    Some(of(if tensions.is_empty() {
        way.name().to_owned()
    } else {
        format!("the chord with {}", tensions.join(" and "))
    }))
}

/// What four notes over a root are called.
fn kind(names: &[NoteName], root: NoteName) -> Option<&'static str> {
    let mut above: Vec<i16> = names
        .iter()
        .map(|n| n.class().above(root.class()))
        .collect();
    above.sort_unstable();
    let same = |(semitones, _): &&([i16; 4], &str)| semitones.as_slice() == above.as_slice();
    KINDS.iter().find(same).map(|(_, name)| *name)
}

/// The degrees that sound beside the chord's own, in order.
fn tensions(chosen: &Weighed, chord: &Chord) -> Vec<String> {
    let mut found: Vec<(i16, String)> = Vec::new();
    for &midi in &chosen.voicing {
        let class = PitchClass::new(midi);
        let named = chord
            .degrees
            .iter()
            .any(|d| d.number > 7 && chord.root.class().plus(d.semitones()) == class);
        let entry = (class.above(chord.root.class()), chord.degree_name(class));
        if (named || !chord.contains(class)) && !found.contains(&entry) {
            found.push(entry);
        }
    }
    found.sort_unstable();
    found.into_iter().map(|(_, degree)| degree).collect()
}

/// The technique that the voicing stands in; of a doubling, which of the two it is.
fn technique(chosen: &Weighed) -> Technique {
    match chosen.technique {
        Technique::Form(form) if form.is_doubling() => {
            let same = chosen
                .voicing
                .windows(2)
                .all(|w| matches!(w, [a, b] if a == b));
            if same { Form::Unison } else { Form::Octaves }.into()
        }
        technique => technique,
    }
}

/// "chord note", "passing note: Edim7".
fn short(step: &Step) -> String {
    let name = step.function.map_or("no chord", LeadFunction::name);
    match &step.chosen.harmony {
        Some((_, label)) if step.symbol.as_deref() != Some(label) => format!("{name}: {label}"),
        Some(_) => match step
            .symbol
            .as_deref()
            .and_then(|s| degree(s, step.pitch.class()))
        {
            Some(degree) => format!("{name}: {degree}"),
            None => name.to_owned(),
        },
        None => name.to_owned(),
    }
}
