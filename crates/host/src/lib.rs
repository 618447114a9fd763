//! (crate root of `host`)
