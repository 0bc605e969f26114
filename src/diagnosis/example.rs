//! Grids as examples: what becomes of a place.

use super::outcome::{SlipKind, Verdict};
use super::passage::Passage;
use super::read::passages;
use crate::reading::grid;
use crate::score::Score;
use crate::sonority::Sonority;
use crate::style::Style;
use std::path::Path;

/// Four saxophones in 4/4, called 1 to 4 from the top.
const FOUR: &str = "meter: 4/4
section: saxes
parts: 1 = alto saxophone
       2 = alto saxophone
       3 = tenor saxophone
       4 = tenor saxophone
";

/// The same with a baritone under them, called 5.
const FIVE: &str = "meter: 4/4
section: saxes
parts: 1 = alto saxophone
       2 = alto saxophone
       3 = tenor saxophone
       4 = tenor saxophone
       5 = baritone saxophone
";

/// A passage of four or five saxophones, as its rows from `chord` on; a line `technique:` before them
/// states one.
pub(super) struct DiagnosedGrid {
    score: Score,
    passage: Passage,
}

impl DiagnosedGrid {
    pub(super) fn new(rows: &str) -> Self {
        Self::in_style(rows, &Style::default())
    }

    pub(super) fn in_style(rows: &str, style: &Style) -> Self {
        let trimmed: Vec<&str> = rows.lines().map(str::trim).collect();
        let head = if trimmed.iter().any(|l| l.starts_with("5 ")) {
            FIVE
        } else {
            FOUR
        };
        // Header lines come before the parts, and a blank line before the system.
        let (header, system): (Vec<&str>, Vec<&str>) = trimmed
            .into_iter()
            .filter(|l| !l.is_empty())
            .partition(|l| !l.contains('|'));
        let text = format!("{}\n{head}\n{}\n", header.join("\n"), system.join("\n"));
        let score = grid::read(Path::new("example.passage"), text.trim_start().into()).unwrap();
        let passage = passages(&score, style).remove(0);
        Self { score, passage }
    }

    /// What becomes of the sonority at a bar and beat, both 1-based; for a slip with the parts at fault and
    /// the notes that they sound and should sound.
    pub(super) fn account(&self, bar: u32, beat: f64) -> String {
        self.outcome(&self.passage.diagnoses[self.index(bar, beat)].verdict)
    }

    fn index(&self, bar: u32, beat: f64) -> usize {
        let quarter = self.score.per_quarter.0 as f64;
        let is_there = |s: &Sonority| {
            s.at.bar + 1 == bar && (s.at.offset.0 as f64 / quarter + 1.0 - beat).abs() < 1e-6
        };
        let found = self.passage.sonorities.iter().position(is_there);
        found.unwrap_or_else(|| panic!("nothing starts at {bar}:{beat}"))
    }

    fn outcome(&self, verdict: &Verdict) -> String {
        let slip = match verdict {
            Verdict::LeftAlone => return "left alone".to_owned(),
            Verdict::Right(way) => return way.map_or("right".to_owned(), |w| format!("{w:?}")),
            Verdict::Slip(slip) => slip,
        };
        let part = |index: u32| &self.score.parts[index as usize].name;
        let faults = slip
            .faults
            .iter()
            .map(|f| format!(", {} {} for {}", part(f.note.part), f.found, f.expected));
        let kind = match slip.kind {
            SlipKind::DoubledNote(missing) => format!("DoubledNote, {missing} is missing"),
            SlipKind::AlteredTension(name) => format!("AlteredTension {name}"),
            kind => format!("{kind:?}"),
        };
        format!("{kind}{}", faults.collect::<String>())
    }
}
