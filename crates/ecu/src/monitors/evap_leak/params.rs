//! Limits of the leak test.

use core::time::Duration;

use twotrip_units::{
    Acceleration, Length, MassFlow, Pressure, Ratio, Speed, Temperature, TemperatureDelta, Volume,
};

/// Discharge coefficient of a hole, and density of air, kg/m³ (textbook values for a sharp edge and 20 °C at sea level).
const DISCHARGE: f64 = 0.62;
const AIR_DENSITY: f64 = 1.19;
/// Sea level, Pa.
const SEA_LEVEL: f64 = 101_325.0;

/// Conditions, times and limits. Times are steps of 100 ms unless they say otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Params {
    /// A cold start: standing at least this long ..
    pub soak: Duration,
    /// .. or coolant and intake air this close together.
    pub start_apart: TemperatureDelta,
    /// Coolant and intake air at start, lowest.
    pub start_minimum: Temperature,
    /// Coolant and intake air at start, highest.
    pub start_maximum: Temperature,
    /// Fuel in the tank, least.
    pub level_minimum: Ratio,
    /// Fuel in the tank, most.
    pub level_maximum: Ratio,
    /// Barometric pressure, above.
    pub barometer: Pressure,
    /// Time since engine start, least.
    pub earliest: Duration,
    /// Road speed, most.
    pub fastest: Speed,
    /// Manifold pressure, most.
    pub manifold: Pressure,
    /// Acceleration, most, either way.
    pub acceleration: Acceleration,
    /// A break of the driving conditions that is borne.
    pub longest_break: u32,
    /// The level may move this much in 5 s.
    pub slosh: Ratio,
    /// Standard deviation of the pressure, most.
    pub noise: Pressure,
    /// Level gained since key-off that counts as refuelling.
    pub refuelled: Ratio,
    /// Rest after an abort.
    pub recover: u32,
    /// Rest after an abort for hot fuel.
    pub hot_fuel_pause: u32,
    /// Length of the zero stage.
    pub zero: u32,
    /// Zero of the sensor, most, either way.
    pub offset: Pressure,
    /// Length of the vapour stage.
    pub vapour: u32,
    /// Pressure in it below which the purge valve leaks.
    pub purge_leak: Pressure,
    /// Rise a second that says the fuel is too hot.
    pub vapour_limit: Pressure,
    /// Length of the vent stage.
    pub vent: u32,
    /// Pressure at its end, most, either way.
    pub vented: Pressure,
    /// Length of the pull at sea level, most (published: 35 and 62 s, 2005 model year).
    pub pull: u32,
    /// Purge duty of the pull.
    pub pull_duty: Ratio,
    /// Target of the pull.
    pub target: Pressure,
    /// Length of the flow check.
    pub flow_check: u32,
    /// Purge duty of the flow check.
    pub flow_duty: Ratio,
    /// Change of pressure that ends the flow check at once.
    pub flow_plain: Pressure,
    /// A valve that flows moves the pressure of the sealed tank by this, when it is looked at by itself.
    pub purge_moves: Pressure,
    /// In the pull a flowing valve moves the pressure by this ..
    pub flow_pressure: Pressure,
    /// .. or the mixture by this (the design's 1 % lies within what driving moves by itself; air is the sharper sign) ..
    pub flow_correction: Ratio,
    /// .. or the air behind the meter by this.
    pub flow_air: MassFlow,
    /// Length of the decay.
    pub decay: u32,
    /// Hole from which on it is a small leak.
    pub hole_limit: Length,
    /// Length of the release.
    pub release: u32,
    /// Pressure at its end, most, either way.
    pub released: Pressure,
    /// Nominal content of the tank.
    pub tank: Volume,
    /// Vapour space of the empty tank, lines and canister included.
    pub space: Volume,
}

impl Params {
    /// This car's: chosen for its tank, and set beside published limits.
    pub const DEFAULT: Self = Self {
        soak: Duration::from_secs(6 * 3600),
        start_apart: TemperatureDelta::from_kelvins(7.0),
        start_minimum: Temperature::from_celsius(4.0),
        start_maximum: Temperature::from_celsius(35.0),
        level_minimum: Ratio::from_percent(15.0),
        level_maximum: Ratio::from_percent(85.0),
        barometer: Pressure::from_kilopascals(75.0),
        earliest: Duration::from_secs(120),
        fastest: Speed::from_kilometres_per_hour(110.0),
        manifold: Pressure::from_kilopascals(75.0),
        acceleration: Acceleration::from_metres_per_second_squared(1.2),
        longest_break: 20,
        slosh: Ratio::from_percent(4.0),
        noise: Pressure::from_pascals(80.0),
        refuelled: Ratio::from_percent(20.0),
        recover: 150,
        hot_fuel_pause: 3000,
        zero: 30,
        offset: Pressure::from_pascals(400.0),
        vapour: 150,
        purge_leak: Pressure::from_pascals(-500.0),
        vapour_limit: Pressure::from_pascals(25.0),
        vent: 30,
        vented: Pressure::from_pascals(150.0),
        pull: 300,
        pull_duty: Ratio::from_percent(8.0),
        target: Pressure::from_pascals(-2000.0),
        flow_check: 50,
        flow_duty: Ratio::from_percent(50.0),
        flow_plain: Pressure::from_pascals(600.0),
        purge_moves: Pressure::from_pascals(300.0),
        flow_pressure: Pressure::from_pascals(60.0),
        flow_correction: Ratio::from_percent(8.0),
        flow_air: MassFlow::from_grams_per_second(0.2),
        decay: 150,
        hole_limit: Length::from_millimetres(0.80),
        release: 50,
        released: Pressure::from_pascals(300.0),
        tank: Volume::from_litres(50.0),
        space: Volume::from_litres(58.0),
    };

    /// Steps that the pull may take at the most: the purge valve draws its air from the atmosphere, and of thin air it
    /// passes less.
    #[must_use]
    pub(super) fn longest_pull(&self, barometer: Pressure) -> f64 {
        let thinness = (barometer.pascals() / SEA_LEVEL).clamp(0.5, 1.0);
        f64::from(self.pull) / thinness
    }

    /// The hole through which a sealed tank went from `first` to `last` Pa gauge in `seconds`, from the orifice
    /// equation: `sqrt(p) = sqrt(p0) - K t`.
    #[must_use]
    pub(super) fn hole(
        &self,
        level: Ratio,
        barometer: Pressure,
        first: f64,
        last: f64,
        seconds: f64,
    ) -> Length {
        let space = self.space.cubic_metres() - self.tank.cubic_metres() * level.fraction();
        let fall = libm::sqrt(first.min(0.0).abs()) - libm::sqrt(last.min(0.0).abs());
        let density = AIR_DENSITY * barometer.pascals() / SEA_LEVEL;
        let effective = 2.0 * space / barometer.pascals() * libm::sqrt(density / 2.0) * fall / seconds;
        Length::from_metres(libm::sqrt(
            4.0 * effective.max(0.0) / (DISCHARGE * core::f64::consts::PI),
        ))
    }

    /// What a hole lets the pressure rise in the time of the decay, from the target, with a vapour space of 30 l at sea
    /// level: the other reading of the same figure, for service $06.
    #[must_use]
    pub fn rise(&self, hole: Length) -> Pressure {
        const SPACE: f64 = 0.030;
        let effective = DISCHARGE * core::f64::consts::PI / 4.0 * hole.metres() * hole.metres();
        let seconds = f64::from(self.decay) / 10.0;
        let fall = effective * seconds * SEA_LEVEL / (2.0 * SPACE * libm::sqrt(AIR_DENSITY / 2.0));
        let start = -self.target.pascals();
        let left = (libm::sqrt(start) - fall).max(0.0);
        Pressure::from_pascals(start - left * left)
    }
}
