//! A whole document: its titles, its parts, its bars, in partwise or timewise order.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and counts of its bars"
)]

use super::measure::{self, Heading, count_bar, part_bars};
use super::part::PartReader;
use super::part_list::{Parts, for_all};
use super::scale::Scale;
use super::side_by_side::Listed;
use super::ways::Ways;
use super::xml::{Element, Xml};
use crate::file_text::Limits;
use crate::ground::time::Ticks;
use crate::reading::fault::{Fault, Parsed};
use crate::reading::waiver::WaiverText;
use crate::score::{PartBar, Score};
use std::sync::atomic::AtomicUsize;

/// A document while it is being read.
pub(super) struct Document {
    scale: Scale,
    movement_title: Option<String>,
    work_title: Option<String>,
    concert: bool,
    parts: Parts,
    bars: AtomicUsize,
    ways: Ways,
    /// Waivers that stand before the parts: they hold for all of them.
    said: Vec<WaiverText>,
}

impl Document {
    pub(super) fn new(scale: Scale, ways: Ways) -> Self {
        Self {
            scale,
            movement_title: None,
            work_title: None,
            concert: false,
            parts: Parts::default(),
            bars: AtomicUsize::new(0),
            ways,
            said: Vec::new(),
        }
    }

    /// Walks the whole text.
    pub(super) fn read(
        mut self,
        text: &str,
        limits: Limits,
    ) -> Parsed<(Score, Vec<WaiverText>, Scale)> {
        let mut xml = Xml::new(text, limits, self.ways);
        let body = text.trim_start_matches('\u{feff}').trim_start();
        if body.is_empty() {
            return Err(Fault::new(
                0..0,
                "the file is empty, where a score was expected",
            ));
        }
        if !body.starts_with('<') {
            let found: String = body.chars().take(12).collect();
            let start = text.len() - body.len();
            return Err(Fault::new(
                start..start + found.len(),
                format!("the file starts with `{found}`; MusicXML starts with `<`"),
            ));
        }
        let Some(root) = xml.root()? else {
            return Err(Fault::new(
                text.len()..text.len(),
                "there is no element in this file, where <score-partwise> was expected",
            ));
        };
        let timewise = match root.name() {
            "score-partwise" => false,
            "score-timewise" => true,
            _ => return Err(wrong_root(&root)),
        };
        while let Some(child) = xml.child()? {
            match child.name() {
                "work" => {
                    while let Some(field) = xml.child()? {
                        match field.name() {
                            "work-title" => self.work_title = Some(xml.words()?),
                            _ => xml.skip()?,
                        }
                    }
                }
                "movement-title" => self.movement_title = Some(xml.words()?),
                "defaults" => {
                    while let Some(field) = xml.child()? {
                        self.concert |= field.name() == "concert-score";
                        xml.skip()?;
                    }
                }
                "part-list" => self.parts.read_list(&mut xml, &self.scale)?,
                "part" if !timewise => {
                    // Once only: after the first part the others are behind the walk, or not plain.
                    let apart = std::mem::take(&mut self.ways.side_by_side);
                    if !(apart && self.side_by_side(text, &mut xml, &child)) {
                        self.part(&mut xml, &child)?;
                    }
                }
                "measure" if timewise => self.measure(&mut xml, &child)?,
                _ => xml.skip()?,
            }
        }
        xml.epilog()?;
        if !self.parts.list.iter().any(|p| !p.part.bars.is_empty()) {
            return Err(root
                .fault("the score has no part with a bar in it")
                .help("export the score again; a <part> with <measure>s was expected"));
        }
        Ok(self.finish())
    }

    fn finish(mut self) -> (Score, Vec<WaiverText>, Scale) {
        let some = |title: Option<String>| title.filter(|t| !t.is_empty());
        let mut said = std::mem::take(&mut self.said);
        let kept = self
            .parts
            .list
            .iter_mut()
            .filter(|p| !p.part.bars.is_empty());
        for (index, part) in kept.enumerate() {
            let waivers = part.waivers.drain(..);
            said.extend(waivers.map(|(text, bar, span)| WaiverText {
                text,
                part: Some(index as u32),
                bars: Some(bar..bar + 1),
                span,
            }));
        }
        let score = Score {
            title: some(self.movement_title).or(some(self.work_title)),
            per_quarter: Ticks(self.scale.per_quarter),
            parts: self
                .parts
                .list
                .into_iter()
                .map(PartReader::close)
                .filter(|p| !p.bars.is_empty())
                .collect(),
            concert: self.concert,
            ..Score::default()
        };
        (score, said, self.scale)
    }

    /// Reads all parts, whose first has just been opened, side by side. `false` when that cannot be done
    /// plainly: then nothing has changed.
    fn side_by_side(&mut self, text: &str, xml: &mut Xml<'_>, first: &Element<'_>) -> bool {
        let listed = Listed {
            parts: &self.parts,
            scale: self.scale,
            concert: self.concert,
            bars: &self.bars,
        };
        let Some(read) = listed.read(text, xml, first.start()) else {
            return false;
        };
        self.scale = read.scale;
        for_all(xml, &mut self.said);
        for one in read.parts {
            self.said.extend(one.said);
            if let Some(part) = self.parts.list.get_mut(one.index) {
                *part = one.part;
            }
        }
        xml.go_on(read.end);
        true
    }

    /// A part of a partwise score.
    fn part(&mut self, xml: &mut Xml<'_>, element: &Element<'_>) -> Parsed<()> {
        for_all(xml, &mut self.said);
        let index = self
            .parts
            .index_of(element, &self.scale, xml.limits.parts)?;
        let twice = self.parts.list.get_mut(index).is_some_and(|p| {
            let seen = p.seen;
            p.seen = true;
            seen
        });
        if twice {
            return Err(element
                .fault("a second <part> has the id of an earlier one")
                .help("give each <score-part> and its <part> an id of their own"));
        }
        let (before, from) = self.parts.list.split_at_mut_checked(index).unzip();
        let Some(part) = from.and_then(|parts| parts.first_mut()) else {
            return xml.skip();
        };
        if let Some(before) = before.and_then(|parts| parts.last()) {
            part.expect(&before.part);
        }
        part_bars(xml, part, &mut self.scale, self.concert, &self.bars)
    }

    /// A measure of a timewise score.
    fn measure(&mut self, xml: &mut Xml<'_>, element: &Element<'_>) -> Parsed<()> {
        for_all(xml, &mut self.said);
        let heading = Heading::of(element)?;
        let bar = self.parts.list.iter().map(|p| p.part.bars.len()).max();
        let bar = bar.unwrap_or(0);
        for part in &mut self.parts.list {
            part.seen = false;
        }
        while let Some(child) = xml.child()? {
            if child.name() != "part" {
                xml.skip()?;
                continue;
            }
            let index = self.parts.index_of(&child, &self.scale, xml.limits.parts)?;
            // A part that was left out of earlier bars is silent in them.
            loop {
                count_bar(&self.bars, &child, xml.limits.bars)?;
                let Some(part) = self.parts.list.get_mut(index) else {
                    break;
                };
                if part.part.bars.len() >= bar {
                    break;
                }
                part.open_bar(PartBar::default());
                part.close_bar(child.start());
            }
            let twice = self.parts.list.get_mut(index).is_some_and(|p| {
                let seen = p.seen;
                p.seen = true;
                seen
            });
            if twice {
                return Err(child.fault("a part stands twice in this measure"));
            }
            match self.parts.list.get_mut(index) {
                Some(part) => {
                    let heading = heading.clone();
                    measure::read(xml, &child, heading, part, &mut self.scale, self.concert)?;
                }
                None => xml.skip()?,
            }
        }
        // A measure that no part stands in is a bar all the same.
        if bar
            == self
                .parts
                .list
                .iter()
                .map(|p| p.part.bars.len())
                .max()
                .unwrap_or(0)
            && let Some(part) = self.parts.list.first_mut()
        {
            part.open_bar(PartBar {
                number: heading.number.clone(),
                ..PartBar::default()
            });
            part.close_bar(element.start());
        }
        Ok(())
    }
}

fn wrong_root(root: &Element<'_>) -> Box<Fault> {
    let name = root.name();
    let fault = root.fault(format!(
        "the root element is <{name}>; <score-partwise> or <score-timewise> was expected"
    ));
    if name.eq_ignore_ascii_case("html") {
        fault.help("this is a web page, not a score: download the score file itself again")
    } else if name == "opus" {
        fault.help("this file only lists scores: give the scores themselves")
    } else if name == "container" {
        fault.help("this is a container's table of contents: give the .mxl file itself")
    } else {
        fault.help("export the score as MusicXML")
    }
}
