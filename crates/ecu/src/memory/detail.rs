//! What SAE J1979-2 tells of each code beyond the lists of SAE J1979: a status of eight bits, and freeze frames of
//! several codes, the first and the latest of each (ISO 14229-1, annex D.2; at least five codes: an article on SAE J1979-2;
//! how the bits go with the life of a code for OBD: from memory).
//!
//! Most bits follow from what is stored anyway. Three do not, and are kept here, only by an ECU that speaks that dialect:
//! whether the last test failed, whether one has run since the clear, whether one has failed since then. They and the
//! frames outlive a loss of power, as the codes do.

use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use twotrip_obd::{Dtc, Group, uds::Status};

use super::{Catalogue, CodeDefinition, FaultMemory, Record, freeze_frame::outranks};
use crate::data::LiveData;

/// What is kept of one code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Marks {
    code: Dtc,
    /// A test has run since the clear.
    run: bool,
    /// The last test failed.
    failing: bool,
    /// A test has failed since the clear.
    failed: bool,
}

/// The freeze frames of one code.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FramePair {
    /// The code.
    pub code: Dtc,
    /// Conditions when it was detected.
    pub first: LiveData,
    /// Conditions when it failed first in the latest driving cycle in which it did (our choice).
    pub latest: LiveData,
}

/// What is kept of all codes. A code that has not been tested since the clear has no marks.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Detail {
    marks: Vec<Marks>,
    frames: Vec<FramePair>,
}

impl Detail {
    /// Codes with freeze frames.
    const FRAMES: usize = 5;

    /// Nothing was tested; with room for so many codes.
    pub(super) fn new(codes: usize) -> Self {
        Self {
            marks: Vec::with_capacity(codes),
            frames: Vec::with_capacity(Self::FRAMES),
        }
    }

    /// The same content with room for so many codes; of more frames than there is room for, the first ones.
    pub(super) fn restored(stored: &Self, codes: usize) -> Self {
        let mut detail = Self::new(codes);
        for marks in &stored.marks {
            if detail.marks.len() < codes {
                *detail.marks_of(marks.code) = *marks;
            }
        }
        for pair in &stored.frames {
            if detail.frames.len() < Self::FRAMES && detail.frames_of(pair.code).is_none() {
                detail.frames.push(*pair);
            }
        }
        detail
    }

    fn marks_of(&mut self, code: Dtc) -> &mut Marks {
        let place = self.marks.iter().position(|marks| marks.code == code);
        let place = place.unwrap_or_else(|| {
            self.marks.push(Marks {
                code,
                run: false,
                failing: false,
                failed: false,
            });
            self.marks.len() - 1
        });
        &mut self.marks[place]
    }

    pub(super) fn passed(&mut self, code: Dtc) {
        let marks = self.marks_of(code);
        (marks.run, marks.failing) = (true, false);
    }

    /// A failure; with conditions where it is the first of its driving cycle.
    pub(super) fn failed(&mut self, catalogue: &Catalogue, code: Dtc, live: Option<&LiveData>) {
        let marks = self.marks_of(code);
        (marks.run, marks.failing, marks.failed) = (true, true, true);
        if let Some(&live) = live {
            self.freeze(catalogue, code, live);
        }
    }

    /// Without room left, misfire and fuel system take the place of the oldest other code, as in the one frame of SAE J1979;
    /// no other code takes one.
    fn freeze(&mut self, catalogue: &Catalogue, code: Dtc, live: LiveData) {
        if let Some(pair) = self.frames.iter_mut().find(|pair| pair.code == code) {
            pair.latest = live;
            return;
        }
        if self.frames.len() == Self::FRAMES {
            let lower = |pair: &FramePair| !outranks(catalogue, pair.code);
            match self.frames.iter().position(lower) {
                Some(place) if outranks(catalogue, code) => _ = self.frames.remove(place),
                _ => return,
            }
        }
        self.frames.push(FramePair {
            code,
            first: live,
            latest: live,
        });
    }

    /// The code is gone, and its frames with it.
    pub(super) fn erase(&mut self, code: Dtc) {
        self.frames.retain(|pair| pair.code != code);
    }

    /// What has run since the clear is not known any more.
    pub(super) fn forget_readiness(&mut self) {
        for marks in &mut self.marks {
            marks.run = false;
        }
    }

    /// A clear.
    pub(super) fn clear(&mut self) {
        self.marks.clear();
        self.frames.clear();
    }

    fn frames_of(&self, code: Dtc) -> Option<&FramePair> {
        self.frames.iter().find(|pair| pair.code == code)
    }
}

/// All that there is to tell of a code.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CodeDetail {
    /// The code.
    pub code: Dtc,
    /// Its status.
    pub status: Status,
    /// Its definition; none of a code that the ECU has no monitor for, or of a maker's own.
    pub definition: Option<&'static CodeDefinition>,
    /// The readiness group of its monitor.
    pub group: Option<Group>,
    /// Completions and conditions of its monitor, where that is tracked in use.
    pub in_use: Option<(u16, u16)>,
}

impl FaultMemory {
    /// The same for an ECU that tells of each code by itself.
    #[must_use]
    pub fn with_detail(mut self) -> Self {
        self.detail = Some(Detail::new(self.codes_at_most()).into());
        self
    }

    /// How many codes it can ever hold.
    pub(super) fn codes_at_most(&self) -> usize {
        self.catalogue.codes.len() + self.companions.len() + Self::GUESTS
    }

    /// A failure, with its conditions where it is the first of its driving cycle.
    pub(super) fn note_failure(&mut self, place: usize, live: Option<&LiveData>) {
        if let Some(detail) = &mut self.detail {
            detail.failed(self.catalogue, self.records[place].dtc(), live);
        }
    }

    /// All codes that the engine has monitors for, and what else is stored: first what is stored, oldest entry first.
    pub fn details(&self) -> impl Iterator<Item = CodeDetail> + '_ {
        let stored = self.in_order(Record::stored_since);
        let rest = self.records.iter();
        let rest = rest.filter(|record| record.stored_since().is_none() && self.watches(record));
        stored
            .chain(rest.map(Record::dtc))
            .filter_map(|code| self.detail(code))
    }

    /// All that there is to tell of a code; nothing if it is neither watched for nor stored.
    #[must_use]
    pub fn detail(&self, code: Dtc) -> Option<CodeDetail> {
        let record = self.record(code)?;
        let monitor = record.monitor();
        let definition = monitor.and_then(|id| self.catalogue.monitor(id));
        (record.stored_since().is_some() || self.watches(record)).then(|| CodeDetail {
            code,
            status: self.status_of(record),
            definition: self.catalogue.code(code),
            group: definition.map(|monitor| monitor.group),
            in_use: monitor
                .filter(|_| definition.is_some_and(|monitor| monitor.in_use.is_some()))
                .map(|id| self.in_use.pair(id)),
        })
    }

    /// The freeze frames of a code.
    #[must_use]
    pub fn frames(&self, code: Dtc) -> Option<&FramePair> {
        self.detail.as_ref()?.frames_of(code)
    }

    /// Whether the engine has what the code's monitor is for.
    fn watches(&self, record: &Record) -> bool {
        record.monitor().is_some_and(|id| !self.absent.contains(id))
    }

    fn status_of(&self, record: &Record) -> Status {
        let marks = self.detail.as_ref().and_then(|detail| {
            let code = record.dtc();
            detail.marks.iter().find(|marks| marks.code == code).copied()
        });
        Status::NONE
            .with(Status::FAILING, marks.is_some_and(|marks| marks.failing))
            .with(Status::FAILED_THIS_CYCLE, record.has_failed())
            .with(Status::PENDING, record.pending_since().is_some())
            .with(Status::CONFIRMED, record.confirmed_since().is_some())
            .with(Status::NOT_RUN_SINCE_CLEAR, !marks.is_some_and(|marks| marks.run))
            .with(
                Status::FAILED_SINCE_CLEAR,
                marks.is_some_and(|marks| marks.failed),
            )
            .with(Status::NOT_RUN_THIS_CYCLE, !record.is_judged())
            .with(Status::LAMP, record.commands_mil())
    }
}
