//! Findings about a sonority, and about the slip that explains one.

use super::remedies::remedies;
use super::wording;
use crate::diagnosis::Fault;
use crate::finding::{Finding, Level};
use crate::rules::diagnosed::{SlipAt, SonorityAt};
use crate::rules::rule::Rule;
use crate::score::Score;
use crate::sonority::{Voice, voice_number};

impl SonorityAt<'_> {
    /// The chord symbol in force.
    pub fn chord<'s>(&self, score: &'s Score) -> Option<&'s str> {
        self.passage.symbol_of(score, self.index)
    }

    /// A finding of a rule at this sonority, with its section, its chord symbol and all that sounds.
    pub fn finding(&self, score: &Score, rule: &Rule, message: String) -> Finding {
        rule.finding(self.sonority.at, message)
            .section(&self.passage.section.name)
            .chord(self.chord(score))
            .sounding(self.sonority.pitches())
    }

    /// A voice as a note at fault, with its place from the top. No other note is expected.
    pub fn fault(&self, voice: &Voice) -> Fault {
        let voices = &self.sonority.voices;
        let place = voices.iter().position(|v| v.note == voice.note);
        Fault {
            note: voice.note,
            found: voice.pitch,
            voice: voice_number(place.unwrap_or(0)),
            expected: voice.pitch,
        }
    }
}

impl SlipAt<'_> {
    /// Whether the lead holds the sonority for a beat or longer.
    pub fn is_held(&self) -> bool {
        self.place.lead().is_some_and(|l| l.duration() >= l.beat)
    }

    /// This level, or what the evidence allows if that is less: an inferred technique convicts nobody of an
    /// error, and a thin margin is a note.
    pub fn level(&self, level: Level) -> Level {
        level.min(self.slip.at_most)
    }

    /// The chord symbol it was read under.
    pub fn chord<'s>(&self, score: &'s Score) -> Option<&'s str> {
        self.place.chord(score)
    }

    /// "alto 2 has D6 (sounding F5), tenor 1 has ...": the voices the slip is in.
    pub fn who_has(&self, score: &Score) -> String {
        wording::who_has(score, &self.slip.faults)
    }

    /// The finding of a rule for this slip, with the changes that may mend it.
    pub fn finding(&self, score: &Score, rule: &Rule, message: String) -> Finding {
        let slip = self.slip;
        let ways = &slip.remedies;
        self.place
            .finding(score, rule, message)
            .level(self.level(rule.level))
            .margin(slip.margin)
            .technique(self.diagnosis.technique.map(|t| t.technique))
            .mark(wording::marks(score, &slip.faults))
            .expecting(slip.expected.clone())
            .suggestion(ways.iter().find_map(|way| wording::instead(score, way)))
            .may_mend(remedies(ways))
    }
}
