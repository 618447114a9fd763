//! The parts that can be worked on or looked at.

/// Writes down the parts: variant, name in phrases, minutes that a new one takes to fit, what a good one looks like.
///
/// Minutes: common practice, no source.
macro_rules! parts {
    ($($(#[$doc:meta])* $variant:ident: $name:literal, $minutes:literal, $good:literal;)*) => {
        /// A part that can be worked on or looked at.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Part {
            $($(#[$doc])* $variant,)*
        }

        impl Part {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The name that phrases use.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// How long it takes to fit a new one, in minutes.
            #[must_use]
            pub const fn minutes(self) -> u32 {
                match self { $(Self::$variant => $minutes,)* }
            }

            /// What a look at a good one finds; empty for what nobody can see into.
            #[must_use]
            pub const fn looks_good(self) -> &'static str {
                match self { $(Self::$variant => $good,)* }
            }
        }
    };
}

parts! {
    /// The cap of the filler neck, with its seal.
    FuelCap: "fuel-cap", 5, "the fuel cap is tight, its seal is good";
    /// The filler neck and its hose.
    FillerNeck: "filler-neck", 90, "no rust through, no smoke: the filler neck is tight";
    /// The valve that lets vapour into the engine.
    PurgeValve: "purge-valve", 30, "on a hand vacuum pump the purge valve holds without current and lets go with it, its coil has 26 ohm (good: 20 to 30): it is good";
    /// The line from the canister to the purge valve.
    PurgeLine: "purge-line", 60, "air blown into the purge line comes out at the canister: it is free";
    /// The hose between tank and canister, with its quick connectors.
    VapourHose: "vapour-hose", 60, "no smoke along the vapour hose, its connectors have clicked in: it is tight";
    /// The valve that lets air into the canister.
    VentValve: "vent-valve", 45, "the vent valve shuts with current and opens without: it is good";
    /// The filter through which the vent valve breathes.
    VentFilter: "vent-filter", 15, "the vent filter is clean: air blown into it goes through";
    /// The coolant temperature sensor.
    CoolantSensor: "coolant-sensor", 30, "";
    /// The thermostat.
    Thermostat: "thermostat", 60, "the radiator hose stays cold until the engine is warm: the thermostat closes and opens";
    /// The intake-air temperature sensor.
    IntakeAirSensor: "intake-air-sensor", 15, "";
    /// The air-mass meter.
    AirMeter: "air-meter", 15, "";
    /// The manifold pressure sensor.
    ManifoldPressureSensor: "manifold-pressure-sensor", 15, "";
    /// The throttle position sensor with both of its tracks.
    ThrottleSensor: "throttle-sensor", 60, "";
    /// The tank pressure sensor.
    TankPressureSensor: "tank-pressure-sensor", 60, "";
    /// The fuel level sender.
    FuelLevelSensor: "fuel-level-sensor", 60, "";
    /// The pressure sensor on the fuel rail.
    RailPressureSensor: "rail-pressure-sensor", 30, "";
    /// The spark plug of cylinder 1.
    SparkPlug1: "spark-plug-1", 20, "the spark plug is dry and light brown, its gap is right";
    /// The spark plug of cylinder 2.
    SparkPlug2: "spark-plug-2", 20, "the spark plug is dry and light brown, its gap is right";
    /// The spark plug of cylinder 3.
    SparkPlug3: "spark-plug-3", 20, "the spark plug is dry and light brown, its gap is right";
    /// The spark plug of cylinder 4.
    SparkPlug4: "spark-plug-4", 20, "the spark plug is dry and light brown, its gap is right";
    /// The spark plug of cylinder 5.
    SparkPlug5: "spark-plug-5", 20, "the spark plug is dry and light brown, its gap is right";
    /// The spark plug of cylinder 6.
    SparkPlug6: "spark-plug-6", 20, "the spark plug is dry and light brown, its gap is right";
    /// The ignition coil of cylinder 1, which sits on its plug.
    Coil1: "coil-1", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The ignition coil of cylinder 2, which sits on its plug.
    Coil2: "coil-2", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The ignition coil of cylinder 3, which sits on its plug.
    Coil3: "coil-3", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The ignition coil of cylinder 4, which sits on its plug.
    Coil4: "coil-4", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The ignition coil of cylinder 5, which sits on its plug.
    Coil5: "coil-5", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The ignition coil of cylinder 6, which sits on its plug.
    Coil6: "coil-6", 15, "the coil has no crack and no track of a flash-over; cold and unloaded, its windings measure as they should";
    /// The injector of cylinder 1.
    Injector1: "injector-1", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The injector of cylinder 2.
    Injector2: "injector-2", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The injector of cylinder 3.
    Injector3: "injector-3", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The injector of cylinder 4.
    Injector4: "injector-4", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The injector of cylinder 5.
    Injector5: "injector-5", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The injector of cylinder 6.
    Injector6: "injector-6", 60, "pulsed as long as the others, the injector lets the rail's pressure fall as far as they do: it is good";
    /// The exhaust valves of cylinder 1.
    ExhaustValve1: "exhaust-valve-1", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// The exhaust valves of cylinder 2.
    ExhaustValve2: "exhaust-valve-2", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// The exhaust valves of cylinder 3.
    ExhaustValve3: "exhaust-valve-3", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// The exhaust valves of cylinder 4.
    ExhaustValve4: "exhaust-valve-4", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// The exhaust valves of cylinder 5.
    ExhaustValve5: "exhaust-valve-5", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// The exhaust valves of cylinder 6.
    ExhaustValve6: "exhaust-valve-6", 480, "a compression test shows 12 bar, as good as new: the valves seal";
    /// All spark plugs.
    SparkPlugs: "spark-plugs", 60, "the spark plugs are dry and light brown, their gaps are right";
    /// The petrol in the tank.
    Fuel: "fuel", 60, "the fuel is clear, and no water settles in a glass of it";
    /// The intake manifold with its gaskets and vacuum hoses.
    Intake: "intake", 90, "no smoke comes out of the intake: manifold, gaskets and hoses are tight";
    /// The hoses of the crankcase ventilation.
    CrankcaseHose: "crankcase-hose", 20, "the crankcase ventilation hose sits tight and is whole, its valve rattles";
    /// The duct from the air meter to the throttle.
    AirDuct: "air-duct", 20, "the air duct is whole, and its clamps are tight";
    /// The throttle body.
    Throttle: "throttle", 60, "the throttle plate and its bore are clean";
    /// The hose and the port of the manifold pressure sensor.
    ManifoldPressureHose: "manifold-pressure-hose", 20, "the hose of the manifold pressure sensor is on, its port is open";
    /// The exhaust-gas recirculation valve.
    EgrValve: "egr-valve", 40, "under 12 V the stem of the EGR valve opens and falls shut on a clean seat: it is good";
    /// The passage between that valve and the manifold.
    EgrPassage: "egr-passage", 180, "with the EGR valve off, a finger finds the passage behind it open and clean";
    /// The phaser of the intake cam.
    CamPhaser: "cam-phaser", 240, "the marks of the intake cam stand where they should, and its phaser turns freely under air pressure";
    /// The phaser of the intake cam of bank 2.
    CamPhaser2: "cam-phaser-2", 240, "the marks of bank 2's intake cam stand where they should, and its phaser turns freely under air pressure";
    /// The strainer of the phaser's oil control valve.
    OilStrainer: "oil-strainer", 40, "the strainer of the oil control valve is clean";
    /// The same of bank 2.
    OilStrainer2: "oil-strainer-2", 40, "the strainer of bank 2's oil control valve is clean";
    /// The regulator of the fuel pressure, in the tank.
    PressureRegulator: "pressure-regulator", 90, "";
    /// The fuel pump, in the tank.
    FuelPump: "fuel-pump", 90, "";
    /// The fuel filter, in the line to the rail.
    FuelFilter: "fuel-filter", 30, "";
    /// The return line of the fuel.
    FuelReturn: "fuel-return", 45, "the fuel return line is free and not squeezed";
    /// The injectors of bank 1.
    FuelInjector: "fuel-injector", 90, "after standing the tips of the injectors are dry";
    /// The injectors of bank 2.
    FuelInjector2: "fuel-injector-2", 90, "after standing the tips of the injectors of bank 2 are dry";
    /// The front oxygen sensor of bank 1 with its heater.
    FrontOxygenSensor: "front-oxygen-sensor", 30, "";
    /// The rear oxygen sensor of bank 1 with its heater.
    RearOxygenSensor: "rear-oxygen-sensor", 30, "";
    /// The catalyst of bank 1.
    Catalyst: "catalyst", 120, "the catalyst does not rattle, and is not discoloured";
    /// The front oxygen sensor of bank 2 with its heater.
    FrontOxygenSensor2: "front-oxygen-sensor-2", 30, "";
    /// The rear oxygen sensor of bank 2 with its heater.
    RearOxygenSensor2: "rear-oxygen-sensor-2", 30, "";
    /// The catalyst of bank 2.
    Catalyst2: "catalyst-2", 120, "the catalyst of bank 2 does not rattle, and is not discoloured";
    /// The exhaust manifold with its gasket, ahead of the front oxygen sensor.
    ExhaustManifold: "exhaust-manifold", 120, "no soot at the exhaust manifold's gasket, no ticking when cold: it is tight";
    /// The exhaust manifold of bank 2 with its gasket.
    ExhaustManifold2: "exhaust-manifold-2", 120, "no soot at the gasket of bank 2's exhaust manifold, no ticking when cold: it is tight";
    /// The joint of the exhaust pipe between catalyst and rear oxygen sensor.
    ExhaustJoint: "exhaust-joint", 45, "no soot and no smoke at the joint behind the catalyst: it is tight";
    /// The same of bank 2.
    ExhaustJoint2: "exhaust-joint-2", 45, "no soot and no smoke at the joint behind the catalyst of bank 2: it is tight";
    /// The exhaust with its catalyst and mufflers.
    Exhaust: "exhaust", 120, "the exhaust is free: a strong stream at the tailpipe";
    /// The battery.
    Battery: "battery", 20, "the battery's terminals are clean and tight, its case is sound";
    /// The alternator with its regulator.
    Alternator: "alternator", 75, "the alternator turns quietly, its plug and cable are tight";
    /// The belt that drives the alternator.
    DriveBelt: "drive-belt", 40, "the drive belt is dry and tight";
    /// The cable between alternator and battery.
    ChargingCable: "charging-cable", 30, "the charging cable and its terminals are clean and cool";
    /// The engine controller.
    EngineController: "engine-controller", 60, "the engine controller's case is dry, its plug clean; a programming tool finds its memory as written";
    /// The wire that feeds the engine controller with the key off.
    KeepAliveSupply: "keep-alive-supply", 60, "with the key off the permanent supply at the engine controller's plug is as at the battery";
    /// The sensor at the gearbox's output shaft.
    VehicleSpeedSensor: "vehicle-speed-sensor", 45, "";
    /// The controller of the gearbox.
    GearboxController: "gearbox-controller", 90, "";
    /// The sensor at the turbine of the torque converter, the gearbox's input.
    TurbineSpeedSensor: "turbine-speed-sensor", 120, "";
    /// The thermistor in the gearbox's fluid.
    GearboxFluidSensor: "gearbox-fluid-sensor", 90, "";
    /// The gearbox's fluid.
    GearboxFluid: "gearbox-fluid", 60, "the gearbox fluid is clear, red and at its mark";
    /// Shift solenoid A with its valve.
    ShiftSolenoidA: "shift-solenoid-a", 150, "under 12 V shift solenoid A clicks, and air goes through its valve only then: it is good";
    /// Shift solenoid B with its valve.
    ShiftSolenoidB: "shift-solenoid-b", 150, "under 12 V shift solenoid B clicks, and air goes through its valve only then: it is good";
    /// Shift solenoid C with its valve.
    ShiftSolenoidC: "shift-solenoid-c", 150, "under 12 V shift solenoid C clicks, and air goes through its valve only then: it is good";
    /// The lock-up clutch of the torque converter.
    ConverterClutch: "converter-clutch", 420, "nothing is seen of the lock-up clutch from outside: its slip on the road tells";
    /// The clutch of the gears one to three, and with the next one of four.
    ForwardClutch: "forward-clutch", 900, "the gearbox fluid is clear, and no lining lies in the pan";
    /// The clutch of the gears four to six.
    OverdriveClutch: "overdrive-clutch", 900, "the gearbox fluid is clear, and no lining lies in the pan";
    /// The gearbox itself.
    Gearbox: "gearbox", 480, "the gearbox is dry, its oil is clean and at its mark";
}

impl Part {
    /// The cylinder that it belongs to, counted from 1, if it belongs to one.
    #[must_use]
    pub fn cylinder(self) -> Option<u8> {
        if self.is_of_bank_2() {
            return None;
        }
        let (_, number) = self.name().rsplit_once('-')?;
        number.parse().ok()
    }

    /// Whether it is one that only a second bank has.
    #[must_use]
    pub const fn is_of_bank_2(self) -> bool {
        matches!(
            self,
            Self::FrontOxygenSensor2
                | Self::RearOxygenSensor2
                | Self::Catalyst2
                | Self::ExhaustManifold2
                | Self::ExhaustJoint2
                | Self::FuelInjector2
                | Self::CamPhaser2
                | Self::OilStrainer2
        )
    }

    /// Whether it is one that counts only where a transmission ECU watches over the gearbox.
    #[must_use]
    pub const fn is_of_watched_gearbox(self) -> bool {
        matches!(
            self,
            Self::TurbineSpeedSensor
                | Self::GearboxFluidSensor
                | Self::GearboxFluid
                | Self::ShiftSolenoidA
                | Self::ShiftSolenoidB
                | Self::ShiftSolenoidC
                | Self::ConverterClutch
                | Self::ForwardClutch
                | Self::OverdriveClutch
        )
    }

    /// Whether both are the same thing on different cylinders, or oxygen sensors of the two banks: what can change places.
    #[must_use]
    pub fn is_like(self, other: Self) -> bool {
        if let (Self::FrontOxygenSensor, Self::FrontOxygenSensor2)
        | (Self::FrontOxygenSensor2, Self::FrontOxygenSensor)
        | (Self::RearOxygenSensor, Self::RearOxygenSensor2)
        | (Self::RearOxygenSensor2, Self::RearOxygenSensor) = (self, other)
        {
            return true;
        }
        let kind = |part: Self| part.name().rsplit_once('-').map(|(kind, _)| kind);
        self.cylinder().is_some() && other.cylinder().is_some() && kind(self) == kind(other)
    }

    /// The part of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|part| part.name() == name)
    }
}
