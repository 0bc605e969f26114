//! A page of music: systems with words under the staves, and a line for each place below them.

use super::finding::{bars_in_words, figure};
use super::heard::{self, Wording};
use super::{STYLE, opening, pitch, text};
use crate::engraving::{Engraver, Excerpt, Glyphs, Highlight, Picture, ShownPitch, WordsUnder};
use crate::score::{NoteRef, Place, Score};
use std::fmt::Write as _;
use std::ops::Range;

/// The widest system, in pixels: what the page's column holds.
const WIDTH: f64 = 1180.0;
/// The most bars of a system.
const BARS: u32 = 4;

/// Something said of a place.
pub struct SaidOfPlace {
    /// Where.
    pub at: Place,
    /// The sentence.
    pub line: String,
}

/// Music with what is said of it.
pub struct Sheet<'a> {
    /// The heading; none where the page has one piece.
    pub heading: Option<String>,
    /// The music.
    pub score: &'a Score,
    /// Words under the staves.
    pub under: Vec<WordsUnder>,
    /// Notes that stand out.
    pub marks: Vec<(NoteRef, Highlight)>,
    /// Lines under the systems.
    pub said: Vec<SaidOfPlace>,
    /// More of the page, below the music, as it is to stand there.
    pub after: String,
}

/// A page of sheets. `facts` stand under its title.
pub fn render(title: &str, facts: &[String], sheets: &[Sheet<'_>]) -> String {
    let mut glyphs = Glyphs::default();
    let mut main = String::new();
    for sheet in sheets {
        main.push_str("<section>");
        if let Some(heading) = &sheet.heading {
            let _ = write!(main, "<h2>{}</h2>", text(heading));
        }
        sheet.systems(&mut glyphs, &mut main);
        main.push_str(&sheet.after);
        main.push_str("</section>\n");
    }
    let mut head = String::new();
    for fact in facts {
        let _ = write!(head, "<p class=\"facts\">{}</p>", text(fact));
    }
    let style = format!("{STYLE}{}", pitch::STYLE);
    let mut page = opening(title, &style, &glyphs, ("music", "To the music"), &head);
    let choice = pitch::choice(sheets.iter().map(|s| s.score));
    if !choice.is_empty() {
        let _ = writeln!(
            page,
            "<form class=\"filters\" aria-label=\"What is shown\">{choice}</form>"
        );
    }
    let _ = write!(
        page,
        "<main id=\"music\">{main}</main>\n<footer>{}</footer>\n<script>\n{}</script></body></html>\n",
        super::licence(),
        heard::SCRIPT
    );
    page
}

impl Sheet<'_> {
    fn systems(&self, glyphs: &mut Glyphs, page: &mut String) {
        let engraver = Engraver::new(self.score);
        let count = u32::try_from(self.score.bars.len()).unwrap_or(u32::MAX);
        let parts = self.parts();
        let words = Wording {
            what: self.heading.as_deref().unwrap_or("the music"),
            play: "Hear it",
        };
        heard::render(self.score, None, &parts, 0..count, &words, page);
        let mut from = 0;
        while from < count {
            let drawn = pitch::drawn(self.score);
            let first = drawn.first().map_or(ShownPitch::Written, |d| d.0);
            let mut to = (from + BARS).min(count);
            // One bar does not stand alone.
            if to + 1 == count {
                to = count;
            }
            while to > from + 1 && self.draw(&engraver, from..to, first).width > WIDTH {
                to -= 1;
            }
            page.push_str("<div class=\"system\">");
            for &(shown, class) in drawn {
                let picture = self.draw(&engraver, from..to, shown);
                glyphs.join(&picture.glyphs);
                let bars = bars_in_words(self.score, &(from..to));
                figure(class, &format!("{bars}, {class} pitch"), &picture.svg, page);
            }
            self.lines(from..to, page);
            page.push_str("</div>");
            from = to;
        }
    }

    fn parts(&self) -> Vec<u32> {
        (0u32..).zip(&self.score.parts).map(|(i, _)| i).collect()
    }

    fn draw(&self, engraver: &Engraver, bars: Range<u32>, shown: ShownPitch) -> Picture {
        let here = |w: &&WordsUnder| bars.contains(&w.at.bar);
        let under: Vec<WordsUnder> = self.under.iter().filter(here).cloned().collect();
        let label = bars_in_words(self.score, &bars);
        engraver.draw(
            self.score,
            &Excerpt {
                parts: &self.parts(),
                bars,
                shown,
                column: None,
                marks: &self.marks,
                under: &under,
                names: self.score.parts.len() > 1,
                label,
            },
        )
    }

    fn lines(&self, bars: Range<u32>, page: &mut String) {
        let mut here = self
            .said
            .iter()
            .filter(|s| bars.contains(&s.at.bar))
            .peekable();
        if here.peek().is_none() {
            return;
        }
        page.push_str("<ul class=\"said\">");
        for said in here {
            let _ = write!(
                page,
                "<li><b>{}:{}</b> {}</li>",
                text(&self.score.bar_number(said.at.bar)),
                self.score.beat_at(said.at),
                text(&said.line)
            );
        }
        page.push_str("</ul>");
    }
}
