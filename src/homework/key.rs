//! An answer key: the melody, the chord symbols and the technique of an exercise, laid on what a
//! student wrote. A sonority is right when it is any right voicing of them, not the key's alone.

use super::{ADDED, Kind, MELODY, MELODY_RHYTHM, NOT_WRITTEN, OTHER_KEY, OTHER_VOICING, THIN};
use crate::diagnosis::{Passage, Verdict, passages, speaks_of_technique};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::pitch::{Pitch, Transposition};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::score::{Change, NoteRef};
use crate::score::{ChordMark, Mark, Place, Score, Shared, Stated, refined};
use crate::sonority::{Sonority, Voice};
use crate::style::Style;
use crate::voicing::{Technique, Voicing};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet};

/// Quarter notes.
type Quarters = Ratio<i64>;

/// How far a student's bars may be moved against the key's, when the first are missing.
const MOST_BARS: i64 = 8;

/// The answer to an exercise.
#[derive(Debug)]
pub struct Key {
    /// What it is called in reports.
    pub name: String,
    score: Score,
    lines: Vec<Line>,
}

/// A section of the key.
#[derive(Debug)]
struct Line {
    section: String,
    spots: Vec<Spot>,
}

/// One melody note of the key and what stands under it.
#[derive(Clone, Debug)]
struct Spot {
    bar: i64,
    offset: Quarters,
    at: Place,
    lead: Pitch,
    /// The lead is held, and the other voices go with a change of chord.
    held: bool,
    /// Sounding semitones from the top.
    voicing: Voicing,
    technique: Option<Technique>,
}

/// Why a key cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// There is nothing to hold homework against.
    #[error(
        "the answer key {0} holds no melody: expected a score with at least one part that has notes; name the model answer, or the melody with its chord symbols"
    )]
    NoMelody(String),
    /// Nothing could be judged under it.
    #[error(
        "the answer key {0} has no chord symbol that can be read, and homework is judged under the key's: write them into it, or leave out --key and the students' own hold"
    )]
    NoChords(String),
}

impl Key {
    /// Reads a key: a model answer, or a melody with chord symbols.
    pub fn new(name: String, score: Score, style: &Style) -> Result<Self, KeyError> {
        let read = passages(&score, style);
        let is_held = |p: &Passage| p.in_force.iter().any(Option::is_some);
        let held: Vec<&Passage> = read.iter().filter(|p| is_held(p)).collect();
        // Where nothing is voiced in a technique the key is a melody: the part with most of it.
        let chosen = if held.is_empty() {
            let longest = read.iter().rev().max_by_key(|p| p.sonorities.len());
            longest.into_iter().collect()
        } else {
            held
        };
        let stated = style.technique.as_deref().and_then(Technique::named);
        let lines: Vec<Line> = chosen
            .into_iter()
            .map(|p| Line::new(&score, p, stated))
            .filter(|l| !l.spots.is_empty())
            .collect();
        if lines.is_empty() {
            return Err(KeyError::NoMelody(name));
        }
        if score.chords.iter().all(|m| m.value.chord.is_none()) {
            return Err(KeyError::NoChords(name));
        }
        Ok(Self { name, score, lines })
    }

    /// How many sonorities it asks for.
    #[cfg(any(test, feature = "inside"))]
    pub fn sonorities(&self) -> usize {
        self.lines.iter().map(|l| l.spots.len()).sum()
    }

    /// The title of its score.
    pub fn title(&self) -> Option<&str> {
        self.score.title.as_deref()
    }
}

impl Line {
    fn new(score: &Score, passage: &Passage, stated: Option<Technique>) -> Self {
        let per_quarter = score.per_quarter.0.max(1);
        let alone = passage.in_force.iter().all(Option::is_none);
        let said: Vec<&Mark<Stated>> = score.stated.iter().collect();
        let spots = passage
            .sonorities
            .iter()
            .enumerate()
            .filter_map(|(i, s)| {
                let lead = lead_voice(s)?;
                let held = !lead.attacked;
                if held && !s.under_held_lead {
                    return None;
                }
                let in_force = passage.in_force.get(i).copied().flatten();
                // A melody by itself states its technique, and nothing fits it yet.
                let by_score = said
                    .iter()
                    .rev()
                    .find(|m| m.onset <= s.onset)
                    .and_then(|m| m.value.technique.as_deref())
                    .and_then(Technique::named);
                let technique = match in_force {
                    Some(force) => Some(force.technique),
                    None if alone => by_score.or(stated),
                    None => None,
                };
                Some(Spot {
                    bar: i64::from(s.at.bar),
                    offset: Ratio::new(s.at.offset.0, per_quarter),
                    at: s.at,
                    lead: lead.pitch,
                    held,
                    voicing: s.midi(),
                    technique,
                })
            })
            .collect();
        Self {
            section: passage.section.key.clone(),
            spots,
        }
    }
}

/// The voice that has the melody: the top seat's, of several notes in one part the highest.
fn lead_voice(sonority: &Sonority) -> Option<&Voice> {
    sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi))
}

/// What comparing a score with its key gave.
#[derive(Debug)]
pub(super) struct Compared {
    /// The student's score under the key's chord symbols.
    pub score: Score,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// How often each mistake was made, where one finding tells of several.
    pub several: BTreeMap<&'static str, usize>,
    pub right: usize,
    pub of: usize,
    pub remarks: Vec<String>,
    /// The student's passages under the key's chord symbols.
    pub passages: Vec<Passage>,
}

/// How a student's score lies against the key: the interval it is moved by, and by how many bars.
#[derive(Clone, Copy, Debug, Default)]
struct Lie {
    by: Transposition,
    bars: i64,
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
    let lie = lie(&score, &pairs);
    let laid = lay(score, key, lie);
    if !own_chords.is_empty() && differs(&laid, &own_chords) {
        remarks.push(
            "chord symbols differ from the key's: everything was judged under the key's symbols"
                .to_owned(),
        );
    }
    let as_written = proof(&laid, style);
    let mut sheet = Sheet {
        score: &laid,
        lie,
        findings: Vec::new(),
        several: BTreeMap::new(),
        melody: Vec::new(),
        matched: Vec::new(),
        of: 0,
    };
    let read = passages(&laid, style);
    for (line, passage) in &pairs {
        // Pairs were made of the score as written: the sections are the same ones under the key.
        let answer = passage.and_then(|i| Some((i, read.get(i)?)));
        if let Some((index, passage)) = answer {
            sheet.line(line, passage, index);
        } else {
            sheet.of += line.spots.len();
            sheet.not_written(&line.spots.iter().collect::<Vec<_>>());
        }
    }
    // Under a wrong melody note the voicing is judged as if the note were right.
    let mut meant = laid.clone();
    let changes: Vec<Change> = sheet.melody.iter().map(|m| m.change).collect();
    meant.change(&changes);
    let judged = if changes.is_empty() {
        as_written.clone()
    } else {
        proof(&meant, style)
    };
    let wrong_melody: BTreeSet<Place> = sheet.melody.iter().map(|m| m.at).collect();
    let voiced_for_it: BTreeSet<Place> = wrong_melody
        .iter()
        .copied()
        .filter(|at| !as_written.findings.iter().any(|f| f.at == *at))
        .collect();
    let kept = judged
        .findings
        .into_iter()
        .filter(|f| !voiced_for_it.contains(&f.at));
    let of_sonorities: Vec<Finding> = kept.collect();
    let matched = std::mem::take(&mut sheet.matched);
    let mut right = 0;
    let judged_passages = passages(&meant, style);
    for m in &matched {
        let own = judged_passages.get(m.passage);
        let is_own =
            |part: &u32| own.is_some_and(|p| p.section.parts.iter().any(|s| s.part == *part));
        let found = |f: &&Finding| {
            f.at == m.at
                && f.level > Level::Note
                && super::is_of_a_sonority(f.rule)
                && (f.parts.is_empty() || f.parts.iter().any(is_own))
        };
        if wrong_melody.contains(&m.at) || of_sonorities.iter().any(|f| found(&f)) {
            continue;
        }
        let verdict = judged_passages
            .get(m.passage)
            .and_then(|p| Some((p.sonorities.get(m.sonority)?, p.diagnoses.get(m.sonority)?)));
        let Some((sonority, diagnosis)) = verdict else {
            continue;
        };
        if sonority.at != m.at && m.spot.held {
            right += 1;
            continue;
        }
        if let Some(finding) = unheard_of(sonority, &diagnosis.verdict, &m.spot, lie, &laid) {
            let passage = judged_passages.get(m.passage);
            sheet.findings.push(Finding {
                section: passage.map(|p| p.section.name.clone()),
                chord: passage
                    .and_then(|p| p.symbol_of(&meant, m.sonority))
                    .map(str::to_owned),
                technique: m.spot.technique.map(|t| t.name().to_owned()),
                ..finding
            });
        } else {
            right += 1;
        }
    }
    remarks.extend(as_written.remarks);
    let mut findings = sheet.findings;
    findings.extend(of_sonorities);
    findings.sort_by_key(|f| f.at);
    let (several, of) = (sheet.several, sheet.of);
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

/// Each line of the key with the student's section (0-based) that answers it: the one of the same
/// name, else the one with most in it that is still free.
fn pairs<'k>(key: &'k Key, written: &[Passage]) -> Vec<(&'k Line, Option<usize>)> {
    let mut free: BTreeSet<usize> = (0..written.len()).collect();
    let mut out = Vec::new();
    for line in &key.lines {
        let size = |i: &usize| {
            written.get(*i).map_or((false, false, 0), |p| {
                let blocks = p.in_force.iter().any(Option::is_some);
                (p.section.key == line.section, blocks, p.sonorities.len())
            })
        };
        let chosen = free.iter().copied().rev().max_by_key(size);
        if let Some(i) = chosen {
            free.remove(&i);
        }
        out.push((line, chosen));
    }
    out
}

/// Where most of the melody agrees with the key's.
fn lie(score: &Score, pairs: &[(&Line, Option<usize>)]) -> Lie {
    let per_quarter = score.per_quarter.0.max(1);
    let mut own: BTreeMap<(i64, Quarters), Pitch> = BTreeMap::new();
    let sections = crate::sonority::sections(score);
    for section in pairs
        .iter()
        .filter_map(|(_, i)| i.and_then(|i| sections.get(i)))
    {
        for sonority in crate::sonority::slice(score, section) {
            if let Some(lead) = lead_voice(&sonority).filter(|v| v.attacked) {
                let offset = Ratio::new(sonority.at.offset.0, per_quarter);
                own.insert((i64::from(sonority.at.bar), offset), lead.pitch);
            }
        }
    }
    let spots = || pairs.iter().flat_map(|(l, _)| &l.spots);
    let mut best = (0, Lie::default());
    for bars in std::iter::once(0).chain((1..=MOST_BARS).flat_map(|n| [-n, n])) {
        let mut votes: BTreeMap<i16, (usize, Transposition)> = BTreeMap::new();
        let mut met = 0;
        for spot in spots() {
            if let Some(pitch) = own.get(&(spot.bar + bars, spot.offset)) {
                met += 1;
                let by = Transposition {
                    diatonic: pitch.diatonic() - spot.lead.diatonic(),
                    chromatic: pitch.midi() - spot.lead.midi(),
                };
                votes.entry(by.chromatic).or_insert((0, by)).0 += 1;
            }
        }
        // Another key is one only when most of what is there lies in it.
        let most = votes.values().max_by_key(|(n, by)| (*n, by.chromatic == 0));
        let Some((n, by)) = most.copied() else {
            continue;
        };
        let in_place = votes.get(&0).map_or(0, |v| v.0);
        let moved = by.chromatic != 0 && n >= 3 && n * 10 >= met * 6;
        let (agreed, by) = if moved {
            (n, by)
        } else {
            (in_place, Transposition::NONE)
        };
        if agreed > best.0 {
            best = (agreed, Lie { by, bars });
        }
    }
    best.1
}

/// The student's score under the key's chord symbols, held to the key's technique.
fn lay(mut score: Score, key: &Key, lie: Lie) -> Score {
    let ratio = |offset: Ticks| -> Option<Ticks> {
        let quarters = Ratio::new(offset.0, key.score.per_quarter.0.max(1));
        let ticks = quarters * score.per_quarter.0;
        ticks.is_integer().then(|| Ticks(ticks.to_integer()))
    };
    let placed = |at: Place| -> Option<Place> {
        let bar = i64::from(at.bar) + lie.bars;
        if bar < 0 {
            return Some(Place::default());
        }
        Some(Place {
            bar: u32::try_from(bar).ok()?,
            offset: ratio(at.offset)?,
        })
    };
    let mut chords: Vec<_> = key
        .score
        .chords
        .iter()
        .filter_map(|m| {
            let mut value = m.value.clone();
            value.chord = value.chord.map(|c| c.transposed(lie.by));
            Some(Mark::new(placed(m.at)?, value, Span::default()))
        })
        .collect();
    // Of several that were moved to the start, the last is in force there.
    chords.reverse();
    let mut taken = BTreeSet::new();
    chords.retain(|m| taken.insert(m.at));
    chords.reverse();
    let bars = score.parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
    chords.retain(|m| (m.at.bar as usize) < bars);
    let section = score.stated.iter().find_map(|m| m.value.section.clone());
    let mut stated: Vec<Mark<Stated>> = vec![Mark::new(
        Place::default(),
        Stated {
            section,
            technique: None,
        },
        Span::default(),
    )];
    let mut last = None;
    let mut any = false;
    // What several sections are in cannot be said for all of them together: there the words over the
    // staves and what fits decide, as without a key.
    let alone = key.lines.len() == 1;
    for spot in key.lines.iter().filter(|_| alone).flat_map(|l| &l.spots) {
        any |= spot.technique.is_some();
        if spot.technique.is_some()
            && spot.technique != last
            && let Some(at) = placed(spot.at)
        {
            last = spot.technique;
            stated.push(Mark::new(
                at,
                Stated {
                    section: None,
                    technique: spot.technique.map(|t| t.name().to_owned()),
                },
                Span::default(),
            ));
        }
    }
    let mut chords = Shared::from(chords);
    for part in &mut score.parts {
        part.chords = std::mem::take(&mut chords);
        if any {
            part.words.retain(|w| !speaks_of_technique(&w.value.text));
        }
    }
    if any {
        score.stated = stated;
    }
    score.lay_out();
    score
}

/// Whether the student's own chord symbols say anything else than the key's.
fn differs(laid: &Score, own: &[Mark<ChordMark>]) -> bool {
    own.iter().any(|m| {
        let onset = laid
            .bars
            .get(m.at.bar as usize)
            .map_or(Ticks::ZERO, |b| b.start + m.at.offset);
        let theirs = m.value.chord.as_ref();
        let keys = laid.chord_at(onset).and_then(|k| k.value.chord.as_ref());
        theirs.map(|c| (c.root, &c.degrees, c.bass)) != keys.map(|c| (c.root, &c.degrees, c.bass))
    })
}

/// A melody note that is another than the key's.
struct OtherMelody {
    at: Place,
    change: Change,
}

/// A melody note of the key with the student's sonority that answers it.
struct Matched {
    at: Place,
    passage: usize,
    sonority: usize,
    spot: Spot,
}

/// What is found while a score is held against its key.
struct Sheet<'a> {
    score: &'a Score,
    lie: Lie,
    findings: Vec<Finding>,
    several: BTreeMap<&'static str, usize>,
    melody: Vec<OtherMelody>,
    matched: Vec<Matched>,
    of: usize,
}

impl Sheet<'_> {
    fn line(&mut self, line: &Line, passage: &Passage, index: usize) {
        self.of += line.spots.len();
        if self.lie.by.chromatic != 0 && !self.findings.iter().any(|f| f.rule == OTHER_KEY.name) {
            let finding = self.other_key(passage);
            self.findings.push(finding);
        }
        let per_quarter = self.score.per_quarter.0.max(1);
        let mut own: BTreeMap<(i64, Quarters), usize> = BTreeMap::new();
        for (i, sonority) in passage.sonorities.iter().enumerate() {
            let offset = Ratio::new(sonority.at.offset.0, per_quarter);
            own.insert((i64::from(sonority.at.bar), offset), i);
        }
        let mut missing: Vec<&Spot> = Vec::new();
        let mut answered: BTreeSet<usize> = BTreeSet::new();
        for spot in &line.spots {
            let place = (spot.bar + self.lie.bars, spot.offset);
            match own.get(&place) {
                Some(i) => {
                    answered.insert(*i);
                    self.spot(spot, passage, index, *i);
                }
                None => match self.held_through(spot, passage) {
                    Some(i) => self.matched.push(Matched {
                        at: self.place(spot),
                        passage: index,
                        sonority: i,
                        spot: spot.clone(),
                    }),
                    None => missing.push(spot),
                },
            }
        }
        let struck = |s: &Sonority| lead_voice(s).is_some_and(|v| v.attacked);
        let mut added: Vec<usize> = (0..passage.sonorities.len())
            .filter(|i| !answered.contains(i) && passage.sonorities.get(*i).is_some_and(struck))
            .collect();
        self.other_rhythm(passage, index, line, &mut missing, &mut added);
        self.not_written(&missing);
        for i in added {
            let Some(sonority) = passage.sonorities.get(i) else {
                continue;
            };
            let lead = lead_voice(sonority).map_or_else(String::new, |v| v.pitch.to_string());
            let message =
                format!("the key has no melody note here, the student has {lead} (sounding)");
            self.findings.push(ADDED.at(sonority.at, message, passage));
        }
    }

    /// Where a spot of the key is in the student's score.
    fn place(&self, spot: &Spot) -> Place {
        let bar = (spot.bar + self.lie.bars).max(0);
        let ticks = spot.offset * self.score.per_quarter.0;
        Place {
            bar: u32::try_from(bar).unwrap_or(u32::MAX),
            offset: Ticks(ticks.to_integer()),
        }
    }

    /// The student's sonority that is held, with as many voices as the key has, where the key's go with
    /// a chord: whether it may be, the rules say.
    fn held_through(&self, spot: &Spot, passage: &Passage) -> Option<usize> {
        let place = self.place(spot);
        let onset = self.score.bars.get(place.bar as usize)?.start + place.offset;
        let at = passage.sonorities.partition_point(|s| s.onset < onset);
        let before = at.checked_sub(1)?;
        let sonority = passage.sonorities.get(before).filter(|_| spot.held)?;
        let on = sonority.voices.iter().filter(|v| v.end > onset).count();
        (lead_voice(sonority)?.end > onset && on >= spot.voicing.len()).then_some(before)
    }

    /// A key's melody note and the student's sonority at its place.
    fn spot(&mut self, spot: &Spot, passage: &Passage, index: usize, i: usize) {
        let Some(sonority) = passage.sonorities.get(i) else {
            return;
        };
        let wanted = spot.lead.transposed(self.lie.by);
        let Some(lead) = lead_voice(sonority) else {
            return;
        };
        // On top, or among the notes of a player who has several: then no melody is wrong, a voice is.
        let top = sonority.voices.first().map(|v| v.midi);
        let own = |v: &Voice| v.seat == lead.seat && v.midi == wanted.midi();
        let is_there = top == Some(wanted.midi()) || sonority.voices.iter().any(own);
        if !is_there || !(lead.attacked || spot.held) {
            let part = self.score.parts.get(lead.note.part as usize);
            let note = part.and_then(|p| p.notes.get(lead.note.note as usize));
            let name = part.map_or("", |p| p.name.as_str());
            let has = note.map_or(lead.pitch, |n| n.written);
            let write = self.score.written_for(lead.note, wanted);
            let message = if is_there {
                format!("{name} holds {has} where the melody strikes {write} again")
            } else {
                format!("{name} has {has}; the answer key has {write}")
            };
            let mut finding = MELODY.at(sonority.at, message, passage);
            finding.parts = vec![lead.note.part];
            finding.found = sonority.pitches();
            if !is_there {
                finding.suggestion = Some(format!("{name}: write {write} instead of {has}"));
            }
            finding.notes = vec![NoteAtFault {
                note: lead.note,
                voice: 1,
                expected: (!is_there).then_some(wanted),
                label: format!("the melody has {write}"),
            }];
            self.findings.push(finding);
            self.melody.push(OtherMelody {
                at: sonority.at,
                change: Change {
                    note: lead.note,
                    sounding: wanted,
                },
            });
        }
        self.matched.push(Matched {
            at: sonority.at,
            passage: index,
            sonority: i,
            spot: spot.clone(),
        });
    }

    /// Bars in which the melody has the key's notes at other places: one mistake a bar, and the
    /// voicings are judged where they stand.
    fn other_rhythm<'s>(
        &mut self,
        passage: &Passage,
        index: usize,
        line: &'s Line,
        missing: &mut Vec<&'s Spot>,
        added: &mut Vec<usize>,
    ) {
        let struck = missing.iter().filter(|s| !s.held);
        let bars: BTreeSet<i64> = struck.map(|s| s.bar).collect();
        for bar in bars {
            let theirs: Vec<usize> = (0..passage.sonorities.len())
                .filter(|i| {
                    passage.sonorities.get(*i).is_some_and(|s| {
                        i64::from(s.at.bar) == bar + self.lie.bars
                            && lead_voice(s).is_some_and(|v| v.attacked)
                    })
                })
                .collect();
            let in_bar = line.spots.iter().filter(|s| s.bar == bar && !s.held);
            let keys: Vec<&Spot> = in_bar.collect();
            let same = keys.len() == theirs.len()
                && keys.iter().zip(&theirs).all(|(spot, i)| {
                    let lead = passage.sonorities.get(*i).and_then(lead_voice);
                    lead.map(|v| v.midi) == Some(spot.lead.midi() + self.lie.by.chromatic)
                });
            if !same {
                continue;
            }
            let first = keys
                .iter()
                .zip(&theirs)
                .find(|(spot, _)| missing.iter().any(|m| m.at == spot.at))
                .and_then(|(_, i)| passage.sonorities.get(*i));
            if let Some(first) = first {
                let message = "the melody has the notes of the key in another rhythm".to_owned();
                self.findings
                    .push(MELODY_RHYTHM.at(first.at, message, passage));
            }
            for (spot, i) in keys.into_iter().zip(&theirs) {
                if missing.iter().any(|m| m.at == spot.at) {
                    self.spot(spot, passage, index, *i);
                }
            }
            // The same sonority may have answered another spot of the bar already.
            let spare: BTreeSet<usize> = theirs.into_iter().collect();
            missing.retain(|s| s.bar != bar);
            added.retain(|i| !spare.contains(i));
        }
    }

    /// Melody notes that the student has nothing for: one finding for each run of them.
    fn not_written(&mut self, missing: &[&Spot]) {
        let near = |a: &&Spot, b: &&Spot| b.bar - a.bar <= 1;
        for run in missing.chunk_by(near) {
            let (Some(first), Some(last)) = (run.first(), run.last()) else {
                continue;
            };
            *self.several.entry(NOT_WRITTEN.name).or_default() += run.len();
            let at = self.place(first);
            let (from, to) = (at.bar, self.place(last).bar);
            let number = |bar| self.score.bar_number(bar);
            let bars = if from == to {
                format!("in bar {}", number(from))
            } else {
                format!("from bar {} to bar {}", number(from), number(to))
            };
            let message = match run.len() {
                1 => format!("no chord is written under the melody note {}", first.lead),
                n => format!("{n} sonorities of the key are not written, {bars}"),
            };
            self.findings.push(Finding {
                why: NOT_WRITTEN.why.to_owned(),
                source: super::SOURCE,
                ..Finding::new(NOT_WRITTEN.name, NOT_WRITTEN.level, at, message)
            });
        }
    }

    fn other_key(&self, passage: &Passage) -> Finding {
        let by = self.lie.by.chromatic;
        let (far, way) = (by.abs(), if by > 0 { "higher" } else { "lower" });
        let how_far = if far % 12 == 0 {
            match far / 12 {
                1 => "an octave".to_owned(),
                n => format!("{n} octaves"),
            }
        } else {
            let s = if far == 1 { "" } else { "s" };
            format!("{far} semitone{s}")
        };
        let message =
            format!("the whole exercise stands {how_far} {way} than the key; it was judged there");
        let at = passage.sonorities.first().map(|s| s.at).unwrap_or_default();
        OTHER_KEY.at(at, message, passage)
    }
}

impl Kind {
    fn at(&self, at: Place, message: String, passage: &Passage) -> Finding {
        Finding {
            section: Some(passage.section.name.clone()),
            why: self.why.to_owned(),
            source: super::SOURCE,
            ..Finding::new(self.name, self.level, at, message)
        }
    }
}

/// What is wrong with a sonority that no rule speaks of: too few voices, or a voicing that nothing
/// says is right.
fn unheard_of(
    sonority: &Sonority,
    verdict: &Verdict,
    spot: &Spot,
    lie: Lie,
    score: &Score,
) -> Option<Finding> {
    let technique = spot.technique?;
    let moved: Voicing = spot.voicing.iter().map(|m| m + lie.by.chromatic).collect();
    let own = sonority.midi();
    if own == moved {
        return None;
    }
    let needed = match technique {
        Technique::Mechanical(m) => m.voices(),
        Technique::Form(f) => *f.voices().start(),
    };
    let counts = |v: &&Voice| v.attacked || spot.held;
    let struck: Vec<&Voice> = sonority.voices.iter().filter(counts).collect();
    let fault = |kind: &Kind, message: String| Finding {
        found: sonority.pitches(),
        why: kind.why.to_owned(),
        source: super::SOURCE,
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
        let names: Vec<String> = midi
            .iter()
            .map(|m| Pitch::in_key(*m, fifths).to_string())
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
