//! The decoder: bytes in, items out, with the offset of the first byte that makes no sense.

use alloc::vec::Vec;

use crate::{
    ByteOrder, Damage, Interface, Item, Options, Packet, Problem, Section, Statistics,
    block::{self, Block, Front},
    options::code,
    pcap::Pcap,
    time::Clock,
};

/// Most interfaces of a file.
pub const INTERFACES_MAX: usize = 4096;

/// What came of looking at some bytes.
#[derive(Clone, Copy, Debug)]
pub enum Step<'a> {
    /// At least so many more bytes are needed, behind those that were shown.
    More(usize),
    /// So many bytes were taken; the item in them, if that was not the rest of a block that is skipped.
    Taken(usize, Option<Item<'a>>),
}

/// Reads a file piece by piece. Holds no bytes itself: whoever feeds it shows it what it has not taken yet.
///
/// ```
/// use twotrip_capture::{Decoder, Item, Step, write};
///
/// let mut file = Vec::new();
/// write::section(&mut file, &write::Section { application: "an example", ..Default::default() });
/// let mut decoder = Decoder::default();
/// let Ok(Step::Taken(length, Some(Item::Section(section)))) = decoder.step(&file) else {
///     panic!("a section was written");
/// };
/// assert_eq!(section.application().as_deref(), Some("an example"));
/// assert_eq!(length, file.len());
/// assert!(decoder.end(&file[length..]).is_ok());
/// ```
#[derive(Clone, Debug, Default)]
pub struct Decoder {
    form: Form,
    offset: u64,
    /// Bytes of a block that are still to be skipped.
    skip: u64,
    /// Where the block begins that is skipped.
    whole: u64,
    interfaces: Vec<Known>,
    /// How many interfaces the sections before this one had.
    before: usize,
}

#[derive(Clone, Copy, Debug, Default)]
enum Form {
    #[default]
    Unknown,
    Sections(ByteOrder),
    Pcap(Pcap),
}

/// What packets need to know of their interface.
#[derive(Clone, Copy, Debug)]
struct Known {
    clock: Clock,
    link_type: u16,
}

impl Decoder {
    /// The offset of the first byte that was not taken.
    #[must_use]
    pub const fn offset(&self) -> u64 {
        self.offset
    }

    /// Where the last whole block ends: less than [`Self::offset`] inside a block that is skipped.
    #[must_use]
    pub const fn whole(&self) -> u64 {
        if self.skip > 0 { self.whole } else { self.offset }
    }

    /// Looks at the bytes from [`Self::offset`] on.
    ///
    /// # Errors
    /// [`Damage`]: from there on the file cannot be read.
    #[inline]
    pub fn step<'a>(&mut self, bytes: &'a [u8]) -> Result<Step<'a>, Damage> {
        let step = self.look(bytes).map_err(|problem| Damage {
            offset: self.offset,
            problem,
        })?;
        if let Step::Taken(count, _) = step {
            self.offset += count as u64;
        }
        Ok(step)
    }

    /// The file is over, with these bytes not taken.
    ///
    /// # Errors
    /// [`Damage`] if something is cut short.
    pub fn end(&self, rest: &[u8]) -> Result<(), Damage> {
        let missing = match self.clone().look(rest) {
            Ok(Step::More(missing)) if !rest.is_empty() => missing,
            _ => usize::try_from(self.skip).unwrap_or(usize::MAX),
        };
        match missing {
            0 => Ok(()),
            missing => Err(Damage {
                offset: self.offset,
                problem: Problem::CutShort { missing },
            }),
        }
    }

    fn look<'a>(&mut self, bytes: &'a [u8]) -> Result<Step<'a>, Problem> {
        if self.skip > 0 {
            return Ok(self.skip_over(bytes));
        }
        match self.form {
            Form::Sections(order) => self.look_for_block(bytes, order),
            Form::Pcap(pcap) => pcap.packet(bytes),
            Form::Unknown => self.begin(bytes),
        }
    }

    /// Which format it is.
    fn begin<'a>(&mut self, bytes: &'a [u8]) -> Result<Step<'a>, Problem> {
        let Some(magic) = bytes.first_chunk::<4>() else {
            return Ok(Step::More(4 - bytes.len()));
        };
        // The same in either byte order.
        if *magic == block::SECTION.to_le_bytes() {
            return self.look_for_block(bytes, ByteOrder::Little);
        }
        let Some((pcap, step)) = Pcap::begin(*magic, bytes)? else {
            return Err(Problem::NoRecording);
        };
        if matches!(step, Step::Taken(..)) {
            self.form = Form::Pcap(pcap);
        }
        Ok(step)
    }

    fn skip_over(&mut self, bytes: &[u8]) -> Step<'static> {
        if bytes.is_empty() {
            return Step::More(1);
        }
        let count = usize::try_from(self.skip).map_or(bytes.len(), |skip| skip.min(bytes.len()));
        self.skip -= count as u64;
        Step::Taken(count, None)
    }

    #[inline]
    fn look_for_block<'a>(&mut self, bytes: &'a [u8], order: ByteOrder) -> Result<Step<'a>, Problem> {
        match block::front(bytes, order)? {
            Front::More(count) => Ok(Step::More(count)),
            Front::TooLong { kind, length } => {
                self.skip = u64::from(length) - 8;
                self.whole = self.offset;
                Ok(Step::Taken(8, Some(Item::Other(kind))))
            }
            Front::Block(block) => {
                let item = self.item(&block)?;
                Ok(Step::Taken(block.length, Some(item)))
            }
        }
    }

    #[inline]
    fn item<'a>(&mut self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        match block.kind {
            block::PACKET => self.packet(block),
            block::SECTION => self.section(block),
            block::INTERFACE => self.interface(block),
            block::STATISTICS => self.statistics(block),
            block::SIMPLE_PACKET => self.simple_packet(block),
            other => Ok(Item::Other(other)),
        }
    }

    fn section<'a>(&mut self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        const FIELDS: usize = 16;
        let Some(options) = block.body.get(FIELDS..) else {
            return Err(Problem::Fields(block.kind));
        };
        let major = block.order.u16_at(block.body, 4).unwrap_or_default();
        if major != 1 {
            return Err(Problem::Version(major));
        }
        self.form = Form::Sections(block.order);
        self.before = self.interfaces.len();
        Ok(Item::Section(Section {
            order: block.order,
            options: Options::new(options, block.order),
        }))
    }

    fn interface<'a>(&mut self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        const FIELDS: usize = 8;
        let Some(options) = block.body.get(FIELDS..) else {
            return Err(Problem::Fields(block.kind));
        };
        if self.interfaces.len() == INTERFACES_MAX {
            return Err(Problem::Interfaces(INTERFACES_MAX));
        }
        let options = Options::new(options, block.order);
        let mut clock = Clock::MICROS;
        if let Some(&[code]) = options.value(code::INTERFACE_RESOLUTION) {
            clock = clock.with_resolution(code);
        }
        if let Some(seconds) = options.u64(code::INTERFACE_OFFSET) {
            clock = clock.with_offset(seconds.cast_signed());
        }
        let link_type = block.order.u16_at(block.body, 0).unwrap_or_default();
        let number = u32::try_from(self.interfaces.len()).unwrap_or(u32::MAX);
        self.interfaces.push(Known { clock, link_type });
        Ok(Item::Interface(Interface {
            number,
            link_type,
            options,
        }))
    }

    /// The interface that a block of the present section names, and its number in the file.
    fn known(&self, id: u32) -> Result<(u32, Known), Problem> {
        let place = usize::try_from(id)
            .ok()
            .and_then(|id| self.before.checked_add(id));
        let known = place.and_then(|place| self.interfaces.get(place));
        let known = *known.ok_or(Problem::Interface(id))?;
        Ok((id + u32::try_from(self.before).unwrap_or(u32::MAX), known))
    }

    #[inline]
    fn packet<'a>(&self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        let Some((fields, rest)) = block.body.split_first_chunk::<20>() else {
            return Err(Problem::Fields(block.kind));
        };
        let word = |place: usize| block.order.u32_at(fields, place).unwrap_or_default();
        let (number, known) = self.known(word(0))?;
        let captured = usize::try_from(word(12)).unwrap_or(usize::MAX);
        let Some(data) = rest.get(..captured) else {
            return Err(Problem::Fields(block.kind));
        };
        let options = rest.get(captured.next_multiple_of(4)..).unwrap_or(&[]);
        let stamp = u64::from(word(4)) << 32 | u64::from(word(8));
        Ok(Item::Packet(Packet {
            interface: number,
            link_type: known.link_type,
            at: Some(known.clock.nanos(stamp)),
            data,
            original_length: word(16),
            options: Options::new(options, block.order),
        }))
    }

    fn simple_packet<'a>(&self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        let Some((fields, data)) = block.body.split_first_chunk::<4>() else {
            return Err(Problem::Fields(block.kind));
        };
        let original_length = block.order.u32(*fields);
        let (interface, known) = self.known(0)?;
        let captured = usize::try_from(original_length).map_or(data.len(), |length| length.min(data.len()));
        Ok(Item::Packet(Packet {
            interface,
            link_type: known.link_type,
            at: None,
            data: &data[..captured],
            original_length,
            options: Options::default(),
        }))
    }

    fn statistics<'a>(&self, block: &Block<'a>) -> Result<Item<'a>, Problem> {
        let Some((fields, options)) = block.body.split_first_chunk::<12>() else {
            return Err(Problem::Fields(block.kind));
        };
        let word = |place: usize| block.order.u32_at(fields, place).unwrap_or_default();
        let (interface, known) = self.known(word(0))?;
        Ok(Item::Statistics(Statistics {
            interface,
            at: known.clock.nanos(u64::from(word(4)) << 32 | u64::from(word(8))),
            options: Options::new(options, block.order),
        }))
    }
}

/// Every item in the bytes of a whole file, and at the end the damage, if there is some.
pub fn items(bytes: &[u8]) -> impl Iterator<Item = Result<Item<'_>, Damage>> {
    let mut decoder = Decoder::default();
    let mut rest = Some(bytes);
    core::iter::from_fn(move || {
        loop {
            let bytes = rest?;
            match decoder.step(bytes) {
                Ok(Step::Taken(count, item)) => {
                    rest = bytes.get(count..);
                    if let Some(item) = item {
                        return Some(Ok(item));
                    }
                }
                Ok(Step::More(_)) => {
                    rest = None;
                    return decoder.end(bytes).err().map(Err);
                }
                Err(damage) => {
                    rest = None;
                    return Some(Err(damage));
                }
            }
        }
    })
}
