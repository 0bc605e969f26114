//! A passage as a passage grid.

use super::passage::Passage;
use super::voicing::Technique;
use crate::ensembles::notes::Tone;
use std::fmt::Write as _;

/// What a part plays from a time on.
struct Struck<'a> {
    at: i32,
    len: i32,
    tones: Vec<&'a Tone>,
}

fn count(passage: &Passage, at: i32) -> String {
    let figure = passage.meter.figure();
    let within = at.rem_euclid(passage.meter.bar);
    let (beat, rest) = (within / figure + 1, within % figure);
    if rest == 0 {
        return beat.to_string();
    }
    let by = gcd(rest, figure);
    format!("{beat}+{}/{}", rest / by, figure / by)
}

fn gcd(a: i32, b: i32) -> i32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// What one player strikes; a note that is tied on lasts longer.
fn played(passage: &Passage, seat: usize) -> Vec<Struck<'_>> {
    let mut out: Vec<Struck<'_>> = Vec::new();
    for hit in &passage.hits {
        let Some(voice) = hit.seats.iter().position(|s| *s == seat) else {
            continue;
        };
        if passage.band.chordal {
            out.push(Struck {
                at: hit.at,
                len: hit.len,
                tones: hit.voices.iter().collect(),
            });
        } else if let Some(before) = out.last_mut().filter(|_| hit.tied.contains(&voice)) {
            before.len = hit.at + hit.len - before.at;
        } else {
            out.push(Struck {
                at: hit.at,
                len: hit.len,
                tones: vec![&hit.voices[voice]],
            });
        }
    }
    out
}

fn parts(passage: &Passage) -> Vec<(&'static str, &'static str, Vec<Struck<'_>>)> {
    let mut out = Vec::new();
    for (seat, player) in passage.band.players.iter().enumerate() {
        out.push((player.0, player.1, played(passage, seat)));
    }
    for part in &passage.backing {
        let struck = part.events.iter().map(|e| Struck {
            at: e.at,
            len: e.len,
            tones: e.tones.iter().collect(),
        });
        out.push((part.name, part.instrument, struck.collect()));
    }
    out
}

/// Onsets, ends and changes of chord in some bars; a bar line always.
fn columns(passage: &Passage, bars: std::ops::Range<i32>) -> Vec<i32> {
    let bar = passage.meter.bar;
    let mut at: Vec<i32> = bars.clone().map(|b| b * bar).collect();
    for (_, _, struck) in parts(passage) {
        at.extend(struck.iter().flat_map(|s| [s.at, s.at + s.len]));
    }
    if passage.symbols {
        at.extend(passage.chords.iter().map(|c| c.at));
    }
    at.retain(|t| (bars.start * bar..bars.end * bar).contains(t));
    at.sort_unstable();
    at.dedup();
    at
}

fn cell(struck: &[Struck<'_>], at: i32) -> String {
    let Some(now) = struck.iter().find(|s| (s.at..s.at + s.len).contains(&at)) else {
        return ".".to_owned();
    };
    if now.at < at {
        return "-".to_owned();
    }
    let names: Vec<String> = now.tones.iter().map(|t| t.name()).collect();
    names.join("+")
}

/// The passage as a file: its name, and its text.
pub fn file(passage: &Passage) -> (&'static str, String) {
    let text = grid(passage);
    if !passage.xml {
        return ("passage.passage", text);
    }
    let score = chartproof::read("passage.passage", text).unwrap();
    let mut xml = chartproof::musicxml(&score);
    if states(passage) {
        for segment in passage.segments.iter().rev() {
            words(&mut xml, segment.span.bar, segment.technique.word());
        }
    }
    ("passage.musicxml", xml)
}

/// Whether the passage says its techniques; two layers have no common one.
fn states(passage: &Passage) -> bool {
    let tutti = |t: Technique| matches!(t, Technique::Tutti | Technique::TuttiOpen);
    passage.stated
        && passage
            .segments
            .iter()
            .all(|s| !s.over_pad && !tutti(s.technique))
}

/// Words over the first staff at a bar.
fn words(xml: &mut String, bar: i32, text: &str) {
    let Some((at, tag)) = xml.match_indices("<measure ").nth(bar as usize) else {
        return;
    };
    let from = at + tag.len();
    let end = from + xml[from..].find("</measure>").unwrap();
    let after = match xml[from..end].find("</attributes>") {
        Some(found) => from + found + "</attributes>".len(),
        None => from + xml[from..].find('>').unwrap() + 1,
    };
    let text = text.replace('&', "&amp;");
    let direction = format!(
        "<direction placement=\"above\"><direction-type><words>{text}</words></direction-type></direction>"
    );
    if !xml[from..end].contains(&format!("<words>{text}</words>")) {
        xml.insert_str(after, &direction);
    }
}

/// The grid; a system for the bars of each technique.
pub fn grid(passage: &Passage) -> String {
    let mut out = format!(
        "title: passage {}\nkey: {}\nmeter: {}/{}\npitch: sounding\n",
        passage.seed,
        passage.key.name(),
        passage.meter.beats,
        passage.meter.unit
    );
    if let Some(section) = passage
        .band
        .section
        .filter(|_| passage.section_stated && passage.backing.is_empty())
    {
        let _ = writeln!(out, "section: {section}");
    }
    let parts = parts(passage);
    let states = states(passage);
    for (index, segment) in passage.segments.iter().enumerate() {
        let technique = segment.technique;
        let changes = index == 0 || technique != passage.segments[index - 1].technique;
        if states && changes {
            let _ = writeln!(out, "technique: {}", technique.word());
        }
        if index == 0 {
            for (at, part) in parts.iter().enumerate() {
                let head = if at == 0 { "parts:" } else { "      " };
                let _ = writeln!(out, "{head} {} = {}", part.0, part.1);
            }
        }
        let span = segment.span;
        rows(passage, &parts, span.bar..span.bar + span.bars, &mut out);
    }
    out
}

fn rows(
    passage: &Passage,
    parts: &[(&str, &str, Vec<Struck<'_>>)],
    bars: std::ops::Range<i32>,
    out: &mut String,
) {
    let columns = columns(passage, bars);
    let bar = passage.meter.bar;
    out.push('\n');
    let mut row = |label: &str, cell: &dyn Fn(i32) -> String| {
        let _ = write!(out, "{label:<12}|");
        for (index, at) in columns.iter().enumerate() {
            if index > 0 && at % bar == 0 {
                out.push_str(" |");
            }
            let _ = write!(out, " {:<5}", cell(*at));
        }
        out.push_str("|\n");
    };
    if passage.symbols {
        row("chord", &|at| {
            let placed = passage.chords.iter().find(|c| c.at == at);
            placed.map_or_else(
                || "-".to_owned(),
                |c| {
                    if c.silent {
                        "N.C.".to_owned()
                    } else {
                        c.chord.symbol()
                    }
                },
            )
        });
    }
    row("count", &|at| count(passage, at));
    for (name, _, struck) in parts {
        row(name, &|at| cell(struck, at));
    }
}
