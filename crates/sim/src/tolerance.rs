//! What no two good cars have quite alike where a technician reads it: compression, balance of the injectors, wires,
//! grounds, the charging cable. Drawn from the car's seed, within what the trade calls good (common practice, no source).
//!
//! They are too small for the engine or its controller to feel, and so they stand here and not in the physics.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_harness::{Output, Wire};
use twotrip_units::{Limit as _, Resistance};

/// The purpose that sets these dice apart.
const DICE: u64 = 0x746f_6c65_7261_6e63;

/// Share by which a good cylinder's compression and a good injector's flow stray from nominal, at the most.
const COMPRESSION: f64 = 0.03;
const BALANCE: f64 = 0.025;
/// A good wire with its two terminals, Ω.
const WIRE_OHMS: [f64; 2] = [0.1, 0.5];
/// What a sensor's ground is above the ECU's for the currents in it, V.
const GROUND_VOLTS: [f64; 2] = [0.001, 0.024];
/// A good charging cable with its ground strap, Ω.
const CABLE_OHMS: [f64; 2] = [0.0006, 0.0014];
/// Share by which the windings of good parts stray from their nominal resistance, at the most.
const WINDING: f64 = 0.04;

/// What is drawn.
#[derive(Clone, Copy)]
enum Of {
    Compression,
    Balance,
    Wire,
    Ground,
    Cable,
    Winding,
}

/// The tolerances of one car.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tolerances {
    seed: u64,
}

impl Tolerances {
    pub(crate) const fn new(seed: u64) -> Self {
        Self { seed }
    }

    /// 0 to 1, the same for the same thing of the same car.
    fn drawn(self, of: Of, place: usize) -> f64 {
        let mut dice = ChaCha8Rng::seed_from_u64(self.seed ^ DICE);
        dice.set_stream(((of as u64) << 32) | place as u64);
        f64::from(dice.next_u32()) * (1.0 / 4_294_967_296.0)
    }

    fn between(self, of: Of, place: usize, [least, most]: [f64; 2]) -> f64 {
        least + self.drawn(of, place) * (most - least)
    }

    /// Compression of a good cylinder, counted from 0, against nominal.
    pub(crate) fn compression(self, cylinder: usize) -> f64 {
        1.0 + self.between(Of::Compression, cylinder, [-COMPRESSION, COMPRESSION])
    }

    /// What a good injector passes, counted from 0, against nominal.
    pub(crate) fn injector(self, cylinder: usize) -> f64 {
        1.0 + self.between(Of::Balance, cylinder, [-BALANCE, BALANCE])
    }

    /// A good wire from end to end, Ω.
    pub(crate) fn wire_ohms(self, wire: Wire) -> f64 {
        self.between(Of::Wire, place(wire), WIRE_OHMS)
    }

    /// By how much a good ground of a sensor is off, V.
    pub(crate) fn ground_volts(self, wire: Wire) -> f64 {
        self.between(Of::Ground, place(wire), GROUND_VOLTS)
    }

    /// A good charging cable, Ω.
    pub(crate) fn cable_ohms(self) -> f64 {
        self.between(Of::Cable, 0, CABLE_OHMS)
    }

    /// A good winding or heater of this nominal resistance.
    pub(crate) fn winding(self, output: Output, nominal: Resistance) -> Resistance {
        let share = self.between(Of::Winding, place(Wire::Output(output)), [-WINDING, WINDING]);
        Resistance::from_ohms((nominal.ohms() * (1.0 + share)).at_least(0.0))
    }
}

/// A number for each wire.
fn place(wire: Wire) -> usize {
    Wire::ALL
        .into_iter()
        .position(|other| other == wire)
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every car its own, within what is good, and the same again.
    #[test]
    fn cars_differ_within_what_is_good() {
        let mut ohms: Vec<u64> = Vec::new();
        for seed in 0..200 {
            let car = Tolerances::new(seed);
            for cylinder in 0..6 {
                assert!((0.97..=1.03).contains(&car.compression(cylinder)));
                assert!((0.975..=1.025).contains(&car.injector(cylinder)));
            }
            for wire in Wire::ALL {
                assert!((0.1..=0.5).contains(&car.wire_ohms(wire)), "{}", wire.name());
                assert!(car.ground_volts(wire) < 0.025);
            }
            assert!(car.cable_ohms() * 100.0 < 0.2, "less than 0.2 V at 100 A");
            assert_eq!(
                car.compression(2).to_bits(),
                Tolerances::new(seed).compression(2).to_bits()
            );
            ohms.push(car.wire_ohms(Wire::ALL[0]).to_bits());
        }
        ohms.sort_unstable();
        ohms.dedup();
        assert_eq!(ohms.len(), 200, "no two alike");
    }
}
