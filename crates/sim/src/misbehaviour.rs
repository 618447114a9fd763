//! An ECU's end of the bus that misbehaves in time: answers that are put off, 7F xx 78 meanwhile, a reset in the middle. The
//! endpoint has one of these while its ECU is disturbed, and nothing of it before.

use std::time::Duration;

use twotrip_isotp::{Channel, Deviation};
use twotrip_units::BusInstant;

/// How an answer is sent.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sending {
    /// What its transport does wrong.
    pub(crate) deviation: Deviation,
    pub(crate) delay: Option<Delay>,
    /// The ECU resets after its first consecutive frame, and hears nothing for this time.
    pub(crate) reset: Option<Duration>,
}

/// An answer that does not go at once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Delay {
    /// When it goes; `None`: never.
    pub(crate) after: Option<Duration>,
    /// Whether 7F xx 78 is said meanwhile, at once and then so often.
    pub(crate) pending_every: Option<Duration>,
}

/// An answer that is put off.
#[derive(Clone, Debug)]
struct Held {
    answer: Vec<u8>,
    deviation: Deviation,
    reset: Option<Duration>,
    due: Option<BusInstant>,
    /// The next 7F xx 78, how often, and for which service.
    pending: Option<(BusInstant, Duration, u8)>,
}

/// Frames of a longer answer before a reset: the first and one more.
const BEFORE_RESET: u8 = 2;

/// What an endpoint that misbehaves has to keep in mind.
#[derive(Clone, Debug, Default)]
pub(crate) struct Misbehaviour {
    held: Option<Held>,
    /// Frames left until it resets, and for how long it is gone then.
    resets: Option<(u8, Duration)>,
    gone_until: Option<BusInstant>,
}

impl Misbehaviour {
    /// Sends an answer to a request for `service`, now or later. The channel is free.
    pub(crate) fn send(
        &mut self,
        now: BusInstant,
        channel: &mut Channel,
        service: u8,
        answer: &[u8],
        sending: Sending,
    ) {
        let Sending {
            deviation,
            delay,
            reset,
        } = sending;
        let Some(delay) = delay else {
            return self.send_now(now, channel, answer, deviation, reset);
        };
        self.held = Some(Held {
            answer: answer.to_vec(),
            deviation,
            reset,
            due: delay.after.map(|after| now + after),
            pending: delay.pending_every.map(|every| (now, every, service)),
        });
        self.serve(now, channel, false);
    }

    fn send_now(
        &mut self,
        now: BusInstant,
        channel: &mut Channel,
        answer: &[u8],
        deviation: Deviation,
        reset: Option<Duration>,
    ) {
        let grants = channel.deviation().copied().unwrap_or_default().grants;
        channel.deviate(Some(Deviation { grants, ..deviation }));
        self.resets = reset.map(|span| (BEFORE_RESET, span));
        // The channel is free and an answer is never longer than it takes.
        let sent = channel.send(now, answer);
        debug_assert!(sent.is_ok(), "the channel refused an answer");
    }

    /// Says what is due of an answer that is put off. Says whether one still is; one that never comes ends when something else
    /// is asked (`is_asked`).
    pub(crate) fn serve(&mut self, now: BusInstant, channel: &mut Channel, is_asked: bool) -> bool {
        if channel.is_transmitting() {
            return self.held.is_some();
        }
        let is_due = |held: &mut Held| held.due.is_some_and(|due| due <= now);
        if let Some(held) = self.held.take_if(is_due) {
            self.send_now(now, channel, &held.answer, held.deviation, held.reset);
            return false;
        }
        self.held.take_if(|held| held.due.is_none() && is_asked);
        let Some(held) = &mut self.held else {
            return false;
        };
        if let Some((at, every, service)) = &mut held.pending
            && *at <= now
        {
            *at = now + *every;
            let sent = channel.send(now, &[0x7F, *service, 0x78]);
            debug_assert!(sent.is_ok(), "the channel refused an answer");
        }
        true
    }

    /// A frame of the ECU has left; says whether it resets now.
    pub(crate) fn on_frame_left(&mut self, now: BusInstant) -> bool {
        let Some((left, span)) = &mut self.resets else {
            return false;
        };
        *left = left.saturating_sub(1);
        if *left > 0 {
            return false;
        }
        self.gone_until = Some(now + *span);
        self.forget();
        true
    }

    /// Whether the ECU hears nothing.
    pub(crate) fn is_gone(&self, now: BusInstant) -> bool {
        self.gone_until.is_some_and(|until| now < until)
    }

    /// What is under way is forgotten.
    pub(crate) fn forget(&mut self) {
        self.held = None;
        self.resets = None;
    }

    /// When to call [`Self::serve`] at the latest.
    pub(crate) fn deadline(&self) -> Option<BusInstant> {
        let held = self.held.as_ref()?;
        let pending = held.pending.map(|(at, ..)| at);
        [held.due, pending].into_iter().flatten().min()
    }
}
