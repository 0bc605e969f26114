//! Judging a sonority that is held to a form (spread, fourths, unison ...): it is right when it fits;
//! else the nearest voicing that does, one voice away, explains it.

use super::fault::{NamedVoicing, SlipBuilder, difference};
use super::outcome::{Fault, SlipKind, Verdict};
use super::technique::How;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::sonority::Sonority;
use crate::sonority::lead::LeadNote;
use crate::style::{Costs, FormCosts};
use crate::voicing::{Classes, Form, Frame, Label, Technique, Voicing, Way, mechanical_of};

/// How far a voice is moved in search of what was meant, in semitones.
const REACH: i16 = 14;

/// How far the lead is moved.
const LEAD_REACH: i16 = 2;

/// One sonority held to a form.
pub(super) struct FormCase<'a> {
    pub(super) sonority: &'a Sonority,
    pub(super) form: Form,
    pub(super) how: How,
    /// Chords it may belong to: the one in force first.
    pub(super) frames: &'a [Frame<'a>],
    /// The chord before, at the first attack under a new one.
    pub(super) before: Option<Frame<'a>>,
    pub(super) lead: Option<LeadNote>,
    /// Concert key in fifths.
    pub(super) key: i8,
}

/// A voicing one voice away from what is written.
struct OneVoiceAway {
    cost: i32,
    voicing: Voicing,
    found: i16,
    wanted: i16,
}

impl FormCase<'_> {
    pub(super) fn judge(&self, costs: &Costs) -> Verdict {
        match self.read(&costs.form) {
            Verdict::Slip(mut slip) => {
                let class = |f: &Fault| f.found.class();
                let foreign = slip.kind == SlipKind::WrongNote
                    && !self.form.is_doubling()
                    && slip.faults.iter().all(|f| {
                        !self
                            .frames
                            .iter()
                            .any(|own| own.colour(class(f)).may_sound())
                    });
                slip.rests_on_technique = self.how == How::Inferred && !foreign;
                let free = match self.how {
                    How::Inferred => costs.free.inferred,
                    How::Stated | How::Words => costs.free.stated,
                };
                let margin = free - costs.slip.step;
                slip.weigh(margin, costs)
                    .map_or(Verdict::LeftAlone, Verdict::Slip)
            }
            verdict => verdict,
        }
    }

    fn read(&self, costs: &FormCosts) -> Verdict {
        let written = self.sonority.midi();
        if self.form.is_doubling() {
            return self.doubling(&written);
        }
        let Some(frame) = self.frames.first() else {
            return Verdict::LeftAlone;
        };
        if self
            .frames
            .iter()
            .any(|f| self.form.fits(&written, Some(f)))
        {
            return Verdict::Right(Some(Way::Chord));
        }
        let stated = self.how != How::Inferred;
        let approach = self.lead.is_some_and(|l| l.approaches());
        let lead_fits = written.first().is_some_and(|&m| frame.may_sound(m));
        let own = |&m: &i16| frame.chord.contains(PitchClass::new(m));
        let under_fits = written.iter().skip(1).all(own);
        // The chord kept under an approach note is the writer's own.
        if approach && under_fits && !written.first().is_some_and(own) {
            return Verdict::LeftAlone;
        }
        // The chord has changed, and all voices stand in the form over the one before.
        let missed = self.before.filter(|b| {
            lead_fits && b.chord.text != frame.chord.text && self.form.fits(&written, Some(b))
        });
        if missed.is_some()
            && let Some(made) = self.made(frame, &written)
            && difference(&written, &made).extra.len() > 1
        {
            return self.slip(SlipKind::WrongNote, frame, &made);
        }
        // Of the chords it may belong to, the one that explains it best; of two as near, the one in force.
        let of_frames = self.frames.iter().enumerate().filter_map(|(order, f)| {
            let near = self.nearest(f, &written, costs)?;
            Some((near.cost + 2 * order as i32, order, f, near))
        });
        if let Some((_, _, frame, near)) = of_frames.min_by_key(|(cost, order, ..)| (*cost, *order))
        {
            // Where the form was only inferred, a note no chord has a place for is the one thing that is
            // surely wrong.
            if stated || !self.frames.iter().any(|f| f.may_sound(near.found)) {
                return self.slip(self.kind(&near), frame, &near.voicing);
            }
        }
        // Approach chords are the writer's own in these forms.
        if approach || !lead_fits {
            return Verdict::LeftAlone;
        }
        if let Some(other) = other_technique(frame, &written) {
            return match self.made(frame, &written) {
                Some(v) if stated => self.slip(SlipKind::OtherTechnique(other), frame, &v),
                _ => Verdict::LeftAlone,
            };
        }
        match self.made(frame, &written) {
            Some(v) if stated => self.slip(SlipKind::NotInTechnique, frame, &v),
            _ => Verdict::LeftAlone,
        }
    }

    /// Unison and octaves: one part on another note, or in another octave where all the rest agree.
    fn doubling(&self, written: &[i16]) -> Verdict {
        let octaves = self.form == Form::Octaves;
        if Form::Unison.fits(written, None) || octaves && Form::Octaves.fits(written, None) {
            return Verdict::Right(None);
        }
        let mut classes: Classes = written.iter().map(|&m| PitchClass::new(m)).collect();
        classes.sort_unstable();
        let most = classes
            .iter()
            .copied()
            .max_by_key(|c| classes.iter().filter(|x| *x == c).count());
        let Some(common) = most else {
            return Verdict::LeftAlone;
        };
        let agree = |m: &&i16| PitchClass::new(**m) == common;
        let same = written.iter().filter(agree).count();
        if same + 1 < written.len() || written.len() < 3 {
            // Harmony within a unison line is the writer's business.
            return Verdict::LeftAlone;
        }
        let mut expected = Voicing::from_slice(written);
        let others: Voicing = written.iter().copied().filter(|m| agree(&m)).collect();
        let target = |m: i16| -> i16 {
            others
                .iter()
                .copied()
                .chain(others.iter().flat_map(|o| [o - 12, o + 12]))
                .min_by_key(|o| (o - m).abs())
                .unwrap_or(m)
        };
        if same == written.len() {
            // All the same note; in a unison the octaves differ.
            let Some(&usual) = others
                .iter()
                .max_by_key(|m| others.iter().filter(|x| x == m).count())
            else {
                return Verdict::LeftAlone;
            };
            let off = others.iter().filter(|&&m| m != usual).count();
            if off != 1 {
                return Verdict::LeftAlone;
            }
            expected.fill(usual);
            return self.plain_slip(SlipKind::WrongOctave, &expected);
        }
        for m in &mut expected {
            if PitchClass::new(*m) != common {
                *m = target(*m);
            }
        }
        expected.sort_unstable_by(|a, b| b.cmp(a));
        self.plain_slip(SlipKind::WrongNote, &expected)
    }

    /// The voicing that fits and is reached by moving one voice, the lead last of all.
    fn nearest(
        &self,
        frame: &Frame<'_>,
        written: &[i16],
        costs: &FormCosts,
    ) -> Option<OneVoiceAway> {
        let mut best: Option<OneVoiceAway> = None;
        for (i, &found) in written.iter().enumerate() {
            // The lead is the tune: at most a step of it is doubted.
            let reach = if i == 0 { LEAD_REACH } else { REACH };
            for wanted in found - reach..=found + reach {
                if wanted == found {
                    continue;
                }
                let mut voicing = Voicing::from_slice(written);
                if let Some(slot) = voicing.get_mut(i) {
                    *slot = wanted;
                }
                voicing.sort_unstable_by(|a, b| b.cmp(a));
                if !self.form.fits(&voicing, Some(frame)) {
                    continue;
                }
                let octave = (found - wanted) % 12 == 0;
                let cost = i32::from((found - wanted).abs())
                    + if i == 0 { costs.lead } else { 0 }
                    + if frame.may_sound(found) {
                        costs.at_home
                    } else {
                        0
                    }
                    - if octave { costs.octave } else { 0 };
                if best.as_ref().is_none_or(|b| cost < b.cost) {
                    best = Some(OneVoiceAway {
                        cost,
                        voicing,
                        found,
                        wanted,
                    });
                }
            }
        }
        best
    }

    fn kind(&self, near: &OneVoiceAway) -> SlipKind {
        if (near.found - near.wanted) % 12 == 0 {
            return SlipKind::WrongOctave;
        }
        let doubled = self
            .sonority
            .voices
            .iter()
            .filter(|v| (v.midi - near.found) % 12 == 0)
            .count()
            > 1;
        if doubled {
            let name = self
                .names()
                .into_iter()
                .find(|n| n.class() == PitchClass::new(near.wanted));
            if let Some(name) = name {
                return SlipKind::DoubledNote(name);
            }
        }
        SlipKind::WrongNote
    }

    /// The voicing of the form that moves the fewest voices the least.
    fn made(&self, frame: &Frame<'_>, written: &[i16]) -> Option<Voicing> {
        let (&lead, &bottom) = (written.first()?, written.last()?);
        self.form
            .voicings(lead, written.len(), frame, bottom - 12)
            .into_iter()
            .map(|(cost, v)| {
                let moved: i16 = v.iter().zip(written).map(|(a, b)| (a - b).abs()).sum();
                (
                    (difference(written, &v).extra.len(), i32::from(moved) + cost),
                    v,
                )
            })
            .min()
            .map(|(_, v)| v)
    }

    fn names(&self) -> Vec<NoteName> {
        self.frames
            .iter()
            .flat_map(|f| {
                let own = f.chord.degrees.iter();
                let more =
                    &crate::ground::chord::tensions_leading(f.chord.family(), f.leads).available;
                own.chain(more).map(|d| d.over(f.chord.root))
            })
            .collect()
    }

    fn slip(&self, kind: SlipKind, frame: &Frame<'_>, expected: &[i16]) -> Verdict {
        let builder = SlipBuilder {
            sonority: self.sonority,
            key: self.key,
        };
        let expected = NamedVoicing {
            voicing: expected,
            names: &self.names(),
            label: Some(Label::Symbol(&frame.chord.text)),
        };
        Verdict::Slip(builder.slip(kind, &expected, &[]))
    }

    fn plain_slip(&self, kind: SlipKind, expected: &[i16]) -> Verdict {
        let builder = SlipBuilder {
            sonority: self.sonority,
            key: self.key,
        };
        let expected = NamedVoicing {
            voicing: expected,
            names: &[],
            label: None,
        };
        Verdict::Slip(builder.slip(kind, &expected, &[]))
    }
}

/// Another technique that the sonority is right in.
fn other_technique(frame: &Frame<'_>, written: &[i16]) -> Option<Technique> {
    let all = written.iter().all(|&m| frame.may_sound(m));
    mechanical_of(written)
        .filter(|_| all)
        .map(Technique::Mechanical)
        .or_else(|| Form::of(written, Some(frame)).map(Technique::Form))
}
