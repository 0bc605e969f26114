//! Instruments and sections: `rules/instruments.toml`.
