//! From pins to measured values: what the ECU believes of the car, read through the sensors' data sheets.
//!
//! Fast signals are converted every step; temperatures, levels and what is only shown every tenth of a second: a
//! thermistor does not move in a step, and its curve costs more than the rest together. A failed circuit reads what
//! the pin says, held at the ends of the data sheet; what control goes on with instead is put in its place by
//! `substitute`.

use twotrip_harness::{Drivers, KeyPosition, PerBank, SensorPins, transfer};
use twotrip_units::{
    Angle, AngularSpeed, Current, Limit, MassFlow, Pressure, Ratio, Speed, Temperature, Voltage,
};

use crate::circuits::Readings;

/// Time constant of the level display, s (sender and gauge of this car, calibrated).
const LEVEL_FILTER_SECONDS: f64 = 10.0;

/// The signals of one instant as quantities: as read, or the substitute where a circuit has failed.
#[derive(Clone, Debug, Default)]
pub struct Measured {
    /// Ignition switch.
    pub key: KeyPosition,
    /// Supply of the module.
    pub supply: Voltage,
    /// Engine speed.
    pub engine_speed: AngularSpeed,
    /// Road speed from the gearbox controller's messages: for a moment the last one that came.
    pub vehicle_speed: Speed,
    /// How these messages come.
    pub gearbox: Messages,
    /// Manifold pressure, absolute.
    pub manifold_pressure: Pressure,
    /// Air through the meter.
    pub air_flow: MassFlow,
    /// Throttle plate, from track A.
    pub throttle: Angle,
    /// Track B of the throttle, as an opening: its mirrored share of the supply.
    pub throttle_b: Ratio,
    /// Pedal, from track D.
    pub pedal: Ratio,
    /// Track D as a share of the supply.
    pub pedal_d: Ratio,
    /// Track E as a share of the supply.
    pub pedal_e: Ratio,
    /// Brake light switch.
    pub brake: bool,
    /// Selector in a driving position.
    pub in_gear: bool,
    /// Air conditioning asked for.
    pub air_conditioning: bool,
    /// The cabin is heated.
    pub cabin_heater: bool,
    /// Headlamps on.
    pub lights: bool,
    /// Blower at full speed.
    pub blower: bool,
    /// Heater of the rear screen on.
    pub rear_screen: bool,
    /// Front oxygen sensor of each bank: what a narrow-band one would give where it is a wide-range one.
    pub oxygen_front: PerBank<Voltage>,
    /// The pin of a wide-range one; zero where there is none.
    pub wide_range_pin: PerBank<Voltage>,
    pub(crate) wide_range: bool,
    /// Rear oxygen sensor of each bank.
    pub oxygen_rear: PerBank<Voltage>,
    /// Lift of the recirculation valve.
    pub recirculation_lift: Ratio,
    /// Intake cam of each bank, degrees of crank ahead of its locked place.
    pub cam_advance: PerBank<Angle>,
    /// No teeth come from the bank's cam sensor.
    pub cam_silent: PerBank<bool>,
    /// Current of the front sensors' heaters.
    pub heater_front: PerBank<Current>,
    /// Current of the rear sensors' heaters.
    pub heater_rear: PerBank<Current>,
    /// How the sensor circuits stand.
    pub circuits: Readings,
    /// What the drivers see of what hangs on them.
    pub drivers: Drivers,
    /// Tank pressure, gauge.
    pub tank_pressure: Pressure,
    /// Coolant.
    pub coolant: Temperature,
    /// Intake air.
    pub intake_air: Temperature,
    /// Outside air.
    pub ambient: Temperature,
    /// Oil.
    pub oil: Temperature,
    /// Barometer, absolute.
    pub barometer: Pressure,
    /// Fuel rail, gauge.
    pub rail_pressure: Pressure,
    /// Fuel level as the sender stands.
    pub level_now: Ratio,
    /// Fuel level as the gauge shows it.
    pub level: Ratio,
    pub(crate) level_settled: bool,
    /// How long the road counts as rough yet, s.
    pub(crate) rough_seconds: f64,
    /// What the fastest formulas need, in their units: rpm, kPa, g/s.
    pub(crate) rpm: f64,
    pub(crate) manifold_kilopascals: f64,
    pub(crate) air_grams: f64,
}

/// Whether the messages of another control unit come: one a step, as a rule.
#[derive(Clone, Copy, Debug, Default)]
pub struct Messages {
    /// Steps without one.
    silent: u16,
    /// Messages in a row since.
    good: u16,
    lost: bool,
}

impl Messages {
    /// Without a message for so many steps they count as lost: 0.5 s.
    const LOST: u16 = 50;
    /// So many in a row, and they do no longer.
    const BACK: u16 = 20;

    /// A message has come.
    #[inline]
    fn hear(&mut self) {
        if self.silent > 0 {
            self.good += 1;
            if self.good >= Self::BACK || !self.lost {
                *self = Self::default();
            }
        }
    }

    /// None has come in this step.
    #[cold]
    fn miss(&mut self) {
        self.good = 0;
        self.silent = self.silent.saturating_add(1);
        self.lost |= self.silent >= Self::LOST;
    }

    /// Whether they count as lost.
    #[must_use]
    pub const fn is_lost(self) -> bool {
        self.lost
    }

    /// Time since the last one, s, until they count as back.
    #[must_use]
    pub fn silence(self) -> f64 {
        f64::from(self.silent) * super::STEP_SECONDS
    }
}

/// Vertical acceleration of the body from which the road is rough, m/s²: 0.3 g (published, 2000 model year); for how long
/// it counts as rough after that, s (our choice).
const ROUGH: f64 = 0.3 * 9.81;
const ROUGH_SECONDS: f64 = 3.0;

impl Measured {
    /// Reads the signals that move within a step.
    pub(crate) fn read_fast(&mut self, pins: &SensorPins) {
        self.key = pins.key;
        self.supply = pins.supply;
        self.engine_speed = pins.crank_speed;
        if pins.gearbox_silent {
            self.gearbox.miss();
            if self.gearbox.is_lost() {
                self.vehicle_speed = Speed::ZERO;
            }
        } else {
            self.gearbox.hear();
            self.vehicle_speed = pins.vehicle_speed;
        }
        self.manifold_pressure = transfer::PRESSURE.to_pressure(pins.manifold_pressure);
        self.air_flow = transfer::AIR_METER.to_flow(pins.air_meter);
        self.rpm = self.engine_speed.rpm();
        self.manifold_kilopascals = self.manifold_pressure.kilopascals();
        self.air_grams = self.air_flow.grams_per_second();
        self.pedal = transfer::pedal_pressed(pins.pedal_d);
        self.cam_advance = pins.cam_advance;
        self.cam_silent = pins.cam_silent;
        self.brake = pins.brake;
        self.in_gear = pins.in_gear;
        self.air_conditioning = pins.air_conditioning;
        if pins.body_acceleration.metres_per_second_squared().abs() > ROUGH {
            self.rough_seconds = ROUGH_SECONDS;
        }
        if self.wide_range {
            self.wide_range_pin = pins.oxygen_front;
            self.oxygen_front = pins.oxygen_front.map(as_narrow_band);
        } else {
            self.oxygen_front = pins.oxygen_front;
        }
        self.oxygen_rear = pins.oxygen_rear;
    }

    /// Reads the signals that do not; `seconds` since the last time.
    pub(crate) fn read_slow(&mut self, pins: &SensorPins, seconds: f64) {
        self.circuits = Readings::of(pins);
        self.rough_seconds -= seconds;
        self.cabin_heater = pins.cabin_heater;
        self.lights = pins.lights;
        self.blower = pins.blower;
        self.rear_screen = pins.rear_screen;
        self.drivers = pins.drivers;
        self.heater_front = pins.heater_front;
        self.heater_rear = pins.heater_rear;
        self.tank_pressure = transfer::tank_pressure(pins.tank_pressure);
        self.coolant = sensor_range(transfer::THERMISTOR.to_temperature(pins.coolant_temperature));
        self.intake_air = sensor_range(transfer::THERMISTOR.to_temperature(pins.intake_air_temperature));
        self.ambient = sensor_range(transfer::THERMISTOR.to_temperature(pins.ambient_temperature));
        self.oil = sensor_range(transfer::THERMISTOR.to_temperature(pins.oil_temperature));
        self.barometer = transfer::PRESSURE.to_pressure(pins.barometer);
        self.rail_pressure = transfer::rail_pressure(pins.rail_pressure);
        self.recirculation_lift = transfer::VALVE_LIFT.to_ratio(pins.recirculation_lift);
        self.throttle = transfer::throttle_angle(pins.throttle_a);
        self.throttle_b = Ratio::from_fraction(1.0 - share_of_supply(pins.throttle_b));
        self.pedal_d = Ratio::from_fraction(share_of_supply(pins.pedal_d));
        self.pedal_e = Ratio::from_fraction(share_of_supply(pins.pedal_e));
        self.level_now = transfer::FUEL_LEVEL.to_ratio(pins.fuel_level);
        if self.level_settled {
            self.level =
                self.level + (self.level_now - self.level) * (seconds / LEVEL_FILTER_SECONDS).min(1.0);
        } else {
            self.level = self.level_now;
            self.level_settled = true;
        }
    }

    /// The gauge takes the sender's word at once next time: after the key was off, and in a standing car that is
    /// filled, the level may be anywhere.
    pub(crate) const fn forget_level(&mut self) {
        self.level_settled = false;
    }
}

/// The step of a narrow-band sensor in place of a wide-range one's line, so that the loop and its monitors look at one
/// kind of signal: 0.45 V at lambda 1, 0.42 V more or less from 1 % off it on.
fn as_narrow_band(pin: Voltage) -> Voltage {
    let rich = 1.0 - transfer::WIDE_RANGE.to_lambda(pin).fraction();
    Voltage::from_volts(0.45 + 0.42 * (rich * (1.0 / 0.01)).within(-1.0, 1.0))
}

fn share_of_supply(pin: Voltage) -> f64 {
    (pin.volts() / transfer::SENSOR_SUPPLY_VOLTS).clamp(0.0, 1.0)
}

/// The ends of a thermistor circuit's range, -40..150 °C (our choice).
const fn sensor_range(temperature: Temperature) -> Temperature {
    temperature.clamp(Temperature::from_celsius(-40.0), Temperature::from_celsius(150.0))
}
