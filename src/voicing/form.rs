//! The forms of the trade that no transform of close position makes: spread, fourths, clusters,
//! triads over a bass note, upper structures, five-note soli, guide-tone writing in three and two
//! parts, unison and octaves.
//!
//! One predicate decides for both directions: what is written is right when it [`Form::fits`], and
//! [`Form::voicings`] are all voicings under a lead that fit, the best first.
//!
//! Published: textbook on jazz voicings (five-note soli, spreads, fourths), jazz arranging texts
//! (spreads), open music theory textbook (three and five parts), piano textbook excerpt (upper
//! structures); clusters: from memory; triads over a bass note: common practice, no source.

use super::colour::{Colour, Frame};
use super::search::Search;
use super::{Classes, Mechanical, Voicing, classes_of, close_position, minor_ninths};
use crate::ground::chord::Family;
use crate::ground::pitch::PitchClass;
use crate::voicing::harmonise;
use std::fmt;
use std::ops::RangeInclusive;

/// The lowest root of a spread: nothing but the root or its octave below it is distinguished.
const LOWEST: i16 = 28;
/// A spread's root lies no higher: G3 of four voices, Eb3 of five.
pub(super) const fn spread_root(voices: usize) -> i16 {
    if voices == 4 { 55 } else { 51 }
}

/// A technique known by what it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Form {
    /// Five different notes: close or drop 2 and a tension where the lead would be doubled.
    FiveNoteSoli,
    /// The tritone of a dominant and a triad of tensions over it.
    UpperStructure,
    /// Stacked fourths under the lead.
    Fourths,
    /// Stacked seconds under the lead.
    Cluster,
    /// Root at the bottom, the guide tones above it, the lead on top.
    Spread,
    /// A triad over a bass note.
    TriadOverBass,
    /// The lead over the two guide tones.
    ThreePart,
    /// The lead over one guide tone, or in thirds or sixths.
    TwoPart,
    /// All the same pitch.
    Unison,
    /// The same note in two or more octaves.
    Octaves,
}

/// Upper-structure triads: degree of the root over the dominant's in semitones, and whether it is
/// minor. Computed from the definition: they hold neither 11 nor 7.
const UPPER: [(i16, bool); 8] = [
    (2, false),
    (8, false),
    (9, false),
    (6, false),
    (3, false),
    (3, true),
    (6, true),
    (1, true),
];

fn gaps(voicing: &[i16]) -> impl Iterator<Item = i16> + Clone + '_ {
    voicing.windows(2).map(|w| match w {
        [a, b] => a - b,
        _ => 0,
    })
}

fn classes(voicing: &[i16]) -> Classes {
    voicing.iter().map(|&m| PitchClass::new(m)).collect()
}

fn distinct(voicing: &[i16]) -> bool {
    classes_of(voicing).len() == voicing.len()
}

/// Three different classes as a triad: its root and whether it is minor.
fn triad(notes: &[PitchClass]) -> Option<(PitchClass, bool)> {
    notes.iter().copied().find_map(|root| {
        let mut above: Voicing = notes.iter().map(|n| n.above(root)).collect();
        above.sort_unstable();
        above.dedup();
        match above.as_slice() {
            [0, 4, 7] => Some((root, false)),
            [0, 3, 7] => Some((root, true)),
            _ => None,
        }
    })
}

impl Form {
    /// Every form; where a voicing fits several, the first names it.
    pub const ALL: [Self; 10] = [
        Self::Unison,
        Self::Octaves,
        Self::UpperStructure,
        Self::FiveNoteSoli,
        Self::Fourths,
        Self::Cluster,
        Self::TriadOverBass,
        Self::Spread,
        Self::ThreePart,
        Self::TwoPart,
    ];

    /// The trade's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FiveNoteSoli => "five-note soli",
            Self::UpperStructure => "upper structure",
            Self::Fourths => "fourths",
            Self::Cluster => "cluster",
            Self::Spread => "spread",
            Self::TriadOverBass => "triad over bass",
            Self::ThreePart => "three-part",
            Self::TwoPart => "two-part",
            Self::Unison => "unison",
            Self::Octaves => "octaves",
        }
    }

    /// Reads a form as people write it.
    pub fn named(text: &str) -> Option<Self> {
        let lower = text.to_lowercase();
        let words: Vec<&str> = lower
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|w| !matches!(*w, "" | "voicing" | "voicings" | "in" | "a" | "the"))
            .collect();
        Some(match words.join(" ").as_str() {
            "five note soli" | "5 note soli" | "five note" | "five part soli" => Self::FiveNoteSoli,
            "upper structure"
            | "upper structures"
            | "upper structure triad"
            | "upper structure triads" => Self::UpperStructure,
            "fourths" | "4ths" | "quartal" => Self::Fourths,
            "cluster" | "clusters" => Self::Cluster,
            "spread" | "spreads" | "open spread" => Self::Spread,
            "triad over bass"
            | "triads over bass"
            | "triad over bass note"
            | "slash chord"
            | "slash chords" => Self::TriadOverBass,
            "three part" | "3 part" | "shell" | "shells" | "guide tones" | "three way" => {
                Self::ThreePart
            }
            "two part" | "2 part" => Self::TwoPart,
            "unison" | "unis" => Self::Unison,
            "octaves" | "8ves" | "octave" => Self::Octaves,
            _ => return None,
        })
    }

    /// How many voices it may have.
    pub const fn voices(self) -> RangeInclusive<usize> {
        match self {
            Self::FiveNoteSoli | Self::UpperStructure => 5..=5,
            Self::Fourths => 3..=5,
            Self::Cluster | Self::Spread | Self::TriadOverBass => 4..=5,
            Self::ThreePart => 3..=3,
            Self::TwoPart => 2..=2,
            Self::Unison | Self::Octaves => 2..=16,
        }
    }

    /// What it is made of, in words.
    pub const fn recipe(self) -> &'static str {
        match self {
            Self::FiveNoteSoli => {
                "five different notes sound: close position or drop 2, and a tension where the lead would be doubled"
            }
            Self::UpperStructure => {
                "a triad of tensions stands over the third and seventh of the dominant, at most a fourth above them"
            }
            Self::Fourths => {
                "fourths of the chord's scale are stacked under the lead, no two thirds in a row and nothing doubled; a dominant keeps its third and seventh"
            }
            Self::Cluster => {
                "notes of the chord's scale stand in seconds under the lead, the top gap a third or more, at most one half step"
            }
            Self::Spread => {
                "the root is at the bottom, a fifth or more below the rest, the third and seventh sound above it, and the lead is on top"
            }
            Self::TriadOverBass => {
                "a major or minor triad of chord notes or tensions stands over the bass note"
            }
            Self::ThreePart => {
                "the third and seventh stand under the lead; where the lead is one of them, the fifth takes its place"
            }
            Self::TwoPart => {
                "a guide tone, or a chord note a third or a sixth below, stands under the lead"
            }
            Self::Unison => "every part plays the same pitch",
            Self::Octaves => "every part plays the same note, some an octave away",
        }
    }

    /// Whether only the shape tells it, no chord symbol needed.
    pub const fn is_doubling(self) -> bool {
        matches!(self, Self::Unison | Self::Octaves)
    }

    /// Whether a voicing (from the top, sounding) is in this form over a chord. Without a chord only
    /// the shape is asked.
    pub fn fits(self, voicing: &[i16], frame: Option<&Frame<'_>>) -> bool {
        let (Some(&top), Some(&bottom)) = (voicing.first(), voicing.last()) else {
            return false;
        };
        if !self.voices().contains(&voicing.len()) {
            return false;
        }
        let span = top - bottom;
        match self {
            Self::Unison => return span == 0,
            Self::Octaves => {
                return span > 0 && gaps(voicing).all(|g| g % 12 == 0);
            }
            _ => {}
        }
        if gaps(voicing).any(|g| g <= 0)
            || frame.is_some_and(|f| !voicing.iter().all(|&m| f.may_sound(m)))
            || has_rub(voicing, frame)
        {
            return false;
        }
        match (self, frame) {
            (Self::Fourths, _) => is_fourths(voicing, frame),
            (Self::Cluster, _) => is_cluster(voicing),
            (_, None) | (Self::Unison | Self::Octaves, _) => false,
            (Self::FiveNoteSoli, Some(f)) => is_five_note(voicing, f),
            (Self::UpperStructure, Some(f)) => is_upper_structure(voicing, f),
            (Self::Spread, Some(f)) => is_spread(voicing, f),
            (Self::TriadOverBass, Some(f)) => is_triad_over_bass(voicing, f),
            (Self::ThreePart, Some(f)) => is_three_part(voicing, f),
            (Self::TwoPart, Some(f)) => is_two_part(voicing, f),
        }
    }

    /// The form a voicing is in over a chord; the mechanical techniques come first and are not
    /// asked here.
    pub fn of(voicing: &[i16], frame: Option<&Frame<'_>>) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.fits(voicing, frame))
    }

    /// Every voicing in this form under a lead, at or above `lowest`, with what it costs against the
    /// best (in semitones of awkwardness). In order of cost.
    pub fn voicings(
        self,
        lead: i16,
        voices: usize,
        frame: &Frame<'_>,
        lowest: i16,
    ) -> Vec<(i32, Voicing)> {
        if !self.voices().contains(&voices) {
            return Vec::new();
        }
        if self.is_doubling() {
            return doublings(self, lead, voices, lowest);
        }
        if !frame.may_sound(lead) {
            return Vec::new();
        }
        let mut found = Search::new(self, frame, voices, lowest.max(LOWEST)).under(lead);
        found.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        found
    }

    /// The gaps under a voice that this form may have, from the top (`index` of the upper voice).
    pub(super) const fn gap_range(self, index: usize, voices: usize) -> RangeInclusive<i16> {
        let last = index + 2 == voices;
        match self {
            Self::Fourths => 3..=6,
            Self::Cluster if index == 0 => 3..=5,
            Self::Cluster => 1..=3,
            Self::UpperStructure => 1..=6,
            Self::Spread if last && voices == 4 => 7..=19,
            Self::Spread if last => 7..=16,
            Self::TriadOverBass if last => 3..=24,
            Self::TwoPart => 3..=16,
            _ => 1..=12,
        }
    }

    /// What is less usual about a voicing that fits.
    pub(super) fn cost(self, voicing: &[i16], frame: &Frame<'_>) -> i32 {
        // In a spread stands no tension that nobody asked for.
        let tension = if self == Self::Spread { 8 } else { 1 };
        let colours: i32 = voicing
            .iter()
            .skip(1)
            .map(|&m| {
                let class = PitchClass::new(m);
                let up = class.above(frame.chord.root.class());
                match frame.colour(class) {
                    Colour::Member => 0,
                    // An altered tension wants the symbol to ask for it.
                    Colour::Available if frame.is_dominant() && matches!(up, 1 | 3 | 6 | 8) => 5,
                    // The sixth that stands for a seventh is no tension.
                    Colour::Available if self.stands_for_seventh(voicing, class, frame) => {
                        if self == Self::Spread { 3 } else { 1 }
                    }
                    Colour::Available => tension,
                    _ => 3 + tension,
                }
            })
            .sum();
        let count = |wanted: fn(i16) -> bool| gaps(voicing).filter(|&g| wanted(g)).count() as i32;
        let shape = match self {
            // A third stands best on top of the fourths.
            Self::Fourths => {
                let third = gaps(voicing).position(|g| matches!(g, 3 | 4));
                count(|g| g != 5) * 5 + i32::from(third.is_some_and(|at| at > 0)) * 2
            }
            // The lead stands a third over the rest, in which there is a half step.
            Self::Cluster => {
                let apart = gaps(voicing).next().unwrap_or(0) > 4;
                let bites = gaps(voicing).any(|g| g == 1);
                count(|g| g == 3) * 2 + i32::from(apart) * 2 + i32::from(!bites)
            }
            Self::FiveNoteSoli => {
                // The substitution stands where the doubled lead would.
                let lead = voicing.first().copied().unwrap_or(0);
                let near = voicing
                    .iter()
                    .map(|m| i32::from((m - (lead - 12)).abs()))
                    .min()
                    .unwrap_or(12);
                // Doubling the lead after all is what this form is there to avoid.
                near * 2 + if distinct(voicing) { 0 } else { 9 } + bottom(voicing, frame)
            }
            Self::Spread => {
                let root = voicing.last().copied().unwrap_or(0);
                let doubled = i32::from(!distinct(voicing)) * 2;
                let widest = gaps(voicing).max().unwrap_or(0);
                i32::from((root - 45).abs()) / 3
                    + i32::from(widest > 12)
                    + i32::from(widest > 16) * 2
                    + doubled
                    + uneven(voicing)
                    + without_fifth(voicing, frame) * 4
                    + unheard(voicing, frame) * 4
            }
            Self::TwoPart => two_part_shape(voicing, frame),
            Self::ThreePart => {
                let span =
                    voicing.first().copied().unwrap_or(0) - voicing.last().copied().unwrap_or(0);
                let guide = voicing.iter().skip(1).filter(|m| {
                    let class = PitchClass::new(**m);
                    frame.third() == Some(class) || frame.sevenths().contains(&class)
                });
                let doubled = i32::from(!distinct(voicing)) * 4;
                (i32::from(span) - 9).abs() / 2 - guide.count() as i32 * 2
                    + doubled
                    + unheard(voicing, frame) * 4
            }
            // A triad that holds the third or the seventh brings nothing new.
            Self::UpperStructure => i32::from(!distinct(voicing)) * 3,
            _ => i32::from(gaps(voicing).max().unwrap_or(0) > 9) * 2,
        };
        colours + shape
    }
}

impl Form {
    /// Whether a note is the sixth or the seventh of its chord and the other does not sound. Beside the other it is
    /// a tension, which a spread is written without.
    fn stands_for_seventh(self, voicing: &[i16], class: PitchClass, frame: &Frame<'_>) -> bool {
        let sevenths = frame.sevenths();
        let other = |m: &&i16| {
            let c = PitchClass::new(**m);
            c != class && sevenths.contains(&c)
        };
        sevenths.contains(&class)
            && (self != Self::Spread || voicing.iter().filter(other).count() == 0)
    }
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What is unloved about the bottom of a five-note soli: a tension there, or a second over it.
fn bottom(voicing: &[i16], frame: &Frame<'_>) -> i32 {
    let [.., above, bottom] = voicing else {
        return 0;
    };
    let tension = frame.colour(PitchClass::new(*bottom)) != Colour::Member;
    i32::from(tension) * 8 + i32::from(above - bottom <= 2) * 5
}

/// Holes and half steps between the voices of a spread over its root.
fn uneven(voicing: &[i16]) -> i32 {
    let upper = gaps(voicing).take(voicing.len() - 2);
    let each = upper.map(|g| match g {
        1 => 3,
        8 | 9 => 1,
        10 | 11 => 2,
        12.. => 4,
        _ => 0,
    });
    each.sum()
}

/// A triad is written with its fifth.
fn without_fifth(voicing: &[i16], frame: &Frame<'_>) -> i32 {
    let fifth = frame.fifth().filter(|_| frame.sevenths().is_empty());
    i32::from(fifth.is_some_and(|f| !classes(voicing).contains(&f)))
}

/// How many of the notes that a symbol is written for do not sound: its tensions and its altered fifth.
fn unheard(voicing: &[i16], frame: &Frame<'_>) -> i32 {
    let sounding = classes(voicing);
    let named = named(frame).filter(|c| !sounding.contains(c));
    named.count() as i32
}

/// The tensions and the altered fifth that a symbol names.
fn named<'f>(frame: &'f Frame<'_>) -> impl Iterator<Item = PitchClass> + 'f {
    let root = frame.chord.root.class();
    let degrees = frame.chord.degrees.iter();
    degrees
        .filter(|d| matches!(d.number, 9 | 11 | 13) || d.number == 5 && d.semitones() != 7)
        .map(move |d| root.plus(d.semitones()))
}

/// What is unloved about two voices: bare octaves, fourths and fifths, wide gaps, and a lower voice that is no
/// guide tone. Thirds, sixths and tenths sound best.
fn two_part_shape(voicing: &[i16], frame: &Frame<'_>) -> i32 {
    let [lead, below] = voicing else {
        return 0;
    };
    let class = PitchClass::new(*below);
    let guide = frame.third() == Some(class) || frame.sevenths().contains(&class);
    let interval = match lead - below {
        3 | 4 | 8 | 9 => 0,
        6 | 10 | 15 | 16 => 1,
        5 => 2,
        7 | 11 => 3,
        12 => 12,
        _ => 5,
    };
    // The seventh is what makes a dominant.
    let missed = if frame.is_dominant() { 6 } else { 5 };
    interval + if guide { 0 } else { missed }
}

/// A half step under the lead, or a minor ninth that is not a b9 over the root of a dominant.
fn has_rub(voicing: &[i16], frame: Option<&Frame<'_>>) -> bool {
    if let [first, second, ..] = voicing
        && first - second == 1
    {
        return true;
    }
    minor_ninths(voicing).any(|(_, lower)| {
        let on_root = frame.is_some_and(|f| {
            f.is_dominant()
                && voicing
                    .get(lower)
                    .is_some_and(|&m| PitchClass::new(m) == f.chord.root.class())
        });
        !on_root
    })
}

/// Whether every guide tone the chord has sounds: third and seventh (or sixth).
fn holds_guide_tones(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let sounding = classes(voicing);
    let sevenths = frame.sevenths();
    frame.third().is_none_or(|t| sounding.contains(&t))
        && (sevenths.is_empty() || sevenths.iter().any(|s| sounding.contains(s)))
}

fn is_fourths(voicing: &[i16], frame: Option<&Frame<'_>>) -> bool {
    let fourth = |g: i16| matches!(g, 5 | 6);
    let third = |g: i16| matches!(g, 3 | 4);
    let list: Voicing = gaps(voicing).collect();
    let perfect = list.iter().filter(|&&g| g == 5).count();
    list.iter().all(|&g| fourth(g) || third(g))
        && !list.windows(2).any(|w| w.iter().all(|&g| third(g)))
        && perfect * 2 >= list.len()
        && list.iter().filter(|&&g| third(g)).count() <= usize::from(list.len() > 2)
        && distinct(voicing)
        && frame.is_none_or(|f| {
            f.chord.family() != Family::Dominant && f.chord.family() != Family::Altered
                || holds_guide_tones(voicing, f)
        })
}

fn is_cluster(voicing: &[i16]) -> bool {
    let list: Voicing = gaps(voicing).collect();
    let Some((&first, rest)) = list.split_first() else {
        return false;
    };
    let seconds = rest.iter().filter(|&&g| g <= 2).count();
    let half_steps = rest.iter().filter(|&&g| g == 1).count();
    (3..=5).contains(&first)
        && rest.iter().all(|&g| g <= 3)
        && seconds * 2 > rest.len()
        && half_steps <= 1
        && list.iter().sum::<i16>() <= 10
        && distinct(voicing)
}

fn is_five_note(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let Some(&lead) = voicing.first() else {
        return false;
    };
    let span = lead - voicing.last().copied().unwrap_or(lead);
    // The substitution may lie a step above the place of the doubling.
    if !(10..=17).contains(&span) {
        return false;
    }
    // Take one note away: what is left is close or drop 2 over the chord.
    (1..voicing.len()).any(|i| {
        let Some(&extra) = voicing.get(i) else {
            return false;
        };
        let mut four = Voicing::from_slice(voicing);
        four.remove(i);
        let set = classes(&four);
        if set.contains(&PitchClass::new(extra)) && extra != lead - 12 {
            return false;
        }
        let of_chord = harmonise::on_chord(frame.chord, PitchClass::new(lead), true)
            .into_iter()
            .any(|h| h.is_of(&set));
        of_chord
            && close_position(lead, &set).is_some_and(|close| {
                [Mechanical::FourWayClose, Mechanical::Drop2]
                    .into_iter()
                    .any(|m| m.apply(&close) == four)
            })
    })
}

fn is_upper_structure(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let ([top, middle, low, guides @ ..], root) = (voicing, frame.chord.root.class()) else {
        return false;
    };
    let (Some((on, minor)), [upper, lower]) = (triad(&classes(&[*top, *middle, *low])), guides)
    else {
        return false;
    };
    let mut tritone = [
        PitchClass::new(*upper).above(root),
        PitchClass::new(*lower).above(root),
    ];
    tritone.sort_unstable();
    matches!(frame.chord.family(), Family::Dominant | Family::Altered)
        && tritone == [4, 10]
        && UPPER.contains(&(on.above(root), minor))
        && top - low < 12
        && upper - lower == 6
        && low - upper <= 5
}

fn is_spread(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let (Some(&top), Some(&bottom)) = (voicing.first(), voicing.last()) else {
        return false;
    };
    let second = voicing
        .len()
        .checked_sub(2)
        .and_then(|i| voicing.get(i))
        .copied()
        .unwrap_or(top);
    let over_root = PitchClass::new(second).above(PitchClass::new(bottom));
    PitchClass::new(bottom) == frame.bass()
        && bottom <= spread_root(voicing.len())
        && top - bottom >= if voicing.len() == 4 { 15 } else { 19 }
        && second - bottom >= 7
        && (3..=11).contains(&over_root)
        && holds_guide_tones(voicing, frame)
        // The lead may be the root too, or of five voices be doubled by an inner one; nothing else is doubled
        // where the chord has a seventh.
        && (frame.sevenths().is_empty()
            || distinct(voicing.get(1..).unwrap_or_default())
                && (voicing.len() == 5
                    || distinct(voicing.get(..voicing.len() - 1).unwrap_or_default())))
}

fn is_triad_over_bass(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let Some((&bottom, upper)) = voicing.split_last() else {
        return false;
    };
    let set = classes(upper);
    let bass = PitchClass::new(bottom);
    let span = upper.first().copied().unwrap_or(0) - upper.last().copied().unwrap_or(0);
    let doubled_is_octave = upper.len() == 3 || span == 12;
    triad(&set).is_some()
        && doubled_is_octave
        && span <= 12
        && bass == frame.bass()
        && !set.contains(&bass)
        && upper.last().is_some_and(|&m| m - bottom >= 3)
}

fn is_three_part(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let [lead, b, c] = voicing else {
        return false;
    };
    if lead - c > 16 {
        return false;
    }
    let Some(third) = frame.third() else {
        return false;
    };
    let sevenths = frame.sevenths();
    let top = PitchClass::new(*lead);
    let pair = classes(&[*b, *c]);
    // Where the lead takes a guide tone's place, the fifth or the tension in its place fills the chord.
    let root = frame.chord.root.class();
    let fives: Classes = frame
        .fifth()
        .into_iter()
        .chain(
            [6, 8, 9]
                .map(|up| root.plus(up))
                .into_iter()
                .filter(|c| frame.chord.contains(*c) || frame.chord.family() == Family::Altered),
        )
        .chain([root])
        .chain(named(frame))
        .collect();
    let eleventh = root.plus(5);
    // So does an 11 that the symbol names.
    let named = frame.chord.contains(eleventh);
    let seven = |s: &PitchClass| pair.contains(s);
    if sevenths.is_empty() {
        // A triad: its other two notes.
        return distinct(voicing)
            && voicing
                .iter()
                .all(|&m| frame.chord.contains(PitchClass::new(m)));
    }
    let holds = |one: PitchClass, others: &[PitchClass]| {
        pair.contains(&one) && others.iter().any(|o| *o != one && pair.contains(o))
    };
    let fills = pair.iter().any(|c| fives.contains(c));
    if top == third {
        sevenths.iter().any(seven) && fills
    } else if sevenths.contains(&top) {
        // Under the sixth the major seventh is another.
        holds(third, &fives) || holds(third, &sevenths) || named && holds(eleventh, &fives)
    } else {
        // 11 in the lead takes the place of the third.
        let sus = top == eleventh && frame.colour(top).may_sound();
        // Over its root a half-diminished chord is known by its fifth.
        let half_diminished = frame.chord.family() == Family::HalfDiminished;
        let fifth = frame.fifth().filter(|_| top == root && half_diminished);
        holds(third, &sevenths)
            || fifth.is_some_and(|f| holds(third, &[f]))
            || sus && sevenths.iter().any(seven) && fills
            || named && holds(eleventh, &sevenths)
    }
}

fn is_two_part(voicing: &[i16], frame: &Frame<'_>) -> bool {
    let [lead, below] = voicing else {
        return false;
    };
    let class = PitchClass::new(*below);
    let guide = frame.third() == Some(class) || frame.sevenths().contains(&class);
    let parallel = matches!(lead - below, 3 | 4 | 8 | 9);
    (3..=16).contains(&(lead - below))
        && (guide || parallel && frame.colour(class) == Colour::Member)
}

fn doublings(form: Form, lead: i16, voices: usize, lowest: i16) -> Vec<(i32, Voicing)> {
    let split = |high: usize, down: i16| -> Voicing {
        (0..voices)
            .map(|i| if i < high { lead } else { lead - down })
            .collect()
    };
    let all = match form {
        Form::Unison => vec![split(voices, 0)],
        _ => (1..voices)
            .rev()
            .map(|high| split(high, 12))
            .collect::<Vec<_>>(),
    };
    let half = voices.div_ceil(2) as i32;
    let mut all: Vec<(i32, Voicing)> = all
        .into_iter()
        .filter(|v| v.last().is_some_and(|&m| m >= lowest))
        .map(|v| {
            let high = v.iter().filter(|&&m| m == lead).count() as i32;
            ((high - half).abs(), v)
        })
        .collect();
    all.sort();
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::{Chord, Leads, parse};
    use crate::ground::pitch::Pitch;

    fn midi(pitches: &str) -> Vec<i16> {
        pitches
            .split_whitespace()
            .map(|p| p.parse::<Pitch>().unwrap().midi())
            .collect()
    }

    fn frame(chord: &Chord) -> Frame<'_> {
        Frame {
            chord,
            leads: Leads::ToMajor,
        }
    }

    #[test]
    fn the_worked_examples_are_recognised() {
        // Computed from the definitions of each form.
        for (symbol, pitches, form) in [
            ("G13", "A4 E4 B3 F3 G2", Form::Spread),
            ("Dm9", "E4 C4 F3 D2", Form::Spread),
            ("C7", "E4 Bb3 G3 C3", Form::Spread),
            ("Gm11", "G4 F4 C4", Form::ThreePart),
            ("C6/9", "G5 D5 A4 E4 B3", Form::Fourths),
            ("Dm11", "A4 F4 C4 G3 D3", Form::Fourths),
            ("C13#11", "A4 F#4 D4 Bb3 E3", Form::UpperStructure),
            ("G13b9", "E5 B4 G#4 F4 B3", Form::UpperStructure),
            ("Fmaj7#11", "E5 C5 B4 A4", Form::Cluster),
            ("Dm7", "A4 F4 C4", Form::ThreePart),
            ("G9", "A4 F4 B3", Form::ThreePart),
            ("Cmaj7", "G4 E4 B3", Form::ThreePart),
            ("C9sus", "F5 D5 Bb4 C4", Form::TriadOverBass),
            ("C6", "C5 C5 C5", Form::Unison),
            ("C6", "C5 C5 C4", Form::Octaves),
        ] {
            let chord = parse(symbol).unwrap().unwrap();
            assert_eq!(
                Form::of(&midi(pitches), Some(&frame(&chord))),
                Some(form),
                "{symbol} {pitches}"
            );
        }
    }

    #[test]
    fn what_is_made_fits_and_most_of_it_can_be_made() {
        for (symbol, lead) in [
            ("Dm9", 69),
            ("G13", 76),
            ("Cmaj7", 71),
            ("F6", 69),
            ("Bb7", 74),
        ] {
            let chord = parse(symbol).unwrap().unwrap();
            let frame = frame(&chord);
            for form in Form::ALL {
                for voices in form.voices().take_while(|&n| n <= 5) {
                    let all = form.voicings(lead, voices, &frame, 36);
                    for (_, v) in &all {
                        assert!(form.fits(v, Some(&frame)), "{form} {symbol} {v:?}");
                        assert_eq!(v.first(), Some(&lead));
                    }
                    let dominant = frame.is_dominant();
                    let hopeless = form == Form::UpperStructure && (!dominant || symbol == "Bb7")
                        || form == Form::TriadOverBass && symbol != "Dm9"
                        || form == Form::Cluster
                        || form == Form::Fourths;
                    assert!(
                        !all.is_empty() || hopeless,
                        "{form} {voices} {symbol} {lead}"
                    );
                }
            }
        }
    }

    #[test]
    fn two_forms_at_once() {
        let chord = parse("Bbmaj9").unwrap().unwrap();
        let frame = frame(&chord);
        let voicing = midi("G4 D4 A3");
        assert!(Form::Fourths.fits(&voicing, Some(&frame)));
        assert!(Form::ThreePart.fits(&voicing, Some(&frame)));
    }

    #[test]
    fn slips_do_not_fit() {
        // A missing guide tone, a third too many, a doubled note, a rub, a wrong colour.
        for (symbol, pitches) in [
            ("G13", "A4 E4 D4 F3 G2"),
            ("C6/9", "G5 D5 C5 G4 E4"),
            ("Dm11", "A4 F4 C4 Bb3 D3"),
            ("C13#11", "A4 F#4 D4 Bb3 Eb3"),
            ("Fmaj7#11", "E5 D#5 C5 B4"),
            ("Dm7", "A4 F#4 C4"),
        ] {
            let chord = parse(symbol).unwrap().unwrap();
            let frame = frame(&chord);
            let v = midi(pitches);
            let found: Vec<Form> = Form::ALL
                .into_iter()
                .filter(|f| f.fits(&v, Some(&frame)))
                .collect();
            assert_eq!(found, [], "{symbol} {pitches}");
        }
    }
}
