//! Walks: each folder once, no link followed unasked, nothing passed over in silence.
