//! Fingerprints: what a finding is known by from one version of a score to the next.
//!
//! A print holds what a finding is about and nothing that an unrelated edit moves. Bar numbers and
//! bars put in before it, the order of the parts, the file's name and layout, transposing the whole
//! score, and what other sections do leave it as it is. Findings alike in all that are distinguished by
//! the bars around them ([`Near`]).

use crate::finding::{Finding, NoteAtFault};
use crate::ground::pitch::{NoteName, PitchClass, Step, read_accidentals};
use crate::ground::time::Ticks;
use crate::score::{Note, Part, Score};
use num_rational::Ratio;
use rustc_hash::FxHashMap;
use std::collections::HashMap;
use std::fmt;
use std::str::FromStr;

/// What one finding is known by.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Print {
    /// A hash of what it is about; findings that are alike have the same one.
    pub about: u64,
    /// Which of the findings alike in its score it is, 1-based, in order of place.
    pub ordinal: usize,
    /// The bars around it.
    pub near: Near,
}

impl fmt::Display for Print {
    /// The hash and, where there are others alike before it, which of them it is.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.ordinal {
            0 | 1 => write!(f, "{:016x}", self.about),
            n => write!(f, "{:016x}-{n}", self.about),
        }
    }
}

/// The music of the parts at fault in the bar of a finding, the bar before and the bar after: a
/// short hash of each. Rhythm and melodic intervals only, so that it outlives a transposition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Near(pub [u32; 3]);

/// The bits that are kept of a bar's hash.
const SHORT: u64 = 0x00ff_ffff;

impl Near {
    /// How many of the three bars are the same.
    pub fn likeness(self, other: Self) -> usize {
        self.0
            .iter()
            .zip(other.0)
            .filter(|(a, b)| **a == *b)
            .count()
    }
}

impl fmt::Display for Near {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [before, own, after] = self.0;
        write!(f, "{before:06x} {own:06x} {after:06x}")
    }
}

/// The text is not three hexadecimal numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("three numbers of six hexadecimal figures were expected")]
pub struct NotNear;

impl FromStr for Near {
    type Err = NotNear;

    fn from_str(text: &str) -> Result<Self, NotNear> {
        let read = |word: &str| match word.len() {
            6 if word.bytes().all(|b| b.is_ascii_hexdigit()) => {
                u32::from_str_radix(word, 16).map_err(|_| NotNear)
            }
            _ => Err(NotNear),
        };
        let words: Vec<u32> = text.split(' ').map(read).collect::<Result<_, _>>()?;
        words.try_into().map(Self).map_err(|_| NotNear)
    }
}

/// The print of each finding of a score; `findings` are in order of place.
pub fn prints(score: &Score, findings: &[&Finding]) -> Vec<Print> {
    let mut seen: HashMap<u64, usize> = HashMap::new();
    let mut bars = BarHashes::default();
    findings
        .iter()
        .map(|finding| {
            let about = fnv1a(about(score, finding).as_bytes());
            let ordinal = seen.entry(about).or_default();
            *ordinal += 1;
            Print {
                about,
                ordinal: *ordinal,
                near: bars.near(score, finding),
            }
        })
        .collect()
}

/// What is hashed, as text; unit separators keep neighbouring members apart.
fn about(score: &Score, finding: &Finding) -> String {
    let mut names: Vec<&str> = parts(score, finding).map(|p| p.name.as_str()).collect();
    names.sort_unstable();
    // Which fix was taken depends on the music around; what was found does not.
    let marked = finding.marked_by_rule.unwrap_or(finding.notes.len());
    let noted: Vec<(&Part, &NoteAtFault, &Note)> = finding
        .notes
        .iter()
        .take(marked)
        .filter_map(|n| {
            let part = score.parts.get(n.note.part as usize)?;
            Some((part, n, part.notes.get(n.note.note as usize)?))
        })
        .collect();
    let lead = finding.found.first().map(|p| p.midi());
    let found: Vec<String> = match lead {
        Some(lead) => finding
            .found
            .iter()
            .map(|p| (lead - p.midi()).to_string())
            .collect(),
        None => Vec::new(),
    };
    let mut at_fault: Vec<String> = noted
        .iter()
        .map(|(part, fault, note)| {
            let pitch = match lead {
                Some(lead) => (lead - note.sounding.midi()).to_string(),
                // Nothing sounds with it: what it is in its key.
                None => format!("key {}", degree(part, note)),
            };
            let length = quarters(score, note.duration);
            format!("{}:{}:{pitch}:{length}", part.name, fault.voice)
        })
        .collect();
    at_fault.sort_unstable();
    let chord = finding
        .chord
        .as_deref()
        .map(|text| relative_chord(text, lead));
    [
        finding.rule.to_owned(),
        names.join("\u{1e}"),
        finding.section.clone().unwrap_or_default(),
        quarters(score, finding.at.offset),
        chord.unwrap_or_default(),
        found.join(" "),
        at_fault.join(" "),
    ]
    .join("\u{1f}")
}

fn parts<'a>(score: &'a Score, finding: &'a Finding) -> impl Iterator<Item = &'a Part> {
    finding
        .parts
        .iter()
        .filter_map(|&i| score.parts.get(i as usize))
}

/// A time in quarter notes, exact: the ticks of a score depend on all that is written in it.
fn quarters(score: &Score, time: Ticks) -> String {
    Ratio::new(time.0, score.per_quarter.0.max(1)).to_string()
}

/// Semitones above the keynote (of the major key with that signature), 0 to 11.
fn degree(part: &Part, note: &Note) -> i16 {
    let keynote = 7 * i16::from(part.concert_fifths(note.onset));
    (note.sounding.midi() - keynote).rem_euclid(12)
}

/// The hashes of bars, each made once for the same parts: a bar may have thousands of findings.
#[derive(Default)]
struct BarHashes<'f> {
    known: FxHashMap<(u32, &'f [u32]), u32>,
}

impl<'f> BarHashes<'f> {
    /// The bars around a finding.
    fn near(&mut self, score: &Score, finding: &'f Finding) -> Near {
        let own = finding.at.bar;
        let after = own.checked_add(1);
        Near([
            self.hash(score, finding, own.checked_sub(1)),
            self.hash(score, finding, Some(own)),
            self.hash(
                score,
                finding,
                after.filter(|&b| (b as usize) < score.bars.len()),
            ),
        ])
    }

    fn hash(&mut self, score: &Score, finding: &'f Finding, index: Option<u32>) -> u32 {
        let short = |text: &str| (fnv1a(text.as_bytes()) & SHORT) as u32;
        let Some(index) = index else {
            return short("edge");
        };
        let known = self.known.entry((index, &finding.parts));
        *known.or_insert_with(|| short(&bar(score, finding, index)))
    }
}

/// The notes of one bar in the parts at fault (all parts, where none is): when, how long, and where
/// they move to from the note before.
fn bar(score: &Score, finding: &Finding, index: u32) -> String {
    let of_part = |part: &Part| {
        let first = part.notes.partition_point(|n| n.at.bar < index);
        let mut before: Option<i16> = None;
        let notes: Vec<String> = part
            .notes
            .iter()
            .skip(first)
            .take_while(|n| n.at.bar == index)
            .map(|n| {
                let midi = n.sounding.midi();
                let step = before.map_or(0, |b| midi - b);
                before = Some(midi);
                format!(
                    "{}+{}:{step}",
                    quarters(score, n.at.offset),
                    quarters(score, n.duration)
                )
            })
            .collect();
        let filled = part.bars.get(index as usize).map(|b| b.filled);
        format!(
            "{} {} {}",
            part.name,
            filled.map_or_else(String::new, |f| quarters(score, f)),
            notes.join(" ")
        )
    };
    let mut all: Vec<String> = if finding.parts.is_empty() {
        score.parts.iter().map(of_part).collect()
    } else {
        parts(score, finding).map(of_part).collect()
    };
    all.sort_unstable();
    all.join("\u{1e}")
}

/// A chord symbol with root and bass as semitones below the lead: it stays as it is when the score
/// is transposed. A symbol without a root letter stands for itself; so does one without a lead, but
/// for its root.
fn relative_chord(text: &str, lead: Option<i16>) -> String {
    let Some((root, tail)) = read_name(text) else {
        return text.to_owned();
    };
    let (quality, bass) = match tail.rsplit_once('/') {
        Some((quality, bass)) => match read_name(bass) {
            Some((name, "")) => (quality, Some(name)),
            _ => (tail, None),
        },
        None => (tail, None),
    };
    let top = lead.map_or_else(|| root.class(), PitchClass::new);
    let below = |name: NoteName| top.above(name.class());
    match bass {
        Some(bass) => format!("{} {quality} /{}", below(root), below(bass)),
        None => format!("{} {quality}", below(root)),
    }
}

/// The note name at the start of a chord symbol, and the rest.
fn read_name(text: &str) -> Option<(NoteName, &str)> {
    let letter = text.chars().next().filter(char::is_ascii_uppercase)?;
    let step = Step::from_char(letter)?;
    let (alter, rest) = read_accidentals(text.get(1..)?);
    Some((NoteName::new(step, alter), rest))
}

/// FNV-1a, 64 bits: a published hash that stays the same on every machine and in every version.
fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// The findings of several scores that are known, each to be used up once: a multiset.
#[derive(Debug, Default)]
pub struct Known {
    prints: HashMap<u64, Vec<(Option<Near>, usize)>>,
}

impl Known {
    /// One more; `tag` is given back by [`Known::take`]. Without its surroundings it may stand
    /// anywhere.
    pub fn add(&mut self, about: u64, near: Option<Near>, tag: usize) {
        self.prints.entry(about).or_default().push((near, tag));
    }

    /// Which of the findings are known, and by what tag. Of several alike each is given the known
    /// one with the most of its surroundings; one that shares none of them is new: another mistake
    /// of the same kind elsewhere.
    pub fn take(&mut self, prints: &[Print]) -> Vec<Option<usize>> {
        let mut taken: Vec<Option<usize>> = vec![None; prints.len()];
        for wanted in (1..=3).rev() {
            for (print, slot) in prints.iter().zip(&mut taken) {
                if slot.is_some() {
                    continue;
                }
                let Some(known) = self.prints.get_mut(&print.about) else {
                    continue;
                };
                let fits = |(near, _): &(Option<Near>, usize)| {
                    near.map_or(wanted == 1, |n| n.likeness(print.near) >= wanted)
                };
                if let Some(at) = known.iter().position(fits) {
                    *slot = Some(known.remove(at).1);
                }
            }
        }
        taken
    }
}

/// Findings in order: by place, then by the parts at fault.
#[cfg(any(test, feature = "inside"))]
pub fn order(finding: &Finding) -> (crate::score::Place, &[u32]) {
    (finding.at, finding.parts.as_slice())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Transposition;
    use crate::proof::sample;

    fn print(score: &Score, finding: &Finding) -> String {
        prints(score, &[finding])[0].to_string()
    }

    #[test]
    fn a_fingerprint_outlives_unrelated_edits() {
        let score = sample::score();
        let finding = sample::finding();
        let before = print(&score, &finding);

        // A bar is put in before it, and the parts change places.
        let mut other = score.clone();
        other.parts.reverse();
        let mut moved = finding.clone();
        moved.at.bar = 0;
        moved.parts = vec![2];
        moved.notes[0].note.part = 2;
        assert_eq!(print(&other, &moved), before);

        // Everything a whole tone up.
        let up = Transposition {
            diatonic: 1,
            chromatic: 2,
        };
        let mut higher = score.clone();
        for note in higher.parts.iter_mut().flat_map(|p| p.notes.iter_mut()) {
            note.sounding = note.sounding.transposed(up);
        }
        let mut moved = finding.clone();
        moved.chord = Some("G6".to_owned());
        moved.found = moved.found.iter().map(|p| p.transposed(up)).collect();
        assert_eq!(print(&higher, &moved), before);
    }

    #[test]
    fn a_fingerprint_changes_with_what_it_is_about() {
        let score = sample::score();
        let finding = sample::finding();
        let before = print(&score, &finding);
        let mut other = finding.clone();
        other.rule = "wrong-note";
        assert_ne!(print(&score, &other), before);
        let mut other = finding.clone();
        other.chord = Some("Fm6".to_owned());
        assert_ne!(print(&score, &other), before);
        let mut other = finding.clone();
        other.found[3] = sample::pitch("B3");
        assert_ne!(print(&score, &other), before);
        let mut other = finding.clone();
        other.at.offset = crate::ground::time::Ticks(1);
        assert_ne!(print(&score, &other), before);
        let twice = prints(&score, &[&finding, &finding]);
        assert_eq!(twice[0].to_string(), before);
        assert_eq!(twice[1].to_string(), format!("{before}-2"));
    }

    #[test]
    fn chords_are_read_against_the_lead() {
        let a4 = Some(69);
        assert_eq!(relative_chord("F6", a4), "4 6");
        assert_eq!(relative_chord("Bb7/D", a4), "11 7 /7");
        assert_eq!(relative_chord("C6/9", a4), "9 6/9");
        assert_eq!(relative_chord("N.C.", a4), "N.C.");
        assert_eq!(relative_chord("", a4), "");
        assert_eq!(relative_chord("Bb7/D", None), "0 7 /8");
    }

    #[test]
    fn the_hash_is_the_published_one() {
        // Published: the FNV reference's test vectors for 64-bit FNV-1a.
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }
    #[test]
    fn surroundings_are_read_as_they_are_written() {
        let near = Near([0x1f, 0xab_cdef, 0]);
        assert_eq!(near.to_string(), "00001f abcdef 000000");
        assert_eq!(near.to_string().parse(), Ok(near));
        for wrong in [
            "",
            "1 2 3",
            "00001f abcdef",
            "00001f abcdef 00000g",
            "+0001f abcdef 000000 ",
        ] {
            assert_eq!(wrong.parse::<Near>(), Err(NotNear), "{wrong}");
        }
    }

    #[test]
    fn of_findings_alike_the_ones_with_the_known_surroundings_are_known() {
        let print = |ordinal, near| Print {
            about: 7,
            ordinal,
            near: Near(near),
        };
        let mut known = Known::default();
        known.add(7, Some(Near([1, 2, 3])), 0);
        known.add(7, Some(Near([4, 5, 6])), 1);
        // A new one in front, one with its neighbours edited, one as it was.
        let found = [
            print(1, [8, 8, 8]),
            print(2, [4, 9, 9]),
            print(3, [1, 2, 3]),
        ];
        assert_eq!(known.take(&found), [None, Some(1), Some(0)]);
        assert_eq!(known.take(&found), [None; 3], "each is used up once");
        known.add(7, None, 2);
        assert_eq!(known.take(&found), [Some(2), None, None]);
    }
}
