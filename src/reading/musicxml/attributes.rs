//! Divisions, keys, meters, clefs, transpositions and measure styles.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "figures are held to their limits when they are read; there are fewer of them than bytes"
)]

use super::part::{PartReader, span};
use super::scale::Scale;
use super::xml::{Element, Xml};
use crate::ground::pitch::Transposition;
use crate::ground::time::Meter;
use crate::reading::fault::{Fault, Parsed};
use crate::score::{Clef, Key, Mark};
use num_rational::Ratio;

/// The largest figure of a time signature that is read.
const MAX_FIGURE: u16 = 1024;

/// The widest transposition that is read, in semitones: five octaves.
const MAX_TRANSPOSITION: i64 = 60;

/// Reads an `<attributes>` element. In a concert score (`concert`) the pitches are sounding
/// already, except by octaves.
pub(super) fn read(
    xml: &mut Xml<'_>,
    part: &mut PartReader,
    scale: &Scale,
    concert: bool,
) -> Parsed<()> {
    while let Some(child) = xml.child()? {
        match child.name() {
            "divisions" => {
                let value = xml.decimal(&child)?;
                if value <= Ratio::from_integer(0) {
                    return Err(Fault::new(
                        child.start()..xml.position(),
                        format!("<divisions> is {value}; it must be a positive number"),
                    ));
                }
                part.set_divisions(value, scale);
            }
            "key" => key(xml, &child, part)?,
            "time" => time(xml, &child, part)?,
            "staves" => {
                let staves = xml.whole::<u8>(&child)?;
                part.part.staves = part.part.staves.max(staves);
            }
            "clef" => clef(xml, &child, part)?,
            "transpose" => transpose(xml, &child, part, concert)?,
            "measure-style" => measure_style(xml, part)?,
            // `<for-part>` says how a part of a concert score will be transposed when it is
            // printed; it moves nothing here.
            _ => xml.skip()?,
        }
    }
    Ok(())
}

fn key(xml: &mut Xml<'_>, element: &Element<'_>, part: &mut PartReader) -> Parsed<()> {
    // A part has one key at a time here: that of its first staff.
    let first = element.attr_number::<u8>("number")?.unwrap_or(1) <= 1;
    let mut fifths = None;
    let mut minor = false;
    while let Some(child) = xml.child()? {
        match child.name() {
            "fifths" => fifths = Some(xml.whole::<i8>(&child)?),
            "mode" => minor = xml.text()?.trim() == "minor",
            _ => xml.skip()?,
        }
    }
    if let Some(fifths) = fifths
        && first
    {
        if !(-14..=14).contains(&fifths) {
            return Err(Fault::new(
                element.start()..xml.position(),
                format!("a key of {fifths} fifths is not a key signature; usual ones are -7 to 7"),
            ));
        }
        let mark = Mark::new(
            part.here(),
            Key { fifths, minor },
            span(element.start(), xml),
        );
        part.part.keys.push(mark);
    }
    Ok(())
}

fn time(xml: &mut Xml<'_>, element: &Element<'_>, part: &mut PartReader) -> Parsed<()> {
    let first = element.attr_number::<u8>("number")?.unwrap_or(1) <= 1;
    // The parts of a composite meter: 3/8 + 2/4.
    let mut sum: Option<Meter> = None;
    let mut beats = 0u16;
    let mut unmeasured = false;
    let fault = |xml: &Xml<'_>, found: &str| {
        Fault::new(
            element.start()..xml.position(),
            format!(
                "the time signature holds `{found}`, where a figure from 1 to {MAX_FIGURE} was expected"
            ),
        )
    };
    while let Some(child) = xml.child()? {
        match child.name() {
            "beats" => {
                let text = xml.text()?;
                beats = text
                    .split('+')
                    .try_fold(0u16, |sum, n| sum.checked_add(n.trim().parse().ok()?))
                    .filter(|n| (1..=MAX_FIGURE).contains(n))
                    .ok_or_else(|| fault(xml, text.trim()))?;
            }
            "beat-type" => {
                let text = xml.text()?;
                let unit = text
                    .trim()
                    .parse::<u16>()
                    .ok()
                    .filter(|n| (1..=MAX_FIGURE).contains(n))
                    .ok_or_else(|| fault(xml, text.trim()))?;
                let more = Meter { beats, unit };
                sum = Some(match sum {
                    None => more,
                    Some(m) => together(m, more).ok_or_else(|| fault(xml, text.trim()))?,
                });
            }
            "senza-misura" => {
                unmeasured = true;
                xml.skip()?;
            }
            _ => xml.skip()?,
        }
    }
    if first {
        part.unmeasured = unmeasured;
        part.bar.unmeasured = unmeasured;
    }
    if let Some(meter) = sum.filter(|m| first && m.beats > 0) {
        if part.part.meters.last().map(|m| m.value) != Some(meter) {
            let mark = Mark::new(part.here(), meter, span(element.start(), xml));
            part.part.meters.push(mark);
        }
        part.meter = meter;
    }
    Ok(())
}

/// Two meters one after the other as one, in the smaller of their units.
fn together(a: Meter, b: Meter) -> Option<Meter> {
    let unit = a.unit.max(b.unit);
    let beats = |m: Meter| {
        unit.is_multiple_of(m.unit)
            .then(|| m.beats.checked_mul(unit / m.unit))
            .flatten()
    };
    let sum = beats(a)?.checked_add(beats(b)?)?;
    (sum <= MAX_FIGURE).then_some(Meter { beats: sum, unit })
}

fn clef(xml: &mut Xml<'_>, element: &Element<'_>, part: &mut PartReader) -> Parsed<()> {
    let staff = element.attr_number::<u8>("number")?.unwrap_or(1).max(1);
    let mut sign = None;
    let mut line = None;
    let mut octave = 0;
    while let Some(child) = xml.child()? {
        match child.name() {
            "sign" => {
                sign = match xml.text()?.trim() {
                    "G" => Some('G'),
                    "F" => Some('F'),
                    "C" => Some('C'),
                    "percussion" => Some('P'),
                    // Tablature and the like have no staff positions to speak of.
                    _ => None,
                }
            }
            "line" => line = Some(xml.whole::<i8>(&child)?),
            "clef-octave-change" => octave = xml.whole::<i8>(&child)?,
            _ => xml.skip()?,
        }
    }
    if let Some(sign) = sign {
        let usual = match sign {
            'G' => 2,
            'F' => 4,
            _ => 3,
        };
        let clef = Clef {
            sign,
            line: line.and_then(|l| u8::try_from(l).ok()).unwrap_or(usual),
            octave,
            staff,
        };
        let mark = Mark::new(part.here(), clef, span(element.start(), xml));
        part.part.clefs.push(mark);
    }
    Ok(())
}

fn transpose(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    concert: bool,
) -> Parsed<()> {
    let staff = element.attr_number::<u8>("number")?;
    let mut diatonic = None;
    let mut chromatic = 0;
    let mut octaves = 0;
    while let Some(child) = xml.child()? {
        match child.name() {
            "diatonic" => diatonic = Some(xml.rounded(&child)?),
            "chromatic" => chromatic = xml.rounded(&child)?,
            "octave-change" => octaves += xml.rounded(&child)?.clamp(-99, 99),
            "double" => {
                octaves += if child.is("above", "yes")? { 1 } else { -1 };
                xml.skip()?;
            }
            _ => xml.skip()?,
        }
    }
    if chromatic.abs() > MAX_TRANSPOSITION
        || diatonic.unwrap_or(0).abs() > MAX_TRANSPOSITION
        || (octaves * 12).abs() > MAX_TRANSPOSITION
    {
        return Err(Fault::new(
            element.start()..xml.position(),
            format!(
                "a transposition of {chromatic} semitones and {octaves} octaves belongs to no \
                 instrument; at most {MAX_TRANSPOSITION} semitones are read"
            ),
        )
        .help("chromatic counts semitones, diatonic letter steps, octave-change octaves"));
    }
    if concert {
        // The file says its pitches sound already: only what an instrument moves by octaves is
        // still to be added.
        chromatic = 0;
        diatonic = Some(0);
    }
    let value = Transposition::from_parts(
        letters(diatonic, chromatic) as i16,
        chromatic as i16,
        octaves as i16,
    );
    part.part.states_transposition = true;
    part.set_transposition(staff, value);
    if staff.unwrap_or(1) <= 1 && part.part.transpositions.last().map(|t| t.value) != Some(value) {
        let mark = Mark::new(part.here(), value, span(element.start(), xml));
        part.part.transpositions.push(mark);
    }
    Ok(())
}

/// The letter steps of a transposition. Files leave them out, or say 0 beside real semitones;
/// then the usual spelling of the interval counts.
fn letters(stated: Option<i64>, semitones: i64) -> i64 {
    const LETTERS: [i64; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    // A plausible interval spans at most seven fifths: a major second is 2, an augmented
    // unison 7.
    if let Some(stated) = stated
        && (7 * semitones - 12 * stated).abs() <= 7
    {
        return stated;
    }
    let size = semitones.abs();
    let within = usize::try_from(size % 12)
        .ok()
        .and_then(|i| LETTERS.get(i))
        .copied()
        .unwrap_or(0);
    semitones.signum() * (7 * (size / 12) + within)
}

fn measure_style(xml: &mut Xml<'_>, part: &mut PartReader) -> Parsed<()> {
    while let Some(child) = xml.child()? {
        match child.name() {
            "multiple-rest" => part.bar.multi_rest = Some(xml.whole::<u16>(&child)?),
            "slash" => {
                // `stop` stands in the first bar that has notes again.
                part.slashes = child.is("type", "start")?;
                part.bar.slashes |= part.slashes;
                if !part.slashes && part.cursor == crate::ground::time::Ticks::ZERO {
                    part.bar.slashes = false;
                }
                xml.skip()?;
            }
            _ => xml.skip()?,
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_follow_the_usual_instruments() {
        // Published: MusicXML 4.0, transpose: diatonic and chromatic of common instruments.
        for (semitones, steps) in [(-2, -1), (-9, -5), (-7, -4), (3, 2), (-3, -2), (-14, -8)] {
            assert_eq!(letters(None, semitones), steps);
            assert_eq!(letters(Some(steps), semitones), steps);
            assert_eq!(letters(Some(0), semitones), steps, "0 beside {semitones}");
        }
        assert_eq!(letters(Some(-8), -14), -8);
        assert_eq!(letters(Some(-21), -36), -21);
        assert_eq!(letters(None, 0), 0);
    }

    #[test]
    fn composite_meters_add_up() {
        let m = |beats, unit| Meter { beats, unit };
        assert_eq!(together(m(3, 8), m(2, 4)), Some(m(7, 8)));
        assert_eq!(together(m(2, 4), m(1, 4)), Some(m(3, 4)));
        assert_eq!(together(m(1, 3), m(1, 4)), None);
    }
}
