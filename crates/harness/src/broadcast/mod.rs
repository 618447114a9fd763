//! The messages that the car's control units send each other at fixed intervals, as one table.
//!
//! A real bus carries them whether anybody asks or not: a diagnostic tool has to find its answers among them. Identifiers,
//! layouts and the list of senders are invented; which quantities such messages carry, and how often, is common
//! practice (no source). Frames are classic CAN with 11-bit identifiers, outside those of ISO 15765-4 ($7DF, $7E0-$7EF).
//!
//! Bits are numbered as byte times eight plus the bit in the byte, 0 the least. A signal starts at its least
//! significant bit in a little-endian message and at its most significant one in a big-endian message.

mod pack;
mod table;

use core::time::Duration;

pub use pack::checksum;
pub use table::MESSAGES;

/// A control unit that sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sender {
    /// The engine ECU.
    Engine,
    /// The gearbox controller.
    Gearbox,
    /// The brake controller.
    Brake,
    /// The body controller, with the battery's sensor.
    Body,
    /// The instrument cluster.
    Instruments,
}

impl Sender {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Engine,
        Self::Gearbox,
        Self::Brake,
        Self::Body,
        Self::Instruments,
    ];

    /// The name that lists use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Engine => "engine",
            Self::Gearbox => "gearbox",
            Self::Brake => "brake",
            Self::Body => "body",
            Self::Instruments => "instruments",
        }
    }
}

/// The order of a message's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ByteOrder {
    /// Least significant byte first.
    LittleEndian,
    /// Most significant byte first.
    BigEndian,
}

impl ByteOrder {
    /// The name that lists use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::LittleEndian => "little-endian",
            Self::BigEndian => "big-endian",
        }
    }
}

/// What a signal says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// Crank speed, rpm.
    EngineSpeed,
    /// Indicated torque less friction, N m.
    EngineTorque,
    /// What the driver asks for, N m.
    DemandedTorque,
    /// Accelerator, %.
    Pedal,
    /// Engine runs by itself.
    EngineRuns,
    /// Throttle plate, % of the supply.
    ThrottlePosition,
    /// Manifold pressure, kPa absolute.
    ManifoldPressure,
    /// Air through the meter, g/s.
    AirFlow,
    /// Ignition before top dead centre, deg.
    IgnitionAdvance,
    /// Fuel injected, l/h.
    FuelRate,
    /// Coolant, °C.
    CoolantTemperature,
    /// Intake air, °C.
    IntakeAirTemperature,
    /// Engine oil, °C.
    OilTemperature,
    /// Supply of the engine ECU, V.
    ModuleVoltage,
    /// Malfunction indicator lamp, on or off.
    Mil,
    /// Gear, 0 in Park.
    Gear,
    /// A shift is under way.
    Shifting,
    /// Road speed from the gearbox's output, km/h.
    OutputSpeed,
    /// Greatest torque that the gearbox lets the engine give, % of its reference torque.
    TorqueLimit,
    /// Selector, 0 Park, 3 Drive.
    Selector,
    /// Lock-up clutch of the torque converter, %.
    LockUp,
    /// Gearbox oil, °C.
    GearboxTemperature,
    /// Each of the four wheels, km/h.
    WheelSpeed,
    /// Brake pedal, %.
    BrakePedal,
    /// Brake light switch.
    BrakeSwitch,
    /// Acceleration along the car, m/s².
    Acceleration,
    /// Ignition key, 0 off, 1 on, 2 start.
    Key,
    /// Battery at its terminals, V.
    BatteryVoltage,
    /// Current into the battery, A.
    BatteryCurrent,
    /// Charge of the battery, %.
    BatteryCharge,
    /// Distance covered, km.
    Odometer,
    /// Fuel as the gauge shows it, %.
    FuelLevel,
    /// Air around the car, °C.
    AmbientTemperature,
    /// Counts the frames of the message, 0 to 15 and again.
    Counter,
    /// [`checksum`] of the other bytes; it is the last one.
    Checksum,
}

/// A signal of a message.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BroadcastSignal {
    /// Its name.
    pub name: &'static str,
    /// What it says.
    pub content: Content,
    /// Its first bit, see the module.
    pub start: u8,
    /// Bits.
    pub length: u8,
    /// Whether it is a two's complement.
    pub signed: bool,
    /// What one step of the raw value is worth.
    pub scale: f64,
    /// What a raw value of zero is worth.
    pub offset: f64,
    /// Unit; empty for numbers and switches.
    pub unit: &'static str,
}

/// A message.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BroadcastMessage {
    /// Its name.
    pub name: &'static str,
    /// 11-bit identifier.
    pub id: u16,
    /// Who sends it.
    pub sender: Sender,
    /// Time from one frame to the next.
    pub cycle: Duration,
    /// Time of the first frame after the bus has woken up.
    pub offset: Duration,
    /// Data bytes.
    pub length: u8,
    /// Order of its bytes.
    pub order: ByteOrder,
    /// Its signals.
    pub signals: &'static [BroadcastSignal],
}

#[cfg(test)]
mod tests;
