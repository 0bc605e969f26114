//! Every voicing of a form under a lead, by trying.

use super::Voicing;
use super::colour::Frame;
use super::form::{Form, spread_root};
use crate::ground::pitch::PitchClass;
use smallvec::smallvec;

/// A search for every voicing of a form, from the lead down.
pub(super) struct Search<'f> {
    form: Form,
    frame: &'f Frame<'f>,
    voices: usize,
    lowest: i16,
    /// By pitch class.
    may_sound: [bool; 12],
    found: Vec<(i32, Voicing)>,
}

impl<'f> Search<'f> {
    /// For so many voices over a chord, none below `lowest`.
    pub(super) fn new(form: Form, frame: &'f Frame<'f>, voices: usize, lowest: i16) -> Self {
        Self {
            form,
            frame,
            voices,
            lowest,
            may_sound: std::array::from_fn(|class| frame.may_sound(class as i16)),
            found: Vec::new(),
        }
    }

    /// All that fit under a lead, with their costs.
    pub(super) fn under(mut self, lead: i16) -> Vec<(i32, Voicing)> {
        self.descend(&mut smallvec![lead]);
        self.found
    }

    fn descend(&mut self, stack: &mut Voicing) {
        if stack.len() == self.voices {
            // What is made keeps to the published span; what is read may lie a step inside it.
            let span = stack.first().zip(stack.last()).map_or(0, |(a, b)| a - b);
            let too_close = self.form == Form::FiveNoteSoli && span < 12;
            if !too_close && self.form.fits(stack, Some(self.frame)) {
                let cost = self.form.cost(stack, self.frame);
                self.found.push((cost, stack.clone()));
            }
            return;
        }
        let Some(&above) = stack.last() else {
            return;
        };
        for gap in self.form.gap_range(stack.len() - 1, self.voices) {
            let next = above - gap;
            if next >= self.lowest && self.may_go_on(stack, next) {
                stack.push(next);
                self.descend(stack);
                stack.pop();
            }
        }
    }

    /// Whether a voicing with this note next may still fit.
    fn may_go_on(&self, stack: &[i16], next: i16) -> bool {
        let class = PitchClass::new(next);
        let sounds = usize::try_from(next.rem_euclid(12)).ok();
        if !sounds
            .and_then(|c| self.may_sound.get(c))
            .is_some_and(|s| *s)
        {
            return false;
        }
        let (Some(&lead), last) = (stack.first(), stack.len() + 1 == self.voices) else {
            return false;
        };
        match self.form {
            Form::Spread if last => next <= spread_root(self.voices) && class == self.frame.bass(),
            Form::Spread => next >= self.lowest + 7,
            Form::TriadOverBass if last => class == self.frame.bass(),
            Form::TriadOverBass => lead - next <= 12,
            Form::FiveNoteSoli => lead - next <= 17,
            Form::ThreePart => lead - next <= 16,
            Form::Cluster => lead - next <= 10,
            Form::UpperStructure if stack.len() > 2 => {
                matches!(class.above(self.frame.chord.root.class()), 4 | 10)
            }
            _ => true,
        }
    }
}
