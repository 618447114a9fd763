//! What is in a car: its fault memory, its lamp, what became of its scenario's expectations.

use twotrip_can::CanId;
use twotrip_obd::Dtc;
use twotrip_scenario::phrase::CodeList;

use crate::Car;

impl Car {
    /// Confirmed codes of the engine ECU (service $03), oldest entry first.
    #[must_use]
    pub fn confirmed(&self) -> Vec<Dtc> {
        self.memory().confirmed().collect()
    }

    /// Pending codes (service $07), oldest entry first.
    #[must_use]
    pub fn pending(&self) -> Vec<Dtc> {
        self.memory().pending().collect()
    }

    /// Permanent codes (service $0A), oldest entry first.
    #[must_use]
    pub fn permanent(&self) -> Vec<Dtc> {
        self.memory().permanent().collect()
    }

    /// The codes that a tester finds in a list, of all ECUs that are on the bus, each with the identifier of its ECU's answers.
    ///
    /// ```
    /// use twotrip::{CanId, Car, CodeList, Dtc};
    ///
    /// let car = Car::shipped("loose-fuel-cap")?;
    /// let expected = vec![(CanId::Standard(0x7E8), Dtc::p(0x0455))];
    /// assert_eq!(car.codes(CodeList::Confirmed), expected);
    /// assert_eq!(car.codes(CodeList::Permanent), expected);
    /// assert_eq!(car.freeze_frame(), Some(Dtc::p(0x0455)));
    /// # Ok::<(), twotrip::Error>(())
    /// ```
    #[must_use]
    pub fn codes(&self, list: CodeList) -> Vec<(CanId, Dtc)> {
        self.world.car.codes(list)
    }

    /// The code whose freeze frame the engine ECU has (service $02 PID $02).
    #[must_use]
    pub fn freeze_frame(&self) -> Option<Dtc> {
        self.memory().freeze_frame().map(|frame| frame.dtc)
    }

    /// Whether the lamp is commanded on (PID $01 byte A bit 7): by a code, not by the bulb check.
    #[must_use]
    pub fn mil_commanded(&self) -> bool {
        self.memory().mil_commanded()
    }

    /// Whether the bulb in the dashboard is lit at this instant.
    #[must_use]
    pub const fn lamp_lit(&self) -> bool {
        self.world.car.car().lamp_lit()
    }

    /// Whether memory or values were ever set by `preload` or `override`: then they came of no fault.
    #[must_use]
    pub const fn not_physical(&self) -> bool {
        self.world.car.not_physical()
    }

    /// What has become of the scenario's expectations: each phrase, whether it is met so far, and why.
    #[must_use]
    pub fn verdict(&self) -> Vec<(String, bool, String)> {
        let verdict = self.world.car.verdict().into_iter();
        verdict
            .map(|(expectation, outcome)| (expectation.to_string(), outcome.ok, outcome.text))
            .collect()
    }

    fn memory(&self) -> &twotrip_ecu::memory::FaultMemory {
        self.world.car.car().ecu().memory()
    }
}
