//! Where the simulated car meets the machine: sockets, files, clocks, and tokio to wait for them. No other crate
//! has any of these.
//!
//! - [`mod@bench`]: the guard of a bus with a wire.
//! - [`bus`]: SocketCAN and the embedded `local:` bus.
//! - [`control`]: action phrases for a running car, over a socket.
//! - [`in_process`]: car and tester on an in-memory bus.
//! - [`journal`]: all that is done to a car, put down.
//! - [`judge`]: what testers did to a running car.
//! - [`memory_file`]: what an ECU keeps between runs.
//! - [`ready`]: tells a supervisor that the car is ready.
//! - [`recording`]: what is on a bus, in a file.
//! - [`replay`]: a recording on a bus again, in wall time.
//! - [`repeat`]: a recorded run once more, held against the recording.
//! - [`run`]: a car on a bus, in wall time.
//! - [`runtime_dir`]: the private folder of the sockets.
//! - [`session`]: a tester on a bus, in wall time.
//! - [`story`]: phrases lived through at full speed.
//! - [`tool`]: a program of the user's beside a car.
//! - [`verdicts`]: what the tool did about disturbances.
//! - [`yard`]: many cars in one process, in wall time.

pub mod bench;
pub mod bus;
pub mod control;
mod exit;
mod flush;
pub mod in_process;
pub mod journal;
pub mod judge;
pub mod memory_file;
pub mod ready;
pub mod recording;
pub mod repeat;
pub mod replay;
pub mod run;
pub mod runtime_dir;
pub mod session;
mod sys;
#[cfg(test)]
mod test_support;
pub mod tool;
pub mod verdicts;
mod wall;
pub mod yard;

pub use twotrip_sim::story;
