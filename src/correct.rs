//! A whole score put right: all verified fixes that do not get in each other's way.

use crate::finding::Finding;
use crate::fixing::{Identity, TryBudget, is_remark_beside};
use crate::ground::pitch::Pitch;
use crate::proof::{Heard, Proofed};
use crate::score::{Addition, Change, NoteRef};
use crate::score::{Place, Score};
use crate::style::{Level, Style};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashSet};

/// How often the corrected score is proofed again for fixes that others stood in the way of.
const ROUNDS: usize = 12;

/// One note as it was and as it is written now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Done {
    /// 0-based part.
    pub part: u32,
    /// Where.
    pub at: Place,
    /// Written pitch before.
    pub from: Pitch,
    /// Written pitch now.
    pub to: Pitch,
    /// Sounding pitch before, and now.
    pub sounding: (Pitch, Pitch),
    /// The rule whose finding it mends.
    pub rule: &'static str,
}

/// A part that got the marks it lacked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MarksDone {
    /// 0-based parts.
    pub parts: Vec<u32>,
    /// Where the first of them stands.
    pub at: Place,
    /// What was done, in words.
    pub what: String,
    /// The rule whose finding it mends.
    pub rule: &'static str,
}

/// What correcting a score came to.
#[derive(Clone, Debug)]
pub struct Correction {
    /// The changes from the score as it was read, each note once.
    pub changes: Vec<Change>,
    /// The same for people, in order of place and part.
    pub done: Vec<Done>,
    /// Marks that notes get.
    pub additions: Vec<Addition>,
    /// The same for people, in order of place and part.
    pub marked: Vec<MarksDone>,
    /// What proofing the corrected score still finds.
    pub left: Proofed,
}

/// Applies every verified fix of a score. Where two touch the same note the first has it; the score
/// is then proofed again, until nothing more can be mended. A round that leaves as many findings as
/// before is undone.
pub fn correct(score: &Heard, style: &Style) -> Correction {
    let mut now = Cow::Borrowed(&**score);
    // One budget for all rounds.
    let mut budget = TryBudget::of_a_score();
    let mut left = score.looked_over(style);
    score.look_for_fixes(style, &mut left, &mut budget);
    // Parts that are read as they are to be written out need no trial: they were judged so.
    let mut all: BTreeMap<NoteRef, (Pitch, &'static str)> = left
        .findings
        .iter()
        .filter(|f| is_heard(&now, f))
        .flat_map(|f| {
            let changes = f.fix.iter().flat_map(|x| &x.changes);
            changes.map(|c| (c.note, (c.sounding, f.rule)))
        })
        .collect();
    let (additions, marked) = add_marks(&mut now, &left);
    if !additions.is_empty() {
        left.findings.retain(|f| !is_of_marks(f));
    }
    for _ in 0..ROUNDS {
        let Some((next, after, applied)) = round(&now, style, &left, &mut budget) else {
            break;
        };
        for (change, rule) in applied {
            all.insert(change.note, (change.sounding, rule));
        }
        now = Cow::Owned(next);
        left = after;
    }
    left.findings.retain(|f| !is_heard(&now, f));
    let filed = score.filed(|_| false);
    let mut changes = Vec::new();
    let mut done = Vec::new();
    for (note, (sounding, rule)) in all {
        let of = |s: &Score| {
            let part = s.parts.get(note.part as usize)?;
            part.notes.get(note.note as usize).copied()
        };
        let (Some(old), Some(new)) = (of(&filed), of(&now)) else {
            continue;
        };
        if old.written == new.written {
            continue;
        }
        changes.push(Change { note, sounding });
        done.push(Done {
            part: note.part,
            at: old.at,
            from: old.written,
            to: new.written,
            sounding: (old.sounding, new.sounding),
            rule,
        });
    }
    done.sort_by_key(|d| (d.at, d.part));
    Correction {
        changes,
        done,
        additions,
        marked,
        left,
    }
}

/// Whether the fix of a finding adds marks and changes no pitch.
fn is_of_marks(finding: &Finding) -> bool {
    let fix = finding.fix.as_ref();
    fix.is_some_and(|f| f.changes.is_empty() && !f.additions.is_empty())
}

/// Adds the marks of all verified fixes; pitches have nothing to do with them.
fn add_marks(now: &mut Cow<'_, Score>, found: &Proofed) -> (Vec<Addition>, Vec<MarksDone>) {
    let mut additions = Vec::new();
    let mut marked = Vec::new();
    for finding in found.findings.iter().filter(|f| is_of_marks(f)) {
        let Some(fix) = &finding.fix else { continue };
        additions.extend(fix.additions.iter().copied());
        marked.push(MarksDone {
            parts: finding.parts.clone(),
            at: finding.at,
            what: fix.summary.clone(),
            rule: finding.rule,
        });
    }
    if !additions.is_empty() {
        now.to_mut().add(&additions);
    }
    marked.sort_by(|a, b| (a.at, &a.parts).cmp(&(b.at, &b.parts)));
    (additions, marked)
}

/// Whether the fix of a finding is how the score is read already.
fn is_heard(score: &Score, finding: &Finding) -> bool {
    let sounds = |c: &Change| {
        let part = score.parts.get(c.note.part as usize);
        part.and_then(|p| p.notes.get(c.note.note as usize))
            .is_some_and(|n| n.sounding == c.sounding && !score.is_displaced(c.note))
    };
    let fix = finding.fix.as_ref();
    fix.is_some_and(|f| !f.changes.is_empty() && f.changes.iter().all(sounds))
}

type Applied = Vec<(Change, &'static str)>;

/// One round: all fixes that touch different notes; when together they bring something new, fewer.
fn round(
    now: &Score,
    style: &Style,
    findings: &Proofed,
    budget: &mut TryBudget,
) -> Option<(Score, Proofed, Applied)> {
    let mut taken: BTreeSet<NoteRef> = BTreeSet::new();
    let mut chosen: Vec<&Finding> = Vec::new();
    for finding in &findings.findings {
        let Some(fix) = &finding.fix else { continue };
        // A note says what may be so: nobody has asked to have it changed.
        let asked = finding.level > Level::Note;
        if !asked || is_heard(now, finding) || fix.changes.is_empty() {
            continue;
        }
        let notes: Vec<NoteRef> = fix
            .changes
            .iter()
            .flat_map(|c| now.tied_chain(c.note))
            .collect();
        if notes.iter().any(|n| taken.contains(n)) {
            continue;
        }
        taken.extend(notes);
        chosen.push(finding);
    }
    let before: HashSet<Identity> = findings.findings.iter().map(Identity::of).collect();
    while !chosen.is_empty() {
        let mut next = now.clone();
        for fix in chosen.iter().filter_map(|f| f.fix.as_ref()) {
            next.change(&fix.changes);
        }
        // Heard by itself: the score that is edited stays as it was heard at first.
        let heard = Heard::new(next.clone(), style);
        let mut after = heard.looked_over(style);
        let gone = chosen.iter().map(|f| f.level).max().unwrap_or(Level::Note);
        let passes = |f: &Finding| before.contains(&Identity::of(f)) || is_remark_beside(gone, f);
        if weight(&after) < weight(findings) && after.findings.iter().all(passes) {
            let applied = chosen
                .iter()
                .flat_map(|f| {
                    let changes = f.fix.iter().flat_map(|x| x.changes.iter().copied());
                    changes.map(|c| (c, f.rule)).collect::<Vec<_>>()
                })
                .collect();
            heard.look_for_fixes(style, &mut after, budget);
            return Some((next, after, applied));
        }
        let half = chosen.len() / 2;
        chosen.truncate(half);
    }
    None
}

/// Errors and warnings, then all findings: what each round makes less of.
fn weight(proofed: &Proofed) -> (usize, usize) {
    let all = &proofed.findings;
    let grave = all.iter().filter(|f| f.level > Level::Note);
    (grave.count(), all.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editing;
    use crate::reading::grid;
    use std::path::Path;

    #[test]
    fn notes_at_concert_pitch_are_written_out_for_their_player() {
        let text = "\
key: Bb major
meter: 4/4
pitch: written
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       trombone 1 = trombone

count      | 1   2   3   4  | 1  2   3   4   | 1   2  3  4   |
alto 1     | B5  A5  B5  D6 | D6 B5  C6  B5  | B5  A5 D6 B5  |
alto 2     | Bb4 A4  Bb4 D5 | D5 Bb4 C5  Bb4 | Bb4 A4 D5 Bb4 |
tenor 1    | G5  F5  G5  C6 | C6 G5  A5  G5  | G5  F5 C6 G5  |
trombone 1 | D4  C4  D4  F4 | F4 D4  Eb4 D4  | D4  C4 F4 D4  |
";
        let style = Style::default();
        let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
        let heard = Heard::new(score, &style);
        let correction = correct(&heard, &style);
        assert_eq!(correction.left.findings, []);
        assert_eq!(correction.done.len(), 12);
        let from_to = correction.done.first().map(|d| (d.part, d.from, d.to));
        let pitch = |text: &str| text.parse::<Pitch>().unwrap();
        assert_eq!(from_to, Some((1, pitch("Bb4"), pitch("G5"))));
        let edits = editing::edits(&heard, &correction.changes).unwrap();
        let edits: Vec<_> = edits.iter().collect();
        let after = editing::apply(&heard.sources[0].text, &edits);
        let row = after.lines().find(|l| l.starts_with("alto 2  ")).unwrap();
        let cells = row.split_whitespace().skip(2).filter(|c| *c != "|");
        assert_eq!(
            cells.collect::<Vec<_>>().join(" "),
            "G5 F#5 G5 B5 B5 G5 A5 G5 G5 F#5 B5 G5"
        );
    }

    /// The text of a score before and after so many findings are mended by marks, with which none is left.
    fn mended(parts: &[(&str, &[&str])], count: usize) -> (String, String) {
        let style = Style::default();
        let heard = Heard::new(crate::rules::shared_pages::score(parts), &style);
        let correction = correct(&heard, &style);
        let left: Vec<&str> = correction.left.findings.iter().map(|f| f.rule).collect();
        assert_eq!(left, Vec::<&str>::new(), "{:?}", correction.left.findings);
        assert_eq!(correction.marked.len(), count, "{:?}", correction.marked);
        let edits = editing::ScoreEdits::new(&heard)
            .with_marks(&correction.changes, &correction.additions)
            .unwrap();
        let text: String = heard.sources[0].text.to_string();
        let mut new = text.clone();
        for edit in edits.iter().rev() {
            new.replace_range(edit.start as usize..edit.end as usize, &edit.replacement);
        }
        (text, new)
    }

    #[test]
    fn missing_dynamics_hairpins_and_fermatas_are_added() {
        let first = "dyn-mf C5:2 D5:2 E5:2 F5:2";
        let second = "dyn-p C5:2 wedge-crescendo D5:2 E5:2 wedge-stop F5:2";
        let third = "dyn-f C5:2 D5:2 E5:2 F5:2:fermata";
        let whole = [first, second, third];
        let lacks = [
            "dyn-mf C5:2 D5:2 E5:2 F5:2",
            "C5:2 D5:2 E5:2 F5:2",
            "dyn-f C5:2 D5:2 E5:2 F5:2",
        ];
        let all = [
            ("Trumpet 1", &whole[..]),
            ("Trumpet 2", &whole[..]),
            ("Trumpet 3", &lacks[..]),
            ("Trumpet 4", &whole[..]),
        ];
        let (text, new) = mended(&all, 3);
        let direction = |inside: &str| {
            format!(
                "<direction placement=\"below\"><direction-type>{inside}</direction-type></direction>"
            )
        };
        let bar = |text: &str| {
            let part = text.split("<part id=\"P2\">").nth(1).unwrap();
            part.split("</measure>").nth(1).unwrap().to_owned()
        };
        let notes: Vec<String> = bar(&text)
            .split_inclusive("</note>")
            .map(str::to_owned)
            .collect();
        let [c, d, e, f] = &notes[..] else {
            panic!("{notes:?}")
        };
        let (head, c) = c.split_once("<note>").unwrap();
        let expected = [
            head,
            &direction("<dynamics><p/></dynamics>"),
            "<note>",
            c,
            &direction("<wedge type=\"crescendo\"/>"),
            d,
            e,
            &direction("<wedge type=\"stop\"/>"),
            f,
        ];
        assert_eq!(bar(&new), expected.concat());
        assert_eq!(new.matches("<fermata/>").count(), 4);
    }

    #[test]
    fn missing_marks_are_added_where_the_file_is_musicxml() {
        let lead = "C5:2:accent D5:2 E5:2:staccato F5:2";
        let slur = "C5:2:slur D5:2 E5:2:end F5:2";
        let bare = "C5:2 D5:2 E5:2 F5:2";
        let whole = [lead, slur, lead, slur];
        let lacks = [lead, bare, bare, slur];
        let all = [
            ("Trumpet 1", &whole[..]),
            ("Trumpet 2", &whole[..]),
            ("Trumpet 3", &lacks[..]),
            ("Trumpet 4", &whole[..]),
        ];
        let (text, new) = mended(&all, 2);
        let more = new.len() - text.len();
        assert_eq!(
            new.matches("<slur").count(),
            text.matches("<slur").count() + 2
        );
        assert_eq!(
            new.matches("<accent/>").count(),
            text.matches("<accent/>").count() + 1
        );
        assert_eq!(
            new.matches("<staccato/>").count(),
            text.matches("<staccato/>").count() + 1
        );
        assert!(more > 0 && !new.contains("<notations></notations>"));
    }
}
