//! The rules: one file each, holding what it asks, its check, and its wrong and right examples,
//! which are also its tests. A rule knows no file format and prints nothing.

mod accepted;
mod agreement;
mod example;
mod harmony;
mod lines;
mod notation;
mod own;
mod players;
mod rubs;
mod shared;
mod voicing;

pub use accepted::accept;

use crate::diagnosis::{Diagnosis, Fault, Passage, Slip, SlipKind, Verdict, frame_at};
use crate::finding::{Finding, Level, NoteAtFault, SetAside};
use crate::ground::pitch::Pitch;
use crate::ground::threads;
use crate::score::{Change, NoteRef};
use crate::score::{Note, Score};
use crate::sonority::Sonority;
use crate::style::Style;
use crate::voicing::Colour;
use rustc_hash::FxHashSet;
use std::ops::Range;
use std::sync::{Mutex, OnceLock, PoisonError};

/// What a rule belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Group {
    /// Notes against the chord.
    Harmony,
    /// How the chord is spread over the voices.
    Voicing,
    /// Clashing intervals.
    Rubs,
    /// How each voice moves.
    Lines,
    /// What one player can and should play.
    Players,
    /// What the parts of a section have to have alike.
    Agreement,
    /// What stands on the page.
    Notation,
}

/// A wrong passage and the same put right, as grids with what else stands on the page
/// ([`Example::score`]).
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// Holds one mistake.
    pub wrong: &'static str,
    /// Printed bar number and beat of the mistake.
    pub at: (&'static str, &'static str),
    /// The same without it.
    pub right: &'static str,
}

/// A number that a house style may change.
#[derive(Clone, Copy, Debug)]
pub struct Setting {
    /// Its name in the style file: `[settings.endurance]` `bars = 16`.
    pub name: &'static str,
    /// What it counts, in which unit.
    pub about: &'static str,
    /// What it is when the style says nothing.
    pub default: f64,
}

/// A rule.
#[derive(Debug)]
pub struct Rule {
    /// Its name, in the trade's words.
    pub name: &'static str,
    /// What it belongs to.
    pub group: Group,
    /// What it asks, in one sentence.
    pub asks: &'static str,
    /// Why, in a sentence or two.
    pub why: &'static str,
    /// When it keeps silent.
    pub exceptions: &'static [&'static str],
    /// Where it comes from.
    pub source: &'static str,
    /// The level of its gravest finding.
    pub level: Level,
    /// It is only run where the house style gives it a level.
    pub off: bool,
    /// Numbers that a house style may change.
    pub settings: &'static [Setting],
    /// Wrong and right.
    pub examples: &'static [Example],
    check: fn(&Reading<'_>, &mut Vec<Finding>),
}

impl Rule {
    /// The level of its gravest finding under a style; `None` when it is off.
    pub fn level_in(&self, style: &Style) -> Option<Level> {
        style.level(self.name, (!self.off).then_some(self.level))
    }
}

/// All rules, in the order they are listed.
pub static ALL: [&Rule; 50] = [
    &harmony::passing_diminished::RULE,
    &harmony::wrong_note::RULE,
    &harmony::missing_guide_tone::RULE,
    &harmony::unavailable_tension::RULE,
    &harmony::chord_symbol_agreement::RULE,
    &voicing::wrong_voice_dropped::RULE,
    &voicing::lead_doubling::RULE,
    &voicing::lead_not_on_top::RULE,
    &voicing::voice_crossing::RULE,
    &voicing::doubled_note::RULE,
    &voicing::wrong_octave::RULE,
    &voicing::technique_wanders::RULE,
    &voicing::wide_gap::RULE,
    &voicing::low_interval::RULE,
    &voicing::semitone_under_lead::RULE,
    &voicing::hand_span::RULE,
    &rubs::minor_ninth::RULE,
    &rubs::semitone_cluster::RULE,
    &lines::awkward_leap::RULE,
    &lines::repeated_inner_note::RULE,
    &lines::static_voice::RULE,
    &lines::parallel_outer_voices::RULE,
    &players::written_range::RULE,
    &players::tessitura::RULE,
    &players::endurance::RULE,
    &players::breath::RULE,
    &players::register_break::RULE,
    &players::double_stop::RULE,
    &players::unplayable_stretch::RULE,
    &agreement::rhythm_unison::RULE,
    &agreement::articulation_agreement::RULE,
    &agreement::slur_agreement::RULE,
    &agreement::dynamic_agreement::RULE,
    &agreement::bar_count::RULE,
    &agreement::rehearsal_mark_agreement::RULE,
    &agreement::repeat_agreement::RULE,
    &agreement::meter_agreement::RULE,
    &agreement::tempo_agreement::RULE,
    &notation::bar_length::RULE,
    &notation::tie_mismatch::RULE,
    &notation::spelling::RULE,
    &notation::transposition::RULE,
    &notation::key_signature_agreement::RULE,
    &notation::clef::RULE,
    &notation::entry_dynamic::RULE,
    &notation::courtesy_accidental::RULE,
    &notation::unclosed_slur::RULE,
    &notation::instrument_change::RULE,
    &notation::multi_rest::RULE,
    &notation::waiver::RULE,
];

/// What rules look at.
pub struct Reading<'a> {
    /// The score.
    pub score: &'a Score,
    /// The house style.
    pub style: &'a Style,
    /// Each section's sonorities and their diagnoses.
    pub passages: &'a [Passage],
    /// Only these bars (0-based) are looked at; all when `None`.
    bars: Option<Range<u32>>,
    claimed: FxHashSet<NoteRef>,
    lines: OnceLock<Vec<shared::line::Line<'a>>>,
    free: OnceLock<Vec<shared::free::FreeChord<'a>>>,
    together: OnceLock<Vec<shared::together::Together>>,
    whole: OnceLock<shared::whole::Whole>,
    crossings: OnceLock<(
        Vec<voicing::voice_crossing::Crossing<'a>>,
        FxHashSet<NoteRef>,
    )>,
    /// What could not be checked, in sentences.
    remarks: Mutex<Vec<String>>,
}

/// The rule that reports a slip.
fn rule_of(kind: SlipKind) -> &'static Rule {
    match kind {
        SlipKind::OtherDrop(_) => &voicing::wrong_voice_dropped::RULE,
        SlipKind::OtherTechnique(_) | SlipKind::NotInTechnique => &voicing::technique_wanders::RULE,
        SlipKind::LeadDoubling => &voicing::lead_doubling::RULE,
        SlipKind::PassingOnChord | SlipKind::WrongPassingChord | SlipKind::ChordNoteOnPassing => {
            &harmony::passing_diminished::RULE
        }
        SlipKind::WrongNote => &harmony::wrong_note::RULE,
        SlipKind::AlteredTension(_) => &harmony::unavailable_tension::RULE,
        SlipKind::WrongOctave => &voicing::wrong_octave::RULE,
        SlipKind::DoubledNote(_) => &voicing::doubled_note::RULE,
        SlipKind::MinorNinth(..) => &rubs::minor_ninth::RULE,
        SlipKind::SemitoneUnderLead => &voicing::semitone_under_lead::RULE,
    }
}

impl<'a> Reading<'a> {
    /// Notes that a slip explains are claimed, where the style has its rule on and it is more than a
    /// note: no second rule speaks of them.
    pub fn new(score: &'a Score, style: &'a Style, passages: &'a [Passage]) -> Self {
        let claimed = passages
            .iter()
            .flat_map(|p| &p.diagnoses)
            .filter_map(|d| match &d.verdict {
                Verdict::Slip(slip)
                    if !matches!(slip.kind, SlipKind::AlteredTension(_))
                        && style.levels.get(rule_of(slip.kind).name) != Some(&None) =>
                {
                    Some(
                        slip.faults
                            .iter()
                            .chain(slip.remedies.iter().take(1).flatten()),
                    )
                }
                _ => None,
            })
            .flatten()
            .map(|f| f.note)
            .collect();
        Self {
            score,
            style,
            passages,
            bars: None,
            claimed,
            lines: OnceLock::new(),
            free: OnceLock::new(),
            together: OnceLock::new(),
            whole: OnceLock::new(),
            crossings: OnceLock::new(),
            remarks: Mutex::default(),
        }
    }

    /// Sentences about what could not be checked, from the rules that have run.
    pub fn remarks(&self) -> Vec<String> {
        self.remarks
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn remark(&self, sentence: String) {
        self.remarks
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(sentence);
    }

    /// The same for some bars only (0-based): rules that walk through parts stay within them.
    #[must_use]
    pub fn within(mut self, bars: Range<u32>) -> Self {
        self.bars = Some(bars);
        self
    }

    /// The notes of a part in the bars looked at, with their index.
    fn notes(&self, part: u32) -> impl Iterator<Item = (u32, &'a Note)> + use<'a> {
        let notes = self
            .score
            .parts
            .get(part as usize)
            .map_or(&[][..], |p| &p.notes);
        let (from, to) = self.bars.as_ref().map_or((0, notes.len()), |b| {
            (
                notes.partition_point(|n| n.at.bar < b.start),
                notes.partition_point(|n| n.at.bar < b.end),
            )
        });
        notes
            .iter()
            .enumerate()
            .take(to)
            .skip(from)
            .map(|(i, n)| (i as u32, n))
    }

    /// Whether a few bars are looked at again after notes have changed pitch. What a rule says of
    /// anything but pitch cannot have changed then.
    fn is_recheck(&self) -> bool {
        self.bars.is_some()
    }

    /// A setting of a rule, as the style has it or as the rule does.
    fn setting(&self, rule: &Rule, name: &str) -> f64 {
        self.style.setting(rule.name, name).unwrap_or_else(|| {
            rule.settings
                .iter()
                .find(|s| s.name == name)
                .map_or(0.0, |s| s.default)
        })
    }

    /// Whether a slip explains this note.
    pub fn is_claimed(&self, note: NoteRef) -> bool {
        self.claimed.contains(&note)
    }

    /// Whether a slip or a crossing explains this note.
    fn is_explained(&self, note: NoteRef) -> bool {
        self.is_claimed(note) || self.crossed().1.contains(&note)
    }

    /// Every crossing of the passages.
    fn crossings(&self) -> &[voicing::voice_crossing::Crossing<'a>] {
        &self.crossed().0
    }

    fn crossed(
        &self,
    ) -> &(
        Vec<voicing::voice_crossing::Crossing<'a>>,
        FxHashSet<NoteRef>,
    ) {
        self.crossings.get_or_init(|| {
            let all = voicing::voice_crossing::crossings(self);
            let notes = all
                .iter()
                .filter(|c| {
                    let rule = if c.lead {
                        voicing::lead_not_on_top::RULE.name
                    } else {
                        voicing::voice_crossing::RULE.name
                    };
                    self.style.levels.get(rule) != Some(&None)
                })
                .flat_map(|c| &c.faults)
                .map(|f| f.note)
                .collect();
            (all, notes)
        })
    }

    /// Every slip with where it stands.
    fn slips(&self) -> impl Iterator<Item = SlipAt<'a>> {
        self.passages.iter().flat_map(|passage| {
            passage
                .sonorities
                .iter()
                .zip(&passage.diagnoses)
                .enumerate()
                .filter_map(
                    move |(index, (sonority, diagnosis))| match &diagnosis.verdict {
                        Verdict::Slip(slip) => Some(SlipAt {
                            passage,
                            index,
                            sonority,
                            diagnosis,
                            slip,
                        }),
                        _ => None,
                    },
                )
        })
    }
}

/// A slip and where it stands.
#[derive(Clone, Copy)]
struct SlipAt<'a> {
    passage: &'a Passage,
    index: usize,
    sonority: &'a Sonority,
    diagnosis: &'a Diagnosis,
    slip: &'a Slip,
}

impl SlipAt<'_> {
    /// Held a beat or longer.
    fn is_held(&self) -> bool {
        self.passage
            .leads
            .get(self.index)
            .copied()
            .flatten()
            .is_some_and(|l| l.duration() >= l.beat)
    }

    /// The chord symbol it was read under.
    fn chord<'s>(&self, score: &'s Score) -> Option<&'s str> {
        self.passage.symbol_of(score, self.index)
    }

    /// The finding of a rule for this slip.
    fn finding(
        &self,
        score: &Score,
        rule: &'static Rule,
        level: Level,
        message: String,
    ) -> Finding {
        let slip = self.slip;
        let mut parts: Vec<u32> = slip.faults.iter().map(|f| f.note.part).collect();
        parts.sort_unstable();
        parts.dedup();
        Finding {
            rule: rule.name,
            level,
            section: Some(self.passage.section.name.clone()),
            parts,
            at: self.sonority.at,
            message,
            why: rule.why.to_owned(),
            source: rule.source,
            chord: self.chord(score).map(str::to_owned),
            technique: self
                .diagnosis
                .technique
                .map(|t| t.technique.name().to_owned()),
            notes: slip
                .faults
                .iter()
                .map(|f| NoteAtFault {
                    note: f.note,
                    voice: f.voice,
                    expected: Some(f.expected),
                    label: shared::wording::label(score, f),
                })
                .collect(),
            found: self.sonority.pitches(),
            expected: slip.expected.clone(),
            suggestion: slip
                .remedies
                .iter()
                .find_map(|way| shared::wording::instead(score, way)),
            remedies: remedies(&slip.remedies),
            fix: None,
        }
    }
}

/// What to try so that each list of faults is mended, in this order.
fn remedies<'a>(ways: impl IntoIterator<Item = &'a Vec<Fault>>) -> Vec<Vec<Change>> {
    let mut remedies: Vec<Vec<Change>> = Vec::new();
    for way in ways {
        let changes: Vec<Change> = way
            .iter()
            .filter(|f| f.found != f.expected)
            .map(|f| Change {
                note: f.note,
                sounding: f.expected,
            })
            .collect();
        if !changes.is_empty() && !remedies.contains(&changes) {
            remedies.push(changes);
        }
    }
    remedies
}

/// A style's level is that of the rule's gravest findings; lighter ones keep their distance.
fn shifted(own: Level, gravest: Level, wanted: Level) -> Level {
    const STEPS: [Level; 3] = [Level::Note, Level::Warning, Level::Error];
    let step = own as i8 + wanted as i8 - gravest as i8;
    STEPS
        .get(step.clamp(0, 2).unsigned_abs() as usize)
        .copied()
        .unwrap_or(wanted)
}

/// One voice of a sonority moved: by an octave, or to a chord note near it; the lead last. What may
/// mend a rub, a gap or a low interval.
fn nearby(
    reading: &Reading<'_>,
    passage: &Passage,
    index: usize,
    faults: &[Fault],
) -> Vec<Vec<Change>> {
    let Some(sonority) = passage.sonorities.get(index) else {
        return Vec::new();
    };
    if reading.is_recheck() {
        return Vec::new(); // nobody mends what is only tried
    }
    let key = passage.key_at(reading.score, sonority.onset);
    let frame = frame_at(reading.score, sonority.onset, key);
    let top = sonority.voices.first().map(|v| v.note);
    let mut found: Vec<(i16, Change)> = Vec::new();
    for fault in faults.iter().filter(|f| Some(f.note) != top) {
        let own = fault.found.midi();
        for octave in [-1i8, 1] {
            let sounding = fault.found.octaves(octave);
            found.push((
                9,
                Change {
                    note: fault.note,
                    sounding,
                },
            ));
        }
        let Some(frame) = &frame else { continue };
        for midi in own - 7..=own + 7 {
            let class = crate::ground::pitch::PitchClass::new(midi);
            let rank = match frame.colour(class) {
                Colour::Member => 0,
                Colour::Available => 2,
                _ => continue,
            };
            let doubled = sonority
                .voices
                .iter()
                .any(|v| v.note != fault.note && v.pitch.class() == class);
            if midi == own {
                continue;
            }
            let name = frame
                .chord
                .degrees
                .iter()
                .map(|d| d.over(frame.chord.root))
                .find(|n| n.class() == class);
            let sounding = name
                .and_then(|n| Pitch::named(n, midi))
                .unwrap_or_else(|| Pitch::in_key(midi, key));
            let cost = (midi - own).abs() + rank + if doubled { 4 } else { 0 };
            found.push((
                cost,
                Change {
                    note: fault.note,
                    sounding,
                },
            ));
        }
    }
    found.sort_by_key(|(cost, _)| *cost);
    found
        .into_iter()
        .take(NEARBY)
        .map(|(_, change)| vec![change])
        .collect()
}

/// How many ways to move one voice are tried.
const NEARBY: usize = 12;

/// The score with chord symbols read at the pitch they are meant at, where a transposed part has them
/// at concert pitch and the style has the rule on that says so.
pub fn with_symbols_as_meant(score: &Score, style: &Style) -> Option<Score> {
    let on = style.levels.get(harmony::chord_symbol_agreement::RULE.name) != Some(&None);
    on.then(|| harmony::chord_symbol_agreement::as_meant(score))
        .flatten()
}

/// What a rule finds, when the style has it on.
fn run(reading: &Reading<'_>, rule: &'static Rule) -> Vec<Finding> {
    let level = reading.style.levels.get(rule.name);
    let mut found = Vec::new();
    if level == Some(&None) || level.is_none() && rule.off {
        return found;
    }
    (rule.check)(reading, &mut found);
    if let Some(Some(level)) = level {
        for f in &mut found {
            f.level = shifted(f.level, rule.level, *level);
        }
    }
    found
}

/// What the house's own rules find.
fn run_own(reading: &Reading<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    own::check(reading, &mut found);
    found
}

/// A rule with a finding that does not pass. The shipped rule called `likely` is asked first, the
/// house's own last, and no other once one is found.
pub fn objector(
    reading: &Reading<'_>,
    likely: &str,
    passes: impl Fn(&Finding) -> bool,
) -> Option<&'static str> {
    let objects = |rule: &'static Rule| !run(reading, rule).iter().all(&passes);
    let first = ALL.iter().filter(|rule| rule.name == likely);
    let others = ALL.iter().filter(|rule| rule.name != likely);
    let shipped = first.chain(others).copied().find(|rule| objects(rule));
    shipped
        .map(|rule| rule.name)
        .or_else(|| Some(run_own(reading).iter().find(|f| !passes(f))?.rule))
}

/// Runs every rule that the style has on; on a whole score, side by side.
pub fn check(reading: &Reading<'_>) -> Vec<Finding> {
    let (found, of_house): (Vec<Vec<Finding>>, Vec<Finding>) = if reading.is_recheck() {
        let found = ALL.iter().map(|rule| run(reading, rule)).collect();
        (found, run_own(reading))
    } else {
        threads::both(
            || threads::map(ALL.to_vec(), |rule| run(reading, rule)),
            || run_own(reading),
        )
    };
    let mut findings: Vec<Finding> = found.into_iter().flatten().chain(of_house).collect();
    // The house's own come after the program's.
    let rank = |name: &str| ALL.iter().position(|r| r.name == name).unwrap_or(ALL.len());
    findings.sort_by_cached_key(|f| (f.at, f.parts.clone(), rank(f.rule)));
    findings
}

/// Sets aside the findings that the score itself waives; waivers with nothing left to waive become
/// findings. With them one sentence for each reason.
pub fn waive(reading: &Reading<'_>, findings: &mut Vec<Finding>) -> (Vec<SetAside>, Vec<String>) {
    notation::waiver::apply(reading, findings)
}

/// Changes in words a player understands: "alto 2: write D5 (sounding F4) instead of ...".
pub fn in_words(score: &Score, changes: &[Change]) -> Option<String> {
    let faults: Vec<Fault> = changes
        .iter()
        .filter_map(|c| {
            let note = score
                .parts
                .get(c.note.part as usize)?
                .notes
                .get(c.note.note as usize)?;
            Some(Fault {
                note: c.note,
                found: note.sounding,
                voice: 0,
                expected: c.sounding,
            })
        })
        .collect();
    shared::wording::instead(score, &faults)
}

/// Whether a rule is called so, be it the program's or the house's own.
pub fn is_known(style: &Style, name: &str) -> bool {
    named(name).is_some() || style.own_rule(name).is_some()
}

/// The rule of this name.
pub fn named(name: &str) -> Option<&'static Rule> {
    ALL.into_iter().find(|r| r.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::proof;

    /// What is found in a passage; a rule that is off unless a style wants it is on for its own.
    fn findings(rule: &Rule, text: &'static str) -> (Score, Vec<Finding>) {
        let score = Example::score(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let mut style = Style::default();
        if rule.off {
            style.levels.insert(rule.name.to_owned(), Some(rule.level));
        }
        let findings = proof(&score, &style).findings;
        (score, findings)
    }

    #[test]
    fn every_rule_has_a_wrong_example_it_flags_and_a_right_one_it_passes() {
        for rule in ALL {
            assert!(!rule.examples.is_empty(), "{}", rule.name);
            for example in rule.examples {
                let (score, found) = findings(rule, example.wrong);
                let said: Vec<String> = found
                    .iter()
                    .map(|f| {
                        format!(
                            "{} {} {}: {}",
                            f.rule,
                            score.bar_number(f.at.bar),
                            score.beat_at(f.at),
                            f.message
                        )
                    })
                    .collect();
                assert_eq!(found.len(), 1, "{}: {said:#?}", rule.name);
                assert_eq!(found[0].rule, rule.name, "{said:#?}");
                let at = (
                    score.bar_number(found[0].at.bar),
                    score.beat_at(found[0].at).to_string(),
                );
                assert_eq!((at.0.as_str(), at.1.as_str()), example.at, "{}", rule.name);
                let (_, found) = findings(rule, example.right);
                assert_eq!(found, [], "{}", rule.name);
            }
        }
    }

    #[test]
    fn names_are_unique_and_every_rule_says_why() {
        let mut names: Vec<&str> = ALL.iter().map(|r| r.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), ALL.len());
        for rule in ALL {
            assert!(named(rule.name).is_some_and(|r| std::ptr::eq(r, rule)));
            assert!(!rule.asks.is_empty() && !rule.why.is_empty() && !rule.source.is_empty());
        }
    }
}
