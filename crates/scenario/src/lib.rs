//! (crate root of `scenario`)
