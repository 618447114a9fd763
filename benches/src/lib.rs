//! What the benches share.
