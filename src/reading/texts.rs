//! The texts of a score, none longer than reports can repeat.
//!
//! A part's name stands in the message of each of its findings, a chord symbol over each of its bars: a
//! small file would else give a report of any size. Places in the file do not depend on what is cut.

use super::waiver::WaiverText;
use crate::file_text::limits::{LONGEST_NAME, LONGEST_TEXT};
use crate::ground::text::shorten;
use crate::score::{Part, Score};

/// Cuts what is too long in a score that is not laid out yet, and in the waivers it has.
pub(super) fn cut(score: &mut Score, said: &mut [WaiverText]) {
    let mut texts = CutTexts::default();
    texts.rests(&mut score.title);
    for part in &mut score.parts {
        texts.part(part);
    }
    for mark in &mut score.stated {
        texts.names(&mut mark.value.section);
        texts.names(&mut mark.value.technique);
    }
    for waiver in said {
        texts.rest(&mut waiver.text);
    }
    score.cut_texts = texts.count;
}

/// How many texts were cut.
#[derive(Default)]
struct CutTexts {
    count: usize,
}

impl CutTexts {
    fn name(&mut self, text: &mut String) {
        let cut = usize::from(shorten(text, LONGEST_NAME));
        self.count = self.count.saturating_add(cut);
    }

    fn names(&mut self, text: &mut Option<String>) {
        if let Some(text) = text {
            self.name(text);
        }
    }

    /// A text that is no name.
    fn rest(&mut self, text: &mut String) {
        let cut = usize::from(shorten(text, LONGEST_TEXT));
        self.count = self.count.saturating_add(cut);
    }

    fn rests(&mut self, text: &mut Option<String>) {
        if let Some(text) = text {
            self.rest(text);
        }
    }

    fn part(&mut self, part: &mut Part) {
        self.name(&mut part.name);
        self.names(&mut part.abbreviation);
        self.names(&mut part.instrument_name);
        self.names(&mut part.sound);
        for bar in &mut part.bars {
            self.name(&mut bar.number);
            self.names(&mut bar.rehearsal);
            self.names(&mut bar.ending);
        }
        for mark in &mut part.words {
            self.rest(&mut mark.value.text);
        }
        for mark in &mut part.dynamics {
            self.name(&mut mark.value);
        }
        for mark in &mut part.chords {
            let symbol = &mut mark.value;
            self.name(&mut symbol.written);
            // These two repeat what is written.
            if let Some(chord) = &mut symbol.chord {
                shorten(&mut chord.text, LONGEST_NAME);
            }
            if let Some(why) = &mut symbol.unread {
                shorten(why, LONGEST_TEXT);
            }
        }
    }
}
