//! SAE J1979 messages and data: bytes to types and back, for both sides of the wire.
//!
//! ```text
//! tester: Request::emit  -> bytes -> Request::parse  :ECU
//! tester: Response::parse <- bytes <- ResponseBuffer :ECU
//! ```
//!
//! [`pid`] holds the parameters as data, [`Mid`], [`Tid`] and [`Uasid`] the tests, [`describe_request`] and [`describe_response`] say a message in words,
//! [`code_text()`] what a trouble code means. [`uds`] reads and writes the messages of SAE J1979-2, the other [`Dialect`].
#![no_std]
extern crate alloc;

mod buffer;
mod code_text;
mod describe;
mod dialect;
mod dtc;
pub mod identity;
mod in_use;
mod info;
pub mod inspection;
pub mod mask;
mod monitoring;
pub mod pid;
mod readiness;
mod request;
mod response;
mod service;
pub mod uds;
pub mod vin;

pub use buffer::{BufferFull, ResponseBuffer};
pub use code_text::code_text;
pub use describe::{describe_request, describe_response, write_data, write_request, write_response};
pub use dialect::Dialect;
pub use dtc::{Dtc, DtcError};
pub use in_use::{InUseItem, InUsePerformance};
pub use info::{InfoType, Information};
pub use mask::SupportMask;
pub use monitoring::{Mid, TestResult, TestResults, Tid, Uasid};
pub use pid::Pid;
pub use readiness::{Group, GroupState, Readiness};
pub use request::{Control, FramedParameters, Parameters, Request, RequestError};
pub use response::{Codes, Record, RecordError, Records, Response, ResponseError};
pub use service::{ResponseCode, Service};
