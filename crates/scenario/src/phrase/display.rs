//! The canonical wording of a phrase: metric, one space between words. It parses again to the same wording.

use core::fmt::{self, Display, Formatter};

use twotrip_harness::WiringFault;

use super::{
    Claim, CodeList, EcuRef, Expectation, Fill, Leg, Phrase, Plan, Preload, When,
    amount::amount,
    measure::{
        ALTITUDE, AMBIENT, BIAS, ENGINE_SPEED, LEVEL, PULLED_DOWN, REID, RESISTANCE, SPEED, VOLUME, show_time,
    },
};

impl Display for Phrase {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::KeyOn => f.write_str("key on"),
            Self::KeyOff => f.write_str("key off"),
            Self::Start => f.write_str("start"),
            Self::Stop => f.write_str("stop"),
            Self::Drive(plan) => write!(f, "drive {plan}"),
            Self::Soak(time) => write!(f, "soak {}", show_time(*time)),
            Self::Wait(time) => write!(f, "wait {}", show_time(*time)),
            Self::Ambient(temperature) => write!(f, "ambient {}", AMBIENT.text(*temperature)),
            Self::Rain(true) => f.write_str("weather rain"),
            Self::Rain(false) => f.write_str("weather dry"),
            Self::Wash => f.write_str("wash"),
            Self::Altitude(height) => write!(f, "altitude {}", ALTITUDE.text(*height)),
            Self::Road(surface) => write!(f, "road {}", surface.name()),
            Self::Drain(level) => write!(f, "drain to {}", LEVEL.text(*level)),
            Self::Refuel(Fill::Level(level)) => write!(f, "refuel to {}", LEVEL.text(*level)),
            Self::Refuel(Fill::Volume(volume)) => write!(f, "refuel to {}", VOLUME.text(*volume)),
            Self::Volatility(reid) => write!(f, "fuel volatility {}", REID.text(*reid)),
            Self::Defect(defect) => write!(f, "defect {defect}"),
            Self::BreakWire(wire, fault, when) => {
                write_wiring(wire.name(), *fault, f)?;
                when.map_or(Ok(()), |when| write!(f, " {when}"))
            }
            Self::Work(work, part) => write!(f, "{} {}", work.name(), part.name()),
            Self::MendWire(wire) => write!(f, "mend wiring {}", wire.name()),
            Self::Measure(point) => write!(f, "measure {}", point.name()),
            Self::MeasureWhile(point, provocation) => {
                write!(f, "measure {} while {}", point.name(), provocation.name())
            }
            Self::Switch(load, on) => write!(f, "switch {} {}", load.name(), if *on { "on" } else { "off" }),
            Self::Compare(comparison) => write!(f, "measure {}", comparison.name()),
            Self::Swap(one, other) => write!(f, "swap {} {}", one.name(), other.name()),
            Self::Inspect(part) => write!(f, "inspect {}", part.name()),
            Self::Preload(list, codes, ecu) => {
                f.write_str(match list {
                    Preload::Confirmed => "preload confirmed",
                    Preload::Pending => "preload pending",
                })?;
                codes.iter().try_for_each(|code| write!(f, " {code}"))?;
                // What goes without saying.
                match ecu {
                    EcuRef::Engine => Ok(()),
                    ecu => write!(f, " in {ecu}"),
                }
            }
            Self::Why(code) => write!(f, "why {code}"),
            Self::WhyNot(code) => write!(f, "why not {code}"),
            Self::Monitors => f.write_str("monitors"),
            Self::Report => f.write_str("report"),
            Self::Hold(signal, value) => {
                let amount = amount(signal.name(), signal.unit(), signal.range());
                write!(f, "hold {} {}", signal.name(), amount.text(*value))
            }
            Self::Override(quantity, value) => {
                let amount = amount(quantity.name(), quantity.unit(), quantity.range());
                write!(f, "override {} {}", quantity.name(), amount.text(*value))
            }
            Self::Release(quantity) => write!(f, "release {}", quantity.name()),
            Self::Disturb(disturbance) => write!(f, "disturb {disturbance}"),
            Self::DisturbOff(Some(kind)) => write!(f, "disturb {} off", kind.name()),
            Self::DisturbOff(None) => f.write_str("disturb off"),
            Self::Expect(expectation) => write!(f, "expect {expectation}"),
        }
    }
}

impl Display for Plan {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Schedule(schedule) => f.write_str(schedule.name()),
            Self::Free(legs) => legs.iter().enumerate().try_for_each(|(index, leg)| {
                let separator = if index == 0 { "" } else { ", " };
                write!(f, "{separator}{leg}")
            }),
        }
    }
}

impl Display for Leg {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Idle(time) => write!(f, "idle {}", show_time(*time)),
            Self::Cruise(speed, time) => write!(f, "{} for {}", SPEED.text(*speed), show_time(*time)),
            Self::Rev(speed, time) => write!(f, "rev {} for {}", ENGINE_SPEED.text(*speed), show_time(*time)),
            Self::FullThrottle(speed) => write!(f, "full throttle to {}", SPEED.text(*speed)),
            Self::Coast(speed) => write!(f, "coast to {}", SPEED.text(*speed)),
            Self::Stop => f.write_str("stop"),
            Self::KeyOff => f.write_str("key off"),
        }
    }
}

impl Display for CodeList {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl Display for Expectation {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.claim)?;
        match self.when {
            When::Now => Ok(()),
            When::Within(time) => write!(f, " within {}", show_time(time)),
            When::Always => f.write_str(" always"),
        }
    }
}

impl Display for Claim {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mil { commanded: true } => f.write_str("mil commanded"),
            Self::Mil { commanded: false } => f.write_str("mil off"),
            Self::Lamp { lit: true } => f.write_str("lamp lit"),
            Self::Lamp { lit: false } => f.write_str("lamp dark"),
            Self::Code(list, code) => write!(f, "{list} {code}"),
            Self::NotCode(list, code) => write!(f, "no {list} {code}"),
            Self::NoCode(list) => write!(f, "no {list}"),
            Self::Readiness { group, complete } => {
                let state = if *complete { "complete" } else { "incomplete" };
                write!(f, "{} {state}", group.name())
            }
            Self::Reported {
                from,
                value,
                side,
                limit,
            } => {
                let amount = amount(value.name(), value.unit(), value.range());
                write!(
                    f,
                    "{} {} {} {}",
                    from.name(),
                    value.name(),
                    side.name(),
                    amount.text(*limit)
                )
            }
            Self::Measured { point, side, limit } => {
                let amount = amount(point.name(), point.unit(), point.range());
                write!(
                    f,
                    "measured {} {} {}",
                    point.name(),
                    side.name(),
                    amount.text(*limit)
                )
            }
            Self::Tool { deed, done: true } => write!(f, "tool {}", deed.name()),
            Self::Tool { deed, done: false } => write!(f, "no tool {}", deed.name()),
        }
    }
}

fn write_wiring(circuit: &str, fault: WiringFault, f: &mut Formatter<'_>) -> fmt::Result {
    write!(f, "defect wiring {circuit} {}", fault.kind().name())?;
    match fault {
        WiringFault::Open | WiringFault::ShortToGround | WiringFault::ShortToSupply => Ok(()),
        WiringFault::Resistance(added) => write!(f, " {}", RESISTANCE.text(added)),
        WiringFault::Bias(offset) => write!(f, " {}", BIAS.text(offset)),
        WiringFault::PulledDown(volts) => write!(f, " {}", PULLED_DOWN.text(volts)),
        WiringFault::SwappedWith(other) => write!(f, " {}", other.name()),
    }
}
