//! A section's sonorities with their lead line, phrases and the technique in force.

use super::Diagnosis;
use super::explain::{self, Habits};
use crate::ground::threads;
use crate::ground::time::Ticks;
use crate::score::{Mark, Score, Stated};
use crate::sonority::lead::LeadNote;
use crate::sonority::{Section, Sonority, Voice, cut, sections, slice};
use crate::style::Style;
use crate::voicing::{
    Form, Frame, Mechanical, Technique, Voicing, harmonise, leads, mechanical_of,
};
use std::ops::Range;

/// How a technique came to be in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum How {
    /// The passage or the house style states it.
    Stated,
    /// Words over the staff.
    Words,
    /// Most sonorities of the phrase (or of the section) fit it.
    Inferred,
}

/// A technique in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct InForce {
    /// Which.
    pub technique: Technique,
    /// Since when it is known.
    pub how: How,
    /// It was stated for four voices, and five sound.
    pub stated_for_four: Option<Mechanical>,
}

impl InForce {
    const fn new(technique: Technique, how: How) -> Self {
        Self {
            technique,
            how,
            stated_for_four: None,
        }
    }
}

/// Everything known of one section of a score.
#[derive(Clone, Debug)]
pub struct Passage {
    /// The section.
    pub section: Section,
    /// It is the only one of the score.
    pub alone: bool,
    /// Its sonorities in order.
    pub sonorities: Vec<Sonority>,
    /// The lead note of each, where one is attacked or the chord changes under it.
    pub leads: Vec<Option<LeadNote>>,
    /// Ranges of sonorities between rests of a beat or more and double bars.
    pub phrases: Vec<Range<usize>>,
    /// The technique in force for each sonority.
    pub in_force: Vec<Option<InForce>>,
    /// How it harmonises approach notes.
    pub habits: Habits,
    /// For each phrase, whether it moves as a block.
    pub moves_as_block: Vec<bool>,
    /// For each phrase, whether in most of its block sonorities the top seat has the top note.
    pub led_by_top_seat: Vec<bool>,
    /// The diagnosis of each.
    pub diagnoses: Vec<Diagnosis>,
}

impl Passage {
    /// The section's concert key at a time, in fifths.
    pub fn key_at(&self, score: &Score, onset: Ticks) -> i8 {
        section_key(score, &self.section)(onset)
    }

    /// The chord symbol that a sonority was read under, where it was held to a technique.
    pub fn symbol_of<'s>(&self, score: &'s Score, sonority: usize) -> Option<&'s str> {
        self.diagnoses.get(sonority)?.technique?;
        symbol_at(score, self.sonorities.get(sonority)?.onset)
    }

    /// The phrase that a sonority stands in.
    pub fn phrase_of(&self, sonority: usize) -> Range<usize> {
        self.phrase_index(sonority)
            .and_then(|i| self.phrases.get(i))
            .cloned()
            .unwrap_or(sonority..sonority + 1)
    }

    /// Which of the phrases a sonority stands in.
    fn phrase_index(&self, sonority: usize) -> Option<usize> {
        let i = self.phrases.partition_point(|p| p.end <= sonority);
        self.phrases.get(i).filter(|p| p.contains(&sonority))?;
        Some(i)
    }

    /// Whether the phrase that a sonority stands in moves as a block: in most of its sonorities of
    /// three voices or more all are struck together. Else it is counterpoint.
    pub fn is_block_phrase(&self, sonority: usize) -> bool {
        self.phrase_index(sonority)
            .and_then(|i| self.moves_as_block.get(i))
            .copied()
            .unwrap_or(false)
    }

    /// Whether the top seat leads the phrase that a sonority stands in.
    pub fn is_led_by_top_seat(&self, sonority: usize) -> bool {
        self.phrase_index(sonority)
            .and_then(|i| self.led_by_top_seat.get(i))
            .copied()
            .unwrap_or(false)
    }

    /// Whether the chord changes at a time under a held lead while some other voice moves.
    pub fn changes_under_held_lead(&self, score: &Score, onset: Ticks) -> bool {
        let at = self.sonorities.binary_search_by_key(&onset, |s| s.onset);
        at.is_ok_and(|i| {
            let before = i.checked_sub(1).and_then(|b| self.sonorities.get(b));
            let here = self.sonorities.get(i);
            here.is_some_and(|s| s.under_held_lead || held_lead(before, s).is_some())
        }) && score.chord_change(onset).is_some()
    }
}

fn moves_as_block(sonorities: &[Sonority]) -> bool {
    // A block that stands under a held lead says nothing of how the lead moves.
    let full = sonorities
        .iter()
        .filter(|s| s.voices.len() >= 3 && !s.under_held_lead);
    let blocks = full.clone().filter(|s| s.is_block()).count();
    blocks * 10 >= full.count() * 6
}

fn led_by_top_seat(sonorities: &[Sonority]) -> bool {
    let (mut leads, mut all) = (0, 0);
    for s in sonorities.iter().filter(|s| s.is_block()) {
        let top_seat = s.voices.iter().map(|v| v.seat).min();
        all += 1;
        leads += usize::from(s.voices.first().map(|v| v.seat) == top_seat);
    }
    all > 0 && leads * 2 >= all
}

/// Reads every section of a score: slices, lead line, phrases, techniques, diagnoses.
pub fn passages(score: &Score, style: &Style) -> Vec<Passage> {
    let sections = sections(score);
    let alone = sections.len() == 1;
    threads::map(sections, |section| {
        let mut sonorities = slice(score, &section);
        find_held_leads(score, &section, &mut sonorities);
        read(score, style, section, sonorities, alone)
    })
}

/// A lead by itself, with a sonority of its own at each of these times at which the chord changes
/// while a note is held.
pub fn lead_passage(score: &Score, style: &Style, changes: &[Ticks]) -> Option<Passage> {
    let section = sections(score).into_iter().next()?;
    let sonorities = cut(score, slice(score, &section), changes);
    Some(read(score, style, section, sonorities, true))
}

fn read(
    score: &Score,
    style: &Style,
    section: Section,
    sonorities: Vec<Sonority>,
    alone: bool,
) -> Passage {
    let leads = lead_line(score, &sonorities);
    let phrases = phrases(score, &section, &sonorities);
    let mut in_force = in_force(score, style, &section, &sonorities, &phrases);
    if section.chordal && !alone {
        // A band's keyboard comps: it may sound like a technique, but nobody holds it to one.
        for slot in &mut in_force {
            *slot = slot.filter(|f| f.how != How::Inferred);
        }
    }
    let led_by_top_seat = phrases
        .iter()
        .map(|p| led_by_top_seat(sonorities.get(p.clone()).unwrap_or_default()))
        .collect();
    let moves_as_block = phrases
        .iter()
        .map(|p| moves_as_block(sonorities.get(p.clone()).unwrap_or_default()))
        .collect();
    let mut passage = Passage {
        section,
        alone,
        moves_as_block,
        led_by_top_seat,
        sonorities,
        leads,
        phrases,
        in_force,
        habits: Habits::default(),
        diagnoses: Vec::new(),
    };
    (passage.habits, passage.diagnoses) = explain::explain_whole(score, style, &passage);
    passage
}

impl Passage {
    /// The sonorities of the phrase around one, at most `reach` to either side.
    pub fn stretch(&self, around: usize, reach: usize) -> Range<usize> {
        let phrase = self.phrase_of(around);
        phrase.start.max(around.saturating_sub(reach))
            ..phrase.end.min(around.saturating_add(reach + 1))
    }

    /// A stretch of one phrase as a passage of its own. Technique and habits stay those of the whole.
    #[must_use]
    pub fn window(&self, score: &Score, style: &Style, range: Range<usize>) -> Self {
        let phrase = self.phrase_index(range.start);
        let flag = |flags: &[bool]| {
            let at = phrase.and_then(|i| flags.get(i));
            vec![at.copied().unwrap_or(false)]
        };
        let sonorities = self.sonorities.get(range.clone()).unwrap_or_default();
        let mut window = Self {
            section: self.section.clone(),
            alone: self.alone,
            leads: Vec::new(),
            phrases: std::iter::once(0..sonorities.len()).collect(),
            in_force: self.in_force.get(range).unwrap_or_default().to_vec(),
            habits: self.habits,
            moves_as_block: flag(&self.moves_as_block),
            led_by_top_seat: flag(&self.led_by_top_seat),
            sonorities: sonorities.to_vec(),
            diagnoses: Vec::new(),
        };
        window.hear(score);
        window.diagnoses = explain::explain(score, style, &window, window.habits);
        window
    }

    /// The same stretch in a score in which notes have changed pitch since: what they are not near to
    /// is diagnosed as before.
    #[must_use]
    pub fn heard_again(&self, score: &Score, style: &Style) -> Self {
        let mut now = self.clone();
        now.hear(score);
        explain::explain_again(score, style, &mut now, self);
        now
    }

    /// Takes pitches from the score, and what follows from them alone.
    fn hear(&mut self, score: &Score) {
        for sonority in &mut self.sonorities {
            sonority.read_again(score);
        }
        find_held_leads(score, &self.section, &mut self.sonorities);
        self.leads = lead_line(score, &self.sonorities);
    }
}

/// The top note or the top seat's, when it is held while some part goes on to another note than it had
/// in the sonority before, or most parts strike. One that strikes its note again has lost a tie.
fn held_lead<'s>(before: Option<&Sonority>, sonority: &'s Sonority) -> Option<&'s Voice> {
    let seat = sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi));
    let mut leads = sonority.voices.first().into_iter().chain(seat);
    let lead = leads.find(|v| !v.attacked)?;
    let had = |v: &Voice| {
        let same = |b: &Voice| (b.note.part, b.midi) == (v.note.part, v.midi);
        before.is_some_and(|s| s.voices.iter().any(same))
    };
    let mut struck = sonority.voices.iter().filter(|v| v.attacked);
    let most = struck.clone().count() * 2 > sonority.voices.len() - 1;
    (most || struck.any(|v| !had(v))).then_some(lead)
}

/// Marks the sonorities in which all voices that have to go with a change of chord under a held lead.
fn find_held_leads(score: &Score, section: &Section, sonorities: &mut [Sonority]) {
    let key = section_key(score, section);
    for i in 0..sonorities.len() {
        let before = i.checked_sub(1).and_then(|b| sonorities.get(b));
        let moves = sonorities
            .get(i)
            .and_then(|s| moves_under_held_lead(score, &key, before, s));
        if let Some(sonority) = sonorities.get_mut(i) {
            sonority.under_held_lead = moves.unwrap_or(false);
        }
    }
}

fn moves_under_held_lead(
    score: &Score,
    key: impl Fn(Ticks) -> i8,
    before: Option<&Sonority>,
    sonority: &Sonority,
) -> Option<bool> {
    let lead = held_lead(before, sonority)?.pitch.class();
    score.chord_change(sonority.onset)?;
    let frame = frame_at(score, sonority.onset, key(sonority.onset))?;
    let held = sonority.voices.iter().filter(|v| !v.attacked);
    let mut classes = held.map(|v| v.pitch.class());
    Some(classes.all(|c| c == lead || frame.colour(c).may_sound()))
}

/// The lead of a sonority in semitones: its top note when the voicing makes sense from there (the
/// seats may have been exchanged), else the top seat's.
fn lead_of(sonority: &Sonority) -> Option<i16> {
    let top = sonority.voices.first()?;
    let seat = sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi))?;
    if seat.midi == top.midi || mechanical_of(&sonority.midi()).is_some() {
        return Some(top.midi);
    }
    Some(seat.midi)
}

fn lead_line(score: &Score, sonorities: &[Sonority]) -> Vec<Option<LeadNote>> {
    #[derive(Clone, Copy)]
    struct Attack {
        midi: i16,
        onset: Ticks,
        end: Ticks,
        stable: bool,
    }
    let mut line: Vec<Attack> = Vec::with_capacity(sonorities.len());
    // Where a lead note stands, its attack or what is left of it under a new chord, and where in the
    // line the notes before and after it are.
    let mut notes: Vec<(usize, Attack, Option<usize>, usize)> =
        Vec::with_capacity(sonorities.len());
    for (at, sonority) in sonorities.iter().enumerate() {
        let Some(midi) = lead_of(sonority) else {
            continue;
        };
        let Some(voice) = sonority
            .voices
            .iter()
            .find(|v| v.midi == midi && (v.attacked || sonority.under_held_lead))
        else {
            continue;
        };
        let stable = score
            .chord_at(sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
            .is_none_or(|c| harmonise::is_chord_note(c, voice.pitch.class()));
        let note = Attack {
            midi,
            onset: sonority.onset,
            end: voice.end,
            stable,
        };
        let before = line.len().checked_sub(1);
        if voice.attacked {
            line.push(note);
        }
        notes.push((at, note, before, line.len()));
    }
    let mut leads = vec![None; sonorities.len()];
    for (at, x, before, next) in &notes {
        let beat = score.felt_beat_at(x.onset);
        let joined = |a: &Attack, b: &Attack| b.onset - a.end <= beat;
        let before = before.and_then(|i| line.get(i));
        let previous = before.filter(|p| joined(p, x));
        let after = line.get(*next).filter(|n| joined(x, n));
        let later = line
            .get(next + 1)
            .filter(|l| after.is_some_and(|n| joined(n, l)));
        let offset = score.place_of(x.onset).offset;
        let note = LeadNote {
            previous: previous.map(|p| p.midi),
            midi: x.midi,
            next: after.map(|n| n.midi),
            after_next: later.map(|l| l.midi),
            onset: x.onset,
            end: x.end,
            strong: beat.0 > 0 && offset.0 % beat.0 == 0,
            beat,
            after_rest: before.is_none_or(|p| p.end < x.onset),
            previous_stable: previous.is_some_and(|p| p.stable),
            next_stable: after.is_some_and(|n| n.stable),
        };
        if let Some(slot) = leads.get_mut(*at) {
            *slot = Some(note);
        }
    }
    leads
}

/// Phrases end at a rest of a beat or more in every voice, and at double bars.
fn phrases(score: &Score, section: &Section, sonorities: &[Sonority]) -> Vec<Range<usize>> {
    let double_bars: Vec<Ticks> = section
        .parts
        .first()
        .and_then(|p| score.parts.get(p.part as usize))
        .map(|part| {
            part.bars
                .iter()
                .zip(&score.bars)
                .filter(|(p, _)| p.double_bar || p.repeat_end)
                .map(|(_, b)| b.start + b.length)
                .collect()
        })
        .unwrap_or_default();
    let mut phrases = Vec::new();
    let mut start = 0;
    for at in 1..sonorities.len() {
        let (Some(a), Some(b)) = (sonorities.get(at - 1), sonorities.get(at)) else {
            continue;
        };
        let beat = score.felt_beat_at(b.onset);
        let rest = b.onset - a.end >= beat;
        let bar_line = double_bars.partition_point(|&d| d <= a.onset);
        let double = double_bars.get(bar_line).is_some_and(|&d| d <= b.onset);
        if rest || double {
            phrases.push(start..at);
            start = at;
        }
    }
    if start < sonorities.len() {
        phrases.push(start..sonorities.len());
    }
    phrases
}

/// What words over a staff say of the technique.
#[derive(Clone, Copy)]
enum Said {
    /// From here on, until other words.
    From(Technique),
    /// For the phrase they stand in: a unison line.
    Phrase(Technique),
    /// For the phrase they stand in, nothing is to be held to a technique.
    Free,
}

/// Reads words over a staff. A bare "close" or "block" is too common a word to mean anything.
fn said(words: &str) -> Option<Said> {
    let lower = words.to_lowercase();
    let mut split = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty());
    if let Some(t) = Technique::named(words) {
        let single = split.clone().count() == 1;
        return match t {
            Technique::Form(f) if f.is_doubling() => Some(Said::Phrase(t)),
            _ if single && ["close", "block"].contains(&lower.trim()) => None,
            _ => Some(Said::From(t)),
        };
    }
    split
        .any(|w| matches!(w, "solo" | "free" | "freely" | "lib"))
        .then_some(Said::Free)
}

/// Whether words over a staff say anything of the technique.
pub fn speaks_of_technique(words: &str) -> bool {
    said(words).is_some()
}

/// What the words over the section's staves say, in order of time.
fn written_words(score: &Score, section: &Section) -> Vec<(Ticks, Said)> {
    let mut all: Vec<(Ticks, Said)> = section
        .parts
        .iter()
        .filter_map(|p| score.parts.get(p.part as usize))
        .flat_map(|p| &p.words)
        .filter_map(|w| said(&w.value.text).map(|s| (w.onset, s)))
        .collect();
    all.sort_by_key(|(onset, s)| (*onset, matches!(s, Said::Free)));
    all.dedup_by_key(|(onset, _)| *onset);
    all
}

/// What words say at a time: those of the phrase itself, else the last that hold on.
fn in_words(words: &[(Ticks, Said)], from: Ticks, at: Ticks) -> Option<Said> {
    let until = words.partition_point(|(onset, _)| *onset <= at);
    let before = words.get(..until)?;
    let here = before
        .last()
        .filter(|(onset, s)| *onset >= from || matches!(s, Said::From(_)));
    here.or_else(|| {
        before
            .iter()
            .rev()
            .find(|(_, s)| matches!(s, Said::From(_)))
    })
    .map(|(_, s)| *s)
}

fn in_force(
    score: &Score,
    style: &Style,
    section: &Section,
    sonorities: &[Sonority],
    phrases: &[Range<usize>],
) -> Vec<Option<InForce>> {
    let words = written_words(score, section);
    let by_style = style.technique.as_deref().and_then(Technique::named);
    let fits: Vec<Option<Mechanical>> = sonorities
        .iter()
        .map(|s| s.is_block().then(|| mechanical_of(&s.midi())).flatten())
        .collect();
    let candidate = |i: &usize| {
        sonorities
            .get(*i)
            .is_some_and(|s| s.is_block() && matches!(s.voices.len(), 4 | 5))
    };
    let key = section_key(score, section);
    let techniques: Vec<Mark<Stated>> = score
        .stated
        .iter()
        .filter(|m| m.value.technique.is_some())
        .cloned()
        .collect();
    let by_house = style.stated(score, &section.key);
    let overall = majority(&fits, (0..sonorities.len()).filter(candidate));
    let mut out = vec![None; sonorities.len()];
    for phrase in phrases {
        let inferred = infer(&fits, phrase.clone().filter(candidate), overall)
            .map(Technique::Mechanical)
            .or_else(|| infer_form(score, &key, sonorities, phrase.clone()).map(Technique::Form));
        let from = sonorities
            .get(phrase.start)
            .map_or(Ticks::ZERO, |s| s.onset);
        for i in phrase.clone() {
            let (Some(sonority), Some(slot)) = (sonorities.get(i), out.get_mut(i)) else {
                continue;
            };
            if !sonority.is_block() {
                continue;
            }
            let stated = crate::score::in_force(&techniques, sonority.onset)
                .and_then(|m| m.value.technique.as_deref());
            let named = |text: &str| {
                Technique::named(text).map(|technique| InForce::new(technique, How::Stated))
            };
            let by_words = in_words(&words, from, sonority.onset);
            // What the house style says of these very bars comes first.
            let by_house = by_house(sonority.at.bar);
            *slot = match (by_house, by_words, stated, by_style) {
                (Some(technique), ..) => technique.and_then(named),
                (None, Some(Said::From(t) | Said::Phrase(t)), _, _) => {
                    Some(InForce::new(t, How::Words))
                }
                (None, Some(Said::Free), _, _) => None,
                // What is said to be free names no technique.
                (None, None, Some(text), _) if !text.is_empty() => named(text),
                (None, None, _, Some(technique)) => Some(InForce::new(technique, How::Stated)),
                (None, None, _, None) => {
                    inferred.map(|technique| InForce::new(technique, How::Inferred))
                }
            }
            .and_then(|f| {
                let voices = sonority.voices.len();
                let stated_for_four = f
                    .technique
                    .mechanical()
                    .filter(|m| f.how != How::Inferred && m.voices() == 4 && voices == 5);
                Some(InForce {
                    technique: f.technique.for_voices(voices)?,
                    how: f.how,
                    stated_for_four,
                })
            });
        }
    }
    out
}

/// The technique that most of these sonorities fit, how many fit it, and of how many.
fn majority(
    fits: &[Option<Mechanical>],
    among: impl Iterator<Item = usize>,
) -> Option<(Mechanical, usize, usize)> {
    let mut counts = [0usize; Mechanical::EVERY.len()];
    let mut of = 0;
    for i in among {
        of += 1;
        if let Some(Some(t)) = fits.get(i)
            && let Some(slot) = counts.get_mut(*t as usize)
        {
            *slot += 1;
        }
    }
    Mechanical::EVERY
        .into_iter()
        .zip(counts)
        .filter(|(_, n)| *n > 0)
        .max_by_key(|(t, n)| (*n, std::cmp::Reverse(*t)))
        .map(|(t, n)| (t, n, of))
}

/// A phrase is in the technique that at least 60 % of its block sonorities fit; a phrase too short
/// or too mixed to say follows the section when half of it does.
fn infer(
    fits: &[Option<Mechanical>],
    among: impl Iterator<Item = usize> + Clone,
    overall: Option<(Mechanical, usize, usize)>,
) -> Option<Mechanical> {
    let own = majority(fits, among.clone());
    if let Some((t, n, of)) = own
        && n >= 3
        && n * 10 >= of * 6
    {
        return Some(t);
    }
    if let Some((t, n, of)) = overall
        && n >= 3
        && n * 10 >= of * 6
    {
        let all = among.clone().count();
        let here = among.filter(|&i| fits.get(i) == Some(&Some(t))).count();
        if here * 2 >= all && here > 0 {
            return Some(t);
        }
    }
    own.filter(|&(_, n, of)| n >= 2 && n * 10 >= of * 6)
        .map(|(t, _, _)| t)
}

/// The form that at least 60 % of a phrase's block sonorities are in, three of them at least.
fn infer_form(
    score: &Score,
    key: impl Fn(Ticks) -> i8,
    sonorities: &[Sonority],
    phrase: Range<usize>,
) -> Option<Form> {
    let blocks: Vec<(Voicing, Option<Frame<'_>>)> = sonorities
        .get(phrase)?
        .iter()
        .filter(|s| s.is_block())
        .map(|s| (s.midi(), frame_at(score, s.onset, key(s.onset))))
        .collect();
    Form::ALL
        .into_iter()
        .map(|form| {
            let n = blocks
                .iter()
                .filter(|(midi, frame)| form.fits(midi, frame.as_ref()))
                .count();
            (n, form)
        })
        .filter(|(n, _)| *n >= 3 && n * 10 >= blocks.len() * 6)
        .max_by_key(|(n, form)| {
            (
                *n,
                std::cmp::Reverse(Form::ALL.iter().position(|f| f == form)),
            )
        })
        .map(|(_, form)| form)
}

/// The concert key of a section at a time, in fifths.
fn section_key<'a>(score: &'a Score, section: &Section) -> impl Fn(Ticks) -> i8 + use<'a> {
    let part = section
        .parts
        .first()
        .and_then(|p| score.parts.get(p.part as usize));
    move |onset| part.map_or(0, |p| p.concert_fifths(onset))
}

/// The chord symbol in force at a time: what it was read as, else as it is written.
pub fn symbol_at(score: &Score, onset: Ticks) -> Option<&str> {
    let mark = &score.chord_at(onset)?.value;
    Some(mark.chord.as_ref().map_or(&mark.written, |c| &c.text))
}

/// The chord in force at a time with where it leads.
pub fn frame_at(score: &Score, onset: Ticks, key: i8) -> Option<Frame<'_>> {
    let at = score.chords.partition_point(|m| m.onset <= onset);
    let chord = score.chords.get(at.checked_sub(1)?)?.value.chord.as_ref()?;
    let next = score.chords.get(at).and_then(|m| m.value.chord.as_ref());
    Some(Frame {
        chord,
        leads: leads(chord, next, key),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Pitch;
    use crate::rules;
    use crate::score::Change;
    use std::path::Path;

    /// Every note of every phrase moved by these semitones: each stretch must be heard as if all of it
    /// were looked at anew.
    fn hear_again_and_anew(score: &Score, every: usize) -> usize {
        let style = Style::default();
        let mut heard = 0;
        for passage in passages(score, &style) {
            for phrase in passage.phrases.clone() {
                let before = passage.window(score, &style, phrase.clone());
                let voices = before.sonorities.iter().flat_map(|s| &s.voices);
                for voice in voices.filter(|v| v.attacked).step_by(every) {
                    for by in [-12, -1, 1, 2, 5, 12] {
                        let mut changed = score.clone();
                        changed.change(&[Change {
                            note: voice.note,
                            sounding: Pitch::in_key(voice.midi + by, 0),
                        }]);
                        let again = before.heard_again(&changed, &style);
                        let anew = passage.window(&changed, &style, phrase.clone());
                        assert_eq!(again.leads, anew.leads);
                        assert_eq!(again.diagnoses, anew.diagnoses, "{voice:?} by {by}");
                        heard += 1;
                    }
                }
            }
        }
        heard
    }

    #[test]
    fn what_is_heard_again_is_diagnosed_as_if_anew() {
        let examples = rules::ALL.iter().flat_map(|r| r.examples);
        let mut heard = 0;
        for text in examples.flat_map(|e| [e.wrong, e.right]) {
            heard += hear_again_and_anew(&rules::Example::score(text).unwrap(), 1);
        }
        let chart =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/lamplighters-detour.musicxml");
        heard += hear_again_and_anew(&crate::reading::files::read_file(&chart).unwrap(), 29);
        assert!(heard > 5_000, "{heard}");
    }
}
