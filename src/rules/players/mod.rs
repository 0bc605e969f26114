//! What one player can and should play.

pub mod breath;
pub mod double_stop;
pub mod endurance;
pub mod register_break;
pub mod tessitura;
pub mod unplayable_stretch;
pub mod written_range;
