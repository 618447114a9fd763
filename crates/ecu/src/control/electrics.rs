//! Relays and set points: fuel pump, fan, sensor heaters, alternator (figures calibrated).

use core::time::Duration;

use twotrip_harness::{ActuatorPins, BANKS, KeyPosition};
use twotrip_units::{CarInstant, Table, Temperature, Voltage};

use crate::control::measured::Measured;

/// The pump runs this long after key-on, to fill the rail.
const PRIME: Duration = Duration::from_secs(2);
/// Radiator fan.
const FAN_ON: Temperature = Temperature::from_celsius(100.0);
const FAN_OFF: Temperature = Temperature::from_celsius(96.0);
/// Regulator set point, V over °C; the intake air stands for the regulator's temperature.
const SET_POINT: Table<3> = Table::new([(0.0, 14.7), (25.0, 14.3), (80.0, 13.8)]);
/// Heaters wait for the alternator.
const HEATERS_FROM: Voltage = Voltage::from_volts(10.5);
/// The rear heater waits until the exhaust has dried its pipe.
const REAR_HEATER_AFTER: Duration = Duration::from_secs(20);

/// The switched outputs.
#[derive(Clone, Debug, Default)]
pub(crate) struct Electrics {
    prime_until: CarInstant,
    fan: bool,
}

impl Electrics {
    /// The key came on.
    pub(crate) fn key_on(&mut self, now: CarInstant) {
        self.prime_until = now + PRIME;
    }

    /// Sets the outputs; `run_time` is `None` while the engine does not run. With the coolant's temperature unknown the
    /// fan runs.
    pub(crate) fn step(
        &mut self,
        now: CarInstant,
        measured: &Measured,
        coolant_unknown: bool,
        cranking: bool,
        run_time: Option<Duration>,
        pins: &mut ActuatorPins,
    ) {
        let key_on = measured.key != KeyPosition::Off;
        let hot = measured.coolant >= if self.fan { FAN_OFF } else { FAN_ON };
        self.fan = key_on && (hot || coolant_unknown);
        pins.fan = self.fan;
        pins.fuel_pump = key_on && (cranking || run_time.is_some() || now < self.prime_until);
        let heat = run_time.is_some() && measured.supply > HEATERS_FROM;
        // Where there is no second bank, nothing hangs on its drivers.
        pins.oxygen_heater_front = [heat; BANKS];
        pins.oxygen_heater_rear = [heat && run_time.is_some_and(|run| run > REAR_HEATER_AFTER); BANKS];
        pins.alternator = if run_time.is_some() {
            Voltage::from_volts(SET_POINT.at(measured.intake_air.celsius()))
        } else {
            Voltage::ZERO
        };
    }
}
