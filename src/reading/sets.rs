//! Part files that belong together: which are one score, and which cannot be.

use crate::ground::problem::Problem;
use crate::ground::time::{Meter, Ticks};
use crate::score::Score;
use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};

/// Part files that are one score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    /// The title of the score.
    pub title: Option<String>,
    /// The files in score order.
    pub files: Vec<PathBuf>,
    /// What the house style may not name, and is not read.
    pub outside: Vec<PathBuf>,
}

/// For each file of a set, why it cannot be a player's part of the same score as the others: a whole
/// score among single parts, or another title together with another key or meter.
pub(super) fn strangers(set: &[(PathBuf, Score)]) -> Vec<Option<Problem>> {
    let single = |s: &Score| s.parts.len() <= 1;
    let singles = set.iter().filter(|(_, s)| single(s)).count();
    let about = |s: &Score| (title(s), opening(s));
    let most = most_common(
        set.iter()
            .filter(|(_, s)| single(s) || singles == 0)
            .map(|(_, s)| about(s)),
    );
    set.iter()
        .map(|(path, score)| {
            if singles > 0 && !single(score) {
                return Some(
                    Problem::whole(
                        path,
                        format!(
                            "this is a score of {} parts, among files of one part each: it was left out of the score that is put together",
                            score.parts.len()
                        ),
                    )
                    .help("read a score by itself, without --one-score; keep only the players' parts together"),
                );
            }
            let (name, opening) = about(score);
            let (wanted, theirs) = most.as_ref()?;
            let differs = |a: &Option<String>, b: &Option<String>| a.is_some() && b.is_some() && a != b;
            if !differs(&name, wanted) || opening == *theirs {
                return None;
            }
            Some(
                Problem::whole(
                    path,
                    format!(
                        "this is not a part of the same score: its title is \u{201c}{}\u{201d} and its {}, the others' \u{201c}{}\u{201d} and {}",
                        score.title.as_deref().unwrap_or_default(),
                        opening_words(opening),
                        set.iter()
                            .find(|(_, s)| about(s).0 == *wanted)
                            .and_then(|(_, s)| s.title.as_deref())
                            .unwrap_or_default(),
                        opening_words(*theirs),
                    ),
                )
                .help("give --one-score the parts of one piece only"),
            )
        })
        .collect()
}

/// A title as it is compared: letters and figures only.
fn title(score: &Score) -> Option<String> {
    let text: String = score
        .title
        .as_deref()?
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect();
    (!text.is_empty()).then_some(text)
}

/// The concert key (in fifths) and the meter a score starts with.
fn opening(score: &Score) -> (i8, Meter) {
    let key = score
        .parts
        .first()
        .map_or(0, |p| p.concert_fifths(Ticks::ZERO));
    (key, score.meter_at(Ticks::ZERO))
}

fn opening_words((fifths, meter): (i8, Meter)) -> String {
    let key = match fifths {
        0 => "no sharps or flats".to_owned(),
        n => {
            let (count, sign) = (n.unsigned_abs(), if n > 0 { "sharp" } else { "flat" });
            format!("{count} {sign}{}", if count == 1 { "" } else { "s" })
        }
    };
    format!("key signature {key} (concert), meter {meter}")
}

/// The value that comes most often; the first one's among equals.
fn most_common<T: PartialEq>(values: impl Iterator<Item = T>) -> Option<T> {
    let mut counts: Vec<(T, usize)> = Vec::new();
    for value in values {
        match counts.iter_mut().find(|(v, _)| *v == value) {
            Some((_, n)) => *n = n.saturating_add(1),
            None => counts.push((value, 1)),
        }
    }
    let best = counts.iter().map(|(_, n)| *n).max()?;
    counts.into_iter().find(|(_, n)| *n == best).map(|(v, _)| v)
}

/// Files that were read one by one and look like the parts of one score: the index of the first, and
/// how many there are. They lie in one folder, have one title and one number of bars, one part each,
/// and no two of them are for the same player.
pub fn sets_of_parts<'a>(
    read: impl Iterator<Item = (&'a Path, Option<&'a Score>)>,
) -> Vec<(usize, usize)> {
    type Key = (PathBuf, String, usize);
    let mut sets: BTreeMap<Key, Vec<(usize, &str)>> = BTreeMap::new();
    for (index, (path, score)) in read.enumerate() {
        let Some(score) = score else { continue };
        let ([part], Some(title)) = (score.parts.as_slice(), title(score)) else {
            continue;
        };
        let folder = path.parent().map(Path::to_owned).unwrap_or_default();
        sets.entry((folder, title, score.bars.len()))
            .or_default()
            .push((index, part.name.as_str()));
    }
    let mut found: Vec<(usize, usize)> = sets
        .into_values()
        .filter(|set| {
            let names: HashSet<&str> = set.iter().map(|(_, name)| *name).collect();
            set.len() > 1 && names.len() == set.len()
        })
        .filter_map(|set| Some((set.first()?.0, set.len())))
        .collect();
    found.sort_unstable();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::files::{Outcome, read_as_one, read_paths};
    use std::fs;

    const XML: &str = "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name>\
        </score-part></part-list><part id=\"P1\"><measure number=\"1\"><attributes>\
        <divisions>1</divisions></attributes><note><pitch><step>C</step><octave>5</octave></pitch>\
        <duration>4</duration></note></measure></part></score-partwise>";

    fn sets_in(outcomes: &[Outcome]) -> Vec<(usize, usize)> {
        sets_of_parts(
            outcomes
                .iter()
                .map(|o| (o.path.as_path(), o.score.as_ref().ok())),
        )
    }

    /// A part file of its own title, meter and name.
    fn part_file(title: &str, beats: u8, name: &str) -> String {
        XML.replace(
            "<score-partwise>",
            &format!("<score-partwise><work><work-title>{title}</work-title></work>"),
        )
        .replace(
            "<divisions>1</divisions>",
            &format!(
                "<divisions>1</divisions><time><beats>{beats}</beats><beat-type>4</beat-type></time>"
            ),
        )
        .replace("Flute", name)
    }

    #[test]
    fn files_that_do_not_belong_together_are_left_out_and_named() {
        let dir = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs::write(dir.path().join(name), text).unwrap();
        write("1.musicxml", &part_file("Tide", 4, "Flute 1"));
        write("2.musicxml", &part_file("Tide", 4, "Flute 2"));
        write("3.musicxml", &part_file("Harbour", 3, "Flute 3"));
        // Another title alone (the player's name, say) is no reason.
        write("4.musicxml", &part_file("Tide, fourth flute", 4, "Flute 4"));
        write("5.passage", "count | 1 |\nalto | C4 |\ntenor | E4 |\n");
        let outcomes = read_as_one(&[dir.path().to_owned()]);
        let errors: Vec<String> = outcomes
            .iter()
            .filter_map(|o| o.score.as_ref().err().map(|e| e.message.clone()))
            .collect();
        assert_eq!(errors.len(), 2, "{errors:#?}");
        assert!(errors[0].contains("meter 3/4"), "{}", errors[0]);
        assert!(errors[1].contains("a score of 2 parts"), "{}", errors[1]);
        let whole = outcomes.iter().find_map(|o| o.score.as_ref().ok()).unwrap();
        assert_eq!(whole.parts.len(), 3);
    }

    #[test]
    fn parts_read_one_by_one_are_noticed_and_homework_is_not() {
        let dir = tempfile::tempdir().unwrap();
        for (file, name) in [("1", "Flute 1"), ("2", "Flute 2"), ("3", "Oboe")] {
            fs::write(
                dir.path().join(format!("{file}.musicxml")),
                part_file("Tide", 4, name),
            )
            .unwrap();
        }
        let sets = sets_in(&read_paths(&[dir.path().to_owned()]));
        assert_eq!(sets, [(0, 3)]);
        // Three students with the same task for the same instrument are three scores.
        for file in ["1", "2", "3"] {
            fs::write(
                dir.path().join(format!("{file}.musicxml")),
                part_file("Tide", 4, "Piano"),
            )
            .unwrap();
        }
        assert!(sets_in(&read_paths(&[dir.path().to_owned()])).is_empty());
    }
}
