//! `spelling`: notes are named as their chord and their line name them.

use crate::diagnosis::{Passage, Verdict};
use crate::finding::{Finding, Level};
use crate::ground::chord::{Chord, Degree};
use crate::ground::pitch::{NoteName, Pitch, PitchClass, Transposition};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::{Change, NoteRef, Score};
use crate::score::{Note, NoteFlags, Part};
use crate::sonority::{Sonority, Voice};
use crate::voicing::Way;
use std::collections::HashSet;

pub static RULE: Rule = Rule {
    name: "spelling",
    group: Group::Notation,
    asks: "A chord note is spelled as its chord has it (note), double accidentals, E#, B#, Cb and Fb stand only where key, chord or line ask for them (note), and seats in unison have the same accidental (warning).",
    why: "A player reads shapes: a third that looks like a second is read late, and an accidental that one seat has and the other lacks is a wrong note.",
    source: "published: a university's page on accidentals; common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone

count      | 1  2  3   4  | 1  |
trombone 1 | C4 D4 F#4 G4 | E4 |
                   ^^^ not the same accidental
trombone 2 | C4 D4 F4  G4 | E4 |
                   ^^ not the same accidental
fix: trombone 2: write F#4 instead of F4
",
        right: "trombone 2 | C4 D4 F#4 G4 | E4 |",
    }],
    exceptions: &[
        Exception {
            says: "diminished sevenths and approach chords, respelled for reading",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = trombone

chord      | C#dim7 | Dm |
count      | 1      | 1  |
trombone 1 | G4     | F4 |
trombone 2 | E4     | F4 |
trombone 3 | Db4    | A3 |
trombone 4 | Bb3    | D3 |
",
                but: "\
chord      | A7     | Dm |
trombone 4 | A3     | D3 |
",
            },
        },
        Exception {
            says: "transposing parts in keys of five signs or more, which may be respelled as a whole",
            silent: Silent::Passage {
                passage: "\
key: A major
meter: 4/4
pitch: written
section: saxes
parts: alto 1 = alto saxophone

chord  | D6 -   -  |
count  | 1  2   3  |
alto 1 | B4 Eb5 B4 |
",
                but: "key: F major",
            },
        },
        Exception {
            says: "chord symbols that are themselves spelled against the key",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
section: trombones
parts: trombone 1 = trombone

chord      | E7  -    -   | Eb7 |
count      | 1   2    3   | 1   |
trombone 1 | Ab3 Ebb4 Cb4 | Bb3 |
",
                but: "chord      | Bb7 -    -   | Eb7 |",
            },
        },
        Exception {
            says: "a chord name that lies no nearer to the player's key than the written one",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
pitch: written
section: saxes
parts: alto 1 = alto saxophone

chord  | Ebm7 -   -   |
count  | 1    2   3   |
alto 1 | G4   D#5 Bb4 |
",
                but: "key: Eb major",
            },
        },
        Exception {
            says: "leading notes a half step from where they go",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone

chord      | A7 -   | Dm7 |
count      | 1  3   | 1   |
trombone 1 | A3 Db4 | C4  |
",
                but: "trombone 1 | A3 Db4 | F4  |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for passage in input.passages {
        super::spelling_in_unison::check(input, passage, out);
        names(input, passage, out);
    }
    let notes = out.iter().flat_map(|f| &f.notes);
    let told: HashSet<NoteRef> = notes.map(|n| n.note).collect();
    for passage in input.passages {
        against_lines(input, passage, &told, out);
    }
}

/// The other name of a pitch that one accidental is enough for.
fn other_name(name: NoteName) -> Option<NoteName> {
    let each = [12, -12].map(|by| NoteName::from_fifths(name.fifths() + by));
    each.into_iter().find(|n| n.alter.abs() < 2)
}

/// How far the letters between two notes are off what their semitones ask for.
fn letters_off(from: Pitch, to: Pitch) -> i16 {
    /// Letters for so many semitones, the fewest and the most.
    const LETTERS: [(i16, i16); 12] = [
        (0, 0),
        (1, 1),
        (1, 1),
        (2, 2),
        (2, 2),
        (3, 3),
        (3, 4),
        (4, 4),
        (5, 5),
        (5, 5),
        (6, 6),
        (6, 6),
    ];
    let (semitones, letters) = (to.midi() - from.midi(), to.diatonic() - from.diatonic());
    let (up, letters) = if semitones < 0 {
        (-semitones, -letters)
    } else {
        (semitones, letters)
    };
    let octaves = 7 * (up / 12);
    let at = usize::try_from(up % 12).ok().and_then(|i| LETTERS.get(i));
    let (least, most) = at.copied().unwrap_or_default();
    (least + octaves - letters)
        .max(letters - most - octaves)
        .max(0)
}

/// Notes with a name from outside the key that have one of the key, where the line asks for that: Cb for
/// B between C and A.
fn against_lines(
    input: &RuleInput<'_>,
    passage: &Passage,
    told: &HashSet<NoteRef>,
    out: &mut Vec<Finding>,
) {
    if passage.section.chordal {
        return;
    }
    for member in passage.section.own_parts() {
        let Some(part) = input.score.parts.get(member.part as usize) else {
            continue;
        };
        if part.worked_out && part.transpositions.iter().any(|t| t.value.key_shift() != 0) {
            continue;
        }
        let struck: Vec<(u32, &Note)> = input
            .notes(member.part)
            .filter(|(_, n)| n.sounds() && !n.flags.has(NoteFlags::TIED_IN))
            .collect();
        for three in struck.windows(3) {
            let [(_, before), (index, note), (_, after)] = three else {
                continue;
            };
            let at = NoteRef {
                part: member.part,
                note: *index,
            };
            if before.onset == note.onset || note.onset == after.onset || told.contains(&at) {
                continue;
            }
            if let Some(better) = of_line(input, part, at, [before, note, after]) {
                let name = wording::part(input.score, member.part);
                let (written, a, b) = (note.written, before.written, after.written);
                let message = format!(
                    "{name}: {written} is spelled against the line {a} {written} {b}; the key has {better}"
                );
                out.push(
                    RULE.finding(note.at, message)
                        .level(Level::Note)
                        .section(&passage.section.name)
                        .at_notes([at], 1, &format!("reads as {better}"))
                        .instead(format!("{name}: write {better} instead of {written}"))
                        .may_mend(vec![vec![respelled(part, at, note, better)]]),
                );
            }
        }
    }
}

/// The same note by another written name.
pub(super) fn respelled(part: &Part, at: NoteRef, note: &Note, written: Pitch) -> Change {
    Change {
        note: at,
        sounding: written.transposed(part.transposition(note.onset)),
    }
}

/// The name that the line asks for in place of the middle note's own.
fn of_line(
    input: &RuleInput<'_>,
    part: &Part,
    at: NoteRef,
    [before, note, after]: [&Note; 3],
) -> Option<Pitch> {
    let key = part.key(note.onset).fifths;
    let by = part.transposition(note.onset);
    let concert = part.concert_fifths(note.onset);
    // A part with many signs may be respelled as a whole, sharps for flats.
    let many = key.abs() > MANY_SIGNS || concert.abs() > MANY_SIGNS;
    let found = note.written.name();
    if by.key_shift() != 0 && many && !is_odd(found) {
        return None;
    }
    let better = other_name(found).filter(|n| in_key(*n, key) && !in_key(found, key))?;
    let better = Pitch::named(better, note.written.midi())?;
    let off = |p: Pitch| letters_off(before.written, p) + letters_off(p, after.written);
    if off(better) >= off(note.written) || leads_on(part, at.note as usize, note) {
        return None;
    }
    let chord = input.score.chord_at(note.onset);
    let chord = chord.and_then(|m| m.value.chord.as_ref());
    let names_it = chord.is_some_and(|c| {
        let root = c.root.transposed(by.inverse());
        c.degrees.iter().any(|d| d.over(root) == found)
    });
    (!names_it && !input.is_explained(at)).then_some(better)
}

/// How far a name lies from the middle of a key on the line of fifths.
pub(super) fn distance(name: NoteName, fifths: i8) -> i16 {
    (name.fifths() - i16::from(fifths) - 2).abs()
}

/// Whether the signature of a key has the name.
pub(super) fn in_key(name: NoteName, fifths: i8) -> bool {
    (-1..=5).contains(&(name.fifths() - i16::from(fifths)))
}

/// Names that a player has to think about: double accidentals, E#, B#, Cb, Fb.
pub(super) fn is_odd(name: NoteName) -> bool {
    !(-6..=10).contains(&name.fifths()) || name.alter.abs() > 1
}

/// A chord that comes from elsewhere than its symbol: its notes are spelled to be read.
fn is_approach(passage: &Passage, index: usize, sonority: &Sonority) -> bool {
    let way = match passage.diagnoses.get(index).map(|d| &d.verdict) {
        Some(Verdict::Right(way)) => *way,
        Some(Verdict::Slip(_)) => return true,
        _ => None,
    };
    if way.is_some_and(|w| !matches!(w, Way::Chord | Way::Tension)) {
        return true;
    }
    // All a minor third, a tritone or an octave apart: a diminished seventh.
    let first = sonority.voices.first().map_or(0, |v| v.midi);
    sonority.voices.len() > 2 && sonority.voices.iter().all(|v| (v.midi - first) % 3 == 0)
}

/// Within so many bars the same misspelling goes on.
const RUN: u32 = 4;

/// From more sharps or flats than this on a key has a second name that players know as well.
const MANY_SIGNS: i8 = 4;

/// A note that is spelled against its chord.
struct Misspelt<'a> {
    note: &'a Note,
    /// From written to sounding pitch.
    by: Transposition,
    /// Its written name in the chord.
    wanted: NoteName,
}

impl Misspelt<'_> {
    fn finding(&self, score: &Score, chord: &Chord, at: NoteRef) -> Finding {
        let name = wording::part(score, at.part);
        let (written, wanted) = (self.note.written, self.wanted);
        let better = Pitch::named(wanted, written.midi()).unwrap_or(written);
        let symbol = chord.transposed(self.by.inverse());
        let message = format!(
            "{name}: {written} is spelled against the chord, {} for this player, which has {wanted}",
            symbol.text
        );
        RULE.finding(self.note.at, message)
            .level(Level::Note)
            .at_notes([at], 1, &format!("reads as {better}"))
            .chord(Some(&chord.text))
            .instead(format!("{name}: write {better} instead of {written}"))
    }
}

/// The note, where its chord has another name for it that its player would rather read.
fn misspelt<'a>(input: &RuleInput<'a>, chord: &Chord, at: NoteRef) -> Option<Misspelt<'a>> {
    let score = input.score;
    let part = score.parts.get(at.part as usize)?;
    let note = part.notes.get(at.note as usize)?;
    let by = part.transposition(note.onset);
    let found = note.written.name();
    let wanted = chord_name(chord, note, by).filter(|wanted| *wanted != found)?;
    if input.is_explained(at) {
        return None;
    }
    if part.worked_out && by.key_shift() != 0 {
        return None; // there is no page to be misspelled on
    }
    let key = part.key(note.onset).fifths;
    // Many signs on a transposing part: it may be respelled as a whole, sharps for flats.
    let concert = part.concert_fifths(note.onset);
    if by.key_shift() != 0 && (key.abs() > MANY_SIGNS || concert.abs() > MANY_SIGNS) {
        return None;
    }
    // A symbol from the other side of the circle of fifths (Db7 in E major) asks for nothing.
    let root = chord.root;
    if NoteName::in_key(root.class(), concert) != root {
        return None;
    }
    let short = note.duration < score.per_quarter;
    let is_right = is_odd(wanted)
        || in_key(found, key)
        || leads_on(part, at.note as usize, note)
        || short && !is_odd(found)
        || distance(wanted, key) >= distance(found, key);
    (!is_right).then_some(Misspelt { note, by, wanted })
}

/// Names against chord, key and line.
fn names(input: &RuleInput<'_>, passage: &Passage, out: &mut Vec<Finding>) {
    let score = input.score;
    // Reported already: the pitch class, the bar it was last seen in, the finding.
    let mut last: Vec<(PitchClass, u32, usize)> = Vec::new();
    let mut sounding = SoundingNames::default();
    for (index, sonority) in passage.sonorities.iter().enumerate() {
        let Some(chord) = score
            .chord_at(sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
        else {
            continue;
        };
        if chord.altered || is_approach(passage, index, sonority) {
            continue;
        }
        sounding.are_of(chord);
        let against = |v: &&Voice| v.attacked && sounding.are_against(v.pitch);
        for voice in sonority.voices.iter().filter(against) {
            let Some(note) = misspelt(input, chord, voice.note) else {
                continue;
            };
            // A run of the same note, and other seats that have it too, are one matter.
            let class = note.note.sounding.class();
            let bar = note.note.at.bar;
            let run = last
                .iter_mut()
                .find(|(c, last, _)| *c == class && bar.saturating_sub(*last) <= RUN);
            if let Some((_, last, place)) = run {
                *last = bar;
                if let Some(open) = out.get_mut(*place)
                    && !open.parts.contains(&voice.note.part)
                {
                    open.parts.push(voice.note.part);
                    open.parts.sort_unstable();
                }
                continue;
            }
            last.retain(|(c, ..)| *c != class);
            last.push((class, bar, out.len()));
            out.push(
                note.finding(score, chord, voice.note)
                    .section(&passage.section.name),
            );
        }
    }
}

/// The degrees of a chord whose names are asked for: root, third, fifth, sixth and seventh.
fn named_degrees(chord: &Chord) -> impl Iterator<Item = Degree> {
    let degrees = chord.degrees.iter().copied();
    degrees.filter(|d| matches!(d.number, 1 | 3 | 5 | 6 | 7))
}

/// The written name that the chord gives a note, when it is a root, third, fifth, sixth or seventh.
fn chord_name(chord: &Chord, note: &Note, by: Transposition) -> Option<NoteName> {
    let root = chord.root.transposed(by.inverse());
    let class = note.written.class();
    named_degrees(chord)
        .map(|d| d.over(root))
        .find(|n| n.class() == class)
}

/// The names a chord gives its notes as they sound, worked out once for as long as it stays: a note that
/// has its name there has it on every page.
#[derive(Default)]
struct SoundingNames<'a> {
    chord: Option<&'a Chord>,
    names: Vec<NoteName>,
}

impl<'a> SoundingNames<'a> {
    fn are_of(&mut self, chord: &'a Chord) {
        if !self.chord.is_some_and(|c| std::ptr::eq(c, chord)) {
            self.chord = Some(chord);
            self.names.clear();
            self.names
                .extend(named_degrees(chord).map(|d| d.over(chord.root)));
        }
    }

    /// Whether one of the notes has another name here.
    fn are_against(&self, pitch: Pitch) -> bool {
        let name = self.names.iter().find(|n| n.class() == pitch.class());
        name.is_some_and(|n| *n != pitch.name())
    }
}

/// Whether a note goes on by half step to the next letter, or comes from there.
fn leads_on(part: &Part, index: usize, note: &Note) -> bool {
    let to = |other: Option<&Note>| {
        other.is_some_and(|o| {
            (o.written.midi() - note.written.midi()).abs() == 1
                && (o.written.diatonic() - note.written.diatonic()).abs() == 1
        })
    };
    let next = part
        .notes
        .iter()
        .skip(index + 1)
        .find(|n| n.onset > note.onset && n.sounds());
    let before = index.checked_sub(1).and_then(|i| part.notes.get(i));
    to(next) || to(before)
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, score};

    #[test]
    fn a_name_against_the_line_is_told_and_a_leading_one_is_not() {
        let of = |bar: &str| places(&score(&[("Flute", &[bar, "C5:8"])]), super::RULE.name);
        assert_eq!(of("C5:2 Cb5:2 A4:4"), ["1 2: Flute"]);
        assert!(of("C5:2 B4:2 A4:4").is_empty());
        assert!(of("F#4:2 E#4:2 F#4:4").is_empty());
        assert!(of("D5:2 C#5:2 C5:4").is_empty());
    }

    #[test]
    fn seats_in_unison_have_one_name_for_a_note() {
        let line: &[&str] = &["C5:2 D5:2 F#5:2 G5:2", "E5:2 D5:2 C5:4"];
        let other: &[&str] = &["C5:2 D5:2 Gb5:2 G5:2", "E5:2 D5:2 C5:4"];
        let of = |third| {
            let all = [
                ("Trumpet 1", line),
                ("Trumpet 2", line),
                ("Trumpet 3", third),
            ];
            places(&score(&all), super::RULE.name)
        };
        assert_eq!(of(other), ["1 3: Trumpet 3"]);
        assert!(of(line).is_empty());
    }
}
