//! Answers as an ECU writes them.

use super::Response;
use crate::{BufferFull, Dtc, Information, ResponseBuffer, Service};

impl Response<'_> {
    /// Writes the answer into the buffer, which is emptied first: the same bytes that [`Response::parse`] reads.
    ///
    /// ```
    /// use twotrip_obd::{Response, ResponseBuffer, Tid};
    ///
    /// let mut buffer = ResponseBuffer::new();
    /// Response::Control(Tid::EVAP_LEAK_TEST, &[0; 5]).emit(&mut buffer)?;
    /// assert_eq!(*buffer, [0x48, 0x01, 0, 0, 0, 0, 0]);
    /// # Ok::<(), twotrip_obd::BufferFull>(())
    /// ```
    ///
    /// # Errors
    /// If the answer does not fit the buffer.
    pub fn emit(&self, buffer: &mut ResponseBuffer) -> Result<(), BufferFull> {
        if let Self::Negative(service, code) = *self {
            return buffer.refuse(service, code);
        }
        if let Self::Codes(service, codes) = *self {
            return buffer.write_codes(service, codes.iter());
        }
        buffer.begin(self.service())?;
        match *self {
            Self::CurrentData(records) | Self::FreezeFrame(records) => buffer.extend(records.rest),
            Self::Masks(_, masks) => buffer.extend(masks.as_flattened()),
            Self::TestResults(results) => buffer.extend(results.0.as_flattened()),
            Self::Control(tid, data) => {
                buffer.extend(&[tid.number()])?;
                buffer.extend(data)
            }
            Self::Information(information) => information.append(buffer),
            Self::Other(_, data) => buffer.extend(data),
            Self::Cleared | Self::Codes(..) | Self::Negative(..) => Ok(()),
        }
    }
}

impl Information<'_> {
    /// Appends InfoType, number of items (where the InfoType has one) and items.
    fn append(&self, buffer: &mut ResponseBuffer) -> Result<(), BufferFull> {
        buffer.extend(&[self.info_type().number()])?;
        if let Some(count) = self.count() {
            buffer.extend(&[u8::try_from(count).unwrap_or(u8::MAX)])?;
        }
        buffer.extend(self.bytes())
    }
}

impl ResponseBuffer {
    /// Makes this the answer of service $03, $07 or $0A: the count, then the codes. Codes beyond the 255 that the
    /// count can say are left out.
    ///
    /// # Errors
    /// If they do not fit the buffer.
    pub fn write_codes(
        &mut self,
        service: Service,
        codes: impl IntoIterator<Item = Dtc>,
    ) -> Result<(), BufferFull> {
        self.begin(service)?;
        self.extend(&[0])?;
        let mut count = 0;
        for code in codes.into_iter().take(usize::from(u8::MAX)) {
            self.extend(&code.to_bytes())?;
            count += 1;
        }
        self.set(1, count);
        Ok(())
    }
}
