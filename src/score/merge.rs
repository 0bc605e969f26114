//! Several one-part files read as one score.

use super::marks::Mark;
use super::part::Part;
use super::score::Score;
use crate::ground::text::Span;
use crate::ground::time::{Ticks, checked_lcm};

/// The finest common time line of merged scores, in ticks to a quarter note.
const MAX_PER_QUARTER: i64 = 1_000_000_000_000;

/// Why files cannot be one score.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MergeError {
    /// There was nothing to merge.
    #[error("there is no readable part file to make one score of")]
    Empty,
    /// More files than spans can tell apart.
    #[error("{0} files are too many for one score; at most {max} can be read together", max = u16::MAX)]
    TooMany(usize),
    /// The time lines of the files have no usable common multiple.
    #[error(
        "{file}: its time, {ticks} ticks to a quarter note, has no usable common multiple with that of the other files; export the parts with the same settings"
    )]
    Incommensurable {
        /// The file whose time does not fit.
        file: String,
        /// Its ticks to a quarter note.
        ticks: i64,
    },
}

/// Puts the parts of several scores under each other, in the order given, as one score: one time
/// line, one set of bars. Parts of equal names stay separate parts. The title is that of the first
/// score that has one; the whole is a concert score only when every file says it is.
pub fn merge(scores: Vec<Score>) -> Result<Score, MergeError> {
    if scores.is_empty() {
        return Err(MergeError::Empty);
    }
    let files = scores.iter().map(|s| s.sources.len()).sum();
    if files > usize::from(u16::MAX) {
        return Err(MergeError::TooMany(files));
    }
    let mut per_quarter = 1i64;
    for score in &scores {
        per_quarter = common(per_quarter, score.per_quarter.0.max(1))
            .ok_or_else(|| incommensurable(score))?;
    }
    let mut whole = Score {
        per_quarter: Ticks(per_quarter),
        concert: scores.iter().all(|s| s.concert),
        ..Score::default()
    };
    for mut score in scores {
        let change = Change {
            times: per_quarter / score.per_quarter.0.max(1),
            // At most u16::MAX files, checked above.
            source: whole.sources.len() as u16,
        };
        let fits =
            score.parts.iter_mut().all(|p| change.part(p)) && change.marks(&mut score.stated);
        if !fits {
            return Err(incommensurable(&score));
        }
        whole.title = whole.title.or(score.title);
        whole.cut_texts += score.cut_texts;
        whole.sources.append(&mut score.sources);
        let before = whole.parts.len() as u32;
        whole
            .waivers
            .extend(score.waivers.drain(..).map(|mut waiver| {
                change.span(&mut waiver.span);
                waiver.parts.iter_mut().for_each(|part| *part += before);
                waiver
            }));
        whole.parts.append(&mut score.parts);
        whole.stated.append(&mut score.stated);
    }
    whole.lay_out();
    Ok(whole)
}

/// The same score on a time line of which `ticks` make a whole number of steps to a quarter note;
/// `None` when the time line would grow out of reach.
pub fn refined(mut score: Score, ticks: i64) -> Option<Score> {
    let per_quarter = common(score.per_quarter.0.max(1), ticks.max(1))?;
    let change = Change {
        times: per_quarter / score.per_quarter.0.max(1),
        source: 0,
    };
    let fits = score.parts.iter_mut().all(|p| change.part(p)) && change.marks(&mut score.stated);
    score.per_quarter = Ticks(per_quarter);
    score.lay_out();
    fits.then_some(score)
}

fn incommensurable(score: &Score) -> MergeError {
    MergeError::Incommensurable {
        file: score
            .sources
            .first()
            .map_or_else(|| "a score".to_owned(), |s| s.path.display().to_string()),
        ticks: score.per_quarter.0,
    }
}

/// The least common multiple, when it is usable.
fn common(a: i64, b: i64) -> Option<i64> {
    checked_lcm(a, b).filter(|l| (1..=MAX_PER_QUARTER).contains(l))
}

/// What becomes of the times and the places in the text when a score joins others.
struct Change {
    /// Ticks grow this many times.
    times: i64,
    /// Added to the index of the source.
    source: u16,
}

impl Change {
    /// False when the time grows out of reach.
    fn ticks(&self, ticks: &mut Ticks) -> bool {
        let more = ticks.0.checked_mul(self.times);
        if let Some(more) = more {
            ticks.0 = more;
        }
        more.is_some()
    }

    fn span(&self, span: &mut Span) {
        span.source = span.source.saturating_add(self.source);
    }

    fn marks<T>(&self, marks: &mut [Mark<T>]) -> bool {
        marks.iter_mut().all(|m| {
            self.span(&mut m.span);
            self.ticks(&mut m.at.offset)
        })
    }

    fn part(&self, part: &mut Part) -> bool {
        let notes = part.notes.iter_mut().all(|n| {
            self.span(&mut n.span);
            self.ticks(&mut n.at.offset) && self.ticks(&mut n.duration)
        });
        let rests = part.rests.iter_mut().all(|r| {
            self.span(&mut r.span);
            self.ticks(&mut r.at.offset) && self.ticks(&mut r.duration)
        });
        let bars = part.bars.iter_mut().all(|b| {
            self.span(&mut b.span);
            self.ticks(&mut b.filled)
        });
        for span in &mut part.accidentals {
            self.span(span);
        }
        notes
            && rests
            && bars
            && self.marks(&mut part.keys)
            && self.marks(&mut part.meters)
            && self.marks(&mut part.clefs)
            && self.marks(&mut part.transpositions)
            && self.marks(&mut part.words)
            && self.marks(&mut part.dynamics)
            && self.marks(&mut part.hairpins)
            && self.marks(&mut part.pedals)
            && self.marks(&mut part.impossible)
            && self.marks(&mut part.loose_slurs)
            && self.marks(&mut part.chords)
            && self.marks(&mut part.tempos)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Pitch;
    use crate::score::{Articulations, Note, NoteFlags, PartBar, Place, Source};
    use std::path::PathBuf;

    fn one_part(name: &str, per_quarter: i64) -> Score {
        let pitch: Pitch = "C4".parse().unwrap();
        let note = |bar, offset| Note {
            at: Place {
                bar,
                offset: Ticks(offset),
            },
            onset: Ticks::ZERO,
            duration: Ticks(per_quarter),
            written: pitch,
            sounding: pitch,
            staff: 1,
            voice: 1,
            flags: NoteFlags::default(),
            articulations: Articulations::default(),
            span: Span::default(),
        };
        let bar = PartBar {
            filled: Ticks(4 * per_quarter),
            ..PartBar::default()
        };
        let mut score = Score {
            per_quarter: Ticks(per_quarter),
            sources: vec![Source {
                path: PathBuf::from(format!("{name}.musicxml")),
                member: None,
                format: crate::score::Format::MusicXml,
                lines: std::sync::OnceLock::new(),
                text: "".into(),
            }],
            parts: vec![Part {
                name: name.to_owned(),
                notes: vec![note(0, 0), note(1, per_quarter)].into(),
                bars: vec![bar.clone(), bar].into(),
                ..Part::default()
            }],
            ..Score::default()
        };
        score.lay_out();
        score
    }

    #[test]
    fn times_meet_on_the_common_multiple() {
        let score = merge(vec![one_part("a", 4), one_part("b", 6)]).unwrap();
        assert_eq!(score.per_quarter, Ticks(12));
        for (i, part) in score.parts.iter().enumerate() {
            assert_eq!(part.notes[1].onset, Ticks(60));
            assert_eq!(part.notes[1].duration, Ticks(12));
            assert_eq!(part.bars[0].filled, Ticks(48));
            assert_eq!(usize::from(part.notes[0].span.source), i);
        }
        assert_eq!(score.bars.len(), 2);
        assert_eq!(score.sources.len(), 2);
    }

    #[test]
    fn equal_names_stay_separate_in_the_order_given() {
        let mut second = one_part("sax", 1);
        second.title = Some("Second".to_owned());
        second.concert = true;
        let score = merge(vec![one_part("sax", 1), second]).unwrap();
        assert_eq!(score.parts.len(), 2);
        assert_eq!(score.title.as_deref(), Some("Second"));
        assert!(!score.concert);
    }

    #[test]
    fn what_cannot_be_merged_is_named() {
        assert_eq!(merge(Vec::new()).unwrap_err(), MergeError::Empty);
        let far = vec![one_part("a", 999_999_937), one_part("b", 999_999_929)];
        let error = merge(far).unwrap_err();
        assert!(error.to_string().starts_with("b.musicxml: "), "{error}");
        let mut long = one_part("c", 1);
        long.parts[0].notes[0].duration = Ticks(i64::MAX);
        assert!(merge(vec![long, one_part("d", 2)]).is_err());
    }
}
