//! Every sonority named: chord, function of the lead, technique, members, intervals.

use crate::diagnosis::{Passage, Verdict, Weighed, frame_at, passages, symbol_at, weighed};
use crate::finding::Finding;
use crate::ground::chord;
use crate::ground::pitch::Pitch;
use crate::score::NoteRef;
use crate::score::{Place, Score};
use crate::sonority::Sonority;
use crate::sonority::lead::LeadFunction;
use crate::style::Style;
use crate::voicing::{Form, Technique, mechanical_of};

/// One section of a score, analysed.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysed {
    /// The section's name.
    pub section: String,
    /// Its sonorities of two voices or more, in order.
    pub sonorities: Vec<Named>,
}

/// One voice of a named sonority.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedVoice {
    /// The note.
    pub note: NoteRef,
    /// Sounding pitch.
    pub sounding: Pitch,
    /// Its degree over the chord: `1`, `b7`, `#11`.
    pub degree: Option<String>,
    /// It is struck here, not held.
    pub attacked: bool,
}

/// A sonority with everything that can be said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// Where it starts.
    pub at: Place,
    /// The chord symbol in force.
    pub chord: Option<String>,
    /// What its own notes make, whatever the symbol says.
    pub sounds_like: Option<String>,
    /// What the lead note is for.
    pub function: Option<LeadFunction>,
    /// The technique it is in by itself.
    pub technique: Option<Technique>,
    /// The technique it was held to.
    pub in_force: Option<Technique>,
    /// A rule finds fault with it as a voicing.
    pub slip: bool,
    /// Its voices from the top.
    pub voices: Vec<NamedVoice>,
    /// The intervals between neighbouring voices from the top.
    pub intervals: Vec<String>,
}

/// Names every sonority of every section.
pub fn analyse(score: &Score, style: &Style) -> Vec<Analysed> {
    passages(score, style)
        .iter()
        .map(|passage| Analysed {
            section: passage.section.name.clone(),
            sonorities: (0..passage.sonorities.len())
                .filter_map(|at| named(score, passage, at))
                .collect(),
        })
        .filter(|a| !a.sonorities.is_empty())
        .collect()
}

/// The accounts of a section at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Why {
    /// The section's name.
    pub section: String,
    /// Where it starts.
    pub at: Place,
    /// What sounds there, at sounding pitch from the top.
    pub found: Vec<Pitch>,
    /// The chord symbol in force.
    pub chord: Option<String>,
    /// The accounts, the cheapest first.
    pub accounts: Vec<Weighed>,
}

/// The accounts that were weighed at a printed bar and a beat, in each section that moves there as a block.
pub fn why(score: &Score, style: &Style, bar: &str, beat: f64) -> Vec<Why> {
    let here = |_: &Passage, sonority: &Sonority| {
        score.bar_number(sonority.at.bar) == bar
            && (score.beat_at(sonority.at).to_f64() - beat).abs() < 0.01
    };
    accounts(score, style, &passages(score, style), here)
}

/// The accounts that were weighed where findings rest on one, each place once.
pub fn why_found(
    score: &Score,
    style: &Style,
    passages: &[Passage],
    findings: &[Finding],
) -> Vec<Why> {
    let here = |passage: &Passage, sonority: &Sonority| {
        findings.iter().any(|f| {
            f.margin.is_some()
                && f.at == sonority.at
                && f.section.as_deref() == Some(passage.section.name.as_str())
        })
    };
    accounts(score, style, passages, here)
}

fn accounts(
    score: &Score,
    style: &Style,
    passages: &[Passage],
    asked: impl Fn(&Passage, &Sonority) -> bool,
) -> Vec<Why> {
    let mut all = Vec::new();
    for passage in passages {
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            if !asked(passage, sonority) {
                continue;
            }
            let accounts = weighed(score, style, passage, index);
            if !accounts.is_empty() {
                all.push(Why {
                    section: passage.section.name.clone(),
                    at: sonority.at,
                    found: sonority.pitches(),
                    chord: symbol_at(score, sonority.onset).map(str::to_owned),
                    accounts,
                });
            }
        }
    }
    all
}

fn named(score: &Score, passage: &Passage, at: usize) -> Option<Named> {
    let sonority = passage.sonorities.get(at)?;
    if sonority.voices.len() < 2 {
        return None;
    }
    let diagnosis = passage.diagnoses.get(at)?;
    let key = passage.key_at(score, sonority.onset);
    // A push is measured by the chord that it anticipates.
    let read_at = diagnosis.under.unwrap_or(sonority.onset);
    let frame = frame_at(score, read_at, key);
    let midi = sonority.midi();
    // Where it fits the technique in force it is in that, whatever else it would fit.
    let in_force = diagnosis.technique.map(|t| t.technique);
    let technique = in_force
        .filter(|t| match t {
            Technique::Mechanical(m) => mechanical_of(&midi) == Some(*m),
            Technique::Form(form) => form.fits(&midi, frame.as_ref()),
        })
        .or_else(|| mechanical_of(&midi).map(Technique::Mechanical))
        .or_else(|| Form::of(&midi, frame.as_ref()).map(Technique::Form));
    let function = diagnosis.function.or_else(|| {
        let lead = passage.leads.get(at).copied().flatten()?;
        let frame = frame.as_ref()?;
        let own = crate::ground::pitch::PitchClass::new(lead.midi);
        Some(
            if crate::voicing::harmonise::is_chord_note(frame.chord, own) {
                LeadFunction::ChordNote
            } else {
                lead.function()
            },
        )
    });
    Some(Named {
        at: sonority.at,
        chord: symbol_at(score, read_at).map(str::to_owned),
        sounds_like: chord::name_of(&sonority.pitches(), frame.as_ref().map(|f| f.chord.root)),
        function,
        technique,
        in_force,
        slip: matches!(diagnosis.verdict, Verdict::Slip(_)),
        voices: sonority
            .voices
            .iter()
            .map(|v| NamedVoice {
                note: v.note,
                sounding: v.pitch,
                degree: frame.as_ref().map(|f| f.chord.degree_name(v.pitch.class())),
                attacked: v.attacked,
            })
            .collect(),
        intervals: sonority
            .voices
            .windows(2)
            .map(|w| match w {
                [a, b] => interval(a.midi - b.midi),
                _ => String::new(),
            })
            .collect(),
    })
}

/// An interval as the trade writes it: `m3`, `P5`, `M9`; octaves beyond a tenth as `8ve+m3`.
pub fn interval(semitones: i16) -> String {
    const NAMES: [&str; 17] = [
        "P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7", "P8", "m9", "M9",
        "m10", "M10",
    ];
    let size = semitones.unsigned_abs();
    if let Some(name) = NAMES.get(usize::from(size)) {
        return (*name).to_owned();
    }
    let within = NAMES.get(usize::from(size % 12)).copied().unwrap_or("P1");
    let octaves = size / 12;
    if within == "P1" {
        format!("{octaves} octaves")
    } else if octaves == 1 {
        format!("8ve+{within}")
    } else {
        format!("{octaves} octaves+{within}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::grid;

    #[test]
    fn a_passage_is_named_line_by_line() {
        let text = "key: C\nmeter: 4/4\nsection: saxes\nparts: alto 1 = alto saxophone\n\
                    alto 2 = alto saxophone\ntenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
                    chord   | C6 -   -  -  |\ncount   | 1  &   2  3  |\n\
                    alto 1  | C5 D5  E5 C5 |\nalto 2  | G4 Ab4 A4 C5 |\n\
                    tenor 1 | E4 F4  G4 C4 |\ntenor 2 | A3 B3  C4 C4 |\n";
        let score = grid::read(std::path::Path::new("x.passage"), text.into()).unwrap();
        let all = analyse(&score, &Style::default());
        let lines = &all[0].sonorities;
        assert_eq!(lines.len(), 4);
        assert_eq!(lines[0].technique.unwrap().name(), "drop 2");
        assert_eq!(lines[0].function, Some(LeadFunction::ChordNote));
        assert_eq!(lines[1].function, Some(LeadFunction::PassingNote));
        assert_eq!(lines[1].sounds_like.as_deref(), Some("Bdim7"));
        assert_eq!(lines[0].intervals, ["P4", "m3", "P5"]);
        let degrees: Vec<&str> = lines[0]
            .voices
            .iter()
            .filter_map(|v| v.degree.as_deref())
            .collect();
        assert_eq!(degrees, ["1", "5", "3", "6"]);
        assert_eq!(lines[3].technique.unwrap().name(), "octaves");
        assert!(lines.iter().all(|l| !l.slip));
    }

    #[test]
    fn pushes_and_late_notes_belong_to_their_chords() {
        // Published: jazz composition text (anticipation, delayed attack), open music theory text.
        let text = "key: C\nmeter: 4/4\nsection: saxes\ntechnique: drop 2\n\
                    parts: alto 1 = alto saxophone\n\
                    alto 2 = alto saxophone\ntenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
                    chord   | C6 -   -  -  | F6 - G7 - |\ncount   | 1  &   3  4&  | 1 3 4 & |\n\
                    alto 1  | .  C5  E5 F5 | -  A4 . F5 |\nalto 2  | .  G4  A4 C5 | -  D4 . B4 |\n\
                    tenor 1 | .  E4  G4 A4 | -  C4 . G4 |\ntenor 2 | .  A3  C4 D4 | -  F3 . D4 |\n";
        let score = grid::read(std::path::Path::new("x.passage"), text.into()).unwrap();
        let all = analyse(&score, &Style::default());
        let functions: Vec<&str> = all[0]
            .sonorities
            .iter()
            .filter_map(|n| n.function.map(LeadFunction::name))
            .collect();
        assert_eq!(
            functions,
            [
                "delayed attack",
                "chord note",
                "anticipation",
                "chord note",
                "delayed attack"
            ]
        );
        assert!(all[0].sonorities.iter().all(|n| !n.slip));
    }

    #[test]
    fn intervals_beyond_the_tenth() {
        assert_eq!(interval(16), "M10");
        assert_eq!(interval(19), "8ve+P5");
        assert_eq!(interval(24), "2 octaves");
    }
}
