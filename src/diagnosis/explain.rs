//! The least explanation of each sonority of a passage.

use super::passage::{How, Passage};
use super::slip::{Draft, Expected, difference};
use super::{Diagnosis, Slip, SlipKind, Verdict, form};
use crate::ground::chord::{Chord, Family, Leads};
use crate::ground::pitch::{NoteName, PitchClass};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::Sonority;
use crate::sonority::lead::{LeadFunction, LeadNote};
use crate::style::Style;
use crate::voicing::harmonise::{
    Sets, dominant_of, is_chord_note, on_chord, on_chord_of, other_diminished, passing_diminished,
};
use crate::voicing::{
    Classes, Colour, Form, Frame, Harmonisation, Mechanical, Technique, Voicing, Way, classes_of,
    close_position, leads, mechanical_of, minor_ninths,
};
use smallvec::SmallVec;

/// How many other right voicings stand behind the one that is expected.
const OTHERS: usize = 4;

/// What a candidate voicing would mean if it were what is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    /// Right.
    Right,
    /// Right only where the passage does the same elsewhere (restruck chord under a passing lead,
    /// the dominant of an unchanged chord).
    ByHabit(Habit),
    /// A tension that neither symbol nor lead brings in.
    Altered(NoteName),
}

/// Ways of harmonising approach notes that are a writer's choice for a whole passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Habit {
    SameChord,
    Dominant,
}

/// A voicing that some reading of the sonority would make right.
struct Candidate<'a> {
    harmony: Harmonisation<'a>,
    close: Voicing,
    voicing: Voicing,
    standing: Standing,
    /// How far from the first choice the reading is.
    bias: i32,
}

impl Candidate<'_> {
    /// Whether it may stand in a passage with these habits.
    fn stands(&self, habits: Habits) -> bool {
        match self.standing {
            Standing::Right => true,
            Standing::ByHabit(habit) => habits.allow(habit),
            Standing::Altered(_) => false,
        }
    }
}

/// Voicings found: one, where only what is written is asked for.
type Candidates<'a> = SmallVec<[Candidate<'a>; 1]>;

/// The voicings found for a lead.
struct Found<'o, 'a> {
    technique: Mechanical,
    lead: i16,
    /// The pitch classes that are asked for; all when `None`.
    only: Option<&'o [PitchClass]>,
    candidates: Candidates<'a>,
}

impl<'a> Found<'_, 'a> {
    fn add(&mut self, harmony: Harmonisation<'a>, standing: Standing, bias: i32) {
        if self.only.is_some_and(|only| !harmony.is_of(only)) {
            return;
        }
        let Some(close) = close_position(self.lead, &harmony.classes()) else {
            return;
        };
        let voicing = self.technique.apply(&close);
        self.candidates.push(Candidate {
            harmony,
            close,
            voicing,
            standing,
            bias,
        });
    }
}

/// A candidate with what rubs in it.
type Rubbing<'c, 'a> = (&'c Candidate<'a>, SlipKind);

/// An explanation by one voice.
struct OneVoice<'c, 'a> {
    cost: i32,
    candidate: &'c Candidate<'a>,
    found: i16,
    wanted: i16,
}

/// One sonority with everything a reading of it needs.
struct Case<'a> {
    score: &'a Score,
    sonority: &'a Sonority,
    written: Voicing,
    technique: Mechanical,
    how: How,
    lead: Option<LeadNote>,
    /// Chords it may belong to: in force, and the one an anticipation belongs to.
    chords: SmallVec<[&'a Chord; 2]>,
    /// The same with where they lead.
    frames: Frames<'a>,
    /// The chord at the next attack of the lead.
    coming: Option<&'a Chord>,
    /// How long the chord in force lasts.
    chord_length: Ticks,
    /// What the sonority after it should be, from the top, when it is a block of as many voices.
    target: Option<&'a Voicing>,
    /// The sonorities before and after it.
    neighbours: [Option<&'a Sonority>; 2],
    key: i8,
    /// In most of the phrase the top seat has the top note.
    lead_seat_leads: bool,
    /// The four-voice technique that was stated where five voices sound.
    stated_for_four: Option<Mechanical>,
    /// The house style wants the diminished seventh under passing notes.
    only_diminished: bool,
}

/// How often a passage harmonises approach notes in each way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Habits {
    diminished: usize,
    same_chord: usize,
    dominant: usize,
}

impl Habits {
    fn allow(self, habit: Habit) -> bool {
        let n = match habit {
            Habit::SameChord => self.same_chord,
            Habit::Dominant => self.dominant,
        };
        n >= 2 && n > self.diminished
    }
}

/// Diagnoses a whole passage: what it does most, by which it is judged, and each sonority.
pub(super) fn explain_whole(
    score: &Score,
    style: &Style,
    passage: &Passage,
) -> (Habits, Vec<Diagnosis>) {
    let mut habits = Habits::default();
    if style.only_diminished {
        return (habits, explain(score, style, passage, habits));
    }
    let first = pass(score, passage, (habits, false));
    for (_, seen) in &first {
        match seen {
            Some(Seen::Diminished) => habits.diminished += 1,
            Some(Seen::Habit(Habit::SameChord)) => habits.same_chord += 1,
            Some(Seen::Habit(Habit::Dominant)) => habits.dominant += 1,
            None => {}
        }
    }
    let as_without = [Habit::SameChord, Habit::Dominant]
        .into_iter()
        .all(|habit| !habits.allow(habit));
    if as_without {
        return (habits, first.into_iter().map(|(d, _)| d).collect());
    }
    (habits, explain(score, style, passage, habits))
}

/// Diagnoses a passage whose habits are known.
pub(super) fn explain(
    score: &Score,
    style: &Style,
    passage: &Passage,
    habits: Habits,
) -> Vec<Diagnosis> {
    pass(score, passage, (habits, style.only_diminished))
        .into_iter()
        .map(|(d, _)| d)
        .collect()
}

/// Diagnoses a passage in which notes have changed pitch since `before`. It comes with the diagnoses of
/// then, and what no change is near to keeps its own.
pub(super) fn explain_again(score: &Score, style: &Style, passage: &mut Passage, before: &Passage) {
    let old = before.sonorities.iter().zip(&before.leads);
    let new = passage.sonorities.iter().zip(&passage.leads);
    let kept = Kept {
        before,
        touched: old.zip(new).map(|(a, b)| a != b).collect(),
    };
    let out = std::mem::take(&mut passage.diagnoses)
        .into_iter()
        .map(|d| (d, None))
        .collect();
    let how = (passage.habits, style.only_diminished);
    passage.diagnoses = pass_over(score, passage, how, out, Some(&kept))
        .into_iter()
        .map(|(d, _)| d)
        .collect();
}

/// What is known of a passage from before some of its notes changed pitch.
struct Kept<'a> {
    before: &'a Passage,
    /// For each sonority, whether it or its lead note is another than before.
    touched: Vec<bool>,
}

impl Kept<'_> {
    /// Whether the diagnosis of a sonority stands as it was, unless that of the next has changed:
    /// nothing else that is looked at for it was touched, which are its neighbours, the next lead note,
    /// and what sounds when the chord changes that its lead may anticipate.
    fn stands(&self, at: usize) -> bool {
        let after = at + 1..self.touched.len();
        let leads = self.before.leads.get(after.clone()).unwrap_or_default();
        let mut last = at
            + 1
            + leads
                .iter()
                .position(Option::is_some)
                .unwrap_or(leads.len());
        if let Some(lead) = self.before.leads.get(at).copied().flatten() {
            let until = lead.onset + lead.beat;
            let later = self.before.sonorities.get(after).unwrap_or_default();
            last = last.max(at + later.partition_point(|s| s.onset <= until));
        }
        let near = at.saturating_sub(1)..self.touched.len().min(last + 1);
        self.touched
            .get(near)
            .is_some_and(|near| !near.contains(&true))
    }
}

/// How an approach note was harmonised, for counting habits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Seen {
    Diminished,
    Habit(Habit),
}

/// A diagnosis, and what it says of a habit.
type Judged = (Diagnosis, Option<Seen>);

/// Diagnoses every sonority of a passage, by habits and by the style's word that only diminished chords
/// pass.
fn pass(score: &Score, passage: &Passage, how: (Habits, bool)) -> Vec<Judged> {
    let none = vec![(Diagnosis::LEFT_ALONE, None); passage.sonorities.len()];
    pass_over(score, passage, how, none, None)
}

/// Diagnoses from last to first, since approach chords are judged by what they lead to.
fn pass_over(
    score: &Score,
    passage: &Passage,
    how: (Habits, bool),
    mut out: Vec<Judged>,
    kept: Option<&Kept<'_>>,
) -> Vec<Judged> {
    // Whether what follows is to be written as before.
    let mut follows_as_before = kept.is_some();
    for (at, sonority) in passage.sonorities.iter().enumerate().rev() {
        if follows_as_before && kept.is_some_and(|k| k.stands(at)) {
            continue;
        }
        let result = sonority.is_block().then(|| {
            let next = passage.sonorities.get(at + 1).zip(out.get(at + 1));
            let target = next
                .filter(|_| passage.phrase_of(at).contains(&(at + 1)))
                .map(|(next, (diagnosis, _))| as_meant(next, diagnosis))
                .filter(|target| target.len() == sonority.voices.len());
            one(score, passage, at, sonority, target.as_ref(), how)
        });
        let result = result.flatten().unwrap_or((Diagnosis::LEFT_ALONE, None));
        if let Some(kept) = kept {
            let before = kept
                .before
                .sonorities
                .get(at)
                .zip(kept.before.diagnoses.get(at));
            let before = before.map(|(sonority, diagnosis)| as_meant(sonority, diagnosis));
            follows_as_before = before == Some(as_meant(sonority, &result.0));
        }
        if let Some(slot) = out.get_mut(at) {
            *slot = result;
        }
    }
    out
}

/// A sonority as it was meant to be, as far as its diagnosis can tell.
fn as_meant(sonority: &Sonority, diagnosis: &Diagnosis) -> Voicing {
    match &diagnosis.verdict {
        Verdict::Slip(slip) if !slip.expected.is_empty() => {
            slip.expected.iter().map(|p| p.midi()).collect()
        }
        _ => sonority.midi(),
    }
}

/// Chords with where they lead: hardly ever more than the one in force and the one ahead.
pub type Frames<'a> = SmallVec<[Frame<'a>; 2]>;

/// What surrounds one sonority, whatever its technique.
struct Surroundings<'a> {
    lead: Option<LeadNote>,
    in_force: Option<&'a Chord>,
    chords: SmallVec<[&'a Chord; 2]>,
    frames: Frames<'a>,
    coming: Option<&'a Chord>,
    chord_length: Ticks,
    key: i8,
}

fn surroundings<'a>(
    score: &'a Score,
    passage: &Passage,
    at: usize,
    sonority: &Sonority,
) -> Option<Surroundings<'a>> {
    let lead = *passage.leads.get(at)?;
    let mark = score.chord_at(sonority.onset);
    let in_force = mark.and_then(|m| m.value.chord.as_ref());
    let change = score
        .chord_after(sonority.onset)
        .filter(|m| m.value.chord.is_some());
    let mut chords: SmallVec<[&Chord; 2]> = in_force.into_iter().collect();
    if let (Some(lead), Some(change)) = (&lead, change)
        && let Some(coming) = &change.value.chord
        && anticipates(lead, change.onset)
        && !passage.changes_under_held_lead(score, change.onset)
    {
        if lead.end > change.onset {
            chords.insert(0, coming);
        } else {
            chords.push(coming);
        }
    }
    // After a rest on the beat a note may be late, and belong to the chord that was due there.
    if let Some(lead) = lead.filter(|l| l.after_rest && !l.strong && l.beat.0 > 0) {
        let into_beat = score.place_of(lead.onset).offset.0 % lead.beat.0;
        let due = score
            .chord_at(lead.onset - Ticks(into_beat))
            .and_then(|m| m.value.chord.as_ref());
        if let Some(due) = due
            && !chords.contains(&due)
        {
            chords.push(due);
        }
    }
    let next_onset = (at + 1..passage.sonorities.len())
        .find(|&i| passage.leads.get(i).is_some_and(Option::is_some))
        .and_then(|i| passage.sonorities.get(i))
        .map(|s| s.onset);
    let coming = next_onset
        .and_then(|o| score.chord_at(o))
        .and_then(|m| m.value.chord.as_ref());
    let starts = mark.map_or(Ticks::ZERO, |m| m.onset);
    let key = passage.key_at(score, sonority.onset);
    let frames = chords
        .iter()
        .map(|chord| {
            let own = Some(*chord) == in_force;
            let from = change.filter(|_| !own).map_or(sonority.onset, |m| m.onset);
            let next = score.chord_after(from).and_then(|m| m.value.chord.as_ref());
            Frame {
                chord,
                leads: leads(chord, next, key),
            }
        })
        .collect();
    Some(Surroundings {
        lead,
        in_force,
        chords,
        frames,
        coming,
        chord_length: change.map_or(Ticks(i64::MAX), |m| m.onset - starts),
        key,
    })
}

impl<'a> Case<'a> {
    fn new(
        score: &'a Score,
        passage: &'a Passage,
        (at, sonority): (usize, &'a Sonority),
        around: Surroundings<'a>,
        (technique, how, stated_for_four): (Mechanical, How, Option<Mechanical>),
        target: Option<&'a Voicing>,
        only_diminished: bool,
    ) -> Self {
        Self {
            score,
            sonority,
            written: sonority.midi(),
            technique,
            how,
            lead: around.lead,
            frames: around.frames,
            chords: around.chords,
            coming: around.coming,
            chord_length: around.chord_length,
            target,
            neighbours: [
                at.checked_sub(1).and_then(|i| passage.sonorities.get(i)),
                passage.sonorities.get(at + 1),
            ],
            key: around.key,
            lead_seat_leads: passage.is_led_by_top_seat(at),
            stated_for_four,
            only_diminished,
        }
    }
}

fn one(
    score: &Score,
    passage: &Passage,
    at: usize,
    sonority: &Sonority,
    target: Option<&Voicing>,
    (habits, only_diminished): (Habits, bool),
) -> Option<Judged> {
    let technique = (*passage.in_force.get(at)?)?;
    let around = surroundings(score, passage, at, sonority)?;
    let function = function(&around.chords, around.in_force, around.lead);
    let is_pedal = sonority.under_held_lead
        && around.lead.is_some_and(|l| {
            let mut frames = around.frames.iter();
            !frames.any(|f| f.may_sound(l.midi))
        });
    // Upper structures stand over dominants; elsewhere such a passage is in drop 2 with doubled lead.
    let technique_here = match technique.technique {
        Technique::Form(Form::UpperStructure)
            if sonority.voices.len() == 5
                && around.frames.first().is_some_and(|f| !f.is_dominant()) =>
        {
            Technique::Mechanical(Mechanical::Drop2DoubledLead)
        }
        t => t,
    };
    let (verdict, seen) = match technique_here {
        Technique::Mechanical(m) => Case::new(
            score,
            passage,
            (at, sonority),
            around,
            (m, technique.how, technique.stated_for_four),
            target,
            only_diminished,
        )
        .judge(habits),
        Technique::Form(form) => {
            let case = form::FormCase {
                sonority,
                form,
                how: technique.how,
                frames: &around.frames,
                lead: around.lead,
                key: around.key,
            };
            (case.judge(), None)
        }
    };
    // Only what is struck here is at fault, and under a pedal the chords go their own way.
    let verdict = match verdict {
        Verdict::Slip(slip) if is_pedal || blames_held(sonority, &slip) => Verdict::LeftAlone,
        other => other,
    };
    Some((
        Diagnosis {
            technique: Some(technique),
            function,
            verdict,
        },
        seen,
    ))
}

/// Whether a slip is that of a note held from before.
fn blames_held(sonority: &Sonority, slip: &Slip) -> bool {
    sonority
        .voices
        .iter()
        .any(|v| !v.attacked && slip.faults.iter().any(|f| f.note == v.note))
}

/// A right voicing for a lead note, and how far from the first choice it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Sounding semitones from the top.
    pub voicing: Voicing,
    /// How its notes are named, and what the harmony is.
    pub names: Vec<NoteName>,
    /// 0 is the first choice.
    pub cost: i32,
}

/// Every right voicing of a mechanical technique under the lead note at an index of a passage that
/// holds the lead alone; the first choice first.
pub fn choices(
    score: &Score,
    passage: &Passage,
    at: usize,
    technique: Mechanical,
    style: &Style,
) -> Vec<Choice> {
    let Some(sonority) = passage.sonorities.get(at) else {
        return Vec::new();
    };
    let (Some(around), Some(lead)) = (
        surroundings(score, passage, at, sonority),
        sonority.voices.first(),
    ) else {
        return Vec::new();
    };
    let held = around.lead.is_some_and(|l| l.duration() > l.beat);
    let named: Vec<PitchClass> = around
        .chords
        .first()
        .into_iter()
        .flat_map(|c| {
            let tensions = c.degrees.iter().filter(|d| matches!(d.number, 9 | 11 | 13));
            tensions.map(|d| c.root.class().plus(d.semitones()))
        })
        .collect();
    let passes = around.lead.is_some_and(|l| l.approaches())
        && around
            .chords
            .first()
            .is_some_and(|c| !is_chord_note(c, PitchClass::new(lead.midi)));
    let case = Case::new(
        score,
        passage,
        (at, sonority),
        around,
        (technique, How::Stated, None),
        None,
        style.only_diminished,
    );
    let mut found: Vec<Choice> = case
        .candidates(lead.midi, 0)
        .into_iter()
        .filter(|c| c.standing == Standing::Right && case.rub(c, &c.voicing).is_none())
        .map(|c| {
            // A second under a held lead is legal and unloved; a short note that leads on takes a
            // passing chord rather than a tension.
            let crowded = held && matches!(c.voicing.as_slice(), [a, b, ..] if a - b == 2);
            let idle = passes && c.harmony.way == Way::Tension;
            // A tension the symbol names is asked for.
            let unheard = if c.harmony.way <= Way::Tension {
                named
                    .iter()
                    .filter(|t| !c.harmony.classes().contains(t))
                    .count() as i32
            } else {
                0
            };
            Choice {
                names: c.harmony.names.to_vec(),
                cost: c.bias + if crowded { 4 } else { 0 } + if idle { 6 } else { 0 } + unheard * 5,
                voicing: c.voicing,
            }
        })
        .collect();
    found.sort_by_key(|c| c.cost);
    found
}

/// The chord at a lead note of a passage, with where it leads: the one it belongs to first.
pub fn frames_at<'a>(score: &'a Score, passage: &Passage, at: usize) -> Frames<'a> {
    passage
        .sonorities
        .get(at)
        .and_then(|s| surroundings(score, passage, at, s))
        .map_or_else(Frames::new, |a| a.frames)
}

/// Whether a lead note before a change of chord may belong to the new one: tied or held over it
/// from at most a beat before, or a push on the last half-beat before it with silence or the same
/// note after.
fn anticipates(lead: &LeadNote, change: Ticks) -> bool {
    let ahead = change - lead.onset;
    if lead.end > change {
        return ahead <= lead.beat;
    }
    ahead.0 * 2 <= lead.beat.0 && lead.next.is_none_or(|n| n == lead.midi)
}

/// What the lead note is for, given the chords it may belong to.
fn function(
    chords: &[&Chord],
    in_force: Option<&Chord>,
    lead: Option<LeadNote>,
) -> Option<LeadFunction> {
    let lead = lead?;
    let class = PitchClass::new(lead.midi);
    let (first, others) = chords.split_first()?;
    let pushed = Some(*first) != in_force && !in_force.is_some_and(|c| is_chord_note(c, class));
    Some(if is_chord_note(first, class) && pushed {
        LeadFunction::Anticipation
    } else if is_chord_note(first, class) {
        if lead.after_rest && !lead.strong {
            LeadFunction::DelayedAttack
        } else {
            LeadFunction::ChordNote
        }
    } else if others.iter().any(|c| is_chord_note(c, class)) {
        LeadFunction::Anticipation
    } else {
        lead.function()
    })
}

impl<'a> Case<'a> {
    fn chord(&self) -> Option<&Chord> {
        self.chords.first().copied()
    }

    fn judge(&self, habits: Habits) -> (Verdict, Option<Seen>) {
        if self.is_one_note() {
            return (Verdict::LeftAlone, None);
        }
        let Some(chord) = self.chord() else {
            return (self.by_shape(), None);
        };
        if chord.family() == Family::Other {
            return (self.by_shape(), None);
        }
        if self.is_plain_triad(chord) {
            return (Verdict::Right(Some(Way::Chord)), None);
        }
        let Some(&top) = self.written.first() else {
            return (Verdict::LeftAlone, None);
        };
        // What is right is told by readings of its own notes; all the others are for what is not.
        if self.displaced() == 0
            && let Ok(right) =
                self.right(&self.candidates_of(top, 0, Some(&self.classes())), habits)
        {
            return right;
        }
        let mut readings = vec![(top, self.candidates(top, 0))];
        // The seats come first: one part out of its place is one mistake, whatever chord the heap of
        // notes happens to make.
        if self.displaced() > 0
            && let Some(slip) = self.one_seat(habits)
        {
            return (slip, None);
        }
        let exact = readings
            .first()
            .and_then(|(_, at_top)| self.matches(at_top, habits));
        if matches!(exact, Some((Verdict::Right(_), _))) {
            return exact.unwrap_or((Verdict::LeftAlone, None));
        }
        if self.has_free_bottom(&readings, habits) || self.is_five_note() {
            return (Verdict::Right(Some(Way::Chord)), None);
        }
        if self.is_parallel_approach(chord) {
            return (Verdict::Right(Some(Way::Dominant)), None);
        }
        if let Some(slip) = exact {
            return slip;
        }
        for (order, lead) in self.other_leads().into_iter().enumerate() {
            if readings.iter().all(|(l, _)| *l != lead) {
                readings.push((lead, self.candidates(lead, (order as i32 + 1) * 4)));
            }
        }
        let verdict = self.least_slip(chord, &readings, habits);
        // A chord restruck under a lead foreign to it is a habit too, when the passage keeps to it.
        let restruck = matches!(&verdict, Verdict::Slip(s) if s.kind == SlipKind::PassingOnChord)
            && self.lead.is_some_and(|l| l.approaches());
        (verdict, restruck.then_some(Seen::Habit(Habit::SameChord)))
    }

    /// The pitch classes written, in ascending order, each once.
    fn classes(&self) -> Classes {
        classes_of(&self.written)
    }

    /// Notes that may be the lead although another is on top.
    fn other_leads(&self) -> Vec<i16> {
        let mut leads = Vec::with_capacity(4);
        leads.extend(self.lead.map(|l| l.midi));
        leads.push(self.seat_lead());
        leads.extend(self.written.get(1));
        // The lead itself may stand in the wrong octave.
        leads.extend(self.lead.map(|l| l.midi + 12));
        leads
    }

    /// A unison or octaves.
    fn is_one_note(&self) -> bool {
        self.written
            .iter()
            .all(|m| self.written.first().is_some_and(|f| (f - m) % 12 == 0))
    }

    /// A triad voiced as a triad (three of its notes, one doubled) is right under its own symbol.
    fn is_plain_triad(&self, chord: &Chord) -> bool {
        matches!(
            chord.family(),
            Family::MajorTriad
                | Family::MinorTriad
                | Family::AugmentedTriad
                | Family::SuspendedTriad
        ) && self
            .written
            .iter()
            .all(|&m| chord.contains(PitchClass::new(m)))
            && chord
                .classes()
                .all(|c| self.written.iter().any(|&m| PitchClass::new(m) == c))
    }

    /// Without a chord symbol only the shape can be judged: the same four notes in another
    /// technique than the one in force.
    fn by_shape(&self) -> Verdict {
        let technique = self.technique;
        let Some(found) = mechanical_of(&self.written) else {
            return Verdict::LeftAlone;
        };
        if found == technique {
            return Verdict::Right(None);
        }
        let Some(&lead) = self.written.first() else {
            return Verdict::LeftAlone;
        };
        let Some(close) = close_position(lead, &self.classes()) else {
            return Verdict::LeftAlone;
        };
        let expected = technique.apply(&close);
        self.slip(SlipKind::OtherDrop(found), None, &expected)
    }

    /// Every voicing that a reading with this lead makes right, or nearly so.
    fn candidates(&self, lead: i16, bias: i32) -> Candidates<'a> {
        self.candidates_of(lead, bias, None)
    }

    /// The same of these pitch classes only, where some are given; then without those that are only
    /// nearly right.
    fn candidates_of(&self, lead: i16, bias: i32, only: Option<&[PitchClass]>) -> Candidates<'a> {
        let class = PitchClass::new(lead);
        let mut found = Found {
            technique: self.technique,
            lead,
            only,
            candidates: Candidates::new(),
        };
        for (order, &chord) in self.chords.iter().enumerate() {
            let bias = bias + order as i32 * 2;
            let member = is_chord_note(chord, class);
            let up = class.above(chord.root.class());
            let passing_class = matches!(up, 2 | 5 | 8 | 11);
            let approaches = self.lead.is_some_and(|l| l.approaches());
            let restruck = !member && passing_class && approaches;
            let may_stand = |class| only.is_none_or(|only| only.contains(&class));
            let plain = on_chord_of(chord, class, self.may_alter(order), may_stand);
            for h in &plain {
                let standing = if restruck && !self.second_reading_beside(chord) {
                    Standing::ByHabit(Habit::SameChord)
                } else {
                    Standing::Right
                };
                let bias = bias + i32::from(h.changes) * 3;
                found.add(*h, standing, bias);
            }
            let altered = if only.is_none() {
                on_chord(chord, class, true)
            } else {
                Sets::new()
            };
            for h in altered {
                if plain.contains(&h) || restruck {
                    continue;
                }
                let foreign = h
                    .names
                    .into_iter()
                    .find(|n| !plain.iter().any(|p| p.names.contains(n)));
                if let Some(foreign) = foreign {
                    let bias = bias + 40;
                    found.add(h, Standing::Altered(foreign), bias);
                }
            }
            let moves_on = member && passing_class && approaches;
            if moves_on {
                // A note the symbol names may pass all the same: 7 on maj7, 9 on 6/9.
                let h = passing_diminished(chord.root);
                found.add(h, Standing::Right, bias + 6);
            }
            if !member {
                let name = self.name_of_lead(lead);
                let h = if passing_class {
                    Some(passing_diminished(chord.root))
                } else {
                    other_diminished(chord.root, name)
                };
                if let Some(h) = h {
                    let bias = bias + if restruck { -1 } else { 5 };
                    found.add(h, Standing::Right, bias);
                }
            }
            if matches!(chord.family(), Family::Dominant | Family::Altered) {
                self.over_dominant(&mut found, chord, bias + 8);
            }
        }
        if !self.only_diminished
            && self.lead.is_some_and(|l| l.approaches())
            && let (Some(coming), Some(now)) = (self.coming, self.chord())
            && !is_chord_note(now, class)
        {
            let standing = if coming == now {
                Standing::ByHabit(Habit::Dominant)
            } else {
                Standing::Right
            };
            for h in dominant_of(coming.root, class) {
                if h.changes <= 1 {
                    found.add(h, standing, bias + 12);
                }
            }
        }
        found.candidates
    }

    /// Whether inner voices may take altered tensions that the symbol does not name: over a
    /// dominant that leads on, outside strict exercises.
    fn may_alter(&self, chord: usize) -> bool {
        !self.only_diminished
            && self
                .frames
                .get(chord)
                .is_some_and(|f| matches!(f.leads, Leads::ToMajor | Leads::ToMinor))
    }

    /// Whether the note before or after is the root of a dominant on a passing chord: the line reads
    /// the dominant as the minor sixth on its fifth, whose own notes are 5 b7 9 3.
    fn second_reading_beside(&self, chord: &Chord) -> bool {
        chord.family() == Family::Dominant
            && self.neighbours.iter().flatten().any(|s| {
                s.voices
                    .first()
                    .is_some_and(|v| v.pitch.class() == chord.root.class())
                    && s.voices
                        .iter()
                        .all(|v| matches!(v.pitch.class().above(chord.root.class()), 0 | 3 | 6 | 9))
            })
    }

    /// The second reading of a dominant (as the minor sixth on its fifth: the lead's root passes
    /// on a diminished seventh), and the third (as the sixth chord it leads to, when short).
    fn over_dominant(&self, found: &mut Found<'_, 'a>, chord: &Chord, bias: i32) {
        let lead = found.lead;
        let class = PitchClass::new(lead);
        if class == chord.root.class()
            && self.lead.is_some_and(|l| l.approaches())
            && let Some(h) = other_diminished(chord.root, self.name_of_lead(lead))
        {
            found.add(h, Standing::Right, bias);
        }
        let two_beats = self.lead.map_or(Ticks::ZERO, |l| l.beat.times(2));
        if self.chord_length > two_beats {
            return;
        }
        let Some(next) = self
            .score
            .chord_after(self.sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
        else {
            return;
        };
        if next.root.class().above(chord.root.class()) != 5 {
            return;
        }
        let sets = on_chord(next, class, false)
            .into_iter()
            .filter(|h| h.changes <= 1)
            .chain((!is_chord_note(next, class)).then(|| passing_diminished(next.root)));
        for h in sets {
            let h = Harmonisation {
                way: Way::TargetTonic,
                ..h
            };
            found.add(h, Standing::Right, bias + 10);
        }
    }

    fn name_of_lead(&self, lead: i16) -> NoteName {
        self.sonority
            .voices
            .iter()
            .find(|v| PitchClass::new(v.midi) == PitchClass::new(lead))
            .map_or_else(
                || NoteName::in_key(PitchClass::new(lead), self.key),
                |v| v.pitch.name(),
            )
    }

    /// Quick enough that a rub passes unheard: half a beat or less, and the line moves on.
    fn is_fleeting(&self) -> bool {
        self.lead
            .is_some_and(|l| l.duration().0 * 2 <= l.beat.0 && l.next.is_some())
    }

    /// What rubs in a voicing: a minor ninth other than a b9 over its root, or a half step under
    /// the lead.
    fn rub(&self, c: &Candidate<'_>, voicing: &[i16]) -> Option<SlipKind> {
        if let [first, second, ..] = voicing
            && first - second == 1
        {
            return Some(SlipKind::SemitoneUnderLead);
        }
        minor_ninths(voicing)
            .find(|&(_, lower)| {
                let is_root = voicing.get(lower).is_some_and(|&m| {
                    self.chords
                        .iter()
                        .any(|ch| ch.root.class() == PitchClass::new(m))
                });
                let flat_nine_chord = self.chords.iter().any(|ch| {
                    matches!(
                        ch.family(),
                        Family::Dominant | Family::Altered | Family::DominantSuspended
                    )
                });
                !(is_root && flat_nine_chord) && c.harmony.way != Way::PassingDiminished
            })
            .map(|(upper, lower)| SlipKind::MinorNinth(upper as u8, lower as u8))
    }

    /// The verdict when what is written is a candidate that is right; otherwise one that would be, but
    /// for a rub in it.
    fn right<'c>(
        &self,
        candidates: &'c [Candidate<'a>],
        habits: Habits,
    ) -> Result<(Verdict, Option<Seen>), Option<Rubbing<'c, 'a>>> {
        let mut rubbing = None;
        for c in candidates.iter().filter(|c| c.voicing == self.written) {
            if let Some(kind) = self.rub(c, &self.written)
                && !(self.is_fleeting() && matches!(kind, SlipKind::MinorNinth(..)))
            {
                rubbing.get_or_insert((c, kind));
                continue;
            }
            if c.stands(habits) {
                let seen = matches!(c.harmony.way, Way::PassingDiminished | Way::OtherDiminished)
                    .then_some(Seen::Diminished)
                    .or(match c.standing {
                        Standing::ByHabit(h) => Some(Seen::Habit(h)),
                        _ => None,
                    });
                return Ok((Verdict::Right(Some(c.harmony.way)), seen));
            }
        }
        Err(rubbing)
    }

    /// The verdict when what is written is exactly a candidate.
    fn matches(
        &self,
        candidates: &[Candidate<'a>],
        habits: Habits,
    ) -> Option<(Verdict, Option<Seen>)> {
        let rubbing = match self.right(candidates, habits) {
            Ok(right) => return Some(right),
            Err(rubbing) => rubbing.or_else(|| self.rubs_in_another(candidates, habits)),
        };
        if let Some((c, kind)) = rubbing {
            // The chord as it is made in this technique rubs: the nearest that does not is right.
            let best = candidates
                .iter()
                .filter(|x| x.standing == Standing::Right && self.rub(x, &x.voicing).is_none())
                .min_by_key(|x| (difference(&self.written, &x.voicing).0.len(), x.bias));
            let expected = best.map_or_else(Voicing::new, |b| b.voicing.clone());
            let harmony = best.map_or(&c.harmony, |b| &b.harmony);
            return Some((self.slip(kind, Some(harmony), &expected), None));
        }
        // A technique that would rub here is rightly left for another.
        for c in candidates
            .iter()
            .filter(|c| c.standing == Standing::Right && c.harmony.changes == 0)
        {
            if self.rub(c, &c.voicing).is_none() {
                continue;
            }
            for t in Mechanical::EVERY {
                if t.voices() == self.written.len()
                    && t.apply(&c.close) == self.written
                    && self.rub(c, &self.written).is_none()
                {
                    return Some((Verdict::Right(Some(c.harmony.way)), None));
                }
            }
        }
        let unproven = candidates
            .iter()
            .filter(|c| c.voicing == self.written)
            .find(|c| !c.stands(habits))?;
        match unproven.standing {
            Standing::ByHabit(habit) => {
                let kind = match habit {
                    Habit::SameChord => SlipKind::PassingOnChord,
                    Habit::Dominant => SlipKind::WrongPassingChord,
                };
                let best = candidates
                    .iter()
                    .filter(|c| c.standing == Standing::Right)
                    .min_by_key(|c| c.bias)?;
                Some((
                    self.slip(kind, Some(&best.harmony), &best.voicing),
                    Some(Seen::Habit(habit)),
                ))
            }
            Standing::Altered(name) => {
                let best = candidates
                    .iter()
                    .filter(|c| c.standing == Standing::Right && self.rub(c, &c.voicing).is_none())
                    .min_by_key(|c| (difference(&self.written, &c.voicing).0.len(), c.bias))?;
                Some((
                    self.slip(
                        SlipKind::AlteredTension(name),
                        Some(&best.harmony),
                        &best.voicing,
                    ),
                    None,
                ))
            }
            Standing::Right => None,
        }
    }

    /// A right chord in another technique than the one in force, where that makes a minor ninth: the
    /// rub is the mistake, not the notes one by one.
    fn rubs_in_another<'c>(
        &self,
        candidates: &'c [Candidate<'a>],
        habits: Habits,
    ) -> Option<Rubbing<'c, 'a>> {
        let found = mechanical_of(&self.written)?;
        candidates
            .iter()
            .filter(|c| c.stands(habits) && c.harmony.changes == 0)
            .filter(|c| found.apply(&c.close) == self.written)
            .find_map(|c| Some((c, self.rub(c, &self.written)?)))
            .filter(|(_, kind)| matches!(kind, SlipKind::MinorNinth(..)) && !self.is_fleeting())
    }

    /// Whether every voice moves with the lead into the target: by the same half or whole step, or
    /// by one step of the key into a minor seventh chord.
    fn is_parallel_approach(&self, chord: &Chord) -> bool {
        let (Some(target), Some(lead)) = (self.target, self.lead) else {
            return false;
        };
        if !lead.approaches()
            || is_chord_note(chord, PitchClass::new(lead.midi))
                && self.chords.len() == 1
                && self.coming == Some(chord)
                && self.fits_any_member(chord)
        {
            return false;
        }
        let up = PitchClass::new(lead.midi).above(chord.root.class());
        if self.only_diminished && matches!(up, 2 | 5 | 8 | 11) {
            return false;
        }
        let moves: Voicing = target
            .iter()
            .zip(&self.written)
            .map(|(t, w)| t - w)
            .collect();
        let Some(&first) = moves.first() else {
            return false;
        };
        if matches!(first.abs(), 1 | 2) && moves.iter().all(|&m| m == first) {
            return true;
        }
        let modal = self
            .coming
            .is_some_and(|c| matches!(c.family(), Family::MinorSeventh));
        modal
            && matches!(first.abs(), 1 | 2)
            && moves
                .iter()
                .all(|m| matches!(m.abs(), 1 | 2) && (*m > 0) == (first > 0))
            && self
                .written
                .iter()
                .chain(target)
                .all(|&m| in_major_scale(m, self.key))
    }

    /// A chord note of an unchanged chord is not an approach note, unless nothing of the chord
    /// stands under it.
    fn fits_any_member(&self, chord: &Chord) -> bool {
        self.written
            .iter()
            .skip(1)
            .filter(|&&m| chord.contains(PitchClass::new(m)))
            .count()
            >= 2
    }

    /// Where nobody stated a technique: four or five different notes, all of the chord or its
    /// tensions and the guide tones among them, under a lead that stays. One category may be there
    /// twice (root and 9), but nothing is wrong with the chord.
    fn is_complete(&self, candidates: &[Candidate<'_>]) -> bool {
        let classes = self.classes();
        let distinct = classes.len() == self.written.len();
        // The notes of a right voicing in other places are an octave or a drop astray.
        let displaced = candidates.iter().any(|c| c.harmony.is_of(&classes));
        self.how == How::Inferred
            && distinct
            && !displaced
            && !self.lead.is_some_and(|l| l.approaches())
            && self.frames.iter().any(|f| {
                let sevenths = f.sevenths();
                classes.iter().all(|c| f.colour(*c) <= Colour::Available)
                    && f.third().is_some_and(|t| classes.contains(&t))
                    && (sevenths.is_empty() || sevenths.iter().any(|s| classes.contains(s)))
            })
    }

    fn least_slip(
        &self,
        chord: &Chord,
        readings: &[(i16, Candidates<'a>)],
        habits: Habits,
    ) -> Verdict {
        let Some((top, at_top)) = readings.first() else {
            return Verdict::LeftAlone;
        };
        if let Some(verdict) = self.other_drop(at_top, habits) {
            return verdict;
        }
        let class = PitchClass::new(*top);
        let approaches = self.lead.is_some_and(|l| l.approaches());
        if approaches
            && !is_chord_note(chord, class)
            && let Some(c) = at_top
                .iter()
                .filter(|c| {
                    c.standing == Standing::Right
                        && matches!(c.harmony.way, Way::PassingDiminished | Way::OtherDiminished)
                })
                .min_by_key(|c| c.bias)
            && self.lower_voices_from(chord, *top)
        {
            if habits.allow(Habit::SameChord) {
                return Verdict::Right(Some(Way::Chord));
            }
            return self.slip(SlipKind::PassingOnChord, Some(&c.harmony), &c.voicing);
        }
        if self.is_complete(at_top) {
            return Verdict::LeftAlone;
        }
        let single = self.one_voice(*top, readings, habits);
        if let Some(s) = single {
            return self.slip(
                self.single_kind(s.candidate, s.found, s.wanted),
                Some(&s.candidate.harmony),
                &s.candidate.voicing,
            );
        }
        let right: Vec<&Candidate<'_>> = at_top
            .iter()
            .filter(|c| c.stands(habits) && self.rub(c, &c.voicing).is_none())
            .collect();
        let Some(first) = right.iter().min_by_key(|c| c.bias) else {
            return Verdict::LeftAlone;
        };
        // The lower voices are another chord's.
        if !is_chord_note(chord, class) {
            if approaches && self.lower_voices_from(chord, *top) {
                if habits.allow(Habit::SameChord) {
                    return Verdict::Right(Some(Way::Chord));
                }
                return self.slip(
                    SlipKind::PassingOnChord,
                    Some(&first.harmony),
                    &first.voicing,
                );
            }
            if approaches && self.lower_voices_diminished(*top) {
                return self.slip(
                    SlipKind::WrongPassingChord,
                    Some(&first.harmony),
                    &first.voicing,
                );
            }
        } else if self.lower_voices_diminished(*top) {
            return self.slip(
                SlipKind::ChordNoteOnPassing,
                Some(&first.harmony),
                &first.voicing,
            );
        }
        if !is_chord_note(chord, class)
            && !approaches
            && let Some(verdict) = self.wrong_lead(*top, habits)
        {
            return verdict;
        }
        // Two voices; more is no slip of the pen, and is reported only where the technique was
        // stated or the notes themselves are foreign to the chord.
        let Some(c) = right
            .iter()
            .min_by_key(|c| (difference(&self.written, &c.voicing).0.len(), c.bias))
        else {
            return Verdict::LeftAlone;
        };
        let (extra, missing) = difference(&self.written, &c.voicing);
        let stated = self.how != How::Inferred;
        if extra.len() > 2 && !stated {
            return Verdict::LeftAlone;
        }
        let octaves = extra
            .iter()
            .all(|e| missing.iter().any(|m| (e - m) % 12 == 0));
        let foreign = extra.iter().any(|&e| {
            let class = PitchClass::new(e);
            let of_chord =
                c.harmony.way <= Way::Tension && self.chords.iter().any(|ch| ch.contains(class));
            !(c.harmony.classes().contains(&class) || of_chord)
        });
        let kind = if octaves {
            SlipKind::WrongOctave
        } else if foreign {
            SlipKind::WrongNote
        } else {
            let missing_name = missing
                .iter()
                .map(|&m| PitchClass::new(m))
                .find(|m| !self.written.iter().any(|&w| PitchClass::new(w) == *m))
                .and_then(|m| c.harmony.name_of(m));
            missing_name.map_or(SlipKind::WrongOctave, SlipKind::DoubledNote)
        };
        self.slip(kind, Some(&c.harmony), &c.voicing)
    }

    /// The slip of one part whose seat then holds its own voice of a right voicing: a voice that
    /// climbed over the lead, a lead that fell an octave, a wrong note above the lead. Only where
    /// the top seat otherwise leads the phrase.
    fn one_seat(&self, habits: Habits) -> Option<Verdict> {
        if !self.lead_seat_leads {
            return None;
        }
        let seated = self.seated();
        if seated.windows(2).any(|w| matches!(w, [a, b] if a.0 == b.0)) {
            return None;
        }
        let own = self.seat_lead();
        let mut best: Option<(i32, Candidate<'_>, i16, i16)> = None;
        for (lead, bias) in [(own, 0), (own + 12, 2), (own - 12, 6)] {
            for c in self.candidates(lead, bias) {
                if !c.stands(habits) || self.rub(&c, &c.voicing).is_some() {
                    continue;
                }
                let mut off = seated
                    .iter()
                    .map(|(_, midi)| *midi)
                    .zip(c.voicing.iter().copied())
                    .filter(|(found, wanted)| found != wanted);
                let (Some((found, wanted)), None) = (off.next(), off.next()) else {
                    continue;
                };
                let cost = self.cost_of_one(&c, found, wanted);
                if best.as_ref().is_none_or(|(b, ..)| cost < *b) {
                    best = Some((cost, c, found, wanted));
                }
            }
        }
        best.map(|(_, c, found, wanted)| {
            let kind = self.single_kind(&c, found, wanted);
            self.slip(kind, Some(&c.harmony), &c.voicing)
        })
    }

    /// Five voices where close position or a drop was stated for four: the bottom voice is its own
    /// (a baritone on the root).
    fn has_free_bottom(&self, readings: &[(i16, Candidates<'_>)], habits: Habits) -> bool {
        let (Some(four), Some((_, at_top)), Some((bottom, upper))) = (
            self.stated_for_four,
            readings.first(),
            self.written.split_last(),
        ) else {
            return false;
        };
        let class = PitchClass::new(*bottom);
        self.chords
            .iter()
            .any(|c| c.contains(class) || c.bass.is_some_and(|b| b.class() == class))
            && at_top
                .iter()
                .any(|c| c.stands(habits) && *four.apply(&c.close) == *upper)
    }

    /// On a held note, where doubling the lead was not asked for, a tension may take the place of
    /// the doubling.
    fn is_five_note(&self) -> bool {
        self.how == How::Inferred
            && self.technique.doubles_lead()
            && self.lead.is_some_and(|l| l.is_long())
            && self
                .written
                .windows(2)
                .all(|w| matches!(w, [a, b] if a - b > 1))
            && self
                .frames
                .iter()
                .any(|f| Form::FiveNoteSoli.fits(&self.written, Some(f)))
    }

    /// How many parts sound another voice than their seat's.
    fn displaced(&self) -> usize {
        self.seated()
            .iter()
            .zip(&self.written)
            .filter(|((_, a), b)| a != *b)
            .count()
    }

    /// Each voice's seat and what it sounds, from the top seat.
    fn seated(&self) -> SmallVec<[(u8, i16); 8]> {
        let voices = self.sonority.voices.iter();
        let mut seated: SmallVec<_> = voices.map(|v| (v.seat, v.midi)).collect();
        seated.sort_by_key(|(seat, midi)| (*seat, -midi));
        seated
    }

    /// The top seat's note.
    fn seat_lead(&self) -> i16 {
        self.sonority
            .voices
            .iter()
            .min_by_key(|v| (v.seat, -v.midi))
            .map_or(0, |v| v.midi)
    }

    /// How far-fetched it is that one voice sounds `found` for `wanted`: least when only the octave
    /// is wrong, more when the chord has a place for what is found.
    fn cost_of_one(&self, c: &Candidate<'_>, found: i16, wanted: i16) -> i32 {
        if (found - wanted) % 12 == 0 {
            return c.bias + 6;
        }
        let at_home = self.frames.iter().any(|f| f.may_sound(found));
        c.bias * 2 + i32::from((found - wanted).abs().min(12)) + if at_home { 6 } else { 0 }
    }

    /// The cheapest explanation by one voice. Another lead than the note on top is believable only
    /// when a voice climbed over it, or the lead fell, by octaves.
    fn one_voice<'c>(
        &self,
        top: i16,
        readings: &'c [(i16, Candidates<'a>)],
        habits: Habits,
    ) -> Option<OneVoice<'c, 'a>> {
        let mut best: Option<OneVoice<'c, 'a>> = None;
        // The top seat that leads its phrase, on top, is the tune: it did not slip past another voice.
        let is_tune = self.lead_seat_leads && self.seat_lead() == top;
        let readings = readings.iter().filter(|(lead, _)| *lead == top || !is_tune);
        for (lead, candidates) in readings {
            for c in candidates {
                if !c.stands(habits) || self.rub(c, &c.voicing).is_some() {
                    continue;
                }
                let (extra, missing) = difference(&self.written, &c.voicing);
                let ([found], [wanted]) = (extra.as_slice(), missing.as_slice()) else {
                    continue;
                };
                let octave = (found - wanted) % 12 == 0;
                if *lead != top && !octave {
                    continue;
                }
                let cost = self.cost_of_one(c, *found, *wanted);
                if best.as_ref().is_none_or(|b| cost < b.cost) {
                    best = Some(OneVoice {
                        cost,
                        candidate: c,
                        found: *found,
                        wanted: *wanted,
                    });
                }
            }
        }
        best
    }

    /// A lead note foreign to the chord that leads nowhere by step, over a voicing that is right for
    /// a neighbouring lead: the lead itself is wrong.
    fn wrong_lead(&self, top: i16, habits: Habits) -> Option<Verdict> {
        let mut best: Option<(i32, Candidate<'_>)> = None;
        for delta in [-1, 1, -2, 2] {
            for c in self.candidates(top + delta, 0) {
                let below = difference(&self.written, &c.voicing);
                if c.stands(habits)
                    && *below.0 == [top]
                    && self.rub(&c, &c.voicing).is_none()
                    && best
                        .as_ref()
                        .is_none_or(|(b, _)| c.bias + i32::from(delta.abs()) < *b)
                {
                    best = Some((c.bias + i32::from(delta.abs()), c));
                }
            }
        }
        best.map(|(_, c)| self.slip(SlipKind::WrongNote, Some(&c.harmony), &c.voicing))
    }

    /// The right chord in close position, but another technique. Forms that are none of the trade's
    /// own count only when more than one voice is out of place.
    fn other_drop(&self, candidates: &[Candidate<'_>], habits: Habits) -> Option<Verdict> {
        let mut best: Option<(i32, &Candidate<'_>, Mechanical)> = None;
        for c in candidates {
            if !c.stands(habits) {
                continue;
            }
            for t in Mechanical::EVERY {
                if t != self.technique
                    && t.voices() == self.written.len()
                    && t.apply(&c.close) == self.written
                    && self.rub(c, &c.voicing).is_none()
                    && (Mechanical::ALL.contains(&t)
                        || self.displaced() > 0
                        || difference(&self.written, &c.voicing).0.len() > 1)
                    && best.is_none_or(|(b, ..)| c.bias < b)
                {
                    best = Some((c.bias, c, t));
                }
            }
        }
        best.map(|(_, c, t)| self.slip(SlipKind::OtherDrop(t), Some(&c.harmony), &c.voicing))
    }

    fn single_kind(&self, c: &Candidate<'_>, found: i16, wanted: i16) -> SlipKind {
        let doubling = self.technique.doubles_lead()
            && c.voicing.first().is_some_and(|&lead| wanted == lead - 12);
        if doubling {
            return SlipKind::LeadDoubling;
        }
        if (found - wanted) % 12 == 0 {
            return SlipKind::WrongOctave;
        }
        let class = PitchClass::new(found);
        if c.harmony.classes().contains(&class)
            || c.harmony.way <= Way::Tension && self.chords.iter().any(|ch| ch.contains(class))
        {
            return c
                .harmony
                .name_of(PitchClass::new(wanted))
                .map_or(SlipKind::WrongNote, SlipKind::DoubledNote);
        }
        SlipKind::WrongNote
    }

    /// Whether the voices under a lead foreign to the chord are three of the chord's own notes in
    /// the technique in force.
    fn lower_voices_from(&self, chord: &Chord, lead: i16) -> bool {
        let mut pool: Classes = chord.classes().collect();
        for up in [9, 10, 11, 0, 4, 3, 7] {
            let class = chord.root.class().plus(up);
            if is_chord_note(chord, class) && !pool.contains(&class) {
                pool.push(class);
            }
        }
        self.three_under(&pool, lead)
    }

    /// Whether they are three notes of one diminished seventh that the lead is not in.
    fn lower_voices_diminished(&self, lead: i16) -> bool {
        let own = PitchClass::new(lead);
        [1, 2].into_iter().any(|shift| {
            let pool = [0, 3, 6, 9].map(|up| own.plus(shift + up));
            self.three_under(&pool, lead)
        })
    }

    /// A slip from one of the readings; other right voicings that are no further off stand behind
    /// it.
    fn slip(
        &self,
        kind: SlipKind,
        harmony: Option<&Harmonisation<'_>>,
        expected: &[i16],
    ) -> Verdict {
        let mut others: Vec<Candidate<'_>> = Vec::new();
        let cost = |v: &[i16]| {
            let moved: i16 = v
                .iter()
                .zip(&self.written)
                .map(|(a, b)| (a - b).abs())
                .sum();
            (difference(&self.written, v).0.len(), moved)
        };
        if let Some(&lead) = expected.first() {
            let most = cost(expected).0 + 1;
            for c in self.candidates(lead, 0) {
                if c.standing == Standing::Right
                    && *c.voicing != *expected
                    && cost(&c.voicing).0 <= most
                    && self.rub(&c, &c.voicing).is_none()
                {
                    others.push(c);
                }
            }
            others.sort_by_key(|c| (cost(&c.voicing), c.bias));
            others.dedup_by(|a, b| a.voicing == b.voicing);
            others.truncate(OTHERS);
        }
        let others: Vec<Expected<'_>> = others
            .iter()
            .map(|c| Expected {
                voicing: &c.voicing,
                names: &c.harmony.names,
                label: Some(c.harmony.label),
            })
            .collect();
        let expected = Expected {
            voicing: expected,
            names: harmony.map_or(&[], |h| &h.names),
            label: harmony.map(|h| h.label),
        };
        let draft = Draft {
            sonority: self.sonority,
            key: self.key,
        };
        Verdict::Slip(draft.slip(kind, &expected, &others))
    }

    fn three_under(&self, pool: &[PitchClass], lead: i16) -> bool {
        let own = PitchClass::new(lead);
        let mut four = self.classes();
        four.retain(|c| *c != own);
        if four.len() != 3 || !four.iter().all(|c| pool.contains(c)) {
            return false;
        }
        four.push(own);
        close_position(lead, &four)
            .is_some_and(|close| self.technique.apply(&close) == self.written)
    }
}

/// Whether a note belongs to the major scale of a key signature.
fn in_major_scale(midi: i16, fifths: i8) -> bool {
    let tonic = PitchClass::new(i16::from(fifths) * 7);
    matches!(
        PitchClass::new(midi).above(tonic),
        0 | 2 | 4 | 5 | 7 | 9 | 11
    )
}
