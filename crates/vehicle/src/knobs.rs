//! The physical figures that defects move: what the parts read, healthy by [`Default`].
//!
//! Nothing else in this crate knows what a defect is. The figures are worked out anew when a defect comes, goes or
//! grows, never in a step, so that a car with many costs what a healthy one costs.

use twotrip_harness::{BANKS, ModuleCondition};

use crate::sensor_fault::SensorFaults;

/// Most cylinders.
pub(crate) const CYLINDERS: usize = 6;

/// What defects make of the car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Knobs {
    // Tank and vapour.
    /// Area of all round holes in the vapour space, m² (geometric).
    pub(crate) vapour_holes_m2: f64,
    /// Purge valve and its line: what they pass when open, against good ones.
    pub(crate) purge_share: f64,
    /// What the purge valve passes when shut, mm² (effective).
    pub(crate) purge_leak_mm2: f64,
    /// What vent valve and filter pass at the most, mm² (geometric); `None` for good ones.
    pub(crate) vent_mm2: Option<f64>,
    /// Diameter of the hole that the vent valve leaves when shut, mm.
    pub(crate) vent_hole_mm: f64,
    /// Where the level sender sticks, %.
    pub(crate) level_stuck: Option<f64>,

    // Air.
    /// Effective area of leaks into the manifold behind the air meter, mm².
    pub(crate) intake_leak_mm2: f64,
    /// The hose at the crankcase ventilation valve is off: air comes in through the valve.
    pub(crate) crankcase_hose_off: bool,
    /// Share of the air to the throttle that comes through a crack in the duct behind the air meter.
    pub(crate) duct_bypass: f64,
    /// Air meter: reading against what flows, at idle and at full flow.
    pub(crate) meter_gain: [f64; 2],
    /// Air meter: its lag against a new one's.
    pub(crate) meter_lag: f64,
    /// Manifold pressure sensor: its hose is off, so that it sees the air outside.
    pub(crate) manifold_hose_off: bool,
    /// Manifold pressure sensor: lag of a port that is nearly blocked, s.
    pub(crate) manifold_port_s: f64,
    /// Area of the throttle near closed against a clean one's: leak past the plate, and gain with angle.
    pub(crate) plate: [f64; 2],
    /// Throttle position sensor: plate angles, deg, between which the wiper of track A has no contact.
    pub(crate) track_a_worn: Option<[f64; 2]>,
    /// Throttle position sensor: by how much track B is off, as a share of the supply.
    pub(crate) track_b_off: f64,
    /// Exhaust back pressure against a free exhaust's.
    pub(crate) back_pressure: f64,

    // Fuel.
    /// What the regulator holds of its nominal pressure.
    pub(crate) rail: f64,
    /// Return line: the rail's pressure against nominal at which it lets all run back that has to; 0 for a free one.
    pub(crate) pinched_return: f64,
    /// Pump: 0 good, 1 of no use.
    pub(crate) pump_worn: f64,
    /// What injectors of each bank dribble into the manifold when shut, g/s.
    pub(crate) dribble: [f64; BANKS],
    /// Fuel filter: what it costs beyond a good one, kPa a g/s.
    pub(crate) filter_fall: f64,
    /// Flow of each injector against nominal.
    pub(crate) injector: [f64; CYLINDERS],

    // Firing.
    /// Probability that a cylinder does not fire.
    pub(crate) misfire: [f64; CYLINDERS],
    /// Coils whose primary winding is broken.
    pub(crate) coil_open: [bool; CYLINDERS],
    /// Compression of each cylinder against a good one's.
    pub(crate) compression: [f64; CYLINDERS],

    // Exhaust.
    /// Front oxygen sensors: lags against new ones'.
    pub(crate) front_lag: [f64; BANKS],
    /// Front oxygen sensors: added dead time, s.
    pub(crate) front_delay_s: [f64; BANKS],
    /// Front oxygen sensors: bias, V.
    pub(crate) front_bias_v: [f64; BANKS],
    /// Front oxygen sensors: by what share they take the mixture for richer than it is.
    pub(crate) front_shift: [f64; BANKS],
    /// Heaters without current: front and rear of each bank.
    pub(crate) heater_open: [[bool; 2]; BANKS],
    /// Rear oxygen sensors: lags against new ones'.
    pub(crate) rear_lag: [f64; BANKS],
    /// Rear oxygen sensors that always give this, V.
    pub(crate) rear_stuck_v: [Option<f64>; BANKS],
    /// Diameter of a hole in the exhaust ahead of the front sensor, mm.
    pub(crate) exhaust_hole_mm: [f64; BANKS],
    /// Diameter of a hole between catalyst and rear sensor, mm.
    pub(crate) joint_hole_mm: [f64; BANKS],
    /// Oxygen capacity of the catalyst, g; `None` for a good one.
    pub(crate) oxygen_capacity_g: [Option<f64>; BANKS],

    // Exhaust-gas recirculation and cam.
    /// Lift of the recirculation valve against its command.
    pub(crate) recirculation_travel: f64,
    /// What its passage lets through against a clean one.
    pub(crate) recirculation_passage: f64,
    /// What the recirculation valve passes when shut, mm².
    pub(crate) recirculation_leak_mm2: f64,
    /// Cam phaser of each bank: slew limit, deg/s; `None` for a good one.
    pub(crate) phaser_slew: [Option<f64>; BANKS],
    /// Cam phaser: stuck at this advance, deg.
    pub(crate) phaser_stuck: [Option<f64>; BANKS],
    /// Oil strainer: how far it is blocked.
    pub(crate) oil_strainer: [f64; BANKS],

    // Heat.
    /// Thermostat: least lift.
    pub(crate) thermostat_floor: f64,
    /// Coolant sensor: lag, s.
    pub(crate) coolant_sensor_lag_s: f64,

    // Electrical.
    /// Alternator: output against what is asked for.
    pub(crate) alternator: f64,
    /// Alternator: what its regulator holds whatever is asked for, V; `None` for a good one.
    pub(crate) regulator_volts: Option<f64>,
    /// Between alternator and battery beyond a good cable's resistance, Ω.
    pub(crate) charging_cable_ohms: f64,
    /// Battery near the end of its life.
    pub(crate) battery_worn: bool,

    // Gearbox.
    /// Output-shaft sensor without pulses.
    pub(crate) speed_sensor_dead: bool,
    /// Controller that neither shifts nor speaks.
    pub(crate) gearbox_controller_dead: bool,
    /// Turbine speed sensor without pulses.
    pub(crate) turbine_sensor_dead: bool,
    /// Valves of the shift solenoids A, B, C that stay where they are: as without current, or as with it.
    pub(crate) valve_stuck: [Option<bool>; 3],
    /// What forward and overdrive clutch hold against good ones.
    pub(crate) clutch_hold: [f64; 2],
    /// Damping of the closed lock-up clutch against a good one's.
    pub(crate) lock_up_hold: f64,
    /// Lock-up clutch that does not let go.
    pub(crate) lock_up_shut: bool,
    /// Thermistor in the gearbox's fluid: open inside.
    pub(crate) fluid_sensor_dead: bool,
    /// The same: reads so much too high, K.
    pub(crate) fluid_sensor_bias: f64,

    /// The engine controller.
    pub(crate) module: ModuleCondition,

    /// Sensors that are broken inside.
    pub(crate) sensors: SensorFaults,
}

impl Knobs {
    /// Coils with a broken primary winding, cylinder 1 in the lowest bit.
    pub(crate) fn open_coils(&self) -> u8 {
        let coils = self.coil_open.iter().rev();
        coils.fold(0, |bits, &open| bits << 1 | u8::from(open))
    }
}

impl Default for Knobs {
    fn default() -> Self {
        Self {
            vapour_holes_m2: 0.0,
            purge_share: 1.0,
            purge_leak_mm2: 0.0,
            vent_mm2: None,
            vent_hole_mm: 0.0,
            level_stuck: None,
            intake_leak_mm2: 0.0,
            crankcase_hose_off: false,
            duct_bypass: 0.0,
            meter_gain: [1.0; 2],
            meter_lag: 1.0,
            manifold_hose_off: false,
            manifold_port_s: 0.0,
            plate: [1.0; 2],
            track_a_worn: None,
            track_b_off: 0.0,
            back_pressure: 1.0,
            rail: 1.0,
            pinched_return: 0.0,
            pump_worn: 0.0,
            dribble: [0.0; BANKS],
            filter_fall: 0.0,
            injector: [1.0; CYLINDERS],
            misfire: [0.0; CYLINDERS],
            coil_open: [false; CYLINDERS],
            compression: [1.0; CYLINDERS],
            front_lag: [1.0; BANKS],
            front_delay_s: [0.0; BANKS],
            front_bias_v: [0.0; BANKS],
            front_shift: [0.0; BANKS],
            heater_open: [[false; 2]; BANKS],
            rear_lag: [1.0; BANKS],
            rear_stuck_v: [None; BANKS],
            exhaust_hole_mm: [0.0; BANKS],
            joint_hole_mm: [0.0; BANKS],
            oxygen_capacity_g: [None; BANKS],
            recirculation_travel: 1.0,
            recirculation_passage: 1.0,
            recirculation_leak_mm2: 0.0,
            phaser_slew: [None; BANKS],
            phaser_stuck: [None; BANKS],
            oil_strainer: [0.0; BANKS],
            thermostat_floor: 0.0,
            coolant_sensor_lag_s: 0.0,
            alternator: 1.0,
            regulator_volts: None,
            charging_cable_ohms: 0.0,
            battery_worn: false,
            speed_sensor_dead: false,
            gearbox_controller_dead: false,
            turbine_sensor_dead: false,
            valve_stuck: [None; 3],
            clutch_hold: [1.0; 2],
            lock_up_hold: 1.0,
            lock_up_shut: false,
            fluid_sensor_dead: false,
            fluid_sensor_bias: 0.0,
            module: ModuleCondition::default(),
            sensors: SensorFaults::NONE,
        }
    }
}
