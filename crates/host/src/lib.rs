//! The only place with tokio, sockets, files and clocks.
//!
//! - [`bus`]: SocketCAN and the embedded `local:` bus.
//! - [`control`]: action phrases for a running car, over a socket.
//! - [`ready`]: tells a supervisor that the car is ready.
//! - [`run`]: a car on a bus, in wall time.
//! - [`runtime_dir`]: the private folder of the sockets.

pub mod bus;
pub mod control;
pub mod ready;
pub mod run;
pub mod runtime_dir;
mod sys;
