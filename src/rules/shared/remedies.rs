//! Changes that may mend a finding, for the fixes to try.

use crate::diagnosis::Fault;
use crate::ground::naming::Naming;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::rules::diagnosed::{DiagnosedScore, SonorityAt};
use crate::score::Change;
use crate::voicing::Colour;

/// What to try so that each list of faults is mended, in this order.
pub fn remedies<'a>(ways: impl IntoIterator<Item = &'a Vec<Fault>>) -> Vec<Vec<Change>> {
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

/// One voice of a sonority moved: by an octave, or to a chord note near it; the lead last. What may
/// mend a rub, a gap or a low interval.
pub fn nearby(
    diagnosed: &DiagnosedScore<'_>,
    at: SonorityAt<'_>,
    faults: &[Fault],
) -> Vec<Vec<Change>> {
    if diagnosed.is_recheck() {
        return Vec::new(); // nobody mends a fix that is only tried
    }
    let sonority = at.sonority;
    let key = at.passage.key_at(diagnosed.score, sonority.onset);
    let frame = at.frame(diagnosed.score);
    let chord: Vec<NoteName> = frame.iter().flat_map(|f| f.chord.names()).collect();
    let naming = Naming { chord: &chord, key };
    let stands = |name| sonority.voices.iter().any(|v| v.pitch.name() == name);
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
            let class = PitchClass::new(midi);
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
            let sounding = naming.pitch(midi, stands);
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
