//! Voices one melody for one band in one technique, and counts.

use super::Lead;
use super::band::{Band, Players};
use chartproof::inside::ground::pitch::Pitch;
use chartproof::inside::model_answer::{Answer, Request, Step, voice};
use chartproof::inside::proof::proof;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use std::fmt::Write as _;
use std::time::{Duration, Instant};

/// What came of it.
pub struct Run {
    pub name: String,
    pub band: &'static str,
    pub technique: &'static str,
    /// Why nothing was written.
    pub refused: Option<String>,
    pub sonorities: usize,
    /// Sonorities that stand in another technique than was asked for.
    pub departures: usize,
    /// What is said of the answer and not of its lead, one a sonority.
    pub findings: Vec<String>,
    /// Pairs of sonorities under a step of the lead.
    pub steps: usize,
    /// Those in which an inner voice leaps by more than a fifth.
    pub leaps: usize,
    /// Pairs under a moving lead in which an inner voice repeats its note, and all such pairs.
    pub repeats: usize,
    pub moves: usize,
    pub bars: usize,
    pub took: Duration,
}

fn request(band: &Band, technique: &str) -> Request {
    let mut request = Request::new(Technique::named(technique).unwrap());
    match band.players {
        Players::Section(name) => request.section = Some(name.to_owned()),
        Players::Named(names) => request.players = Some(names.to_owned()),
    }
    request
}

/// How many levels of a message are kept as its reason.
fn reason(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| if c.is_ascii_digit() { '0' } else { c })
        .collect();
    plain.chars().take(110).collect()
}

fn joined(pair: &[Step]) -> Option<(&Step, &Step)> {
    let [a, b] = pair else { return None };
    (a.end >= b.onset).then_some((a, b))
}

pub fn run(lead: &Lead, band: &'static Band, technique: &'static str) -> Run {
    let style = Style::default();
    let asked = request(band, technique);
    let began = Instant::now();
    let made = voice(&lead.score, &style, &asked);
    let took = began.elapsed();
    let mut run = Run {
        name: lead.name.clone(),
        band: band.name,
        technique,
        refused: None,
        sonorities: 0,
        departures: 0,
        findings: Vec::new(),
        steps: 0,
        leaps: 0,
        repeats: 0,
        moves: 0,
        bars: lead.score.bars.len(),
        took,
    };
    let answer = match made {
        Ok(answer) => answer,
        Err(error) => {
            run.refused = Some(reason(&error.to_string()));
            return run;
        }
    };
    run.sonorities = answer.steps.len();
    let other = answer.steps.iter().filter(|s| s.chosen.way_out.is_some());
    run.departures = other.count();
    run.findings = findings(lead, &answer, &style);
    for pair in answer.steps.windows(2) {
        let Some((a, b)) = joined(pair) else { continue };
        let by = (a.lead - b.lead).abs();
        let (from, to) = (&a.chosen.voicing, &b.chosen.voicing);
        if by == 0 || from.len() != to.len() {
            continue;
        }
        let inner = || from.iter().zip(to.iter()).skip(1);
        let doubles = |m: i16, lead: i16| (lead - m) % 12 == 0;
        run.moves += 1;
        run.repeats += usize::from(inner().any(|(x, y)| x == y));
        if by <= 2 {
            run.steps += 1;
            let leaps = inner().any(|(x, y)| (x - y).abs() > 7 && !doubles(*y, b.lead));
            run.leaps += usize::from(leaps);
        }
    }
    run
}

/// What is said of the answer and not of the lead by itself; one a place.
fn findings(lead: &Lead, answer: &Answer, style: &Style) -> Vec<String> {
    // The lead as it was given, and as its player has it in the answer.
    let mut alone = answer.score.clone();
    alone.parts.truncate(1);
    alone.lay_out();
    let own: Vec<_> = [&lead.score, &alone]
        .into_iter()
        .flat_map(|score| proof(score, style).findings)
        .map(|f| (f.rule, f.at))
        .collect();
    let mut seen = Vec::new();
    let mut out = Vec::new();
    for f in proof(&answer.score, style).findings {
        if own.contains(&(f.rule, f.at)) || seen.contains(&f.at) {
            continue;
        }
        seen.push(f.at);
        let bar = answer.score.bar_number(f.at.bar);
        let beat = answer.score.beat_at(f.at);
        out.push(format!("{}: bar {bar}, beat {beat}: {}", f.rule, f.message));
    }
    out
}

/// The answer at sounding pitch, a line a sonority, with what is said of it.
pub fn shown(lead: &Lead, band: &Band, technique: &str) -> String {
    let style = Style::default();
    let mut out = format!("{} in {technique}\n", band.name);
    let answer = match voice(&lead.score, &style, &request(band, technique)) {
        Ok(answer) => answer,
        Err(error) => return format!("{out}  refused: {error}\n"),
    };
    for step in &answer.steps {
        let at = answer.score.place_of(step.onset);
        let names: Vec<String> = step
            .chosen
            .voicing
            .iter()
            .map(|&m| {
                let exact = answer
                    .score
                    .parts
                    .iter()
                    .flat_map(|p| &p.notes)
                    .find(|n| n.onset == step.onset && n.sounding.midi() == m);
                exact.map_or_else(
                    || Pitch::in_key(m, 0).to_string(),
                    |n| n.sounding.to_string(),
                )
            })
            .map(|n| format!("{n:<4}"))
            .collect();
        let chord = chartproof::inside::diagnosis::symbol_at(&answer.score, step.onset);
        let harmony = step.chosen.harmony.as_ref().map_or("", |h| h.1.as_str());
        let _ = writeln!(
            out,
            "  {:>3}.{:<6} {:<8} {:<44} {:<10} {} {}",
            answer.score.bar_number(at.bar),
            answer.score.beat_at(at).to_string(),
            chord.unwrap_or_default(),
            names.join(" "),
            harmony,
            step.chosen.technique,
            step.chosen.cost
        );
    }
    for remark in &answer.remarks {
        let _ = writeln!(out, "  remark: {}: {}", remark.place, remark.text);
    }
    for f in findings(lead, &answer, &style) {
        let _ = writeln!(out, "  finding: {f}");
    }
    out
}
