//! Clefs: which one holds for a staff, and on which line it puts a note.

use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::Ticks;
use crate::score::identity::Identity;
use crate::score::{Clef, Part, in_force};

/// The staff position, in letter steps, of the middle line.
pub(crate) fn middle_line(clef: Clef) -> i16 {
    let on_its_line = match clef.sign {
        'F' => Pitch::new(Step::F, 0, 3),
        'C' => Pitch::new(Step::C, 0, 4),
        _ => Pitch::new(Step::G, 0, 4),
    };
    let line = if clef.sign == 'P' {
        2
    } else {
        i16::from(clef.line)
    };
    on_its_line.diatonic() + 2 * (3 - line) + 7 * i16::from(clef.octave)
}

/// The clef in force for a staff, when the part says one.
pub(crate) fn clef_at(part: &Part, staff: u8, onset: Ticks) -> Option<Clef> {
    let before = in_force(&part.clefs, onset)?;
    if before.value.staff == staff {
        return Some(before.value);
    }
    part.clefs
        .iter()
        .take_while(|m| m.onset <= onset)
        .filter(|m| m.value.staff == staff)
        .last()
        .map(|m| m.value)
}

/// The clef of a staff that states none.
pub(crate) fn default_clef(clefs: &[Clef], staff: u8) -> Clef {
    clefs
        .get(usize::from(staff.saturating_sub(1)))
        .copied()
        .unwrap_or(Clef {
            sign: 'G',
            line: 2,
            octave: 0,
            staff,
        })
}

/// The clefs a part without any is written in: those of its instrument, else by its pitches.
pub(crate) fn default_clefs(part: &Part, identity: Option<&Identity<'_>>) -> Vec<Clef> {
    let clef = |sign: char, octave: i8, staff: u8| Clef {
        sign,
        line: match sign {
            'G' => 2,
            'F' => 4,
            _ => 3,
        },
        octave,
        staff,
    };
    let known: Vec<Clef> = identity
        .iter()
        .flat_map(|i| &i.instrument.clefs)
        .map(|name| {
            let sign = name.chars().next().unwrap_or('G');
            clef(sign, if name.ends_with("8vb") { -1 } else { 0 }, 1)
        })
        .collect();
    (1..=part.staves.max(1))
        .map(|staff| {
            let heights: Vec<i64> = part
                .notes
                .iter()
                .filter(|n| n.staff.max(1) == staff)
                .map(|n| i64::from(n.written.midi()))
                .collect();
            if heights.is_empty() && part.staves > 1 {
                return clef(if staff == 1 { 'G' } else { 'F' }, 0, staff);
            }
            if heights.is_empty() && part.unpitched > 0 {
                return clef('P', 0, staff);
            }
            let mean = match i64::try_from(heights.len()) {
                Ok(n) if n > 0 => heights.iter().sum::<i64>() / n,
                _ => 67,
            };
            // The clef whose staff lies around the notes; an instrument's first is its usual one.
            let off = |c: &Clef| {
                let middle = match c.sign {
                    'F' => 50,
                    'C' => 60,
                    _ => 71,
                };
                (mean - middle - 12 * i64::from(c.octave)).abs()
            };
            let usual = known.first().copied();
            match usual {
                // Trombones and bassoons leave their clef only for what lies far above it.
                Some(c) if off(&c) <= 12 || known.len() == 1 => Clef { staff, ..c },
                _ => {
                    let any = [clef('G', 0, staff), clef('F', 0, staff)];
                    let among = if known.is_empty() { &any[..] } else { &known };
                    among
                        .iter()
                        .min_by_key(|c| off(c))
                        .map_or(clef('G', 0, staff), |c| Clef { staff, ..*c })
                }
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn middle_lines_of_clefs() {
        let middle = |sign, line, octave| {
            middle_line(Clef {
                sign,
                line,
                octave,
                staff: 1,
            })
        };
        let at = |text: &str| text.parse::<Pitch>().unwrap().diatonic();
        assert_eq!(middle('G', 2, 0), at("B4"));
        assert_eq!(middle('G', 2, -1), at("B3"));
        assert_eq!(middle('F', 4, 0), at("D3"));
        assert_eq!(middle('C', 3, 0), at("C4"));
        assert_eq!(middle('C', 4, 0), at("A3"));
    }
}
