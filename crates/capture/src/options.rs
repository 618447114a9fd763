//! The options of a block: code, length, value, padded to four bytes.

use alloc::borrow::Cow;

use crate::ByteOrder;

/// Codes that mean the same in every block, or that this crate reads (draft-ietf-opsawg-pcapng).
pub(crate) mod code {
    pub(crate) const END: u16 = 0;
    pub(crate) const COMMENT: u16 = 1;
    pub(crate) const SECTION_SYSTEM: u16 = 3;
    pub(crate) const SECTION_APPLICATION: u16 = 4;
    pub(crate) const INTERFACE_NAME: u16 = 2;
    pub(crate) const INTERFACE_DESCRIPTION: u16 = 3;
    pub(crate) const INTERFACE_SPEED: u16 = 8;
    pub(crate) const INTERFACE_RESOLUTION: u16 = 9;
    pub(crate) const INTERFACE_OFFSET: u16 = 14;
    pub(crate) const PACKET_FLAGS: u16 = 2;
    pub(crate) const PACKET_DROPPED: u16 = 4;
    pub(crate) const STATISTICS_RECEIVED: u16 = 4;
    pub(crate) const STATISTICS_DROPPED_BY_INTERFACE: u16 = 5;
    pub(crate) const STATISTICS_DROPPED_BY_SYSTEM: u16 = 7;
}

/// Text of a file: UTF-8 if the file is as it should be, and not to be trusted: it may hold control characters.
pub type Text<'a> = Cow<'a, str>;

/// The options of a block, read one by one where they lie. Ends at the first that does not fit into its block.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options<'a> {
    bytes: &'a [u8],
    order: ByteOrder,
}

impl<'a> Options<'a> {
    pub(crate) const fn new(bytes: &'a [u8], order: ByteOrder) -> Self {
        Self { bytes, order }
    }

    /// Every comment, in order.
    pub fn comments(self) -> impl Iterator<Item = Text<'a>> {
        self.filter(|&(code, _)| code == code::COMMENT)
            .map(|(_, value)| text(value))
    }

    pub(crate) fn value(self, wanted: u16) -> Option<&'a [u8]> {
        let mut all = self;
        all.find_map(|(code, value)| (code == wanted).then_some(value))
    }

    pub(crate) fn text(self, wanted: u16) -> Option<Text<'a>> {
        self.value(wanted).map(text)
    }

    pub(crate) fn u32(self, wanted: u16) -> Option<u32> {
        let bytes = self.value(wanted)?.try_into().ok()?;
        Some(self.order.u32(bytes))
    }

    pub(crate) fn u64(self, wanted: u16) -> Option<u64> {
        let bytes = self.value(wanted)?.try_into().ok()?;
        Some(self.order.u64(bytes))
    }
}

/// Some writers end their texts with a zero byte.
fn text(value: &[u8]) -> Text<'_> {
    let value = value.strip_suffix(&[0]).unwrap_or(value);
    alloc::string::String::from_utf8_lossy(value)
}

impl<'a> Iterator for Options<'a> {
    /// Code and value.
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let (head, rest) = self.bytes.split_first_chunk::<4>()?;
        let code = self.order.u16([head[0], head[1]]);
        let length = usize::from(self.order.u16([head[2], head[3]]));
        if code == code::END {
            self.bytes = &[];
            return None;
        }
        let Some(value) = rest.get(..length) else {
            self.bytes = &[];
            return None;
        };
        self.bytes = rest.get(length.next_multiple_of(4)..).unwrap_or(&[]);
        Some((code, value))
    }
}
