//! The `twotrip` command.
fn main() {}
