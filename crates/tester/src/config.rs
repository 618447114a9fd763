//! How the tester asks and how long it waits.

use core::time::Duration;

use twotrip_isotp::Profile;

/// Settings of a [`Tester`](crate::Tester).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TesterConfig {
    /// P2: from the end of a request to the start of an answer. 50 ms (ISO 15765-4, from public summaries).
    pub p2: Duration,
    /// What is added to P2 (and to P2*) for the bus, its adapters and this machine. 50 ms, our choice.
    pub allowance: Duration,
    /// P2*: the same after an ECU has said that its answer will follow (7F xx 78). 5 s, as P2.
    pub p2_star: Duration,
    /// How long to wait before a request is repeated for a busy ECU (7F xx 21). 200 ms (ISO 15765-4, from memory).
    pub busy_pause: Duration,
    /// How often it is repeated. 6, as above.
    pub busy_repeats: u8,
    /// The longest exchange: an ECU that puts off its answer for longer is given up. Two minutes, our choice; the
    /// longest message at the slowest legal pace takes about 88 s.
    pub longest_exchange: Duration,
    /// Timeouts of the transport, padding, frame lengths.
    pub transport: Profile,
}

impl Default for TesterConfig {
    fn default() -> Self {
        Self {
            p2: Duration::from_millis(50),
            allowance: Duration::from_millis(50),
            p2_star: Duration::from_secs(5),
            busy_pause: Duration::from_millis(200),
            busy_repeats: 6,
            longest_exchange: Duration::from_secs(120),
            transport: Profile::OBD,
        }
    }
}
