//! (crate root of `isotp`)
#![no_std]
extern crate alloc;
