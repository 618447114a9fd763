//! The program as its users meet it: commands, exit codes, messages, and every command of the README.

mod against;
mod disturbed;
mod errors;
mod explain;
mod live_car;
mod local_bus;
mod memory;
mod memory_kill;
mod readme;
mod record;
mod redact;
mod repeat;
mod replay_car;
mod replay_frames;
mod replay_tester;
mod schema;
mod support;
mod transport;
mod verdict;
mod walkthrough;
