//! The bounds on numbers and sizes, so that no text makes a run endless or the memory full.
//!
//! All of them are choices of this project (no source), wide enough for anything a class or a test needs.

use core::time::Duration;

use twotrip_units::{AngularSpeed, Length, Pressure, Ratio, Speed, Temperature, Volume};

/// Longest scenario file, bytes.
pub const FILE_BYTES: usize = 1 << 20;
/// Longest line of a script, bytes.
pub const LINE_BYTES: usize = 4096;
/// Most phrases of one script.
pub const PHRASES: usize = 10_000;
/// Most problems reported of one text; the rest is summed up in one.
pub const PROBLEMS: usize = 100;
/// Longest story in the car's time, soaks included.
pub const STORY: Duration = hours(366 * 24);
/// Longest driving in one story: what takes processor time.
pub const STORY_DRIVING: Duration = hours(200);
/// Longest title and complaint, bytes.
pub const TEXT_BYTES: usize = 2000;

/// Soak, shortest and longest.
pub const SOAK: [Duration; 2] = [Duration::from_secs(1), hours(30 * 24)];
/// Wait, shortest and longest.
pub const WAIT: [Duration; 2] = [Duration::from_millis(10), hours(24)];
/// One leg of a drive plan, shortest and longest.
pub const LEG: [Duration; 2] = [Duration::from_secs(1), hours(4)];
/// Most legs of one drive plan.
pub const LEGS: usize = 100;
/// Engine speed to hold in a drive plan, slowest and fastest.
pub const ENGINE_SPEED: [AngularSpeed; 2] = [AngularSpeed::from_rpm(500.0), AngularSpeed::from_rpm(6500.0)];
/// Speed to hold in a drive plan, slowest and fastest.
pub const SPEED: [Speed; 2] = [
    Speed::from_kilometres_per_hour(5.0),
    Speed::from_kilometres_per_hour(140.0),
];
/// Ambient temperature, coldest and warmest.
pub const AMBIENT: [Temperature; 2] = [Temperature::from_celsius(-40.0), Temperature::from_celsius(55.0)];
/// Altitude, lowest and highest.
pub const ALTITUDE: [Length; 2] = [Length::from_metres(-100.0), Length::from_metres(4500.0)];
/// Reid vapour pressure of the fuel, lowest and highest.
pub const REID: [Pressure; 2] = [
    Pressure::from_kilopascals(40.0),
    Pressure::from_kilopascals(105.0),
];
/// Fuel level after refuelling, lowest and highest.
pub const REFUEL: [Ratio; 2] = [Ratio::from_fraction(0.0), Ratio::from_fraction(1.0)];
/// Fuel in the tank after refuelling, least and most.
pub const REFUEL_VOLUME: [Volume; 2] = [Volume::from_litres(0.0), Volume::from_litres(200.0)];
/// Time within which something is expected, shortest and longest.
pub const WITHIN: [Duration; 2] = [Duration::from_millis(10), hours(30 * 24)];
/// Most expectations of one verdict.
pub const EXPECTATIONS: usize = 1000;
/// Most cues of one scenario.
pub const CUES: usize = 100;
/// How often one cue acts at the most.
pub const CUE_TIMES: u64 = 1000;
/// Most phrases of all cues, each as often as its cue acts.
pub const CUE_PHRASES: u64 = 10_000;
/// How long after its event a cue acts, shortest and longest.
pub const CUE_AFTER: [Duration; 2] = [Duration::ZERO, hours(30 * 24)];
/// How often a disturbance acts, least and most, where it is counted.
pub const DISTURBED_TIMES: [f64; 2] = [1.0, 1e6];
/// The share of the times at which a disturbance acts, least and most.
pub const DISTURBED_SHARE: [Ratio; 2] = [Ratio::from_fraction(0.000_1), Ratio::from_fraction(1.0)];
/// Most codes of one `preload`.
pub const PRELOAD_CODES: usize = 16;

const fn hours(hours: u64) -> Duration {
    Duration::from_secs(hours * 3600)
}
