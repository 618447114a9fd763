//! (crate root of `vehicle`)
#![no_std]
extern crate alloc;
