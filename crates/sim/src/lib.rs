//! (crate root of `sim`)
