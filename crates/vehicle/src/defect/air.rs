//! Defects of the air path: what leaks in behind the meter, dirt, what sensors do not see, and a blocked exhaust.
//! Ranges as published service information describes such faults, or wider (our choice).

use super::{
    Entry,
    Part::{
        AirDuct, AirMeter, CrankcaseHose, Exhaust, Intake, ManifoldPressureHose, Throttle, ThrottleSensor,
    },
    Size,
    Work::{Clean, Reconnect, Replace},
};
use crate::air;

/// Half of a worn patch of the throttle's track, degrees.
const PATCH: f64 = 1.5;
/// Back pressure of a free exhaust at its reference flow, kPa.
pub(super) const FREE: f64 = air::Params::compact_2_0().back_pressure_kpa;

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: Intake,
        kind: "leak",
        size: Size::Amount {
            unit: "mm2",
            range: [0.2, 20.0],
        },
        description: "gasket or vacuum hose leaks into the manifold behind the air meter",
        set: "air leaks into the intake manifold through {}",
        seen: "smoke comes out of a vacuum hose at the manifold: a leak of about {}",
        cures: &[(Replace, Intake)],
        apply: |knobs, area| knobs.intake_leak_mm2 += area,
    },
    Entry {
        part: CrankcaseHose,
        kind: "off",
        size: Size::None,
        description: "hose to the crankcase ventilation valve is off: the valve draws air from outside",
        set: "the hose at the crankcase ventilation valve is off",
        seen: "the hose hangs beside the crankcase ventilation valve, which draws in smoke",
        cures: &[(Reconnect, CrankcaseHose), (Replace, CrankcaseHose)],
        apply: |knobs, _| knobs.crankcase_hose_off = true,
    },
    Entry {
        part: CrankcaseHose,
        kind: "split",
        size: Size::Amount {
            unit: "mm2",
            range: [2.0, 60.0],
        },
        description: "hose between crankcase ventilation valve and manifold is torn",
        set: "the crankcase ventilation hose is torn open by {}",
        seen: "the crankcase ventilation hose hisses: it is torn open by about {} under a clamp",
        cures: &[(Replace, CrankcaseHose)],
        apply: |knobs, area| knobs.intake_leak_mm2 += area,
    },
    Entry {
        part: AirDuct,
        kind: "split",
        size: Size::Amount {
            unit: "%",
            range: [2.0, 60.0],
        },
        description: "duct between air meter and throttle is torn: this share of the air passes the meter by",
        set: "the air duct is torn, {} of the air passes the air meter by",
        seen: "the air duct behind the meter is torn in a fold: it opens when it is bent",
        cures: &[(Replace, AirDuct)],
        apply: |knobs, percent| knobs.duct_bypass = 0.01 * percent,
    },
    Entry {
        part: AirMeter,
        kind: "dirty",
        size: Size::Amount {
            unit: "%",
            range: [3.0, 35.0],
        },
        description: "dirt on the air meter: reads so much low at full flow, a little high at idle, and slowly",
        set: "the air meter is dirty: it reads {} low at full flow",
        seen: "a film of oil and dust on the element of the air meter",
        cures: &[(Clean, AirMeter), (Replace, AirMeter)],
        apply: |knobs, percent| {
            knobs.meter_gain = [1.0 + 0.0025 * percent, 1.0 - 0.01 * percent];
            knobs.meter_lag = 1.0 + percent / 15.0;
        },
    },
    Entry {
        part: ManifoldPressureHose,
        kind: "off",
        size: Size::None,
        description: "hose of the manifold pressure sensor is off and plugged: the sensor sees the outside air",
        set: "the hose of the manifold pressure sensor is off",
        seen: "the hose of the manifold pressure sensor hangs loose, its port is capped",
        cures: &[(Reconnect, ManifoldPressureHose), (Replace, ManifoldPressureHose)],
        apply: |knobs, _| knobs.manifold_hose_off = true,
    },
    Entry {
        part: ManifoldPressureHose,
        kind: "blocked",
        size: Size::Amount {
            unit: "s",
            range: [0.5, 10.0],
        },
        description: "carbon in the port of the manifold pressure sensor: it follows with this time constant",
        set: "the port of the manifold pressure sensor is nearly blocked: it follows in {}",
        seen: "carbon in the port of the manifold pressure sensor leaves a pinhole",
        cures: &[(Clean, ManifoldPressureHose), (Replace, ManifoldPressureHose)],
        apply: |knobs, seconds| knobs.manifold_port_s = seconds,
    },
    Entry {
        part: Throttle,
        kind: "dirty",
        size: Size::Amount {
            unit: "%",
            range: [5.0, 60.0],
        },
        description: "dirt around the throttle plate: so much less area near closed, and no leak past it",
        set: "the throttle body is dirty: {} less area near closed",
        seen: "a black ring of dirt where the throttle plate closes",
        cures: &[(Clean, Throttle), (Replace, Throttle)],
        apply: |knobs, percent| knobs.plate = [(1.0 - percent / 30.0).max(0.0), 1.0 - 0.01 * percent],
    },
    Entry {
        part: ThrottleSensor,
        kind: "worn",
        size: Size::Amount {
            unit: "deg",
            range: [8.0, 60.0],
        },
        description: "track A of the throttle sensor has no contact 1.5 degrees around this plate angle",
        set: "track A of the throttle sensor is worn through at {}",
        seen: "",
        cures: &[(Replace, ThrottleSensor), (Replace, Throttle)],
        apply: |knobs, degrees| knobs.track_a_worn = Some([degrees - PATCH, degrees + PATCH]),
    },
    Entry {
        part: ThrottleSensor,
        kind: "disagreeing",
        size: Size::Amount {
            unit: "%",
            range: [-20.0, 20.0],
        },
        description: "track B of the throttle sensor is off by this share of the supply",
        set: "track B of the throttle sensor is off by {}",
        seen: "",
        cures: &[(Replace, ThrottleSensor), (Replace, Throttle)],
        apply: |knobs, percent| knobs.track_b_off = 0.01 * percent,
    },
    Entry {
        part: Exhaust,
        kind: "restricted",
        size: Size::Amount {
            unit: "kPa",
            range: [20.0, 150.0],
        },
        description: "muffler collapsed or pipe crushed: this back pressure at 75 g/s instead of 12 kPa",
        set: "the exhaust is restricted: {} of back pressure at 75 g/s",
        seen: "the muffler rattles when knocked at, and little comes out of the tailpipe",
        cures: &[(Replace, Exhaust)],
        apply: |knobs, kilopascals| knobs.back_pressure = knobs.back_pressure.max(kilopascals / FREE),
    },
];
