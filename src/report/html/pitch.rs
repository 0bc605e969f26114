//! Which pitches stand in a page: both, with a choice between them, or the one that was asked for.

use crate::engraving::ShownPitch;
use crate::score::{Score, SpokenPitch};

const WRITTEN: (ShownPitch, &str) = (ShownPitch::Written, "written");
const SOUNDING: (ShownPitch, &str) = (ShownPitch::Sounding, "sounding");

/// The pitches at which a score is drawn, each with its word, which is its class in the page too.
pub(super) const fn drawn(score: &Score) -> &'static [(ShownPitch, &'static str)] {
    match score.spoken {
        SpokenPitch::Both => &[WRITTEN, SOUNDING],
        SpokenPitch::Written => &[WRITTEN],
        SpokenPitch::Sounding => &[SOUNDING],
    }
}

/// The pitch at which a part (0-based) is spoken of first, with its word.
pub(super) fn first(score: &Score, part: u32) -> (ShownPitch, &'static str) {
    if score.speaks_sounding(part) {
        SOUNDING
    } else {
        WRITTEN
    }
}

/// Hides the pictures at the pitch that is not chosen.
pub(super) const STYLE: &str =
    "body:has(#pitch-w:checked) .sounding,body:has(#pitch-s:checked) .written{display:none}";

/// The choice between the pitches; empty where a page has one alone. The pitch of the files is chosen
/// at first: sounding where that comes first in all of them.
pub(super) fn choice<'a>(scores: impl Iterator<Item = &'a Score>) -> String {
    let scores: Vec<&Score> = scores.collect();
    if scores.iter().any(|s| s.spoken != SpokenPitch::Both) {
        return String::new();
    }
    let sounding = !scores.is_empty() && scores.iter().all(|s| s.speaks_sounding(0));
    let radio = |letter: char, word: &str, chosen: bool| {
        let checked = if chosen { " checked" } else { "" };
        format!(
            "<label><input type=\"radio\" name=\"pitch\" id=\"pitch-{letter}\"{checked}><span>{word}</span></label>"
        )
    };
    format!(
        "<fieldset><legend>pitch</legend>{}{}{}</fieldset>",
        radio('w', "written", !sounding),
        radio('s', "sounding", sounding),
        radio('b', "both", false)
    )
}
