//! The engine ECU: engine management, monitors, fault memory, and the server that answers SAE J1979 requests.
#![no_std]
extern crate alloc;

pub mod data;
pub mod memory;
