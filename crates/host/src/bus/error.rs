//! What can go wrong with a bus, each with the next thing to type.

use std::{fmt, io, path::PathBuf};

use thiserror::Error;

use super::local::MAX_CLIENTS;
use crate::runtime_dir::{ClaimError, RuntimeDirError};

/// Why a bus cannot be opened or used.
#[derive(Debug, Error)]
pub enum BusError {
    /// The kernel knows no CAN sockets, or no raw ones.
    #[error(
        "this kernel has no CAN support ({reason}), which bus `{interface}` needs; use the embedded bus: \
         `--bus local:NAME`; or boot a kernel with CAN modules and load them: `sudo modprobe -a can-raw vcan`"
    )]
    NoCanSupport {
        /// The interface asked for.
        interface: String,
        /// What the kernel said.
        reason: io::Error,
    },
    /// No such interface.
    #[error(
        "there is no interface `{interface}`; CAN interfaces present: {present}; make a virtual one: \
         `sudo ip link add dev {0} type vcan && sudo ip link set {0} up`; or use `--bus local:NAME`",
        virtual_name(.interface)
    )]
    NoInterface {
        /// The interface asked for.
        interface: String,
        /// Those that there are.
        present: Names,
    },
    /// An interface of another kind, such as a network card.
    #[error("interface `{interface}` is not a CAN interface; CAN interfaces present: {present}")]
    NotCan {
        /// The interface asked for.
        interface: String,
        /// Those that there are.
        present: Names,
    },
    /// The interface has a wire behind it, or may have.
    #[error(
        "physical interface `{interface}` (kind `{kind}`) refused: this program must never go on a vehicle's bus; \
         on a bench without a vehicle, wired as the README says, add `--on-a-bench`; otherwise use a virtual \
         interface: `sudo ip link add dev vcan0 type vcan && sudo ip link set vcan0 up`"
    )]
    Physical {
        /// The interface asked for.
        interface: String,
        /// Its kind as the kernel calls it.
        kind: String,
    },
    /// The interface is there but down.
    #[error("interface `{interface}` is down; bring it up: `sudo ip link set {interface} up{configure}`")]
    Down {
        /// The interface asked for.
        interface: String,
        /// What an adapter has to be told besides, to follow `up`.
        configure: &'static str,
    },
    /// An embedded bus where a wire was promised.
    #[error("`--on-a-bench` is for CAN interfaces, and `{bus}` has no wire; leave it out")]
    NoBench {
        /// The bus asked for.
        bus: String,
    },
    /// The interface went away while in use.
    #[error("interface `{interface}` was removed while in use: make it again and start again")]
    Removed {
        /// The interface.
        interface: String,
    },
    /// Not allowed.
    #[error(
        "no permission to open a CAN socket on `{interface}`: {reason}; ask whoever set up this sandbox, or use `--bus local:NAME`"
    )]
    Permission {
        /// The interface asked for.
        interface: String,
        /// What the kernel said.
        reason: io::Error,
    },
    /// An FD frame for an interface that carries classic frames only.
    #[error(
        "interface `{interface}` takes no FD frames: `sudo ip link set {interface} mtu 72` while it is down"
    )]
    NoFd {
        /// The interface.
        interface: String,
    },
    /// Nobody hosts the embedded bus.
    #[error(
        "no car is running on `local:{name}` ({path}); running: {present}; start one with \
         `twotrip run SCENARIO --bus local:{name}`", path = .path.display()
    )]
    NoCar {
        /// The name of the bus.
        name: String,
        /// Where its socket would be.
        path: PathBuf,
        /// The embedded buses that there are.
        present: Names,
    },
    /// The car hosts the bus but does not greet.
    #[error("the car on `local:{name}` does not answer within `{seconds}` s: it is stopped or busy")]
    NoAnswer {
        /// The name of the bus.
        name: String,
        /// How long it was waited for.
        seconds: u64,
    },
    /// The other side speaks another version of the format.
    #[error(
        "the car on `local:{name}` speaks version `{found}` of the embedded bus where this program speaks \
         `{spoken}`: use the same version of twotrip for both"
    )]
    Version {
        /// The name of the bus.
        name: String,
        /// The version found.
        found: u8,
        /// Our version.
        spoken: u8,
    },
    /// Something listens on the socket that is no embedded bus, or another one.
    #[error("what listens for `local:{name}` is not that bus: remove {path}", path = .path.display())]
    Foreign {
        /// The name of the bus.
        name: String,
        /// The socket.
        path: PathBuf,
    },
    /// The car hosts the bus but closed the connection instead of greeting.
    #[error(
        "the car on `local:{name}` does not let anybody in: it has `{MAX_CLIENTS}` clients already, or has just ended"
    )]
    Refused {
        /// The name of the bus.
        name: String,
    },
    /// The car ended, or closed the connection.
    #[error("the car on `local:{name}` has ended or closed the connection")]
    Closed {
        /// The name of the bus.
        name: String,
    },
    /// The private folder cannot be used.
    #[error(transparent)]
    RuntimeDir(#[from] RuntimeDirError),
    /// The name is taken by another car, or its socket cannot be made.
    #[error("bus `local:{name}`: {source}")]
    Claim {
        /// The name of the bus.
        name: String,
        /// Why.
        source: ClaimError,
    },
    /// A system call failed that should not.
    #[error("cannot {doing} on bus `{bus}`: {source}")]
    System {
        /// The bus.
        bus: String,
        /// What was tried, fit to follow "cannot".
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
}

/// Names in a message: `` `vcan0`, `vcan1` ``, or `none`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Names(pub Vec<String>);

impl fmt::Display for Names {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_empty() {
            return f.write_str("none");
        }
        for (i, name) in self.0.iter().enumerate() {
            let comma = if i > 0 { ", " } else { "" };
            write!(f, "{comma}`{name}`")?;
        }
        Ok(())
    }
}

/// The name to propose for a virtual interface: the one asked for, unless it sounds like a physical one.
fn virtual_name(interface: &str) -> &str {
    if interface.starts_with("can") || interface.starts_with("slcan") {
        "vcan0"
    } else {
        interface
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_interface_says_what_is_there_and_what_to_type() {
        let error = BusError::NoInterface {
            interface: "can0".to_owned(),
            present: Names(vec!["vcan1".to_owned(), "vcan2".to_owned()]),
        };
        assert_eq!(
            error.to_string(),
            "there is no interface `can0`; CAN interfaces present: `vcan1`, `vcan2`; make a virtual one: \
             `sudo ip link add dev vcan0 type vcan && sudo ip link set vcan0 up`; or use `--bus local:NAME`"
        );
        assert_eq!(Names::default().to_string(), "none");
    }
}
