//! (crate root of `obd`)
#![no_std]
extern crate alloc;
