//! The messages and their layout, by identifier: the lowest wins the bus where several are due.

use core::time::Duration;

use super::{BroadcastMessage, BroadcastSignal, ByteOrder, Content, Sender};

const fn signal(
    name: &'static str,
    content: Content,
    [start, length]: [u8; 2],
    [scale, offset]: [f64; 2],
    unit: &'static str,
) -> BroadcastSignal {
    BroadcastSignal {
        name,
        content,
        start,
        length,
        signed: false,
        scale,
        offset,
        unit,
    }
}

const fn signed(signal: BroadcastSignal) -> BroadcastSignal {
    BroadcastSignal {
        signed: true,
        ..signal
    }
}

const fn flag(name: &'static str, content: Content, bit: u8) -> BroadcastSignal {
    signal(name, content, [bit, 1], [1.0, 0.0], "")
}

const fn number(name: &'static str, content: Content, bits: [u8; 2]) -> BroadcastSignal {
    signal(name, content, bits, [1.0, 0.0], "")
}

/// All messages of the car.
pub static MESSAGES: [BroadcastMessage; 10] = [
    BroadcastMessage {
        name: "engine-torque",
        id: 0x0B4,
        sender: Sender::Engine,
        cycle: Duration::from_millis(10),
        offset: Duration::from_millis(0),
        length: 8,
        order: ByteOrder::LittleEndian,
        signals: &[
            signal("engine-speed", Content::EngineSpeed, [0, 16], [0.25, 0.0], "rpm"),
            signed(signal(
                "engine-torque",
                Content::EngineTorque,
                [16, 12],
                [0.25, 0.0],
                "N m",
            )),
            flag("engine-runs", Content::EngineRuns, 28),
            signed(signal(
                "demanded-torque",
                Content::DemandedTorque,
                [32, 12],
                [0.25, 0.0],
                "N m",
            )),
            number("counter", Content::Counter, [44, 4]),
            signal("pedal", Content::Pedal, [48, 8], [0.4, 0.0], "%"),
            number("checksum", Content::Checksum, [56, 8]),
        ],
    },
    BroadcastMessage {
        name: "gearbox-shift",
        id: 0x0C9,
        sender: Sender::Gearbox,
        cycle: Duration::from_millis(10),
        offset: Duration::from_millis(3),
        length: 8,
        order: ByteOrder::BigEndian,
        signals: &[
            signal(
                "output-speed",
                Content::OutputSpeed,
                [7, 16],
                [0.0078125, 0.0],
                "km/h",
            ),
            signal("torque-limit", Content::TorqueLimit, [23, 8], [0.5, 0.0], "%"),
            number("gear", Content::Gear, [31, 4]),
            flag("shifting", Content::Shifting, 27),
            number("counter", Content::Counter, [51, 4]),
            number("checksum", Content::Checksum, [63, 8]),
        ],
    },
    BroadcastMessage {
        name: "engine-air",
        id: 0x128,
        sender: Sender::Engine,
        cycle: Duration::from_millis(20),
        offset: Duration::from_millis(5),
        length: 8,
        order: ByteOrder::LittleEndian,
        signals: &[
            signal("air-flow", Content::AirFlow, [0, 16], [0.01, 0.0], "g/s"),
            signal(
                "manifold-pressure",
                Content::ManifoldPressure,
                [16, 8],
                [0.5, 0.0],
                "kPa",
            ),
            signal(
                "throttle-position",
                Content::ThrottlePosition,
                [24, 8],
                [0.4, 0.0],
                "%",
            ),
            signal(
                "ignition-advance",
                Content::IgnitionAdvance,
                [32, 8],
                [0.5, -64.0],
                "deg",
            ),
            signal("fuel-rate", Content::FuelRate, [40, 16], [0.01, 0.0], "l/h"),
        ],
    },
    BroadcastMessage {
        name: "wheel-speeds",
        id: 0x156,
        sender: Sender::Brake,
        cycle: Duration::from_millis(20),
        offset: Duration::from_millis(7),
        length: 8,
        order: ByteOrder::BigEndian,
        signals: &[
            signal(
                "wheel-speed-front-left",
                Content::WheelSpeed,
                [7, 16],
                [0.01, 0.0],
                "km/h",
            ),
            signal(
                "wheel-speed-front-right",
                Content::WheelSpeed,
                [23, 16],
                [0.01, 0.0],
                "km/h",
            ),
            signal(
                "wheel-speed-rear-left",
                Content::WheelSpeed,
                [39, 16],
                [0.01, 0.0],
                "km/h",
            ),
            signal(
                "wheel-speed-rear-right",
                Content::WheelSpeed,
                [55, 16],
                [0.01, 0.0],
                "km/h",
            ),
        ],
    },
    BroadcastMessage {
        name: "brake",
        id: 0x1C2,
        sender: Sender::Brake,
        cycle: Duration::from_millis(20),
        offset: Duration::from_millis(9),
        length: 6,
        order: ByteOrder::BigEndian,
        signals: &[
            signal("brake-pedal", Content::BrakePedal, [7, 8], [0.4, 0.0], "%"),
            flag("brake-switch", Content::BrakeSwitch, 15),
            signed(signal(
                "acceleration",
                Content::Acceleration,
                [23, 16],
                [0.001, 0.0],
                "m/s2",
            )),
            number("counter", Content::Counter, [35, 4]),
            number("checksum", Content::Checksum, [47, 8]),
        ],
    },
    BroadcastMessage {
        name: "engine-temperatures",
        id: 0x2D1,
        sender: Sender::Engine,
        cycle: Duration::from_millis(100),
        offset: Duration::from_millis(14),
        length: 6,
        order: ByteOrder::LittleEndian,
        signals: &[
            signal(
                "coolant-temperature",
                Content::CoolantTemperature,
                [0, 8],
                [1.0, -40.0],
                "C",
            ),
            signal(
                "intake-air-temperature",
                Content::IntakeAirTemperature,
                [8, 8],
                [1.0, -40.0],
                "C",
            ),
            signal(
                "oil-temperature",
                Content::OilTemperature,
                [16, 8],
                [1.0, -40.0],
                "C",
            ),
            signal(
                "module-voltage",
                Content::ModuleVoltage,
                [24, 10],
                [0.02, 0.0],
                "V",
            ),
            flag("malfunction-lamp", Content::Mil, 40),
        ],
    },
    BroadcastMessage {
        name: "ignition",
        id: 0x36E,
        sender: Sender::Body,
        cycle: Duration::from_millis(100),
        offset: Duration::from_millis(26),
        length: 2,
        order: ByteOrder::LittleEndian,
        signals: &[number("key", Content::Key, [0, 2])],
    },
    BroadcastMessage {
        name: "gearbox-state",
        id: 0x3B2,
        sender: Sender::Gearbox,
        cycle: Duration::from_millis(100),
        offset: Duration::from_millis(38),
        length: 3,
        order: ByteOrder::BigEndian,
        signals: &[
            number("selector", Content::Selector, [7, 3]),
            signal(
                "gearbox-temperature",
                Content::GearboxTemperature,
                [15, 8],
                [1.0, -40.0],
                "C",
            ),
            signal("lock-up", Content::LockUp, [23, 8], [0.5, 0.0], "%"),
        ],
    },
    BroadcastMessage {
        name: "battery",
        id: 0x41D,
        sender: Sender::Body,
        cycle: Duration::from_millis(100),
        offset: Duration::from_millis(51),
        length: 6,
        order: ByteOrder::LittleEndian,
        signals: &[
            signal(
                "battery-voltage",
                Content::BatteryVoltage,
                [0, 16],
                [0.001, 0.0],
                "V",
            ),
            signed(signal(
                "battery-current",
                Content::BatteryCurrent,
                [16, 16],
                [0.05, 0.0],
                "A",
            )),
            signal("battery-charge", Content::BatteryCharge, [32, 8], [0.5, 0.0], "%"),
        ],
    },
    BroadcastMessage {
        name: "instruments",
        id: 0x4A5,
        sender: Sender::Instruments,
        cycle: Duration::from_millis(1000),
        offset: Duration::from_millis(70),
        length: 6,
        order: ByteOrder::BigEndian,
        signals: &[
            signal("odometer", Content::Odometer, [7, 24], [0.1, 0.0], "km"),
            signal("fuel-level", Content::FuelLevel, [31, 8], [0.5, 0.0], "%"),
            signal(
                "ambient-temperature",
                Content::AmbientTemperature,
                [39, 8],
                [0.5, -40.0],
                "C",
            ),
        ],
    },
];
