//! The monitors of the oxygen sensors and the catalyst by themselves: when they run, what they find, what blocks them.
//! Sensors are waves of a known shape, seen as in the ECU: every 10 ms, handed on every 100 ms.

extern crate std;

mod catalyst;
mod circuit;
mod heater;
mod rear;
mod response;

use core::time::Duration;
use std::vec::Vec;

use twotrip_obd::Dtc;
use twotrip_units::{Acceleration, AngularSpeed, Current, MassFlow, Ratio, Speed, Temperature, Voltage};

use super::{Gathered, Trace};
use crate::monitors::{
    BankSignals, Inhibits, Signals,
    driven::{blocked, run, run_on, waits_for},
    frame::{Monitor, State},
};

/// A warm car on the road, of which both banks are well: no condition of these monitors is missing.
fn warm(step: u32) -> Signals {
    let bank = BankSignals {
        closed_loop: true,
        closed_loop_seconds: 100.0,
        oxygen_rear: Voltage::from_volts(0.65),
        catalyst: Temperature::from_celsius(550.0),
        heater_front: Current::from_amperes(0.65),
        heater_rear: Current::from_amperes(0.65),
        ..BankSignals::default()
    };
    Signals {
        run_time: Some(Duration::from_secs(600) + Duration::from_millis(100) * step),
        coolant: Temperature::from_celsius(88.0),
        engine_speed: AngularSpeed::from_rpm(2000.0),
        air_metered: MassFlow::from_grams_per_second(10.0),
        vehicle_speed: Speed::from_kilometres_per_hour(70.0),
        acceleration: Acceleration::from_metres_per_second_squared(0.0),
        supply: Voltage::from_volts(14.0),
        closed_loop: true,
        since_fuel_cut_seconds: 100.0,
        bank_count: 2,
        banks: [bank; 2],
        ..Signals::default()
    }
}

/// A front sensor's voltage that swings, its edges straight lines: times from 0.3 to 0.6 V and back, s.
#[derive(Clone, Copy)]
struct Swing {
    period: f64,
    rise: f64,
    fall: f64,
    low: f64,
    high: f64,
}

/// A good one, as computed on a prototype of this car: 39 and 49 ms, some 26 switches in 10 s.
const GOOD: Swing = Swing {
    period: 0.77,
    rise: 0.039,
    fall: 0.049,
    low: 0.08,
    high: 0.84,
};

impl Swing {
    fn volts(self, seconds: f64) -> f64 {
        let phase = seconds - libm::floor(seconds / self.period) * self.period;
        let span = self.high - self.low;
        let half = self.period / 2.0;
        if phase < half {
            (self.low + phase * 0.3 / self.rise).min(self.low + span)
        } else {
            (self.high - (phase - half) * 0.3 / self.fall).max(self.low)
        }
    }
}

/// Both sensors of a bank, stepped as the ECU does.
struct Sensors<F: Fn(f64) -> f64, R: Fn(f64) -> f64> {
    trace: Trace,
    steps: u32,
    front: F,
    rear: R,
}

impl<F: Fn(f64) -> f64, R: Fn(f64) -> f64> Sensors<F, R> {
    fn new(front: F, rear: R) -> Self {
        Self {
            trace: Trace::default(),
            steps: 0,
            front,
            rear,
        }
    }

    /// What was seen within 100 ms.
    fn seen(&mut self) -> Gathered {
        for _ in 0..10 {
            let seconds = f64::from(self.steps) * 0.01;
            self.steps += 1;
            let volts = Voltage::from_volts;
            self.trace
                .step(volts((self.front)(seconds)), volts((self.rear)(seconds)));
        }
        self.trace.take()
    }
}

fn rpm(signals: &mut Signals, rpm: f64) {
    signals.engine_speed = AngularSpeed::from_rpm(rpm);
}

fn air(signals: &mut Signals, grams: f64) {
    signals.air_metered = MassFlow::from_grams_per_second(grams);
}

fn hard(signals: &mut Signals) {
    signals.acceleration = Acceleration::from_metres_per_second_squared(-0.7);
}

fn celsius(degrees: f64) -> Temperature {
    Temperature::from_celsius(degrees)
}

fn just_closed(signals: &mut Signals) {
    signals.banks[0].closed_loop_seconds = 2.9;
}

fn not_learned(signals: &mut Signals) {
    signals.banks[0].mean_short_term = Ratio::from_percent(-9.0);
}
