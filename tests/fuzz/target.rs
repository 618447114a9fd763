//! What is fed, and what has to hold of each input.

use std::panic::{AssertUnwindSafe, catch_unwind};

/// What is fed.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Inputs in a run of CI.
    #[allow(dead_code, reason = "the guided fuzzer is given a time")]
    pub(crate) inputs: usize,
    /// Longest input, bytes.
    pub(crate) longest: usize,
    /// Most memory that one input may take at a time, bytes, whatever is in it.
    pub(crate) memory: u64,
    pub(crate) examples: Vec<Vec<u8>>,
    /// Feeds it; how deep it got.
    pub(crate) feed: fn(&[u8]) -> usize,
}

impl Target {
    /// Feeds it; how deep it got.
    ///
    /// # Panics
    /// With the input as a list of bytes, to be put into a test of its own, where it panics or takes too much memory.
    pub(crate) fn withstands(&self, input: &[u8]) -> usize {
        let mut depth = None;
        let info = allocation_counter::measure(|| {
            depth = catch_unwind(AssertUnwindSafe(|| (self.feed)(input))).ok();
        });
        let depth = depth.unwrap_or_else(|| panic!("{} fails on {input:?}", self.name));
        assert!(
            info.bytes_max <= self.memory,
            "{} takes {} bytes of memory for {input:?}",
            self.name,
            info.bytes_max
        );
        depth
    }
}
