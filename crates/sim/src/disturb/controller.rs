//! The car's CAN controller, as far as its errors go: fault confinement by ISO 11898-1 (from memory; thresholds also in
//! linux/can/error.h), and what it reports of it as error message frames.

use std::time::Duration;

use twotrip_can::{
    Frame,
    error_frame::{ControllerEvent as Event, ErrorClass as Class, Violation},
    timing::{self, BitRate},
};
use twotrip_units::BusInstant;

/// What a destroyed frame adds to the transmit error counter.
const ERROR_STEP: u32 = 8;
const WARNING: u32 = 96;
const PASSIVE: u32 = 128;
const BUS_OFF: u32 = 256;
/// An error flag of six bits, echoed by six, its delimiter of eight.
const ERROR_FRAME: u32 = 20;
/// Least time off the bus: 128 times 11 recessive bits.
const RECOVERY: u32 = 128 * 11;
/// Bits that an error-passive node waits longer after a frame of its own.
const SUSPEND: u32 = 8;

/// Where in a frame an error was found: its data (linux/can/error.h).
const IN_DATA: u8 = 0x0A;

/// The controller.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Controller {
    rate: BitRate,
    transmit_errors: u32,
    /// Held error-passive from outside.
    is_held_passive: bool,
}

/// What comes of a frame that was destroyed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Destroyed {
    /// It is sent again then.
    Again(BusInstant),
    /// The controller is off the bus, at the least until then.
    Off(BusInstant),
}

impl Controller {
    pub(crate) const fn new(rate: BitRate) -> Self {
        Self {
            rate,
            transmit_errors: 0,
            is_held_passive: false,
        }
    }

    /// A frame of its own is destroyed; its error frame is over when the frame goes out again.
    pub(crate) fn destroy(&mut self, now: BusInstant, frame: &Frame) -> Destroyed {
        self.transmit_errors += ERROR_STEP;
        if self.transmit_errors >= BUS_OFF {
            self.transmit_errors = 0;
            return Destroyed::Off(now + self.recovery());
        }
        Destroyed::Again(now + self.destroyed(frame))
    }

    /// The time that a destroyed frame with its error frame takes.
    pub(crate) fn destroyed(&self, frame: &Frame) -> Duration {
        timing::frame_time(frame, self.rate) + self.rate.span(ERROR_FRAME)
    }

    /// The least time off the bus.
    pub(crate) const fn recovery(&self) -> Duration {
        self.rate.span(RECOVERY)
    }

    /// A frame of its own has passed. Says how much longer than others it waits before the next.
    pub(crate) const fn passed(&mut self) -> Duration {
        self.transmit_errors = self.transmit_errors.saturating_sub(1);
        if self.is_held_passive || self.transmit_errors >= PASSIVE {
            self.rate.span(SUSPEND)
        } else {
            Duration::ZERO
        }
    }

    /// What it reports of a frame that was destroyed.
    pub(crate) fn report_error(&self) -> Frame {
        let state = match self.transmit_errors {
            PASSIVE.. => Some(Event::TransmitterPassive),
            WARNING.. => Some(Event::TransmitterWarning),
            _ => None,
        };
        let classes = Class::Protocol.bit() | Class::BusError.bit() | Class::Counters.bit();
        let classes = state.map_or(classes, |_| classes | Class::Controller.bit());
        Frame::error(
            classes,
            [
                0,
                state.map_or(0, Event::bit),
                Violation::Stuff.bit() | Violation::OnTransmission.bit(),
                IN_DATA,
                0,
                0,
                self.counter(),
                0,
            ],
        )
    }

    /// Holds it error-passive, or no longer; what it reports of that, if it is new.
    pub(crate) fn hold_passive(&mut self, held: bool) -> Option<Frame> {
        if std::mem::replace(&mut self.is_held_passive, held) == held {
            return None;
        }
        let state = if held {
            Event::TransmitterPassive.bit() | Event::ReceiverPassive.bit()
        } else {
            Event::BackToActive.bit()
        };
        let counter = if held { 128 } else { self.counter() };
        let classes = Class::Controller.bit() | Class::Counters.bit();
        Some(Frame::error(classes, [0, state, 0, 0, 0, 0, counter, counter]))
    }

    /// What is reported of a controller that leaves the bus.
    pub(crate) fn report_off() -> Frame {
        Frame::error(Class::BusOff.bit(), [0; 8])
    }

    /// What is reported of one that is back.
    pub(crate) fn report_back() -> Frame {
        Frame::error(Class::Restarted.bit(), [0; 8])
    }

    fn counter(&self) -> u8 {
        u8::try_from(self.transmit_errors).unwrap_or(u8::MAX)
    }
}

#[cfg(test)]
mod tests {
    use twotrip_can::{
        CanId,
        error_frame::{ErrorFrame, ErrorState},
    };

    use super::*;

    /// 32 destroyed frames in a row: warning from the 12th on, passive from the 16th, then off the bus for 1408 bits.
    #[test]
    fn errors_are_confined() {
        let mut controller = Controller::new(BitRate::Kbit500);
        let frame = Frame::padded(CanId::Standard(0x7E8), &[2, 0x41, 0], 0);
        let mut states = Vec::new();
        for _ in 0..31 {
            let again = controller.destroy(BusInstant::ZERO, &frame);
            assert!(matches!(again, Destroyed::Again(at) if at > BusInstant::from_micros(250)));
            states.push(ErrorFrame::decode(&controller.report_error()).and_then(ErrorFrame::state));
        }
        assert_eq!(states[10], None);
        assert_eq!(states[11..15], [Some(ErrorState::Warning); 4]);
        assert_eq!(states[15..], [Some(ErrorState::Passive); 16]);
        assert!(controller.passed() > Duration::ZERO, "passive ones wait longer");
        controller.destroy(BusInstant::ZERO, &frame);
        let off = controller.destroy(BusInstant::ZERO, &frame);
        assert_eq!(off, Destroyed::Off(BusInstant::from_micros(2816)));
        let state = |frame: Frame| ErrorFrame::decode(&frame).and_then(ErrorFrame::state);
        assert_eq!(state(Controller::report_off()), Some(ErrorState::BusOff));
        assert_eq!(state(Controller::report_back()), Some(ErrorState::Active));
    }

    #[test]
    fn one_that_is_held_passive_says_so_once() {
        let mut controller = Controller::new(BitRate::Kbit250);
        let state = |frame: Option<Frame>| frame.and_then(|frame| ErrorFrame::decode(&frame)?.state());
        assert_eq!(state(controller.hold_passive(true)), Some(ErrorState::Passive));
        assert_eq!(controller.hold_passive(true), None);
        assert_eq!(controller.passed(), Duration::from_micros(32));
        assert_eq!(state(controller.hold_passive(false)), Some(ErrorState::Active));
        assert_eq!(controller.passed(), Duration::ZERO);
    }
}
