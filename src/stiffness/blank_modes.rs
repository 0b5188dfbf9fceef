//! The modes of a flat blank of wood: a thin plate's, less what thickness and free edges take.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::plate::{Constants, PlateMode, Size, bending_stiffnesses, condensed_plate_modes};

/// Products of bars' shapes are taken up to so many times the highest frequency.
const REACH: f64 = 2.0;

/// A blank of some constants: its stiffnesses, its modes, and their frequencies (Hz).
pub(super) struct BlankModes {
    pub stiffnesses: [f64; 4],
    pub modes: Vec<PlateMode>,
    pub hz: Vec<f64>,
}

impl BlankModes {
    /// All modes up to a frequency, and somewhat above.
    pub(super) fn new(size: &Size, constants: &Constants, below_hz: f64) -> Self {
        let stiffnesses = bending_stiffnesses(constants, size.thickness_m);
        let modes = condensed_plate_modes(&stiffnesses, size, terms(size, constants, below_hz), 1.05 * below_hz, REACH);
        let hz = modes.iter().map(|m| m.frequency_hz(constants, &stiffnesses, size.thickness_m)).collect();
        Self { stiffnesses, modes, hz }
    }

    /// The same modes with constants a little different, in their first order: shapes stay, frequencies move.
    pub(super) fn move_to(&mut self, size: &Size, constants: &Constants) {
        self.stiffnesses = bending_stiffnesses(constants, size.thickness_m);
        for mode in &mut self.modes {
            mode.omega_squared = mode.omega_squared_of(&self.stiffnesses);
        }
        let hz = |m: &PlateMode| m.frequency_hz(constants, &self.stiffnesses, size.thickness_m);
        self.modes.sort_by(|a, b| a.omega_squared.total_cmp(&b.omega_squared));
        self.hz = self.modes.iter().map(hz).collect();
    }
}

/// Polynomials along length and width that describe all modes up to a frequency.
pub(super) fn terms(size: &Size, constants: &Constants, below_hz: f64) -> (usize, usize) {
    let stiffness = bending_stiffnesses(constants, size.thickness_m);
    let per_area = size.mass_kg / (size.length_m * size.width_m);
    let lines = |d: f64, side: f64| (TAU * below_hz * (per_area / d).sqrt()).sqrt() * side / PI;
    let along = lines(stiffness[0], size.length_m);
    let wide = lines(stiffness[1], size.width_m);
    // A wave over half the side turns by pi/2 for each line, which takes a polynomial of that degree and some more.
    let count = |lines: f64, more: usize| (FRAC_PI_2 * lines.clamp(1.0, 40.0)).ceil() as usize + more;
    (count(along, 8), count(wide, 6))
}

#[cfg(test)]
mod tests {
    use super::super::plate::free_plate_modes;
    use super::*;

    /// More polynomials move no frequency by more than a thousandth, a fifth of what uneven wood does; for a side and for a narrow
    /// strip. The steepest modes of the band are the farthest off: half a thousandth.
    #[test]
    fn enough_polynomials_are_taken() {
        for (width_m, below_hz) in [(0.12, 900.0), (0.05, 1500.0)] {
            let size = Size { length_m: 0.8, width_m, thickness_m: 2.25e-3, mass_kg: 1.1 * width_m };
            let constants = Constants { along_pa: 11.6e9, across_pa: 1.2e9, shear_pa: 1e9, poisson: 0.4 };
            let (along, across) = terms(&size, &constants, below_hz);
            let blank = BlankModes::new(&size, &constants, below_hz);
            let finer = free_plate_modes(&blank.stiffnesses, &size, (along + 6, across + 6), 1.05 * below_hz);
            assert_eq!(finer.len(), blank.modes.len());
            assert!(finer.len() > 10, "{}", finer.len());
            for (coarse, fine) in blank.modes.iter().zip(&finer) {
                let ratio = coarse.omega_squared / fine.omega_squared;
                assert!((ratio - 1.0).abs() < 2e-3, "{}: {ratio}", fine.name());
            }
        }
    }
}
