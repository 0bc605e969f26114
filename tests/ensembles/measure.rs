//! Proofs charts with and without faults, and counts. Only the JSON report and the face are used.

use super::chart::{Chart, chart};
use super::notes::Dice;
use super::sheet::part_spans;
use super::slips::{self, SLIPS, Truth};
use super::whole::{self, WHOLE};
use super::write::{musicxml, paper};
use chartproof::Style;
use serde_json::Value;

/// A finding as the report tells it.
#[derive(Clone, Debug)]
pub struct Seen {
    pub rule: String,
    pub level: String,
    pub bar: i32,
    pub beat: f64,
    pub parts: Vec<String>,
    pub message: String,
    pub edits: Vec<(usize, usize)>,
}

impl Seen {
    pub fn counts(&self) -> bool {
        self.level != "note"
    }
    /// The clean chart had the same finding, or another false alarm at this place (findings of whole parts
    /// stand in bar 1, so that there only the same one is known).
    fn known(&self, clean: &[Self]) -> bool {
        let here = |o: &&Self| self.bar == o.bar && (self.beat - o.beat).abs() < 0.01;
        let same = |o: &Self| self.rule == o.rule && self.parts == o.parts;
        clean
            .iter()
            .filter(here)
            .any(|o| o.counts() && self.bar > 1 || same(o))
    }
    pub fn line(&self) -> String {
        let parts = self.parts.join(" + ");
        let message = self.message.replace(['"', '\n'], "'");
        format!(
            "{}:{:.2},{},{},\"{parts}\",\"{message}\"",
            self.bar, self.beat, self.level, self.rule
        )
    }
}

pub fn proofed(xml: &str) -> Vec<Seen> {
    proofed_as("chart.musicxml", xml, &Style::default())
}

/// What the program says of a score or grid under a house style.
pub fn proofed_as(name: &str, text: &str, style: &Style) -> Vec<Seen> {
    let score = chartproof::read(name, text).unwrap();
    let report = chartproof::proof(score, style);
    let json: Value = serde_json::from_str(&report.json().unwrap()).unwrap();
    let findings = json["findings"].as_array().unwrap();
    findings.iter().map(seen).collect()
}

fn seen(finding: &Value) -> Seen {
    let text = |key: &str| finding[key].as_str().unwrap_or_default().to_owned();
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let number = |value: &Value| usize::try_from(value.as_u64().unwrap_or_default()).unwrap();
    Seen {
        rule: text("rule"),
        level: text("level"),
        bar: i32::try_from(finding["bar_index"].as_i64().unwrap_or_default()).unwrap(),
        beat: finding["beat"].as_f64().unwrap_or_default(),
        parts: list(&finding["parts"])
            .iter()
            .filter_map(|p| p.as_str().map(str::to_owned))
            .collect(),
        message: text("message"),
        edits: list(&finding["fix"]["edits"])
            .iter()
            .map(|e| (number(&e["start"]), number(&e["end"])))
            .collect(),
    }
}

/// What became of one fault.
#[derive(Clone, Debug)]
pub struct Outcome {
    pub truth: Truth,
    /// New errors and warnings.
    pub new: Vec<Seen>,
    pub found: bool,
    pub right: bool,
    /// New errors and warnings that name another part.
    pub blamed: usize,
    /// New findings whose fix edits another part.
    pub fixes: usize,
    /// Innocent parts that `correct` changes.
    pub rewritten: Vec<String>,
    /// New notes.
    pub notes: usize,
}

/// A chart, what the program says of it, and of its faults.
pub struct Measured {
    pub chart: Chart,
    pub clean: Vec<Seen>,
    pub outcomes: Vec<Outcome>,
}

/// What is measured.
#[derive(Clone, Debug)]
pub struct Plan {
    pub seeds: std::ops::Range<u64>,
    /// Seeds whose charts are proofed clean only.
    pub clean: std::ops::Range<u64>,
    /// Slips of each kind in a chart.
    pub slips: usize,
    /// Only kinds whose name begins so.
    pub kinds: String,
}

/// The chart and paper of a fault; the same for the same seed, kind, number and places of false alarms.
pub fn faulty(
    chart: &Chart,
    kind: &'static str,
    number: usize,
    avoid: &[(i32, f64)],
) -> Option<(String, Truth)> {
    let index = SLIPS.iter().chain(&WHOLE).position(|k| *k == kind).unwrap();
    let mut dice = Dice::new(chart.seed * 1000 + index as u64 * 10 + number as u64);
    if SLIPS.contains(&kind) {
        let (slipped, truth) = slips::slip(&mut dice, chart, kind, avoid)?;
        return Some((musicxml(&paper(&slipped)), truth));
    }
    let clean = paper(chart);
    let (changed, truth) = whole::fault(&mut dice, chart, &clean, kind)?;
    let xml = musicxml(&changed);
    (xml != musicxml(&clean)).then_some((xml, truth))
}

/// Parts, by index, whose text `correct` changes.
fn corrected(xml: &str) -> Vec<usize> {
    let Ok(done) = chartproof::correct("chart.musicxml", xml, &Style::default()) else {
        return Vec::new();
    };
    let after = String::from_utf8(done.bytes).unwrap();
    let (old, new) = (part_spans(xml), part_spans(&after));
    let changed = |i: &usize| xml[old[*i].0..old[*i].1] != after[new[*i].0..new[*i].1];
    (0..old.len()).filter(changed).collect()
}

fn outcome(chart: &Chart, clean: &[Seen], rewritten: &[usize], xml: &str, truth: Truth) -> Outcome {
    let spans = part_spans(xml);
    let name = |i: &usize| chart.parts[*i].name.clone();
    let guilty: Vec<String> = truth.parts.iter().map(name).collect();
    let (new, notes): (Vec<Seen>, Vec<Seen>) = proofed(xml)
        .into_iter()
        .filter(|f| !f.known(clean))
        .partition(Seen::counts);
    let whole = truth.at.is_none();
    let here = |f: &&Seen| {
        let named = f.parts.iter().any(|p| guilty.contains(p));
        let place = match truth.at {
            Some(at) => {
                let (bar, beat) = chart.meter.place(at);
                f.bar == bar && (f.beat - beat).abs() < 0.01
            }
            None => (truth.bars.0..=truth.bars.1).contains(&f.bar),
        };
        named && place
    };
    let right = if whole {
        whole::rules(truth.kind)
    } else {
        slips::rules(truth.kind)
    };
    let innocent = |f: &&Seen| f.parts.iter().any(|p| !guilty.contains(p));
    let elsewhere = |f: &&Seen| {
        let at_fault = |e: &(usize, usize)| {
            truth
                .parts
                .iter()
                .any(|p| (spans[*p].0..spans[*p].1).contains(&e.0))
        };
        f.edits.iter().any(|e| !at_fault(e))
    };
    let now = if whole { corrected(xml) } else { Vec::new() };
    let touched = now
        .iter()
        .filter(|p| !truth.parts.contains(p) && !rewritten.contains(p));
    Outcome {
        found: new.iter().any(|f| here(&f)),
        right: new
            .iter()
            .any(|f| here(&f) && right.contains(&f.rule.as_str())),
        blamed: new.iter().filter(innocent).count(),
        fixes: new.iter().filter(elsewhere).count(),
        rewritten: touched.map(name).collect(),
        notes: notes.len(),
        new,
        truth,
    }
}

pub fn measured(seed: u64, plan: &Plan) -> Measured {
    let chart = chart(seed);
    let xml = musicxml(&paper(&chart));
    let all = proofed(&xml);
    let kinds = SLIPS
        .iter()
        .chain(&WHOLE)
        .filter(|k| k.starts_with(plan.kinds.as_str()));
    let kinds: Vec<&'static str> = kinds
        .copied()
        .filter(|_| plan.seeds.contains(&seed))
        .collect();
    let rewritten = if kinds.is_empty() {
        Vec::new()
    } else {
        corrected(&xml)
    };
    let mut outcomes = Vec::new();
    let avoid: Vec<(i32, f64)> = all
        .iter()
        .filter(|f| f.counts())
        .map(|f| (f.bar, f.beat))
        .collect();
    for kind in kinds {
        let times = if SLIPS.contains(&kind) { plan.slips } else { 1 };
        for number in 0..times {
            if let Some((xml, truth)) = faulty(&chart, kind, number, &avoid) {
                outcomes.push(outcome(&chart, &all, &rewritten, &xml, truth));
            }
        }
    }
    let clean = all.into_iter().filter(Seen::counts).collect();
    Measured {
        chart,
        clean,
        outcomes,
    }
}
