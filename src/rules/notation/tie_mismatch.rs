//! `tie-mismatch`: a tie joins two notes of one pitch.

use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::pitched;
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Note, NoteFlags, Part, Score};
use std::collections::{HashMap, HashSet};

pub static RULE: Rule = Rule {
    name: "tie-mismatch",
    group: Group::Notation,
    asks: "A tie leads to the same pitch, and a note held by a tie has one before it; a tie of which one end is missing on the same pitch is a warning.",
    why: "A tie to another pitch cannot be held: one player slurs, another holds on, a third strikes the note again.",
    source: "published: MusicXML 4.0, tie and tied; common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
trumpet 1 | C5 D5 F4 | G4 - | E5 |
                  ^^   ^^ tied
on the page:
trumpet 1, bar 1, beat 3: tie starts
trumpet 1, bar 2, beat 1: tie ends
suggestion: trumpet 1: write a slur if both notes are meant, or the same pitch twice if it is held
",
        right: "\
trumpet 1 | C5 D5 F4 | - -  | E5 |
not on the page:
trumpet 1, bar 1, beat 3: tie starts
trumpet 1, bar 2, beat 1: tie ends
",
    }],
    exceptions: &[
        Exception {
            says: "ties at a repeat sign or a double bar, where playing goes on elsewhere",
            silent: Silent::With(
                "\
on the page:
trumpet 1, bar 1: repeat ends
",
            ),
        },
        Exception {
            says: "a pitch spelled another way",
            silent: Silent::With("trumpet 1 | C5 D5 F#4 | Gb4 - | E5 |"),
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let parts = || pitched(input.score);
    let mut all: Vec<Ties<'_>> = parts()
        .map(|(index, part)| Ties::of(input.score, index, part))
        .collect();
    let ends: usize = all.iter().map(|t| t.joined.len()).sum();
    let loose: usize = all.iter().map(Ties::count_loose).sum();
    for ties in &mut all {
        ties.has_both_ends = loose == 1 || ends >= loose * MOST_HALVES;
        ties.report(out);
    }
}

/// A score with half as many loose ends as joined ones leaves ends out everywhere.
const MOST_HALVES: usize = 2;

/// When the note after this one starts: at its end, or, where its bar stops short, at the bar line.
fn next_onset(score: &Score, part: &Part, note: &Note) -> Ticks {
    let bar = note.at.bar as usize;
    let full = part
        .bars
        .get(bar)
        .is_some_and(|b| note.at.offset + note.duration >= b.filled);
    match score.bars.get(bar + 1) {
        Some(next) if full => next.start,
        _ => note.end(),
    }
}

/// Whether playing may go on elsewhere than at the next bar, or have come from elsewhere.
fn is_joint(part: &Part, bar: usize) -> bool {
    let ends = |i: usize| {
        part.bars
            .get(i)
            .is_some_and(|b| b.double_bar || b.repeat_end)
    };
    let next_starts = part.bars.get(bar + 1).is_none_or(|b| b.repeat_start);
    ends(bar) || next_starts
}

/// The ties of one part.
struct Ties<'a> {
    score: &'a Score,
    /// 0-based index into the score's parts.
    index: u32,
    part: &'a Part,
    name: &'a str,
    /// Ends of ties that find each other: the index of the note, and which end.
    joined: HashSet<(usize, u16)>,
    /// Ties have both ends nearly everywhere in the score.
    has_both_ends: bool,
}

/// The places that the first pass over a part leaves to the second.
#[derive(Default)]
struct Passed {
    /// When notes end, with their pitch.
    ends: HashSet<(Ticks, i16)>,
    /// When the ties end that have a finding.
    reported: HashSet<Ticks>,
}

impl<'a> Ties<'a> {
    fn of(score: &'a Score, index: u32, part: &'a Part) -> Self {
        Self {
            score,
            index,
            part,
            name: wording::part(score, index),
            joined: joined(&part.notes),
            has_both_ends: false,
        }
    }

    fn count_loose(&self) -> usize {
        let ends = [NoteFlags::TIED_OUT, NoteFlags::TIED_IN];
        let loose = |(i, n): &(usize, &Note)| ends.iter().any(|end| self.is_loose(*i, n, *end));
        self.notes().filter(loose).count()
    }

    fn reference(&self, note: usize) -> NoteRef {
        NoteRef {
            part: self.index,
            note: note as u32,
        }
    }

    /// The notes that sound, with their index.
    fn notes(&self) -> impl Iterator<Item = (usize, &'a Note)> + use<'a> {
        let notes = self.part.notes.iter().enumerate();
        notes.filter(|(_, n)| n.sounds())
    }

    /// Whether one end of a tie at this note finds no other.
    fn is_loose(&self, index: usize, note: &Note, end: NoteFlags) -> bool {
        note.flags.has(end) && !self.joined.contains(&(index, end.0))
    }

    fn report(&self, out: &mut Vec<Finding>) {
        let is_loose = |(i, note): (usize, &Note)| {
            self.is_loose(i, note, NoteFlags::TIED_OUT)
                || self.is_loose(i, note, NoteFlags::TIED_IN)
        };
        if !self.notes().any(is_loose) {
            return;
        }
        let mut passed = Passed::default();
        let mut leading: Vec<Finding> = Vec::new();
        for (i, note) in self.notes() {
            self.leading_out(i, note, &mut passed, &mut leading);
        }
        let (halves, astray) = leading.into_iter().partition(|f| f.level < Level::Error);
        self.together(halves, "so do ties at", out);
        self.together(astray, "so do ties at", out);
        let loose = self.notes();
        let loose = loose.filter_map(|(i, note)| self.leading_in(i, note, &passed));
        self.together(loose.collect(), "so are notes at", out);
    }

    /// Reports what is found of one kind. So often it is how the file was made, not a slip of the pen: one
    /// finding with its places.
    fn together(&self, found: Vec<Finding>, more: &str, out: &mut Vec<Finding>) {
        let count = found.len();
        let Some(last) = found.last().filter(|_| count > OFTEN) else {
            out.extend(found);
            return;
        };
        let bar = self.score.bar_number(last.at.bar);
        let mut all = found.into_iter();
        let Some(mut first) = all.next() else { return };
        first.message = format!(
            "{}; {more} {} more places, to bar {bar}",
            first.message,
            count - 1
        );
        first.notes.extend(all.flat_map(|f| f.notes));
        out.push(first);
    }

    /// A tie that starts at a note and ends at none of its pitch.
    fn leading_out(&self, i: usize, note: &Note, passed: &mut Passed, out: &mut Vec<Finding>) {
        let next = next_onset(self.score, self.part, note);
        passed.ends.insert((next, note.written.midi()));
        if !self.is_loose(i, note, NoteFlags::TIED_OUT) || note.duration <= Ticks::ZERO {
            return;
        }
        let from = self.part.notes.partition_point(|n| n.onset < next);
        let here = self.part.notes.iter().enumerate().skip(from);
        let after: Vec<(usize, &Note)> = here
            .take_while(|(_, n)| n.onset == next)
            .filter(|(_, n)| n.sounds())
            .collect();
        let same = |(_, n): &(usize, &Note)| n.written.midi() == note.written.midi();
        let joint = is_joint(self.part, note.at.bar as usize) && ends_bar(self.part, note);
        if after.iter().any(same) {
            let ends = |(_, n): &(usize, &Note)| n.flags.has(NoteFlags::TIED_IN);
            let again = after.iter().find(|n| same(n));
            let ended = after.iter().any(|n| same(n) && ends(n));
            out.extend(again.filter(|_| !ended && !joint).and_then(|n| {
                passed
                    .reported
                    .insert(next)
                    .then(|| self.half(i, note, n.0))?
            }));
            return;
        }
        if next != note.end() && after.is_empty() || joint {
            return;
        }
        // The notes of one chord are one mistake.
        if !passed.reported.insert(next)
            && let Some(open) = out.last_mut()
            && open.at == note.at
        {
            open.notes.push(NoteAtFault {
                note: self.reference(i),
                voice: 1,
                expected: None,
                label: TIED.to_owned(),
            });
            return;
        }
        let target = after
            .iter()
            .filter(|(_, n)| n.voice == note.voice || n.flags.has(NoteFlags::TIED_IN))
            .min_by_key(|(_, n)| {
                (
                    !n.flags.has(NoteFlags::TIED_IN),
                    (n.written.midi() - note.written.midi()).abs(),
                )
            });
        let name = self.name;
        let finding = |leads_to: String| {
            let from = self.spoken(note);
            let message = format!("{name}: the tie from {from} leads to {leads_to}");
            RULE.finding(note.at, message)
                .at_notes([self.reference(i)], 1, TIED)
        };
        out.push(match target {
            Some((j, other)) => finding(self.spoken(other))
                .at_notes([self.reference(*j)], 1, TIED)
                .instead(format!(
                    "{name}: write a slur if both notes are meant, or the same pitch twice if it is held"
                )),
            None => finding("no note".to_owned()).instead(format!(
                "{name}: take the tie away, or write the note it leads to"
            )),
        });
    }

    /// One end of a tie at a note, and the other is missing at the same note beside it. Told where ties have
    /// both ends nearly everywhere; programs that leave out one end do so at all of them.
    fn half(&self, i: usize, note: &Note, other: usize) -> Option<Finding> {
        if !self.has_both_ends {
            return None;
        }
        let (name, pitch) = (self.name, self.spoken(note));
        let starts = note.flags.has(NoteFlags::TIED_OUT);
        let message = if starts && other > i {
            format!("{name}: a tie starts at {pitch} and does not end at the {pitch} after it")
        } else {
            format!("{name}: a tie ends at {pitch} and does not start at the {pitch} before it")
        };
        Some(
            RULE.finding(note.at, message)
                .level(Level::Warning)
                .at_notes([self.reference(i), self.reference(other)], 1, TIED)
                .instead(format!(
                    "{name}: write the whole tie if the note is held, or none if it is struck again"
                )),
        )
    }

    /// What people are told of a note's pitch: the one that comes first is enough to find a tie.
    fn spoken(&self, note: &Note) -> String {
        let name = self.score.spoken_name(self.index, note.pitch());
        name.first.to_string()
    }

    /// A tie that ends at a note and starts at none of its pitch.
    fn leading_in(&self, i: usize, note: &Note, passed: &Passed) -> Option<Finding> {
        let before = (note.at.bar as usize).checked_sub(1);
        let from_elsewhere =
            note.at.offset == Ticks::ZERO && before.is_none_or(|b| is_joint(self.part, b));
        if !self.is_loose(i, note, NoteFlags::TIED_IN)
            || passed.reported.contains(&note.onset)
            || from_elsewhere
        {
            return None;
        }
        if passed.ends.contains(&(note.onset, note.written.midi())) {
            let (first, _) = self
                .notes()
                .take_while(|(_, n)| n.onset < note.onset)
                .find(|(_, n)| {
                    next_onset(self.score, self.part, n) == note.onset
                        && n.written.midi() == note.written.midi()
                })?;
            let loose = self.part.notes.get(first)?;
            return (!loose.flags.has(NoteFlags::TIED_OUT))
                .then(|| self.half(i, note, first))
                .flatten();
        }
        let (name, pitch) = (self.name, self.spoken(note));
        let message = format!("{name}: {pitch} is held by a tie, but no {pitch} stands before it");
        Some(
            RULE.finding(note.at, message)
                .at_notes([self.reference(i)], 1, "tied from nothing")
                .instead(format!(
                    "{name}: take the tie away, or write the note it comes from"
                )),
        )
    }
}

/// More loose ends of ties than this in one part, of one kind, are one finding.
const OFTEN: usize = 3;

/// The label under both ends of a tie.
const TIED: &str = "tied";

/// Ends of ties that find each other by pitch, in this bar or the next, whatever the layers and
/// lengths in the file say. A grace note takes no time: what it is tied to starts with it.
fn joined(notes: &[Note]) -> HashSet<(usize, u16)> {
    let mut open: HashMap<i16, usize> = HashMap::new();
    let mut joined = HashSet::new();
    let plays = |n: &Note| n.sounds() || n.flags.has(NoteFlags::GRACE);
    for (i, note) in notes.iter().enumerate().filter(|(_, n)| plays(n)) {
        let pitch = note.written.midi();
        if note.flags.has(NoteFlags::TIED_IN)
            && let Some(from) = open.remove(&pitch)
            && let Some(first) = notes.get(from)
            && note.at.bar <= first.at.bar + 1
            && (note.onset > first.onset || first.flags.has(NoteFlags::GRACE))
        {
            joined.insert((from, NoteFlags::TIED_OUT.0));
            joined.insert((i, NoteFlags::TIED_IN.0));
        }
        if note.flags.has(NoteFlags::TIED_OUT) {
            open.insert(pitch, i);
        }
    }
    joined
}

fn ends_bar(part: &Part, note: &Note) -> bool {
    part.bars
        .get(note.at.bar as usize)
        .is_none_or(|b| note.at.offset + note.duration >= b.filled)
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, score};

    #[test]
    fn a_grace_note_is_tied_to_the_note_it_stands_before() {
        let grace = "<note><grace/><pitch><step>D</step><octave>4</octave></pitch><tie~type=\"start\"/></note>";
        let tied = format!("C4:4 {grace} D4:4:tied");
        assert!(places(&score(&[("Oboe", &[&tied, "C4:8"])]), "tie-mismatch").is_empty());
        let other = format!("C4:4 {grace} E4:4:tied");
        let wrong = score(&[("Oboe", &[&other, "C4:8"])]);
        assert_eq!(places(&wrong, "tie-mismatch"), ["1 3: Oboe"]);
    }

    #[test]
    fn half_a_tie_to_the_same_note_is_told_where_ties_have_both_ends() {
        let rule = super::RULE.name;
        let whole = "C5:4 E5:4:tie";
        let end = "E5:4:tied C5:4";
        let right: &[&str] = &[whole, end, whole, end];
        let start: &[&str] = &[whole, "E5:4 C5:4", whole, end];
        let stop: &[&str] = &["C5:4 E5:4", end, whole, end];
        assert!(places(&score(&[("Flute", right), ("Oboe", right)]), rule).is_empty());
        let with = |own| places(&score(&[("Flute", right), ("Oboe", own)]), rule);
        assert_eq!(with(start), ["1 3: Oboe"]);
        assert_eq!(with(stop), ["2 1: Oboe"]);
        // A program that never writes the end.
        let never: &[&str] = &[whole, "E5:4 C5:4", whole, "E5:4 C5:4"];
        assert!(places(&score(&[("Flute", never), ("Oboe", never)]), rule).is_empty());
    }
}
