//! What sets one car apart from another of this kind: petrol engine with port injection, automatic gearbox.
//!
//! What follows from the size of the engine (manifold, heat, catalyst bricks, friction, starter) is scaled from the
//! 2.0-litre four-cylinder that the model is calibrated on.

use twotrip_harness::transfer;
use twotrip_units::{Length, Mass, MassFlow, Volume};

use crate::{
    Divisor, Part, Vehicle, VehicleParams, air, catalyst, compressor, cooling, driveline, electrical, engine,
    exhaust, firing, knobs::CYLINDERS, mixture, phaser, recirculation, tank, throttle_body,
};

/// Forward gears.
pub(crate) const GEARS: usize = driveline::GEARS;

/// A car as its maker would describe it. What cannot be built of it is the reader's to refuse: see
/// [`Specification::is_buildable`].
#[derive(Clone, Debug, PartialEq)]
pub struct Specification {
    /// Swept volume of the engine.
    pub displacement: Volume,
    /// Cylinders in the order of firing, from 1 on; zeros behind the last.
    pub firing_order: [u8; CYLINDERS],
    /// By cylinder, the first first: whether it belongs to bank 2.
    pub second_bank: [bool; CYLINDERS],
    /// Test mass, driver included.
    pub mass: Mass,
    /// Road load: N, N s/m, N s²/m².
    pub road_load: [f64; 3],
    /// Ratios of the gears, the first first.
    pub ratios: [f64; GEARS],
    /// Ratio of the final drive.
    pub final_drive: f64,
    /// Rolling radius of the tyres.
    pub tyre_radius: Length,
    /// Bore of the throttle body.
    pub throttle_bore: Length,
    /// Flow of one injector at 421 kPa, rail against manifold at idle.
    pub injector_flow: MassFlow,
    /// Oxygen that the catalyst of each bank holds when hot: used but healthy.
    pub oxygen_capacity: Mass,
    /// Nominal content of the tank.
    pub tank: Volume,
    /// Whether exhaust gas is recirculated by a valve.
    pub recirculation: bool,
    /// Whether the intake cam has a phaser.
    pub cam_phaser: bool,
    /// Whether the front oxygen sensors are wide-range ones.
    pub wide_range: bool,
    /// Whether a transmission ECU, with codes of its own, commands the gearbox and watches over it.
    pub transmission_ecu: bool,
}

impl Specification {
    /// A compact sedan with a 2.0-litre four-cylinder and a six-speed automatic: mass, road load and tyre from memory
    /// (middle of EPA's test-car lists), the rest calibrated.
    #[must_use]
    pub const fn compact_2_0() -> Self {
        Self {
            displacement: Volume::from_litres(1.998),
            firing_order: [1, 3, 4, 2, 0, 0],
            second_bank: [false; CYLINDERS],
            mass: Mass::from_kilograms(1417.0),
            road_load: [115.7, 1.99, 0.3895],
            ratios: [4.15, 2.37, 1.56, 1.16, 0.86, 0.69],
            final_drive: 3.40,
            tyre_radius: Length::from_metres(0.307),
            throttle_bore: Length::from_millimetres(55.0),
            injector_flow: MassFlow::from_grams_per_second(3.3),
            oxygen_capacity: Mass::from_grams(0.6),
            tank: Volume::from_litres(50.0),
            recirculation: true,
            cam_phaser: true,
            wide_range: false,
            transmission_ecu: false,
        }
    }

    /// Cylinders.
    #[must_use]
    pub const fn cylinders(&self) -> usize {
        let mut count = 0;
        while count < CYLINDERS && self.firing_order[count] != 0 {
            count += 1;
        }
        count
    }

    /// Banks with an exhaust of their own, 1 or 2.
    #[must_use]
    pub const fn banks(&self) -> usize {
        let mut cylinder = 0;
        while cylinder < CYLINDERS {
            if self.second_bank[cylinder] {
                return 2;
            }
            cylinder += 1;
        }
        1
    }

    /// Whether each cylinder fires once, and the banks are alike.
    #[must_use]
    pub fn is_buildable(&self) -> bool {
        let cylinders = self.cylinders();
        let order = &self.firing_order[..cylinders];
        let (present, absent) = self.second_bank.split_at(cylinders);
        let second = present.iter().filter(|&&second| second).count();
        cylinders >= 3
            && (1..=cylinders).all(|cylinder| order.iter().any(|&fires| usize::from(fires) == cylinder))
            && !absent.contains(&true)
            && (second == 0 || !present[0] && second * 2 == cylinders)
    }

    /// Size of the engine against the calibrated one.
    const fn size(&self) -> f64 {
        self.displacement.cubic_metres() / Self::compact_2_0().displacement.cubic_metres()
    }
}

/// What a valve lets through that is not there, m²; zero would divide a lift.
const NOTHING_M2: f64 = 1e-12;

impl VehicleParams {
    /// The parts of a car of this description.
    #[must_use]
    pub const fn new(specification: &Specification) -> Self {
        let size = specification.size();
        let banks = specification.banks();
        #[expect(clippy::cast_precision_loss, reason = "1 or 2, and at most 6")]
        let (bank_count, cylinders) = (banks as f64, specification.cylinders() as f64);
        let bank_size = size / bank_count;
        let load = specification.mass.kilograms() / Specification::compact_2_0().mass.kilograms();
        Self {
            per_bank_size: 1.0 / bank_size,
            air: air_params(specification, size),
            recirculation: recirculation::Params {
                open_m2: if specification.recirculation {
                    recirculation::Params::compact_2_0().open_m2 * size
                } else {
                    NOTHING_M2
                },
                ..recirculation::Params::compact_2_0()
            },
            phaser: phaser::Params::compact_2_0(),
            mixture: mixture::Params {
                injector_flow: specification.injector_flow.grams_per_second()
                    / Specification::compact_2_0().injector_flow.grams_per_second()
                    * mixture::Params::compact_2_0().injector_flow,
                banks,
                cylinders_of_bank: cylinders / bank_count,
                ..mixture::Params::compact_2_0()
            },
            engine: engine_params(size),
            firing: firing_params(specification, size),
            driveline: driveline_params(specification, size, load),
            exhaust: exhaust::Params::compact_2_0(),
            oxygen: oxygen_params(specification, bank_size),
            cooling: cooling_params(size),
            compressor: compressor::Params::compact_2_0(),
            tank: tank::Params {
                nominal_l: specification.tank.litres(),
                brim_l: 1.1 * specification.tank.litres(),
                ..tank::Params::compact_2_0()
            },
            electrical: electrical_params(size),
            watched_gearbox: specification.transmission_ecu,
        }
    }
}

impl VehicleParams {
    /// Whether such a car has this part: not every engine has two banks, six cylinders, or recirculates exhaust.
    #[must_use]
    pub fn has(&self, part: Part) -> bool {
        match part {
            part if part.is_of_bank_2() => self.banks() > 1,
            part if part.is_of_watched_gearbox() => self.watched_gearbox,
            Part::EgrValve | Part::EgrPassage => self.recirculation.open_m2 > NOTHING_M2,
            _ => part
                .cylinder()
                .is_none_or(|cylinder| cylinder <= self.firing.cylinders),
        }
    }
}

impl Vehicle {
    /// Whether the car has this part.
    #[must_use]
    pub fn has(&self, part: Part) -> bool {
        self.params().has(part)
    }
}

const fn air_params(specification: &Specification, size: f64) -> air::Params {
    let base = air::Params::compact_2_0();
    air::Params {
        throttle: throttle_body::Params {
            bore_m: specification.throttle_bore.metres(),
            leak_m2: base.throttle.leak_m2 * size,
            ..base.throttle
        },
        manifold_m3: Divisor::new(base.manifold_m3.figure * size),
        displacement_m3: base.displacement_m3 * size,
        back_pressure_flow: Divisor::new(base.back_pressure_flow.figure * size),
        charge_heating_flow: Divisor::new(base.charge_heating_flow.figure * size),
        ..base
    }
}

const fn engine_params(size: f64) -> engine::Params {
    let base = engine::Params::compact_2_0();
    engine::Params {
        displacement_m3: Divisor::new(base.displacement_m3.figure * size),
        inertia: base.inertia * size,
        ..base
    }
}

const fn firing_params(specification: &Specification, size: f64) -> firing::Params {
    let base = firing::Params::compact_2_0();
    let cylinders = specification.cylinders();
    let (mut order, mut bank) = ([0; CYLINDERS], [0; CYLINDERS]);
    let mut place = 0;
    while place < cylinders {
        order[place] = specification.firing_order[place] - 1;
        bank[place] = specification.second_bank[place] as u8;
        place += 1;
    }
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "at most 2 and 6"
    )]
    let (banks, count) = (specification.banks() as f64, cylinders as u8);
    firing::Params {
        cylinders: count,
        order,
        bank,
        banks,
        segment: 4.0 * core::f64::consts::PI / count as f64,
        inertia: Divisor::new(base.inertia.figure * size),
        ..base
    }
}

const fn driveline_params(specification: &Specification, size: f64, load: f64) -> driveline::Params {
    let base = driveline::Params::compact_2_0();
    let [constant, linear, square] = specification.road_load;
    driveline::Params {
        mass_kg: specification.mass.kilograms(),
        road_load: (constant, linear, square),
        ratios: specification.ratios,
        final_by_tyre: specification.final_drive / specification.tyre_radius.metres(),
        full_force: Divisor::new(base.full_force.figure * load),
        converter: base.converter * size,
        clutch: base.clutch * size,
        brake_force: base.brake_force * load,
        inertia: base.inertia * size,
        ..base
    }
}

const fn oxygen_params(specification: &Specification, bank_size: f64) -> catalyst::Params {
    let base = catalyst::Params::compact_2_0();
    catalyst::Params {
        wide_range: specification.wide_range,
        front_still_v: if specification.wide_range {
            transfer::WideRange::STILL.volts()
        } else {
            base.front_still_v
        },
        delay: (base.delay.0, base.delay.1 * bank_size),
        capacity_g: specification.oxygen_capacity.grams(),
        slip_g: Divisor::new(base.slip_g.figure * bank_size),
        ..base
    }
}

const fn cooling_params(size: f64) -> cooling::Params {
    let base = cooling::Params::compact_2_0();
    cooling::Params {
        per_size: 1.0 / size,
        coolant_heat: base.coolant_heat * size,
        block_heat: base.block_heat * size,
        link: (base.link.0 * size, base.link.1),
        coolant_loss: (base.coolant_loss.0 * size, base.coolant_loss.1 * size),
        block_loss: (base.block_loss.0 * size, base.block_loss.1 * size),
        rest_loss: (base.rest_loss.0 * size, base.rest_loss.1 * size),
        radiator: (
            base.radiator.0 * size,
            base.radiator.1 * size,
            base.radiator.2 * size,
        ),
        ..base
    }
}

/// A larger engine has a stronger starter and a larger battery.
const fn electrical_params(size: f64) -> electrical::Params {
    let base = electrical::Params::compact_2_0();
    electrical::Params {
        capacity: Divisor::new(base.capacity.figure * size),
        starter_ohms: base.starter_ohms / size,
        cable_ohms: base.cable_ohms / size,
        starter_torque: base.starter_torque,
        alternator_amperes: base.alternator_amperes * size,
        ..base
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_built_is_told_from_what_can() {
        let compact = Specification::compact_2_0();
        let six = Specification {
            firing_order: [1, 2, 3, 4, 5, 6],
            second_bank: [false, true, false, true, false, true],
            ..compact
        };
        assert!(compact.is_buildable() && six.is_buildable());
        assert_eq!((compact.cylinders(), compact.banks()), (4, 1));
        assert_eq!((six.cylinders(), six.banks()), (6, 2));
        for wrong in [
            Specification {
                firing_order: [1, 3, 4, 4, 0, 0],
                ..compact.clone()
            },
            Specification {
                firing_order: [1, 2, 0, 0, 0, 0],
                ..compact.clone()
            },
            // A bank that is larger, a bank 2 with cylinder 1 in it, and a cylinder that is not there.
            Specification {
                second_bank: [false, true, false, false, false, false],
                ..compact.clone()
            },
            Specification {
                second_bank: [true, true, false, false, false, false],
                ..compact.clone()
            },
            Specification {
                second_bank: [false, false, false, false, true, false],
                ..compact
            },
        ] {
            assert!(!wrong.is_buildable(), "{wrong:?}");
        }
    }
}
