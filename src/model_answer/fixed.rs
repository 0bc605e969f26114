//! Choices that the writer made: they stand, and the rest is found around them.

use super::alternatives::alternatives;
use super::answer::{Answer, Weighed};
use super::request::{Fixed, Request, VoiceError};
use crate::diagnosis::Passage;
use crate::score::Score;
use crate::style::Style;

/// How many choices of a note may be named.
const MOST: usize = 9;

/// The answer around the choices that a score names; `None` where it names none. Their numbers are those of the
/// answer that is made without them.
pub(super) fn voice(
    score: &Score,
    style: &Style,
    request: &Request,
) -> Option<Result<Answer, VoiceError>> {
    if score.choices.is_empty() || !request.fixed.is_empty() {
        return None;
    }
    Some(around(score, style, request))
}

fn around(score: &Score, style: &Style, request: &Request) -> Result<Answer, VoiceError> {
    let mut open = score.clone();
    open.choices.clear();
    let free = super::voice(&open, style, request)?;
    let all = alternatives(&free, MOST);
    let mut fixed = Vec::new();
    for mark in &score.choices {
        let step = free.steps.iter().position(|s| s.onset == mark.onset);
        // A choice where no note is struck says nothing.
        let Some(choices) = step.and_then(|at| all.get(at)) else {
            continue;
        };
        let index = usize::from(mark.value).saturating_sub(1);
        let Some(chosen) = choices.get(index) else {
            let place = score.place_of(mark.onset);
            return Err(VoiceError::NoSuchChoice {
                place: format!(
                    "bar {}, beat {}",
                    score.bar_number(place.bar),
                    score.beat_at(place)
                ),
                found: mark.value,
                known: match choices.len() {
                    1 => "one choice".to_owned(),
                    n => format!("{n} choices"),
                },
            });
        };
        fixed.push(Fixed {
            onset: mark.onset,
            voicing: chosen.weighed.voicing.clone(),
        });
    }
    if fixed.is_empty() {
        return Ok(free);
    }
    let request = Request {
        fixed,
        ..request.clone()
    };
    super::voice(&open, style, &request)
}

/// Leaves nothing but the voicing that is fixed where one is.
pub(super) fn keep(fixed: &[Fixed], passage: &Passage, options: &mut [Vec<Weighed>]) {
    for one in fixed {
        let sonorities = &passage.sonorities;
        let at = sonorities.binary_search_by_key(&one.onset, |s| s.onset);
        let Some(list) = at.ok().and_then(|at| options.get_mut(at)) else {
            continue;
        };
        if list.iter().any(|o| o.voicing == one.voicing) {
            list.retain(|o| o.voicing == one.voicing);
        }
    }
}
