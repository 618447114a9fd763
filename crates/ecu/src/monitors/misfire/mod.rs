//! Misfire.
mod crank;
