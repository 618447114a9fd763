//! What has to be known to tell something: when the recording began, and what its buses are called.

use std::{sync::Arc, time::Duration};

use twotrip_units::BusInstant;

#[derive(Clone, Debug, Default)]
pub(super) struct Setting {
    /// Of the first frame, nanoseconds since 1970.
    pub(super) begun: Option<u64>,
    names: Arc<Vec<String>>,
}

impl Setting {
    pub(super) fn add_bus(&mut self, name: &str) {
        Arc::make_mut(&mut self.names).push(name.to_owned());
    }

    /// How many buses there are.
    pub(super) fn buses(&self) -> usize {
        self.names.len()
    }

    pub(super) fn name(&self, interface: usize) -> &str {
        self.names.get(interface).map_or("", String::as_str)
    }

    /// The instant of the dialogue's clock, in nanoseconds since 1970.
    pub(super) fn instant(&self, at: BusInstant) -> u64 {
        self.begun.unwrap_or_default().saturating_add(at.as_nanos())
    }

    /// Seconds since the first frame.
    pub(super) fn seconds(&self, at: u64) -> f64 {
        let (before, span) = self.span(at);
        let span = Duration::from_nanos(span).as_secs_f64();
        if before { -span } else { span }
    }

    /// Whether it was before the first frame, and how long before or after it, nanoseconds.
    pub(super) fn span(&self, at: u64) -> (bool, u64) {
        let begun = self.begun.unwrap_or(at);
        (at < begun, at.abs_diff(begun))
    }
}
