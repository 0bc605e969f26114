//! MusicXML, partwise and timewise, to a score.
//!
//! One pass over borrowed events, without a tree: a score of twenty megabytes is read in the time
//! its bytes take to look at. The file's DOCTYPE is passed over, nothing it declares is expanded
//! and nothing is fetched. Pitches in the file are written pitch, unless it says that it is a
//! concert score; the sounding pitch is worked out by the transposition in force.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and counts of its bars"
)]
// A fault is rare: it travels as one pointer, so that what was read need not be copied about.
#![allow(clippy::unnecessary_box_returns)]

mod attributes;
mod direction;
mod harmony;
mod measure;
mod note;
mod part;
mod part_list;
mod scale;
mod side_by_side;
mod xml;

#[cfg(test)]
mod tests;

pub use scale::{MAX_PER_QUARTER, MAX_QUARTERS};

use super::waiver::{self, Said};
use crate::file_text::limits::{self, Limits};
use crate::ground::problem::Problem;
use crate::ground::text::{Span, Text};
use crate::ground::time::Ticks;
use crate::score::{Format, Score, Source};
use measure::Heading;
use part::PartReader;
use scale::Scale;
use std::collections::HashMap;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};
use xml::{Element, Fault, Walk, Xml};

/// The longest text that can be read, in bytes: places in it are kept in 32 bits.
const MAX_BYTES: u64 = limits::LARGEST;

/// Reads the text of a MusicXML file. `member` is the entry's name when the text comes out of a
/// container.
pub fn read(path: &Path, member: Option<String>, text: Text) -> Result<Score, Problem> {
    read_within(path, member, text, Limits::USUAL)
}

/// The same within other limits than the usual ones.
pub fn read_within(
    path: &Path,
    member: Option<String>,
    text: Text,
    limits: Limits,
) -> Result<Score, Problem> {
    if text.len() as u64 > MAX_BYTES {
        return Err(Problem::whole(
            path,
            format!(
                "the text is {} bytes long; at most {MAX_BYTES} can be read",
                text.len()
            ),
        ));
    }
    let apart = text.len() >= side_by_side::LEAST && rayon::current_num_threads() > 1;
    read_by(path, member, text, limits, apart)
}

/// The same, with the parts of a partwise score side by side (`apart`) or one after the other.
fn read_by(
    path: &Path,
    member: Option<String>,
    text: Text,
    limits: Limits,
    apart: bool,
) -> Result<Score, Problem> {
    let (mut score, said) = document(&text, limits, apart).map_err(|fault| {
        let error = Problem::at(path, &text, fault.at, fault.message);
        match fault.help {
            Some(help) => error.help(help),
            None => error,
        }
    })?;
    score.sources.push(Source {
        path: path.to_owned(),
        member,
        format: Format::MusicXml,
        lines: std::sync::OnceLock::new(),
        text,
    });
    score.lay_out();
    waiver::put(&mut score, said);
    Ok(score)
}

fn document(text: &str, limits: Limits, apart: bool) -> Walk<(Score, Vec<Said>)> {
    let scale = Scale::of(text)?;
    let (score, said, scale) = Document::new(scale, apart).read(text, limits)?;
    // Some duration fell between two ticks: once more, on ticks fine enough for all of them.
    match scale.refined()? {
        None => Ok((score, said)),
        Some(finer) => {
            let (score, said, _) = Document::new(finer, apart).read(text, limits)?;
            Ok((score, said))
        }
    }
}

/// A document while it is being read.
struct Document {
    scale: Scale,
    movement_title: Option<String>,
    work_title: Option<String>,
    concert: bool,
    parts: Vec<PartReader>,
    by_id: HashMap<String, usize>,
    bars: AtomicUsize,
    /// The parts are still to be read side by side.
    apart: bool,
    /// Waivers that stand before the parts: they hold for all of them.
    said: Vec<Said>,
}

impl Document {
    fn new(scale: Scale, apart: bool) -> Self {
        Self {
            scale,
            movement_title: None,
            work_title: None,
            concert: false,
            parts: Vec::new(),
            by_id: HashMap::new(),
            bars: AtomicUsize::new(0),
            apart,
            said: Vec::new(),
        }
    }

    /// Walks the whole text.
    fn read(mut self, text: &str, limits: Limits) -> Walk<(Score, Vec<Said>, Scale)> {
        let mut xml = Xml::new(text, limits);
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
                "part-list" => self.part_list(&mut xml)?,
                "part" if !timewise => {
                    let apart = std::mem::take(&mut self.apart);
                    if !(apart && self.side_by_side(text, &mut xml, &child)) {
                        self.part(&mut xml, &child)?;
                    }
                }
                "measure" if timewise => self.measure(&mut xml, &child)?,
                _ => xml.skip()?,
            }
        }
        xml.epilog()?;
        if !self.parts.iter().any(|p| !p.part.bars.is_empty()) {
            return Err(root
                .fault("the score has no part with a bar in it")
                .help("export the score again; a <part> with <measure>s was expected"));
        }
        Ok(self.finish())
    }

    fn finish(mut self) -> (Score, Vec<Said>, Scale) {
        let some = |title: Option<String>| title.filter(|t| !t.is_empty());
        let mut said = std::mem::take(&mut self.said);
        let kept = self.parts.iter_mut().filter(|p| !p.part.bars.is_empty());
        for (index, part) in kept.enumerate() {
            let waivers = part.waivers.drain(..);
            said.extend(waivers.map(|(text, bar, span)| Said {
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
                .into_iter()
                .map(PartReader::close)
                .filter(|p| !p.bars.is_empty())
                .collect(),
            concert: self.concert,
            ..Score::default()
        };
        (score, said, self.scale)
    }

    fn part_list(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
        while let Some(child) = xml.child()? {
            if child.name() != "score-part" {
                xml.skip()?;
                continue;
            }
            let (id, part) = part_list::score_part(xml, &child)?;
            self.add_part(
                &child,
                id,
                PartReader::new(part, &self.scale),
                xml.limits.parts,
            )?;
        }
        Ok(())
    }

    fn add_part(
        &mut self,
        element: &Element<'_>,
        id: String,
        part: PartReader,
        most: u64,
    ) -> Walk<usize> {
        let index = self.parts.len();
        if index as u64 >= most {
            return Err(element
                .fault(format!("the score has more than {most} parts"))
                .help(limits::raise("parts")));
        }
        if self.by_id.contains_key(&id) {
            return Err(element
                .fault(format!("the part list has two parts with the id `{id}`"))
                .help("give each <score-part> and its <part> an id of their own"));
        }
        self.by_id.insert(id, index);
        self.parts.push(part);
        Ok(index)
    }

    /// The part a `<part>` belongs to. One that the list does not name is taken in at the end,
    /// called by its id.
    fn part_of(&mut self, element: &Element<'_>, most: u64) -> Walk<usize> {
        let id = element.attr("id")?.unwrap_or_default();
        let id = id.trim();
        if let Some(index) = self.by_id.get(id) {
            return Ok(*index);
        }
        let part = crate::score::Part {
            name: if id.is_empty() { "unnamed part" } else { id }.to_owned(),
            staves: 1,
            ..crate::score::Part::default()
        };
        let part = PartReader::new(part, &self.scale);
        self.add_part(element, id.to_owned(), part, most)
    }

    /// A part of a partwise score.
    fn part(&mut self, xml: &mut Xml<'_>, element: &Element<'_>) -> Walk<()> {
        for_all(xml, &mut self.said);
        let index = self.part_of(element, xml.limits.parts)?;
        let twice = self.parts.get_mut(index).is_some_and(|p| {
            let seen = p.seen;
            p.seen = true;
            seen
        });
        if twice {
            return Err(element
                .fault("a second <part> has the id of an earlier one")
                .help("give each <score-part> and its <part> an id of their own"));
        }
        let (before, from) = self.parts.split_at_mut_checked(index).unzip();
        let Some(part) = from.and_then(|parts| parts.first_mut()) else {
            return xml.skip();
        };
        if let Some(before) = before.and_then(|parts| parts.last()) {
            part.expect(&before.part);
        }
        part_bars(xml, part, &mut self.scale, self.concert, &self.bars)
    }

    /// A measure of a timewise score.
    fn measure(&mut self, xml: &mut Xml<'_>, element: &Element<'_>) -> Walk<()> {
        for_all(xml, &mut self.said);
        let heading = Heading::of(element)?;
        let bar = self.parts.iter().map(|p| p.part.bars.len()).max();
        let bar = bar.unwrap_or(0);
        for part in &mut self.parts {
            part.seen = false;
        }
        while let Some(child) = xml.child()? {
            if child.name() != "part" {
                xml.skip()?;
                continue;
            }
            let index = self.part_of(&child, xml.limits.parts)?;
            // A part that was left out of earlier bars is silent in them.
            loop {
                count_bar(&self.bars, &child, xml.limits.bars)?;
                let Some(part) = self.parts.get_mut(index) else {
                    break;
                };
                if part.part.bars.len() >= bar {
                    break;
                }
                part.open_bar(crate::score::PartBar::default());
                part.close_bar(child.start());
            }
            let twice = self.parts.get_mut(index).is_some_and(|p| {
                let seen = p.seen;
                p.seen = true;
                seen
            });
            if twice {
                return Err(child.fault("a part stands twice in this measure"));
            }
            match self.parts.get_mut(index) {
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
                .iter()
                .map(|p| p.part.bars.len())
                .max()
                .unwrap_or(0)
            && let Some(part) = self.parts.first_mut()
        {
            part.open_bar(crate::score::PartBar {
                number: heading.number.clone(),
                ..crate::score::PartBar::default()
            });
            part.close_bar(element.start());
        }
        Ok(())
    }
}

/// Takes the waivers that stand between the parts.
fn for_all(xml: &mut Xml<'_>, said: &mut Vec<Said>) {
    let passed = xml.instructions.drain(..);
    said.extend(passed.map(|(text, at)| Said {
        text: text.to_owned(),
        part: None,
        bars: None,
        span: Span::of(&at),
    }));
}

/// The bars of a part, up to the end of the `<part>` that is open.
fn part_bars(
    xml: &mut Xml<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
    concert: bool,
    bars: &AtomicUsize,
) -> Walk<()> {
    while let Some(child) = xml.child()? {
        if child.name() == "measure" {
            count_bar(bars, &child, xml.limits.bars)?;
            let heading = Heading::of(&child)?;
            measure::read(xml, &child, heading, part, scale, concert)?;
        } else {
            xml.skip()?;
        }
    }
    Ok(())
}

fn count_bar(bars: &AtomicUsize, element: &Element<'_>, most: u64) -> Walk<()> {
    if bars.fetch_add(1, Relaxed) as u64 >= most {
        return Err(element
            .fault(format!(
                "the score has more than {most} bars in all its parts"
            ))
            .help(limits::raise("bars")));
    }
    Ok(())
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
