//! The buffer into which an ECU writes its answer: bounded, filled again for each answer, allocated once.

use alloc::vec::Vec;
use core::ops::Deref;

use thiserror::Error;

use crate::{ResponseCode, Service};

/// The answer does not fit the buffer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("the answer would have more than `{limit}` bytes")]
pub struct BufferFull {
    /// How many bytes the buffer holds.
    pub limit: usize,
}

/// A reusable answer of bounded length. Dereferences to the bytes written so far.
///
/// ```
/// use twotrip_obd::{ResponseBuffer, Service};
///
/// let mut response = ResponseBuffer::new();
/// response.begin(Service::CurrentData)?;
/// response.extend(&[0x0C, 0x1A, 0xF8])?;
/// assert_eq!(*response, [0x41, 0x0C, 0x1A, 0xF8]);
/// # Ok::<(), twotrip_obd::BufferFull>(())
/// ```
#[derive(Clone, Debug)]
pub struct ResponseBuffer {
    bytes: Vec<u8>,
    limit: usize,
}

impl ResponseBuffer {
    /// The longest message that ISO 15765-2 carries with a 12-bit length.
    pub const LONGEST: usize = 4095;

    /// An empty buffer for the longest message of the transport.
    #[must_use]
    pub fn new() -> Self {
        Self::with_limit(Self::LONGEST)
    }

    /// An empty buffer for messages of at most `limit` bytes.
    #[must_use]
    pub fn with_limit(limit: usize) -> Self {
        Self {
            bytes: Vec::with_capacity(limit),
            limit,
        }
    }

    /// The bytes written so far.
    #[must_use]
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes
    }

    /// Empties the buffer; its memory stays.
    pub fn clear(&mut self) {
        self.bytes.clear();
    }

    /// Empties the buffer and writes the first byte of a positive answer.
    ///
    /// # Errors
    /// If not even one byte fits.
    pub fn begin(&mut self, service: Service) -> Result<(), BufferFull> {
        self.clear();
        self.extend(&[service.to_answer_byte()])
    }

    /// Makes this a negative answer.
    ///
    /// # Errors
    /// If three bytes do not fit.
    pub fn refuse(&mut self, service: Service, code: ResponseCode) -> Result<(), BufferFull> {
        self.clear();
        self.extend(&[0x7F, service.to_byte(), code.to_byte()])
    }

    /// Appends bytes, all or none.
    ///
    /// # Errors
    /// If they do not fit; the buffer is then as before.
    pub fn extend(&mut self, bytes: &[u8]) -> Result<(), BufferFull> {
        if self.limit - self.bytes.len() < bytes.len() {
            return Err(BufferFull { limit: self.limit });
        }
        self.bytes.extend_from_slice(bytes);
        Ok(())
    }

    /// Appends `length` zero bytes and gives them to be filled in.
    ///
    /// # Errors
    /// If they do not fit; the buffer is then as before.
    pub fn extend_zeroed(&mut self, length: usize) -> Result<&mut [u8], BufferFull> {
        let start = self.bytes.len();
        if self.limit - start < length {
            return Err(BufferFull { limit: self.limit });
        }
        self.bytes.resize(start + length, 0);
        Ok(&mut self.bytes[start..])
    }

    /// Keeps the first `length` bytes.
    pub fn truncate(&mut self, length: usize) {
        self.bytes.truncate(length);
    }

    /// Overwrites one byte written before, such as a count that is known only at the end.
    ///
    /// # Panics
    /// If no byte has been written there.
    pub fn set(&mut self, index: usize, byte: u8) {
        self.bytes[index] = byte;
    }
}

impl Default for ResponseBuffer {
    fn default() -> Self {
        Self::new()
    }
}

impl Deref for ResponseBuffer {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_leaves_the_buffer_as_it_was() {
        let mut buffer = ResponseBuffer::with_limit(4);
        buffer.begin(Service::ConfirmedCodes).unwrap();
        buffer.extend(&[0x01, 0x04]).unwrap();
        assert_eq!(buffer.extend(&[0x55, 0x00]), Err(BufferFull { limit: 4 }));
        assert!(buffer.extend_zeroed(2).is_err());
        assert_eq!(*buffer, [0x43, 0x01, 0x04]);
        buffer.extend_zeroed(1).unwrap()[0] = 0x55;
        assert_eq!(*buffer, [0x43, 0x01, 0x04, 0x55]);
    }

    #[test]
    fn memory_is_taken_once() {
        let mut buffer = ResponseBuffer::new();
        let start = buffer.as_ptr();
        for _ in 0..3 {
            buffer
                .refuse(Service::Clear, ResponseCode::ConditionsNotCorrect)
                .unwrap();
            assert_eq!(*buffer, [0x7F, 0x04, 0x22]);
            buffer.begin(Service::TestResults).unwrap();
            buffer.extend_zeroed(ResponseBuffer::LONGEST - 1).unwrap();
            assert_eq!((buffer.as_ptr(), buffer.len()), (start, ResponseBuffer::LONGEST));
        }
    }
}
