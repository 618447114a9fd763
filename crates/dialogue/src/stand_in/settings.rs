//! How a stand-in behaves where the recording says nothing.

use core::time::Duration;

use twotrip_can::timing::BitRate;
use twotrip_isotp::{Dlc, Profile, Timers};

/// What a question gets that is asked more often than it was in the recording.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AfterLast {
    /// What it got the last time: what was cleared stays cleared.
    #[default]
    Last,
    /// What it got the first time, and so on from there.
    Anew,
    /// Nothing.
    Silence,
}

/// How the stand-in behaves where the recording says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// How long the tester's frames are waited for.
    pub timers: Timers,
    /// Which frame lengths are taken. Shorter ones are too where the recording has one that was answered.
    pub dlc: Dlc,
    /// What frames are filled up with by who was not seen to fill up one.
    pub pad: u8,
    /// What a question gets that is asked too often.
    pub after_last: AfterLast,
    /// Whether a question put to one ECU gets what this ECU replied when all were asked the same, and one put to all what each
    /// replied that was asked the same, where it was not asked in this way then.
    pub any_addressing: bool,
    /// Bit rate at which frames follow each other where the bus itself does not pace them.
    pub spacing: Option<BitRate>,
    /// How much earlier than recorded a reply begins: the time of a frame, where the bus takes it. Replies were recorded
    /// at the end of their first frame.
    pub lead: Duration,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            timers: Timers::OBD,
            dlc: Dlc::Strict,
            pad: Profile::OBD.pad,
            after_last: AfterLast::Last,
            any_addressing: false,
            spacing: None,
            lead: Duration::ZERO,
        }
    }
}
