//! The monitors: each takes measured signals and its own commands, and returns results. None knows the car, the
//! wires or the fault memory; of the memory's content they see [`Inhibits`] alone. What they share is the [`frame`].

pub mod air_path;
mod blocking;
pub mod cam;
mod catalogue;
pub mod circuit;
#[cfg(test)]
mod driven;
pub mod drivers;
pub mod egr_flow;
pub mod egr_valve;
pub mod evap_leak;
pub mod frame;
mod fuel_level;
pub mod fuel_system;
mod idle_speed;
pub mod misfire;
mod module;
pub mod natural_vacuum;
pub mod network;
pub mod oxygen;
mod rail_pressure;
mod rail_sensor;
mod signals;
pub mod temperature;

use core::time::Duration;

use serde::{Deserialize, Serialize};
use twotrip_harness::PerBank;
use twotrip_obd::{Dtc, Mid};

use twotrip_units::{AngularSpeed, Ratio};

use crate::{
    Averaging,
    control::Requests,
    memory::{CatalystMisfire, MisfireWindow, MonitorId},
};
use frame::{Gate, LongMean, Measured, Monitor, Results, Rules, StoredTest, Test};
use fuel_system::{FuelTrim, RearTrim};
use oxygen::{FrontCircuit, FrontResponse, Heater, RearSensor};

pub(crate) use crate::memory::MonitorSet;
pub use air_path::AirPath;
pub use catalogue::*;
pub use circuit::CircuitMonitors;
pub use evap_leak::EvapLeak;
pub use misfire::Misfire;
pub use natural_vacuum::NaturalVacuum;
pub use network::{GearboxMessages, VehicleSpeed};
pub(crate) use signals::Timers;
pub use signals::{BankSignals, Fast, Signals};

/// What the monitors may know of the fault memory, worked out again only when that has changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Inhibits {
    /// The monitors that a code disables which is pending or commands the MIL ([`crate::memory::MonitorDefinition`]).
    pub(crate) blocked: MonitorSet,
    /// The monitors that the engine has nothing for: they take no step.
    pub(crate) absent: MonitorSet,
    /// The name under which a gross leak is already held.
    pub gross_leak_held: Option<Dtc>,
}

impl Inhibits {
    /// Whether the engine has what a monitor looks at.
    fn fits(&self, rules: &Rules) -> bool {
        rules
            .monitors
            .first()
            .is_none_or(|&first| !self.absent.contains(first))
    }

    /// Whether a code keeps a monitor from running.
    #[must_use]
    pub fn blocks(&self, monitor: MonitorId) -> bool {
        self.blocked.contains(monitor)
    }
}

/// What a monitor has found out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TestResult {
    /// A figure that the verdicts after it rest on; service $06 gives the last one of each test.
    Measured(Measured),
    /// No fault behind this code.
    Passed(Dtc),
    /// A fault behind this code.
    Failed(Dtc),
    /// The monitor ran to its end.
    Completed(MonitorId),
    /// Everything needed to find a fault was met: the in-use numerator counts.
    CouldDetect(MonitorId),
    /// Whether the monitor can still run in this driving cycle.
    Possible(MonitorId, bool),
    /// The output that a monitor watches is commanded on or off, for its in-use denominator.
    Commanded(MonitorId, bool),
    /// Too many turns misfired; how many such spans decide is for the memory to count.
    Misfire {
        /// The code of the cylinder or cylinders.
        dtc: Dtc,
        /// Which threshold was exceeded.
        window: MisfireWindow,
        /// Engine speed then.
        engine_speed: AngularSpeed,
        /// Calculated load then.
        load: Ratio,
    },
    /// Misfire that endangers the catalyst begins or ends.
    CatalystMisfire(CatalystMisfire),
}

impl TestResult {
    /// What was found of a code.
    #[must_use]
    pub const fn verdict(dtc: Dtc, passed: bool) -> Self {
        if passed {
            Self::Passed(dtc)
        } else {
            Self::Failed(dtc)
        }
    }
}

/// The tests of all monitors. Of the tests of one monitor of service $06 the numbers rise.
pub(crate) static TESTS: &[&[&Test]] = &[
    air_path::TESTS,
    oxygen::TESTS,
    evap_leak::TESTS,
    natural_vacuum::TESTS,
    fuel_level::TESTS,
    egr_flow::TESTS,
    egr_valve::TESTS,
    cam::TESTS,
    temperature::TESTS,
    idle_speed::TESTS,
    fuel_system::TESTS,
    rail_pressure::TESTS,
    rail_sensor::TESTS,
    misfire::TESTS,
];

/// The tests of all monitors.
pub fn tests() -> impl Iterator<Item = &'static Test> {
    TESTS.iter().copied().flatten().copied()
}

/// What is averaged over driving cycles, as it is kept without power; that of the nights is kept beside it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Means {
    leak: LongMean,
    catalyst: PerBank<LongMean>,
    front_sensor: PerBank<[LongMean; 3]>,
    egr_flow: LongMean,
    misfires: [f64; misfire::COUNTS],
}

/// Whether a vehicle that is set so lets a monitor judge means.
#[must_use]
pub const fn averages(averaging: &Averaging, monitor: MonitorId) -> bool {
    match monitor {
        NATURAL_VACUUM => averaging.engine_off_leak,
        EVAP_LEAK => averaging.leak,
        CATALYST_1 | CATALYST_2 => averaging.catalyst,
        FRONT_RESPONSE_1 | FRONT_RESPONSE_2 => averaging.front_sensor,
        EGR_FLOW => averaging.egr_flow,
        _ => false,
    }
}

/// Lists the monitors, and lets each take its turn.
macro_rules! monitors {
    ($($(#[$doc:meta])* $monitor:ident: $kind:ty,)*) => {
        /// All monitors of this ECU.
        #[derive(Clone, Debug, Default)]
        pub struct Monitors {
            $($(#[$doc])* $monitor: $kind,)*
            results: Results,
            /// What they ask of engine management, as of their last turn.
            requests: Requests,
        }

        impl Monitors {
            /// Calls `each` with every monitor.
            pub fn each(&self, mut each: impl FnMut(&Rules, &Gate)) {
                $(each(self.$monitor.rules(), self.$monitor.gate());)*
            }

            /// The key came on.
            pub(crate) fn key_on(&mut self, signals: &Signals) {
                $(self.$monitor.key_on(signals);)*
            }

            /// The key went off.
            pub(crate) fn key_off(&mut self, signals: &Signals) {
                $(self.$monitor.key_off(signals);)*
                self.gather_requests();
            }

            /// The engine started after `soak` of standing: a driving cycle begins.
            pub(crate) fn engine_started(
                &mut self,
                signals: &Signals,
                soak: Duration,
                report: &mut dyn FnMut(TestResult),
            ) {
                {
                    let report = &mut Self::kept(&mut self.results, report);
                    $(self.$monitor.engine_started(signals, soak, report);)*
                }
                self.gather_requests();
            }

            /// The engine stopped.
            pub(crate) fn engine_stopped(&mut self) {
                $(self.$monitor.engine_stopped();)*
                self.gather_requests();
            }

            /// Service $04: counters, filters and marks to zero (our choice).
            pub(crate) fn clear(&mut self) {
                $(self.$monitor.clear();)*
                self.results = Results::default();
                self.gather_requests();
            }

            /// One step of 100 ms. Outside of a driving cycle only what works with the key off judges.
            pub(crate) fn step(
                &mut self,
                signals: &Signals,
                inhibits: Inhibits,
                report: &mut dyn FnMut(TestResult),
            ) {
                {
                    let report = &mut Self::kept(&mut self.results, report);
                    if signals.run_time.is_some() {
                        $(if inhibits.fits(self.$monitor.rules()) {
                            self.$monitor.step(signals, inhibits, report);
                        })*
                    } else {
                        $(self.$monitor.step_off(signals, inhibits, report);)*
                    }
                }
                self.gather_requests();
            }

            /// Whether one works on while the car is parked and the ECU answers nobody any more.
            pub(crate) fn work_at_rest(&self) -> bool {
                false $(|| self.$monitor.works_at_rest())*
            }

            /// One second of that.
            pub(crate) fn rest_second(&mut self, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
                {
                    let report = &mut Self::kept(&mut self.results, report);
                    $(self.$monitor.rest_second(signals, report);)*
                }
                self.gather_requests();
            }

            /// One step of 10 ms while the engine runs, before [`Self::step`].
            pub(crate) fn fast(&mut self, fast: &Fast<'_>) {
                $(self.$monitor.fast(fast);)*
            }

            fn gather_requests(&mut self) {
                self.requests = Requests::default()$(.and(self.$monitor.requests()))*;
            }
        }
    };
}

monitors! {
    circuits: CircuitMonitors,
    air_path: AirPath,
    front_circuit: FrontCircuit<0>,
    front_heater: Heater<0, 0>,
    rear_heater: Heater<0, 1>,
    front_response: FrontResponse<0>,
    rear_sensor: RearSensor<0>,
    catalyst: oxygen::Catalyst<0>,
    fuel_trim: FuelTrim<0>,
    rear_trim: RearTrim<0>,
    front_circuit_2: FrontCircuit<1>,
    front_heater_2: Heater<1, 0>,
    rear_heater_2: Heater<1, 1>,
    front_response_2: FrontResponse<1>,
    rear_sensor_2: RearSensor<1>,
    catalyst_2: oxygen::Catalyst<1>,
    fuel_trim_2: FuelTrim<1>,
    rear_trim_2: RearTrim<1>,
    leak: EvapLeak,
    natural_vacuum: NaturalVacuum,
    fuel_level: fuel_level::FuelLevel,
    egr_flow: egr_flow::EgrFlow,
    egr_leak: egr_valve::EgrLeak,
    egr_valve: egr_valve::EgrValve,
    cam: cam::CamPhaser<0>,
    cam_2: cam::CamPhaser<1>,
    coolant: temperature::CoolantRationality,
    intake_air: temperature::IntakeAirRationality,
    closed_loop_temperature: temperature::ClosedLoopTemperature,
    thermostat: temperature::Thermostat,
    idle_speed: idle_speed::IdleSpeed,
    gearbox: GearboxMessages,
    speed: VehicleSpeed,
    misfire: Misfire,
    drivers: drivers::Drivers,
    rail_sensor: rail_sensor::RailSensor,
    rail_pressure: rail_pressure::RailPressure,
    module: module::Module,
}

impl Monitors {
    /// Air meter, manifold pressure and throttle against one another.
    #[must_use]
    pub const fn air_path(&self) -> &AirPath {
        &self.air_path
    }

    /// Misfire.
    #[must_use]
    pub const fn misfire(&self) -> &Misfire {
        &self.misfire
    }

    /// The leak test.
    #[must_use]
    pub const fn evap_leak(&self) -> &EvapLeak {
        &self.leak
    }

    /// The leak test of the parked car.
    #[must_use]
    pub const fn natural_vacuum(&self) -> &NaturalVacuum {
        &self.natural_vacuum
    }

    /// What the tests found last, since the clear.
    #[must_use]
    pub const fn results(&self) -> &Results {
        &self.results
    }

    /// The results of a monitor of service $06, test by test; none if there is no such monitor.
    pub fn test_results(&self, mid: Mid) -> impl Iterator<Item = twotrip_obd::TestResult> {
        self.results.answers(mid, MonitorSet::default())
    }

    /// Puts back results that were kept without power.
    pub(crate) fn take_over(
        &mut self,
        stored: &[StoredTest],
        nights: natural_vacuum::Average,
        means: &Means,
    ) {
        self.results = Results::restored(stored);
        self.natural_vacuum.take_over(nights);
        self.take_over_means(means);
    }

    /// What is averaged over driving cycles is gone.
    pub(crate) fn forget_means(&mut self) {
        self.natural_vacuum.take_over(natural_vacuum::Average::default());
        self.take_over_means(&Means::default());
    }

    fn take_over_means(&mut self, means: &Means) {
        let Means {
            leak,
            catalyst,
            front_sensor,
            egr_flow,
            misfires,
        } = *means;
        self.leak.take_over(leak);
        self.catalyst.take_over(catalyst[0]);
        self.catalyst_2.take_over(catalyst[1]);
        self.front_response.take_over(front_sensor[0]);
        self.front_response_2.take_over(front_sensor[1]);
        self.egr_flow.take_over(egr_flow);
        self.misfire.take_over(misfires);
    }

    /// What is averaged over driving cycles.
    pub(crate) const fn means(&self) -> Means {
        Means {
            leak: self.leak.mean(),
            catalyst: [self.catalyst.mean(), self.catalyst_2.mean()],
            front_sensor: [*self.front_response.means(), *self.front_response_2.means()],
            egr_flow: self.egr_flow.mean(),
            misfires: *self.misfire.means(),
        }
    }

    /// What the monitors ask of engine management now.
    #[must_use]
    pub const fn requests(&self) -> Requests {
        self.requests
    }

    /// Where the monitor stands that gives the results of `id`, and when it runs.
    #[must_use]
    pub fn gate(&self, id: MonitorId) -> Option<(Rules, Gate)> {
        let mut found = None;
        self.each(|rules, gate| {
            if rules.monitors.contains(&id) {
                found = Some((*rules, *gate));
            }
        });
        found
    }

    /// Keeps what is measured, and passes everything on.
    fn kept<'a>(
        results: &'a mut Results,
        report: &'a mut dyn FnMut(TestResult),
    ) -> impl FnMut(TestResult) + 'a {
        move |result| {
            if let TestResult::Measured(measured) = &result {
                results.take(measured);
            }
            report(result);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A monitor of the catalogue that nothing gives results of would never complete.
    #[test]
    fn every_monitor_of_the_catalogue_is_run_by_one() {
        let monitors = Monitors::default();
        for (place, definition) in (0..).zip(CATALOGUE.monitors) {
            let mut owners = 0;
            monitors.each(|rules, _| owners += usize::from(rules.monitors.contains(&MonitorId(place))));
            assert_eq!(owners, 1, "{}", definition.name);
        }
    }

    /// What a test decides for or against is a code of a monitor that reports it.
    #[test]
    fn the_codes_of_every_test_are_in_the_catalogue() {
        for test in tests() {
            for &dtc in test.codes {
                assert!(CATALOGUE.code(dtc).is_some(), "{dtc} of \"{}\"", test.what);
            }
        }
    }
}
