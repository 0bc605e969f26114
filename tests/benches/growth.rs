//! How time grows with the size of inputs that were once made to do harm: the time at twice the size
//! over the time at the size, which is 2 where work grows with the input and 4 with its square.

use chartproof::inside::house_style;
use chartproof::inside::proof::{Heard, proof};
use chartproof::inside::reading::grid;
use chartproof::inside::report::{ProofedFile, text};
use chartproof::inside::style::Style;
use codespan_reporting::term::termcolor::Buffer;
use std::fmt::Write as _;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// A shape: its name, a size, and what is done with an input of a size.
type Shape = (&'static str, usize, fn(usize));

const SHAPES: [Shape; 5] = [
    ("notes of a chord, text report", 4_000, |n| {
        report(&chord(n));
    }),
    ("bars of saxophones at random", 100, |n| report(&saxes(n))),
    ("like parts", 60, |n| report(&like_parts(n))),
    ("rules of a house with fixes", 10, own_rules),
    ("entries of a style", 10_000, style),
];

/// Prints the table.
pub fn print_table() {
    println!("\n{:<34}{:>8}{:>10}{:>10}", "growth", "size", "ms", "ratio");
    for (name, size, run) in SHAPES {
        let best = |size: usize| {
            let once = || {
                let start = Instant::now();
                run(size);
                start.elapsed().as_secs_f64()
            };
            (0..3).map(|_| once()).fold(f64::INFINITY, f64::min)
        };
        let (at, twice) = (best(size), best(2 * size));
        println!("{name:<34}{size:>8}{:>10.1}{:>10.2}", at * 1e3, twice / at);
    }
}

fn report(passage: &str) {
    let style = Style::default();
    let path = Path::new("a.passage");
    let score = grid::read(path, passage.into()).expect("it is a passage");
    let heard = Heard::new(score, &style);
    let proofed = heard.proofed(&style);
    let entries = [ProofedFile {
        path: PathBuf::from(path),
        outcome: Ok((heard, proofed)),
    }];
    let mut out = Buffer::no_color();
    text::render(&entries, &mut out, text::Options::default()).expect("memory is enough");
    black_box(out);
}

fn own_rules(rules: usize) {
    let mut text = String::new();
    for n in 0..rules {
        let _ = write!(
            text,
            "[[rule]]\nname = 'own-{n}'\nscope = 'note'\nwhen = 'true'\nmessage = '{{part}}'\n\
             fix = ['octave up', 'octave down', '3rd']\n"
        );
    }
    let style = house_style::read_text(Path::new("x.toml"), &text).expect("it is a style");
    let score = grid::read(Path::new("a.passage"), saxes(5).into()).expect("it is a passage");
    black_box(proof(&score, &style));
}

fn style(entries: usize) {
    let mut text = String::new();
    for n in 0..entries {
        let _ = write!(text, "[[part]]\nname = 'Reed {n}'\nseat = 1\n");
    }
    black_box(house_style::read_text(Path::new("x.toml"), &text).is_ok());
}

fn pitch(n: usize) -> String {
    format!(
        "{}{}",
        ["C", "D", "E", "F", "G", "A", "B"][n % 7],
        3 + n / 7 % 3
    )
}

fn chord(notes: usize) -> String {
    let names: Vec<String> = (0..notes).map(pitch).collect();
    format!(
        "parts: alto = alto saxophone\n\nchord | C6 |\ncount | 1 |\nalto | {} |\n",
        names.join("+")
    )
}

fn like_parts(parts: usize) -> String {
    let mut text = String::from("parts: ");
    for n in 0..parts {
        let _ = writeln!(text, "       t{n} = trumpet");
    }
    for bar in 0..10 {
        text.push_str("\nchord | C6 - - - |\ncount | 1 2 3 4 |\n");
        for n in 0..parts {
            let at = |k: usize| pitch((n * 11 + bar * 5 + k * 3) % 21);
            let _ = writeln!(text, "t{n} | {} {} {} {} |", at(0), at(1), at(2), at(3));
        }
    }
    text
}

fn saxes(bars: usize) -> String {
    let mut text = String::from(
        "section: saxes\nparts: a1 = alto saxophone\n       a2 = alto saxophone\n       \
         t1 = tenor saxophone\n       t2 = tenor saxophone\n",
    );
    let mut state = 7usize;
    let mut at = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        pitch((state >> 33) % 21)
    };
    for _ in 0..bars {
        text.push_str("\nchord | C6 - - - |\ncount | 1 2 3 4 |\n");
        for name in ["a1", "a2", "t1", "t2"] {
            let _ = writeln!(text, "{name} | {} {} {} {} |", at(), at(), at(), at());
        }
    }
    text
}
