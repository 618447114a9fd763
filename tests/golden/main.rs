//! Car and ECU in closed loop: the values that a healthy car shows, published drive schedules, faults and repairs.
//!
//! Figures are those of `vehicle-model.md` sections 17 and 18 (computed there on a prototype of this car, not measured
//! on one) and of the published drive schedules (40 CFR Part 86 Appendix I, Part 600 Appendix I).

mod bench;
mod drives;
mod faults;
mod operating_points;
mod plans;
mod shipped;
mod trips;
