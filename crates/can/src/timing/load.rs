//! Bus load: the share of time in which the bus is taken.

use core::time::Duration;

use twotrip_units::{BusInstant, Ratio};

use super::{BitRate, FrameBits};

/// Counts the frames of a bus, as a whole and by windows of equal length, one after the other.
///
/// Load is the bits of all frames, intermissions included, over the bits that would fit. A frame counts where it is
/// on the wire: one across the border of two windows counts in both, each with its part.
#[derive(Clone, Debug)]
pub struct BusLoad {
    rate: BitRate,
    /// Nanoseconds.
    window: u64,
    frames: u64,
    bounded: u64,
    bits: u64,
    /// Number of the window under way, and the nanoseconds in it that are taken.
    current: u64,
    taken: u64,
    peak: u64,
}

impl BusLoad {
    /// Nothing counted yet; windows of `window` (at least a millisecond) begin at the start of bus time.
    #[must_use]
    pub fn new(rate: BitRate, window: Duration) -> Self {
        Self {
            rate,
            window: nanos(window.max(Duration::from_millis(1))),
            frames: 0,
            bounded: 0,
            bits: 0,
            current: 0,
            taken: 0,
            peak: 0,
        }
    }

    /// Counts a frame of this length whose first bit was on the wire at `start`; frames come in the order in which
    /// they pass. What was never on the wire is not counted.
    pub fn on_frame(&mut self, start: BusInstant, bits: FrameBits) {
        match bits {
            FrameBits::Exact(_) => {}
            FrameBits::AtMost(_) => self.bounded += 1,
            FrameBits::NotOnTheWire => return,
        }
        self.on_bits(start, bits.at_most());
        self.frames += 1;
    }

    /// Counts bits on the wire that are no whole frame: a destroyed one with its error frame.
    pub fn on_bits(&mut self, start: BusInstant, bits: u32) {
        self.bits = self.bits.saturating_add(u64::from(bits));
        let (mut from, end) = (start.as_nanos(), (start + self.rate.span(bits)).as_nanos());
        while from < end {
            let window = from / self.window;
            if window != self.current {
                self.current = window;
                self.taken = 0;
            }
            let border = (window + 1).saturating_mul(self.window);
            let until = end.min(border);
            self.taken += until - from;
            self.peak = self.peak.max(self.taken);
            from = until;
        }
    }

    /// Frames counted.
    #[must_use]
    pub const fn frames(&self) -> u64 {
        self.frames
    }

    /// Those among them whose length is only a bound (FD frames); with any, the load is a bound too.
    #[must_use]
    pub const fn bounded(&self) -> u64 {
        self.bounded
    }

    /// Bits counted.
    #[must_use]
    pub const fn bits(&self) -> u64 {
        self.bits
    }

    /// Time on the wire of all that was counted.
    #[must_use]
    pub fn wire_time(&self) -> Duration {
        Duration::from_nanos(self.bits.saturating_mul(nanos(self.rate.bit_time())))
    }

    /// Load over a span that the caller knows; zero for an empty span.
    #[must_use]
    pub fn over(&self, span: Duration) -> Ratio {
        share(self.wire_time(), span)
    }

    /// Load of the busiest window so far, the one under way included.
    #[must_use]
    pub fn peak(&self) -> Ratio {
        share(Duration::from_nanos(self.peak), Duration::from_nanos(self.window))
    }
}

fn nanos(span: Duration) -> u64 {
    u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)
}

fn share(taken: Duration, span: Duration) -> Ratio {
    if span.is_zero() {
        return Ratio::from_fraction(0.0);
    }
    Ratio::from_fraction(taken.as_secs_f64() / span.as_secs_f64())
}
