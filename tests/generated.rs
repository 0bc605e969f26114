//! Generated passages: clean ones must be met with silence, and one injected slip must be the one
//! thing reported, by the right rule, at its bar and beat.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, Made, SLIPS, TECHNIQUES};
use chartproof::inside::finding::{Finding, Level};
use chartproof::inside::proof::{Proofed, proof};
use chartproof::inside::reading::grid;
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use std::fmt::Write as _;
use std::path::Path;

fn read(made: &Made) -> (Score, Proofed) {
    let text = made.grid();
    let score = grid::read(Path::new("generated.passage"), text.as_str().into())
        .unwrap_or_else(|e| panic!("{e}\n{text}"));
    let proofed = proof(&score, &Style::default());
    (score, proofed)
}

/// What makes passages: seed, section, technique, key, whether the technique is stated, bars.
type Maker = fn(u64, usize, usize, usize, bool, usize) -> Option<Made>;

/// Every technique, key and section; the technique stated in every second passage.
fn passages(rounds: usize, maker: Maker) -> impl Iterator<Item = Made> {
    (0..rounds).flat_map(move |round| {
        (0..TECHNIQUES.len()).flat_map(move |technique| {
            (0..BANDS.len()).filter_map(move |band| {
                let seed = (round * 1009 + technique * 31 + band) as u64;
                let key = (round * 5 + technique * 7 + band) % 12;
                let stated = (round + band) % 2 == 0;
                (0..40)
                    .find_map(|again| maker(seed + again * 7919, band, technique, key, stated, 4))
            })
        })
    })
}

fn show(findings: &[Finding]) -> String {
    let mut out = String::new();
    for f in findings {
        let _ = writeln!(
            out,
            "{} {:?} bar {} {}",
            f.rule,
            f.level,
            f.at.bar + 1,
            f.message
        );
    }
    out
}

#[test]
fn clean_passages_are_met_with_silence() {
    silence(8, common::clean);
}

#[test]
fn voices_that_go_with_the_chord_under_a_held_lead_are_met_with_silence() {
    silence(12, common::held);
}

fn silence(rounds: usize, maker: Maker) {
    let mut sonorities = 0;
    let mut keys = std::collections::BTreeSet::new();
    let mut sections = std::collections::BTreeSet::new();
    let mut techniques = std::collections::BTreeSet::new();
    for made in passages(rounds, maker) {
        let (_, proofed) = read(&made);
        sonorities += proofed.sonorities;
        keys.insert(made.key);
        sections.insert(made.band);
        techniques.insert(made.technique);
        assert!(
            proofed.findings.is_empty(),
            "{}{}",
            show(&proofed.findings),
            made.grid()
        );
    }
    println!(
        "{sonorities} sonorities, {} keys, {} sections",
        keys.len(),
        sections.len()
    );
    assert!(sonorities >= 2000, "{sonorities}");
    assert!(keys.len() >= 7 && sections.len() >= 5 && techniques.len() == TECHNIQUES.len());
}

#[test]
fn one_slip_is_the_one_finding() {
    one_slip(10, common::clean, SLIPS.len(), 975);
}

#[test]
fn one_slip_under_a_held_lead_is_the_one_finding() {
    // The lead itself is held, so nothing can be wrong with it, and nothing passes.
    // A slip at the edge of a phrase of four chords is a note: too little keeps the technique there.
    one_slip(14, common::held, 6, 930);
}

/// `kinds` is how many slips there must be a place for, `least` how many in a thousand are found.
fn one_slip(rounds: usize, maker: Maker, kinds: usize, least: usize) {
    let mut of = [0usize; SLIPS.len()];
    let mut found = [0usize; SLIPS.len()];
    let mut second = 0;
    let mut total = 0;
    let (mut fixed, mut restored) = (0, 0);
    let mut unfixed = String::new();
    let mut misses = String::new();
    for (n, clean) in passages(rounds, maker).enumerate() {
        for slip in 0..SLIPS.len() {
            let mut made = clean.clone();
            let Some((at, rule)) = common::inject(&mut made, slip, (n * 13 + slip) as u64) else {
                continue;
            };
            let event = &made.events[at];
            let (score, proofed) = read(&made);
            total += 1;
            of[slip] += 1;
            let serious: Vec<&Finding> = proofed
                .findings
                .iter()
                .filter(|f| f.level >= Level::Warning)
                .collect();
            let hit = serious.iter().any(|f| {
                f.rule == rule
                    && f.at.bar as usize == event.bar
                    && score.beat_at(f.at).to_string() == Made::beat(event)
            });
            found[slip] += usize::from(hit);
            if hit {
                let fix = serious
                    .iter()
                    .find(|f| f.rule == rule)
                    .and_then(|f| f.fix.as_ref());
                let mut mended = score.clone();
                if let Some(fix) = fix {
                    fixed += 1;
                    mended.change(&fix.changes);
                }
                let (original, _) = read(&clean);
                let same = sounding(&mended) == sounding(&original);
                restored += usize::from(same);
                if !same {
                    let _ = write!(
                        unfixed,
                        "{} in {}, was {}, fix {:?}\n{}\n",
                        SLIPS[slip],
                        TECHNIQUES[made.technique].0,
                        clean.events[at]
                            .voices
                            .iter()
                            .map(|m| common::spell(*m))
                            .collect::<Vec<_>>()
                            .join(" "),
                        fix.map(|f| &f.summary),
                        show(&proofed.findings),
                    );
                }
            }
            second += usize::from(serious.len() > 1);
            if !hit || serious.len() > 1 {
                let clean_voices: Vec<String> = clean.events[at]
                    .voices
                    .iter()
                    .map(|m| common::spell(*m))
                    .collect();
                let _ = write!(
                    misses,
                    "{} in {} ({}), bar {} beat {}, was {}:\n{}{}\n",
                    SLIPS[slip],
                    TECHNIQUES[made.technique].0,
                    if made.stated { "stated" } else { "inferred" },
                    event.bar + 1,
                    Made::beat(event),
                    clean_voices.join(" "),
                    show(&proofed.findings),
                    made.grid()
                );
            }
        }
    }
    assert_eq!(of.iter().filter(|n| **n > 0).count(), kinds);
    for (slip, name) in SLIPS.iter().enumerate().filter(|(i, _)| of[*i] > 0) {
        println!("{name}: {} of {}", found[slip], of[slip]);
        assert!(of[slip] >= 40, "{name}: only {} tried", of[slip]);
        assert!(
            found[slip] * 100 >= of[slip] * 87,
            "{name}: {} of {}",
            found[slip],
            of[slip]
        );
    }
    let hits: usize = found.iter().sum();
    println!("{hits} of {total} found, {second} with a second finding");
    println!("{fixed} of {hits} with a verified fix, {restored} back to the original pitches");
    if std::env::var_os("SHOW_UNFIXED").is_some() {
        println!("{unfixed}");
    }
    if std::env::var_os("SHOW_MISSES").is_some() {
        println!("{misses}");
    }
    // A ninth kept over a dominant, a tension on the beat and a chord parallel to the next are right as well
    // (common practice, no source): some slips make them.
    assert!(hits * 1000 >= total * least, "{hits} of {total}\n{misses}");
    assert!(second * 100 <= total * 2, "{second} of {total}\n{misses}");
    assert!(fixed * 100 >= hits * 95, "{fixed} of {hits}\n{unfixed}");
    assert!(
        restored * 100 >= hits * 90,
        "{restored} of {hits}\n{unfixed}"
    );
}

#[test]
fn a_section_that_stays_on_the_old_chord_is_one_finding_where_the_notes_clash() {
    let (mut clashing, mut fitting) = (0, 0);
    for mut made in passages(24, common::held) {
        let Some((at, clashes)) = common::hold_all(&mut made) else {
            continue;
        };
        let (score, proofed) = read(&made);
        let event = &made.events[at];
        let context = || format!("{}{}", show(&proofed.findings), made.grid());
        if clashes {
            clashing += 1;
            let [finding] = proofed.findings.as_slice() else {
                panic!("{}", context());
            };
            assert_eq!(finding.rule, "wrong-note", "{}", context());
            assert_eq!(finding.at.bar as usize, event.bar, "{}", context());
            let beat = score.beat_at(finding.at).to_string();
            assert_eq!(beat, Made::beat(event), "{}", context());
        } else {
            fitting += 1;
            assert_eq!(proofed.findings, [], "{}", context());
        }
    }
    println!("{clashing} clash, {fitting} fit");
    assert!(clashing >= 80 && fitting >= 60, "{clashing}, {fitting}");
}

/// Every part's notes at sounding pitch.
fn sounding(score: &Score) -> Vec<Vec<(i64, i16)>> {
    score
        .parts
        .iter()
        .map(|p| {
            let mut notes: Vec<(i64, i16)> = p
                .notes
                .iter()
                .map(|n| (n.onset.0, n.sounding.midi()))
                .collect();
            notes.sort_unstable();
            notes
        })
        .collect()
}
