//! Wires that fail at times: what shakes, warms or disturbs them decides, ten times a second, whether a fault shows.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_harness::{Harness, Wire, WiringFault};
use twotrip_scenario::phrase::Presence;
use twotrip_vehicle::Vehicle;

/// Purpose of the dice that draw bursts (a stream of its own).
const BURST_DICE: u64 = 0x6275_7273_7473;
/// Steps of the car between two looks.
const EVERY: u32 = 10;
/// Time between two looks, s.
const SPAN: f64 = 0.1;

/// When a fault shows.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Shows {
    When(Presence),
    /// In bursts of their own: a bus without a terminator, on which reflections destroy frames.
    InBursts,
}

/// The wires whose faults come and go.
#[derive(Clone, Debug)]
pub(crate) struct Wires {
    list: Vec<(Wire, Shows, bool)>,
    countdown: u32,
    bursts: Bursts,
}

impl Wires {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            list: Vec::new(),
            countdown: 0,
            bursts: Bursts::new(seed),
        }
    }

    /// A wire breaks; `when` says when, if not all the time.
    pub(crate) fn break_wire(
        &mut self,
        harness: &mut Harness,
        vehicle: &mut Vehicle,
        wire: Wire,
        fault: WiringFault,
        when: Option<Presence>,
    ) {
        harness.break_wire(wire, fault);
        self.list.retain(|&(other, ..)| other != wire);
        let shows = match (wire, when) {
            (_, Some(when)) => Some(Shows::When(when)),
            (Wire::DataBus, None) => Some(Shows::InBursts),
            (_, None) => None,
        };
        if let Some(shows) = shows {
            self.list.push((wire, shows, false));
            show(harness, wire, false);
        }
        self.settle(harness, vehicle);
    }

    /// A wire is mended; says what was wrong with it.
    pub(crate) fn mend_wire(
        &mut self,
        harness: &mut Harness,
        vehicle: &mut Vehicle,
        wire: Wire,
    ) -> Option<WiringFault> {
        let fault = harness.mend_wire(wire);
        self.settle(harness, vehicle);
        fault
    }

    /// When the fault of a wire shows, if not all the time.
    pub(crate) fn when(&self, wire: Wire) -> Option<Presence> {
        self.list.iter().find_map(|&(other, shows, _)| match shows {
            Shows::When(when) if other == wire => Some(when),
            _ => None,
        })
    }

    /// Lets the fault of a wire show or hide until it is next looked at: somebody works on the loom.
    pub(crate) fn show(&mut self, harness: &mut Harness, wire: Wire, now: bool) {
        show(harness, wire, now);
        for (_, _, shown) in self.list.iter_mut().filter(|(other, ..)| *other == wire) {
            *shown = now;
        }
    }

    /// One step of the car.
    #[inline]
    pub(crate) fn step(&mut self, harness: &mut Harness, vehicle: &mut Vehicle) {
        if self.list.is_empty() {
            return;
        }
        self.countdown = self.countdown.checked_sub(1).unwrap_or(EVERY - 1);
        if self.countdown == 0 {
            self.follow(harness, vehicle);
        }
    }

    #[cold]
    fn follow(&mut self, harness: &mut Harness, vehicle: &mut Vehicle) {
        let burst = self.bursts.step(SPAN);
        for (wire, shows, now) in &mut self.list {
            *now = match *shows {
                Shows::When(when) => vehicle.shows(when, *now),
                Shows::InBursts => burst,
            };
            show(harness, *wire, *now);
        }
        vehicle.connect_gearbox(harness.gearbox());
        vehicle.connect_coils(harness.sparks_lost());
    }

    /// After something was broken or mended.
    fn settle(&mut self, harness: &Harness, vehicle: &mut Vehicle) {
        self.list.retain(|&(wire, ..)| harness.fault(wire).is_some());
        let watched = |&(_, shows, _): &(Wire, Shows, bool)| matches!(shows, Shows::When(_));
        vehicle.follow_for_others(self.list.iter().any(watched));
        vehicle.connect_gearbox(harness.gearbox());
        vehicle.connect_coils(harness.sparks_lost());
    }
}

/// Lets a fault show or hide; of two swapped wires both.
fn show(harness: &mut Harness, wire: Wire, now: bool) {
    harness.let_show(wire, now);
    if let Some(WiringFault::SwappedWith(other)) = harness.fault(wire) {
        harness.let_show(other, now);
    }
}

/// Bursts of disturbance on a bus: seeded, some seconds apart, up to a second and a half long (our choice).
#[derive(Clone, Debug)]
struct Bursts {
    dice: ChaCha8Rng,
    on: bool,
    left: f64,
}

impl Bursts {
    const APART: [f64; 2] = [2.0, 10.0];
    const LONG: [f64; 2] = [0.1, 1.5];

    fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        dice.set_stream(BURST_DICE);
        Self {
            dice,
            on: false,
            left: Self::APART[0],
        }
    }

    fn step(&mut self, span: f64) -> bool {
        self.left -= span;
        if self.left <= 0.0 {
            self.on = !self.on;
            let [least, most] = if self.on { Self::LONG } else { Self::APART };
            let drawn = f64::from(self.dice.next_u32()) / 4_294_967_296.0;
            self.left = least + drawn * (most - least);
        }
        self.on
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bursts_come_and_go_and_repeat_with_the_seed() {
        let run = |seed| {
            let mut bursts = Bursts::new(seed);
            (0..6000).map(|_| bursts.step(SPAN)).collect::<Vec<_>>()
        };
        let one = run(1);
        assert_eq!(one, run(1));
        assert_ne!(one, run(2));
        let on = one.iter().filter(|&&on| on).count();
        assert!((300..1200).contains(&on), "{on} of 6000 tenths");
        let longest = one.split(|&on| !on).map(<[bool]>::len).max();
        assert!(
            longest.is_some_and(|tenths| (10..=16).contains(&tenths)),
            "{longest:?}"
        );
    }
}
