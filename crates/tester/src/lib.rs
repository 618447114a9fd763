//! (crate root of `tester`)
#![no_std]
extern crate alloc;
