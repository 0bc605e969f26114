//! Slicing into sonorities against music21 (published: music21 10.5.1, its verticalities and its
//! corpus of four-voice chorales): the same bars, beats, spelled pitches, parts, struck or held.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::outside::{ask, by_file, files, lines, program, scores};
use serde_json::Value;

/// A sonority in one line: bar, beat, and from the top part and pitch, `-` where it is held.
fn line(bar: &Value, beat: &Value, voices: &Value) -> String {
    let voices: Vec<String> = voices
        .as_array()
        .unwrap()
        .iter()
        .map(|v| {
            let held = if v["attacked"].as_bool().unwrap() {
                ""
            } else {
                "-"
            };
            format!(
                "{} {}{held}",
                v["part"].as_str().unwrap(),
                v["sounding"].as_str().unwrap()
            )
        })
        .collect();
    format!("bar {bar} beat {beat}: {}", voices.join(", "))
}

#[test]
fn sonorities_are_those_of_music21() {
    let least = scores(40);
    let Some((_, said)) = ask("outside_slicing.py", [least.to_string()]) else {
        return;
    };
    let theirs = lines(&said);
    assert!(theirs.len() >= 30, "{}", theirs.len());
    let report = program(&["analysis", "--format", "json"], &files(&theirs));
    let ours = by_file(&report["files"], "path");
    let (mut compared, mut held, mut differing) = (0, 0, Vec::new());
    for score in &theirs {
        let file = score["file"].as_str().unwrap();
        let short = file.rsplit(['/', '\\']).next().unwrap();
        let sections = ours[file][0]["sections"].as_array().unwrap();
        assert_eq!(sections.len(), 1, "{short} is one section");
        let ours: Vec<String> = sections[0]["sonorities"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| line(&s["bar_index"], &s["beat"], &s["voices"]))
            .collect();
        let counted = |beat: &str| -> Vec<String> {
            score["sonorities"]
                .as_array()
                .unwrap()
                .iter()
                .map(|s| line(&s["bar"], &s[beat], &s["voices"]))
                .collect()
        };
        let theirs = counted("beat");
        compared += ours.len();
        held += ours.iter().filter(|l| l.contains('-')).count();
        if let Some(at) = (0..ours.len().max(theirs.len())).find(|&i| ours.get(i) != theirs.get(i))
        {
            let show = |list: &[String]| list.get(at).cloned().unwrap_or_else(|| "nothing".into());
            differing.push(format!(
                "{short}\n  here    {}\n  music21 {}",
                show(&ours),
                show(&theirs)
            ));
        }
    }
    assert!(
        differing.is_empty(),
        "{} of {} scores differ, each first at:\n{}",
        differing.len(),
        theirs.len(),
        differing.join("\n")
    );
    assert!(held > 100, "{held} with held voices: the check is empty");
    println!(
        "{} scores, {compared} sonorities, {held} with held voices",
        theirs.len()
    );
}
