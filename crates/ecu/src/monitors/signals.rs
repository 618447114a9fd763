//! What the monitors see.

use core::time::Duration;

use twotrip_harness::{Drivers, PerBank, SensorPins};
use twotrip_units::{
    Acceleration, Angle, AngularSpeed, Current, MassFlow, Power, Pressure, Ratio, Speed, Temperature, Voltage,
};

use crate::{
    Averaging, SelfTest,
    circuits::Readings,
    control::{AirEstimates, Measured},
    monitors::oxygen::Gathered,
};

/// What exists once a bank of cylinders.
#[derive(Clone, Copy, Debug, Default)]
pub struct BankSignals {
    /// Its mixture is in closed loop.
    pub closed_loop: bool,
    /// For so long without a break, s.
    pub closed_loop_seconds: f64,
    /// Share of the firings of its cylinders in the last 200 turns that failed, as the misfire monitor finds.
    pub misfiring: Ratio,
    /// Short-term trim, the loop's correction of the moment.
    pub short_term: Ratio,
    /// Its mean over the last seconds.
    pub mean_short_term: Ratio,
    /// Long-term trim of the cell in use.
    pub long_term: Ratio,
    /// Number of the cell in use: 0 for idle.
    pub cell: usize,
    /// Shift of the loop by the rear sensor, -1 (leaner) to +1 (richer).
    pub rear_shift: Ratio,
    /// Front oxygen sensor.
    pub oxygen_front: Voltage,
    /// The pin of a front sensor that is a wide-range one.
    pub wide_range_pin: Option<Voltage>,
    /// Rear oxygen sensor.
    pub oxygen_rear: Voltage,
    /// Catalyst, by the ECU's model.
    pub catalyst: Temperature,
    /// Current of the front sensor's heater.
    pub heater_front: Current,
    /// Current of the rear sensor's heater.
    pub heater_rear: Current,
    /// What was seen of both sensors within the last 100 ms.
    pub seen: Gathered,
}

/// What the monitors see every 100 ms. Temperatures, manifold pressure, air flow and tank pressure are as their circuits
/// show them, never a substitute.
#[derive(Clone, Copy, Debug, Default)]
pub struct Signals {
    /// Time since engine start; `None` while the engine does not run.
    pub run_time: Option<Duration>,
    /// How the sensor circuits stand.
    pub circuits: Readings,
    /// What the drivers see of what hangs on them.
    pub drivers: Drivers,
    /// Engine speed.
    pub engine_speed: AngularSpeed,
    /// Change of engine speed, rpm a second, over the last few tenths of a second.
    pub engine_speed_change: f64,
    /// Target speed of the idle control.
    pub idle_target: AngularSpeed,
    /// Tank pressure, gauge.
    pub tank_pressure: Pressure,
    /// Fuel level as the sender stands.
    pub level_now: Ratio,
    /// Fuel level as the gauge shows it.
    pub level: Ratio,
    /// Manifold pressure, absolute.
    pub manifold_pressure: Pressure,
    /// Barometric pressure, absolute.
    pub barometer: Pressure,
    /// Coolant.
    pub coolant: Temperature,
    /// Intake air.
    pub intake_air: Temperature,
    /// Outside air.
    pub ambient: Temperature,
    /// Oil.
    pub oil: Temperature,
    /// Road speed.
    pub vehicle_speed: Speed,
    /// The messages of the gearbox controller, which carry the road speed, count as lost.
    pub gearbox_lost: bool,
    /// Time since the last of them, s.
    pub gearbox_silence: f64,
    /// Change of road speed.
    pub acceleration: Acceleration,
    /// Supply of the control module.
    pub supply: Voltage,
    /// Mixture in closed loop, on every bank.
    pub closed_loop: bool,
    /// What closed loop and vapour estimate together change of the fuel.
    pub fuel_correction: Ratio,
    /// Lambda that is aimed at.
    pub commanded_lambda: Ratio,
    /// Fuel rail, gauge.
    pub rail_pressure: Pressure,
    /// Injected fuel.
    pub fuel_flow: MassFlow,
    /// Friction with pumping losses and accessories, by the ECU's model.
    pub friction: Power,
    /// No injection on the overrun.
    pub fuel_cut: bool,
    /// For so long, s.
    pub fuel_cut_seconds: f64,
    /// So long after the last fuel cut of this driving cycle, s; without one, since the start.
    pub since_fuel_cut_seconds: f64,
    /// The injectors open so shortly, or did moments ago, that they give less than was meant.
    pub injectors_hardly_open: bool,
    /// Enriched for full load.
    pub full_load: bool,
    /// Default mode: the throttle motor is without current.
    pub limp_home: bool,
    /// Air as the meter's pin says.
    pub air_metered: MassFlow,
    /// The three views of the air, as the pins have it.
    pub air: AirEstimates,
    /// Air that enters the manifold behind the meter.
    pub air_behind_meter: MassFlow,
    /// Load against the most at this engine speed.
    pub load: Ratio,
    /// Charge against a full cylinder at standard density.
    pub absolute_load: Ratio,
    /// Throttle plate, from track A.
    pub throttle: Angle,
    /// Pedal.
    pub pedal: Ratio,
    /// Pedal at rest.
    pub pedal_released: bool,
    /// Standing with the pedal at rest for so long, s.
    pub standing_seconds: f64,
    /// Speed and load have hardly moved for so long, s: less than 150 rpm and 10 points of load a second.
    pub steady_seconds: f64,
    /// Opening of the recirculation valve as commanded, tests included.
    pub egr_commanded: Ratio,
    /// Its lift.
    pub egr_lift: Ratio,
    /// Gas that the cylinders draw by speed-density over metered air: above 1 with burnt gas in it.
    pub gas_by_meter: Ratio,
    /// Where the intake cam of each bank is to stand, degrees of crank ahead of its locked place.
    pub cam_target: PerBank<Angle>,
    /// Where it stands.
    pub cam_place: PerBank<Angle>,
    /// A monitor moves an actuator that the engine feels.
    pub actuator_test: bool,
    /// Duty of the purge valve.
    pub purge: Ratio,
    /// Ignition before top dead centre.
    pub ignition_advance: Angle,
    /// Brake light switch closed.
    pub brake: bool,
    /// Selector in a driving position.
    pub in_gear: bool,
    /// The cabin is heated by the coolant.
    pub cabin_heater: bool,
    /// Size of the engine against the 2.0-litre one that figures in the monitors are calibrated for.
    pub engine_size: f64,
    /// What the module's tests of itself found.
    pub self_test: SelfTest,
    /// Which monitors judge means of several results.
    pub averaging: Averaging,
    /// Work that a firing is expected to give at this load, J.
    pub firing_joules: f64,
    /// Inertia of crank, flywheel and converter, kg m².
    pub crank_inertia: f64,
    /// The road shakes the wheels.
    pub rough_road: bool,
    /// Cylinders in the order of firing, from 1 on; zeros behind the last.
    pub firing_order: [u8; 6],
    /// By cylinder, the first first: whether it belongs to bank 2.
    pub second_bank: [bool; 6],
    /// How many banks there are.
    pub bank_count: usize,
    /// The banks; those that there are not read zero.
    pub banks: PerBank<BankSignals>,
}

impl Signals {
    /// Between two steps of 100 ms: changes and times are as they were.
    pub(crate) fn keep_times_of(&mut self, before: &Self) {
        self.acceleration = before.acceleration;
        self.engine_speed_change = before.engine_speed_change;
        for (bank, before) in self.banks.iter_mut().zip(&before.banks) {
            bank.closed_loop_seconds = before.closed_loop_seconds;
        }
        self.fuel_cut_seconds = before.fuel_cut_seconds;
        self.since_fuel_cut_seconds = before.since_fuel_cut_seconds;
        self.standing_seconds = before.standing_seconds;
        self.steady_seconds = before.steady_seconds;
    }
}

impl Signals {
    /// The banks that there are.
    #[must_use]
    pub fn banks(&self) -> &[BankSignals] {
        self.banks.get(..self.bank_count).unwrap_or(&self.banks)
    }
}

/// What a monitor sees every 10 ms that looks faster than [`Signals`].
#[derive(Clone, Copy, Debug)]
pub struct Fast<'a> {
    /// The pins of this step.
    pub pins: &'a SensorPins,
    /// The fast ones as quantities, as of this step.
    pub measured: &'a Measured,
    /// The signals as of the last step of 100 ms.
    pub signals: &'a Signals,
}

/// Quantities that are worked out over time, every 100 ms.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Timers {
    load_before: f64,
    rpm_before: f64,
    speed_before: f64,
    acceleration: f64,
    rpm_change: f64,
    load_change: f64,
}

impl Timers {
    /// Works out changes and times of `now` from the signals `before` it.
    pub(crate) fn step(&mut self, before: &Signals, now: &mut Signals, seconds: f64) {
        /// Time constant of the changes, s.
        const SMOOTHING: f64 = 0.3;
        const STEADY_RPM: f64 = 150.0;
        const STEADY_LOAD: f64 = 0.10;
        const STANDING: Speed = Speed::from_kilometres_per_hour(1.6);
        let share = seconds / SMOOTHING;
        let follow = |change: &mut f64, last: &mut f64, value: f64| {
            *change += ((value - *last) / seconds - *change) * share;
            *last = value;
        };
        follow(
            &mut self.acceleration,
            &mut self.speed_before,
            now.vehicle_speed.metres_per_second(),
        );
        follow(&mut self.rpm_change, &mut self.rpm_before, now.engine_speed.rpm());
        follow(&mut self.load_change, &mut self.load_before, now.load.fraction());
        now.acceleration = Acceleration::from_metres_per_second_squared(self.acceleration);
        now.engine_speed_change = self.rpm_change;
        if now.run_time.is_none() {
            return;
        }
        let time = |holds: bool, before: f64| if holds { before + seconds } else { 0.0 };
        for (bank, before) in now.banks.iter_mut().zip(&before.banks) {
            bank.closed_loop_seconds = time(bank.closed_loop, before.closed_loop_seconds);
        }
        now.fuel_cut_seconds = time(now.fuel_cut, before.fuel_cut_seconds);
        now.since_fuel_cut_seconds = time(!now.fuel_cut, before.since_fuel_cut_seconds);
        let standing = now.pedal_released && now.vehicle_speed <= STANDING;
        now.standing_seconds = time(standing, before.standing_seconds);
        let steady = self.rpm_change.abs() <= STEADY_RPM && self.load_change.abs() <= STEADY_LOAD;
        now.steady_seconds = time(steady, before.steady_seconds);
    }
}
