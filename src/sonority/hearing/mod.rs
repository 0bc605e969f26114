//! How a score is meant to sound where its file cannot mean it as it stands: one fault of a whole
//! part or of a stretch is found here, and all that follows is judged as it was meant.

mod transposing;

pub use transposing::signs;

use crate::score::Score;

/// The score as it is meant to sound; `None` when every part sounds as its file says.
pub fn heard(score: &Score) -> Option<Score> {
    if !score.presumed.is_empty() {
        return None;
    }
    let presumed = transposing::presumed(score);
    if presumed.is_empty() {
        return None;
    }
    let mut meant = score.clone();
    transposing::apply(&mut meant, &presumed);
    meant.presumed = presumed;
    meant.lay_out();
    Some(meant)
}
