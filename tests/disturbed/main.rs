//! Disturbances on cue: what each does on the wire, which tools survive it, and that no two of them together stop the car.
#![expect(unreachable_pub, reason = "a test binary has no callers outside")]

mod built_in;
mod ecu;
mod pairs;
mod parties;
mod rows;
mod scan;
mod tools;
mod wire;
mod world;
