//! What blocks what: the codes, pending or commanding the MIL, that keep a monitor from running (choices of the kind
//! that makers publish; 13 CCR 1968.2(d)(4.5.1), from memory, freezes its in-use counters then).
//!
//! Below, groups of codes by what they say is wrong; then one list for each kind of monitor, made of groups. A new code
//! goes into its group, and with that blocks all that it must. A group that is empty waits for its monitor. What exists
//! once a bank has a group and a list for each bank: a fault of one bank leaves the monitors of the other alone.

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;

use super::catalogue::*;

/// Air meter.
const METER: &[Dtc] = &[P0101, P0102, P0103];
/// Manifold pressure.
const MANIFOLD: &[Dtc] = &[P0106, P0107, P0108];
/// Throttle, or a control module that does not trust itself and leaves it at rest.
const THROTTLE: &[Dtc] = &[
    P0068, P0121, P0122, P0123, P0222, P0223, P2135, P0601, P0604, P0605, P0606,
];
/// Circuits of these three.
const AIR_CIRCUITS: &[Dtc] = &[P0102, P0103, P0107, P0108, P0122, P0123, P0222, P0223, P2135];
/// Circuit of the coolant sensor, and what it tells.
const COOLANT_CIRCUIT: &[Dtc] = &[P0117, P0118];
const COOLANT: &[Dtc] = &[P0116];
/// Circuit of the intake-air sensor, and what it tells.
const INTAKE_AIR_CIRCUIT: &[Dtc] = &[P0112, P0113];
const INTAKE_AIR: &[Dtc] = &[P0111];
/// Tank pressure and level.
const TANK: &[Dtc] = &[P0452, P0453, P0461, P0462, P0463];
/// Circuits of purge and vent valve.
const EVAP_VALVES: &[Dtc] = &[P0444, P0445, P0447, P0448];
/// A purge valve that its driver may have lost wide open: air and vapour that nobody meters.
const PURGE_SHORTED: &[Dtc] = &[P0445];
/// A leak or a valve that the leak test with the engine running finds: the one of the parked car would find it too, and
/// call it a very small one.
const LEAK: &[Dtc] = &[P0441, P0442, P0446, P0451, P0455, P0457, P0496];
/// Supply of the control module.
const SUPPLY: &[Dtc] = &[P0562, P0563];
/// Mixture at its limit.
const MIXTURE: [&[Dtc]; BANKS] = [&[P0171, P0172], &[P0174, P0175]];
/// Pressure of the fuel rail, which makes it lean.
const RAIL: &[Dtc] = &[P0087];
/// Circuit of the sensor that tells it, and what that tells.
const RAIL_CIRCUIT: &[Dtc] = &[P0192, P0193];
const RAIL_SENSOR: &[Dtc] = &[P0191];
/// Recirculation valve that does not go where it is told.
const EGR_STEM: &[Dtc] = &[P0404];
/// Circuits of the recirculation valve and of the sensor on its stem.
const EGR_CIRCUIT: &[Dtc] = &[P0403, P0405, P0406];
/// Circuits of a cam's oil control valve and of its sensor.
const CAM_CIRCUIT: [&[Dtc]; BANKS] = [&[P0010, P0340], &[P0020, P0345]];
/// Front oxygen sensors: stuck, out of range, without activity, or their heaters.
const FRONT_CIRCUIT: [&[Dtc]; BANKS] = [
    &[P0131, P0132, P0134, P0135, P2195, P2196],
    &[P0151, P0152, P0154, P0155, P2197, P2198],
];
/// Front oxygen sensors that are slow.
const FRONT_SLOW: [&[Dtc]; BANKS] = [&[P0133], &[P0153]];
/// Heaters of the rear oxygen sensors.
const REAR_HEATER: [&[Dtc]; BANKS] = [&[P0141], &[P0161]];
/// Rear oxygen sensors.
const REAR: [&[Dtc]; BANKS] = [
    &[P0137, P0138, P0139, P0140, P2270, P2271],
    &[P0157, P0158, P0159, P0160, P2272, P2273],
];
/// Road speed, or its messages.
const ROAD_SPEED: &[Dtc] = &[P0500, U0101];
/// Messages that carry the road speed.
const MESSAGES: &[Dtc] = &[U0101];

/// Misfire, or a coil that will cause it: unburnt oxygen at the sensors, unburnt fuel in the catalyst. Which
/// cylinder feeds which bank the memory is told of by the engine ([`crate::memory::FaultMemory::disables`]).
const MISFIRES: &[Dtc] = &[
    P0300, P0301, P0302, P0303, P0304, P0305, P0306, P0351, P0352, P0353, P0354, P0355, P0356,
];

/// How many codes stand in the groups.
const fn count(groups: &[&[Dtc]]) -> usize {
    let mut count = 0;
    let mut place = 0;
    while place < groups.len() {
        count += groups[place].len();
        place += 1;
    }
    count
}

/// One list of groups.
const fn join<const N: usize>(groups: &[&[Dtc]]) -> [Dtc; N] {
    let mut all = [P0102; N];
    let mut filled = 0;
    let mut place = 0;
    while place < groups.len() {
        let mut code = 0;
        while code < groups[place].len() {
            all[filled] = groups[place][code];
            filled += 1;
            code += 1;
        }
        place += 1;
    }
    all
}

/// Makes the lists: each a name and its groups.
macro_rules! lists {
    ($($(#[$doc:meta])* $name:ident = $groups:expr;)*) => {
        $($(#[$doc])* pub(super) const $name: &[Dtc] = &{
            const GROUPS: &[&[Dtc]] = &$groups;
            const ALL: [Dtc; count(GROUPS)] = join(GROUPS);
            ALL
        };)*
    };
}

lists! {
    /// Three views of the air: one whose circuit has failed is none.
    AIR_PATH = [AIR_CIRCUITS];
    /// Leak test and valves: without pressure, level, temperatures, load and road speed nothing can be measured or told
    /// to be in its conditions; a wrong mixture hides what purging does.
    EVAP = [
        METER, MANIFOLD, INTAKE_AIR_CIRCUIT, INTAKE_AIR, COOLANT_CIRCUIT, COOLANT, THROTTLE, TANK, EVAP_VALVES, SUPPLY, MIXTURE[0],
        MIXTURE[1], ROAD_SPEED,
    ];
    /// Coolant and intake-air sensor against each other.
    THERMISTORS = [COOLANT_CIRCUIT, INTAKE_AIR_CIRCUIT, ROAD_SPEED];
    /// Warm-up: it takes its temperatures for true, and its heat from the air, all of which has to burn.
    WARM_UP = [
        COOLANT_CIRCUIT, COOLANT, INTAKE_AIR_CIRCUIT, INTAKE_AIR, METER, MANIFOLD, THROTTLE, ROAD_SPEED, MISFIRES,
    ];
    /// Idle speed: the throttle has to follow, and the target goes by the coolant.
    IDLE = [THROTTLE, COOLANT_CIRCUIT, COOLANT, ROAD_SPEED, SUPPLY];
    /// Recirculation: nothing to measure with, nothing to tell the conditions by, or a valve that does not move.
    EGR = [
        METER, MANIFOLD, INTAKE_AIR_CIRCUIT, INTAKE_AIR, COOLANT_CIRCUIT, COOLANT, THROTTLE, SUPPLY, ROAD_SPEED, EGR_STEM,
        EGR_CIRCUIT,
    ];
    /// The valve's stem: not without its motor or its sensor.
    EGR_STEM_TEST = [EGR_CIRCUIT];
    /// The same test with the engine off.
    NATURAL_VACUUM = [INTAKE_AIR, COOLANT, TANK, EVAP_VALVES, SUPPLY, ROAD_SPEED, LEAK];
    /// Road speed: not while its messages are missing.
    SPEED_TEST = [MESSAGES];
    /// Pressure of the fuel rail: not without its sensor.
    RAIL_TEST = [RAIL_CIRCUIT, RAIL_SENSOR];
    /// That sensor with no pressure to read.
    RAIL_RATIONALITY = [RAIL_CIRCUIT];
    /// Misfire is judged against the work that air and throttle let expect.
    MISFIRE = [METER, MANIFOLD, THROTTLE];
}

/// Makes the lists of both banks: each a name, `bank`, and its groups.
macro_rules! bank_lists {
    ($($(#[$doc:meta])* $name:ident = |$bank:ident| $groups:expr;)*) => {
        $($(#[$doc])* pub(super) const $name: [&[Dtc]; BANKS] = [
            {
                const GROUPS: &[&[Dtc]] = { const $bank: usize = 0; &$groups };
                const ALL: [Dtc; count(GROUPS)] = join(GROUPS);
                &ALL
            },
            {
                const GROUPS: &[&[Dtc]] = { const $bank: usize = 1; &$groups };
                const ALL: [Dtc; count(GROUPS)] = join(GROUPS);
                &ALL
            },
        ];)*
    };
}

bank_lists! {
    /// Cam: too little supply for its oil control valve, or that valve or the cam's sensor without its circuit.
    CAM = |BANK| [SUPPLY, CAM_CIRCUIT[BANK]];
    /// How fast the front sensor answers: the loop has to work.
    FRONT_RESPONSE = |BANK| [
        METER, MANIFOLD, THROTTLE, COOLANT, SUPPLY, FRONT_CIRCUIT[BANK], MIXTURE[BANK], RAIL, MISFIRES
    ];
    /// The rear sensor: warm, and behind a mixture that is what it is meant to be and burns.
    REAR_SENSOR = |BANK| [
        METER, MANIFOLD, THROTTLE, COOLANT, SUPPLY, FRONT_CIRCUIT[BANK], REAR_HEATER[BANK], MIXTURE[BANK], RAIL,
        MISFIRES
    ];
    /// Catalyst: both sensors, mixture, load and road speed.
    CATALYST = |BANK| [
        METER, MANIFOLD, INTAKE_AIR, COOLANT, THROTTLE, SUPPLY, FRONT_CIRCUIT[BANK], FRONT_SLOW[BANK], REAR[BANK],
        REAR_HEATER[BANK], MIXTURE[BANK], RAIL, ROAD_SPEED, MISFIRES
    ];
    /// Fuel trim: air, its sensors, and the sensor that the loop goes by. Without the sensor on the rail nobody could tell a
    /// pump from a leak.
    FUEL_TRIM = |BANK| [
        METER, MANIFOLD, INTAKE_AIR, COOLANT, THROTTLE, SUPPLY, FRONT_CIRCUIT[BANK], FRONT_SLOW[BANK], MISFIRES,
        PURGE_SHORTED, RAIL_CIRCUIT
    ];
    /// Fuel trim by the rear sensor: that one too.
    REAR_TRIM = |BANK| [
        METER, MANIFOLD, INTAKE_AIR, COOLANT, THROTTLE, SUPPLY, FRONT_CIRCUIT[BANK], FRONT_SLOW[BANK], REAR[BANK],
        REAR_HEATER[BANK], MIXTURE[BANK], RAIL,
        MISFIRES
    ];
}
