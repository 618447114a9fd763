//! Fuel tank and vapour: fuel and its temperature, vapour pressure, canister, vent and purge valves, holes.
//!
//! Figures are calibrated unless a source stands beside them. Pressures are gauge, in Pa.

use twotrip_units::Limit;

use crate::{
    Divisor, air,
    curve::{self, Grid},
    knobs::Knobs,
};

/// Atmosphere for which the density of the air stands, kPa.
const SEA_LEVEL_KPA: Divisor = Divisor::new(101.325);

/// Tank and evaporative system.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// What the gauge calls full, L.
    pub(crate) nominal_l: f64,
    /// To the brim, L.
    pub(crate) brim_l: f64,
    /// Lines and canister, L.
    pub(crate) lines_l: f64,
    /// Density of petrol, g/L.
    pub(crate) petrol: Divisor,
    /// Effective area of the purge valve at full duty, m².
    pub(crate) purge_m2: f64,
    /// Vent path with the canister's drag: m³/s at the root of a pascal (0.9 L/s at 300 Pa).
    pub(crate) vent: f64,
    /// Density of the air that leaks, at sea level, kg/m³.
    pub(crate) air_density: Divisor,
    /// Flow through a hole, m/s at the root of a pascal: discharge coefficient by the root of 2 / density.
    pub(crate) hole_flow: f64,
    /// Relief valves of the cap, Pa (from memory).
    pub(crate) relief_pa: (f64, f64),
    /// Pressure of warm vapour for each K in a shut tank: gas law and condensation, Pa/K.
    pub(crate) thermal_pa: f64,
    /// Vapour at 25 °C in still fuel, Pa/s.
    pub(crate) vapour_pa_s: f64,
    /// Reid vapour pressure of the fuel for which the vapour's figures stand, kPa.
    pub(crate) reid_kpa: f64,
    /// Pressure that would come of the vapour space's filling with vapour, Pa.
    pub(crate) saturation_pa: f64,
    /// Pressure at which the fuel rises in the filler neck and the pump clicks off, Pa (our choice).
    pub(crate) click_pa: f64,
    /// What a pump delivers at the least, m³/s, and the litres that go in before it clicks off (common practice, no
    /// source).
    pub(crate) pump: (f64, f64),
    /// Share of saturation that a rise of 1 K takes away, 1/K.
    pub(crate) saturation_by_kelvin: f64,
    /// Mass of saturated vapour at 20 °C, g/L (from memory).
    pub(crate) vapour_density: f64,
    /// Capacity of the canister, g.
    pub(crate) canister_g: f64,
    /// Vapour share of the purged mass from a full canister.
    pub(crate) purge_share: f64,
    /// Driving warms the fuel towards ambient and so many K ...
    pub(crate) driving_kelvins: f64,
    /// ... over this time, s.
    pub(crate) driving_s: f64,
    /// At rest the fuel cools over this time, s.
    pub(crate) rest_s: f64,
    /// The vapour space follows fuel, floor and roof over this time, s: stirred in use, and at rest.
    pub(crate) space_s: (f64, f64),
    /// Share of the exhaust's excess temperature that the tank's wall feels when the car stands: engine running, and at
    /// rest, when nothing moves the air under the floor.
    pub(crate) floor_share: (f64, f64),
    /// Share of the way from fuel to ambient that the tank's roof keeps the space at rest.
    pub(crate) roof_share: f64,
    /// Vapour rate with engine and pump at rest against that of an idling car (calibrated).
    pub(crate) still_share: f64,
    /// Sender's filter, s.
    pub(crate) sender_s: f64,
    /// Sender's error by acceleration, % for each m/s².
    pub(crate) slosh_percent: f64,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        const AIR_DENSITY: f64 = 1.19;
        Self {
            nominal_l: 50.0,
            brim_l: 55.0,
            lines_l: 3.0,
            petrol: Divisor::new(745.0),
            purge_m2: 4.5e-6,
            // 0.9e-3 / sqrt(300)
            vent: 5.196_152e-5,
            air_density: Divisor::new(AIR_DENSITY),
            hole_flow: 0.62 * curve::pow(2.0 / AIR_DENSITY, 0.5),
            relief_pa: (-6000.0, 10_000.0),
            thermal_pa: 500.0,
            vapour_pa_s: 4.0,
            reid_kpa: 62.0,
            saturation_pa: 3000.0,
            click_pa: 1000.0,
            pump: (1.5e-4, 2.0),
            saturation_by_kelvin: 0.125,
            vapour_density: 0.8,
            canister_g: 100.0,
            purge_share: 0.5,
            driving_kelvins: 22.0,
            driving_s: 4000.0,
            rest_s: 18_000.0,
            space_s: (200.0, 900.0),
            floor_share: (0.0045, 0.0075),
            roof_share: 0.15,
            still_share: 0.3,
            sender_s: 10.0,
            slosh_percent: 2.7,
        }
    }

    /// Area of the purge valve at a duty, m²: a valve that does not shut passes its leak whatever it is told, and no
    /// fault lets it pass more than it does wide open.
    #[inline]
    fn purge_area(&self, knobs: &Knobs, duty: f64) -> f64 {
        let wanted = self.purge_m2 * duty.within(0.0, 1.0) * knobs.purge_share;
        wanted
            .at_least(1e-6 * knobs.purge_leak_mm2)
            .at_most(self.purge_m2)
    }

    /// What lets air into the vapour space and out, m³/s at the root of a pascal: holes, and the vent path. A path that
    /// is choked with dirt passes what is left of it, a vent valve that does not shut what its gap is.
    #[inline]
    pub(crate) fn opening(&self, knobs: &Knobs, vent_shut: bool) -> f64 {
        let holes = self.hole_flow * knobs.vapour_holes_m2;
        let vent = if vent_shut {
            if knobs.vent_hole_mm <= 0.0 {
                return holes;
            }
            let gap = core::f64::consts::FRAC_PI_4 * knobs.vent_hole_mm * knobs.vent_hole_mm;
            (self.hole_flow * 1e-6 * gap).at_most(self.vent)
        } else {
            self.vent
        };
        match knobs.vent_mm2 {
            None => holes + vent,
            Some(left) => holes + vent.at_most(self.hole_flow * 1e-6 * left),
        }
    }

    /// Whether nothing but holes lets vapour out.
    pub(crate) fn is_shut(&self, knobs: &Knobs, vent_shut: bool) -> bool {
        vent_shut && knobs.vent_hole_mm <= 0.0 || knobs.vent_mm2.is_some_and(|left| left < 1.0)
    }

    /// Vapour space over the fuel, m³.
    #[inline]
    fn vapour_space_m3(&self, fuel_l: f64) -> f64 {
        (self.brim_l - fuel_l + self.lines_l) * 1e-3
    }
}

/// Tank, canister, sender.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    pub(crate) fuel_l: f64,
    /// Pressure in the vapour space, Pa gauge.
    pub(crate) pressure_pa: f64,
    pub(crate) fuel_celsius: f64,
    pub(crate) space_celsius: f64,
    /// Vapour in the canister, g.
    pub(crate) canister_g: f64,
    /// Rise of pressure from vapour and warmth in a shut tank, Pa/s.
    pub(crate) rise_pa_s: f64,
    /// Vapour share of the purged mass.
    pub(crate) purge_share: f64,
    /// Reid vapour pressure of the fuel by that of the figures.
    pub(crate) volatility: f64,
    /// How much the fuel moves, 1..3.
    pub(crate) slosh: f64,
    /// What the sender shows, %.
    pub(crate) shown_percent: f64,
    /// Through the purge valve, g/s.
    pub(crate) purge_flow: f64,
    /// Petrol vapour in the space, g.
    pub(crate) vapour_g: f64,
    /// Petrol vapour that a full canister let go, and that went with the air at the pump, since the car was made, g.
    pub(crate) lost_g: f64,
}

impl State {
    /// A tank that has stood for days.
    pub(crate) fn at_rest(params: &Params, level: f64, ambient_celsius: f64) -> Self {
        let state = Self {
            fuel_l: params.nominal_l * level,
            pressure_pa: 0.0,
            fuel_celsius: ambient_celsius,
            space_celsius: ambient_celsius,
            canister_g: 20.0,
            rise_pa_s: 0.0,
            purge_share: 0.0,
            volatility: 1.0,
            slosh: 1.0,
            shown_percent: 100.0 * level,
            purge_flow: 0.0,
            vapour_g: 0.0,
            lost_g: 0.0,
        };
        Self {
            vapour_g: state.room_g(params, ambient_celsius),
            ..state
        }
    }

    /// Vapour in the space by what it could hold, 0..1.
    pub(crate) fn saturation(&self, params: &Params) -> f64 {
        (self.vapour_g / self.room_g(params, self.fuel_celsius)).at_most(1.0)
    }

    /// Mass that the space over the fuel would hold, full of vapour of a temperature, g.
    fn room_g(&self, params: &Params, celsius: f64) -> f64 {
        let density = params.vapour_density * self.volatility * GROWTH.at(celsius - 20.0);
        density * params.vapour_space_m3(self.fuel_l) * 1e3
    }

    /// Petrol vapour through the purge valve, g/s.
    #[inline]
    pub(crate) const fn purge_vapour(&self) -> f64 {
        self.purge_flow * self.purge_share
    }
}

/// What acts on the tank in a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    /// What lets air in and out, of [`Params::opening`].
    pub(crate) opening: f64,
    pub(crate) ambient_kpa: f64,
    /// Petrol taken by the pump, g/s.
    pub(crate) fuel_flow: f64,
    /// Gas through the purge valve, g/s, of [`purge_flow`].
    pub(crate) purge_flow: f64,
}

/// Gas through the purge valve, g/s: an orifice from tank and canister to the manifold, with a check valve.
#[inline]
pub(crate) fn purge_flow(
    params: &Params,
    state: &State,
    knobs: &Knobs,
    duty: f64,
    ambient_kpa: f64,
    ambient_celsius: f64,
    manifold_kpa: f64,
) -> f64 {
    let area = params.purge_area(knobs, duty);
    if area <= 0.0 {
        return 0.0;
    }
    let upstream = air::Upstream::new(ambient_kpa + state.pressure_pa * 1e-3, ambient_celsius);
    let (flow, _) = air::orifice(area, &upstream, manifold_kpa);
    (flow * 1e3).at_least(0.0)
}

/// One step of pressure and contents. Explicit steps oscillate for holes above 4 mm (their time constant is below a
/// step), so the holes' flow is taken implicitly: stable for any size and exact at rest.
#[inline]
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs, dt: f64) -> State {
    let atmosphere_pa = inputs.ambient_kpa * 1e3;
    let stiffness = atmosphere_pa / params.vapour_space_m3(state.fuel_l);
    // Thin air is quicker through a hole, and a gram of it takes more room.
    let thinness = inputs.ambient_kpa / SEA_LEVEL_KPA;
    let damping = if inputs.opening > 0.0 {
        stiffness * inputs.opening / libm::sqrt(state.pressure_pa.abs().at_least(1.0) * thinness)
    } else {
        0.0
    };
    let purge_m3_s = inputs.purge_flow * 1e-3 / (params.air_density.figure * thinness);
    let fuel_m3_s = inputs.fuel_flow * 1e-3 / params.petrol;
    let drive = state.rise_pa_s - stiffness * (purge_m3_s + fuel_m3_s);
    let pressure = (state.pressure_pa + dt * drive) / (1.0 + dt * damping);
    State {
        fuel_l: (state.fuel_l - inputs.fuel_flow * dt / params.petrol).at_least(0.0),
        pressure_pa: pressure.within(params.relief_pa.0, params.relief_pa.1),
        purge_flow: inputs.purge_flow,
        canister_g: (state.canister_g - dt * state.purge_vapour()).at_least(0.0),
        ..*state
    }
}

/// Level sender and movement of the fuel, stepped at 100 ms.
pub(crate) fn sender_step(params: &Params, state: &State, acceleration: f64, speed: f64, dt: f64) -> State {
    let moving = (acceleration.abs() / 1.5 + speed / 60.0).within(0.0, 1.0);
    let slosh = 1.0 + 2.0 * moving;
    let level = 100.0 * state.fuel_l / params.nominal_l;
    let raw = level - params.slosh_percent * acceleration;
    State {
        slosh: state.slosh + (slosh - state.slosh) * dt / (5.0 + dt),
        shown_percent: state.shown_percent + (raw - state.shown_percent) * dt / (params.sender_s + dt),
        ..*state
    }
}

/// `exp(0.045 x)` of the vapour rate and the vapour density, x = K above 25 °C.
static GROWTH: Grid<121> = curve::grid!(121, -60.0, 60.0, x => curve::exp(0.045 * x));

/// What warms the tank, stepped at 1 s or slower.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SlowInputs {
    pub(crate) driving: bool,
    /// m/s.
    pub(crate) speed: f64,
    pub(crate) ambient_celsius: f64,
    /// Catalyst brick, °C: the heat under the floor.
    pub(crate) exhaust_celsius: f64,
    pub(crate) vent_shut: bool,
    pub(crate) ambient_kpa: f64,
}

/// Temperatures, vapour and canister.
pub(crate) fn slow_step(params: &Params, state: &State, inputs: &SlowInputs, dt: f64) -> State {
    let (target, time) = if inputs.driving {
        (inputs.ambient_celsius + params.driving_kelvins, params.driving_s)
    } else {
        (inputs.ambient_celsius, params.rest_s)
    };
    let fuel_celsius = state.fuel_celsius + (target - state.fuel_celsius) * dt / (time + dt);
    // Moving air carries the exhaust's heat away from the tank's floor.
    let share = if inputs.driving {
        params.floor_share.0
    } else {
        params.floor_share.1
    };
    let floor =
        share * (inputs.exhaust_celsius - inputs.ambient_celsius).at_least(0.0) / (1.0 + inputs.speed / 5.0);
    let (roof, space_s) = if inputs.driving {
        (0.0, params.space_s.0)
    } else {
        (
            params.roof_share * (inputs.ambient_celsius - fuel_celsius),
            params.space_s.1,
        )
    };
    let around = fuel_celsius + floor + roof;
    let space_celsius = state.space_celsius + (around - state.space_celsius) * dt / (space_s + dt);

    // Fuel that was used has made room, which air has filled.
    let saturation = state.saturation(params);
    let warmer = (fuel_celsius - state.fuel_celsius).at_least(0.0);
    let unsaturated = (1.0 - saturation + warmer * params.saturation_by_kelvin).within(0.0, 1.0);
    let stirred = if inputs.driving {
        state.slosh
    } else {
        params.still_share * state.slosh
    };
    let potential = params.vapour_pa_s * GROWTH.at(fuel_celsius - 25.0) * state.volatility * stirred;
    // Implicit, so that a coarse step ends at saturation and not beyond it.
    let unsaturated = unsaturated / (1.0 + dt * potential / (params.saturation_pa * state.volatility));
    let vapour = potential * unsaturated;
    let thermal = params.thermal_pa * (space_celsius - state.space_celsius) / dt;

    // What the shut tank would gain leaves an open one through the canister.
    let leaving = if inputs.vent_shut {
        0.0
    } else {
        (vapour + thermal).at_least(0.0)
    };
    let space_l = params.vapour_space_m3(state.fuel_l) * 1e3;
    let leaving_l = leaving * space_l / (inputs.ambient_kpa * 1e3) * dt;
    let vapour_g = (1.0 - unsaturated) * state.room_g(params, fuel_celsius);
    let leaving_g = leaving_l * vapour_g / space_l;
    // What leaves and what fills the space comes of the fuel; what condenses is fuel again.
    let evaporated_g = leaving_g + vapour_g - state.vapour_g;
    let caught_g = state.canister_g + leaving_g;
    let canister_g = caught_g.at_most(params.canister_g);
    let load = canister_g / params.canister_g;
    State {
        fuel_l: (state.fuel_l - evaporated_g / params.petrol).at_least(0.0),
        fuel_celsius,
        space_celsius,
        vapour_g,
        canister_g,
        lost_g: state.lost_g + caught_g - canister_g,
        rise_pa_s: vapour + thermal,
        purge_share: params.purge_share * load * libm::sqrt(load),
        ..*state
    }
}

/// Fills or empties to a level with the cap off: pressure goes, and the vapour pushed out by fuel loads the canister.
/// It leaves by the vent: where that lets less out than the slowest pump brings in, the pump clicks off.
pub(crate) fn refuel(params: &Params, state: &State, knobs: &Knobs, level: f64) -> State {
    let wanted_l = (params.nominal_l * level).within(0.0, params.brim_l);
    let (slowest, before_click_l) = params.pump;
    let leaves = params.opening(
        &Knobs {
            vapour_holes_m2: 0.0,
            ..*knobs
        },
        false,
    );
    let fuel_l = if leaves * libm::sqrt(params.click_pa) < slowest {
        wanted_l.at_most(state.fuel_l + before_click_l)
    } else {
        wanted_l
    };
    let gained_l = (fuel_l - state.fuel_l).at_least(0.0);
    let pushed_g = state.vapour_g * gained_l / (params.vapour_space_m3(state.fuel_l) * 1e3);
    let caught_g = state.canister_g + pushed_g;
    let canister_g = caught_g.at_most(params.canister_g);
    State {
        fuel_l,
        pressure_pa: 0.0,
        vapour_g: state.vapour_g - pushed_g,
        canister_g,
        lost_g: state.lost_g + caught_g - canister_g,
        shown_percent: 100.0 * fuel_l / params.nominal_l,
        ..*state
    }
}

#[cfg(test)]
mod tests;
