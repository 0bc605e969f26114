//! A waiver in words over the staff after another program has read and written the score
//! (published: music21 10.5.1, its MusicXML reader and writer).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::outside::{ask, program};
use std::fs;
use std::path::Path;

#[test]
fn words_outlive_a_round_trip() {
    let folder = tempfile::tempdir().unwrap();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/ferry-at-six.musicxml");
    let before = fs::read_to_string(sample).unwrap();
    let found = |path: &Path| program(&["proof", "--format", "json"], &[path.to_str().unwrap()]);
    let plain = folder.path().join("plain.musicxml");
    fs::write(&plain, &before).unwrap();
    let report = found(&plain);
    let first = &report["findings"][0];
    let (rule, part) = (
        first["rule"].as_str().unwrap(),
        first["parts"][0].as_str().unwrap(),
    );
    let bar = first["bar"].as_str().unwrap();

    // Into the finding's bar of its part, before its first note.
    let id = &before[..before
        .find(&format!("<part-name>{part}</part-name>"))
        .unwrap()];
    let id = id.rsplit("<score-part id=\"").next().unwrap();
    let id = &id[..id.find('"').unwrap()];
    let from = before.find(&format!("<part id=\"{id}\">")).unwrap();
    let measure = from
        + before[from..]
            .find(&format!("<measure number=\"{bar}\""))
            .unwrap();
    let note = measure + before[measure..].find("<note").unwrap();
    let words = format!(
        "<direction placement=\"above\"><direction-type><words font-size=\"6\">chartproof: meant {rule}: \
         so it was played</words></direction-type></direction>"
    );
    let marked = folder.path().join("marked.musicxml");
    fs::write(
        &marked,
        format!("{}{words}{}", &before[..note], &before[note..]),
    )
    .unwrap();
    let saved = folder.path().join("saved.musicxml");
    if ask("outside_waiver.py", [&marked, &saved]).is_none() {
        return;
    }
    for path in [&marked, &saved] {
        let report = found(path);
        let aside = report["set_aside"].as_array().unwrap();
        let waived = aside
            .iter()
            .find(|a| a["rule"] == *rule)
            .unwrap_or_else(|| panic!("{}: {:?}", path.display(), report["findings"]));
        assert_eq!(waived["because"]["grounds"], "waiver");
        assert_eq!(waived["because"]["reason"], "so it was played");
        let findings = report["findings"].as_array().unwrap();
        assert!(
            findings.iter().all(|f| f["rule"] != "waiver"),
            "{findings:?}"
        );
    }
}
