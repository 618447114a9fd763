//! The name of a bus as a user gives it: `vcan0`, `can0`, `local:NAME`.

use std::{fmt, str::FromStr};

use thiserror::Error;

/// Longest name of an embedded bus, characters.
pub const LOCAL_NAME_MAX: usize = 64;
/// Longest name of a network interface, bytes (`IFNAMSIZ` less its end mark, linux/if.h).
pub const INTERFACE_NAME_MAX: usize = 15;

/// Which bus.
///
/// ```
/// use twotrip_host::bus::Name;
/// assert_eq!("local:bench-1".parse(), Ok(Name::Local("bench-1".to_owned())));
/// assert_eq!("vcan0".parse(), Ok(Name::Interface("vcan0".to_owned())));
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Name {
    /// A SocketCAN interface.
    Interface(String),
    /// An embedded bus, where the kernel offers none.
    Local(String),
}

/// Why a text names no bus.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum NameError {
    /// Nothing given.
    #[error("the bus has no name: give an interface such as `vcan0`, or `local:NAME`")]
    Empty,
    /// An interface name of more than 15 bytes.
    #[error(
        "`{0}` is no interface: names of interfaces have at most `15` bytes; an embedded bus is written `local:NAME`"
    )]
    InterfaceTooLong(String),
    /// A character that the kernel allows in no interface name.
    #[error(
        "`{name}` is no interface: `{found}` stands in no interface name; allowed are `vcan0` or `local:NAME`"
    )]
    InterfaceCharacter {
        /// The whole text.
        name: String,
        /// The character.
        found: char,
    },
    /// `local:` alone, or with more than 64 characters.
    #[error("`local:{0}` has a name of `{len}` characters where `1` to `64` are allowed", len = .0.chars().count())]
    LocalLength(String),
    /// A character that is allowed in no name of an embedded bus.
    #[error("`local:{name}` holds `{found}` where only `a-z`, `0-9`, `-` and `_` are allowed")]
    LocalCharacter {
        /// The name behind `local:`.
        name: String,
        /// The character.
        found: char,
    },
}

impl FromStr for Name {
    type Err = NameError;

    fn from_str(text: &str) -> Result<Self, NameError> {
        if let Some(name) = text.strip_prefix("local:") {
            if let Some(found) = name.chars().find(|&c| !is_local(c)) {
                let name = name.to_owned();
                return Err(NameError::LocalCharacter { name, found });
            }
            if name.is_empty() || name.len() > LOCAL_NAME_MAX {
                return Err(NameError::LocalLength(name.to_owned()));
            }
            return Ok(Self::Local(name.to_owned()));
        }
        if text.is_empty() {
            return Err(NameError::Empty);
        }
        let odd = |c: char| matches!(c, '/' | ':') || c.is_whitespace() || c.is_control();
        if let Some(found) = text.chars().find(|&c| odd(c)) {
            let name = text.to_owned();
            return Err(NameError::InterfaceCharacter { name, found });
        }
        if text.len() > INTERFACE_NAME_MAX {
            return Err(NameError::InterfaceTooLong(text.to_owned()));
        }
        Ok(Self::Interface(text.to_owned()))
    }
}

const fn is_local(c: char) -> bool {
    matches!(c, 'a'..='z' | '0'..='9' | '-' | '_')
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Interface(name) => f.write_str(name),
            Self::Local(name) => write!(f, "local:{name}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_and_shown_alike() {
        for text in ["vcan0", "can0", "local:a", "local:bench_2-b", "abcdefghijklmno"] {
            assert_eq!(
                text.parse::<Name>().map(|name| name.to_string()),
                Ok(text.to_owned())
            );
        }
        let longest = format!("local:{}", "x".repeat(LOCAL_NAME_MAX));
        assert!(longest.parse::<Name>().is_ok());
    }

    #[test]
    fn what_names_no_bus_is_refused_with_its_reason() {
        let error = |text: &str| text.parse::<Name>().expect_err("refused");
        assert_eq!(error(""), NameError::Empty);
        assert_eq!(error("local:"), NameError::LocalLength(String::new()));
        assert_eq!(
            error(&format!("local:{}", "x".repeat(65))),
            NameError::LocalLength("x".repeat(65))
        );
        assert_eq!(
            error("abcdefghijklmnop"),
            NameError::InterfaceTooLong("abcdefghijklmnop".to_owned())
        );
        assert_eq!(
            error("local:../../etc").to_string(),
            "`local:../../etc` holds `.` where only `a-z`, `0-9`, `-` and `_` are allowed"
        );
        assert!(matches!(
            error("vcan 0"),
            NameError::InterfaceCharacter { found: ' ', .. }
        ));
        assert!(matches!(
            error("lokal:x"),
            NameError::InterfaceCharacter { found: ':', .. }
        ));
    }
}
