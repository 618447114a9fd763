//! Long-term trim: what closed loop had to correct, learned by operating range (figures calibrated).
//!
//! The cells survive the key and service $04, as a maker may choose (published service information).

use twotrip_units::{AngularSpeed, Ratio};

use super::learned::held;

/// Idle, and four loads by three speeds.
pub(crate) const CELLS: usize = 13;
const LOAD_BORDERS: [f64; 3] = [0.25, 0.45, 0.70];
const SPEED_BORDERS_RPM: [f64; 2] = [1500.0, 2500.0];
/// Learning: share of the mean short-term trim that is taken over each second.
const RATE_PER_SECOND: f64 = 0.02;
/// Limit of a cell.
const LIMIT: f64 = 0.30;

/// Number of a cell.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cell(usize);

impl Cell {
    /// The cell of an operating point.
    pub(crate) fn of(idle: bool, speed: AngularSpeed, load: Ratio) -> Self {
        if idle {
            return Self(0);
        }
        let load = load.fraction();
        let rpm = speed.rpm();
        let row = LOAD_BORDERS.iter().filter(|&&border| load > border).count();
        let column = SPEED_BORDERS_RPM.iter().filter(|&&border| rpm > border).count();
        Self(1 + row * (SPEED_BORDERS_RPM.len() + 1) + column)
    }
}

/// The cells of one bank, and the one in use.
#[derive(Clone, Debug)]
pub(crate) struct Trims {
    cells: [f64; CELLS],
    active: usize,
}

impl Default for Trims {
    fn default() -> Self {
        Self {
            cells: [0.0; CELLS],
            active: 0,
        }
    }
}

impl Trims {
    /// Trim of the cell in use.
    pub(crate) const fn correction(&self) -> f64 {
        self.cells[self.active]
    }

    /// Number of the cell in use: 0 for idle.
    pub(crate) const fn cell(&self) -> usize {
        self.active
    }

    /// What the cells have learned.
    pub(crate) const fn learned(&self) -> [f64; CELLS] {
        self.cells
    }

    /// Puts back what the cells had learned; other cells than these learn anew.
    pub(crate) fn put_back(&mut self, learned: &[f64]) {
        if let Ok(cells) = <[f64; CELLS]>::try_from(learned) {
            self.cells = cells.map(|cell| held(cell, LIMIT));
        }
    }

    /// PID $07.
    pub(crate) const fn long_term_trim(&self) -> Ratio {
        Ratio::from_fraction(self.correction())
    }

    /// Uses a cell.
    pub(crate) const fn choose(&mut self, cell: Cell) {
        self.active = cell.0;
    }

    /// Learns from the mean short-term trim over `seconds`.
    pub(crate) fn learn(&mut self, mean_short_term: f64, seconds: f64) {
        let cell = &mut self.cells[self.active];
        *cell = (*cell + RATE_PER_SECOND * mean_short_term * seconds).clamp(-LIMIT, LIMIT);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ninety_percent_is_learned_in_115_seconds() {
        let mut trims = Trims::default();
        let at = |idle, rpm, load| Cell::of(idle, AngularSpeed::from_rpm(rpm), Ratio::from_fraction(load));
        trims.choose(at(true, 700.0, 0.25));
        for _ in 0..1150 {
            let rest = 0.10 - trims.correction();
            trims.learn(rest, 0.1);
        }
        assert!(
            (trims.correction() - 0.09).abs() < 0.001,
            "{}",
            trims.correction()
        );
        trims.choose(at(false, 1700.0, 0.3));
        assert!(trims.correction().abs() < 1e-12, "cells are apart");
    }
}
