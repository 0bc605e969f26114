//! A model answer for people: as a table, and as a page.

use super::html::sheet::{SaidOfPlace, Sheet, render};
use super::table;
use crate::engraving::{WordsClass, WordsUnder};
use crate::ground::shown::shown_lines;
use crate::ground::time::Ticks;
use crate::model_answer::{Answer, Explained};
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

/// The answer as a page, with what stands at each place when it is to be explained.
pub fn page(title: &str, answer: &Answer, explained: &[Explained]) -> String {
    let sheet = Sheet {
        heading: None,
        score: &answer.score,
        under: harmonies(explained),
        marks: Vec::new(),
        said: explained
            .iter()
            .map(|e| SaidOfPlace {
                at: e.at,
                line: e.line.clone(),
            })
            .collect(),
        after: String::new(),
    };
    render(title, &facts(explained), &[sheet])
}

fn facts(explained: &[Explained]) -> Vec<String> {
    if explained.is_empty() {
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
