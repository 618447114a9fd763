//! pcap, the forerunner of pcapng: one header, one interface, packets without options (draft-ietf-opsawg-pcap).

use crate::{
    BLOCK_MAX, ByteOrder, Interface, Item, Options, Packet, Problem, Step,
    block::ByteOrder::{Big, Little},
    time::Clock,
};

const MAGIC_MICROS: u32 = 0xA1B2_C3D4;
const MAGIC_NANOS: u32 = 0xA1B2_3C4D;
const FILE_HEADER: usize = 24;
const PACKET_HEADER: usize = 16;

/// What the file header says.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pcap {
    order: ByteOrder,
    clock: Clock,
    link_type: u16,
}

impl Pcap {
    /// Reads the file header, which counts as the description of the only interface; `None` if it is no pcap.
    pub(crate) fn begin(magic: [u8; 4], bytes: &[u8]) -> Result<Option<(Self, Step<'_>)>, Problem> {
        let Some((order, clock)) = [Little, Big].into_iter().find_map(|order| {
            let clock = match order.u32(magic) {
                MAGIC_MICROS => Clock::MICROS,
                MAGIC_NANOS => Clock::NANOS,
                _ => return None,
            };
            Some((order, clock))
        }) else {
            return Ok(None);
        };
        let mut pcap = Self {
            order,
            clock,
            link_type: 0,
        };
        let Some(header) = bytes.get(..FILE_HEADER) else {
            return Ok(Some((pcap, Step::More(FILE_HEADER - bytes.len()))));
        };
        let major = order.u16_at(header, 4).unwrap_or_default();
        if major != 2 {
            return Err(Problem::Version(major));
        }
        // The upper half holds flags of some writers.
        let word = order.u32_at(header, 20).unwrap_or_default();
        pcap.link_type = u16::try_from(word & 0xFFFF).unwrap_or_default();
        let interface = Item::Interface(Interface {
            number: 0,
            link_type: pcap.link_type,
            options: Options::default(),
        });
        Ok(Some((pcap, Step::Taken(FILE_HEADER, Some(interface)))))
    }

    pub(crate) fn packet(self, bytes: &[u8]) -> Result<Step<'_>, Problem> {
        let Some((header, rest)) = bytes.split_first_chunk::<PACKET_HEADER>() else {
            return Ok(Step::More(PACKET_HEADER - bytes.len()));
        };
        let word = |place: usize| self.order.u32_at(header, place).unwrap_or_default();
        let captured = usize::try_from(word(8)).unwrap_or(usize::MAX);
        if captured > BLOCK_MAX {
            return Err(Problem::PacketLength(word(8)));
        }
        let Some(data) = rest.get(..captured) else {
            return Ok(Step::More(captured - rest.len()));
        };
        let seconds = u64::from(word(0)) * 1_000_000_000;
        let packet = Packet {
            interface: 0,
            link_type: self.link_type,
            at: Some(seconds + self.clock.nanos(u64::from(word(4)))),
            data,
            original_length: word(12),
            options: Options::default(),
        };
        Ok(Step::Taken(PACKET_HEADER + captured, Some(Item::Packet(packet))))
    }
}
