//! Quantities with their units in the type, the two clocks of a run, and table interpolation.
//!
//! Everything that crosses a module border in the crates above is one of these types, never a bare `f64`:
//! the door (`from_celsius`, `celsius`) says the unit, the type says the quantity. Inside, every quantity is
//! an `f64` in SI. Times are integers in nanoseconds, see [`BusInstant`] and [`CarInstant`].
#![no_std]

pub mod decimal;
mod grid;
mod limit;
mod quantity;
pub mod stored;
mod table;
mod time;

pub use grid::Grid;
pub use limit::Limit;
pub use quantity::{
    Acceleration, Angle, AngularSpeed, Area, Current, Interval, Length, Mass, MassFlow, Power, Pressure,
    Ratio, Resistance, Speed, Temperature, TemperatureDelta, Torque, Voltage, Volume,
};
pub use table::Table;
pub use time::{BusInstant, CarInstant};
