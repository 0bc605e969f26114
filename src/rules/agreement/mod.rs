//! Signs that the parts have to have alike.

pub mod articulation_agreement;
pub mod bar_count;
pub mod dynamic_agreement;
pub mod meter_agreement;
pub mod rehearsal_mark_agreement;
pub mod repeat_agreement;
pub mod rhythm_unison;
pub mod slur_agreement;
pub mod tempo_agreement;
