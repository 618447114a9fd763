//! What a technician's instruments find on the car: a smoke machine on the vapour space, a scope on an oxygen sensor, 12 V
//! put on an oil control valve by hand. The ECU never sees it.

use core::time::Duration;

use twotrip_units::Pressure;

use crate::{Vehicle, knobs::Knobs, phaser};

/// The step that a scope is read at, and the levels that its ends come from, V: from 0.3 to 0.6 V on the way from a lean to
/// a rich mixture.
const EDGE: [f64; 2] = [0.3, 0.6];
const FROM_TO: [f64; 2] = [0.03, 0.87];

impl Vehicle {
    /// What the vapour space lets out at this pressure with the vent valve and the purge valve told to shut, litres a
    /// minute.
    #[must_use]
    pub fn vapour_leak(&self, pressure: Pressure) -> f64 {
        let tank = &self.params.tank;
        // A leak of the purge valve, from its effective area to one as a hole's.
        let purge = tank.hole_flow / 0.62 * 1e-6 * self.knobs.purge_leak_mm2;
        let root = libm::sqrt(pressure.pascals().max(0.0));
        (tank.opening(&self.knobs, true) + purge) * root * 60_000.0
    }

    /// What a scope shows of a bank's front (0) or rear (1) oxygen sensor after a burst of propane: how long the sensor
    /// waits beyond what the gas takes, and how long it needs from 0.3 to 0.6 V; nothing where it does not move.
    #[must_use]
    pub fn oxygen_sensor_edge(&self, bank: usize, sensor: usize) -> Option<[Duration; 2]> {
        let Knobs {
            front_lag,
            front_delay_s,
            front_bias_v,
            rear_lag,
            rear_stuck_v,
            ..
        } = &self.knobs;
        let (late, lag, bias) = if sensor == 0 {
            let lag = self.params.oxygen.front_lag.0.seconds * front_lag[bank];
            (front_delay_s[bank], lag, front_bias_v[bank])
        } else {
            if rear_stuck_v[bank].is_some() {
                return None;
            }
            (0.0, self.params.oxygen.rear_lag.seconds * rear_lag[bank], 0.0)
        };
        let [from, to] = FROM_TO.map(|volts| volts + bias);
        let [begin, end] = EDGE;
        if from >= begin || to <= end {
            return None;
        }
        let rise = lag * libm::log((to - begin) / (to - end));
        Some([late, rise].map(Duration::from_secs_f64))
    }

    /// How fast a bank's cam turns with 12 V put on its oil control valve by hand and the engine idling, degrees of crank a
    /// second; nothing where it does not move.
    #[must_use]
    pub fn cam_turns_by_hand(&self, bank: usize) -> f64 {
        if self.knobs.phaser_stuck[bank].is_some() {
            return 0.0;
        }
        phaser::rate(&self.params.phaser, self.state.cooling.block, &self.knobs, bank)
    }

    /// What is left of the oil's pressure behind the strainer of a bank's oil control valve while oil flows, a share of that
    /// ahead of it.
    #[must_use]
    pub fn oil_behind_strainer(&self, bank: usize) -> f64 {
        let clean = Knobs {
            oil_strainer: [0.0; twotrip_harness::BANKS],
            ..self.knobs
        };
        let rate = |knobs| phaser::rate(&self.params.phaser, self.state.cooling.block, knobs, bank);
        // What turns the cam is the flow, which goes with the root of the pressure.
        let share = rate(&self.knobs) / rate(&clean);
        share * share
    }
}
