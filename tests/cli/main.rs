//! The program as its users meet it: commands, exit codes, messages, and every command of the README.

mod against;
mod control;
mod disturbed;
mod errors;
mod explain;
mod guest;
mod live_car;
mod local_bus;
mod memory;
mod memory_kill;
mod on_uds;
mod python;
mod readme;
mod record;
mod redact;
mod repeat;
mod replay_car;
mod replay_frames;
mod replay_tester;
mod report;
mod schema;
mod support;
mod transport;
mod tries;
mod verdict;
mod walkthrough;
