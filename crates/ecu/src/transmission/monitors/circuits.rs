//! Circuits: of the solenoids, of the speed sensors, of the fluid's thermistor; and whether the engine is heard.

use twotrip_harness::{PulseWire, Solenoid};

use super::{
    super::{
        catalogue::{
            ENGINE_MESSAGES, FLUID_CIRCUIT, OUTPUT_CIRCUIT, P0712, P0713, P0715, P0720, P0743, P0753, P0758,
            P0763, SOLENOID_CIRCUITS, TURBINE_CIRCUIT, U0100,
        },
        measured::FLUID,
    },
    Debounce, Look, Need, Report, Stand, hold,
};
use crate::{
    circuits,
    memory::FaultMemory,
    monitors::frame::{Condition, Test},
};

/// Steps of 100 ms with the fault that fail, and without it that pass.
const TIMES: [u32; 2] = [5, 10];

/// What a driver or an input says of its wire: 1 sound, 0 not.
const fn wire(codes: &'static [twotrip_obd::Dtc], what: &'static str) -> Test {
    Test::new(what, "").at_least(1.0).of(codes)
}

static SHIFT_A: Test = wire(&[P0753], "shift solenoid A as its driver sees it: sound");
static SHIFT_B: Test = wire(&[P0758], "shift solenoid B as its driver sees it: sound");
static SHIFT_C: Test = wire(&[P0763], "shift solenoid C as its driver sees it: sound");
static CONVERTER: Test = wire(&[P0743], "converter clutch solenoid as its driver sees it: sound");
static SOLENOIDS: [&Test; 4] = [&SHIFT_A, &SHIFT_B, &SHIFT_C, &CONVERTER];
static TURBINE: Test = wire(&[P0715], "current of the turbine speed sensor: sound");
static OUTPUT: Test = wire(&[P0720], "current of the output speed sensor: sound");
static FLUID_LOW: Test = Test::new("pin of the fluid temperature sensor", "V")
    .at_least(circuits::limits(FLUID).low.volts())
    .of(&[P0712]);
static FLUID_HIGH: Test = Test::new("pin of the fluid temperature sensor", "V")
    .at_most(circuits::limits(FLUID).high.volts())
    .of(&[P0713]);
static SILENCE: Test = Test::new("silence of the engine ECU", "s")
    .at_most(0.5)
    .of(&[U0100]);
/// The engine's messages are missed with a supply from here on, V.
static SUPPLIED: [Need; 1] = [Need::of(Condition::own("supply", "V").at_least(11.0), |look| {
    look.measured.supply.volts()
})];

#[derive(Clone, Debug, Default)]
pub(super) struct Circuits {
    solenoids: [Debounce; 4],
    turbine: Debounce,
    output: Debounce,
    fluid: [Debounce; 2],
    silence: Debounce,
}

impl Circuits {
    pub(super) const fn a_shift_solenoid_failed(&self) -> bool {
        let [a, b, c, _] = &self.solenoids;
        a.failed || b.failed || c.failed || self.output.failed
    }

    pub(super) const fn converter_solenoid_failed(&self) -> bool {
        let [.., converter] = &self.solenoids;
        converter.failed || self.turbine.failed
    }

    /// They watch all the time, also after a finding.
    pub(super) fn stands(&self, look: &Look<'_>, memory: &FaultMemory) -> [Stand; 5] {
        let always = |monitor| Stand::of(monitor, &[], look, memory, false);
        [
            always(TURBINE_CIRCUIT),
            always(OUTPUT_CIRCUIT),
            always(SOLENOID_CIRCUITS),
            always(FLUID_CIRCUIT),
            Stand::of(ENGINE_MESSAGES, &SUPPLIED, look, memory, false),
        ]
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        let sound = |sound: bool| f64::from(u8::from(sound));
        for ((solenoid, test), debounce) in Solenoid::ALL.into_iter().zip(SOLENOIDS).zip(&mut self.solenoids)
        {
            let good = !measured.open.contains(solenoid) && !measured.shorted.contains(solenoid);
            debounce.judge(test, sound(good), TIMES, memory, report);
        }
        let current = |wire: PulseWire| sound(wire == PulseWire::Sound);
        self.turbine
            .judge(&TURBINE, current(measured.turbine_wire), TIMES, memory, report);
        self.output
            .judge(&OUTPUT, current(measured.output_wire), TIMES, memory, report);
        let pin = measured.fluid_pin.volts();
        for (test, debounce) in [&FLUID_LOW, &FLUID_HIGH].into_iter().zip(&mut self.fluid) {
            debounce.judge(test, pin, TIMES, memory, report);
        }
        if hold(&SUPPLIED, &look) {
            // The silence has lasted for its time already.
            let silence = measured.engine_silence_s;
            self.silence.judge(&SILENCE, silence, [1, 20], memory, report);
        }
    }
}
