//! Which network interfaces there are, and whether one may be used: asked of the kernel over rtnetlink(7).
//!
//! Not of `/sys`, which may show another network namespace than ours and in which some adapters with a real wire
//! (those on a serial line) look virtual. The kind of a link cannot be mistaken: only `vcan` and `vxcan` pass without
//! the user's word that no vehicle is connected.

use std::{
    fs::File,
    io::{self, ErrorKind, Read, Write},
};

use super::{BusError, error::Names};
use crate::sys;

/// `ARPHRD_CAN` (linux/if_arp.h).
const ARPHRD_CAN: u16 = 280;
/// `IFF_UP` (linux/if.h).
const IFF_UP: u32 = 1;
/// `IFF_ECHO` (linux/if.h): the driver gives sent frames back once they have passed.
const IFF_ECHO: u32 = 1 << 18;

/// A network interface.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Link {
    pub(super) name: String,
    pub(super) index: u32,
    /// `IFLA_INFO_KIND`: `vcan`, `can`, ..; empty for links without a kind.
    pub(super) kind: String,
    /// Of an adapter that has one, bit/s.
    pub(super) bit_rate: Option<u32>,
    device_type: u16,
    flags: u32,
}

impl Link {
    const fn is_can(&self) -> bool {
        self.device_type == ARPHRD_CAN
    }

    const fn is_up(&self) -> bool {
        self.flags & IFF_UP != 0
    }

    /// Whether there is certainly no wire behind it.
    pub(super) fn is_virtual(&self) -> bool {
        matches!(self.kind.as_str(), "vcan" | "vxcan")
    }

    /// Whether frames come back to their sender once they have passed: by the driver, or by the kernel for a driver
    /// that does not promise to. Until 6.2 the one of `vxcan` promised and did not (Linux commit "can: vxcan: enable
    /// local echo for sent CAN frames", from memory; the silence was seen on 6.1).
    pub(super) fn gives_back(&self) -> bool {
        !(self.kind == "vxcan" && self.flags & IFF_ECHO != 0)
    }
}

/// All interfaces of this network namespace.
pub(super) fn links() -> io::Result<Vec<Link>> {
    let mut socket = File::from(sys::route_socket()?);
    socket.write_all(&DUMP_LINKS)?;
    let mut links = Vec::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        let received = match socket.read(&mut buffer) {
            Err(error) if error.kind() == ErrorKind::Interrupted => continue,
            other => other?,
        };
        if !take_messages(&buffer[..received], &mut links)? {
            return Ok(links);
        }
    }
}

/// The interface `name`, if it may be used: one with a wire only `on_a_bench`.
pub(super) fn usable<'l>(name: &str, links: &'l [Link], on_a_bench: bool) -> Result<&'l Link, BusError> {
    let interface = name.to_owned();
    let present = || {
        let names = links
            .iter()
            .filter(|link| link.is_can())
            .map(|link| link.name.clone());
        Names(names.collect())
    };
    let Some(link) = links.iter().find(|link| link.name == name) else {
        let present = present();
        return Err(BusError::NoInterface { interface, present });
    };
    if !link.is_can() {
        let present = present();
        return Err(BusError::NotCan { interface, present });
    }
    if !link.is_virtual() && !on_a_bench {
        let kind = if link.kind.is_empty() {
            "unknown"
        } else {
            &link.kind
        };
        let kind = kind.to_owned();
        return Err(BusError::Physical { interface, kind });
    }
    if !link.is_up() {
        let configure = if link.kind == "can" {
            " type can bitrate 500000 restart-ms 100"
        } else {
            ""
        };
        return Err(BusError::Down { interface, configure });
    }
    Ok(link)
}

/// `struct nlmsghdr` and `struct ifinfomsg`, 16 bytes each (linux/netlink.h, linux/rtnetlink.h).
const HEADER: usize = 16;
const NLMSG_ERROR: u16 = 2;
const NLMSG_DONE: u16 = 3;
const RTM_NEWLINK: u16 = 16;
const RTM_GETLINK: u16 = 18;
const NLM_F_REQUEST_DUMP: u16 = 0x0301;
const IFLA_IFNAME: u16 = 3;
const IFLA_LINKINFO: u16 = 18;
const IFLA_INFO_KIND: u16 = 1;
const IFLA_INFO_DATA: u16 = 2;
/// `struct can_bittiming`, whose first word is the bit rate (linux/can/netlink.h).
const IFLA_CAN_BITTIMING: u16 = 1;

/// "All links, please": length, type, flags, sequence 1, port 0, then an empty `ifinfomsg`.
const DUMP_LINKS: [u8; 2 * HEADER] = {
    let mut message = [0; 2 * HEADER];
    let [type_low, type_high] = RTM_GETLINK.to_ne_bytes();
    let [flags_low, flags_high] = NLM_F_REQUEST_DUMP.to_ne_bytes();
    let length = 32_u32.to_ne_bytes();
    let sequence = 1_u32.to_ne_bytes();
    let mut i = 0;
    while i < 4 {
        message[i] = length[i];
        message[8 + i] = sequence[i];
        i += 1;
    }
    message[4] = type_low;
    message[5] = type_high;
    message[6] = flags_low;
    message[7] = flags_high;
    message
};

/// Takes the links out of one read; `false` after the last message of the dump.
fn take_messages(mut bytes: &[u8], links: &mut Vec<Link>) -> io::Result<bool> {
    while let Some((header, _)) = bytes.split_first_chunk::<HEADER>() {
        let [l0, l1, l2, l3, t0, t1, ..] = *header;
        let length = usize::try_from(u32::from_ne_bytes([l0, l1, l2, l3])).unwrap_or(usize::MAX);
        let Some(body) = bytes.get(HEADER..length) else {
            return Err(io::Error::new(
                ErrorKind::InvalidData,
                "truncated list of interfaces",
            ));
        };
        match u16::from_ne_bytes([t0, t1]) {
            RTM_NEWLINK => links.extend(parse_link(body)),
            NLMSG_DONE => return Ok(false),
            NLMSG_ERROR => {
                let code = body.first_chunk().map_or(0, |&code| i32::from_ne_bytes(code));
                return Err(io::Error::from_raw_os_error(code.saturating_neg()));
            }
            _ => {}
        }
        bytes = bytes.get(length.next_multiple_of(4)..).unwrap_or_default();
    }
    Ok(true)
}

fn parse_link(body: &[u8]) -> Option<Link> {
    let (info, attributes) = body.split_first_chunk::<HEADER>()?;
    let [_, _, t0, t1, i0, i1, i2, i3, f0, f1, f2, f3, ..] = *info;
    let mut link = Link {
        device_type: u16::from_ne_bytes([t0, t1]),
        index: u32::from_ne_bytes([i0, i1, i2, i3]),
        flags: u32::from_ne_bytes([f0, f1, f2, f3]),
        ..Link::default()
    };
    for (kind, value) in Attributes(attributes) {
        match kind {
            IFLA_IFNAME => link.name = text(value),
            IFLA_LINKINFO => {
                link.kind = attribute(value, IFLA_INFO_KIND).map(text).unwrap_or_default();
                let timing =
                    attribute(value, IFLA_INFO_DATA).and_then(|data| attribute(data, IFLA_CAN_BITTIMING));
                link.bit_rate = timing
                    .filter(|_| link.kind == "can")
                    .and_then(|timing| timing.first_chunk())
                    .map(|&rate| u32::from_ne_bytes(rate));
            }
            _ => {}
        }
    }
    Some(link)
}

fn attribute(attributes: &[u8], wanted: u16) -> Option<&[u8]> {
    Attributes(attributes).find_map(|(kind, value)| (kind == wanted).then_some(value))
}

fn text(value: &[u8]) -> String {
    let end = value.iter().position(|&byte| byte == 0).unwrap_or(value.len());
    String::from_utf8_lossy(&value[..end]).into_owned()
}

/// Walks `struct rtattr`: length, type, value, padded to four bytes.
struct Attributes<'a>(&'a [u8]);

impl<'a> Iterator for Attributes<'a> {
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let [l0, l1, t0, t1] = *self.0.first_chunk()?;
        let length = usize::from(u16::from_ne_bytes([l0, l1]));
        let value = self.0.get(4..length)?;
        self.0 = self.0.get(length.next_multiple_of(4)..).unwrap_or_default();
        // The two top bits mark nested and network-order attributes.
        Some((u16::from_ne_bytes([t0, t1]) & 0x3FFF, value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn can(name: &str, kind: &str, flags: u32) -> Link {
        Link {
            name: name.to_owned(),
            index: 7,
            kind: kind.to_owned(),
            bit_rate: None,
            device_type: ARPHRD_CAN,
            flags,
        }
    }

    #[test]
    fn the_kernel_lists_its_loopback_interface() {
        let links = links().expect("every Linux answers this");
        let loopback = links.iter().find(|link| link.name == "lo").expect("lo");
        assert_eq!((loopback.index, loopback.is_can()), (1, false));
    }

    #[test]
    fn without_a_bench_only_virtual_interfaces_pass() {
        let links = [
            can("vcan0", "vcan", IFF_UP),
            can("vx0", "vxcan", IFF_UP | 0x40),
            can("vcan1", "vcan", 0x80),
            can("can0", "can", IFF_UP | IFF_ECHO),
            can("can1", "can", IFF_UP),
            can("slcan0", "slcan", IFF_UP),
            can("can9", "", IFF_UP),
            Link {
                name: "lo".to_owned(),
                ..Link::default()
            },
        ];
        for on_a_bench in [false, true] {
            let usable = |name| usable(name, &links, on_a_bench);
            assert!(usable("vcan0").is_ok() && usable("vx0").is_ok());
            assert!(matches!(usable("vcan1"), Err(BusError::Down { .. })));
            for physical in ["can0", "slcan0", "can9"] {
                match usable(physical) {
                    Ok(link) => assert!(on_a_bench && !link.is_virtual(), "{physical}"),
                    Err(error) => assert!(!on_a_bench && matches!(error, BusError::Physical { .. })),
                }
            }
            assert!(matches!(usable("lo"), Err(BusError::NotCan { .. })));
            let Err(BusError::NoInterface { present, .. }) = usable("vcan7") else {
                panic!("there is none");
            };
            assert_eq!(
                present.0,
                ["vcan0", "vx0", "vcan1", "can0", "can1", "slcan0", "can9"]
            );
        }
    }

    #[test]
    fn an_adapter_that_is_down_is_told_its_bit_rate() {
        let links = [can("can1", "can", 0), can("vcan1", "vcan", 0)];
        let text = |name| usable(name, &links, true).expect_err("down").to_string();
        assert!(text("can1").contains("`sudo ip link set can1 up type can bitrate 500000 restart-ms 100`"));
        assert!(text("vcan1").ends_with("`sudo ip link set vcan1 up`"));
    }

    fn rtattr(kind: u16, value: &[u8]) -> Vec<u8> {
        let length = u16::try_from(4 + value.len()).expect("short");
        let mut bytes = [length.to_ne_bytes(), kind.to_ne_bytes()].concat();
        bytes.extend(value);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
        bytes
    }

    /// A message as the kernel writes it, attributes in its order, with one that is skipped.
    #[test]
    fn name_and_kind_are_found_among_the_attributes() {
        let mut body = vec![0, 0];
        body.extend(280_u16.to_ne_bytes());
        body.extend(3_u32.to_ne_bytes());
        body.extend(IFF_UP.to_ne_bytes());
        body.extend([0; 4]);
        body.extend(rtattr(IFLA_IFNAME, b"vcan0\0"));
        body.extend(rtattr(4, &72_u32.to_ne_bytes()));
        body.extend(rtattr(IFLA_LINKINFO | 0x8000, &rtattr(IFLA_INFO_KIND, b"vcan\0")));
        let link = parse_link(&body).expect("a link");
        assert_eq!(
            (link.name.as_str(), link.kind.as_str(), link.index),
            ("vcan0", "vcan", 3)
        );
        assert!(link.is_can() && link.is_up() && link.is_virtual());
        assert!(link.gives_back());
        for end in 0..body.len() {
            let _ = parse_link(&body[..end]);
        }
    }

    /// Layout: linux/if_link.h and linux/can/netlink.h.
    #[test]
    fn the_bit_rate_of_an_adapter_is_found() {
        let timing = [250_000_u32.to_ne_bytes(), [9; 4]].concat();
        for (kind, wanted) in [("can", Some(250_000)), ("vcan", None)] {
            let data = rtattr(IFLA_INFO_DATA, &rtattr(IFLA_CAN_BITTIMING, &timing));
            let info = [rtattr(IFLA_INFO_KIND, kind.as_bytes()), data].concat();
            let mut body = vec![0; HEADER];
            body.extend(rtattr(IFLA_LINKINFO, &info));
            assert_eq!(parse_link(&body).expect("a link").bit_rate, wanted, "{kind}");
        }
    }
}
