//! The only place with tokio, sockets, files and clocks.
//!
//! - [`bus`]: SocketCAN and the embedded `local:` bus.
//! - [`ready`]: tells a supervisor that the car is ready.
//! - [`runtime_dir`]: the private folder of the sockets.

pub mod bus;
pub mod ready;
pub mod runtime_dir;
mod sys;
