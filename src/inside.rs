//! All rooms, opened for the project's own tests, benches and fuzz targets by the feature `inside`.
//! Nothing here is a promise to other programs.

macro_rules! rooms {
    ($($room:ident)*) => {
        $(
            #[allow(missing_docs, reason = "the room has its own documentation")]
            pub mod $room {
                pub use crate::$room::*;
            }
        )*
    };
}

rooms! {
    analysis condition correct diagnosis editing file_text finding fixing ground homework house_style
    marking model_answer proof reading report rules score sonority style voicing writing
}
