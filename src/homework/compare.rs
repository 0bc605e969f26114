//! A student's score held against an answer key. A sonority is right when it is any right voicing of the
//! key's melody, chord and technique, not the key's alone.

use super::alignment::{Alignment, align, differs, pairs, under_key};
use super::key::{Key, KeyNote};
use super::kinds::{Kind, OTHER_VOICING, SOURCE, THIN, is_of_a_sonority};
use super::melody::Comparison;
use crate::diagnosis::{Passage, Verdict, passages};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::naming::Naming;
use crate::proof::proof;
use crate::score::{Change, NoteRef, Place, Score, refined};
use crate::sonority::{Sonority, Voice};
use crate::style::Style;
use crate::voicing::{Technique, Voicing};
use std::collections::{BTreeMap, BTreeSet};

/// What comparing a score with its key gave.
#[derive(Debug)]
pub(super) struct Compared {
    /// The student's score under the key's chord symbols.
    pub score: Score,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// How often each mistake was made, where one finding stands for several.
    pub several: BTreeMap<&'static str, usize>,
    pub right: usize,
    pub of: usize,
    pub remarks: Vec<String>,
    /// The student's passages under the key's chord symbols.
    pub passages: Vec<Passage>,
}

/// The student's score with the right melody, as it is judged.
struct Judged {
    score: Score,
    passages: Vec<Passage>,
    /// What stands wherever a wrong melody note was not voiced for itself.
    findings: Vec<Finding>,
    wrong_melody: BTreeSet<Place>,
}

pub(super) fn compare(score: &Score, style: &Style, key: &Key) -> Compared {
    let mut remarks = Vec::new();
    // The key's places need the student's time line to be as fine as its own.
    let score = refined(score.clone(), key.score.per_quarter.0).unwrap_or_else(|| {
        remarks.push(
            "the note values have no usable common multiple with those of the key: places between them were not compared"
                .to_owned(),
        );
        score.clone()
    });
    let own_chords = score.chords.clone();
    let written = passages(&score, style);
    let pairs = pairs(key, &written);
    let alignment = align(&score, &pairs);
    let laid = under_key(score, key, alignment);
    if !own_chords.is_empty() && differs(&laid, &own_chords) {
        remarks.push(
            "chord symbols differ from the key's: everything was judged under the key's symbols"
                .to_owned(),
        );
    }
    let as_written = proof(&laid, style);
    let mut comparison = Comparison {
        score: &laid,
        alignment,
        findings: Vec::new(),
        several: BTreeMap::new(),
        melody: Vec::new(),
        matched: Vec::new(),
        of: 0,
    };
    let read = passages(&laid, style);
    for (key_section, passage) in &pairs {
        // Pairs were made of the score as written: the sections are the same ones under the key.
        let answer = passage.and_then(|i| Some((i, read.get(i)?)));
        if let Some((index, passage)) = answer {
            comparison.compare_section(key_section, passage, index);
        } else {
            comparison.of += key_section.notes.len();
            comparison.not_written(&key_section.notes.iter().collect::<Vec<_>>());
        }
    }
    // Under a wrong melody note the voicing is judged as if the note were right.
    let mut meant = laid.clone();
    let changes: Vec<Change> = comparison.melody.iter().map(|m| m.change).collect();
    meant.change(&changes);
    let judged = if changes.is_empty() {
        as_written.clone()
    } else {
        proof(&meant, style)
    };
    let wrong_melody: BTreeSet<Place> = comparison.melody.iter().map(|m| m.at).collect();
    let voiced_for_it: BTreeSet<Place> = wrong_melody
        .iter()
        .copied()
        .filter(|at| !as_written.findings.iter().any(|f| f.at == *at))
        .collect();
    let kept = judged
        .findings
        .into_iter()
        .filter(|f| !voiced_for_it.contains(&f.at));
    let judged = Judged {
        findings: kept.collect(),
        passages: passages(&meant, style),
        wrong_melody,
        score: meant,
    };
    let right = right_voicings(&mut comparison, &judged);
    remarks.extend(as_written.remarks);
    let mut findings = comparison.findings;
    findings.extend(judged.findings);
    findings.sort_by_key(|f| f.at);
    let (several, of) = (comparison.several, comparison.of);
    Compared {
        score: laid,
        findings,
        several,
        right,
        of,
        remarks,
        passages: read,
    }
}

/// How many of the key's sonorities are voiced right; adds what no rule speaks of.
fn right_voicings(comparison: &mut Comparison<'_>, judged: &Judged) -> usize {
    let (alignment, laid) = (comparison.alignment, comparison.score);
    let mut right = 0;
    for m in std::mem::take(&mut comparison.matched) {
        let own = judged.passages.get(m.passage);
        let is_own =
            |part: &u32| own.is_some_and(|p| p.section.parts.iter().any(|s| s.part == *part));
        let found = |f: &&Finding| {
            f.at == m.at
                && f.level > Level::Note
                && is_of_a_sonority(f.rule)
                && (f.parts.is_empty() || f.parts.iter().any(is_own))
        };
        if judged.wrong_melody.contains(&m.at) || judged.findings.iter().any(|f| found(&f)) {
            continue;
        }
        let verdict = judged
            .passages
            .get(m.passage)
            .and_then(|p| Some((p.sonorities.get(m.sonority)?, p.diagnoses.get(m.sonority)?)));
        let Some((sonority, diagnosis)) = verdict else {
            continue;
        };
        if sonority.at != m.at && m.key_note.held {
            right += 1;
            continue;
        }
        if let Some(finding) =
            unknown_voicing(sonority, &diagnosis.verdict, &m.key_note, alignment, laid)
        {
            let passage = judged.passages.get(m.passage);
            comparison.findings.push(Finding {
                section: passage.map(|p| p.section.name.clone()),
                chord: passage
                    .and_then(|p| p.symbol_of(&judged.score, m.sonority))
                    .map(str::to_owned),
                technique: m.key_note.technique.map(|t| t.name().to_owned()),
                ..finding
            });
        } else {
            right += 1;
        }
    }
    right
}

/// What is wrong with a sonority that no rule speaks of: too few voices, or a voicing that nothing
/// says is right.
fn unknown_voicing(
    sonority: &Sonority,
    verdict: &Verdict,
    key_note: &KeyNote,
    alignment: Alignment,
    score: &Score,
) -> Option<Finding> {
    let technique = key_note.technique?;
    let moved: Voicing = key_note
        .voicing
        .iter()
        .map(|m| m + alignment.by.chromatic)
        .collect();
    let own = sonority.midi();
    if own == moved {
        return None;
    }
    let needed = match technique {
        Technique::Mechanical(m) => m.voices(),
        Technique::Form(f) => *f.voices().start(),
    };
    let counts = |v: &&Voice| v.attacked || key_note.held;
    let struck: Vec<&Voice> = sonority.voices.iter().filter(counts).collect();
    let fault = |kind: &Kind, message: String| Finding {
        found: sonority.pitches(),
        why: kind.why.to_owned(),
        source: SOURCE,
        notes: sonority
            .voices
            .iter()
            .filter(|v| !v.attacked)
            .map(|v| NoteAtFault {
                note: v.note,
                voice: 1,
                expected: None,
                label: "held".to_owned(),
            })
            .collect(),
        parts: parts_of(sonority.voices.iter().map(|v| v.note)),
        ..Finding::new(kind.name, kind.level, sonority.at, message)
    };
    if struck.len() < needed {
        let message = format!(
            "{} of {needed} voices strike with the melody; {} needs {needed}",
            struck.len(),
            technique.name(),
        );
        return Some(fault(&THIN, message));
    }
    let names = |midi: &[i16]| -> String {
        let fifths = score
            .parts
            .first()
            .map_or(0, |p| p.concert_fifths(sonority.onset));
        let naming = Naming {
            chord: &[],
            key: fifths,
        };
        let names: Vec<String> = midi
            .iter()
            .map(|m| naming.pitch(*m, |_| false).to_string())
            .collect();
        names.join(" ")
    };
    // A melody alone says nothing of how it is voiced.
    if matches!(verdict, Verdict::LeftAlone) && moved.len() >= needed {
        let message = format!(
            "{} is not a voicing that is known to be right here; the key has {} (sounding, from the top)",
            names(&own),
            names(&moved)
        );
        return Some(fault(&OTHER_VOICING, message));
    }
    None
}

fn parts_of(notes: impl Iterator<Item = NoteRef>) -> Vec<u32> {
    let parts: BTreeSet<u32> = notes.map(|n| n.part).collect();
    parts.into_iter().collect()
}
