//! A model answer for people: as a table, and as a page.

use super::html::sheet::{SaidOfPlace, Sheet, render};
use super::{counted, table};
use crate::engraving::{WordsClass, WordsUnder};
use crate::ground::shown::shown_lines;
use crate::ground::time::Ticks;
use crate::model_answer::{Answer, Explained, Planted};
use crate::score::{Place, Score};
use std::fmt::Write as _;

/// The answer's lines as a table: bar, beat, the voices, what stands there.
pub fn text(answer: &Answer, explained: &[Explained]) -> String {
    let rows: Vec<[String; 4]> = explained
        .iter()
        .map(|e| {
            [
                answer.score.bar_number(e.at.bar),
                answer.score.beat_at(e.at).to_string(),
                voices(&answer.score, e.at),
                e.line.clone(),
            ]
        })
        .collect();
    let head = ["bar", "beat", "voices (sounding)", "what stands there"];
    let mut out = String::new();
    for line in table::lines(head, &rows) {
        let _ = writeln!(out, "{line}");
    }
    shown_lines(&out)
}

/// What sounds at a place, from the top.
fn voices(score: &Score, at: Place) -> String {
    let bar = score.bars.get(at.bar as usize);
    let onset = bar.map_or(Ticks::ZERO, |b| b.start + at.offset);
    let mut all: Vec<_> = score
        .parts
        .iter()
        .flat_map(|p| &p.notes)
        .filter(|n| n.onset <= onset && onset < n.end())
        .map(|n| n.sounding)
        .collect();
    all.sort_by_key(|p| -p.midi());
    let names: Vec<String> = all.iter().map(ToString::to_string).collect();
    names.join(" ")
}

/// An answer on a page.
#[derive(Debug)]
pub struct AnswerOnPage<'a> {
    /// Its heading, where the page has several: its key.
    pub heading: Option<String>,
    /// The music.
    pub score: &'a Score,
    /// What stands at each place, where it is to be explained.
    pub explained: Vec<Explained>,
}

/// Answers as a page.
pub fn page(title: &str, answers: &[AnswerOnPage<'_>]) -> String {
    let sheets: Vec<Sheet<'_>> = answers
        .iter()
        .map(|answer| {
            let said = answer.explained.iter().map(|e| SaidOfPlace {
                at: e.at,
                line: e.line.clone(),
            });
            Sheet {
                heading: answer.heading.clone(),
                score: answer.score,
                under: harmonies(&answer.explained),
                marks: Vec::new(),
                said: said.collect(),
                after: String::new(),
            }
        })
        .collect();
    let explained = answers.iter().any(|a| !a.explained.is_empty());
    render(title, &facts(explained), &sheets)
}

/// The list of planted mistakes, one a line, each with what stands there and what should.
pub fn mistakes(planted: &Planted) -> String {
    let mut out = format!("{} planted\n\n", counted(planted.mistakes.len(), "mistake"));
    for (number, mistake) in (1..).zip(&planted.mistakes) {
        let score = &planted.score;
        let notes: Vec<String> = mistake
            .notes
            .iter()
            .map(|n| {
                let part = score.parts.get(n.note.part as usize);
                let name = part.map_or("", |p| p.name.as_str());
                let pitch = |sounding| score.player_pitch(n.note, sounding);
                format!(
                    "{name} has {} instead of {}",
                    score.spoken_name(n.note.part, pitch(n.sounds)),
                    score.spoken_name(n.note.part, pitch(n.right))
                )
            })
            .collect();
        let _ = writeln!(
            out,
            "{number}. bar {}, beat {}: {}: {}",
            score.bar_number(mistake.at.bar),
            score.beat_at(mistake.at),
            mistake.kind.rule(),
            notes.join(", ")
        );
    }
    shown_lines(&out)
}

fn facts(explained: bool) -> Vec<String> {
    if !explained {
        return Vec::new();
    }
    vec![
        "Under the staves: what stands under the lead, where it changes. A passing or approach chord is in \
         colour and bold."
            .to_owned(),
    ]
}

/// The row of harmonies, each where it is another than before.
fn harmonies(explained: &[Explained]) -> Vec<WordsUnder> {
    let mut before = "";
    let mut row = Vec::new();
    for e in explained {
        if e.harmony != before && !e.harmony.is_empty() {
            row.push(WordsUnder {
                at: e.at,
                row: 0,
                class: if e.approaches {
                    WordsClass::Strong
                } else {
                    WordsClass::Plain
                },
                text: e.harmony.clone(),
            });
        }
        before = &e.harmony;
    }
    row
}
