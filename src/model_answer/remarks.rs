//! What the reader should know of an answer: what was done and why, and what is said of the lead itself.

use super::answer::{Remark, WayOut, Weighed};
use super::job::Job;
use crate::finding::Finding;
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::voicing::Technique;

/// What was done about the number of players and the octave.
pub(super) fn of_whole(note: Option<&str>, octaves: i16) -> Vec<Remark> {
    let mut texts: Vec<String> = note.iter().map(|n| (*n).to_owned()).collect();
    if octaves != 0 {
        let way = if octaves < 0 { "lower" } else { "higher" };
        let count = match octaves.abs() / 12 {
            1 => "an octave".to_owned(),
            n => format!("{n} octaves"),
        };
        texts.push(format!(
            "the whole passage stands {count} {way} than the lead given: there it lies in the ranges"
        ));
    }
    let whole = |text| Remark {
        onset: None,
        place: "all".to_owned(),
        text,
    };
    texts.into_iter().map(whole).collect()
}

/// The ways out that were taken, neighbours together.
pub(super) fn of_ways_out(job: &Job<'_>, line: &[Weighed]) -> Vec<Remark> {
    let sonorities = &job.passage.sonorities;
    let mut out: Vec<Remark> = Vec::new();
    let mut at = 0;
    while let Some(first) = line.get(at) {
        // What was asked for needs no word.
        let taken = |w: &WayOut| !matches!(w, WayOut::Asked | WayOut::Solo);
        let kind = |o: &Weighed| o.way_out.filter(taken).map(|w| (w, o.technique));
        let Some((way, technique)) = kind(first) else {
            at += 1;
            continue;
        };
        let same = line
            .iter()
            .skip(at)
            .take_while(|o| kind(o) == Some((way, technique)));
        let end = at + same.count();
        let onset = |i: usize| sonorities.get(i).map(|s| s.onset);
        if let (Some(from), Some(to)) = (onset(at), onset(end.saturating_sub(1))) {
            let mut place = place(job.lead, from);
            if to > from {
                place = format!("{place} to {}", self::place(job.lead, to));
            }
            out.push(Remark {
                onset: Some(from),
                place,
                text: in_words(way, technique, job.arrangement.technique),
            });
        }
        at = end;
    }
    together(&out)
}

/// The most places at which the same is said one by one.
const ONE_BY_ONE: usize = 4;

/// What is said at many places is said once, with the first of them.
fn together(remarks: &[Remark]) -> Vec<Remark> {
    let mut out: Vec<Remark> = Vec::new();
    for remark in remarks {
        let same: Vec<&Remark> = remarks.iter().filter(|r| r.text == remark.text).collect();
        if same.len() <= ONE_BY_ONE {
            out.push(remark.clone());
        } else if same.first().is_some_and(|f| std::ptr::eq(*f, remark)) {
            let named = same.iter().take(ONE_BY_ONE).map(|r| r.place.as_str());
            let named: Vec<&str> = named.collect();
            let more = same.len() - ONE_BY_ONE;
            let places = if more == 1 { "place" } else { "places" };
            out.push(Remark {
                place: format!("{} and {more} more {places}", named.join("; ")),
                ..remark.clone()
            });
        }
    }
    out
}

fn in_words(way: WayOut, technique: Technique, asked: Technique) -> String {
    match way {
        WayOut::InParallel => {
            format!("all voices move with the lead: {asked} has no place for this note")
        }
        WayOut::InnerDoubling => {
            format!(
                "a note of the chord is doubled: no voicing in {asked} lies clear and in the ranges here"
            )
        }
        WayOut::Asked | WayOut::Solo => format!("{technique}, as the lead asks"),
        WayOut::Together if technique == asked => {
            format!("{asked}, each seat in the octave that it has")
        }
        WayOut::OtherTechnique | WayOut::Together => {
            format!("{technique}: no voicing in {asked} lies clear and in the ranges here")
        }
    }
}

/// What the rules say, as remarks.
pub(super) fn of_findings(answer: &Score, findings: &[Finding]) -> Vec<Remark> {
    let mut out: Vec<Remark> = Vec::new();
    for finding in findings {
        let bar = answer.bars.get(finding.at.bar as usize);
        let remark = Remark {
            onset: bar.map(|b| b.start + finding.at.offset),
            place: format!(
                "bar {}, beat {}",
                answer.bar_number(finding.at.bar),
                answer.beat_at(finding.at)
            ),
            text: finding.message.clone(),
        };
        if !out.contains(&remark) {
            out.push(remark);
        }
    }
    out
}

/// Bar and beat in words.
fn place(lead: &Score, onset: Ticks) -> String {
    let at = lead.place_of(onset);
    format!("bar {}, beat {}", lead.bar_number(at.bar), lead.beat_at(at))
}
