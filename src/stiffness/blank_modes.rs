//! The modes of a flat blank of wood: a thin plate's, less what thickness and free edges take.

use std::f64::consts::{PI, TAU};

use super::plate::{Constants, PlateMode, Size, bending_stiffnesses, free_plate_modes};

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
        let modes = free_plate_modes(&stiffnesses, size, terms(size, constants, below_hz), 1.05 * below_hz);
        let hz = modes.iter().map(|m| m.frequency_hz(constants, &stiffnesses, size.thickness_m)).collect();
        Self { stiffnesses, modes, hz }
    }
}

/// Polynomials along length and width that describe all modes up to a frequency.
fn terms(size: &Size, constants: &Constants, below_hz: f64) -> (usize, usize) {
    let stiffness = bending_stiffnesses(constants, size.thickness_m);
    let per_area = size.mass_kg / (size.length_m * size.width_m);
    let lines = |d: f64, side: f64| (TAU * below_hz * (per_area / d).sqrt()).sqrt() * side / PI;
    let along = lines(stiffness[0], size.length_m);
    // The twist family crosses the band with more lines than bending does.
    let twist = 2.0 * below_hz * size.length_m * size.width_m
        / (2.0
            * size.thickness_m
            * (constants.shear_pa * size.length_m * size.width_m * size.thickness_m / size.mass_kg).sqrt());
    let wide = lines(stiffness[1], size.width_m);
    let count = |lines: f64| lines.ceil().clamp(2.0, 40.0) as usize;
    (count(along.max(twist.min(1.3 * along))) + 8, count(wide) + 6)
}

#[cfg(test)]
mod tests {
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
