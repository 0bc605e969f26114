//! Which four notes may stand under a lead note: the chord's own, with tensions in place of their
//! categories, or a passing chord.

use super::categories::Categories;
use crate::ground::chord::{Chord, Degree, Family};
use crate::ground::pitch::{NoteName, PitchClass};
use smallvec::SmallVec;
use std::{fmt, iter};

/// How a lead note is harmonised, in the order the trade prefers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Way {
    /// The chord of the symbol, one note of each category.
    Chord,
    /// The chord with a tension in place of a category.
    Tension,
    /// The diminished seventh a half step below the root (it holds 2, 4, b6 and 7).
    PassingDiminished,
    /// Another diminished seventh on the lead: common-tone, or the second reading of a dominant.
    OtherDiminished,
    /// The dominant of the chord that follows.
    Dominant,
    /// Under a note between those of a dominant: the sixth chord, or the passing chord, of the chord it
    /// leads to.
    TargetTonic,
    /// Under a note of a dominant: the minor seventh a fifth above it.
    RelatedSecond,
}

impl Way {
    /// What it is, in a few words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Chord => "the chord",
            Self::Tension => "the chord with a tension",
            Self::PassingDiminished => "the diminished seventh that holds it",
            Self::OtherDiminished => "another diminished seventh on it",
            Self::Dominant => "an approach chord",
            Self::TargetTonic => "the chord that the dominant leads to",
            Self::RelatedSecond => "the related minor seventh",
        }
    }

    /// Whether a diminished seventh stands under the lead.
    pub const fn is_diminished(self) -> bool {
        matches!(self, Self::PassingDiminished | Self::OtherDiminished)
    }
}

/// What four notes are called: `C6`, `Bdim7`, `G7`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Label<'a> {
    /// As the symbol has it.
    Symbol(&'a str),
    /// A diminished seventh on this note.
    Diminished(NoteName),
    /// A dominant seventh on this note.
    Seventh(NoteName),
    /// A sixth chord on this note.
    Sixth(NoteName),
    /// A minor sixth chord on this note.
    MinorSixth(NoteName),
    /// A minor seventh on this note.
    MinorSeventh(NoteName),
    /// A half-diminished seventh on this note.
    HalfDiminished(NoteName),
    /// The next chord, moved by a step.
    Parallel,
}

impl fmt::Display for Label<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Symbol(text) => f.write_str(text),
            Self::Diminished(on) => write!(f, "{on}dim7"),
            Self::Seventh(on) => write!(f, "{on}7"),
            Self::Sixth(on) => write!(f, "{on}6"),
            Self::MinorSixth(on) => write!(f, "{on}m6"),
            Self::MinorSeventh(on) => write!(f, "{on}m7"),
            Self::HalfDiminished(on) => write!(f, "{on}m7b5"),
            Self::Parallel => f.write_str("the chord parallel to the next"),
        }
    }
}

/// Four notes for a lead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Harmonisation<'a> {
    /// How.
    pub way: Way,
    /// The note names, the lead's among them.
    pub names: [NoteName; 4],
    /// What the four are called.
    pub label: Label<'a>,
    /// How many categories hold something else than the symbol says.
    pub changes: u8,
}

impl Harmonisation<'_> {
    /// The pitch classes of the four notes.
    pub fn classes(&self) -> [PitchClass; 4] {
        self.names.map(NoteName::class)
    }

    /// Whether these are its pitch classes, in whatever order.
    pub fn is_of(&self, classes: &[PitchClass]) -> bool {
        let own = self.classes();
        classes.len() == own.len() && own.iter().all(|c| classes.contains(c))
    }

    /// The name this harmonisation gives a pitch class.
    pub fn name_of(&self, class: PitchClass) -> Option<NoteName> {
        self.names.iter().copied().find(|n| n.class() == class)
    }
}

const fn d(number: u8, alter: i8) -> Degree {
    Degree::new(number, alter)
}

/// Harmonisations of one lead note.
pub type Sets<'a> = SmallVec<[Harmonisation<'a>; 8]>;

/// All sets of four in which the chord itself stands under `lead`, plain members first.
/// `altered_inner` lets altered tensions (b9, #9, #11, b13) stand in inner voices although the
/// symbol does not name them.
pub fn on_chord(chord: &Chord, lead: PitchClass, altered_inner: bool) -> Sets<'_> {
    on_chord_of(chord, lead, altered_inner, |_| true)
}

/// The same, of pitch classes that `may_stand` only (the accepted minor ninth is given in any case).
pub fn on_chord_of(
    chord: &Chord,
    lead: PitchClass,
    altered_inner: bool,
    may_stand: impl Fn(PitchClass) -> bool,
) -> Sets<'_> {
    let Some(categories) = Categories::new(chord) else {
        return Sets::new();
    };
    let root = chord.root;
    let dominant = chord.family() == Family::Dominant;
    let up = lead.above(root.class());
    let mut sets = Sets::new();
    // Each choice with whether it changes what the category has of the chord itself.
    let [roots, thirds, fifths, sevenths] = categories.of.map(|choices| {
        let choices = choices
            .into_iter()
            .zip(iter::once(false).chain(iter::repeat(true)));
        choices
            .filter(|(choice, _)| may_stand(root.class().plus(choice.degree.semitones())))
            .collect::<SmallVec<[_; 8]>>()
    });
    for r in &roots {
        for t in &thirds {
            for f in &fifths {
                for s in &sevenths {
                    let four = [*r, *t, *f, *s].map(|(choice, _)| choice);
                    let Some(at) = four.iter().position(|c| c.degree.semitones() == up) else {
                        continue;
                    };
                    // An altered tension in the lead lets the other category be altered with it.
                    let lead_altered = four[at].lead_only;
                    if four.iter().enumerate().any(|(i, c)| {
                        c.lead_only && i != at && !altered_inner && !(lead_altered && dominant)
                    }) {
                        continue;
                    }
                    let mut semis = four.map(|c| c.degree.semitones());
                    semis.sort_unstable();
                    if semis.windows(2).any(|w| w[0] == w[1]) {
                        continue;
                    }
                    // A #9 that nobody asked for does not stand beside the third.
                    let beside = semis.contains(&3) && semis.contains(&4) && up != 3;
                    if beside && !chord.has(9, 1) && !chord.altered {
                        continue;
                    }
                    let changes = [r, t, f, s].map(|(_, changes)| u8::from(*changes));
                    let changes = changes.iter().sum();
                    sets.push(Harmonisation {
                        way: if changes == 0 {
                            Way::Chord
                        } else {
                            Way::Tension
                        },
                        names: four.map(|c| c.degree.over(root)),
                        label: Label::Symbol(&chord.text),
                        changes,
                    });
                }
            }
        }
    }
    // A b9 over its root, the fifth left out: the trade's one accepted minor ninth.
    let flat_nine = root.class().plus(1);
    if dominant && (chord.has(9, -1) || lead == flat_nine) {
        let names = [d(9, -1), d(3, 0), d(1, 0), d(7, -1)].map(|x| x.over(root));
        if names.iter().any(|n| n.class() == lead) {
            sets.push(Harmonisation {
                way: Way::Tension,
                names,
                label: Label::Symbol(&chord.text),
                changes: 2,
            });
        }
    }
    sets.sort_by_key(|h| h.changes);
    sets
}

/// The diminished seventh on a degree of `root`: spelled up from there in minor thirds.
fn diminished_on(root: NoteName) -> [NoteName; 4] {
    [d(1, 0), d(3, -1), d(5, -1), d(7, -2)].map(|x| x.over(root))
}

/// The passing diminished seventh of a chord on `root`: on its leading note, so 7 2 4 b6.
pub fn passing_diminished(root: NoteName) -> Harmonisation<'static> {
    Harmonisation {
        way: Way::PassingDiminished,
        names: [d(7, 0), d(9, 0), d(11, 0), d(13, -1)].map(|x| x.over(root)),
        label: Label::Diminished(d(7, 0).over(root)),
        changes: 0,
    }
}

/// The one diminished seventh that holds `lead`; `None` when it is the passing one of `root`.
pub fn other_diminished(root: NoteName, lead: NoteName) -> Option<Harmonisation<'static>> {
    let up = lead.class().above(root.class());
    if matches!(up, 2 | 5 | 8 | 11) {
        return None;
    }
    Some(Harmonisation {
        way: Way::OtherDiminished,
        names: diminished_on(lead),
        label: Label::Diminished(lead),
        changes: 0,
    })
}

/// The sixth chord that a dominant leads to, major or minor: the chord between whose notes it stands.
pub fn tonic_of(dominant: NoteName, minor: bool) -> Harmonisation<'static> {
    let root = d(4, 0).over(dominant);
    let third = if minor { -1 } else { 0 };
    Harmonisation {
        way: Way::TargetTonic,
        names: [d(1, 0), d(3, third), d(5, 0), d(6, 0)].map(|x| x.over(root)),
        label: if minor {
            Label::MinorSixth(root)
        } else {
            Label::Sixth(root)
        },
        changes: 0,
    }
}

/// The minor seventh a fifth above a dominant, half-diminished where it leads to minor.
pub fn related_second(dominant: NoteName, minor: bool) -> Harmonisation<'static> {
    let root = d(5, 0).over(dominant);
    let fifth = if minor { -1 } else { 0 };
    Harmonisation {
        way: Way::RelatedSecond,
        names: [d(1, 0), d(3, -1), d(5, fifth), d(7, -1)].map(|x| x.over(root)),
        label: if minor {
            Label::HalfDiminished(root)
        } else {
            Label::MinorSeventh(root)
        },
        changes: 0,
    }
}

/// The dominant seventh that leads to `target`, in every form that holds `lead`.
pub fn dominant_of(target: NoteName, lead: PitchClass) -> Sets<'static> {
    let root = d(5, 0).over(target);
    let chord = Chord {
        root,
        bass: None,
        degrees: vec![d(1, 0), d(3, 0), d(5, 0), d(7, -1)],
        altered: false,
        text: String::new(),
    };
    on_chord(&chord, lead, true)
        .into_iter()
        .map(|h| Harmonisation {
            way: Way::Dominant,
            names: h.names,
            label: Label::Seventh(root),
            changes: h.changes,
        })
        .collect()
}

/// Whether the chord lets `class` stand in the lead as one of its own notes or the tensions its
/// symbol names.
pub fn is_chord_note(chord: &Chord, class: PitchClass) -> bool {
    let up = class.above(chord.root.class());
    if chord.contains(class) {
        return true;
    }
    match chord.family() {
        // The sixth chord is what stands under a plain triad's lead.
        Family::MajorTriad
        | Family::MajorSeventh
        | Family::MinorMajor
        | Family::DiminishedTriad => up == 9,
        Family::MinorTriad => matches!(up, 9 | 10),
        Family::Altered => matches!(up, 1 | 3 | 6 | 8),
        Family::DominantSuspended => matches!(up, 0 | 5 | 7 | 10),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Step;

    fn chord(root: NoteName, degrees: &[(u8, i8)], text: &str) -> Chord {
        Chord {
            root,
            bass: None,
            degrees: degrees.iter().map(|&(n, a)| d(n, a)).collect(),
            altered: false,
            text: text.to_owned(),
        }
    }

    const C: NoteName = NoteName::new(Step::C, 0);

    #[test]
    fn the_passing_chord_and_the_chord_share_no_note() {
        // Computed, verified over all twelve roots: r + {2, 5, 8, 11} against each quality.
        let qualities: [&[(u8, i8)]; 7] = [
            &[(1, 0), (3, 0), (5, 0), (6, 0)],
            &[(1, 0), (3, -1), (5, 0), (6, 0)],
            &[(1, 0), (3, 0), (5, 0), (7, -1)],
            &[(1, 0), (3, 0), (5, -1), (7, -1)],
            &[(1, 0), (3, -1), (5, 0), (7, -1)],
            &[(1, 0), (3, -1), (5, -1), (7, -1)],
            &[(1, 0), (3, -1), (5, -1), (7, -2)],
        ];
        for position in -5..=6 {
            let root = NoteName::from_fifths(position);
            let passing = passing_diminished(root);
            let mut semis: Vec<i16> = passing
                .classes()
                .iter()
                .map(|c| c.above(root.class()))
                .collect();
            semis.sort_unstable();
            assert_eq!(semis, [2, 5, 8, 11]);
            for quality in qualities {
                let chord = chord(root, quality, "");
                assert!(passing.classes().iter().all(|c| !chord.contains(*c)));
            }
        }
    }

    #[test]
    fn plain_members_come_first() {
        let c6 = chord(C, &[(1, 0), (3, 0), (5, 0), (6, 0)], "C6");
        let sets = on_chord(&c6, PitchClass::new(4), false);
        assert_eq!(sets[0].way, Way::Chord);
        let names: Vec<String> = sets[0].names.iter().map(ToString::to_string).collect();
        assert_eq!(names, ["C", "E", "G", "A"]);
        assert!(
            sets.iter()
                .any(|h| h.classes().contains(&PitchClass::new(2)))
        );
    }

    #[test]
    fn altered_tensions_want_the_symbol_or_the_lead() {
        let g = NoteName::new(Step::G, 0);
        let g7 = chord(g, &[(1, 0), (3, 0), (5, 0), (7, -1)], "G7");
        let ab = PitchClass::new(8);
        let f = PitchClass::new(5);
        assert!(
            !on_chord(&g7, f, false)
                .iter()
                .any(|h| h.classes().contains(&ab))
        );
        assert!(
            on_chord(&g7, ab, false)
                .iter()
                .any(|h| h.way == Way::Tension)
        );
        let flat9 = chord(g, &[(1, 0), (3, 0), (5, 0), (7, -1), (9, -1)], "G7b9");
        assert!(
            on_chord(&flat9, f, false)
                .iter()
                .any(|h| h.classes().contains(&ab))
        );
    }
}
