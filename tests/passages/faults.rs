//! The program's faults by cause, most frequent first, each with the smallest grid that shows it.

use super::grid::grid;
use super::measure::{Measured, Outcome, Settings, Totals, proofed};
use super::passage::Passage;
use super::plan::Bars;
use crate::ensembles::measure::Seen;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Some bars of a passage, as a passage of their own.
pub fn cut(passage: &Passage, span: Bars, backing: bool) -> Passage {
    let (from, to) = (
        span.bar * passage.meter.bar,
        (span.bar + span.bars) * passage.meter.bar,
    );
    let inside = |at: i32| (from..to).contains(&at);
    let mut out = passage.clone();
    out.bars = span.bars;
    out.hits.retain(|h| inside(h.at));
    let dropped = passage.chords.iter().filter(|c| c.at < from).count();
    out.chords.retain(|c| inside(c.at));
    for hit in &mut out.hits {
        hit.at -= from;
        hit.len = hit.len.min(to - from - hit.at);
        hit.index = hit.index.saturating_sub(dropped);
    }
    for chord in &mut out.chords {
        chord.at -= from;
    }
    out.segments.retain_mut(|s| {
        let (start, end) = (
            s.span.bar.max(span.bar),
            (s.span.bar + s.span.bars).min(span.bar + span.bars),
        );
        s.span = Bars {
            bar: start - span.bar,
            bars: end - start,
        };
        end > start
    });
    out.backing.retain(|_| backing);
    for part in &mut out.backing {
        part.events.retain(|e| inside(e.at));
        for event in &mut part.events {
            event.at -= from;
            event.len = event.len.min(to - from - event.at);
        }
    }
    out
}

/// Cuts of a passage around a bar (1-based), the smallest first, with the bars that each begins at.
fn cuts(passage: &Passage, bar: i32) -> Vec<(Passage, i32)> {
    let bar = bar - 1;
    // A push needs the bar that it belongs to.
    let pushed = passage
        .hits
        .iter()
        .any(|h| h.push.is_some() && h.at / passage.meter.bar == bar);
    let alone = if pushed { (bar, 2) } else { (bar, 1) };
    let mut spans = vec![alone, (bar, 2), (bar - 1, 2), (bar - 1, 3), (bar - 2, 4)];
    spans.push((bar / 4 * 4, 4));
    spans.push((0, passage.bars));
    let mut out = Vec::new();
    for (from, bars) in spans {
        let from = from.max(0);
        let bars = bars.min(passage.bars - from);
        for backing in [false, true] {
            if backing == passage.backing.is_empty() && backing {
                continue;
            }
            out.push((cut(passage, Bars { bar: from, bars }, backing), from));
        }
    }
    out
}

fn tells(passage: &Passage, rule: &str, bar: i32, beat: f64, settings: &Settings) -> bool {
    let seen = proofed(&("passage.passage", grid(passage)), settings);
    seen.iter()
        .any(|f| f.rule == rule && f.counts() && f.bar == bar && (f.beat - beat).abs() < 0.01)
}

/// Nothing there names a part at fault or is of the slip's own rule.
fn silent(passage: &Passage, bar: i32, beat: f64, outcome: &Outcome, settings: &Settings) -> bool {
    let row = super::slips::ROWS
        .iter()
        .find(|r| r.name == outcome.slip.kind)
        .unwrap();
    let seen = proofed(&("passage.passage", grid(passage)), settings);
    !seen.iter().any(|f| {
        let here = f.bar == bar && (f.beat - beat).abs() < 0.01;
        let names = f
            .parts
            .iter()
            .any(|p| outcome.slip.parts.contains(&p.as_str()));
        here && (names || row.rules.contains(&f.rule.as_str()))
    })
}

/// The smallest cut that still shows a false alarm.
fn alarm(measured: &Measured, seen: &Seen, settings: &Settings) -> String {
    let cuts = cuts(&measured.passage, seen.bar);
    let shown = cuts
        .iter()
        .find(|(p, from)| tells(p, &seen.rule, seen.bar - from, seen.beat, settings));
    shown.map_or_else(|| "(as MusicXML only)\n".to_owned(), |(p, _)| grid(p))
}

fn missed(outcome: &Outcome, slipped: &Passage, settings: &Settings) -> String {
    let (bar, beat) = slipped.place(outcome.slip.at);
    let cuts = cuts(slipped, bar);
    let shown = cuts
        .iter()
        .find(|(p, from)| silent(p, bar - from, beat, outcome, settings));
    shown.map_or_else(|| "(as MusicXML only)\n".to_owned(), |(p, _)| grid(p))
}

/// What a false alarm is about: its rule, and the feature or the chord that it stands at.
fn cause(measured: &Measured, seen: &Seen) -> String {
    let passage = &measured.passage;
    let here = passage.hits.iter().find(|h| {
        let place = passage.place(h.at);
        let named = (0..h.voices.len()).any(|v| {
            seen.parts
                .iter()
                .any(|p| p == passage.band.part(h.seats, v))
        });
        place.0 == seen.bar && (place.1 - seen.beat).abs() < 0.01 && named
    });
    let Some(hit) = here else {
        return format!(
            "{}: of a stretch or a part ({})",
            seen.rule, passage.band.name
        );
    };
    let feature = hit.features.first().copied();
    let what = feature.map_or_else(
        || format!("{:?}, {}", hit.kind, hit.chord.quality.suffix),
        str::to_owned,
    );
    let form = if hit.technique.mechanical() {
        ""
    } else {
        hit.technique.word()
    };
    format!("{}: {what} {form}", seen.rule)
}

pub fn report(totals: &Totals, settings: &Settings) -> String {
    let mut out = super::table::summary(totals);
    let mut alarms: BTreeMap<String, Vec<(&Measured, &Seen)>> = BTreeMap::new();
    let mut misses: BTreeMap<String, Vec<(&Measured, &Outcome)>> = BTreeMap::new();
    for measured in &totals.all {
        for seen in measured.clean.iter().filter(|f| f.counts()) {
            alarms
                .entry(cause(measured, seen))
                .or_default()
                .push((measured, seen));
        }
        for outcome in measured.outcomes.iter().filter(|o| !o.found) {
            let form = if outcome.slip.technique.mechanical() {
                ""
            } else {
                outcome.slip.technique.word()
            };
            misses
                .entry(format!("{} {form}", outcome.slip.kind))
                .or_default()
                .push((measured, outcome));
        }
    }
    out.push_str("\n## False alarms\n");
    let mut sorted: Vec<_> = alarms.into_iter().collect();
    sorted.sort_by_key(|(_, all)| std::cmp::Reverse(all.len()));
    for (cause, all) in sorted {
        let seeds: Vec<String> = all
            .iter()
            .take(12)
            .map(|(m, f)| format!("{} ({}:{:.2})", m.passage.seed, f.bar, f.beat))
            .collect();
        let each = all.iter().take(6).map(|(m, f)| (alarm(m, f, settings), *f));
        let (smallest, seen) = each.min_by_key(|(grid, _)| grid.len()).unwrap();
        let _ = writeln!(
            out,
            "\n### {} x {cause}\n{}\n{}\n\n```\n{smallest}```",
            all.len(),
            seeds.join(", "),
            seen.line()
        );
    }
    out.push_str("\n## Missed slips\n");
    let mut sorted: Vec<_> = misses.into_iter().collect();
    sorted.sort_by_key(|(_, all)| std::cmp::Reverse(all.len()));
    for (kind, all) in sorted {
        let seeds: Vec<String> = all
            .iter()
            .take(12)
            .map(|(m, o)| format!("{} [{}]", m.passage.seed, o.slip.detail))
            .collect();
        let each = all.iter().take(5).filter_map(|(m, o)| {
            let row = super::slips::ROWS.iter().find(|r| r.name == o.slip.kind)?;
            let (slipped, _) = super::measure::slipped(&m.passage, row)?;
            Some((missed(o, &slipped, settings), o))
        });
        let (smallest, outcome) = each.min_by_key(|(grid, _)| grid.len()).unwrap();
        let _ = writeln!(
            out,
            "\n### {} x {kind}\n{}\nshown: {}\n\n```\n{smallest}```",
            all.len(),
            seeds.join("\n"),
            outcome.slip.detail
        );
    }
    out
}
