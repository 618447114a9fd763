//! Car and ECU in closed loop: the values that a healthy car shows, published drive schedules, faults and repairs.
//!
//! Figures are those of a prototype of this car (computed, not measured on a car) and of the published drive
//! schedules (40 CFR Part 86 Appendix I, Part 600 Appendix I).

mod air_path;
mod averaging;
mod bench;
mod breathing;
mod broadcasts;
mod circuits;
mod comfort;
mod compliance;
mod cues;
mod cycles;
mod desk;
mod drives;
mod evidence_air;
mod evidence_limits;
mod exceptions;
mod faults;
mod fingerprint;
mod gauges;
mod gearbox;
mod gearbox_told;
mod instruments;
mod lives;
mod misfire;
mod mixture;
mod module;
mod moisture;
mod network;
mod nights;
mod operating_points;
mod outputs;
mod plans;
mod repairs;
mod requests;
mod shipped;
mod temperatures;
mod trips;
mod valves;
mod vehicles;
mod why;
