//! The student's melody against the key's: what differs, what is missing, what was added.

use super::alignment::Alignment;
use super::key::{KeyNote, KeySection, Quarters, lead_voice};
use super::kinds::{ADDED, MELODY, MELODY_RHYTHM, NOT_WRITTEN, OTHER_KEY, SOURCE};
use crate::diagnosis::Passage;
use crate::finding::{Finding, NoteAtFault};
use crate::ground::time::Ticks;
use crate::score::{Change, Place, Score};
use crate::sonority::{Sonority, Voice};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet};

/// A melody note that is another than the key's.
pub(super) struct OtherMelody {
    pub at: Place,
    pub change: Change,
}

/// A melody note of the key with the student's sonority that answers it.
pub(super) struct Matched {
    pub at: Place,
    pub passage: usize,
    pub sonority: usize,
    pub key_note: KeyNote,
}

/// What is found while a score is held against its key.
pub(super) struct Comparison<'a> {
    pub score: &'a Score,
    pub alignment: Alignment,
    pub findings: Vec<Finding>,
    pub several: BTreeMap<&'static str, usize>,
    pub melody: Vec<OtherMelody>,
    pub matched: Vec<Matched>,
    pub of: usize,
}

impl Comparison<'_> {
    pub(super) fn compare_section(
        &mut self,
        key_section: &KeySection,
        passage: &Passage,
        index: usize,
    ) {
        self.of += key_section.notes.len();
        if self.alignment.by.chromatic != 0
            && !self.findings.iter().any(|f| f.rule == OTHER_KEY.name)
        {
            let finding = self.other_key(passage);
            self.findings.push(finding);
        }
        let per_quarter = self.score.per_quarter.0.max(1);
        let mut own: BTreeMap<(i64, Quarters), usize> = BTreeMap::new();
        for (i, sonority) in passage.sonorities.iter().enumerate() {
            let offset = Ratio::new(sonority.at.offset.0, per_quarter);
            own.insert((i64::from(sonority.at.bar), offset), i);
        }
        let mut missing: Vec<&KeyNote> = Vec::new();
        let mut answered: BTreeSet<usize> = BTreeSet::new();
        for key_note in &key_section.notes {
            let place = (key_note.bar + self.alignment.bars, key_note.offset);
            match own.get(&place) {
                Some(i) => {
                    answered.insert(*i);
                    self.compare_note(key_note, passage, index, *i);
                }
                None => match self.held_through(key_note, passage) {
                    Some(i) => self.matched.push(Matched {
                        at: self.place(key_note),
                        passage: index,
                        sonority: i,
                        key_note: key_note.clone(),
                    }),
                    None => missing.push(key_note),
                },
            }
        }
        let struck = |s: &Sonority| lead_voice(s).is_some_and(|v| v.attacked);
        let mut added: Vec<usize> = (0..passage.sonorities.len())
            .filter(|i| !answered.contains(i) && passage.sonorities.get(*i).is_some_and(struck))
            .collect();
        self.other_rhythm(passage, index, key_section, &mut missing, &mut added);
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

    /// Where a key_note of the key is in the student's score.
    fn place(&self, key_note: &KeyNote) -> Place {
        let bar = (key_note.bar + self.alignment.bars).max(0);
        let ticks = key_note.offset * self.score.per_quarter.0;
        Place {
            bar: u32::try_from(bar).unwrap_or(u32::MAX),
            offset: Ticks(ticks.to_integer()),
        }
    }

    /// The student's sonority that is held, with as many voices as the key has, where the key's go with
    /// a chord: whether it may be, the rules say.
    fn held_through(&self, key_note: &KeyNote, passage: &Passage) -> Option<usize> {
        let place = self.place(key_note);
        let onset = self.score.bars.get(place.bar as usize)?.start + place.offset;
        let at = passage.sonorities.partition_point(|s| s.onset < onset);
        let before = at.checked_sub(1)?;
        let sonority = passage.sonorities.get(before).filter(|_| key_note.held)?;
        let on = sonority.voices.iter().filter(|v| v.end > onset).count();
        (lead_voice(sonority)?.end > onset && on >= key_note.voicing.len()).then_some(before)
    }

    /// A key's melody note and the student's sonority at its place.
    fn compare_note(&mut self, key_note: &KeyNote, passage: &Passage, index: usize, i: usize) {
        let Some(sonority) = passage.sonorities.get(i) else {
            return;
        };
        let wanted = key_note.lead.transposed(self.alignment.by);
        let Some(lead) = lead_voice(sonority) else {
            return;
        };
        // On top, or among the notes of a player who has several: then no melody is wrong, a voice is.
        let top = sonority.voices.first().map(|v| v.midi);
        let own = |v: &Voice| v.seat == lead.seat && v.midi == wanted.midi();
        let is_there = top == Some(wanted.midi()) || sonority.voices.iter().any(own);
        if !is_there || !(lead.attacked || key_note.held) {
            let part = self.score.parts.get(lead.note.part as usize);
            let note = part.and_then(|p| p.notes.get(lead.note.note as usize));
            let name = part.map_or("", |p| p.name.as_str());
            let has = self
                .score
                .spoken(lead.note, note.map_or(lead.pitch, |n| n.sounding));
            let write = self.score.spoken(lead.note, wanted);
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
                label: format!("the melody has {}", write.first),
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
            key_note: key_note.clone(),
        });
    }

    /// Bars in which the melody has the key's notes at other places: one mistake a bar, and the
    /// voicings are judged where they stand.
    fn other_rhythm<'s>(
        &mut self,
        passage: &Passage,
        index: usize,
        key_section: &'s KeySection,
        missing: &mut Vec<&'s KeyNote>,
        added: &mut Vec<usize>,
    ) {
        let struck = missing.iter().filter(|s| !s.held);
        let bars: BTreeSet<i64> = struck.map(|s| s.bar).collect();
        for bar in bars {
            let theirs: Vec<usize> = (0..passage.sonorities.len())
                .filter(|i| {
                    passage.sonorities.get(*i).is_some_and(|s| {
                        i64::from(s.at.bar) == bar + self.alignment.bars
                            && lead_voice(s).is_some_and(|v| v.attacked)
                    })
                })
                .collect();
            let in_bar = key_section.notes.iter().filter(|s| s.bar == bar && !s.held);
            let keys: Vec<&KeyNote> = in_bar.collect();
            let same = keys.len() == theirs.len()
                && keys.iter().zip(&theirs).all(|(key_note, i)| {
                    let lead = passage.sonorities.get(*i).and_then(lead_voice);
                    lead.map(|v| v.midi) == Some(key_note.lead.midi() + self.alignment.by.chromatic)
                });
            if !same {
                continue;
            }
            let first = keys
                .iter()
                .zip(&theirs)
                .find(|(key_note, _)| missing.iter().any(|m| m.at == key_note.at))
                .and_then(|(_, i)| passage.sonorities.get(*i));
            if let Some(first) = first {
                let message = "the melody has the notes of the key in another rhythm".to_owned();
                self.findings
                    .push(MELODY_RHYTHM.at(first.at, message, passage));
            }
            for (key_note, i) in keys.into_iter().zip(&theirs) {
                if missing.iter().any(|m| m.at == key_note.at) {
                    self.compare_note(key_note, passage, index, *i);
                }
            }
            // The same sonority may have answered another key_note of the bar already.
            let spare: BTreeSet<usize> = theirs.into_iter().collect();
            missing.retain(|s| s.bar != bar);
            added.retain(|i| !spare.contains(i));
        }
    }

    /// Melody notes that the student has nothing for: one finding for each run of them.
    pub(super) fn not_written(&mut self, missing: &[&KeyNote]) {
        let near = |a: &&KeyNote, b: &&KeyNote| b.bar - a.bar <= 1;
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
                1 => format!(
                    "no chord is written under the melody note {} (sounding)",
                    first.lead
                ),
                n => format!("{n} chords of the key are not written, {bars}"),
            };
            self.findings.push(Finding {
                why: NOT_WRITTEN.why.to_owned(),
                source: SOURCE,
                ..Finding::new(NOT_WRITTEN.name, NOT_WRITTEN.level, at, message)
            });
        }
    }

    fn other_key(&self, passage: &Passage) -> Finding {
        let by = self.alignment.by.chromatic;
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
