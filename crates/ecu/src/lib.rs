//! (crate root of `ecu`)
#![no_std]
extern crate alloc;
