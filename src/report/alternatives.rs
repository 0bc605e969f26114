//! The best voicings of each note for people: as a table, as comments, and engraved one above the other.

use super::html::sheet::{SaidOfPlace, Sheet, render};
use super::table;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::shown::shown_lines;
use crate::model_answer::{Alternative, Answer, Step, one_above_the_other};
use crate::score::Place;
use std::fmt::Write as _;

/// A table: each note with its voicings, what the whole line costs more with each, and what it gives up.
pub fn text(answer: &Answer, all: &[Vec<Alternative>]) -> String {
    let mut rows: Vec<[String; 7]> = Vec::new();
    for (step, alternatives) in answer.steps.iter().zip(all) {
        let at = answer.score.place_of(step.onset);
        for (rank, alternative) in (1..).zip(alternatives) {
            let place = |text: String| if rank == 1 { text } else { String::new() };
            rows.push([
                place(answer.score.bar_number(at.bar)),
                place(answer.score.beat_at(at).to_string()),
                rank.to_string(),
                voices(answer, step, alternative),
                harmony(alternative),
                format!("+{}", alternative.more),
                gives_up(alternative),
            ]);
        }
    }
    let head = [
        "bar",
        "beat",
        "choice",
        "voices (sounding)",
        "harmony",
        "costs",
        "gives up",
    ];
    let mut out = String::new();
    for line in table::lines(head, &rows) {
        let _ = writeln!(out, "{line}");
    }
    let _ = writeln!(out, "\n{COSTS}");
    shown_lines(&out)
}

/// What the numbers are.
const COSTS: &str = "costs: how many points more the whole line costs with this choice, everything around it \
                     chosen anew.";

/// One line for each choice but the one that was taken.
pub fn lines(answer: &Answer, all: &[Vec<Alternative>]) -> Vec<(Place, String)> {
    let steps = answer.steps.iter().zip(all);
    let lines = steps.flat_map(|(step, alternatives)| {
        let at = answer.score.place_of(step.onset);
        let others = (1..).zip(alternatives).skip(1);
        others.map(move |(rank, alternative)| {
            let line = format!(
                "choice {rank}, +{}: {}, gives up: {}",
                alternative.more,
                voices(answer, step, alternative),
                gives_up(alternative)
            );
            (at, line)
        })
    });
    lines.collect()
}

fn harmony(alternative: &Alternative) -> String {
    let harmony = alternative.weighed.harmony.as_ref();
    harmony.map_or_else(|| "-".to_owned(), |(_, label)| label.clone())
}

fn gives_up(alternative: &Alternative) -> String {
    if alternative.gives_up.is_empty() {
        return "taken".to_owned();
    }
    alternative.gives_up.join("; ")
}

/// The voices from the top, spelled as their harmony has them.
fn voices(answer: &Answer, step: &Step, alternative: &Alternative) -> String {
    let weighed = &alternative.weighed;
    let part = answer.score.parts.first();
    let key = part.map_or(0, |p| p.concert_fifths(step.onset));
    let names: Vec<String> = weighed
        .voicing
        .iter()
        .map(|&midi| {
            if midi == step.lead {
                return step.pitch.to_string();
            }
            let class = PitchClass::new(midi);
            let own = weighed.names.iter().find(|n| n.class() == class);
            let pitch = own.and_then(|n| Pitch::named(*n, midi));
            pitch
                .unwrap_or_else(|| Pitch::in_key(midi, key))
                .to_string()
        })
        .collect();
    names.join(" ")
}

/// A page: the choices engraved one above the other, and a line for each.
pub fn page(title: &str, answer: &Answer, all: &[Vec<Alternative>]) -> String {
    let score = one_above_the_other(answer, all);
    let said = lines(answer, all).into_iter();
    let sheet = Sheet {
        heading: None,
        score: &score,
        under: Vec::new(),
        marks: Vec::new(),
        said: said.map(|(at, line)| SaidOfPlace { at, line }).collect(),
        after: String::new(),
    };
    let facts = [
        "The top staves have what was taken; below it stand the other choices of each note, the best first, at \
         sounding pitch."
            .to_owned(),
        COSTS.to_owned(),
    ];
    render(title, &facts, &[sheet])
}
