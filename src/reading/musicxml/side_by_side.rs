//! The parts of a partwise score, read side by side.
//!
//! Every `</part>` is taken for the end of a part, and each stretch up to one is walked by itself. The
//! first begins where the walk of the whole stands. If it holds one part that ends just where the
//! stretch does, the walk would have come to the next stretch in the same state, and so on: then what was
//! read is what the walk would have read. A `</part>` in a comment only makes a stretch fail. On anything
//! unusual nothing is kept: the walk reads the parts one after the other, and it alone says what is wrong.

use super::measure::part_bars;
use super::part::PartReader;
use super::part_list::{Parts, for_all};
use super::scale::Scale;
use super::xml::Xml;
use crate::ground::threads;
use crate::reading::waiver::Said;
use memchr::memmem;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering::Relaxed};

const END: &str = "</part>";

/// A text of so many bytes is read before a second thread is of much use. The program leaves a single
/// file of up to four times as much to one thread anyhow.
pub(super) const LEAST: usize = 512 << 10;

/// All that is known before the first part.
pub(super) struct Listed<'a> {
    pub parts: &'a Parts,
    pub scale: Scale,
    /// The score is a concert score.
    pub concert: bool,
    /// How many bars all parts have together, as counted so far.
    pub bars: &'a AtomicUsize,
}

/// All parts, each read by itself.
pub(super) struct Read {
    /// In the order in which they stand.
    pub parts: Vec<Apart>,
    /// The scale after them.
    pub scale: Scale,
    /// The byte after the last.
    pub end: usize,
}

/// A part that was read by itself.
pub(super) struct Apart {
    /// The byte after its end tag.
    end: usize,
    /// Which of the listed parts it is.
    pub index: usize,
    pub part: PartReader,
    scale: Scale,
    /// Waivers that stand before it.
    pub said: Vec<Said>,
}

impl Listed<'_> {
    /// Reads all parts, whose first has just been opened and starts at `start`. `None` when that cannot be
    /// done plainly: then nothing has changed.
    pub(super) fn read(&self, text: &str, xml: &Xml<'_>, start: usize) -> Option<Read> {
        let bars = self.bars.load(Relaxed);
        let read = self.read_apart(text, xml, start);
        if read.is_none() {
            self.bars.store(bars, Relaxed);
        }
        read
    }

    fn read_apart(&self, text: &str, xml: &Xml<'_>, start: usize) -> Option<Read> {
        let mut from = start;
        let ends = memmem::find_iter(text.as_bytes().get(start..)?, END);
        let stretches = ends.map(|end| {
            let stretch = from..start.saturating_add(end).saturating_add(END.len());
            from = stretch.end;
            stretch
        });
        // More parts than are listed are not plain, and need not be read to their end.
        let stretches = stretches.take(self.parts.list.len().saturating_add(1));
        // Whoever is free looks for the next end of a part, and reads up to there.
        let taken: Vec<AtomicBool> = self
            .parts
            .list
            .iter()
            .map(|_| AtomicBool::new(false))
            .collect();
        let mut apart = threads::map_unordered(stretches, |stretch| {
            self.stretch(xml.over(stretch.clone())?, stretch, &taken)
        })?;
        apart.sort_unstable_by_key(|one| one.end);
        let mut scales = apart.iter().map(|one| one.scale);
        let scale = scales.try_fold(self.scale, Scale::with)?;
        let end = apart.last()?.end;
        Some(Read {
            parts: apart,
            scale,
            end,
        })
    }

    /// Reads one stretch: what stands before a part, and that part, which is `taken` once at most.
    fn stretch(
        &self,
        mut xml: Xml<'_>,
        stretch: Range<usize>,
        taken: &[AtomicBool],
    ) -> Option<Apart> {
        let element = xml.child().ok()?.filter(|child| child.name() == "part")?;
        let mut said = Vec::new();
        for_all(&mut xml, &mut said);
        let id = element.attr("id").ok()?.unwrap_or_default();
        let index = *self.parts.by_id.get(id.trim())?;
        if taken.get(index)?.swap(true, Relaxed) {
            return None;
        }
        let mut scale = self.scale;
        let mut part = PartReader::new(self.parts.list.get(index)?.part.clone(), &scale);
        part.seen = true;
        part_bars(&mut xml, &mut part, &mut scale, self.concert, self.bars).ok()?;
        let plain = xml.position() == stretch.end && xml.instructions.is_empty();
        plain.then_some(Apart {
            end: stretch.end,
            index,
            part,
            scale,
            said,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Ways, read_in};
    use super::*;
    use crate::file_text::Limits;
    use crate::ground::time::Ticks;
    use proptest::prelude::*;
    use std::path::Path;

    /// How many parts can be read side by side; `None` when the walk is to read them.
    fn plain_parts(text: &str, limits: Limits) -> Option<usize> {
        let scale = Scale::of(text).ok()?;
        let mut parts = Parts::default();
        let mut xml = Xml::new(text, limits, Ways::QUICK);
        xml.root().ok()?;
        while let Some(child) = xml.child().ok()? {
            match child.name() {
                "part-list" => parts.read_list(&mut xml, &scale).ok()?,
                "part" => {
                    let listed = Listed {
                        parts: &parts,
                        scale,
                        concert: false,
                        bars: &AtomicUsize::new(0),
                    };
                    let read = listed.read(text, &xml, child.start());
                    return read.map(|read| read.parts.len());
                }
                _ => xml.skip().ok()?,
            }
        }
        None
    }

    /// Everything that reading gives: the score with all its places, or the fault.
    fn read(text: &str, limits: Limits, side_by_side: bool) -> String {
        let ways = Ways {
            side_by_side,
            ..Ways::QUICK
        };
        let score = read_in(ways, Path::new("a.musicxml"), None, text.into(), limits);
        format!("{score:#?}")
    }

    /// A sound score, its parts read side by side.
    fn apart(text: &str) -> crate::score::Score {
        let ways = Ways {
            side_by_side: true,
            ..Ways::QUICK
        };
        read_in(ways, Path::new("a"), None, text.into(), Limits::USUAL).unwrap()
    }

    /// Reads a text both ways, which must come to the same.
    fn both(text: &str, limits: Limits) -> String {
        let walked = read(text, limits, false);
        assert_eq!(read(text, limits, true), walked);
        walked
    }

    fn note(duration: &str) -> String {
        format!(
            "<note><pitch><step>C</step><octave>4</octave></pitch><duration>{duration}</duration></note>"
        )
    }

    /// A part of two bars.
    fn part(id: &str, in_second: &str) -> String {
        format!(
            "<part id=\"{id}\">\n<measure number=\"1\"><attributes><divisions>2</divisions>\
             </attributes>{}</measure>\n<measure number=\"2\">{}{in_second}</measure>\n</part>",
            note("8"),
            note("4")
        )
    }

    /// A score whose list names three parts.
    fn score(parts: &[String]) -> String {
        let listed =
            |id| format!("<score-part id=\"{id}\"><part-name>Voice {id}</part-name></score-part>");
        let list: String = ["A", "B", "C"].map(listed).concat();
        let parts = parts.join("\n");
        format!(
            "<score-partwise>\n<part-list>{list}</part-list>\n{parts}\n</score-partwise>\n<!-- end -->\n"
        )
    }

    /// Three parts, something in the second bar of the second.
    fn with(inside: &str) -> String {
        score(&[part("A", ""), part("B", inside), part("C", "")])
    }

    fn words(text: &str) -> String {
        format!("<direction><direction-type><words>{text}</words></direction-type></direction>")
    }

    #[test]
    fn samples_are_read_the_same_both_ways() {
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
        for (name, parts) in [
            ("ferry-at-six.musicxml", 5),
            ("lamplighters-detour.musicxml", 17),
            ("low-lamps.musicxml", 4),
        ] {
            let text = std::fs::read_to_string(samples.join(name)).unwrap();
            assert_eq!(plain_parts(&text, Limits::USUAL), Some(parts), "{name}");
            both(&text, Limits::USUAL);
        }
    }

    #[test]
    fn what_is_plain_is_read_side_by_side() {
        let (a, b, c) = (part("A", ""), part("B", ""), part("C", ""));
        for (text, parts) in [
            (with(""), 3),
            // In another order than that of the list, and without one of it.
            (score(&[c.clone(), a.clone(), b.clone()]), 3),
            (score(&[c.clone(), a.clone()]), 2),
            (score(&[format!("<part id=\"A\"></part>{b}"), c.clone()]), 3),
            (score(&[a.clone(), "<!-- two -->".to_owned(), b.clone()]), 2),
            (with("<!-- one --><?other two?>"), 3),
            (with("<?chartproof meant breath: one?>"), 3),
            (with(&words("&amp;<![CDATA[<part>]]>")), 3),
            // What is not cut out is read by the walk afterwards.
            (
                score(&[a.clone(), b.clone(), c.replace("</part>", "</part >")]),
                2,
            ),
            // A byte order mark is one at the start of a text only.
            (with(&words("\u{feff}one")), 3),
            (with(&words("\u{feff}&amp;")), 3),
        ] {
            assert_eq!(plain_parts(&text, Limits::USUAL), Some(parts), "{text}");
            let found = both(&text, Limits::USUAL);
            assert!(found.starts_with("Ok"), "{found}");
        }
    }

    #[test]
    fn what_is_not_plain_is_left_to_the_walk() {
        let (a, b, c) = (part("A", ""), part("B", ""), part("C", ""));
        let ends = "</part><part id=\"C\">";
        for text in [
            with(&format!("<!-- {ends} -->")),
            with(&format!("<!--</measure>{ends}<measure>-->")),
            with(&format!("<?other {ends}?>")),
            with(&words(&format!("<![CDATA[{ends}]]>"))),
            with("<b a='</part>'/>"),
            with("") + "<!-- </part> -->",
            score(&[a.clone(), "<!-- </part> -->".to_owned(), b.clone()]),
            score(&[a.replace("</part>", "</part >"), b.clone()]),
            score(&[
                a.replace("</part>", "<?chartproof meant breath: x?></part>"),
                b.clone(),
            ]),
            score(&[a.clone(), "<part id=\"B\"/>".to_owned(), c.clone()]),
            score(&[
                a.clone(),
                "<movement-title>T</movement-title>".to_owned(),
                b.clone(),
            ]),
            // Its part is not in the list.
            score(&[a.clone(), b.clone(), part("D", "")]),
            score(&[a.clone(), b.clone(), c.clone(), part("D", "")]),
        ] {
            assert_eq!(plain_parts(&text, Limits::USUAL), None, "{text}");
            let found = both(&text, Limits::USUAL);
            assert!(found.starts_with("Ok"), "{found}");
        }
    }

    #[test]
    fn faults_are_those_of_the_walk() {
        let (a, b) = (part("A", ""), part("B", ""));
        let wrong = part("C", &note("x"));
        for (text, why) in [
            (score(&[a.clone(), b.clone(), wrong.clone()]), "holds `x`"),
            // Of several the first is reported.
            (
                score(&[a.clone(), part("B", "</b>"), wrong.clone()]),
                "not well-formed",
            ),
            (score(&[a.clone(), b.clone(), a.clone()]), "an earlier one"),
            (
                score(&[a.clone(), b.clone(), a.clone(), wrong.clone()]),
                "an earlier one",
            ),
            (
                score(&[a.clone(), b.clone(), a.replace("</part>", "</part >")]),
                "an earlier one",
            ),
            (with("</measure></part>"), "not well-formed"),
            (with("<!-- "), "breaks off inside <measure>"),
            (with("") + "<part/>", "follows the end"),
            (
                with("").replace("</score-partwise>", ""),
                "breaks off inside <score-partwise>",
            ),
        ] {
            let found = both(&text, Limits::USUAL);
            assert!(
                found.starts_with("Err") && found.contains(why),
                "{why}: {found}"
            );
        }
    }

    #[test]
    fn limits_hold_for_all_parts_together() {
        let text = with("");
        for (name, enough) in [("bars", 6), ("depth", 6), ("bar", 1), ("parts", 3)] {
            let mut limits = Limits::USUAL;
            assert!(limits.set(name, enough));
            assert_eq!(plain_parts(&text, limits), Some(3), "{name}");
            assert!(both(&text, limits).starts_with("Ok"), "{name}");
            assert!(limits.set(name, enough - 1));
            assert_eq!(plain_parts(&text, limits), None, "{name}");
            let found = both(&text, limits);
            assert!(found.contains(&format!("--limit {name}=")), "{found}");
        }
    }

    #[test]
    fn waivers_before_a_part_hold_for_all() {
        let waiver = "<?chartproof meant breath: slow?>".to_owned();
        let text = score(&[waiver.clone(), part("A", &waiver), waiver, part("B", "")]);
        assert_eq!(plain_parts(&text, Limits::USUAL), Some(2));
        both(&text, Limits::USUAL);
        let parts = apart(&text).waivers.into_iter().map(|w| w.parts);
        assert_eq!(parts.collect::<Vec<_>>(), [vec![0, 1], vec![0, 1], vec![0]]);
    }

    #[test]
    fn a_duration_of_one_part_makes_the_ticks_of_all_finer() {
        for (durations, ticks) in [(["0.5", "1", "1"], 4), (["0.5", "1", "0.4"], 20)] {
            let parts = ["A", "B", "C"].into_iter().zip(durations);
            let text = score(&parts.map(|(id, d)| part(id, &note(d))).collect::<Vec<_>>());
            assert_eq!(plain_parts(&text, Limits::USUAL), Some(3));
            both(&text, Limits::USUAL);
            assert_eq!(apart(&text).per_quarter, Ticks(ticks));
        }
        // Each by itself would do, and two of them; all together are too fine.
        let note = |actual: u32| {
            format!(
                "<note><pitch><step>C</step><octave>4</octave></pitch><type>quarter</type>\
                 <time-modification><actual-notes>{actual}</actual-notes>\
                 <normal-notes>1</normal-notes></time-modification></note>"
            )
        };
        let parts = [("A", 9973), ("B", 9967), ("C", 9949)].map(|(id, n)| part(id, &note(n)));
        let (text, two) = (score(&parts), score(&parts[..2]));
        assert_eq!(plain_parts(&two, Limits::USUAL), Some(2));
        assert!(both(&two, Limits::USUAL).starts_with("Ok"));
        assert_eq!(plain_parts(&text, Limits::USUAL), None);
        let found = both(&text, Limits::USUAL);
        assert!(found.contains("no common multiple"), "{found}");
    }

    proptest! {
        #[test]
        fn a_damaged_score_is_read_the_same_both_ways(
            changes in prop::collection::vec(
                (
                    any::<prop::sample::Index>(),
                    0..30usize,
                    prop::sample::select(vec![
                        "", "</part>", "</part >", "<part id=\"B\">", "<part id='C'/>", "<!--", "-->",
                        "<![CDATA[", "]]>", "<?chartproof meant breath: x?>", "<?", "\"", "&", "&lt;",
                        "</measure>", "<measure>", "0.3", ">", "\u{feff}", "<a/>", "</score-partwise>",
                    ]),
                ),
                1..4,
            )
        ) {
            let mut text = with(&words("one &amp; <!-- two --> three"));
            for (at, length, piece) in changes {
                let boundary = |from: usize| {
                    let mut places = from..text.len();
                    places.find(|place| text.is_char_boundary(*place)).unwrap_or(text.len())
                };
                let from = boundary(at.index(text.len() + 1));
                let to = boundary(from + length);
                // Half of the pieces are put in, half stand for something else.
                let to = if length < 15 { from } else { to };
                text.replace_range(from..to, piece);
            }
            let walked = read(&text, Limits::USUAL, false);
            prop_assert_eq!(read(&text, Limits::USUAL, true), walked, "{}", text);
        }
    }
}
