//! `parallel-outer-voices`: top and bottom voice do not move in fifths or octaves. Published: open
//! music theory text (choir); in thickened lines parallels are the point, so the rule is off unless
//! a style asks for it.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::remedies::nearby;
use crate::rules::shared::wording;
use crate::score::Articulations;
use crate::score::NoteRef;
use crate::sonority::{Sonority, Voice};
use crate::voicing::Technique;

pub static RULE: Rule = Rule {
    name: "parallel-outer-voices",
    group: Group::Lines,
    asks: "The outer voices do not go from a fifth or octave to another in the same direction.",
    why: "The two voices that are heard best fuse into one for a moment, and the texture thins.",
    source: "published: open music theory text (choir); a jazz voicing course for thickened lines",
    level: Level::Warning,
    off: true,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "instruments",
        about: "1 to judge sections of instruments too, 0 only choirs",
        default: 0.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1  2  3  |
soprano | C5 D5 C5 |
alto    | G4 G4 G4 |
tenor   | E4 D4 E4 |
bass    | A3 B3 C4 |

count   | 1  2  3  |
soprano | D5 E5 D5 |
             ^^ parallel octaves
alto    | A4 G4 G4 |
tenor   | F4 C4 D4 |
bass    | D3 E3 B3 |
             ^^ parallel octaves
fix: bass: write E2 instead of E3 (an octave down)
",
        right: "\
system 2:
bass    | D3 C3 B3 |
",
    }],
    exceptions: &[
        Exception {
            says: "sections of instruments, unless the style asks for them",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 3/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

count      | 1   2   3  |
trombone 1 | F#4 E4  D4 |
trombone 2 | D4  C#4 D4 |
trombone 3 | A3  A3  A3 |
trombone 4 | D3  A2  G2 |
",
                but: "setting: parallel-outer-voices instruments = 1",
            },
        },
        Exception {
            says: "thickened lines: a doubled lead, octaves, unisons",
            silent: Silent::Passage {
                passage: "\
setting: parallel-outer-voices instruments = 1
key: F major
meter: 4/4
section: saxes
technique: doubled lead
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

count    | 1  &  2  &  |
alto 1   | A4 A4 C5 C5 |
alto 2   | F4 F4 A4 A4 |
tenor 1  | D4 D4 F4 F4 |
tenor 2  | C4 C4 D4 D4 |
baritone | A3 A3 C4 C4 |
",
                but: "technique: free",
            },
        },
        Exception {
            says: "outer voices that run in parallel for three chords or more: a doubling",
            silent: Silent::With(
                "\
system 2:
bass    | D3 E3 D3 |
",
            ),
        },
        Exception {
            says: "parallels over a rest",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1  2   3  & 4  |
soprano | B4 D5  C5 . B4 |
alto    | G4 A4  G4 . G4 |
tenor   | D4 D4  E4 . D4 |
bass    | G3 F#3 C3 . B2 |
",
                but: "\
soprano | B4 D5  C5 - B4 |
alto    | G4 A4  G4 - G4 |
tenor   | D4 D4  E4 - D4 |
bass    | G3 F#3 C3 - B2 |
",
            },
        },
        Exception {
            says: "parallels over a fermata",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1   2   3   4   |
soprano | G4  Bb4 Ab4 Bb4 |
alto    | Eb4 F4  Eb4 F4  |
tenor   | Bb3 Bb3 C4  D4  |
bass    | Eb3 D3  Ab2 Bb2 |
on the page:
soprano, bar 1, beat 3: fermata
",
                but: "\
not on the page:
soprano, bar 1, beat 3: fermata
",
            },
        },
        Exception {
            says: "parallels from one phrase to the next",
            silent: Silent::Passage {
                passage: "\
key: D minor
meter: 3/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1  2   3  || 1   2  |
soprano | F4 G4  A4 || G4  F4 |
alto    | D4 D4  E4 || D4  D4 |
tenor   | A3 Bb3 C4 || Bb3 A3 |
bass    | D3 G3  A2 || G2  D3 |
",
                but: "\
count   | 1  2   3  | 1   2  |
soprano | F4 G4  A4 | G4  F4 |
alto    | D4 D4  E4 | D4  D4 |
tenor   | A3 Bb3 C4 | Bb3 A3 |
bass    | D3 G3  A2 | G2  D3 |
",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let all = input.setting(&RULE, "instruments") > 0.0;
    for passage in input.passages {
        if passage.section.chordal || !all && !passage.section.is_choir() {
            continue;
        }
        let mut run: Vec<usize> = Vec::new();
        for index in 1..passage.sonorities.len() {
            if is_parallel(input, passage, index) {
                run.push(index);
                continue;
            }
            flush(input, passage, &mut run, out);
        }
        flush(input, passage, &mut run, out);
    }
}

/// Parallels twice in a row or more are a doubling.
fn flush(input: &RuleInput<'_>, passage: &Passage, run: &mut Vec<usize>, out: &mut Vec<Finding>) {
    if let [only] = run.as_slice() {
        out.extend(finding(input, passage, *only));
    }
    run.clear();
}

fn outer(sonority: &Sonority) -> Option<(&Voice, &Voice)> {
    if sonority.voices.len() < 3 {
        return None;
    }
    sonority.voices.first().zip(sonority.voices.last())
}

fn is_parallel(input: &RuleInput<'_>, passage: &Passage, index: usize) -> bool {
    let pair = passage
        .sonorities
        .get(index - 1)
        .zip(passage.sonorities.get(index));
    let Some((a, b)) = pair else { return false };
    let Some(((top_a, low_a), (top_b, low_b))) = outer(a).zip(outer(b)) else {
        return false;
    };
    let same_seats = top_a.seat == top_b.seat && low_a.seat == low_b.seat;
    let (top, low) = (top_b.midi - top_a.midi, low_b.midi - low_a.midi);
    let interval = |t: &Voice, l: &Voice| (t.midi - l.midi).rem_euclid(12);
    let kind = interval(top_a, low_a);
    same_seats
        && top_b.attacked
        && low_b.attacked
        && top != 0
        && low != 0
        && (top > 0) == (low > 0)
        && matches!(kind, 0 | 7)
        && interval(top_b, low_b) == kind
        && top_a.end == b.onset
        && low_a.end == b.onset
        && passage.phrase_of(index).contains(&(index - 1))
        && !has_fermata(input, top_a.note)
        && !has_fermata(input, low_a.note)
        && !is_thickened(passage, index)
}

fn has_fermata(input: &RuleInput<'_>, at: NoteRef) -> bool {
    input.score.tied_chain(at).into_iter().any(|n| {
        input
            .score
            .parts
            .get(n.part as usize)
            .and_then(|p| p.notes.get(n.note as usize))
            .is_some_and(|n| n.articulations.has(Articulations::FERMATA))
    })
}

fn is_thickened(passage: &Passage, index: usize) -> bool {
    passage
        .in_force
        .get(index)
        .copied()
        .flatten()
        .is_some_and(|f| match f.technique {
            Technique::Mechanical(_) => true,
            Technique::Form(form) => form.is_doubling(),
        })
}

fn finding(input: &RuleInput<'_>, passage: &Passage, index: usize) -> Option<Finding> {
    let (a, b) = passage
        .sonorities
        .get(index - 1)
        .zip(passage.sonorities.get(index))?;
    let ((top_a, low_a), (top_b, low_b)) = outer(a).zip(outer(b))?;
    let what = if (top_b.midi - low_b.midi).rem_euclid(12) == 7 {
        "fifths"
    } else {
        "octaves"
    };
    let score = input.score;
    let move_of = |from: &Voice, to: &Voice| {
        format!(
            "{} {} to {}",
            wording::part(score, to.note.part),
            wording::for_player(score, from.note, from.pitch),
            wording::for_player(score, to.note, to.pitch)
        )
    };
    let message = format!(
        "parallel {what} between the outer voices: {}, {}",
        move_of(top_a, top_b),
        move_of(low_a, low_b)
    );
    let at = SonorityAt {
        passage,
        index,
        sonority: b,
    };
    let low = at.fault(low_b);
    Some(
        at.finding(score, &RULE, message)
            .parts([top_b, low_b].map(|v| v.note.part))
            .at_fault(&[at.fault(top_b), low], &format!("parallel {what}"))
            .instead("let the bottom voice move against the top voice, or stay")
            .may_mend(nearby(input, at, &[low])),
    )
}

crate::rules::test_examples!(RULE);
