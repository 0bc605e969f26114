//! The right voicings of a lead note, for whoever voices it.

use super::case::{Case, Context, HeldTo};
use super::habits::{Habits, Judging};
use super::passage::Passage;
use super::technique::How;
use crate::ground::chord::{Chord, Family};
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::style::Style;
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Colour, Frame, Harmonisation, Label, Mechanical, Voicing, Way};

/// A right voicing for a lead note, and how far from the first choice it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Sounding semitones from the top.
    pub voicing: Voicing,
    /// How its notes are named.
    pub names: Vec<NoteName>,
    /// How the lead is harmonised.
    pub way: Way,
    /// What the harmony is called: `C6`, `Bdim7`.
    pub label: String,
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
    let Some(around) = Context::at(score, passage, at) else {
        return Vec::new();
    };
    let Some(lead) = around.sonority.voices.first() else {
        return Vec::new();
    };
    let held_to = HeldTo {
        technique,
        how: How::Stated,
        stated_for_four: None,
    };
    let judging = Judging {
        habits: Habits::default(),
        only_diminished: style.only_diminished,
        costs: &style.costs,
    };
    let case = Case::new(around, held_to, None, judging);
    let taste = Taste::new(&case, lead.midi);
    let mut found: Vec<Choice> = case
        .candidates(lead.midi, 0)
        .into_iter()
        .filter(|c| case.is_right_anywhere(c))
        .map(|c| Choice {
            names: names(&c.harmony, case.chord()),
            way: c.harmony.way,
            label: plain(c.harmony.label, case.key).to_string(),
            cost: c.cost + taste.cost(&c.harmony, &c.voicing),
            voicing: c.voicing,
        })
        .collect();
    found.sort_by_key(|c| c.cost);
    found
}

/// Under an auxiliary diminished seventh the notes that the chord has keep the names they have in it.
fn names(harmony: &Harmonisation<'_>, chord: Option<&Chord>) -> Vec<NoteName> {
    let own = |name: NoteName| {
        let chord = chord.filter(|_| harmony.way == Way::OtherDiminished)?;
        let members = chord.degrees.iter().map(|d| d.over(chord.root));
        members.into_iter().find(|m| m.class() == name.class())
    };
    let all = harmony.names.iter();
    all.map(|n| own(*n).unwrap_or(*n)).collect()
}

/// What a writer prefers of the voicings that are right.
struct Taste {
    /// The lead lasts longer than a beat.
    held: bool,
    /// It moves on by step from a note that is not the chord's.
    passes: bool,
    /// What speaks against a passing chord under it. Its chord may stand under it all the same: it holds a beat
    /// from the beat on as a tension, or the chord is a suspended dominant, itself the chord of its ninth. Or it
    /// leaps on or ends here, and a passing chord would pass to nothing.
    against_passing: i32,
    /// The notes of the symbol that it is written for.
    named: Vec<PitchClass>,
    root: Option<PitchClass>,
    /// The third, unless the lead is an eleventh that takes its place.
    third: Option<PitchClass>,
    lead: PitchClass,
    /// What colours the chord without being named by its symbol.
    unasked: Vec<PitchClass>,
    /// The roots of minor chords that the next lead note may belong to.
    minor_to_come: Vec<PitchClass>,
}

impl Taste {
    fn new(case: &Case<'_>, lead: i16) -> Self {
        let chord = case.chord();
        let named = chord.into_iter().flat_map(|c| {
            // The major seventh of a minor chord is what its symbol is written for.
            let minor_major = c.family() == Family::MinorMajor;
            let tensions = c
                .degrees
                .iter()
                .filter(move |d| matches!(d.number, 9 | 11 | 13) || minor_major && d.number == 7);
            tensions.map(|d| c.root.class().plus(d.semitones()))
        });
        let on_beat = case
            .lead
            .is_some_and(|l| l.strong && l.duration() >= l.beat);
        let foreign = chord.is_some_and(|c| !is_chord_note(c, PitchClass::new(lead)));
        let takes = case.frames.first().is_some_and(|f| f.may_sound(lead));
        let suspended = chord.is_some_and(|c| c.family() == Family::DominantSuspended);
        let approaches = case.lead.is_some_and(|l| l.approaches());
        let on_beat = on_beat && !(foreign && passes_on_weak_beat(case));
        let keeps = suspended || on_beat && takes;
        let ends = foreign && takes && !approaches;
        let class = PitchClass::new(lead);
        let root = chord.map(|c| c.root.class());
        let frame = case.frames.first();
        let eleventh = root.is_some_and(|r| class.above(r) == 5);
        let colours = (0..12).map(PitchClass::new).filter(|c| {
            let colour = frame.map(|f| f.colour(*c));
            matches!(colour, Some(Colour::Available | Colour::Conditional))
                && !frame.is_some_and(|f| f.sevenths().contains(c))
        });
        let minor = case.coming.iter().filter(|c| {
            matches!(
                c.family(),
                Family::MinorTriad | Family::MinorSixth | Family::MinorMajor | Family::MinorSeventh
            )
        });
        Self {
            held: case.lead.is_some_and(|l| l.duration() > l.beat),
            passes: !on_beat && !suspended && foreign && approaches,
            against_passing: i32::from(keeps) * 10 + i32::from(ends) * 6,
            named: named.collect(),
            root,
            third: frame.and_then(Frame::third).filter(|_| !eleventh),
            lead: class,
            unasked: colours.collect(),
            minor_to_come: minor.map(|c| c.root.class()).collect(),
        }
    }

    fn cost(&self, harmony: &Harmonisation<'_>, voicing: &[i16]) -> i32 {
        let classes = harmony.classes();
        let holds = |up: i16| self.root.is_some_and(|r| classes.contains(&r.plus(up)));
        let tension = harmony.way == Way::Tension;
        // A second under a held lead is legal and unloved.
        let crowded = self.held && matches!(voicing, [a, b, ..] if a - b == 2);
        // A short note that leads on takes a passing chord rather than a tension.
        let idle = self.passes && tension;
        let against = if harmony.way > Way::Tension {
            self.against_passing
        } else {
            0
        };
        // Nobody asked for a tension in an inner voice, and least of all for one in place of the third.
        let inner = |c: &&PitchClass| **c != self.lead && self.unasked.contains(*c);
        let unasked = if tension {
            classes.iter().filter(inner).count() as i32
        } else {
            0
        };
        let hollow = tension && self.third.is_some_and(|t| !classes.contains(&t));
        // A b9 over its root is accepted, and not what one writes where the fifth can stand for it.
        let rub = tension && holds(0) && holds(1);
        // A tension the symbol names is asked for.
        let unheard = self.named.iter().filter(|t| !classes.contains(t));
        let unheard = if harmony.way <= Way::Tension {
            unheard.count() as i32
        } else {
            0
        };
        let dressed = self.dressed(harmony);
        i32::from(crowded) * 4
            + i32::from(idle) * 6
            + against
            + unasked * 2
            + i32::from(hollow) * 8
            + i32::from(rub) * 10
            + unheard * 5
            + dressed * 3
    }

    /// An approach chord is plain before it is dressed with a tension; into minor it has b9 for its root.
    fn dressed(&self, harmony: &Harmonisation<'_>) -> i32 {
        let changes = i32::from(harmony.changes);
        match harmony.label {
            _ if harmony.way != Way::Dominant => 0,
            Label::Seventh(on) if self.minor_to_come.contains(&on.class().plus(5)) => {
                let classes = harmony.classes();
                let flat_nine = classes.contains(&on.class().plus(1));
                if flat_nine && !classes.contains(&on.class()) {
                    0
                } else {
                    changes + 1
                }
            }
            _ => changes,
        }
    }
}

/// Whether the lead goes by step from one note of a chord to another over a beat that is not the bar's first or
/// middle one: there it passes, though it lasts the beat. Common practice, no source.
fn passes_on_weak_beat(case: &Case<'_>) -> bool {
    let Some(line) = case.lead.filter(|l| l.duration() <= l.beat) else {
        return false;
    };
    let place = case.score.place_of(line.onset);
    let Some(bar) = case.score.bars.get(place.bar as usize) else {
        return false;
    };
    let in_beats = |t: Ticks| t.0 / line.beat.0.max(1);
    let beat = in_beats(bar.missing + place.offset);
    let beats = in_beats(bar.missing + bar.length);
    let weak = if beats % 2 == 0 {
        beat % 2 == 1
    } else {
        beat > 0
    };
    let comes = line
        .previous
        .is_some_and(|p| (1..=2).contains(&(p - line.midi).abs()));
    let same_chord = case.score.chord_change(line.end).is_none();
    weak && same_chord && comes && line.approaches() && line.previous_stable && line.next_stable
}

/// A diminished seventh is called by a name without double accidentals.
fn plain(label: Label<'_>, key: i8) -> Label<'_> {
    match label {
        Label::Diminished(on) if on.alter.abs() > 1 => {
            Label::Diminished(Pitch::in_key(60 + on.class().above(PitchClass::new(0)), key).name())
        }
        other => other,
    }
}
